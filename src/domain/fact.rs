//! What happened. Facts are appended and never changed; a correction, an edit or an undo is a record about an earlier one.
//! A fact names its containers by label; how much of them it takes is worked out by folding, so that an earlier fact
//! which is corrected later changes what follows from it.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use super::act::{Act, Code, Doubt, Found, Side, Sides, ThawHow, What};
use super::acts::Acts;
use super::milk::Moment;
use super::place::{Place, Site};
use super::volume::Volume;

/// One row of the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    pub seq: i64,
    pub recorded: Moment,
    /// Who said it; nobody for what the bot did by itself.
    pub by: Option<String>,
    /// The message it came from, by its id in the chat.
    pub message: Option<i64>,
    pub record: Record,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "record", rename_all = "snake_case")]
pub enum Record {
    /// What a message said: the acts as settled and the facts they made.
    Said {
        acts: Acts,
        facts: Vec<Dated>,
    },
    /// From now on entry `entry` said this, as if it always had.
    Amended {
        entry: i64,
        acts: Acts,
        facts: Vec<Dated>,
    },
    /// Entry `entry` is as if it had never been.
    TakenBack {
        entry: i64,
    },
    /// The bot asked before it recorded; the options are what each answer would have meant.
    Asked(Question),
    /// A question needs no answer any more.
    Answered {
        question: i64,
    },
    /// A question was left without an answer for so long that it isn't waited for any more.
    Lapsed {
        question: i64,
    },
    /// A question named these containers: what is said next may mean them. Or they are gone, and nothing was noted of them.
    Spoke {
        codes: Vec<Code>,
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        refused: bool,
    },
    /// The bot told how to type what it can't read.
    Hinted,
    /// The bot said this unasked.
    Reminded(Reminder),
    /// Somebody takes on what a reminder asked for.
    Claimed {
        reminder: i64,
    },
    /// What a reminder asked for has been done.
    Closed {
        reminder: i64,
    },
    Paused {
        until: Option<Moment>,
    },
    Resumed,
    Set {
        setting: String,
        value: String,
    },
}

/// What nearly all records consist of, without a look at the acts.
#[derive(Deserialize)]
struct Outline<'a> {
    record: &'a str,
    entry: Option<i64>,
    #[serde(borrow)]
    acts: Option<&'a RawValue>,
    facts: Option<Vec<Dated>>,
}

impl Record {
    /// A record as it was written down.
    pub fn read(text: &str) -> Result<Record, serde_json::Error> {
        match serde_json::from_str(text) {
            Ok(Outline { record: "said", acts: Some(acts), facts: Some(facts), .. }) => {
                Ok(Record::Said { acts: Acts::written(acts), facts })
            }
            Ok(Outline { record: "amended", entry: Some(entry), acts: Some(acts), facts: Some(facts) }) => {
                Ok(Record::Amended { entry, acts: Acts::written(acts), facts })
            }
            _ => serde_json::from_str(text),
        }
    }
}

impl Fact {
    /// What it put into containers of their own.
    pub fn kept(&self) -> &[Kept] {
        match self {
            Fact::Pumped { kept, .. } | Fact::Stored { kept, .. } | Fact::Split { kept, .. } => kept,
            _ => &[],
        }
    }
}

/// A fact and when it happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Dated {
    pub at: Moment,
    #[serde(flatten)]
    pub fact: Fact,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "fact", rename_all = "snake_case")]
pub enum Fact {
    /// Milk was expressed. What of `ml` is in no container was thrown away at once.
    Pumped {
        ml: Volume,
        about: bool,
        sides: Option<Sides>,
        kept: Vec<Kept>,
    },
    /// Milk that existed comes on the books. `expressed`: the early end; `None`: unknown age.
    Stored {
        expressed: Option<Moment>,
        kept: Vec<Kept>,
    },
    Fed(Feed),
    Nursed {
        side: Option<Side>,
        minutes: Option<u32>,
        child: Option<String>,
    },
    Formula {
        ml: Option<Volume>,
        child: Option<String>,
    },
    Moved {
        codes: Vec<Code>,
        place: Place,
        site: Option<Site>,
    },
    Thaw {
        codes: Vec<Code>,
        how: Option<ThawHow>,
    },
    /// `just_now`: it was said when it became so; else the clock from leaving the freezer is kept.
    Thawed {
        codes: Vec<Code>,
        just_now: bool,
    },
    Warmed {
        codes: Vec<Code>,
    },
    /// Poured into `into`; `result` is what it was said to hold then, `added` milk that was in no container.
    Combined {
        into: Code,
        from: Vec<Code>,
        result: Option<Volume>,
        added: Option<Volume>,
        place: Option<Place>,
    },
    /// Poured apart: what of the sources isn't in `kept` stays as it was.
    Split {
        from: Vec<Code>,
        kept: Vec<Kept>,
    },
    /// `ml`: only so much of the first.
    Discarded {
        codes: Vec<Code>,
        ml: Option<Volume>,
    },
    Held {
        codes: Vec<Code>,
    },
    Released {
        codes: Vec<Code>,
    },
    Donated {
        codes: Vec<Code>,
    },
    Sent {
        codes: Vec<Code>,
        site: Site,
    },
    Returned {
        codes: Vec<Code>,
        place: Option<Place>,
        /// A child drank from it while it was away; nobody told when.
        #[serde(default, skip_serializing_if = "is_false")]
        drunk_from: bool,
        /// How much was left in it then; `None`: nobody said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        left: Option<Volume>,
    },
    /// The cold was lost since `since`; `place`: only there.
    Outage {
        what: What,
        place: Option<Place>,
        since: Moment,
        /// Not at home but there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        site: Option<Site>,
        /// Nobody said since when: `since` is when it was told.
        #[serde(default, skip_serializing_if = "is_false")]
        start_unknown: bool,
    },
    Checked {
        codes: Vec<Code>,
        found: Option<Found>,
        cold: bool,
    },
    /// What is true of containers besides what was done to them, as if it had been written on them from the start. What
    /// isn't told stays as it is.
    Labelled {
        codes: Vec<Code>,
        /// When the milk was expressed: the early end.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expressed: Option<Moment>,
        #[serde(flatten)]
        marks: Marks,
    },
    /// People counted: these were not there, and those are there after all.
    Counted {
        missing: Vec<Code>,
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        back: Vec<Code>,
    },
}

fn is_false(value: &bool) -> bool {
    !*value
}

/// A container that comes on the books.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    pub code: Code,
    pub ml: Volume,
    pub place: Place,
    pub site: Option<Site>,
    /// Nothing was said of the place: it lies in the room until somebody says more; what was poured apart is where its
    /// source was, which was `place` as far as was known.
    #[serde(default, skip_serializing_if = "is_false")]
    pub untold: bool,
}

/// Whose milk it is, for which child, and what else is written on it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Marks {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub whose: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub child: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tags: Vec<String>,
}

/// Between the names of several whose milk is in one container.
const AND: &str = " + ";

impl Marks {
    pub fn is_empty(&self) -> bool {
        *self == Marks::default()
    }

    /// What is told now in place of what was told before; tags are added.
    pub fn tell(&mut self, told: &Marks) {
        self.whose = told.whose.clone().or(self.whose.take());
        self.child = told.child.clone().or(self.child.take());
        self.tags.extend(told.tags.iter().filter(|t| !self.tags.contains(t)).cloned().collect::<Vec<_>>());
    }

    /// Poured together: all of both.
    pub fn and(&self, other: &Marks) -> Marks {
        let mut both = Marks {
            whose: joined(&self.whose, &other.whose),
            child: joined(&self.child, &other.child),
            tags: self.tags.clone(),
        };
        both.tell(&Marks { tags: other.tags.clone(), ..Marks::default() });
        both
    }

    /// Milk of two parents, or meant for two children, must not become one.
    pub fn conflicts(&self, other: &Marks) -> bool {
        let differ = |a: &Option<String>, b: &Option<String>| a.is_some() && b.is_some() && a != b;
        differ(&self.whose, &other.whose) || differ(&self.child, &other.child)
    }

    /// Whether the milk is (also) this parent's.
    pub fn is_of(&self, name: &str) -> bool {
        self.whose.as_deref().is_some_and(|whose| whose.split(AND).any(|w| w == name))
    }
}

fn joined(a: &Option<String>, b: &Option<String>) -> Option<String> {
    match (a, b) {
        (Some(a), Some(b)) => {
            let mut names: Vec<&str> = a.split(AND).chain(b.split(AND)).collect();
            names.sort_unstable();
            names.dedup();
            Some(names.join(AND))
        }
        (a, b) => a.clone().or(b.clone()),
    }
}

/// A child drank expressed milk.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Feed {
    /// Who gave it, where that isn't who told it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    pub child: Option<String>,
    /// The containers it came from, in the order in which they were emptied. Empty: from nothing on the books.
    pub codes: Vec<Code>,
    /// What was drunk; `None`: all that was there, less what was left.
    pub drunk: Option<Volume>,
    pub about: bool,
    pub offered: Option<Volume>,
    /// What stayed in the bottle.
    pub left: Option<Volume>,
    pub left_place: Option<Place>,
    pub began: Option<Moment>,
    pub ended: Option<Moment>,
    /// Poured out first: the rest of the container was never drunk from.
    pub poured: bool,
    /// The label for what stayed in the bottle when the rest of its container keeps the old one.
    pub bottle: Option<Code>,
    /// Has begun and not ended.
    pub open: bool,
    /// Given on top of the feed before it: one feed with that.
    #[serde(default)]
    pub more: bool,
}

/// What the bot wants to know before it records a message.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Question {
    pub about: Doubt,
    /// Who is asked: the sender of the message.
    pub of: Option<String>,
    pub message: Option<i64>,
    /// The words that it is about, as typed.
    #[serde(default)]
    pub text: String,
    /// The entry that an answer changes, if something was recorded already.
    pub entry: Option<i64>,
    /// When the message was sent; an answer counts as said then.
    pub sent: Moment,
    /// The readings to choose from, best first; each is the whole message.
    pub options: Vec<Vec<Act>>,
    /// If the first answer is taken, this entry said this: what two people wrote of one thing, put together.
    #[serde(default)]
    pub joined: Option<(i64, Vec<Act>)>,
}

/// Something said unasked, so that it isn't said twice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reminder {
    pub why: Why,
    pub stage: Stage,
    /// Nobody: the group.
    pub to: Option<String>,
    /// The containers, each with the use-by that was told.
    pub codes: Vec<(Code, Option<Moment>)>,
    /// For a plan: the day it is for.
    pub day: Option<NaiveDate>,
    /// The questions that were left without an answer, named once.
    #[serde(default)]
    pub questions: Vec<i64>,
    /// For a plan: from whose milk, where several parents pump.
    #[serde(default)]
    pub whose: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    Room,
    Fridge,
    Cooler,
    Thawed,
    Warmed,
    Leftover,
    Freezer,
    Plan,
    Check,
    Held,
    Digest,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    Soon,
    Past,
    Due,
}
