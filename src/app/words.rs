//! A question of the bot's answered in words instead of by its button: "the first", "oz", or what the button says. Only
//! a question put to the one who answers, or one that is replied to, is answered so.

use crate::chat::say::Speaker;
use crate::domain::act::{Act, Doubt};
use crate::domain::answer::{Choice, ChoiceLabel, Press};
use crate::domain::decide::{About, Message};
use crate::domain::ledger::{Ledger, OpenQuestion};
use crate::domain::volume::Volume;

/// How many of a question's answers can be called by their place in the row.
const ORDINALS: [&str; 3] = ["answer-first", "answer-second", "answer-third"];

/// The button that the words stand for, if they stand for one.
pub fn chosen(ledger: &Ledger, message: &Message, text: &str) -> Option<Press> {
    let asked = match message.about {
        Some(About::Question(seq)) => ledger.talk().question(seq),
        _ => message.by.and_then(|by| ledger.talk().questions_of(by).next()),
    }?;
    let said = text.trim().trim_end_matches(['.', '!']).to_lowercase();
    let speaker = Speaker::new(ledger, message.sent);
    let index = by_label(&speaker, asked, &said)
        .or_else(|| ORDINALS.iter().position(|id| is_one_of(&speaker, id, &said)))
        .or_else(|| by_unit(&speaker, asked, &said))?;
    (index < asked.question.options.len()).then_some(Press::Option { question: asked.seq, index })
}

/// The wordings are listed with a bar between them.
fn is_one_of(speaker: &Speaker, id: &str, said: &str) -> bool {
    speaker.word(id).split('|').any(|word| word.trim() == said)
}

fn by_label(speaker: &Speaker, asked: &OpenQuestion, said: &str) -> Option<usize> {
    asked.question.options.iter().position(|acts| {
        let choice = Choice {
            label: ChoiceLabel::Reading(acts.clone()),
            press: Press::Option { question: asked.seq, index: 0 },
        };
        speaker.buttons(&[choice]).iter().any(|(label, _)| label.to_lowercase() == said)
    })
}

/// The same number is more milk in ounces than in millilitres.
fn by_unit(speaker: &Speaker, asked: &OpenQuestion, said: &str) -> Option<usize> {
    if asked.question.about != Doubt::Unit {
        return None;
    }
    let whole = |acts: &Vec<Act>| -> Volume {
        let parts = |a: &Act| a.parts.iter().flatten().filter_map(|p| p.ml).sum::<Volume>();
        acts.iter().map(|a| a.ml.or(a.left_ml).unwrap_or_else(|| parts(a))).sum()
    };
    let options = asked.question.options.iter().enumerate();
    let found = if is_one_of(speaker, "answer-oz", said) {
        options.max_by_key(|(_, acts)| whole(acts))
    } else if is_one_of(speaker, "answer-ml", said) {
        options.min_by_key(|(_, acts)| whole(acts))
    } else {
        None
    };
    found.map(|(index, _)| index)
}
