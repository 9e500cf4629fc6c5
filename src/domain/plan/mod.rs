//! What to thaw: from the stock and a need to the containers to use and those to take out of the freezer.
//! The oldest goes first; nothing eligible is passed over for a younger group; as little as possible is thawed
//! beyond the need. The same code answers in the group and on the command line.

use chrono::{NaiveDate, TimeDelta};
use chrono_tz::Tz;

use super::act::{Code, ThawHow};
use super::keeping::Conditions;
use super::milk::{Life, Moment, State};
use super::place::Place;
use super::rules::{Milk, Rules, Situation, Spot};
use super::volume::Volume;

pub mod subset;

/// Frozen within so many days of the oldest: one group, from which the sizes may be chosen.
const GROUP_DAYS: i64 = 14;

/// One container, as far as a plan needs to know it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanItem {
    pub code: Code,
    pub ml: Volume,
    pub state: State,
    pub place: Place,
    pub expressed: Option<Moment>,
    pub first_frozen: Option<Moment>,
    /// `None`: unknown.
    pub use_by: Option<Moment>,
    pub held: bool,
    pub suspect: bool,
}

impl PlanItem {
    pub fn of(code: Code, ml: Volume, life: &Life, use_by: Option<Moment>) -> PlanItem {
        PlanItem {
            code,
            ml,
            state: life.state,
            place: life.place,
            expressed: life.expressed,
            first_frozen: life.first_frozen,
            use_by,
            held: false,
            suspect: false,
        }
    }

    /// Known, allowed and still in time at `to`. Milk of unknown age is never suggested.
    fn will_do(&self, to: Moment) -> bool {
        !self.held
            && !self.suspect
            && self.ml > Volume::ZERO
            && self.expressed.is_some()
            && self.use_by.is_some_and(|by| by > to)
    }

    fn is_cold(&self) -> bool {
        self.place == Place::Fridge && matches!(self.state, State::Fresh | State::Thawing | State::Thawed)
    }

    fn is_frozen(&self) -> bool {
        self.place.is_freezer() && self.state == State::Frozen
    }

    /// When it was first frozen; where that is unknown, the earliest it can have been.
    fn frozen_on(&self, zone: Tz) -> Option<NaiveDate> {
        self.first_frozen.or(self.expressed).map(|at| at.with_timezone(&zone).date_naive())
    }
}

/// What is to be there, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    pub from: Moment,
    pub to: Moment,
    pub ml: Volume,
}

#[derive(Debug, Clone, PartialEq, Default)]
pub struct Thaw {
    /// Already cold, in the order of use.
    pub use_codes: Vec<Code>,
    /// To be taken out of the freezer, the oldest first.
    pub thaw_codes: Vec<Code>,
    pub use_ml: Volume,
    pub thaw_ml: Volume,
    /// Thawed beyond what is needed from the freezer.
    pub over_ml: Volume,
    /// Missing from the need.
    pub short_ml: Volume,
    /// `None`: it can be taken out now.
    pub take_out_from: Option<Moment>,
}

pub fn thaw(
    stock: &[PlanItem],
    wanted: &Wanted,
    now: Moment,
    rules: &Rules,
    conditions: &Conditions,
) -> Thaw {
    let to = wanted.to.max(now);
    let used = cold(stock, to, wanted.ml);
    let use_ml = total(&used);
    let rest = wanted.ml.less(use_ml);
    let taken = frozen(stock, to, rest, conditions.zone);
    let thaw_ml = total(&taken);
    Thaw {
        take_out_from: take_out_from(wanted, rules, conditions).filter(|at| *at > now && !taken.is_empty()),
        use_codes: used.iter().map(|item| item.code).collect(),
        thaw_codes: taken.iter().map(|item| item.code).collect(),
        use_ml,
        thaw_ml,
        over_ml: thaw_ml.less(rest),
        short_ml: rest.less(thaw_ml),
    }
}

fn total(items: &[&PlanItem]) -> Volume {
    items.iter().map(|item| item.ml).sum()
}

/// Milk that is cold and unfrozen, the earliest use-by first, until the need is met; a container counts whole.
fn cold(stock: &[PlanItem], to: Moment, need: Volume) -> Vec<&PlanItem> {
    let mut cold: Vec<_> = stock.iter().filter(|item| item.is_cold() && item.will_do(to)).collect();
    cold.sort_by_key(|item| (item.use_by, item.code));
    let mut met = Volume::ZERO;
    cold.into_iter()
        .take_while(|item| {
            let needed = met < need;
            met += item.ml;
            needed
        })
        .collect()
}

/// Whole groups from the oldest on, and of the last one the best choice of sizes.
fn frozen(stock: &[PlanItem], to: Moment, need: Volume, zone: Tz) -> Vec<&PlanItem> {
    let mut waiting: Vec<_> = stock.iter().filter(|item| item.is_frozen() && item.will_do(to)).collect();
    waiting.sort_by_key(|item| (item.frozen_on(zone), item.expressed, item.code));
    let (mut taken, mut rest) = (Vec::new(), need);
    while rest > Volume::ZERO && !waiting.is_empty() {
        let younger = waiting.split_off(group_len(&waiting, zone));
        let group = std::mem::replace(&mut waiting, younger);
        let sizes: Vec<Volume> = group.iter().map(|item| item.ml).collect();
        let chosen = subset::at_least(&sizes, rest);
        taken.extend(group.into_iter().zip(chosen).filter(|(_, chosen)| *chosen).map(|(item, _)| item));
        rest = need.less(total(&taken));
    }
    taken
}

/// How many at the head of an ordered list belong together.
fn group_len(ordered: &[&PlanItem], zone: Tz) -> usize {
    let day = |item: &&PlanItem| item.frozen_on(zone);
    let Some(last) = ordered.first().and_then(day).map(|oldest| oldest + TimeDelta::days(GROUP_DAYS)) else {
        return ordered.len();
    };
    ordered.partition_point(|item| day(item).is_none_or(|d| d <= last))
}

/// From when on milk that leaves the freezer for the fridge is still inside its thawed window at the end of the need.
/// The end of the window itself still counts as inside. Where the rules leave thawed milk no time, that is the moment of use.
fn take_out_from(wanted: &Wanted, rules: &Rules, conditions: &Conditions) -> Option<Moment> {
    let asked = Situation {
        way: Some(ThawHow::Fridge),
        temperature: conditions.fridge,
        ..Situation::of(Milk::Thawed, Some(Spot::Fridge))
    };
    match rules.figure(&asked).map(|figure| figure.limit) {
        None => Some(wanted.from),
        Some(limit) if limit.is_now() => Some(wanted.from),
        Some(limit) => limit.elapsed().map(|window| wanted.to - window),
    }
}
