//! Guesses of the set-up code: after a few wrong ones whoever guesses must wait, longer each time, and then isn't heard
//! any more. Counted for the person and for the chat, so that neither new groups nor new people help by themselves. In
//! memory only: whoever starts the program anew forgives.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};

/// Wrong codes that cost nothing, and after how many nothing is compared any more for a day. Our own choice, no source.
const FREE: u32 = 3;
const REFUSED: u32 = 10;
const FIRST_WAIT: TimeDelta = TimeDelta::minutes(1);
const DAY: TimeDelta = TimeDelta::days(1);
/// How many guessers are remembered; beyond that, those that may guess again are forgotten.
const REMEMBERED: usize = 10_000;

#[derive(Debug, Default)]
pub struct Guesses {
    wrong: HashMap<i64, (u32, DateTime<Utc>)>,
}

/// Whether a guess is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    Allowed,
    /// Not before then, right or wrong.
    Waits(DateTime<Utc>),
    /// Nothing is answered any more.
    Refused,
}

impl Guesses {
    /// `who`: the guesser and the chat.
    pub fn turn(&self, who: &[i64], now: DateTime<Utc>) -> Turn {
        let turns = who.iter().filter_map(|who| self.wrong.get(who)).map(|(wrong, last)| {
            let until = *last + wait(*wrong);
            match *wrong {
                _ if now >= until => Turn::Allowed,
                wrong if wrong >= REFUSED => Turn::Refused,
                _ => Turn::Waits(until),
            }
        });
        turns
            .max_by_key(|turn| match turn {
                Turn::Allowed => (0, None),
                Turn::Waits(until) => (1, Some(*until)),
                Turn::Refused => (2, None),
            })
            .unwrap_or(Turn::Allowed)
    }

    pub fn wrong(&mut self, who: &[i64], now: DateTime<Utc>) {
        if self.wrong.len() >= REMEMBERED {
            self.wrong.retain(|_, (wrong, last)| now < *last + wait(*wrong));
        }
        for who in who {
            let (wrong, last) = self.wrong.entry(*who).or_insert((0, now));
            // A day without a guess begins anew.
            *wrong = if now - *last >= DAY { 1 } else { *wrong + 1 };
            *last = now;
        }
    }
}

fn wait(wrong: u32) -> TimeDelta {
    match wrong {
        0..FREE => TimeDelta::zero(),
        FREE..REFUSED => FIRST_WAIT * 2_i32.pow(wrong - FREE),
        _ => DAY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn guesses_are_slowed_and_then_refused() {
        let mut guesses = Guesses::default();
        let mut now = DateTime::UNIX_EPOCH;
        let (ana, group, other) = (1, -1, -2);
        for _ in 0..FREE {
            assert_eq!(guesses.turn(&[ana, group], now), Turn::Allowed);
            guesses.wrong(&[ana, group], now);
        }
        assert_eq!(guesses.turn(&[ana, group], now), Turn::Waits(now + FIRST_WAIT));
        // Neither another group nor another person there is a way round.
        assert_ne!(guesses.turn(&[ana, other], now), Turn::Allowed);
        assert_ne!(guesses.turn(&[2, group], now), Turn::Allowed);
        assert_eq!(guesses.turn(&[2, other], now), Turn::Allowed);
        for _ in FREE..REFUSED {
            now += DAY / 2;
            assert_eq!(guesses.turn(&[ana, group], now), Turn::Allowed);
            guesses.wrong(&[ana, group], now);
        }
        assert_eq!(guesses.turn(&[ana, group], now + DAY / 2), Turn::Refused);
        assert_eq!(guesses.turn(&[ana, group], now + DAY), Turn::Allowed);
    }
}
