//! Why a message was read as it was, a line a step, for a parent who asks: what was seen, what each stretch of the message
//! tells, and what came of it. The wordings stand in `words/why.toml`; nothing here has a part in the reading itself.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::OnceLock;

use serde::Deserialize;

use super::family::Family;
use super::item::{Item, Kind, Message};
use super::mood::Mood;
use crate::domain::act::{Doubt, Reading};

const TEXT: &str = include_str!("words/why.toml");

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    Words,
    Whole,
    Alarm,
    Outage,
    Setting,
    TakenBack,
    Correction,
    Ended,
    First,
    Joke,
    Open,
    Question,
    Hold,
    Release,
    Reason,
    Elsewhere,
    Belongs,
    Ahead,
    Nothing,
    NothingAfter,
    TooLong,
    LongSentence,
    Acts,
    Silence,
}

/// What an item of the message was taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Thing {
    Amount,
    Number,
    Containers,
    Label,
    Numbers,
    Count,
    Time,
    Lasting,
    Place,
    Deed,
    Unknown,
    Word,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct Wordings {
    steps: HashMap<Step, String>,
    moods: HashMap<Mood, String>,
    families: HashMap<Family, String>,
    things: HashMap<Thing, String>,
    doubts: HashMap<Doubt, String>,
}

fn wordings() -> &'static Wordings {
    static ALL: OnceLock<Wordings> = OnceLock::new();
    ALL.get_or_init(|| toml::from_str(TEXT).unwrap_or_default())
}

fn worded<K: Eq + Hash>(all: &HashMap<K, String>, key: &K, about: &str) -> String {
    all.get(key).map_or_else(|| about.to_string(), |wording| wording.replace("{}", about))
}

pub fn step(step: Step, about: &str) -> String {
    worded(&wordings().steps, &step, about)
}

/// A stretch of the message, in quotes.
pub fn of_words(what: Step, words: &str) -> String {
    step(what, &quoted(words))
}

pub fn mood(mood: Mood, words: &str) -> String {
    worded(&wordings().moods, &mood, &quoted(words))
}

pub fn family(family: Family, words: &str) -> String {
    worded(&wordings().families, &family, &quoted(words))
}

pub fn doubt(about: Doubt) -> String {
    step(Step::Open, &worded(&wordings().doubts, &about, ""))
}

fn quoted(words: &str) -> String {
    format!("“{words}”")
}

/// The items of a message as they were taken.
pub fn seen(message: &Message) -> String {
    let shown = |item: &Item| {
        let typed = message.typed(item.from, item.to);
        worded(&wordings().things, &thing(item), &typed)
    };
    let all: Vec<String> = message.items.iter().map(shown).collect();
    step(Step::Words, &all.join(" "))
}

fn thing(item: &Item) -> Thing {
    match &item.kind {
        Kind::Amount(amount) if amount.unit.is_some() => Thing::Amount,
        Kind::Amount(_) => Thing::Number,
        Kind::Multi(..) => Thing::Containers,
        Kind::Codes(_) => Thing::Label,
        Kind::List(..) => Thing::Numbers,
        Kind::Count(_) => Thing::Count,
        Kind::When(_) => Thing::Time,
        Kind::Lasting(_) => Thing::Lasting,
        Kind::Word if item.place().is_some() => Thing::Place,
        Kind::Word if item.verbs().next().is_some() => Thing::Deed,
        Kind::Word if item.unknown => Thing::Unknown,
        Kind::Word | Kind::Sign(_) => Thing::Word,
    }
}

/// What came of it, in the fields of the acts.
pub fn outcome(reading: &Reading) -> String {
    if reading.acts.is_empty() {
        return step(Step::Silence, "");
    }
    let all: Vec<String> = reading.acts.iter().map(fields).collect();
    step(Step::Acts, &all.join("; "))
}

fn fields(act: &crate::domain::act::Act) -> String {
    let form = serde_json::to_value(act).unwrap_or_default();
    let fields = form.as_object().into_iter().flatten().filter(|(_, value)| !value.is_boolean());
    let shown = fields.map(|(key, value)| match value.as_str() {
        Some(text) if *key == ACT => text.to_string(),
        Some(text) => format!("{key} {text}"),
        None => format!("{key} {value}"),
    });
    shown.collect::<Vec<_>>().join(" · ")
}

/// The field that names the kind of an act.
const ACT: &str = "act";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_has_its_words() {
        let all: Wordings = toml::from_str(TEXT).unwrap();
        assert_eq!(all.steps.len(), Step::Silence as usize + 1);
        assert_eq!(all.things.len(), Thing::Word as usize + 1);
        assert_eq!(all.families.len(), Family::Loose as usize + 1);
        assert_eq!(all.moods.len(), Mood::OtherSubject as usize + 1);
        let line = family(Family::Pump, "pumped 120");
        assert!(line.starts_with("“pumped 120”: ") && line.len() > 20, "{line}");
    }
}
