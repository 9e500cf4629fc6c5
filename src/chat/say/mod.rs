//! Meaning to text: an answer, and the ledger as it stands, to what the group reads. All wordings are in the `.ftl` files;
//! here is only which of them are said, and with what in them.

mod answers;
mod emergency;
mod help;
mod label;
mod mishaps;
mod receipts;
mod reminders;
mod rule;
mod stock;
mod why;
mod words;

use crate::domain::act::{Act, Code, Kind};
use crate::domain::answer::{Answer, Choice, ChoiceLabel, Piece};
use crate::domain::fact::Reminder;
use crate::domain::ledger::Ledger;
use crate::domain::milk::Moment;
use crate::domain::place::Place;

pub use words::{Arg, Words};

/// Text and buttons, ready for any platform.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Said {
    pub text: String,
    /// Label and data of each.
    pub buttons: Vec<(String, String)>,
}

/// What saying needs: the words, the ledger and the moment.
#[derive(Clone, Copy)]
pub struct Speaker<'a> {
    words: Words,
    ledger: &'a Ledger,
    now: Moment,
}

impl<'a> Speaker<'a> {
    pub fn new(ledger: &'a Ledger, now: Moment) -> Speaker<'a> {
        Speaker { words: Words::of(&ledger.household().languages), ledger, now }
    }

    /// `None` where there is nothing to say.
    pub fn say(&self, answer: &Answer) -> Option<Said> {
        if answer.pieces.is_empty() {
            return None;
        }
        Some(Said { text: self.text(&answer.pieces), buttons: self.buttons(&answer.buttons) })
    }

    fn text(&self, pieces: &[Piece]) -> String {
        let corrected = pieces.first() == Some(&Piece::Corrected);
        let mut lines = self.lines(pieces);
        if corrected && let Some(first) = lines.first_mut() {
            *first = match pieces.iter().find_map(|p| self.before(p)) {
                Some(was) => self.words.say("corrected-was", &[("was", was), ("line", first.clone())]),
                None => self.words.say("corrected", &[("line", first.clone())]),
            };
        }
        lines.join("\n")
    }

    /// A line for each piece; containers that came on the books one after the other are summed up, and what belongs to
    /// a receipt stands in its line.
    fn lines(&self, pieces: &[Piece]) -> Vec<String> {
        let is_label = |p: &Piece| matches!(p, Piece::Label { .. });
        let unsaid = |p: &&Piece| matches!(p, Piece::Corrected | Piece::Before { .. });
        let said: Vec<&Piece> = pieces.iter().filter(|p| !unsaid(p)).collect();
        let mut lines: Vec<String> = Vec::new();
        // The line that what follows belongs to.
        let mut receipt = None;
        for run in said.chunk_by(|a, b| is_label(a) && is_label(b)) {
            let codes: Vec<_> = run.iter().filter_map(|p| label_of(p)).collect();
            match (run, receipt) {
                (_, _) if !codes.is_empty() => lines.extend(self.labels(&codes)),
                ([piece], Some(at)) if belongs_to_receipt(piece) => {
                    let line: &mut String = &mut lines[at];
                    *line =
                        self.words.say("and-also", &[("line", line.clone()), ("more", self.piece(piece))]);
                    continue;
                }
                _ => lines.extend(run.iter().map(|p| self.piece(p))),
            }
            let opens = !codes.is_empty() || run.iter().any(|p| matches!(p, Piece::Fed { .. }));
            receipt = if opens { lines.len().checked_sub(1) } else { receipt };
        }
        lines
    }

    pub fn buttons(&self, choices: &[Choice]) -> Vec<(String, String)> {
        choices.iter().map(|c| (self.button(&c.label), c.press.encode())).collect()
    }

    fn button(&self, label: &ChoiceLabel) -> String {
        match label {
            ChoiceLabel::Undo => self.words.word("button-undo"),
            ChoiceLabel::OnIt => self.words.word("button-on-it"),
            ChoiceLabel::Yes => self.words.word("button-yes"),
            ChoiceLabel::Why => self.words.word("button-why"),
            ChoiceLabel::Done => self.words.word("button-done"),
            ChoiceLabel::PouredFirst => self.words.word("button-poured"),
            ChoiceLabel::Place(place) => self.words.word(&format!("button-place-{}", place.key())),
            ChoiceLabel::How(how) => self.words.word(&format!("button-how-{}", key_of(how))),
            ChoiceLabel::Same => self.words.word("button-same"),
            ChoiceLabel::Another => self.words.word("button-another"),
            ChoiceLabel::Other => self.words.word("button-other"),
            ChoiceLabel::Name(name) => name.clone(),
            ChoiceLabel::Container(code) => self.with_amounts(&[*code]),
            ChoiceLabel::Reading(acts) => self.readings(acts),
        }
    }

    pub fn readings(&self, acts: &[Act]) -> String {
        acts.iter().map(|a| self.reading(a)).collect::<Vec<_>>().join("; ")
    }

    /// What an entry said before it was corrected, where that differs.
    fn before(&self, piece: &Piece) -> Option<String> {
        let Piece::Before { act } = piece else { return None };
        let mut was = self.details(&Act { timed: false, ..(**act).clone() });
        was.extend(act.at.map(|at| {
            let day = self.words.word(&format!("day-{}", at.format("%a").to_string().to_lowercase()));
            self.words.say("time-near", &[("day", day), ("time", at.format("%H:%M").to_string())])
        }));
        Some(was.join(" ")).filter(|was| !was.is_empty())
    }

    /// One reading of an unclear message, short enough for a button.
    fn reading(&self, act: &Act) -> String {
        let details = self.details(act);
        let id = match act.kind {
            Kind::Pump => "reading-pump",
            Kind::Store => "reading-store",
            Kind::Feed => "reading-feed",
            Kind::Formula => "reading-formula",
            Kind::Move => "reading-move",
            Kind::Thaw => "reading-thaw",
            Kind::Send => "reading-send",
            Kind::Return => "reading-return",
            Kind::Discard => "reading-discard",
            Kind::Hold => "reading-hold",
            Kind::Outage => "reading-outage",
            Kind::Warm => "reading-warm",
            Kind::Thawed => "reading-thawed",
            Kind::Check => "reading-check",
            Kind::Combine => "reading-combine",
            Kind::Split => "reading-split",
            Kind::Donate => "reading-donate",
            Kind::Release => "reading-release",
            Kind::Nurse => "reading-nurse",
            _ => "reading-other",
        };
        self.words.say(id, &[("details", details.join(" "))]).trim().to_owned()
    }

    fn details(&self, act: &Act) -> Vec<String> {
        let parts = act.parts.iter().flatten();
        let place: Option<Place> = act.place.or_else(|| parts.clone().find_map(|p| p.place));
        let mut details: Vec<String> = Vec::new();
        details.extend(act.ml.or_else(|| parts.clone().find_map(|p| p.ml)).map(|ml| self.amount(ml)));
        let codes = act.codes.iter().copied().chain(parts.filter_map(|p| p.code));
        details.extend(codes.map(|c| self.words.say("number-code", &[("code", c.to_string())])));
        details.extend(act.count.map(|n| self.words.say("count-containers", &[("count", n.to_string())])));
        details.extend(place.map(|p| self.words.word(&format!("place-{}", p.key()))));
        if act.timed {
            details.extend(act.at.map(|at| at.format("%H:%M").to_string()));
        }
        details
    }

    pub fn remind(&self, reminder: &Reminder) -> String {
        self.reminder(reminder)
    }

    /// Whether what a reminder asked for has been done.
    pub fn is_closed(&self, reminder: i64) -> bool {
        self.ledger.talk().reminder(reminder).is_none_or(|r| r.closed)
    }

    /// Too many wrong set-up codes: in how many minutes the next is looked at, for there is no zone yet to tell a time in.
    pub fn too_many_guesses(&self, until: Moment) -> String {
        let minutes = ((until - self.now).num_seconds() + 59) / 60;
        self.words.say("too-many-guesses", &[("minutes", minutes.to_string())])
    }

    /// Words that belong to no household's answer.
    pub fn word(&self, id: &str) -> String {
        self.words.word(id)
    }
}

fn label_of(piece: &Piece) -> Option<Code> {
    match piece {
        Piece::Label { code } => Some(*code),
        _ => None,
    }
}

/// Part of what was recorded, no warning and no question.
fn belongs_to_receipt(piece: &Piece) -> bool {
    matches!(
        piece,
        Piece::Leftover { .. } | Piece::Rest { .. } | Piece::SoFar { .. } | Piece::PlaceOpen { .. }
    )
}

/// The key of a unit-like value, as serde writes it.
fn key_of<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}
