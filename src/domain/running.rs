//! The kinds of clock that run on milk, and one that runs: from when, until when, and by whose figure.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::milk::Moment;
use super::rules::{Figure, Milk, Rules, Span, Spot};

/// The clocks that can run on milk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clock {
    Room,
    Cooler,
    Fridge,
    Freezer,
    Thawed,
    Warmed,
    Leftover,
}

impl Clock {
    pub const ALL: [Clock; 7] = [
        Clock::Room,
        Clock::Cooler,
        Clock::Fridge,
        Clock::Freezer,
        Clock::Thawed,
        Clock::Warmed,
        Clock::Leftover,
    ];

    /// The clock's name in settings.
    pub fn key(self) -> &'static str {
        match self {
            Clock::Room => "room",
            Clock::Cooler => "cooler",
            Clock::Fridge => "fridge",
            Clock::Freezer => "freezer",
            Clock::Thawed => "thawed",
            Clock::Warmed => "warmed",
            Clock::Leftover => "leftover",
        }
    }
}

impl Clock {
    fn covers(self, figure: &Figure) -> bool {
        let at = |spot| figure.places.contains(&spot);
        let of = |milk| figure.milk.contains(&milk);
        match self {
            Clock::Room => at(Spot::Room) && !of(Milk::Warmed),
            Clock::Cooler => at(Spot::Cooler),
            Clock::Fridge => of(Milk::Fresh) && at(Spot::Fridge),
            Clock::Freezer => of(Milk::Frozen),
            Clock::Thawed => of(Milk::Thawed) && at(Spot::Fridge),
            Clock::Warmed => of(Milk::Warmed),
            Clock::Leftover => of(Milk::Leftover),
        }
    }

    /// What the publisher allows at most, where a wished limit would be looser; `Some(None)`: the publisher has no figure
    /// to make stricter. Figures that the family enters themselves are theirs to choose.
    pub fn looser_than_published(self, wished: Span, rules: &Rules) -> Option<Option<Span>> {
        let after = |span: Span| span.after(Moment::UNIX_EPOCH, Tz::UTC);
        let most = rules.figures.iter().filter(|f| self.covers(f)).map(|f| f.limit).max_by_key(|s| after(*s));
        let looser = most.is_none_or(|most| after(wished) > after(most));
        (looser && !rules.entered).then_some(most)
    }
}

/// A clock that runs, and by whose figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Running {
    pub clock: Clock,
    pub start: Moment,
    pub by: Moment,
    pub best: Option<Moment>,
    /// `None`: the set has no figure for this, so the milk is used now.
    pub figure: Option<&'static Figure>,
    /// The set that it is from.
    pub rules: &'static Rules,
    /// The figure holds up to some temperature, and that is not known here.
    pub assumed: bool,
    /// It is the clock of what the milk is now and where, not one that it brought along.
    pub own: bool,
    /// The household's own limit, not the publisher's.
    pub entered: bool,
}

impl Running {
    /// No figure, "use at once" or "finish that feed": there is no time to keep the milk.
    pub fn use_now(&self) -> bool {
        !self.entered && self.figure.is_none_or(|f| f.limit.is_now())
    }
}
