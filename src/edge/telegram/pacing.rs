//! How often the platform lets a bot speak: about once a second in a chat, 20 times a minute in a group, 30 times a second
//! in all. Always true: what was recorded is within those limits if it was recorded no earlier than `ready` said.

use std::collections::{HashMap, VecDeque};

use chrono::{DateTime, TimeDelta, Utc};

type Time = DateTime<Utc>;

const SECOND: TimeDelta = TimeDelta::seconds(1);
const MINUTE: TimeDelta = TimeDelta::minutes(1);
const IN_ALL_A_SECOND: usize = 30;
const IN_A_GROUP_A_MINUTE: usize = 20;

#[derive(Debug, Default)]
pub struct Pacer {
    all: VecDeque<Time>,
    chats: HashMap<i64, VecDeque<Time>>,
}

impl Pacer {
    /// From when on the next message may go to a chat.
    pub fn ready(&self, chat: i64) -> Time {
        let nothing = VecDeque::new();
        let sent = self.chats.get(&chat).unwrap_or(&nothing);
        let a_group = chat < 0;
        [
            after(&self.all, IN_ALL_A_SECOND, SECOND),
            after(sent, 1, SECOND),
            after(sent, IN_A_GROUP_A_MINUTE, MINUTE).filter(|_| a_group),
        ]
        .into_iter()
        .flatten()
        .max()
        .unwrap_or(Time::MIN_UTC)
    }

    pub fn record(&mut self, chat: i64, now: Time) {
        self.all.push_back(now);
        self.all.drain(..self.all.len().saturating_sub(IN_ALL_A_SECOND));
        let sent = self.chats.entry(chat).or_default();
        sent.push_back(now);
        sent.drain(..sent.len().saturating_sub(IN_A_GROUP_A_MINUTE));
        self.chats.retain(|_, sent| sent.back().is_some_and(|last| *last + MINUTE > now));
    }
}

/// When there will be fewer than `most` in the span before.
fn after(sent: &VecDeque<Time>, most: usize, span: TimeDelta) -> Option<Time> {
    Some(*sent.get(sent.len().checked_sub(most)?)? + span)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sends as fast as is allowed and gives the second of each message after the first.
    fn seconds(chats: &[i64]) -> Vec<f64> {
        let (mut pacer, mut now) = (Pacer::default(), DateTime::UNIX_EPOCH);
        let mut times = Vec::new();
        for chat in chats {
            now = now.max(pacer.ready(*chat));
            pacer.record(*chat, now);
            times.push((now - DateTime::UNIX_EPOCH).as_seconds_f64());
        }
        times
    }

    // The limits are those of the Bot API's "My bot is hitting limits" (published).
    #[test]
    fn a_chat_gets_one_message_a_second() {
        assert_eq!(seconds(&[5; 4]), [0.0, 1.0, 2.0, 3.0]);
        assert_eq!(seconds(&[5; 40])[39], 39.0);
    }

    #[test]
    fn a_group_gets_twenty_a_minute() {
        let times = seconds(&[-5; 42]);
        assert_eq!(times[19..22], [19.0, 60.0, 61.0]);
        assert_eq!(times[40..], [120.0, 121.0]);
    }

    #[test]
    fn all_chats_together_get_thirty_a_second() {
        let chats: Vec<i64> = (1..=65).collect();
        let times = seconds(&chats);
        assert_eq!((times[29], times[30], times[59], times[60]), (0.0, 1.0, 1.0, 2.0));
    }

    #[test]
    fn chats_that_were_quiet_are_forgotten() {
        let mut pacer = Pacer::default();
        for minute in 0..100 {
            pacer.record(minute, DateTime::UNIX_EPOCH + TimeDelta::minutes(minute));
        }
        assert_eq!(pacer.chats.len(), 1);
    }
}
