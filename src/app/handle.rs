//! What a person did in a chat: read, decided, recorded and answered.

use chrono::{DateTime, Utc};

use crate::chat::read::{self, Context};
use crate::chat::say::{Said, Speaker};
use crate::domain::act::{Pick, Reading};
use crate::domain::answer::{Answer, Choice, ChoiceLabel, Piece, Press};
use crate::domain::decide::{self, About, Changes, Decision, Message};
use crate::domain::fact::{Entry, Record};
use crate::domain::household::Household;
use crate::domain::ledger::Ledger;
use crate::domain::milk::Moment;
use crate::store::{Commit, HouseholdId, NewOutboxRow, PersonRow, StoreError};

use super::house::{House, is_stale};
use super::wire::{Body, Button, Class, Event, Incoming};
use super::{App, AppError, Heard, TRIES, words};

/// The command that takes a group on.
const START: &str = "/start";

impl App {
    /// Does all that an update asks for, and marks it as done in the same transaction.
    pub async fn handle(&self, incoming: &Incoming) -> Result<Heard, AppError> {
        if let Event::Migrated { to } = incoming.event {
            self.store.migrate_chat(incoming.chat, to).await?;
            self.memory.forget_all();
            return self.only_done(incoming, Vec::new()).await;
        }
        match self.store.household_of_chat(incoming.chat).await? {
            Some(id) => self.handle_at_home(id, incoming).await,
            None => self.handle_stranger(incoming).await,
        }
    }

    async fn only_done(&self, incoming: &Incoming, outbox: Vec<NewOutboxRow>) -> Result<Heard, AppError> {
        self.store.commit(Commit { change: None, outbox, done: Some(incoming.update) }).await?;
        Ok(Heard::default())
    }

    /// In a chat that isn't taken on only the set-up code is answered.
    async fn handle_stranger(&self, incoming: &Incoming) -> Result<Heard, AppError> {
        let Event::Text { message, text, .. } = &incoming.event else {
            return self.only_done(incoming, Vec::new()).await;
        };
        let Some(code) = started(text) else { return self.only_done(incoming, Vec::new()).await };
        let ledger = Ledger::new(Household::default());
        let speaker = Speaker::new(&ledger, incoming.at);
        let text = if incoming.private {
            self.remember_private_chat(incoming).await?;
            speaker.word("private-chat")
        } else if self.is_setup_code(code) {
            self.take_on(incoming.chat, &Household::default(), incoming.at).await?;
            self.welcome(&speaker)
        } else {
            speaker.word(if code.is_empty() { "not-taken-on" } else { "wrong-code" })
        };
        let said = Said { text, buttons: Vec::new() };
        self.only_done(incoming, vec![send(incoming.chat, Class::Answer, said, Some(*message), false, None)])
            .await
    }

    /// Whoever writes to the bot alone can be written to alone: what only they should see goes there from now on.
    async fn remember_private_chat(&self, incoming: &Incoming) -> Result<(), AppError> {
        let Some(sender) = &incoming.from else { return Ok(()) };
        for id in self.store.households_of_person(sender.id).await? {
            let persons = self.store.persons(id).await?;
            if let Some(person) = persons.into_iter().find(|p| p.member == sender.id) {
                let person = PersonRow { private_chat: Some(incoming.chat), ..person };
                self.store.upsert_person(id, &person).await?;
                self.memory.forget(id);
            }
        }
        Ok(())
    }

    fn welcome(&self, speaker: &Speaker) -> String {
        let mut pieces = vec![Piece::Welcome];
        if !self.sees_all() {
            pieces.push(Piece::SeesOnlyCommands);
        }
        speaker.say(&Answer { pieces, buttons: Vec::new() }).unwrap_or_default().text
    }

    async fn handle_at_home(&self, id: HouseholdId, incoming: &Incoming) -> Result<Heard, AppError> {
        let slot = self.memory.slot(id);
        for _ in 0..TRIES {
            let mut kept = slot.lock().await;
            let mut house = self.taken(id, &mut kept).await?;
            match self.handle_in(&mut house, incoming).await {
                Ok(heard) => {
                    self.put_back(house, &mut kept);
                    return Ok(heard);
                }
                Err(error) if is_stale(&error) => {}
                Err(error) => return Err(error),
            }
        }
        Err(AppError::Busy(id.0))
    }

    async fn handle_in(&self, house: &mut House, incoming: &Incoming) -> Result<Heard, AppError> {
        let by = self.who(house, incoming).await?;
        let decision = self.decide(house, incoming, by.as_deref()).await?;
        let heard = Heard { acts: decision.acts.clone(), codes: decision.made.clone() };
        let message = match &incoming.event {
            Event::Text { message, .. } | Event::Edited { message, .. } | Event::Unreadable { message } => {
                Some(*message)
            }
            _ => None,
        };
        let key = key_of(&house.ledger, &decision);
        let entries = record(&mut house.ledger, &decision, by, message, incoming.at);
        let outbox = self.outbox(house, key, &decision, incoming).await?;
        house.commit(&self.store, &entries, outbox, Some(incoming.update), incoming.at).await?;
        Ok(heard)
    }

    /// The name by which a person is known in this household; two of the same name are told apart.
    async fn who(&self, house: &mut House, incoming: &Incoming) -> Result<Option<String>, AppError> {
        let Some(sender) = &incoming.from else { return Ok(None) };
        if let Some(name) = house.members.get(&sender.id) {
            return Ok(Some(name.clone()));
        }
        let taken = |name: &str| house.members.values().any(|n| n == name);
        let mut name = sender.name.clone();
        let mut number = 2;
        while taken(&name) {
            name = format!("{} {number}", sender.name);
            number += 1;
        }
        let person = PersonRow { member: sender.id, name: name.clone(), private_chat: None };
        self.store.upsert_person(house.id, &person).await?;
        house.members.insert(sender.id, name.clone());
        Ok(Some(name))
    }

    async fn decide(
        &self,
        house: &House,
        incoming: &Incoming,
        by: Option<&str>,
    ) -> Result<Decision, AppError> {
        let ledger = &house.ledger;
        let mut message = Message { by, sent: incoming.at, id: None, replies_to: None, about: None };
        Ok(match &incoming.event {
            Event::Text { text, .. } if started(text).is_some() => say(if self.sees_all() {
                vec![Piece::Welcome]
            } else {
                vec![Piece::Welcome, Piece::SeesOnlyCommands]
            }),
            Event::Text { message: id, text, reply_to } => {
                message.id = Some(*id);
                if let Some(to) = reply_to {
                    self.place_reply(house, incoming.chat, *to, &mut message).await?;
                }
                match words::chosen(ledger, &message, text) {
                    Some(press) => decide::press(ledger, &message, press),
                    None => decide::decide(ledger, &message, reading(ledger, text, incoming.at)),
                }
            }
            Event::Edited { message: id, text, sent } => {
                message.id = Some(*id);
                // An edited message says now what it should have said when it was sent.
                message.sent = *sent;
                decide::edited(ledger, &message, reading(ledger, text, *sent))
            }
            Event::Tapped { data, .. } => match Press::decode(data) {
                Some(press) => decide::press(ledger, &message, press),
                None => say(vec![Piece::NothingAsked]),
            },
            // Nothing is said to a group that put the bot out, until it is taken in again.
            Event::Removed => noted(Record::Paused { until: None }, Vec::new()),
            Event::Added { sees_all: true } => noted(Record::Resumed, Vec::new()),
            Event::Added { sees_all: false } => noted(Record::Resumed, vec![Piece::SeesOnlyCommands]),
            _ => Decision::default(),
        })
    }

    /// What a reply is to: an entry, by the message that made it or by its receipt; or a reminder; or a question.
    async fn place_reply(
        &self,
        house: &House,
        chat: i64,
        to: i64,
        message: &mut Message<'_>,
    ) -> Result<(), StoreError> {
        if let Some(said) = house.ledger.said_in(to) {
            message.replies_to = Some(said.seq);
            return Ok(());
        }
        let row = self.store.outbox_row_of_message(chat, to).await?;
        match row.and_then(|r| r.dedupe).as_deref().and_then(Key::read) {
            Some(Key::Receipt(seq)) => message.replies_to = Some(seq),
            Some(Key::Reminder(seq)) => message.about = Some(About::Reminder(seq)),
            Some(Key::Question(seq)) => message.about = Some(About::Question(seq)),
            None => {}
        }
        Ok(())
    }

    /// What is sent for a decision: an answer, or a change of the message that the button was under.
    async fn outbox(
        &self,
        house: &House,
        key: Option<Key>,
        decision: &Decision,
        incoming: &Incoming,
    ) -> Result<Vec<NewOutboxRow>, AppError> {
        let mut rows = Vec::new();
        if let Event::Tapped { tap, .. } = &incoming.event {
            rows.push(row(incoming.chat, Class::Answer, &Body::Ack { tap: tap.clone() }, None, None));
        }
        let speaker = Speaker::new(&house.ledger, incoming.at);
        let Some(said) = speaker.say(&decision.answer) else { return Ok(rows) };
        let urgent =
            decision.answer.pieces.iter().any(|p| matches!(p, Piece::Alarm { .. } | Piece::Outage { .. }));
        let class = if urgent { Class::Urgent } else { Class::Answer };
        if let Some(changes) = decision.changes
            && let Some(edited) = self.edit(&speaker, changes, &said, incoming).await?
        {
            rows.push(edited);
            return Ok(rows);
        }
        let reply_to = match &incoming.event {
            Event::Text { message, .. } | Event::Edited { message, .. } | Event::Unreadable { message } => {
                Some(*message)
            }
            Event::Tapped { message, .. } => Some(*message),
            _ => None,
        };
        let key = key.map(|k| k.write(incoming.update));
        rows.push(send(incoming.chat, class, said, reply_to, false, key));
        Ok(rows)
    }

    /// The message of the bot's that is changed in place, if it was sent.
    async fn edit(
        &self,
        speaker: &Speaker<'_>,
        changes: Changes,
        said: &Said,
        incoming: &Incoming,
    ) -> Result<Option<NewOutboxRow>, AppError> {
        let found = match (&incoming.event, changes) {
            (Event::Tapped { message, .. }, _) => {
                self.store.outbox_row_of_message(incoming.chat, *message).await?
            }
            (_, Changes::Reminder(seq)) => {
                self.store.outbox_row_of_key(incoming.chat, &Key::Reminder(seq).write(seq)).await?
            }
            _ => None,
        };
        let Some(found) = found else { return Ok(None) };
        let (text, buttons) = match changes {
            Changes::Reminder(seq) => {
                let before = text_of(&found.body);
                let closed = speaker.is_closed(seq);
                let left = if closed { Vec::new() } else { vec![done_button(seq)] };
                (format!("{before}\n{}", said.text), speaker.buttons(&left))
            }
            Changes::Receipt(_) | Changes::Question(_) => (said.text.clone(), said.buttons.clone()),
        };
        let body = Body::Edit { of: found.id, text, buttons: buttons_of(buttons) };
        Ok(Some(row(incoming.chat, Class::Answer, &body, None, Some(found.id))))
    }
}

fn say(pieces: Vec<Piece>) -> Decision {
    Decision { answer: Answer { pieces, buttons: Vec::new() }, ..Decision::default() }
}

fn noted(record: Record, pieces: Vec<Piece>) -> Decision {
    Decision { records: vec![record], ..say(pieces) }
}

fn done_button(reminder: i64) -> Choice {
    Choice { label: ChoiceLabel::Done, press: Press::Close { reminder } }
}

/// What follows `/start`, if a message is that command.
fn started(text: &str) -> Option<&str> {
    let (command, rest) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), ""));
    (command.split('@').next() == Some(START)).then_some(rest.trim())
}

fn reading(ledger: &Ledger, text: &str, sent: Moment) -> Reading {
    let household = ledger.household();
    let context = Context {
        sent: sent.with_timezone(&household.zone).naive_local(),
        zone: household.zone,
        units: household.units,
        languages: household.languages.iter().filter_map(|l| read::Language::from_tag(l)).collect(),
    };
    let mut reading = read::read(text, &context);
    for act in &mut reading.acts {
        // "The 2pm one" is looked for in the stock by its time.
        if let Some(Pick::Phrase(words)) = &act.pick
            && let Some(named) = read::named_time(words, &context)
        {
            (act.named_from, act.named_to) = (Some(named.at), named.latest);
        }
    }
    reading
}

/// Enters what was decided in the ledger in memory. Unless the entries are committed then, that ledger is thrown away.
pub fn record(
    ledger: &mut Ledger,
    decision: &Decision,
    by: Option<String>,
    message: Option<i64>,
    at: DateTime<Utc>,
) -> Vec<Entry> {
    // Whoever answers somebody else's question records it for the one who was asked.
    let (by, message) = decision.on_behalf.clone().unwrap_or((by, message));
    let mut entries = Vec::new();
    for record in &decision.records {
        let (record, by) = (record.clone(), by.clone());
        let entry = Entry { seq: ledger.next_seq(), recorded: at, by, message, record };
        ledger.append(entry.clone());
        entries.push(entry);
    }
    entries
}

/// What a message of the bot's is about: found again by this key, whoever replies to it or closes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    Receipt(i64),
    Reminder(i64),
    Question(i64),
}

impl Key {
    /// Unique for what made it (an update, or the reminder itself), so that nothing is sent twice for it.
    pub fn write(self, made_by: i64) -> String {
        match self {
            Key::Receipt(seq) => format!("receipt:{seq}:{made_by}"),
            Key::Reminder(seq) => format!("reminder:{seq}:{made_by}"),
            Key::Question(seq) => format!("question:{seq}:{made_by}"),
        }
    }

    pub fn read(key: &str) -> Option<Key> {
        let mut pieces = key.split(':');
        let (kind, seq) = (pieces.next()?, pieces.next()?.parse().ok()?);
        match kind {
            "receipt" => Some(Key::Receipt(seq)),
            "reminder" => Some(Key::Reminder(seq)),
            "question" => Some(Key::Question(seq)),
            _ => None,
        }
    }
}

fn key_of(before: &Ledger, decision: &Decision) -> Option<Key> {
    decision.records.iter().zip(before.next_seq()..).find_map(|(record, seq)| match record {
        Record::Said { .. } => Some(Key::Receipt(seq)),
        Record::Amended { entry, .. } | Record::TakenBack { entry } => Some(Key::Receipt(*entry)),
        Record::Asked(_) => Some(Key::Question(seq)),
        _ => None,
    })
}

pub fn send(
    chat: i64,
    class: Class,
    said: Said,
    reply_to: Option<i64>,
    silent: bool,
    dedupe: Option<String>,
) -> NewOutboxRow {
    let body = Body::Send { text: said.text, buttons: buttons_of(said.buttons), reply_to, silent };
    row(chat, class, &body, dedupe, None)
}

fn buttons_of(buttons: Vec<(String, String)>) -> Vec<Button> {
    buttons.into_iter().map(|(label, data)| Button { label, data }).collect()
}

fn row(chat: i64, class: Class, body: &Body, dedupe: Option<String>, edits: Option<i64>) -> NewOutboxRow {
    NewOutboxRow {
        id: None,
        chat,
        class: class.rank(),
        dedupe,
        edits,
        body: serde_json::to_string(body).unwrap_or_default(),
    }
}

fn text_of(body: &str) -> String {
    match serde_json::from_str(body) {
        Ok(Body::Send { text, .. } | Body::Edit { text, .. }) => text,
        _ => String::new(),
    }
}
