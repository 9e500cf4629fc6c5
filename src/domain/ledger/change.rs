//! What each thing that is done to milk changes in its life. States only move down; no clock's start moves later.

use crate::domain::act::ThawHow;
use crate::domain::fact::Feed;
use crate::domain::keeping::thawed_how;
use crate::domain::milk::{Life, Moment, State, Stay};
use crate::domain::place::{Place, Site};

pub fn earlier(a: Option<Moment>, b: Option<Moment>) -> Option<Moment> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

/// Frozen milk that comes out of the freezers thaws; milk that was never frozen and goes into one is frozen from then on.
/// Milk that has thawed keeps its state and its clocks wherever it is put.
pub fn moved(life: &mut Life, at: Moment, place: Place, site: Option<Site>) {
    life.site = site;
    life.arrive(at);
    match (life.state, place.is_freezer()) {
        (State::Frozen, false) => {
            life.state = State::Thawing;
            life.left_freezer.get_or_insert(at);
        }
        (State::Fresh, true) => {
            life.state = State::Frozen;
            life.first_frozen.get_or_insert(at);
            life.unfrozen = None;
        }
        _ => {}
    }
    if place == Place::Fridge && life.left_freezer == Some(at) {
        // Out of the freezer into the fridge: it thaws there, wherever it lay before and will be put later.
        life.thawed_how.get_or_insert(ThawHow::Fridge);
    }
    life.put(place, at);
}

/// It thaws from now on, as people say. Milk that by the books never lay in a freezer goes on under the limit that it has
/// from expression: a word about it is no new clock.
fn leave_freezer(life: &mut Life, at: Moment) {
    if life.never_frozen() {
        life.unfrozen = earlier(life.unfrozen, life.expressed);
    }
    life.left_freezer.get_or_insert(at);
}

pub fn thaw(life: &mut Life, at: Moment, how: Option<ThawHow>) {
    leave_freezer(life, at);
    life.state = life.state.max(State::Thawing);
    life.thawed_how = life.thawed_how.or(how);
    // Until somebody says where it thaws, the hours in the room count.
    life.put(if how == Some(ThawHow::Fridge) { Place::Fridge } else { Place::Room }, at);
}

pub fn thawed(life: &mut Life, at: Moment, just_now: bool) {
    if life.state == State::Frozen {
        // Nobody said where it thawed.
        thaw(life, at, None);
    }
    leave_freezer(life, at);
    life.state = life.state.max(State::Thawed);
    if just_now {
        life.fully_thawed.get_or_insert(at);
    }
    if life.place.is_freezer() {
        life.put(Place::Fridge, at);
    }
}

pub fn warmed(life: &mut Life, at: Moment) {
    if life.state == State::Frozen || life.left_freezer.is_some() {
        life.left_freezer.get_or_insert(at);
    }
    life.state = life.state.max(State::Warmed);
    life.warmed.get_or_insert(at);
    life.put(Place::Room, at);
}

pub fn started(mut life: Life, at: Moment, feed: &Feed) -> Life {
    if life.state == State::Frozen {
        life.left_freezer.get_or_insert(at);
    }
    life.state = State::Started;
    // Neither told: it began then at the latest.
    let untold = (feed.began.is_none() && feed.ended.is_none()).then_some(at);
    life.feed_began = life.feed_began.or(feed.began).or(untold);
    life.feed_ended = life.feed_ended.or(feed.ended);
    life.put(feed.left_place.unwrap_or(Place::Room), at);
    life
}

impl Life {
    /// A container's first moment on the books. `since`: from when on it lay in `place`.
    pub fn begun(expressed: Option<Moment>, place: Place, site: Option<Site>, since: Moment) -> Life {
        let frozen = place.is_freezer();
        let mut life = Life {
            state: if frozen { State::Frozen } else { State::Fresh },
            place,
            site,
            placed: None,
            expressed,
            first_frozen: expressed.filter(|_| frozen),
            frozen_in: None,
            received: None,
            left_freezer: None,
            fully_thawed: None,
            thawed_how: None,
            unfrozen: None,
            warmed: None,
            feed_began: None,
            feed_ended: None,
            chilled: false,
            room: Stay::default(),
            room_after_cold: Stay::default(),
            cooler: Stay::default(),
        };
        life.put(place, since);
        life.arrive(since);
        life
    }

    /// It was expressed at another time than was said. Milk that was taken to be frozen from then on still is.
    pub fn redate(&mut self, expressed: Moment) {
        if self.first_frozen == self.expressed && self.frozen_in.is_some() {
            self.first_frozen = Some(expressed);
        }
        if self.unfrozen.is_some() && self.unfrozen == self.expressed {
            self.unfrozen = Some(expressed);
        }
        self.expressed = Some(expressed);
    }

    /// Puts the milk somewhere: the hours in the place it leaves stop counting, but are never given back.
    pub fn put(&mut self, place: Place, at: Moment) {
        if place != self.place {
            self.room.leave(at);
            self.room_after_cold.leave(at);
            self.cooler.leave(at);
            self.chilled |= self.place == Place::Cooler;
        }
        if place != self.place || self.placed.is_none() {
            self.placed = Some(at);
        }
        self.place = place;
        if place.is_freezer() && self.state == State::Frozen {
            self.frozen_in = Some(place);
        }
        match place {
            Place::Room => {
                self.room.enter(at);
                if self.chilled {
                    self.room_after_cold.enter(at);
                }
            }
            Place::Cooler => self.cooler.enter(at),
            _ => self.chilled = true,
        }
    }

    /// The child care counts from when it got the milk; that is not moved by a second visit.
    pub fn arrive(&mut self, at: Moment) {
        if self.site == Some(Site::Daycare) {
            self.received.get_or_insert(at);
        }
    }

    /// Poured together: the age of the oldest part, the state and clocks of the strictest. Frozen milk that is poured to
    /// milk that isn't thaws from then on. Our own cautious choice, no source.
    pub fn mixed_with(&self, other: &Life, at: Moment) -> Life {
        let both_known = self.expressed.is_some() && other.expressed.is_some();
        let thawed = [self, other].into_iter().filter(|l| l.left_freezer.is_some());
        let all_fully = thawed.clone().all(|l| l.fully_thawed.is_some());
        let frozen = |l: &Life| l.state == State::Frozen;
        let thaws = frozen(self) != frozen(other);
        let state = self.state.max(other.state);
        let out = |l: &Life| l.left_freezer.or((thaws && frozen(l)).then_some(at));
        let never = |l: &Life| l.unfrozen.or(l.expressed.filter(|_| l.never_frozen()));
        Life {
            state: if thaws { state.max(State::Thawing) } else { state },
            place: self.place,
            site: self.site.clone(),
            placed: self.placed,
            expressed: earlier(self.expressed, other.expressed).filter(|_| both_known),
            first_frozen: earlier(self.first_frozen, other.first_frozen),
            // From the freezer that keeps milk the shorter time to the one that keeps it longer.
            frozen_in: match (self.frozen_in, other.frozen_in) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            },
            received: earlier(self.received, other.received),
            left_freezer: earlier(out(self), out(other)),
            fully_thawed: earlier(self.fully_thawed, other.fully_thawed).filter(|_| all_fully),
            thawed_how: strictest_way(thawed.map(thawed_how)),
            unfrozen: earlier(never(self), never(other)),
            warmed: earlier(self.warmed, other.warmed),
            feed_began: earlier(self.feed_began, other.feed_began),
            feed_ended: earlier(self.feed_ended, other.feed_ended),
            chilled: self.chilled || other.chilled,
            room: running_here(self.room.stricter(other.room, at), self.place == Place::Room, at),
            room_after_cold: running_here(
                self.room_after_cold.stricter(other.room_after_cold, at),
                self.place == Place::Room && (self.chilled || other.chilled),
                at,
            ),
            cooler: running_here(self.cooler.stricter(other.cooler, at), self.place == Place::Cooler, at),
        }
    }
}

/// Thawed in different ways: where one is unknown or at room temperature, no publisher's figure is longer for all.
fn strictest_way(mut ways: impl Iterator<Item = Option<ThawHow>>) -> Option<ThawHow> {
    let first = ways.next()?;
    ways.fold(first, |strictest, way| match (strictest, way) {
        (a, b) if a == b => a,
        (Some(ThawHow::Fridge | ThawHow::WarmWater), Some(ThawHow::Fridge | ThawHow::WarmWater)) => {
            Some(ThawHow::WarmWater)
        }
        _ => Some(ThawHow::Room),
    })
}

/// A stay taken over from another container runs on only where the milk is now.
fn running_here(mut stay: Stay, here: bool, at: Moment) -> Stay {
    if here {
        stay.enter(at)
    } else {
        stay.leave(at)
    }
    stay
}
