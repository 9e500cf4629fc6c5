//! What milk is: the states it goes through, one way only, and the life of one container as far as its clocks need it.
//! No field here is ever moved later or given back by what is done to the milk.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::act::ThawHow;
use super::place::{Place, Site};

/// An instant; civil time is made of it only with the household's zone.
pub type Moment = DateTime<Utc>;

/// Milk only moves down this list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    Fresh,
    Frozen,
    Thawing,
    Thawed,
    Warmed,
    Started,
}

/// Why a container holds nothing for this household any more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Gone {
    Fed,
    Discarded,
    Donated,
    Combined,
    Sent,
    Missing,
}

/// Time spent in one kind of place, over all visits. It only grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Stay {
    spent: TimeDelta,
    since: Option<Moment>,
}

impl Stay {
    pub fn enter(&mut self, at: Moment) {
        self.since.get_or_insert(at);
    }

    pub fn leave(&mut self, at: Moment) {
        if let Some(since) = self.since.take() {
            self.spent += (at - since).max(TimeDelta::zero());
        }
    }

    pub fn since(&self) -> Option<Moment> {
        self.since
    }

    pub fn spent(&self) -> TimeDelta {
        self.spent
    }

    /// When `limit` is used up, if the milk stays; nothing runs while it is elsewhere.
    pub fn runs_out(&self, limit: TimeDelta) -> Option<Moment> {
        self.since.map(|since| since + (limit - self.spent).max(TimeDelta::zero()))
    }

    /// The stricter of two stays, for milk that is poured together at `at`.
    pub fn stricter(self, other: Stay, at: Moment) -> Stay {
        let total = |s: &Stay| s.spent + s.since.map_or(TimeDelta::zero(), |since| at - since);
        if total(&self) >= total(&other) { self } else { other }
    }

    /// A stay of which only the length is known.
    pub fn of(spent: TimeDelta) -> Stay {
        Stay { spent, since: None }
    }
}

/// What the clocks of one container need to know of its life.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    pub state: State,
    pub place: Place,
    pub site: Option<Site>,
    /// Since when it lies there. `None`: not known.
    pub placed: Option<Moment>,
    /// The earliest plausible time; of a mixed container that of its oldest part. `None`: unknown age.
    pub expressed: Option<Moment>,
    pub first_frozen: Option<Moment>,
    /// The freezer it last lay in. `None`: never in one, or which is not known.
    pub frozen_in: Option<Place>,
    /// Handed over to the child care.
    pub received: Option<Moment>,
    pub left_freezer: Option<Moment>,
    /// Reported as fully thawed just then; else the clock runs from `left_freezer`.
    pub fully_thawed: Option<Moment>,
    pub thawed_how: Option<ThawHow>,
    /// When the oldest milk in it was expressed that by the books never lay in a freezer, though the rest did, or though
    /// people say that it thawed: its limit goes on.
    pub unfrozen: Option<Moment>,
    pub warmed: Option<Moment>,
    pub feed_began: Option<Moment>,
    pub feed_ended: Option<Moment>,
    /// Has been in a fridge or freezer, or came out of a cooler.
    pub chilled: bool,
    /// All hours at room temperature.
    pub room: Stay,
    /// Those of them that came after the milk had been cold.
    pub room_after_cold: Stay,
    pub cooler: Stay,
}

impl Life {
    /// By the books it never lay in a freezer, whatever is said of it.
    pub fn never_frozen(&self) -> bool {
        self.state != State::Frozen && self.first_frozen.is_none() && self.frozen_in.is_none()
    }

    /// It lay in a freezer before it came to be what it is.
    pub fn was_frozen(&self) -> bool {
        self.first_frozen.is_some() || self.left_freezer.is_some() || self.fully_thawed.is_some()
    }
}
