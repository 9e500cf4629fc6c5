//! What can be said back, as data. Pieces name containers by label; the words, and the clock times beside them, are made of
//! the ledger as it stands after the recording. No wording here.

use serde::{Deserialize, Serialize};

use super::act::{Act, Code, Doubt, Found, Kind, Pick, RuleOn, Side, ThawHow, Topic, What};
use super::fact::{Marks, Reminder};
use super::milk::{Gone, Moment};
use super::place::{Place, Site};
use super::volume::Volume;

/// An answer: its pieces, a line each, and the buttons under it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    pub pieces: Vec<Piece>,
    pub buttons: Vec<Choice>,
}

#[derive(Debug, Clone, PartialEq)]
pub enum Piece {
    // receipts
    /// A container came on the books.
    Label {
        code: Code,
    },
    NothingKept {
        ml: Volume,
    },
    Fed {
        codes: Vec<Code>,
        drunk: Option<Volume>,
        chosen: bool,
        child: Option<String>,
        at: Moment,
    },
    FeedBegan {
        codes: Vec<Code>,
        at: Moment,
    },
    /// What was drunk in one feed so far, where more was given.
    SoFar {
        ml: Volume,
    },
    /// What stayed in the bottle, or of a container that was drunk from.
    Leftover {
        code: Code,
        ml: Volume,
    },
    /// The rest of a container that was only poured from.
    Rest {
        code: Code,
    },
    Nursed {
        side: Option<Side>,
        minutes: Option<u32>,
        at: Moment,
        child: Option<String>,
    },
    Formula {
        ml: Option<Volume>,
        at: Moment,
        child: Option<String>,
    },
    Did {
        what: Did,
        codes: Vec<Code>,
        ml: Option<Volume>,
        place: Option<Place>,
        site: Option<Site>,
    },
    Outage {
        what: What,
        place: Option<Place>,
        since: Moment,
        codes: Vec<Code>,
        start_unknown: bool,
    },
    Counted {
        place: Option<Place>,
        seen: u32,
        books: u32,
        missing: Vec<Code>,
        /// Seen there, though not there by the books.
        extra: Vec<Code>,
        /// The books follow the count.
        settled: bool,
    },
    /// What was found after the cold was lost, and what the publisher says of it.
    Checked {
        found: Option<Found>,
        cold: bool,
        codes: Vec<Code>,
        of: Looked,
    },
    /// Milk that is held now had been drunk or sent before.
    WasDrunk {
        codes: Vec<Code>,
        ml: Volume,
        at: Moment,
        by: Option<String>,
    },
    WasSent {
        code: Code,
        site: Option<Site>,
        at: Moment,
        by: Option<String>,
    },
    /// An outage that is over: shorter than what a shut fridge or freezer bears by the publisher, or not.
    OutageOver {
        what: What,
        minutes: u32,
        short: bool,
        codes: Vec<Code>,
    },
    /// A limit of the household's own that would be looser than the publisher's.
    LimitStays {
        setting: String,
        limit: Option<super::rules::Span>,
        rules: &'static super::rules::Rules,
    },
    TakenBack {
        /// What the entries said, with all their corrections.
        acts: Vec<Act>,
    },
    /// How containers stand after something said of them was taken back.
    Stands {
        codes: Vec<Code>,
    },
    /// What was noted of them after that, and stands.
    NotedSince {
        entries: Vec<i64>,
    },
    Corrected,
    /// What a corrected entry said before, in the fields that differ.
    Before {
        act: Box<Act>,
    },
    Set {
        setting: String,
        value: String,
    },
    Paused {
        until: Option<Moment>,
    },
    Resumed,
    Claimed {
        by: String,
    },
    Closed {
        by: String,
    },

    // beside a receipt
    /// It was past its time when it was given.
    GivenPast {
        code: Code,
        by: Moment,
    },
    /// It was another child's milk.
    WrongMilk {
        codes: Vec<Code>,
        child: String,
    },
    MixedOwners {
        marks: Marks,
    },
    GivenHeld {
        code: Code,
    },
    GivenUnknown {
        code: Code,
    },
    GivenSuspect {
        code: Code,
    },
    MoreThanThere {
        code: Option<Code>,
        beyond: Volume,
    },
    /// Milk was put where the cold was lost, and nobody has said that it is back.
    ColdNotBack {
        place: Place,
    },
    NotRefrozen {
        codes: Vec<Code>,
    },
    /// Warmed, never frozen: the freezer gives it no new time.
    NotFrozenNow {
        codes: Vec<Code>,
    },
    /// Said to thaw, though it never was in a freezer by the books.
    NeverFrozen {
        codes: Vec<Code>,
    },
    /// Back from elsewhere without a word of how it was kept on the way.
    HoursAway {
        codes: Vec<Code>,
    },
    /// Counted as missing once, and there after all.
    SeenAgain {
        codes: Vec<Code>,
    },
    GivenAwayStarted {
        codes: Vec<Code>,
    },
    NotFrozenStarted {
        codes: Vec<Code>,
    },
    /// Some of what was poured together had been drunk from.
    StartedMixed {
        codes: Vec<Code>,
    },
    NotForSending {
        codes: Vec<Code>,
    },
    /// Labels that the message was recorded without: on no books, or gone.
    LeftOut {
        codes: Vec<(Code, Option<Gone>)>,
    },
    LabelTaken {
        wanted: Code,
        given: Code,
    },
    PlaceOpen {
        code: Code,
    },
    CombiningRule,
    AskThawHow {
        codes: Vec<Code>,
    },
    AskAge {
        codes: Vec<Code>,
    },

    // answers
    Topic {
        topic: Topic,
        codes: Vec<Code>,
        pick: Option<Pick>,
        place: Option<Place>,
        ml: Option<Volume>,
        rule: Option<RuleOn>,
        asked: Box<Asked>,
    },
    Alarm {
        what: What,
    },
    Ask {
        about: Doubt,
    },
    /// Somebody else wrote of one just before.
    AskSame {
        kind: Kind,
        by: String,
        ml: Option<Volume>,
        at: Moment,
    },
    /// A question about medicine or drink: no verdict; whether milk can be put on hold by a button.
    Medicine {
        hold: bool,
    },
    /// It was the same, and is noted once.
    NotedOnce,
    /// Under a receipt: which container it was, if not that one.
    PickOther,
    /// Milk that was spoken of isn't what it was taken for.
    NoSuch {
        codes: Vec<Code>,
    },
    /// No hold ends by itself, whatever end was told.
    HeldOn {
        until: Moment,
        code: Option<Code>,
    },
    /// Said to be missing, and to be struck off after a yes.
    NotThere {
        codes: Vec<Code>,
    },
    NoSuchChild {
        child: String,
    },
    AlreadyGone {
        code: Code,
        gone: Gone,
    },
    /// What was gone is there after all; what was written of it meanwhile was not noted.
    ThereAfterAll {
        codes: Vec<Code>,
    },
    NoneLike {
        kind: Wanted,
    },
    /// There is milk of that kind, but it is on hold, or nobody has looked at it since the cold was lost.
    SetAside {
        codes: Vec<Code>,
    },
    AmountMissing,
    WhichOne,
    NothingToUndo,
    NothingToCorrect,
    NotYours,
    NothingAsked,
    BadSetting {
        error: super::household::BadSetting,
    },
    Reminder {
        reminder: Reminder,
    },
    /// The group has been taken on.
    Welcome,
    /// Plain messages don't reach the bot here.
    SeesOnlyCommands,
    Unreadable,
}

/// What narrows a question: where, for whom, whose milk, and what it is called.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Asked {
    pub site: Option<Site>,
    pub child: Option<String>,
    pub person: Option<String>,
    pub tags: Vec<String>,
}

/// What was done to containers that were on the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Did {
    Moved,
    Thawing,
    Thawed,
    Warmed,
    Combined,
    Split,
    Discarded,
    Held,
    /// Whatever there is; what is pumped later isn't.
    HeldAll,
    Released,
    Donated,
    Sent,
    Returned,
    Checked,
}

/// What people looked at after the cold was lost, as the books had it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Looked {
    Frozen,
    /// Frozen, and nobody knows since when the cold was lost.
    SinceUnknown,
    /// Out of the freezer already.
    Thawing,
    Unfrozen,
    /// Not frozen, and what was said settles nothing.
    Open,
    /// Not frozen, and no cold was lost there.
    AsBefore,
}

/// What kind of container was looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    Frozen,
    Unfrozen,
    Sent,
    Any,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    pub label: ChoiceLabel,
    pub press: Press,
}

#[derive(Debug, Clone, PartialEq)]
pub enum ChoiceLabel {
    Undo,
    OnIt,
    Done,
    PouredFirst,
    Place(Place),
    How(ThawHow),
    Reading(Vec<Act>),
    Same,
    Another,
    /// A person or a child.
    Name(String),
    /// Other containers than the one that was chosen.
    Other,
    Container(Code),
    Yes,
    Why,
}

impl ChoiceLabel {
    /// How one of a question's answers is called: by the name that it is about, or by what it would record.
    pub fn of(about: Doubt, acts: &[Act]) -> ChoiceLabel {
        let name = match about {
            Doubt::Child => acts.iter().find_map(|a| a.child.clone()),
            Doubt::Whose => acts.iter().find_map(|a| a.person.clone()),
            _ => None,
        };
        name.map_or_else(|| ChoiceLabel::Reading(acts.to_vec()), ChoiceLabel::Name)
    }
}

/// What pressing a button means; carried by the button itself, so it must be short and say nothing of the household.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Press {
    Undo {
        entry: i64,
    },
    Claim {
        reminder: i64,
    },
    Close {
        reminder: i64,
    },
    Option {
        question: i64,
        index: usize,
    },
    Poured {
        entry: i64,
    },
    Place {
        entry: i64,
        place: Place,
    },
    How {
        entry: i64,
        how: ThawHow,
    },
    /// It was another container; which, is asked.
    Other {
        entry: i64,
    },
    Code {
        entry: i64,
        code: Code,
    },
    Why {
        code: Code,
    },
}

const HOWS: [(ThawHow, &str); 3] =
    [(ThawHow::Fridge, "fridge"), (ThawHow::WarmWater, "warm_water"), (ThawHow::Room, "room")];

impl Press {
    pub fn encode(self) -> String {
        match self {
            Press::Undo { entry } => format!("u:{entry}"),
            Press::Claim { reminder } => format!("c:{reminder}"),
            Press::Close { reminder } => format!("d:{reminder}"),
            Press::Option { question, index } => format!("q:{question}:{index}"),
            Press::Poured { entry } => format!("p:{entry}"),
            Press::Place { entry, place } => format!("a:{entry}:{}", place.key()),
            Press::How { entry, how } => {
                let key = HOWS.iter().find(|(h, _)| *h == how).map_or("", |(_, key)| key);
                format!("h:{entry}:{key}")
            }
            Press::Other { entry } => format!("o:{entry}"),
            Press::Code { entry, code } => format!("b:{entry}:{code}"),
            Press::Why { code } => format!("w:{code}"),
        }
    }

    /// `None` for anything the bot never put on a button.
    pub fn decode(data: &str) -> Option<Press> {
        let mut pieces = data.split(':');
        let kind = pieces.next()?;
        let seq: i64 = pieces.next()?.parse().ok()?;
        let more = pieces.next();
        if pieces.next().is_some() {
            return None;
        }
        match (kind, more) {
            ("u", None) => Some(Press::Undo { entry: seq }),
            ("c", None) => Some(Press::Claim { reminder: seq }),
            ("w", None) => Some(Press::Why { code: Code::try_from(seq).ok()? }),
            ("d", None) => Some(Press::Close { reminder: seq }),
            ("p", None) => Some(Press::Poured { entry: seq }),
            ("o", None) => Some(Press::Other { entry: seq }),
            ("b", Some(code)) => Some(Press::Code { entry: seq, code: code.parse().ok()? }),
            ("q", Some(index)) => Some(Press::Option { question: seq, index: index.parse().ok()? }),
            ("a", Some(key)) => {
                Some(Press::Place { entry: seq, place: Place::ALL.into_iter().find(|p| p.key() == key)? })
            }
            ("h", Some(key)) => Some(Press::How { entry: seq, how: HOWS.iter().find(|(_, k)| *k == key)?.0 }),
            _ => None,
        }
    }
}
