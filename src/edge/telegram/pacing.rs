//! How often the platform lets a bot speak: about once a second in a chat, 20 times a minute in a group, 30 times a second
//! in all. Always true: what was recorded is within those limits if it was recorded no earlier than `ready` said.

use std::collections::{HashMap, VecDeque};

use chrono::{DateTime, TimeDelta, Utc};

type Time = DateTime<Utc>;

const SECOND: TimeDelta = TimeDelta::seconds(1);
const MINUTE: TimeDelta = TimeDelta::minutes(1);
const IN_ALL_A_SECOND: usize = 30;
const IN_A_GROUP_A_MINUTE: usize = 20;
/// While answers wait, what is urgent gets no more than this of each second: so a thousand urgent messages are said within
/// a minute, and nobody who asks waits for them. Our own choice, no source.
const URGENT_A_SECOND: usize = 20;
/// Chats that nothing was sent to for a minute are looked for whenever this many more have come.
const CHATS: usize = 1000;

#[derive(Debug, Default)]
pub struct Pacer {
    /// When, and whether it was urgent.
    all: VecDeque<(Time, bool)>,
    chats: HashMap<i64, VecDeque<Time>>,
    /// How many chats there may be before the quiet ones are looked for.
    room: usize,
}

impl Pacer {
    /// From when on the next message may go to any chat.
    pub fn ready(&self) -> Time {
        let full = self.all.len().checked_sub(IN_ALL_A_SECOND).and_then(|nth| self.all.get(nth));
        full.map_or(Time::MIN_UTC, |(sent, _)| *sent + SECOND)
    }

    /// From when on the next message may go to a chat, whatever goes to others.
    pub fn ready_in(&self, chat: i64) -> Time {
        let nothing = VecDeque::new();
        let sent = self.chats.get(&chat).unwrap_or(&nothing);
        let a_group = chat < 0;
        [after(sent, 1, SECOND), after(sent, IN_A_GROUP_A_MINUTE, MINUTE).filter(|_| a_group)]
            .into_iter()
            .flatten()
            .max()
            .unwrap_or(Time::MIN_UTC)
    }

    /// Whether in the last second as much was urgent as may be while answers wait.
    pub fn urgent_had_its_part(&self, now: Time) -> bool {
        let lately = self.all.iter().rev().take_while(|(sent, _)| *sent + SECOND > now);
        lately.filter(|(_, urgent)| *urgent).count() >= URGENT_A_SECOND
    }

    pub fn record(&mut self, chat: i64, urgent: bool, now: Time) {
        self.all.push_back((now, urgent));
        self.all.drain(..self.all.len().saturating_sub(IN_ALL_A_SECOND));
        let sent = self.chats.entry(chat).or_default();
        sent.push_back(now);
        sent.drain(..sent.len().saturating_sub(IN_A_GROUP_A_MINUTE));
        if self.chats.len() > self.room {
            self.chats.retain(|_, sent| sent.back().is_some_and(|last| *last + MINUTE > now));
            self.room = self.chats.len() + CHATS;
        }
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
            now = now.max(pacer.ready()).max(pacer.ready_in(*chat));
            pacer.record(*chat, false, now);
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
        for second in 0..5000 {
            pacer.record(second, false, DateTime::UNIX_EPOCH + TimeDelta::seconds(second));
        }
        assert!(pacer.chats.len() <= 60 + CHATS, "{} chats", pacer.chats.len());
    }

    #[test]
    fn what_is_urgent_leaves_a_part_to_answers() {
        let mut pacer = Pacer::default();
        let now = DateTime::UNIX_EPOCH;
        (0..20).for_each(|chat| pacer.record(chat, chat > 0, now));
        assert!(!pacer.urgent_had_its_part(now));
        pacer.record(20, true, now);
        assert!(pacer.urgent_had_its_part(now));
        assert!(!pacer.urgent_had_its_part(now + SECOND));
    }
}
