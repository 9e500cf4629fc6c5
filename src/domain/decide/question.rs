//! Questions before anything is recorded: one at a time, with the likeliest answer first. What each answer would record is
//! kept with the question, so that a button, a word or a number settles it.

use chrono::TimeDelta;

use crate::domain::act::{Act, Doubt, Kind};
use crate::domain::answer::{Answer, Choice, ChoiceLabel, Piece, Press};
use crate::domain::fact::{Question, Record};
use crate::domain::ledger::{Ledger, OpenQuestion};
use crate::domain::volume::{Unit, Volume};

use super::{Decision, Message};

/// How much of a message is kept to know it again by.
const ENOUGH: usize = 60;
/// How long after a question the same thing said clearly counts as its answer. Our own choice, no source.
const SAID_ANEW: TimeDelta = TimeDelta::minutes(10);

/// Asks which of the readings is meant: of a message of which nothing is recorded yet, or of an entry that is there.
pub fn ask(
    ledger: &Ledger,
    message: &Message,
    about: Doubt,
    options: Vec<Vec<Act>>,
    amends: Option<i64>,
) -> Decision {
    let labels = options.iter().map(|acts| ChoiceLabel::of(about, acts)).collect();
    let mut decision = put(ledger, message, about, Piece::Ask { about }, options, labels);
    if let Some(Record::Asked(question)) = decision.records.first_mut() {
        question.entry = amends;
    }
    decision
}

/// The same question once more, for nothing that was said answers it.
pub fn again(open: &OpenQuestion) -> Decision {
    let about = open.question.about;
    let button = |(index, acts): (usize, &Vec<Act>)| Choice {
        label: ChoiceLabel::of(about, acts),
        press: Press::Option { question: open.seq, index },
    };
    let buttons = open.question.options.iter().enumerate().map(button).collect();
    Decision { answer: Answer { pieces: vec![Piece::Ask { about }], buttons }, ..Decision::default() }
}

/// Puts a question in its own words; an option without a label is answered in words only.
pub fn put(
    ledger: &Ledger,
    message: &Message,
    about: Doubt,
    piece: Piece,
    options: Vec<Vec<Act>>,
    labels: Vec<ChoiceLabel>,
) -> Decision {
    let question = ledger.next_seq();
    let button = |(index, label)| Choice { label, press: Press::Option { question, index } };
    let buttons = labels.into_iter().enumerate().map(button).collect();
    let asked = Question {
        about,
        of: message.by.map(str::to_owned),
        message: message.id,
        text: shortened(message.text),
        entry: None,
        sent: message.sent,
        options,
        joined: None,
    };
    Decision {
        records: vec![Record::Asked(asked)],
        answer: Answer { pieces: vec![piece], buttons },
        ..Decision::default()
    }
}

/// How much it was is told in a message of its own, most likely.
pub fn how_much(ledger: &Ledger, message: &Message, acts: Vec<Act>) -> Decision {
    put(ledger, message, Doubt::Amount, Piece::AmountMissing, vec![acts], Vec::new())
}

/// The amount that a question was about. A number that may be either unit is asked about once more.
pub fn amount(ledger: &Ledger, message: &Message, seq: i64, value: f64, unit: Option<Unit>) -> Decision {
    let Some(asked) = ledger.talk().question(seq).map(|q| &q.question) else {
        return Decision::say(Piece::NothingAsked);
    };
    let with = |unit: Unit| {
        let mut acts = asked.options.first().cloned().unwrap_or_default();
        if let Some(act) = acts.iter_mut().find(|a| a.ml.is_none() && a.kind != Kind::Ask) {
            act.ml = Some(Volume::of(value, unit));
        }
        acts
    };
    let then = Message {
        by: asked.of.as_deref().or(message.by),
        sent: asked.sent,
        id: asked.message,
        text: &asked.text,
        ..message.clone()
    };
    let home = ledger.household().units;
    let mut decision = match unit.or(is_plausible(value, home).then_some(home)) {
        Some(unit) => super::record_and_answer(ledger, &then, with(unit), asked.entry),
        None => ask(ledger, &then, Doubt::Unit, vec![with(Unit::Oz), with(Unit::Ml)], asked.entry),
    };
    decision.records.push(Record::Answered { question: seq });
    decision.on_behalf = Some((then.by.map(str::to_owned), then.id));
    decision
}

/// 15 to 300 ml, 1 to 8 oz: beyond that a bare number may be the other unit. Common practice, no source.
fn is_plausible(value: f64, unit: Unit) -> bool {
    match unit {
        Unit::Ml => (15.0..=300.0).contains(&value),
        Unit::Oz => (1.0..=8.0).contains(&value),
    }
}

/// What was just asked of the sender, with nothing recorded since: "undo" and "sorry, 120" are meant for that, and for no
/// entry before it.
pub fn instead(ledger: &Ledger, message: &Message, act: &Act) -> Option<Decision> {
    let by = message.by.filter(|_| message.replies_to.is_none() && message.about.is_none())?;
    let asked = ledger.talk().questions_of(by).next().filter(|q| is_open_still(q, message))?;
    if ledger.said_by(by).next().is_some_and(|said| said.seq > asked.seq) {
        return None;
    }
    let ml = act.change.as_deref().and_then(|change| change.ml);
    match (act.kind, ml) {
        (Kind::Undo, _) => Some(dropped(asked)),
        (_, Some(ml)) if asked.question.about == Doubt::Amount => {
            Some(amount(ledger, message, asked.seq, ml.ml(), Some(Unit::Ml)))
        }
        _ => None,
    }
}

/// Nothing of what was asked about is recorded.
pub fn dropped(asked: &OpenQuestion) -> Decision {
    Decision { records: vec![Record::Answered { question: asked.seq }], ..Decision::default() }
}

fn is_open_still(asked: &OpenQuestion, message: &Message) -> bool {
    let about = asked.question.about;
    message.sent - asked.asked < SAID_ANEW
        && asked.question.entry.is_none()
        && !matches!(about, Doubt::Same | Doubt::Hold | Doubt::Count)
}

/// Whoever says anew, and clearly, what was just asked about has answered it.
pub fn settled(ledger: &Ledger, message: &Message, mut decision: Decision) -> Decision {
    let Some(Record::Said { acts, .. }) = decision.records.first() else { return decision };
    let same = |option: &Vec<Act>| match (option.as_slice(), &acts[..]) {
        ([a], [b]) => a.kind == b.kind && (a.ml == b.ml || a.ml.is_none()),
        _ => false,
    };
    let asked = message.by.into_iter().flat_map(|by| ledger.talk().questions_of(by));
    let answered: Vec<i64> = asked
        .filter(|q| is_open_still(q, message))
        .filter(|q| q.question.options.is_empty() || q.question.options.iter().any(same))
        .map(|q| q.seq)
        .collect();
    decision.records.extend(answered.into_iter().map(|question| Record::Answered { question }));
    decision
}

/// Enough of the words to know them again.
fn shortened(text: &str) -> String {
    let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.char_indices().nth(ENOUGH) {
        Some((end, _)) => format!("{}…", &line[..end]),
        None => line,
    }
}
