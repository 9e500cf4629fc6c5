//! Milk that lay where the cold was lost: suspect until somebody has looked at it, and what becomes of it then. What is
//! not known counts against the milk; nothing here gives a clock back.

use chrono::TimeDelta;

use crate::domain::act::{Code, Found, ThawHow};
use crate::domain::milk::{Life, Moment, State};
use crate::domain::place::{Place, Site};
use crate::domain::rules::{Fill, Spot, Topic, Verdict};

use super::change::earlier;
use super::fold::Fold;
use super::stock::{Container, Stock};

/// How the cold was lost where milk lay.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Loss {
    /// A door stood open: what publishers say of a shut fridge doesn't hold.
    pub door: bool,
    /// Nobody said since when.
    pub start_unknown: bool,
    /// Somebody has looked since, though what was found doesn't settle what became of the milk.
    pub seen: bool,
}

impl Loss {
    /// Poured together: what is against either.
    pub fn and(self, other: Loss) -> Loss {
        Loss {
            door: self.door || other.door,
            start_unknown: self.start_unknown || other.start_unknown,
            seen: self.seen && other.seen,
        }
    }
}

/// What the publisher says of milk after the cold was lost.
struct After {
    /// Milk with ice crystals in it may be frozen again.
    icy_may_stay: bool,
    /// So long a fridge stays cold that is kept shut.
    shut_fridge: Option<TimeDelta>,
}

impl Fold<'_> {
    /// All that lay where the cold was lost is suspect until somebody has looked at it.
    pub(super) fn outage(
        &self,
        stock: &mut Stock,
        at: Moment,
        place: Option<Place>,
        since: Moment,
        site: Option<&Site>,
        loss: Loss,
    ) {
        let cold = |p: Place| match place {
            Some(Place::Freezer) => p.is_freezer(),
            Some(place) => p == place,
            None => p == Place::Fridge || p.is_freezer(),
        };
        let codes: Vec<Code> = stock
            .here()
            .filter(|c| c.life.site.as_ref() == site && cold(c.life.place))
            .map(|c| c.code)
            .collect();
        self.each(stock, at, &codes, |c| {
            // What came there later lost its cold only then.
            let here = c.steps.iter().rev().take_while(|s| s.place == c.life.place).last().map(|s| s.at);
            let from = here.map_or(since, |here| here.max(since)).min(at);
            lost(c, from, loss);
        });
    }

    /// People looked at it.
    pub(super) fn looked_at(
        &self,
        stock: &mut Stock,
        at: Moment,
        codes: &[Code],
        found: Option<Found>,
        cold: bool,
    ) {
        let after = self.after_lost_cold();
        self.each(stock, at, codes, |c| checked(c, at, found, cold, &after));
        self.over_already(stock, at, codes);
    }

    /// Milk whose time was over when it was looked at stays past, also where the rules leave it no time at all.
    fn over_already(&self, stock: &mut Stock, at: Moment, codes: &[Code]) {
        for code in codes {
            stock.change(*code, |c| {
                if c.is_past(at) {
                    c.expired = c.use_by();
                }
            });
        }
    }

    fn after_lost_cold(&self) -> After {
        let refreezing = self.rules.note(Topic::Refreezing).and_then(|n| n.verdict);
        After {
            icy_may_stay: refreezing == Some(Verdict::WhileIcy),
            shut_fridge: self.rules.outage(Spot::Fridge, Fill::Any).and_then(|o| o.limit.elapsed()),
        }
    }
}

/// The cold was lost where it lies, at `from`. Told again with its start, the start is known.
fn lost(c: &mut Container, from: Moment, loss: Loss) {
    c.loss = match c.suspect_since {
        Some(_) => Loss {
            door: c.loss.door || loss.door,
            start_unknown: c.loss.start_unknown && loss.start_unknown,
            seen: false,
        },
        None => loss,
    };
    c.suspect_since = earlier(c.suspect_since, Some(from));
}

/// What people saw after the cold was lost. Ice crystals: it stays frozen only where the rules allow that. What has
/// thawed did so when the cold was lost, for nobody saw it; and unless it is said to be cold still, it was as warm as the
/// room from then on. Where nobody knows since when, it counts from when it was put there. Our own cautious choice, no
/// source.
fn checked(c: &mut Container, at: Moment, found: Option<Found>, cold: bool, after: &After) {
    c.loss.seen |= found.is_some() || cold;
    if c.is_frozen() {
        frozen_checked(c, at, found, cold, after.icy_may_stay);
    } else if let Some(since) = c.suspect_since.map(|since| since.min(at))
        && unfrozen_checked(c, since, at, found, cold, after.shut_fridge)
    {
        c.suspect_since = None;
    }
}

fn frozen_checked(c: &mut Container, at: Moment, found: Option<Found>, cold: bool, icy_may_stay: bool) {
    let placed = c.life.placed.or(c.suspect_since).unwrap_or(at).min(at);
    // Found soft where no cold was lost by the books: since when, nobody knows.
    let since = c.suspect_since.map_or(placed, |since| since.min(at));
    match found {
        Some(Found::Hard) => {}
        Some(Found::Icy) if icy_may_stay => {}
        Some(Found::Icy) => melted(&mut c.life, since, true),
        Some(Found::Liquid) if cold => melted(&mut c.life, since, true),
        Some(Found::Liquid) => melted(&mut c.life, if c.loss.start_unknown { placed } else { since }, false),
        None if cold => {}
        None => return,
    }
    c.suspect_since = None;
    if !c.is_frozen() && c.life.place.is_freezer() {
        c.life.put(Place::Fridge, at);
    }
}

/// Whether what was seen settles what became of milk that isn't frozen. Hard and icy say nothing of milk that was never
/// frozen or has thawed; "cold" settles it only within the time that the publisher gives a shut fridge.
fn unfrozen_checked(
    c: &mut Container,
    since: Moment,
    at: Moment,
    found: Option<Found>,
    cold: bool,
    shut_fridge: Option<TimeDelta>,
) -> bool {
    let thawing = c.life.state == State::Thawing;
    match found {
        Some(Found::Hard | Found::Icy) => thawing,
        _ if cold && thawing => true,
        _ if cold => {
            let known = !c.loss.door && !c.loss.start_unknown;
            known && shut_fridge.is_some_and(|limit| at - since <= limit)
        }
        Some(Found::Liquid) => {
            let placed = c.life.placed.unwrap_or(since).min(since);
            // Hours in a cooler stay counted, also where they now count as warm.
            c.life.cooler.leave(at);
            c.life.put(Place::Room, if c.loss.start_unknown { placed } else { since });
            true
        }
        None => false,
    }
}

/// Icy milk is as cold as a fridge; liquid milk is taken for warm unless somebody says that it is cold.
fn melted(life: &mut Life, since: Moment, cold: bool) {
    life.state = if cold { State::Thawing } else { State::Thawed };
    life.left_freezer = earlier(life.left_freezer, Some(since));
    if cold {
        life.thawed_how.get_or_insert(ThawHow::Fridge);
    } else {
        life.put(Place::Room, since);
    }
}
