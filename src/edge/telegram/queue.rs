//! What waits to be sent, in memory: which chat is next, whatever the number of those that wait. Always true: in a chat the
//! order is class, then id, except that a change of a message waits for that message; a chat that must wait, or to which
//! something is on its way, is in no other's way; while answers wait, what is urgent leaves some of each second to them.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, Utc};

use crate::app::wire::{Body, Class, Outgoing};

type Time = DateTime<Utc>;

#[derive(Debug, Default)]
pub struct Queue {
    chats: HashMap<i64, Chat>,
    /// The chats whose turn may come, by what they wait for.
    turns: BTreeSet<(Class, i64, i64)>,
    asleep: BTreeSet<(Time, i64)>,
    /// The last row that came in.
    last: i64,
}

#[derive(Debug, Default)]
struct Chat {
    rows: BTreeMap<(Class, i64), Outgoing>,
    place: Place,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Place {
    #[default]
    Nowhere,
    Turn(Class, i64),
    Asleep(Time),
    /// Something is on its way to the chat.
    Busy,
}

impl Chat {
    /// The first that can be sent.
    fn head(&self) -> Option<(Class, i64)> {
        let waits = |row: &Outgoing| match row.body {
            Body::Edit { of, .. } => self.rows.values().any(|other| other.id == of),
            _ => false,
        };
        self.rows.iter().find(|(_, row)| !waits(row)).map(|(key, _)| *key)
    }
}

impl Queue {
    pub fn last(&self) -> i64 {
        self.last
    }

    pub fn add(&mut self, row: Outgoing) {
        self.last = self.last.max(row.id);
        let chat = row.chat;
        let waiting = self.chats.entry(chat).or_default();
        waiting.rows.insert((row.class, row.id), row);
        if matches!(waiting.place, Place::Nowhere | Place::Turn(..)) {
            self.line_up(chat);
        }
    }

    /// Forgets all but what is on its way, to be filled anew.
    pub fn clear(&mut self) {
        self.turns.clear();
        self.asleep.clear();
        self.chats.retain(|_, chat| chat.place == Place::Busy);
        self.chats.values_mut().for_each(|chat| chat.rows.clear());
        self.last = 0;
    }

    /// Chats that may be written to again.
    pub fn wake(&mut self, now: Time) {
        while let Some((until, chat)) = self.asleep.first().copied().filter(|(until, _)| *until <= now) {
            self.asleep.remove(&(until, chat));
            self.line_up(chat);
        }
    }

    /// When the first of those that must wait may be written to.
    pub fn wakes(&self) -> Option<Time> {
        self.asleep.first().map(|(until, _)| *until)
    }

    /// The row whose turn it is; an answer before what is urgent, where that is wished and one waits.
    pub fn next(&self, answers_first: bool) -> Option<&Outgoing> {
        let answer = || self.turns.range((Class::Answer, i64::MIN, i64::MIN)..).next();
        let answer = answers_first.then(answer).flatten().filter(|(class, ..)| *class == Class::Answer);
        let (class, id, chat) = answer.or_else(|| self.turns.first())?;
        self.chats.get(chat)?.rows.get(&(*class, *id))
    }

    /// Nothing goes to the chat before then.
    pub fn sleep(&mut self, chat: i64, until: Time) {
        self.put(chat, Place::Asleep(until));
    }

    /// It is on its way now; until `ended` the chat gets nothing else.
    pub fn take(&mut self, row: &Outgoing) {
        if let Some(chat) = self.chats.get_mut(&row.chat) {
            chat.rows.remove(&(row.class, row.id));
        }
        self.put(row.chat, Place::Busy);
    }

    /// What was on its way has arrived, as this message, or won't be tried again.
    pub fn ended(&mut self, row: &Outgoing, message: Option<i64>) {
        let rows = self.chats.get_mut(&row.chat).into_iter().flat_map(|chat| chat.rows.values_mut());
        for other in rows.filter(|other| matches!(other.body, Body::Edit { of, .. } if of == row.id)) {
            other.edits = message;
        }
        self.line_up(row.chat);
    }

    /// It was not taken, and is tried again then.
    pub fn again(&mut self, row: Outgoing, until: Time) {
        let chat = row.chat;
        self.chats.entry(chat).or_default().rows.insert((row.class, row.id), row);
        self.put(chat, Place::Asleep(until));
    }

    fn line_up(&mut self, chat: i64) {
        match self.chats.get(&chat).and_then(Chat::head) {
            Some((class, id)) => self.put(chat, Place::Turn(class, id)),
            None => {
                self.put(chat, Place::Nowhere);
                self.chats.remove(&chat);
            }
        }
    }

    fn put(&mut self, chat: i64, place: Place) {
        let Some(waiting) = self.chats.get_mut(&chat) else { return };
        match waiting.place {
            Place::Turn(class, id) => drop(self.turns.remove(&(class, id, chat))),
            Place::Asleep(until) => drop(self.asleep.remove(&(until, chat))),
            Place::Nowhere | Place::Busy => {}
        }
        waiting.place = place;
        match place {
            Place::Turn(class, id) => drop(self.turns.insert((class, id, chat))),
            Place::Asleep(until) => drop(self.asleep.insert((until, chat))),
            Place::Nowhere | Place::Busy => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;

    fn row(id: i64, chat: i64, class: Class) -> Outgoing {
        let body = Body::Ack { tap: String::new() };
        Outgoing { id, chat, class, body, edits: None }
    }

    fn edit(id: i64, chat: i64, of: i64) -> Outgoing {
        let body = Body::Edit { of, text: String::new(), buttons: Vec::new() };
        Outgoing { body, ..row(id, chat, Class::Answer) }
    }

    /// Takes all that may go, one after the other, each arriving at once.
    fn all(queue: &mut Queue, answers_first: bool) -> Vec<i64> {
        let mut sent = Vec::new();
        while let Some(row) = queue.next(answers_first).cloned() {
            queue.take(&row);
            queue.ended(&row, Some(row.id * 10));
            sent.push(row.id);
        }
        sent
    }

    #[test]
    fn the_class_comes_first_then_the_id() {
        let rows =
            [(1, 5, Class::Reminder), (2, 6, Class::Answer), (3, 5, Class::Urgent), (4, 6, Class::Answer)];
        let mut queue = Queue::default();
        rows.iter().for_each(|(id, chat, class)| queue.add(row(*id, *chat, *class)));
        assert_eq!((all(&mut queue, false), queue.last()), (vec![3, 2, 4, 1], 4));
        assert!(queue.chats.is_empty());
        rows.iter().for_each(|(id, chat, class)| queue.add(row(*id, *chat, *class)));
        assert_eq!(all(&mut queue, true), [2, 4, 3, 1]);
    }

    #[test]
    fn a_chat_that_waits_is_in_no_others_way() {
        let start = DateTime::UNIX_EPOCH;
        let mut queue = Queue::default();
        (1..=4).for_each(|id| queue.add(row(id, id % 2, Class::Answer)));
        queue.sleep(1, start + TimeDelta::seconds(5));
        assert_eq!(
            (all(&mut queue, false), queue.wakes()),
            (vec![2, 4], Some(start + TimeDelta::seconds(5)))
        );
        queue.add(row(5, 1, Class::Urgent));
        queue.wake(start + TimeDelta::seconds(4));
        assert_eq!(queue.next(false), None);
        queue.wake(start + TimeDelta::seconds(5));
        assert_eq!(all(&mut queue, false), [5, 1, 3]);
    }

    #[test]
    fn a_change_waits_for_its_message_and_learns_its_id() {
        let mut queue = Queue::default();
        queue.add(row(1, 5, Class::Reminder));
        queue.add(edit(2, 5, 1));
        let first = queue.next(false).cloned().unwrap();
        assert_eq!(first.id, 1);
        queue.take(&first);
        assert_eq!(queue.next(false), None);
        queue.ended(&first, Some(77));
        assert_eq!(queue.next(false).map(|row| (row.id, row.edits)), Some((2, Some(77))));
    }

    #[test]
    fn what_was_refused_keeps_its_place() {
        let mut queue = Queue::default();
        (1..=2).for_each(|id| queue.add(row(id, 5, Class::Answer)));
        let first = queue.next(false).cloned().unwrap();
        queue.take(&first);
        queue.again(first, DateTime::UNIX_EPOCH);
        queue.wake(DateTime::UNIX_EPOCH);
        assert_eq!(all(&mut queue, false), [1, 2]);
    }
}
