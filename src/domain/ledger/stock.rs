//! What the household has, as the facts folded so far say: every container ever on the books, the totals over all time,
//! and what was fed and expressed. Pumped + stored + found = fed + discarded + donated + missing + what is left, always.
//! What is gone is kept apart from what exists, and leftovers that were over long ago from what still counts, so that years of them
//! cost a look at the stock nothing. A copy shares all that isn't changed in it: copying costs the same however much there
//! was.

use std::collections::BTreeSet;
use std::iter;
use std::sync::Arc;

use chrono::TimeDelta;
use imbl::{OrdMap, OrdSet, Vector};

use crate::domain::act::{Code, Side, Sides};
use crate::domain::fact::Marks;
use crate::domain::keeping::{Clock, FEED_LENGTH, Keeping, Running};
use crate::domain::milk::{Gone, Life, Moment, State};
use crate::domain::place::Place;
use crate::domain::volume::Volume;

use super::cold::Loss;

/// One container and all that is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Container {
    pub code: Code,
    pub ml: Volume,
    pub life: Life,
    pub marks: Marks,
    /// When each milk that is in it was expressed, as far as known.
    pub parts: BTreeSet<Moment>,
    /// Must not be used, since then.
    pub held_since: Option<Moment>,
    /// Lay where the cold was lost, and nobody has looked at it since.
    pub suspect_since: Option<Moment>,
    /// How it was lost; of use only while it is suspect.
    pub loss: Loss,
    pub gone: Option<Gone>,
    /// What it held when it was counted as missing: it may be seen again.
    pub missed: Volume,
    /// More was taken out than was in it: for people to count.
    pub odd: bool,
    /// A use-by that has passed; it never comes back, whatever is done to the milk.
    pub expired: Option<Moment>,
    pub keeping: Keeping,
    /// When and by whom it was last written about.
    pub logged: Moment,
    pub logged_by: Option<String>,
    pub steps: Vec<Step>,
}

/// One step in a container's life, for "why?".
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    pub at: Moment,
    pub state: State,
    pub place: Place,
    /// What decided after this step, and until when.
    pub clock: Option<Clock>,
    pub use_by: Option<Moment>,
}

impl Container {
    pub fn use_by(&self) -> Option<Moment> {
        match (self.expired, self.keeping.use_by) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    pub fn is_past(&self, now: Moment) -> bool {
        self.use_by().is_some_and(|by| by <= now)
    }

    /// Milk to be used at once, for no time is given to keep it, and used within the length of a feed: as it was told.
    /// Our own choice, no source.
    pub fn used_at_once(&self, now: Moment) -> bool {
        self.expired.is_none_or(|by| self.keeping.use_by == Some(by))
            && self.keeping.use_now()
            && self.use_by().is_some_and(|by| now - by <= FEED_LENGTH)
    }

    pub fn is_started(&self) -> bool {
        self.life.state == State::Started
    }

    pub fn is_sent(&self) -> bool {
        self.gone == Some(Gone::Sent)
    }

    /// Still somewhere in the world, here or where it was sent.
    pub fn exists(&self) -> bool {
        self.gone.is_none() || self.is_sent()
    }

    /// The clock that decides over milk that was warmed or drunk from, with what is known of that.
    pub(super) fn short_clock(&self) -> Option<ShortClock> {
        let clock = self.keeping.decisive().filter(|_| self.life.state >= State::Warmed)?;
        Some(ShortClock { known: warmed_or_fed(&self.life), clock: *clock })
    }

    /// Milk that was warmed or drunk from gets more time neither in a fridge nor in another house, unless more is told of its
    /// warming or of the feed. Our own cautious choice, no source.
    pub(super) fn goes_on(&mut self, short: Option<ShortClock>) {
        if let Some(short) = short.filter(|short| short.known == warmed_or_fed(&self.life)) {
            self.keeping = std::mem::take(&mut self.keeping).no_later_than(short.clock);
        }
    }

    /// When a leftover is over, where nothing else is to be done about it.
    fn end(&self) -> Option<Moment> {
        let plain = self.is_started() && self.held_since.is_none() && self.suspect_since.is_none();
        self.use_by().filter(|_| plain)
    }

    /// Milk that has left the freezer for good counts as unfrozen, so does milk that never was in one.
    pub fn is_frozen(&self) -> bool {
        self.life.state == State::Frozen
    }

    pub fn age_known(&self) -> bool {
        self.life.expressed.is_some()
    }

    /// The cold was lost where it lies, and nobody has said since whether it is back.
    pub fn cold_not_back(&self) -> bool {
        self.suspect_since.is_some_and(|since| self.life.placed <= Some(since)) && !self.loss.seen
    }

    /// May be offered to somebody at home at `now`: neither held nor suspect, past, started, sent nor elsewhere.
    pub fn may_be_offered(&self, now: Moment) -> bool {
        self.gone.is_none()
            && self.life.site.is_none()
            && self.age_known()
            && self.held_since.is_none()
            && self.suspect_since.is_none()
            && !self.is_started()
            && !self.is_past(now)
    }
}

/// What decided until when milk that was warmed or drunk from may be used.
pub(super) struct ShortClock {
    known: WarmedOrFed,
    clock: Running,
}

type WarmedOrFed = (State, [Option<Moment>; 3]);

fn warmed_or_fed(life: &Life) -> WarmedOrFed {
    (life.state, [life.warmed, life.feed_began, life.feed_ended])
}

/// Over all time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    pub pumped: Volume,
    pub stored: Volume,
    pub found: Volume,
    pub fed: Volume,
    pub discarded: Volume,
    pub donated: Volume,
    pub missing: Volume,
}

/// What went into a child, of any kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Meal {
    pub at: Moment,
    pub by: Option<String>,
    pub child: Option<String>,
    pub kind: MealKind,
}

#[derive(Debug, Clone, PartialEq)]
pub enum MealKind {
    Bottle { drunk: Volume, left: Volume, about: bool, codes: Vec<Code> },
    Breast { side: Option<Side>, minutes: Option<u32> },
    Formula { ml: Option<Volume> },
}

#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    pub at: Moment,
    pub ml: Volume,
    pub about: bool,
    pub sides: Option<Sides>,
}

/// Nobody is told any more of a leftover that was over so long ago, nor is it anybody's choice: most were thrown away
/// without a word. Our own choice, no source.
const LONG_OVER: TimeDelta = TimeDelta::days(1);

#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stock {
    /// What exists, but for leftovers that were over long ago.
    current: OrdMap<Code, Arc<Container>>,
    /// When each leftover among these is over, where nothing else is to be done about it.
    ends: OrdSet<(Moment, Code)>,
    /// Exist still, leftovers that were over long ago.
    over: OrdMap<Code, Arc<Container>>,
    /// What all that exists holds.
    left: Volume,
    /// More was taken out of something than can be.
    short: bool,
    gone: OrdMap<Code, Arc<Container>>,
    pub totals: Totals,
    /// In order of time.
    pub meals: Vector<Arc<Meal>>,
    pub sessions: Vector<Session>,
}

impl Stock {
    pub fn get(&self, code: Code) -> Option<&Container> {
        let there = [&self.current, &self.over, &self.gone];
        there.into_iter().find_map(|some| some.get(&code)).map(Arc::as_ref)
    }

    /// All that isn't gone, sent milk included, by label.
    pub fn existing(&self) -> impl Iterator<Item = &Container> {
        let (mut current, mut over) = (self.current.values().peekable(), self.over.values().peekable());
        iter::from_fn(move || match (current.peek(), over.peek()) {
            (Some(a), Some(b)) if b.code < a.code => over.next(),
            (None, _) => over.next(),
            _ => current.next(),
        })
        .map(Arc::as_ref)
    }

    /// The same without leftovers that were over long ago.
    pub fn current(&self) -> impl Iterator<Item = &Container> {
        self.current.values().map(Arc::as_ref)
    }

    /// What is here and not sent away, by label.
    pub fn here(&self) -> impl Iterator<Item = &Container> {
        self.existing().filter(|c| c.gone.is_none())
    }

    /// The same without leftovers that were over long ago: all of which there may still be something to say.
    pub fn current_here(&self) -> impl Iterator<Item = &Container> {
        self.current().filter(|c| c.gone.is_none())
    }

    /// Every container ever on the books, by label.
    pub fn ever(&self) -> Vec<&Container> {
        let mut ever: Vec<&Container> = self.existing().chain(self.gone.values().map(Arc::as_ref)).collect();
        ever.sort_unstable_by_key(|c| c.code);
        ever
    }

    pub(super) fn add(&mut self, container: Container) {
        self.gone.remove(&container.code);
        self.put(Arc::new(container));
    }

    fn put(&mut self, container: Arc<Container>) {
        self.left += container.ml;
        self.short |= container.ml < Volume::ZERO;
        if let Some(end) = container.end() {
            self.ends.insert((end, container.code));
        }
        self.current.insert(container.code, container);
    }

    fn take(&mut self, code: Code) -> Option<Arc<Container>> {
        let container = self.current.remove(&code).or_else(|| self.over.remove(&code))?;
        self.left -= container.ml;
        if let Some(end) = container.end() {
            self.ends.remove(&(end, code));
        }
        Some(container)
    }

    /// Changes a container that exists; one that is gone by that is put apart.
    pub(super) fn change<R>(&mut self, code: Code, change: impl FnOnce(&mut Container) -> R) -> Option<R> {
        let mut container = self.take(code)?;
        let result = change(Arc::make_mut(&mut container));
        if container.exists() {
            self.put(container);
        } else {
            self.gone.insert(code, container);
        }
        Some(result)
    }

    /// Puts apart leftovers that were over long before `now`.
    pub(super) fn lay_aside(&mut self, now: Moment) {
        while let Some((end, code)) = self.ends.get_min().copied().filter(|(end, _)| *end <= now - LONG_OVER)
        {
            self.ends.remove(&(end, code));
            self.over.extend(self.current.remove(&code).map(|container| (code, container)));
        }
    }

    /// Takes a container that a count had missed back among those that exist; what it held then.
    pub(super) fn seen_again(&mut self, code: Code) -> Option<Volume> {
        let missed = self.gone.get(&code).filter(|c| c.gone == Some(Gone::Missing))?.missed;
        let container = self.gone.remove(&code)?;
        self.put(container);
        Some(missed)
    }

    /// More was taken out of it than was in it, also where it held nothing any more.
    pub(super) fn mark_odd(&mut self, code: Code) {
        let places = [&mut self.current, &mut self.over, &mut self.gone];
        if let Some(container) = places.into_iter().find_map(|some| some.get_mut(&code)) {
            Arc::make_mut(container).odd = true;
        }
    }

    /// What may be offered at home, unfrozen milk first, each by use-by, then label: oldest first.
    pub fn in_order_of_use(&self, now: Moment) -> Vec<&Container> {
        let mut offered: Vec<&Container> = self.current().filter(|c| c.may_be_offered(now)).collect();
        offered.sort_by_key(|c| (c.is_frozen(), c.use_by(), c.code));
        offered
    }

    /// Whether not a microlitre was lost or made.
    pub fn adds_up(&self) -> bool {
        let t = &self.totals;
        debug_assert_eq!(self.left, self.existing().map(|c| c.ml).sum(), "of what exists");
        !self.short
            && t.pumped + t.stored + t.found == t.fed + t.discarded + t.donated + t.missing + self.left
    }
}
