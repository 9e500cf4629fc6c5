//! Messages of more words than people write in one breath: day sheets and long lists. They are read a stretch at a time, cut
//! where lines and sentences end, so that the work grows with the length and not faster, whatever the grammar looks at.

use super::token::tokens;
use crate::domain::act::{Kind, Reading, Unclear};

/// The most tokens that are read at once; no single sentence is longer.
pub const STRETCH: usize = 240;

/// The stretches that a message is read in; none where a sentence is longer than any that is read.
pub fn stretches(text: &str) -> Option<Vec<&str>> {
    if text.len() <= STRETCH {
        return Some(vec![text]);
    }
    let (mut all, mut start, mut end, mut held) = (Vec::new(), 0, 0, 0);
    for sentence in sentences(text) {
        let length = tokens(sentence).len();
        if length > STRETCH {
            return None;
        }
        if held + length > STRETCH {
            all.push(&text[start..end]);
            (start, held) = (end, 0);
        }
        (end, held) = (end + sentence.len(), held + length);
    }
    all.push(&text[start..end]);
    Some(all)
}

/// The text in pieces that end with a line, or with a stop before a space: "4.5" is one number.
fn sentences(text: &str) -> impl Iterator<Item = &str> {
    let mut stopped = false;
    text.split_inclusive(move |c: char| {
        let ends = c == '\n' || (stopped && c.is_whitespace());
        stopped = matches!(c, '.' | '!' | '?' | ';');
        ends
    })
}

/// What all stretches say together. An alarm still stands alone, and nothing is recorded before the first question is
/// answered; a second question is left out.
pub fn joined(readings: Vec<Reading>) -> Reading {
    let alarm = |r: &Reading| r.acts.iter().any(|a| a.kind == Kind::Alarm);
    if let Some(alarm) = readings.iter().find(|r| alarm(r)) {
        return alarm.clone();
    }
    let mut whole = Reading::default();
    for reading in readings {
        whole.acts.extend(reading.acts);
        if whole.unclear.is_none() {
            whole.unclear = reading.unclear;
        }
    }
    if let Some(Unclear { first, .. }) = &mut whole.unclear {
        first.append(&mut whole.acts);
    }
    whole
}
