//! How far time is to pass, and times in words for the page. Always true: civil times are the household's.

use chrono::{DateTime, Days, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use serde::Deserialize;

use super::Room;
use crate::edge::standin::What;

/// A visitor who asks for the next reminder should not wait for ever when none is said.
const MOST_WAKES: usize = 200;
const MORNING_HOUR: u32 = 7;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Pass {
    Hour,
    Reminder,
    Morning,
}

impl Room {
    /// Lets time pass. `false` if there was nothing to wait for.
    pub(super) async fn pass(&self, pass: Pass) -> bool {
        let now = self.behind.now();
        match pass {
            Pass::Hour => self.behind.advance(now + TimeDelta::hours(1)).await,
            Pass::Morning => self.behind.advance(next_morning(now, self.setting.zone)).await,
            Pass::Reminder => return self.pass_to_reminder().await,
        }
        true
    }

    /// From wake to wake until the bot says something: not every wake has something to say.
    async fn pass_to_reminder(&self) -> bool {
        let mut follow = self.standin.follow();
        for _ in 0..MOST_WAKES {
            let Some(wake) = self.behind.next_wake().await else { return false };
            let now = self.behind.now();
            // One that should have come of it already comes now, or a little later.
            self.behind.advance(if wake > now { wake } else { now + TimeDelta::minutes(1) }).await;
            // An answer to somebody is no reminder.
            if follow.unread().iter().any(|s| matches!(&s.what, What::Message(p) if p.reply_to.is_none())) {
                return true;
            }
        }
        false
    }
}

/// The next time it is seven o'clock there; a clock change in between makes the night longer or shorter.
fn next_morning(now: DateTime<Utc>, zone: Tz) -> DateTime<Utc> {
    let seven = NaiveTime::from_hms_opt(MORNING_HOUR, 0, 0).unwrap_or_default();
    let today = now.with_timezone(&zone).date_naive();
    (0..=2)
        .filter_map(|days| zone.from_local_datetime(&(today + Days::new(days)).and_time(seven)).earliest())
        .map(|morning| morning.to_utc())
        .find(|morning| *morning > now)
        .unwrap_or(now + TimeDelta::days(1))
}

/// A clock time, with as much of the date as is needed to know the day.
pub(super) fn clock_words(at: DateTime<Utc>, now: DateTime<Utc>, zone: Tz) -> String {
    let local = at.with_timezone(&zone);
    let form = match (at - now).num_days().abs() {
        0..=5 => "%a %H:%M",
        6..=90 => "%a %-d %b %H:%M",
        _ => "%-d %b %Y",
    };
    local.format(form).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Clock change of 2027-03-14 in Chicago: the IANA zone data.
    #[test]
    fn morning_is_the_next_seven_oclock_there() {
        let chicago: Tz = "America/Chicago".parse().unwrap();
        for (now, morning) in [
            ("2027-03-09T12:59:00Z", "2027-03-09T13:00:00Z"),
            ("2027-03-09T13:00:00Z", "2027-03-10T13:00:00Z"),
            ("2027-03-14T05:00:00Z", "2027-03-14T12:00:00Z"),
        ] {
            assert_eq!(next_morning(at(now), chicago), at(morning), "{now}");
        }
    }

    #[test]
    fn the_further_away_the_more_of_the_date() {
        let now = at("2027-03-09T12:00:00Z");
        for (then, words) in [
            ("2027-03-13T19:02:00Z", "Sat 19:02"),
            ("2027-03-16T19:02:00Z", "Tue 16 Mar 19:02"),
            ("2027-09-09T19:02:00Z", "9 Sep 2027"),
        ] {
            assert_eq!(clock_words(at(then), now, Tz::UTC), words);
        }
    }
}
