//! Questions before anything is recorded: one at a time, with the likeliest answer first. What each answer would record is
//! kept with the question, so that a button, a word or a number settles it.

use crate::domain::act::{Act, Doubt};
use crate::domain::answer::{Answer, Choice, ChoiceLabel, Piece, Press};
use crate::domain::fact::{Question, Record};
use crate::domain::ledger::Ledger;

use super::{Decision, Message};

/// How much of a message is kept to know it again by.
const ENOUGH: usize = 60;

/// Asks which of the readings is meant: of a message of which nothing is recorded yet, or of an entry that is there.
pub fn ask(
    ledger: &Ledger,
    message: &Message,
    about: Doubt,
    options: Vec<Vec<Act>>,
    amends: Option<i64>,
) -> Decision {
    let labels = options.iter().cloned().map(ChoiceLabel::Reading).collect();
    let mut decision = put(ledger, message, about, Piece::Ask { about }, options, labels);
    if let Some(Record::Asked(question)) = decision.records.first_mut() {
        question.entry = amends;
    }
    decision
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
    };
    Decision {
        records: vec![Record::Asked(asked)],
        answer: Answer { pieces: vec![piece], buttons },
        ..Decision::default()
    }
}

/// Enough of the words to know them again.
fn shortened(text: &str) -> String {
    let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.char_indices().nth(ENOUGH) {
        Some((end, _)) => format!("{}…", &line[..end]),
        None => line,
    }
}
