//! Questions to the ledger, answered as data: how much there is, what comes next, what runs out, how long it lasts.

use chrono::{Days, NaiveDate, NaiveTime, TimeDelta};

use super::household::{Child, Household};
use super::ledger::{Container, Ledger, Meal, MealKind, Stock};
use super::milk::Moment;
use super::place::Place;
use super::plan::{self, PlanItem, Thaw, Wanted};
use super::rules::span;
use super::volume::Volume;

/// How much there is, each container counted once: in the first that applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    pub sent: Volume,
    pub started: Volume,
    pub unknown: Volume,
    pub held: Volume,
    pub suspect: Volume,
    pub past: Volume,
    /// By place, in the order of `Place::ALL`.
    pub places: [Volume; 5],
    pub counts: [usize; 5],
}

impl Tally {
    pub fn of(stock: &Stock, now: Moment) -> Tally {
        Tally::of_these(stock.existing(), now)
    }

    pub fn of_these<'c>(containers: impl Iterator<Item = &'c Container>, now: Moment) -> Tally {
        let mut tally = Tally::default();
        for c in containers {
            *tally.bucket(c, now) += c.ml;
            if counts(c, now) {
                tally.counts[c.life.place as usize] += 1;
            }
        }
        tally
    }

    fn bucket(&mut self, c: &Container, now: Moment) -> &mut Volume {
        match c {
            c if c.is_sent() => &mut self.sent,
            c if c.is_started() => &mut self.started,
            c if !c.age_known() => &mut self.unknown,
            c if c.held_since.is_some() => &mut self.held,
            c if c.suspect_since.is_some() => &mut self.suspect,
            c if c.is_past(now) => &mut self.past,
            c => &mut self.places[c.life.place as usize],
        }
    }

    pub fn place(&self, place: Place) -> Volume {
        self.places[place as usize]
    }

    pub fn count(&self, place: Place) -> usize {
        self.counts[place as usize]
    }

    pub fn usable(&self) -> Volume {
        self.places.iter().copied().sum()
    }
}

/// Whether a container is stock: in the total of its place.
pub fn counts(c: &Container, now: Moment) -> bool {
    c.gone.is_none()
        && !c.is_started()
        && c.age_known()
        && c.held_since.is_none()
        && c.suspect_since.is_none()
        && !c.is_past(now)
}

/// Here, neither sent away nor in another house's fridge.
pub fn is_at_home(c: &Container) -> bool {
    c.gone.is_none() && c.life.site.is_none()
}

/// Whose milk, where several parents pump; nobody in particular where one does.
pub type Owner = Option<String>;

/// Each whose milk there is, in the order in which they are named; milk of which it isn't known comes last.
pub fn owners(ledger: &Ledger) -> Vec<Owner> {
    let household = ledger.household();
    if !household.several_owners() {
        return vec![None];
    }
    let mut owners: Vec<Owner> = ledger.stock().current().map(|c| c.marks.whose.clone()).collect();
    let turn = |o: &Owner| o.as_deref().and_then(|name| household.pumping().position(|p| p == name));
    owners.sort_by_key(|o| (o.is_none(), turn(o).is_none(), turn(o), o.clone()));
    owners.dedup();
    if owners.is_empty() { vec![None] } else { owners }
}

/// The same but for milk of several in one container: no plan is made with it.
pub fn owners_apart(ledger: &Ledger) -> Vec<Owner> {
    let apart = |o: &Owner| o.as_deref().is_none_or(|name| ledger.household().pumping().any(|p| p == name));
    let mut owners = owners(ledger);
    owners.retain(apart);
    if owners.is_empty() { vec![None] } else { owners }
}

/// Whether a container belongs to the milk of this owner.
pub fn is_owned(ledger: &Ledger, c: &Container, owner: &Owner) -> bool {
    !ledger.household().several_owners() || c.marks.whose == *owner
}

/// From whose milk what a day needs is covered: each parent whose milk some child drinks, the need once for each. Where it
/// isn't told of every child whose milk it drinks, once from everybody's, the oldest first.
pub fn sources(ledger: &Ledger) -> Vec<Owner> {
    let household = ledger.household();
    let told: Vec<Owner> = household.children.iter().map(|child| parent_of(household, child)).collect();
    if !household.several_owners() || told.is_empty() || told.contains(&None) {
        return vec![None];
    }
    let parents = household.pumping().map(|name| Some(name.to_owned()));
    parents.filter(|parent| told.contains(parent)).collect()
}

/// The parent whose milk a child drinks, where several pump and it is told.
pub fn parent_of(household: &Household, child: &Child) -> Owner {
    let parent = child.of.as_deref().filter(|_| household.several_owners());
    parent.and_then(|name| household.pumping_called(name)).map(str::to_owned)
}

fn drinkers<'h>(household: &'h Household, source: &Owner) -> impl Iterator<Item = &'h Child> {
    let source = source.clone();
    household.children.iter().filter(move |c| source.is_none() || parent_of(household, c) == source)
}

/// Whether milk may cover the need of those who drink from a source: milk of several in one container covers nobody's.
pub fn covers(ledger: &Ledger, c: &Container, source: &Owner) -> bool {
    let household = ledger.household();
    if !household.several_owners() {
        return true;
    }
    let of = match (&c.marks.whose, source) {
        (whose, Some(_)) => whose == source,
        (Some(whose), None) => household.pumping().any(|name| name == whose),
        (None, None) => true,
    };
    let mut drinkers = drinkers(household, source).peekable();
    of && (drinkers.peek().is_none() || drinkers.any(|child| household.is_meant_for(&c.marks, child)))
}

/// What may be offered at home in the order in which it should be used: what the household wants used first, then the
/// oldest; what it avoids is offered by label only.
pub fn in_order_of_use<'s>(ledger: &Ledger, stock: &'s Stock, now: Moment) -> Vec<&'s Container> {
    let household = ledger.household();
    let called = |c: &Container, tags: &[String]| tags.iter().any(|tag| c.marks.tags.contains(tag));
    let mut offered = stock.in_order_of_use(now);
    offered.retain(|c| !called(c, &household.avoid));
    offered.sort_by_key(|c| !called(c, &household.use_first));
    offered
}

/// What to use next of some milk: a started bottle still in its time, and the first of the stock.
pub fn next<'l>(
    ledger: &'l Ledger,
    now: Moment,
    of: &dyn Fn(&Container) -> bool,
) -> (Option<&'l Container>, Option<&'l Container>) {
    let stock = ledger.stock();
    let started = stock
        .current()
        .filter(|c| is_at_home(c) && c.is_started() && !c.is_past(now) && c.held_since.is_none() && of(c))
        .min_by_key(|c| (c.use_by(), c.code));
    (started, in_order_of_use(ledger, stock, now).into_iter().find(|c| of(c)))
}

/// What runs out within a span, soonest first; started bottles included.
pub fn expiring(stock: &Stock, now: Moment, within: TimeDelta) -> Vec<&Container> {
    let mut found: Vec<&Container> = stock
        .current_here()
        .filter(|c| c.use_by().is_some_and(|by| by > now && by <= now + within))
        .collect();
    found.sort_by_key(|c| (c.use_by(), c.code));
    found
}

/// Milk that is still somewhere at home although its time has passed.
pub fn past(stock: &Stock, now: Moment) -> Vec<&Container> {
    stock.current_here().filter(|c| c.is_past(now)).collect()
}

/// Whether a bottle that was drunk from was another child's, where it is known whose.
pub fn is_of_another(stock: &Stock, c: &Container, child: &str) -> bool {
    let of_it = |m: &&Meal| matches!(&m.kind, MealKind::Bottle { codes, .. } if codes.contains(&c.code));
    let last = || stock.meals.iter().rev().map(AsRef::as_ref).find(of_it)?.child.as_deref();
    c.is_started() && last().is_some_and(|of| of != child)
}

/// Of a child, where one is named.
pub fn last_meal<'s>(stock: &'s Stock, child: Option<&str>) -> Option<&'s Meal> {
    stock.meals.iter().rev().map(AsRef::as_ref).find(|m| is_of(m, child))
}

/// The same where children aren't told apart: a feed that names none may be of any.
pub fn last_meal_of<'s>(stock: &'s Stock, child: Option<&str>) -> Option<&'s Meal> {
    let other = |m: &Meal| child.zip(m.child.as_deref()).is_some_and(|(a, b)| !a.eq_ignore_ascii_case(b));
    stock.meals.iter().rev().map(AsRef::as_ref).find(|m| !other(m))
}

fn is_of(meal: &Meal, child: Option<&str>) -> bool {
    child.is_none() || meal.child.as_deref() == child
}

/// The civil day that a moment lies in, as instants.
pub fn day_of(ledger: &Ledger, day: NaiveDate) -> (Moment, Moment) {
    let zone = ledger.household().zone;
    let start = |day: NaiveDate| span::moment(day.and_time(NaiveTime::MIN), zone).unwrap_or_default();
    (start(day), start(day.checked_add_days(Days::new(1)).unwrap_or(day)))
}

pub fn today(ledger: &Ledger, now: Moment) -> NaiveDate {
    now.with_timezone(&ledger.household().zone).date_naive()
}

/// What was drunk from bottles and how many there were, in a span; by one child, where it is named.
pub fn fed(stock: &Stock, from: Moment, to: Moment, child: Option<&str>) -> (Volume, usize) {
    // Looked for from the end, for it is usually about the last days.
    let meals = stock.meals.iter().rev().skip_while(|m| m.at >= to).take_while(|m| m.at >= from);
    let drunk = meals.filter(|m| is_of(m, child)).filter_map(|m| match &m.kind {
        MealKind::Bottle { drunk, .. } => Some(*drunk),
        _ => None,
    });
    drunk.fold((Volume::ZERO, 0), |(sum, n), ml| (sum + ml, n + 1))
}

pub fn pumped(stock: &Stock, from: Moment, to: Moment) -> (Volume, usize) {
    let sessions = stock.sessions.iter().rev().skip_while(|s| s.at >= to).take_while(|s| s.at >= from);
    sessions.fold((Volume::ZERO, 0), |(sum, n), s| (sum + s.ml, n + 1))
}

/// How many days the stock lasts, in tenths, and what a day was taken to need: the household's need, else the mean of the
/// last seven days, or of the whole days since the first feed that was logged; before one is over nobody can tell.
pub fn days_left(
    ledger: &Ledger,
    now: Moment,
    place: Option<Place>,
    source: &Owner,
) -> Option<(u32, Volume, Volume)> {
    let tally = Tally::of_these(ledger.stock().current().filter(|c| covers(ledger, c, source)), now);
    let there = match place {
        Some(Place::Freezer) => tally.place(Place::Freezer) + tally.place(Place::DeepFreezer),
        Some(place) => tally.place(place),
        None => tally.usable(),
    };
    let a_day = match ledger.household().need {
        Some(need) => need.total(),
        None => drunk_a_day(ledger, now, source)?,
    };
    let tenths = there.microlitres().checked_mul(10)?.checked_div(a_day.microlitres())?;
    Some((u32::try_from(tenths).ok()?, there, a_day))
}

fn drunk_a_day(ledger: &Ledger, now: Moment, source: &Owner) -> Option<Volume> {
    let first = ledger.stock().meals.iter().find(|m| matches!(m.kind, MealKind::Bottle { .. }))?.at;
    let days = u32::try_from((now - first).num_days()).ok().filter(|days| *days > 0)?.min(7);
    let of = |child| fed(ledger.stock(), now - TimeDelta::days(days.into()), now, child).0;
    let drunk: Volume = if source.is_none() || !ledger.household().several_children() {
        of(None)
    } else {
        drinkers(ledger.household(), source).map(|child| of(Some(child.name.as_str()))).sum()
    };
    Some(Volume::from_microlitres(drunk.microlitres() / i64::from(days)))
}

/// The need of a coming day, as instants and volume.
pub fn need_on(ledger: &Ledger, day: NaiveDate) -> Option<(Moment, Moment, Volume)> {
    let household = ledger.household();
    let need = household.need?.total();
    let at = |time: NaiveTime| span::moment(day.and_time(time), household.zone);
    Some((at(household.away.0)?, at(household.away.1)?, need))
}

/// What to take out for a day, by the same rule for the group and for the command line.
pub fn plan_for(ledger: &Ledger, now: Moment, day: NaiveDate, source: &Owner) -> Option<Thaw> {
    let (from, to, ml) = need_on(ledger, day)?;
    let avoid = |c: &Container| ledger.household().avoid.iter().any(|tag| c.marks.tags.contains(tag));
    let own = |c: &&Container| is_at_home(c) && covers(ledger, c, source) && !avoid(c);
    let at_home = ledger.stock().current().filter(own);
    let items: Vec<PlanItem> = at_home
        .map(|c| PlanItem {
            held: c.held_since.is_some(),
            suspect: c.suspect_since.is_some(),
            ..PlanItem::of(c.code, c.ml, &c.life, c.use_by())
        })
        .collect();
    Some(plan::thaw(&items, &Wanted { from, to, ml }, now, ledger.rules(), ledger.conditions()))
}

/// The next working day after today.
pub fn next_workday(ledger: &Ledger, now: Moment) -> Option<NaiveDate> {
    let today = today(ledger, now);
    (1..8).filter_map(|n| today.checked_add_days(Days::new(n))).find(|d| ledger.household().works_on(*d))
}
