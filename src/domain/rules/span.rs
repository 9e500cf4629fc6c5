//! Lengths of time as publishers print them. Hours and days are elapsed time (a day is 24 h); months are calendar
//! months in a zone, so that the same length ends at different distances from different starts.

use std::fmt;

use chrono::{Months, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Timelike};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::domain::milk::Moment;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Span {
    Hours(u32),
    Days(u32),
    Months(u32),
    /// No time at all: it is used now.
    AtOnce,
    /// The feed it was offered at is its last.
    EndOfFeed,
    /// Until midnight of the day it counts from.
    EndOfDay,
}

impl Span {
    /// The moment at which it has passed, counted from `start`.
    pub fn after(self, start: Moment, zone: Tz) -> Moment {
        match self {
            Span::Months(months) => months_after(start, months, zone),
            Span::EndOfDay => midnight_after(start, zone),
            _ => start + self.elapsed().unwrap_or_default(),
        }
    }

    /// How long it is, where that is the same from every start.
    pub fn elapsed(self) -> Option<TimeDelta> {
        match self {
            Span::Months(_) | Span::EndOfDay => None,
            Span::Hours(hours) => Some(TimeDelta::hours(hours.into())),
            Span::Days(days) => Some(TimeDelta::hours(24 * i64::from(days))),
            Span::AtOnce | Span::EndOfFeed => Some(TimeDelta::zero()),
        }
    }

    /// Whether it leaves no time to keep the milk.
    pub fn is_now(self) -> bool {
        matches!(self, Span::AtOnce | Span::EndOfFeed)
    }
}

/// The same civil time so many months later, cut to the month's last day.
fn months_after(start: Moment, months: u32, zone: Tz) -> Moment {
    let civil = start.with_timezone(&zone).naive_local();
    civil.checked_add_months(Months::new(months)).and_then(|c| moment(c, zone)).unwrap_or(start)
}

fn midnight_after(start: Moment, zone: Tz) -> Moment {
    let day = start.with_timezone(&zone).date_naive();
    day.succ_opt().and_then(|d| moment(d.and_time(NaiveTime::MIN), zone)).unwrap_or(start)
}

/// The moment of a civil time: the earlier one where it comes twice, the next valid one where the zone skips it.
/// `None` only outside the calendar.
pub fn moment(civil: NaiveDateTime, zone: Tz) -> Option<Moment> {
    if let Some(found) = existing(civil, zone) {
        return Some(found);
    }
    // Zones have skipped up to one whole day (Samoa, 2011); what is skipped ends on a full minute.
    let minute = civil.with_second(0)?.with_nanosecond(0)?;
    (1..=26 * 60).find_map(|n| existing(minute.checked_add_signed(TimeDelta::minutes(n))?, zone))
}

/// The moment of a civil time unless the zone skips it.
pub fn existing(civil: NaiveDateTime, zone: Tz) -> Option<Moment> {
    zone.from_local_datetime(&civil).earliest().map(|at| at.to_utc())
}

impl TryFrom<String> for Span {
    type Error = String;

    fn try_from(text: String) -> Result<Span, String> {
        let no_span =
            || format!("{text:?} is no length of time; for example: 4 h, 4 days, 6 months, at once");
        match text.as_str() {
            "at once" => return Ok(Span::AtOnce),
            "end of feed" => return Ok(Span::EndOfFeed),
            "end of day" => return Ok(Span::EndOfDay),
            _ => {}
        }
        let (number, unit) = text.split_once(' ').ok_or_else(no_span)?;
        let number: u32 = number.parse().map_err(|_| no_span())?;
        match unit {
            "h" => Ok(Span::Hours(number)),
            "day" | "days" => Ok(Span::Days(number)),
            "week" | "weeks" => Ok(Span::Days(7 * number)),
            "month" | "months" => Ok(Span::Months(number)),
            _ => Err(no_span()),
        }
    }
}

impl From<Span> for String {
    fn from(span: Span) -> String {
        span.to_string()
    }
}

/// In the form of the data files.
impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Span::Hours(n) => write!(f, "{n} h"),
            Span::Days(n) => write!(f, "{n} days"),
            Span::Months(1) => write!(f, "1 month"),
            Span::Months(n) => write!(f, "{n} months"),
            Span::AtOnce => write!(f, "at once"),
            Span::EndOfFeed => write!(f, "end of feed"),
            Span::EndOfDay => write!(f, "end of day"),
        }
    }
}
