//! What a person can say: acts, as the reader finds them in a message. An act is what was meant, not yet what is
//! recorded: times are the household's civil time, and what the message leaves open is absent, never a guess.
//! The JSON form of an act is the same in the reader's output, in the ledger and behind a button.

use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};

use super::place::{Place, Site};
use super::volume::{Unit, Volume};

/// A container's label: a whole number from 1 on, as written on the bag.
pub type Code = u32;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    #[default]
    Pump,
    Store,
    Feed,
    Nurse,
    Formula,
    Move,
    Thaw,
    Thawed,
    Warm,
    Combine,
    Split,
    Discard,
    Hold,
    Release,
    Donate,
    Send,
    Return,
    Outage,
    Check,
    Count,
    Correct,
    Undo,
    Claim,
    Done,
    Yes,
    No,
    Pause,
    Resume,
    Set,
    Ask,
    Alarm,
}

/// One thing said. Which fields a kind of act uses is told beside the field.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Act {
    #[serde(rename = "act")]
    pub kind: Kind,
    /// When it happened, in the household's civil time; the early end of a vague time.
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub at: Option<NaiveDateTime>,
    /// The late end of a vague time.
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub at_latest: Option<NaiveDateTime>,
    /// The message itself gave a time ("at 7", "just now"); without it `at` is only the time it was sent.
    #[serde(skip_serializing_if = "is_false")]
    pub timed: bool,
    /// How much; move: what the container holds that is meant, where `pick` is nothing but that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ml: Option<Volume>,
    /// The amount was given as rough.
    #[serde(skip_serializing_if = "is_false")]
    pub about: bool,
    /// Labels written on containers.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<Code>,
    /// How many containers, where they aren't named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pick: Option<Pick>,
    /// The time that a phrase names milk by ("the 2pm one", "monday's"), from and to; the same for a clock time.
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub named_from: Option<NaiveDateTime>,
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub named_to: Option<NaiveDateTime>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Acts whose `place` is where the containers go: where those that are meant lay ("everything from the fridge to the
    /// freezer").
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<Place>,
    /// move: told by somebody who has just come home, of milk that may have come along from work.
    #[serde(skip_serializing_if = "is_false")]
    pub brought: bool,
    /// Only milk that was frozen and isn't any more is meant ("the thawed ones").
    #[serde(skip_serializing_if = "is_false")]
    pub thawed: bool,
    /// Only containers whose time is past by the books are meant ("everything past its date").
    #[serde(skip_serializing_if = "is_false")]
    pub past: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub site: Option<Site>,
    /// The child, as named in the message.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub child: Option<String>,
    /// pump: who expressed it; feed: who gave it; with containers: whose milk it is. Where that isn't told to be the
    /// sender: the name as typed, or the word for "she" or "he" as typed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// What milk is called besides its amount, age and place ("dairy-free", "colostrum", "onion"), by the key that all
    /// languages share. pump, store: what is written on it; correct, with `codes`: what is to be written on these;
    /// hold, release, ask and the others: which milk is meant.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tags: Vec<String>,
    /// The amount comes on top of an earlier one ("90 more", "another 100"), and nothing in the message tells of what;
    /// the kind is a guess (feed) that what was said last in the chat confirms or replaces.
    #[serde(skip_serializing_if = "is_false")]
    pub more: bool,
    /// The same as the sender's last entry, once more ("same again", "ditto"); fields that are there differ from it.
    /// The kind is a guess (feed) that the last entry replaces.
    #[serde(skip_serializing_if = "is_false")]
    pub again: bool,

    /// pump: how much each breast gave.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sides: Option<Sides>,
    /// pump, store, split: one entry a container. `None`: nothing said of containers; empty: none was kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<Vec<Part>>,
    /// feed: how much was in the bottle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offered_ml: Option<Volume>,
    /// feed, return: how much stayed in the bottle; started milk, never stock.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_ml: Option<Volume>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_place: Option<Place>,
    /// feed, return: half of what the containers held was drunk; how much that is, the books know.
    #[serde(skip_serializing_if = "is_false")]
    pub half: bool,
    /// feed: has begun and not ended, or, with `ended`, how much was drunk isn't told; return: was drunk from, how much isn't told.
    #[serde(skip_serializing_if = "is_false")]
    pub open: bool,
    /// feed: what was drunk had been poured out first; the rest of the container was never in the bottle.
    #[serde(skip_serializing_if = "is_false")]
    pub poured: bool,
    /// feed: when it ended, where that was told apart from its beginning.
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub ended: Option<NaiveDateTime>,
    /// nurse: at which breast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// nurse: how long; outage: how long it lasted, where it is told to be over ("it was only 20 minutes").
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    /// thaw: how it thaws.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<ThawHow>,
    /// combine: the label of the container it was poured into.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub into: Option<Code>,
    /// combine: how much was added, where only that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub add_ml: Option<Volume>,
    /// discard, hold, release: the reason as typed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// outage, alarm: of what kind.
    #[serde(rename = "kind", skip_serializing_if = "Option::is_none")]
    pub what: Option<What>,
    /// outage: since when the cold was lost; move: since when the milk had been there, where only that was told ("was
    /// left in the car for an hour").
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub since: Option<NaiveDateTime>,
    /// check: how the milk was found after an outage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub found: Option<Found>,
    /// check: it was said to be cold still.
    #[serde(skip_serializing_if = "is_false")]
    pub cold: bool,
    /// count: the containers that were not there, once somebody has said yes to striking them off.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Code>,
    /// count: only these containers were looked for, found or not; of others nothing is said.
    #[serde(skip_serializing_if = "is_false")]
    pub seen: bool,
    /// correct: what should have been said. With `codes` it is about these containers, whoever recorded them ("bag 4 is
    /// from tuesday"), else about the sender's last entry.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub change: Option<Box<Change>>,
    /// undo: how many entries; 1 where not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entries: Option<u32>,
    /// pause: until when; move: when it was put back where it had been.
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub until: Option<NaiveDateTime>,
    /// set: which setting, by its key in a script's header ("plan at"), and its value in the same form.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub setting: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// ask: about what.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub topic: Option<Topic>,
    /// ask: which of the rules.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rule: Option<RuleOn>,
}

impl Act {
    pub fn new(kind: Kind) -> Act {
        Act { kind, ..Act::default() }
    }

    pub fn ask(topic: Topic) -> Act {
        Act { topic: Some(topic), ..Act::new(Kind::Ask) }
    }
}

/// Which containers, where neither labels nor a number name them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum Pick {
    Oldest,
    Newest,
    /// The one just spoken of.
    Last,
    All,
    Rest,
    /// As typed: `monday`, `the 2pm one`.
    Phrase(String),
}

impl From<String> for Pick {
    fn from(words: String) -> Pick {
        match words.as_str() {
            "oldest" => Pick::Oldest,
            "newest" => Pick::Newest,
            "last" => Pick::Last,
            "all" => Pick::All,
            "rest" => Pick::Rest,
            _ => Pick::Phrase(words),
        }
    }
}

impl From<Pick> for String {
    fn from(pick: Pick) -> String {
        match pick {
            Pick::Oldest => "oldest".into(),
            Pick::Newest => "newest".into(),
            Pick::Last => "last".into(),
            Pick::All => "all".into(),
            Pick::Rest => "rest".into(),
            Pick::Phrase(words) => words,
        }
    }
}

/// One container that milk went into.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Part {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ml: Option<Volume>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub site: Option<Site>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code: Option<Code>,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Sides {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<Volume>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub right: Option<Volume>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    Left,
    Right,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ThawHow {
    Fridge,
    WarmWater,
    Room,
}

/// Of what kind an outage or an alarm is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    Power,
    Door,
    Unwell,
    WrongMilk,
    Dilution,
    Colour,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Found {
    Hard,
    Icy,
    Liquid,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    Stock,
    Next,
    Thaw,
    LastFeed,
    Status,
    Expiring,
    DaysLeft,
    Pumped,
    Fed,
    Plan,
    Summary,
    Rule,
    /// What decides until when a container keeps, step by step.
    Why,
    Convert,
    Help,
}

/// Which of the rules a question is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RuleOn {
    Thawed,
    Warmed,
    Leftover,
    Refreezing,
    Mixing,
    Outage,
    /// Smell, taste, look: no publisher's time hangs on them.
    Smell,
    /// Medicine or drink: there is no rule, and no verdict.
    Medicine,
}

/// What a correction puts in place of what was said.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Change {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ml: Option<Volume>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    #[serde(with = "civil", skip_serializing_if = "Option::is_none")]
    pub at: Option<NaiveDateTime>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub codes: Option<Swap>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<Vec<Part>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// How much of a bottle was left, where that is surely what `ml` is. After a feed, that of the left side is as well.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left_ml: Option<Volume>,
    /// −1: a day earlier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days: Option<i64>,
}

/// Labels that were meant (`to`) where others were said (`from`; empty: whatever was recorded).
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Swap {
    pub from: Vec<Code>,
    pub to: Vec<Code>,
}

/// Why a message can't be recorded before a question is answered. The reader finds the first six in the words; the
/// others show only beside the stock and what was said before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doubt {
    Unit,
    Which,
    Amount,
    Place,
    Time,
    Kind,
    /// Whether what was counted as missing is to be struck off.
    Count,
    /// Whether it is what somebody else wrote a moment ago.
    Same,
    /// Whose milk it is.
    Whose,
    /// Whether milk is to be put on hold.
    Hold,
    /// Which child was fed.
    Child,
}

/// The words leave a choice that changes what would be recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Unclear {
    pub about: Doubt,
    /// What the message says besides, to be taken along with whichever reading is chosen ("undo. fed 80 or 90").
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub first: Vec<Act>,
    /// The possible readings, best first.
    pub acts: Vec<Act>,
}

impl Unclear {
    /// The possible readings whole: what the message says besides goes before each.
    pub fn options(self) -> Vec<Vec<Act>> {
        let first = self.first;
        self.acts.into_iter().map(|act| first.iter().cloned().chain([act]).collect()).collect()
    }
}

/// What one message says: acts in their order, or a question to ask first, or (neither) nothing for the bot.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Reading {
    pub acts: Vec<Act>,
    pub unclear: Option<Unclear>,
}

fn is_false(value: &bool) -> bool {
    !*value
}

/// Civil times as `YYYY-MM-DDTHH:MM`.
pub mod civil {
    use chrono::NaiveDateTime;
    use serde::{Deserialize, Deserializer, Serializer};

    pub const FORM: &str = "%Y-%m-%dT%H:%M";

    pub fn serialize<S: Serializer>(at: &Option<NaiveDateTime>, s: S) -> Result<S::Ok, S::Error> {
        match at {
            Some(at) => s.serialize_str(&at.format(FORM).to_string()),
            None => s.serialize_none(),
        }
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<Option<NaiveDateTime>, D::Error> {
        let text = Option::<String>::deserialize(d)?;
        text.map(|t| {
            NaiveDateTime::parse_from_str(&t, FORM)
                .map_err(|_| serde::de::Error::custom(format!("{t:?} is no time YYYY-MM-DDTHH:MM")))
        })
        .transpose()
    }
}
