//! The one place that knows what time it is. Everything else is given the time, or waits here for it. A virtual clock
//! stands still until it is moved, so that a test or the local room can let days pass in no time.
#![allow(clippy::disallowed_methods)]

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::watch;

/// A system's clock may be set, and a computer may sleep: after at most this long a waiter looks at the clock again.
const LOOK_AGAIN: Duration = Duration::from_secs(60);

#[derive(Debug, Clone)]
pub struct Clock(Kind);

#[derive(Debug, Clone)]
enum Kind {
    System,
    Virtual(watch::Sender<DateTime<Utc>>),
}

impl Clock {
    pub fn system() -> Clock {
        Clock(Kind::System)
    }

    pub fn virtual_at(start: DateTime<Utc>) -> Clock {
        Clock(Kind::Virtual(watch::channel(start).0))
    }

    pub fn now(&self) -> DateTime<Utc> {
        match &self.0 {
            Kind::System => Utc::now(),
            Kind::Virtual(time) => *time.borrow(),
        }
    }

    /// Moves a virtual clock on, never back; the system's clock isn't ours to move.
    pub fn advance(&self, by: TimeDelta) {
        self.advance_to(self.now() + by);
    }

    pub fn advance_to(&self, to: DateTime<Utc>) {
        if let Kind::Virtual(time) = &self.0 {
            time.send_if_modified(|now| {
                let forward = to > *now;
                *now = to.max(*now);
                forward
            });
        }
    }

    /// So long by any clock: whoever sets the system's clock meanwhile changes nothing.
    pub async fn sleep(&self, span: TimeDelta) {
        match &self.0 {
            Kind::System => tokio::time::sleep(span.to_std().unwrap_or_default()).await,
            Kind::Virtual(_) => self.sleep_until(self.now() + span).await,
        }
    }

    /// Sets a virtual clock back, as somebody might set the system's.
    pub fn set_back(&self, by: TimeDelta) {
        if let Kind::Virtual(time) = &self.0 {
            time.send_modify(|now| *now -= by);
        }
    }

    pub async fn sleep_until(&self, until: DateTime<Utc>) {
        match &self.0 {
            Kind::System => {
                while let Ok(left) = (until - Utc::now()).to_std()
                    && !left.is_zero()
                {
                    tokio::time::sleep(left.min(LOOK_AGAIN)).await;
                }
            }
            Kind::Virtual(time) => {
                // The sender is held here, so the channel can't close while somebody waits.
                let _ = time.subscribe().wait_for(|now| *now >= until).await;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_virtual_clock_wakes_who_waits_when_it_is_moved_far_enough() {
        let start = DateTime::UNIX_EPOCH;
        let clock = Clock::virtual_at(start);
        let waiter = tokio::spawn({
            let clock = clock.clone();
            async move {
                clock.sleep(TimeDelta::hours(5)).await;
                clock.now()
            }
        });
        tokio::task::yield_now().await;
        clock.advance(TimeDelta::hours(4));
        tokio::task::yield_now().await;
        assert!(!waiter.is_finished());
        clock.advance(TimeDelta::hours(2));
        assert_eq!(waiter.await.unwrap(), start + TimeDelta::hours(6));
        clock.advance_to(start);
        assert_eq!(clock.now(), start + TimeDelta::hours(6));
    }

    #[tokio::test]
    async fn a_time_that_has_passed_is_not_waited_for() {
        let clock = Clock::system();
        clock.sleep_until(clock.now() - TimeDelta::days(1)).await;
    }
}
