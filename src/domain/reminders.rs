//! What is to be said unasked, and when to wake for it. Everything that may be said is worked out from the ledger alone, so
//! nothing is said twice and nothing after the milk is gone. Quiet hours hold back what can wait; milk about to be lost
//! can't, and what has just ended is told at once, silently at night.

use chrono::{Days, NaiveDate, NaiveTime, TimeDelta};

use super::fact::{Reminder, Stage, Why};
use super::keeping::Clock;
use super::ledger::{Container, Ledger, OpenQuestion};
use super::milk::Moment;
use super::place::Site;
use super::query::{self, Owner};
use super::rules::span;

/// When a reminder falls due.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    pub at: Moment,
    pub reminder: Reminder,
    /// Not to ring.
    pub silent: bool,
}

/// How long before its end milk in the room, in a cooler or warmed is spoken of: at most, and at least.
const SHORT_NOTICE: (TimeDelta, TimeDelta) = (TimeDelta::minutes(50), TimeDelta::minutes(45));
const THAWED_NOTICE: TimeDelta = TimeDelta::hours(3);
/// The evening hours for what can wait, the best first; all lie between 15:00 and 22:00.
const EVENING: [u32; 7] = [18, 19, 17, 20, 16, 21, 15];
/// How long milk may be held before its owner is asked about it, and how often.
const HELD_NOTICE: TimeDelta = TimeDelta::days(3);
const HELD_AGAIN: TimeDelta = TimeDelta::days(7);
/// How long after an outage people are asked what they found.
const CHECK_NOTICE: TimeDelta = TimeDelta::hours(2);
/// A plan that is later than this is no plan any more.
const PLAN_STALE: TimeDelta = TimeDelta::hours(4);

/// Everything due by `now`, in order of time; containers due at the same moment for the same reason are one reminder.
pub fn due(ledger: &Ledger, now: Moment) -> Vec<Due> {
    if ledger.talk().is_paused(now) {
        return Vec::new();
    }
    let milk = ledger.stock().current_here().filter(|c| not_before(c) <= now);
    let upcoming = milk.flat_map(|c| of_container(ledger, now, c)).chain(plans(ledger, now));
    let mut due: Vec<Due> = upcoming.filter(|d| d.at <= now).map(|d| with_plan(ledger, now, d)).collect();
    due.sort_by(|a, b| {
        (a.at, a.reminder.why, a.reminder.stage).cmp(&(b.at, b.reminder.why, b.reminder.stage))
    });
    let mut grouped: Vec<Due> = Vec::new();
    for d in due {
        let same = |g: &&mut Due| {
            g.at == d.at && g.reminder.why != Why::Plan && shared(ledger, g) == shared(ledger, &d)
        };
        match grouped.iter_mut().find(same) {
            Some(group) => group.reminder.codes.extend(d.reminder.codes),
            None => grouped.push(d),
        }
    }
    grouped
}

type Shared<'d> = (Why, Stage, &'d Option<String>, Option<(&'d Owner, &'d Option<Site>)>);

/// What containers that are told of together share: the reason, who is told, whose milk it is and where it lies.
fn shared<'d>(ledger: &'d Ledger, due: &'d Due) -> Shared<'d> {
    let reminder = &due.reminder;
    let first = reminder.codes.first().and_then(|(code, _)| ledger.stock().get(*code));
    (reminder.why, reminder.stage, &reminder.to, first.map(|c| (&c.marks.whose, &c.life.site)))
}

/// The containers that a plan asks to take out, as the stock is now.
fn with_plan(ledger: &Ledger, now: Moment, mut due: Due) -> Due {
    let plan = due.reminder.day.and_then(|day| query::plan_for(ledger, now, day, &due.reminder.whose));
    if let Some(plan) = plan.filter(|_| due.reminder.why == Why::Plan) {
        due.silent = plan.thaw_codes.is_empty();
        due.reminder.codes = plan.thaw_codes.into_iter().map(|code| (code, None)).collect();
        let first = query::sources(ledger).first() == Some(&due.reminder.whose);
        due.reminder.questions = ledger.talk().unlisted().filter(|_| first).map(|q| q.seq).collect();
    }
    due
}

/// A question that was left open so long isn't waited for any more, nor meant by a bare word. Our own choice, no source.
pub const ANSWER_WITHIN: TimeDelta = TimeDelta::hours(14);

/// The questions that by `now` have been open for too long.
pub fn lapsing(ledger: &Ledger, now: Moment) -> Vec<i64> {
    let old = |q: &&OpenQuestion| now - q.asked >= ANSWER_WITHIN;
    ledger.talk().questions().iter().filter(old).map(|q| q.seq).collect()
}

/// The next moments at which something falls due, if nothing is recorded before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Wakes {
    pub next: Option<Moment>,
    /// Of those, the first for what can't wait.
    pub urgent: Option<Moment>,
}

pub fn wakes(ledger: &Ledger, now: Moment) -> Wakes {
    let lapse = ledger.talk().questions().iter().map(|q| q.asked + ANSWER_WITHIN);
    let mut next = lapse.chain(plans(ledger, now).into_iter().map(|plan| plan.at)).min();
    let mut urgent: Option<Moment> = None;
    for c in ledger.stock().current_here() {
        // A freezer full of milk that keeps for months is not looked at closely each time.
        if next.is_some_and(|next| not_before(c) > next) {
            continue;
        }
        for due in of_container(ledger, now, c) {
            next = earlier(next, due.at);
            urgent = if is_urgent(&due.reminder) { earlier(urgent, due.at) } else { urgent };
        }
    }
    match ledger.talk().paused {
        Some(None) => Wakes::default(),
        Some(Some(until)) if now < until => {
            Wakes { next: next.map(|at| at.max(until)), urgent: urgent.map(|at| at.max(until)) }
        }
        _ => Wakes { next, urgent },
    }
}

fn earlier(a: Option<Moment>, b: Moment) -> Option<Moment> {
    Some(a.map_or(b, |a| a.min(b)))
}

/// Before this nothing is to be said of a container; what may be urgent is always looked at.
fn not_before(c: &Container) -> Moment {
    let is_plain = c.held_since.is_none() && c.suspect_since.is_none();
    match (c.use_by(), why_for(c)) {
        // An evening of the day before, or of the month before.
        (Some(by), Some(Why::Fridge)) if is_plain => by - TimeDelta::days(3),
        (Some(by), Some(Why::Freezer)) if is_plain => by - TimeDelta::days(33),
        _ => Moment::MIN_UTC,
    }
}

/// Milk is about to be lost, or has just been.
pub fn is_urgent(reminder: &Reminder) -> bool {
    matches!(
        (reminder.stage, reminder.why),
        (Stage::Soon, Why::Room | Why::Cooler | Why::Warmed | Why::Thawed)
            | (Stage::Past, Why::Leftover | Why::Room | Why::Warmed | Why::Cooler)
    )
}

fn of_container(ledger: &Ledger, now: Moment, c: &Container) -> Vec<Due> {
    if c.held_since.is_some() {
        return held(ledger, now, c).into_iter().collect();
    }
    if c.suspect_since.is_some() {
        // Its clocks run on meanwhile.
        return [check(ledger, c), past(ledger, now, c)].into_iter().flatten().collect();
    }
    [soon(ledger, now, c), past(ledger, now, c)].into_iter().flatten().collect()
}

fn why_of(clock: Clock) -> Why {
    match clock {
        Clock::Room => Why::Room,
        Clock::Cooler => Why::Cooler,
        Clock::Fridge => Why::Fridge,
        Clock::Freezer => Why::Freezer,
        Clock::Thawed => Why::Thawed,
        Clock::Warmed => Why::Warmed,
        Clock::Leftover => Why::Leftover,
    }
}

fn of_one(c: &Container, why: Why, stage: Stage, to: Option<String>) -> Reminder {
    Reminder {
        why,
        stage,
        to,
        codes: vec![(c.code, c.use_by())],
        day: None,
        questions: Vec::new(),
        whose: None,
    }
}

fn why_for(c: &Container) -> Option<Why> {
    if c.is_started() { Some(Why::Leftover) } else { c.keeping.deciding.map(why_of) }
}

fn past(ledger: &Ledger, now: Moment, c: &Container) -> Option<Due> {
    let (by, why) = (c.use_by()?, why_for(c)?);
    // Whoever wrote about milk that was past already was told so then; nobody is told before.
    let told = by <= c.logged || (by <= now && ledger.talk().was_told(c.code, why, Stage::Past, Some(by)));
    let at = if why == Why::Freezer { after_quiet(ledger, by) } else { by };
    (!told).then(|| Due { at, reminder: of_one(c, why, Stage::Past, None), silent: is_quiet(ledger, at) })
}

/// After a pause, what is over already is not told as ending soon.
fn soon(ledger: &Ledger, now: Moment, c: &Container) -> Option<Due> {
    let (by, why) = (c.use_by()?, why_for(c)?);
    if by <= now || c.expired.is_some() {
        return None;
    }
    let (at, to) = match why {
        Why::Room | Why::Cooler | Why::Warmed => (short_notice(by, c.logged)?, c.logged_by.clone()),
        Why::Thawed => (Some(by - THAWED_NOTICE).filter(|at| *at >= c.logged)?, None),
        Why::Fridge => (evening_before(ledger, by, c.logged)?, None),
        Why::Freezer => (last_month(ledger, by, c.logged)?, None),
        _ => return None,
    };
    let told = at <= now && ledger.talk().was_told(c.code, why, Stage::Soon, Some(by));
    (at < by && !told).then(|| Due { at, reminder: of_one(c, why, Stage::Soon, to), silent: false })
}

fn short_notice(by: Moment, logged: Moment) -> Option<Moment> {
    let (most, least) = SHORT_NOTICE;
    if by - logged >= most { Some(by - most) } else { (by - logged >= least).then_some(logged) }
}

/// An evening hour of the day before, or later that evening if the milk was only logged then.
fn evening_before(ledger: &Ledger, by: Moment, logged: Moment) -> Option<Moment> {
    let day = local_date(ledger, by).checked_sub_days(Days::new(1))?;
    let at = evening(ledger, day)?;
    if at >= logged {
        return Some(at);
    }
    let end = local(ledger, day, NaiveTime::from_hms_opt(22, 0, 0)?)?;
    (logged < end && !is_quiet(ledger, logged)).then_some(logged)
}

/// An evening hour within the last month before the limit.
fn last_month(ledger: &Ledger, by: Moment, logged: Moment) -> Option<Moment> {
    let day = local_date(ledger, by).checked_sub_months(chrono::Months::new(1))?;
    let first = day.checked_add_days(Days::new(1))?;
    let at = evening(ledger, first)?;
    if at >= logged { Some(at) } else { evening(ledger, local_date(ledger, logged).succ_opt()?) }
}

fn evening(ledger: &Ledger, day: NaiveDate) -> Option<Moment> {
    EVENING
        .into_iter()
        .filter_map(|hour| NaiveTime::from_hms_opt(hour, 0, 0))
        .find(|time| !ledger.household().is_quiet(*time))
        .and_then(|time| local(ledger, day, time))
}

fn local(ledger: &Ledger, day: NaiveDate, time: NaiveTime) -> Option<Moment> {
    span::moment(day.and_time(time), ledger.household().zone)
}

fn local_date(ledger: &Ledger, at: Moment) -> NaiveDate {
    at.with_timezone(&ledger.household().zone).date_naive()
}

fn is_quiet(ledger: &Ledger, at: Moment) -> bool {
    ledger.household().is_quiet(at.with_timezone(&ledger.household().zone).time())
}

/// The same moment, or the end of the quiet hours that it lies in.
fn after_quiet(ledger: &Ledger, at: Moment) -> Moment {
    let Some((_, end)) = ledger.household().quiet.filter(|_| is_quiet(ledger, at)) else { return at };
    let day = local_date(ledger, at);
    [Some(day), day.succ_opt()]
        .into_iter()
        .flatten()
        .filter_map(|day| local(ledger, day, end))
        .find(|ends| *ends > at)
        .unwrap_or(at)
}

/// Milk on hold: its owner is asked after three days and then weekly, by name.
fn held(ledger: &Ledger, now: Moment, c: &Container) -> Option<Due> {
    let since = c.held_since?;
    let mut at = since + HELD_NOTICE;
    // The moment is the key: each week is told once. Of weeks that went by in silence only the last is told.
    while at + HELD_AGAIN <= now || ledger.talk().was_told(c.code, Why::Held, Stage::Due, Some(at)) {
        at += HELD_AGAIN;
    }
    let reminder = Reminder {
        why: Why::Held,
        stage: Stage::Due,
        to: c.marks.whose.clone().or(ledger.household().who_pumps().map(str::to_owned)),
        codes: vec![(c.code, Some(at))],
        day: None,
        questions: Vec::new(),
        whose: None,
    };
    Some(Due { at: after_quiet(ledger, at), reminder, silent: false })
}

fn check(ledger: &Ledger, c: &Container) -> Option<Due> {
    let since = c.suspect_since?;
    let told = ledger.talk().was_told(c.code, Why::Check, Stage::Due, Some(since));
    let reminder = Reminder {
        why: Why::Check,
        stage: Stage::Due,
        to: None,
        codes: vec![(c.code, Some(since))],
        day: None,
        questions: Vec::new(),
        whose: None,
    };
    let at = after_quiet(ledger, since.max(c.logged) + CHECK_NOTICE);
    (!told && !c.is_past(at)).then_some(Due { at, reminder, silent: false })
}

/// The plan for tomorrow, on eves of working days, once the household has logged anything; one for each whose milk is drunk.
fn plans(ledger: &Ledger, now: Moment) -> Vec<Due> {
    query::sources(ledger).into_iter().filter_map(|whose| plan(ledger, now, whose)).collect()
}

fn plan(ledger: &Ledger, now: Moment, whose: Owner) -> Option<Due> {
    let household = ledger.household();
    household.need?;
    let began = ledger.began()?;
    let today = local_date(ledger, now);
    let at_on = |eve: NaiveDate| {
        let day = eve.succ_opt()?;
        let at = after_quiet(ledger, local(ledger, eve, household.plan_at)?);
        let wanted = household.works_on(day)
            && at >= began
            && now - at < PLAN_STALE
            && !ledger.talk().was_told_for(Why::Plan, day, &whose);
        wanted.then_some((at, day))
    };
    let (at, day) = (0..8).filter_map(|ahead| today.checked_add_days(Days::new(ahead))).find_map(at_on)?;
    let reminder = Reminder {
        why: Why::Plan,
        stage: Stage::Due,
        to: None,
        codes: Vec::new(),
        day: Some(day),
        questions: Vec::new(),
        whose,
    };
    Some(Due { at, reminder, silent: false })
}
