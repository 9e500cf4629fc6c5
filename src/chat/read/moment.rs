//! What a time in a message means on the household's calendar: always the nearest past one, a vague time as its early and
//! late end, and never later than the message was sent.

use chrono::{Datelike, Days, Duration, NaiveDate, NaiveDateTime, NaiveTime, TimeZone};
use chrono_tz::Tz;

use super::senses::Part;
use super::when::{Clock, DayName, When};

/// An instant, or the early and late end of a vague time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    pub at: NaiveDateTime,
    pub latest: Option<NaiveDateTime>,
}

impl Moment {
    fn exact(at: NaiveDateTime) -> Moment {
        Moment { at, latest: None }
    }

    /// The time from one end to another, of which only what had come when the message was sent can be meant.
    fn range(early: NaiveDateTime, late: NaiveDateTime, sent: NaiveDateTime) -> Moment {
        let late = late.min(sent);
        Moment { at: early.min(sent), latest: (late > early).then_some(late) }
    }
}

/// What `when` means in a message sent at `sent`; nothing where it is to come or can't be.
pub fn settle(when: &When, sent: NaiveDateTime, zone: Tz) -> Option<Moment> {
    if let Some(minutes) = when.ago {
        return Some(Moment::exact(elapsed_before(sent, minutes, zone)));
    }
    let base = match when.day {
        Some(day) => Some(dates(day, sent.date())?),
        None => None,
    };
    match (base, when.part, when.clock) {
        (day, Some(part), Some(clock)) => in_part(day, part, clock, when.clock_latest, sent),
        (day, Some(part), None) => part_of_day(day, part, sent),
        (Some(day), None, Some(clock)) => on_day(day.0, clock, when.clock_latest, sent),
        (Some((first, last)), None, None) => whole_days(first, last, sent),
        (None, None, Some(clock)) => Some(nearest_past(clock, when.clock_latest, sent)),
        (None, None, None) => when.now.then_some(Moment::exact(sent)),
    }
}

/// So many minutes of elapsed time before a civil time, across clock changes.
pub fn elapsed_before(sent: NaiveDateTime, minutes: f64, zone: Tz) -> NaiveDateTime {
    let back = Duration::minutes(minutes.clamp(0.0, 5_000_000.0).round() as i64);
    let instant = zone.from_local_datetime(&sent).earliest().map(|at| (at - back).naive_local());
    instant.unwrap_or(sent - back)
}

/// The first and last day that a name means, seen from `today`.
fn dates(day: DayName, today: NaiveDate) -> Option<(NaiveDate, NaiveDate)> {
    let back = |days: i64| today.checked_sub_signed(Duration::try_days(days)?);
    let one = |date: NaiveDate| Some((date, date));
    match day {
        DayName::Back(days) if days < 0 => None,
        DayName::Back(days) => one(back(days)?),
        DayName::Weekday(number) => {
            let since = (today.weekday().num_days_from_monday() + 7 - number) % 7;
            one(back(if since == 0 { 7 } else { i64::from(since) })?)
        }
        DayName::Date(day, month, year) => one(past_date(day, month, year, today)?),
        DayName::Month(month) => past_month(month, today),
        DayName::LastWeek => {
            let monday = i64::from(today.weekday().num_days_from_monday());
            Some((back(monday + 7)?, back(monday + 1)?))
        }
        DayName::Either(..) => None,
    }
}

/// The most recent such day that is not to come.
fn past_date(day: u32, month: Option<u32>, year: Option<i32>, today: NaiveDate) -> Option<NaiveDate> {
    if let (Some(month), Some(year)) = (month, year) {
        return NaiveDate::from_ymd_opt(year, month, day).filter(|d| *d <= today);
    }
    let (mut y, mut m) = (today.year(), month.unwrap_or(today.month()));
    for _ in 0..12 {
        if let Some(date) = NaiveDate::from_ymd_opt(y, m, day).filter(|d| *d <= today) {
            return Some(date);
        }
        match (month, m) {
            (Some(_), _) => y -= 1,
            (None, 1) => (y, m) = (y - 1, 12),
            (None, _) => m -= 1,
        }
    }
    None
}

fn past_month(month: u32, today: NaiveDate) -> Option<(NaiveDate, NaiveDate)> {
    let year = if month <= today.month() { today.year() } else { today.year() - 1 };
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    let next = if month == 12 {
        NaiveDate::from_ymd_opt(year + 1, 1, 1)
    } else {
        NaiveDate::from_ymd_opt(year, month + 1, 1)
    };
    Some((first, next?.pred_opt()?))
}

fn at(date: NaiveDate, hour: u32, minute: u32) -> NaiveDateTime {
    date.and_time(NaiveTime::from_hms_opt(hour, minute, 0).unwrap_or_default())
}

fn whole_days(first: NaiveDate, last: NaiveDate, sent: NaiveDateTime) -> Option<Moment> {
    Some(Moment::range(at(first, 0, 0), at(last, 23, 59), sent))
}

fn days_after(date: NaiveDate, days: u64) -> NaiveDate {
    date.checked_add_days(Days::new(days)).unwrap_or(date)
}

/// The early and late end of a part of a day.
fn bounds(
    day: Option<(NaiveDate, NaiveDate)>,
    part: Part,
    sent: NaiveDateTime,
) -> (NaiveDateTime, NaiveDateTime) {
    let night = sent.time() < NaiveTime::from_hms_opt(5, 0, 0).unwrap_or_default();
    let today = sent.date();
    let before = today.pred_opt().unwrap_or(today);
    let named = day.map(|d| d.0);
    // Written in the small hours, "today" is still the day before.
    let base = named.unwrap_or(if night { before } else { today });
    match part {
        Part::Morning | Part::ThisMorning => (at(base, 5, 0), at(base, 12, 0)),
        Part::Afternoon | Part::ThisAfternoon => (at(base, 12, 0), at(base, 18, 0)),
        Part::ThisEvening if named.is_none() => (at(base, 18, 0), at(days_after(base, 1), 5, 0)),
        Part::Evening | Part::ThisEvening => (at(base, 18, 0), at(base, 23, 59)),
        Part::Night if named.is_some() => (at(base, 18, 0), at(days_after(base, 1), 5, 0)),
        Part::Night | Part::LastNight => {
            let eve = named.unwrap_or(before);
            (at(eve, 18, 0), at(days_after(eve, 1), 5, 0))
        }
        Part::SmallHours => {
            let date = named.unwrap_or(today);
            (at(date, 0, 0), at(date, 5, 0))
        }
        Part::Earlier if night && named.is_none() => (at(before, 18, 0), sent),
        Part::Earlier => (at(named.unwrap_or(today), 0, 0), sent),
    }
}

fn part_of_day(day: Option<(NaiveDate, NaiveDate)>, part: Part, sent: NaiveDateTime) -> Option<Moment> {
    let (mut early, mut late) = bounds(day, part, sent);
    if early > sent && day.is_none() {
        // "this afternoon", written in the morning, can only be yesterday's.
        (early, late) = (early - Duration::days(1), late - Duration::days(1));
    }
    (early <= sent).then(|| Moment::range(early, late, sent))
}

/// A clock time that lies in a part of a day: "last night at 2" is 02:00 of today.
fn in_part(
    day: Option<(NaiveDate, NaiveDate)>,
    part: Part,
    clock: Clock,
    latest: Option<Clock>,
    sent: NaiveDateTime,
) -> Option<Moment> {
    let (mut early, mut late) = bounds(day, part, sent);
    // "at 11 at night", written in the evening: of today if that has come
    let tonight = at(sent.date(), 18, 0);
    let come = |hour: u32| at(sent.date(), hour, clock.minute);
    if day.is_none()
        && part == Part::Night
        && hours(clock).into_iter().any(|h| tonight <= come(h) && come(h) <= sent)
    {
        (early, late) = (
            tonight,
            days_after(sent.date(), 1).and_time(NaiveTime::from_hms_opt(5, 0, 0).unwrap_or_default()),
        );
    }
    let fits = |clock: Clock| {
        let all = hours(clock)
            .into_iter()
            .flat_map(|hour| [early.date(), late.date()].map(|date| at(date, hour, clock.minute)));
        let all: Vec<_> = all.filter(|t| *t <= sent).collect();
        let inside = all.iter().copied().filter(|t| early <= *t && *t <= late).max();
        // Outside the part (an hour too early for "this morning"): the nearest to its beginning.
        inside.or_else(|| all.into_iter().min_by_key(|t| (*t - early).num_minutes().abs()))
    };
    let first = fits(clock).or_else(|| part_of_day(day, part, sent).map(|m| m.at))?;
    let last = latest.and_then(fits).filter(|last| *last > first);
    Some(Moment { at: first, latest: last })
}

/// The hours that a clock time may mean.
fn hours(clock: Clock) -> Vec<u32> {
    if clock.fixed { vec![clock.hour] } else { vec![clock.hour % 12, clock.hour % 12 + 12] }
}

/// A clock time on a named day; morning or evening open is a range between both.
fn on_day(date: NaiveDate, clock: Clock, latest: Option<Clock>, sent: NaiveDateTime) -> Option<Moment> {
    let today = date == sent.date();
    if today {
        return Some(nearest_past(clock, latest, sent));
    }
    if let Some(latest) = latest {
        let pair = (at(date, hours(clock)[0], clock.minute), at(date, hours(latest)[0], latest.minute));
        return Some(Moment::range(pair.0, pair.1, sent));
    }
    match hours(clock).as_slice() {
        [early, late] => {
            Some(Moment::range(at(date, *early, clock.minute), at(date, *late, clock.minute), sent))
        }
        [hour] => Some(Moment::exact(at(date, *hour, clock.minute))).filter(|m| m.at <= sent),
        _ => None,
    }
}

/// The nearest past time that a clock shows.
fn nearest_past(clock: Clock, latest: Option<Clock>, sent: NaiveDateTime) -> Moment {
    if let Some(latest) = latest {
        let late = past_clock(latest, sent);
        let early = past_clock(clock, late);
        return Moment { at: early, latest: (late > early).then_some(late) };
    }
    Moment::exact(past_clock(clock, sent))
}

fn past_clock(clock: Clock, sent: NaiveDateTime) -> NaiveDateTime {
    let today = sent.date();
    let days = [today, today.pred_opt().unwrap_or(today)];
    let all = days
        .into_iter()
        .flat_map(|date| hours(clock).into_iter().map(move |hour| at(date, hour, clock.minute)));
    all.filter(|t| *t <= sent).max().unwrap_or(sent)
}
