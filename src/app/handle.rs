//! What a person did in a chat: read, decided, recorded and answered.

use chrono::{DateTime, Utc};

use crate::chat::read::{self, Context};
use crate::chat::say::{Said, Speaker};
use crate::domain::act::{Act, Change, Kind, Pick, Reading, Topic};
use crate::domain::answer::{Answer, Piece, Press};
use crate::domain::decide::{self, About, Decision, Message};
use crate::domain::fact::{Entry, Record};
use crate::domain::household::Household;
use crate::domain::ledger::Ledger;
use crate::domain::milk::Moment;
use crate::store::{Commit, HouseholdId, NewOutboxRow, PersonRow, StoreError};

use super::guesses::Turn;
use super::house::{House, NO_MORE};
use super::post::{Key, key_of, send};
use super::wire::{Class, Event, Incoming};
use super::words::{self, Told};
use super::{App, AppError, Deed, Heard};

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
        match self.home(incoming.chat).await? {
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
        let command = incoming.private && text.starts_with('/');
        let Some(code) = started(text).or(command.then_some("")) else {
            return self.only_done(incoming, Vec::new()).await;
        };
        let ledger = Ledger::new(Household::default());
        let speaker = Speaker::new(&ledger, incoming.at);
        let text = if incoming.private {
            self.remember_private_chat(incoming).await?;
            speaker.word("private-chat")
        } else if code.is_empty() {
            speaker.word("not-taken-on")
        } else {
            match self.try_code(incoming, code, &speaker).await? {
                Some(text) => text,
                None => return self.only_done(incoming, Vec::new()).await,
            }
        };
        let said = Said { text, buttons: Vec::new() };
        self.only_done(incoming, vec![send(incoming.chat, Class::Answer, said, Some(*message), false, None)])
            .await
    }

    /// What is said to a set-up code: nothing to who was refused.
    async fn try_code(
        &self,
        incoming: &Incoming,
        code: &str,
        speaker: &Speaker<'_>,
    ) -> Result<Option<String>, AppError> {
        let who: Vec<i64> = incoming.from.iter().map(|s| s.id).chain([incoming.chat]).collect();
        let turn = self.guesses.lock().await.turn(&who, incoming.at);
        Ok(match turn {
            Turn::Refused => None,
            Turn::Waits(until) => Some(speaker.too_many_guesses(until)),
            Turn::Allowed if self.is_setup_code(code) => {
                self.take_on(incoming.chat, &Household::default(), incoming.at).await?;
                Some(self.welcome(speaker))
            }
            Turn::Allowed => {
                self.guesses.lock().await.wrong(&who, incoming.at);
                Some(speaker.word("wrong-code"))
            }
        })
    }

    /// Whoever writes to the bot alone can be written to alone: what only they should see goes there from now on.
    async fn remember_private_chat(&self, incoming: &Incoming) -> Result<(), AppError> {
        let Some(sender) = &incoming.from else { return Ok(()) };
        for id in self.store.households_of_person(sender.id).await? {
            let persons = self.store.persons(id).await?;
            let here = |p: &PersonRow| p.member == sender.id && p.private_chat != Some(NO_MORE);
            if let Some(person) = persons.into_iter().find(here) {
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
        self.in_house(id, Deed::Handle(incoming)).await
    }

    pub(super) async fn handle_in(&self, house: &mut House, incoming: &Incoming) -> Result<Heard, AppError> {
        if let Event::Left { member } = incoming.event {
            self.see_off(house, member).await?;
            return self.only_done(incoming, Vec::new()).await;
        }
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

    /// Whoever has left the group isn't written to alone any more, until they write in the group again.
    async fn see_off(&self, house: &mut House, member: i64) -> Result<(), AppError> {
        self.store.set_private_chat(house.id, member, Some(NO_MORE)).await?;
        if let Some(name) = house.members.get(&member) {
            house.private_chats.remove(name);
            house.left.insert(member);
        }
        Ok(())
    }

    /// The name by which a person is known in this household; two of the same name are told apart.
    async fn who(&self, house: &mut House, incoming: &Incoming) -> Result<Option<String>, AppError> {
        let Some(sender) = &incoming.from else { return Ok(None) };
        if let Some(name) = house.members.get(&sender.id) {
            let name = name.clone();
            if house.left.remove(&sender.id) {
                self.store.set_private_chat(house.id, sender.id, None).await?;
            }
            return Ok(Some(name));
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
        let mut message =
            Message { by, sent: incoming.at, text: "", id: None, replies_to: None, about: None };
        Ok(match &incoming.event {
            Event::Text { text, .. } if started(text).is_some() => say(if self.sees_all() {
                vec![Piece::Welcome]
            } else {
                vec![Piece::Welcome, Piece::SeesOnlyCommands]
            }),
            Event::Text { message: id, text, reply_to } => {
                (message.id, message.text) = (Some(*id), text);
                if let Some(to) = reply_to {
                    self.place_reply(house, incoming.chat, *to, &mut message).await?;
                }
                match words::told(ledger, &message) {
                    Some(Told::Pressed(press)) => decide::press(ledger, &message, press),
                    Some(Told::Amount { question, value, unit }) => {
                        decide::amount(ledger, &message, question, value, unit)
                    }
                    Some(Told::Began(at)) => {
                        let change = Some(Box::new(Change { at: Some(at), ..Change::default() }));
                        let act = Act { since: Some(at), change, ..Act::new(Kind::Correct) };
                        decide::decide(ledger, &message, Reading { acts: vec![act], unclear: None })
                    }
                    None => decide::decide(ledger, &message, reading(ledger, &message)),
                }
            }
            Event::Edited { message: id, text, sent } => {
                (message.id, message.text) = (Some(*id), text);
                // An edited message says now what it should have said when it was sent.
                message.sent = *sent;
                decide::edited(ledger, &message, reading(ledger, &message))
            }
            Event::Tapped { data, .. } => match Press::decode(data) {
                Some(press) => decide::press(ledger, &message, press),
                None => say(vec![Piece::NothingAsked]),
            },
            Event::Unreadable { message: id } => {
                message.id = Some(*id);
                decide::unreadable(ledger, &message)
            }
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
        let said = house.ledger.said_in(to).map(|said| said.seq);
        let spoken = || house.ledger.talk().spoken_in(to).map(|spoken| spoken.seq);
        if let Some(seq) = said.or_else(spoken) {
            message.replies_to = Some(seq);
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
}

fn say(pieces: Vec<Piece>) -> Decision {
    Decision { answer: Answer { pieces, buttons: Vec::new() }, ..Decision::default() }
}

fn noted(record: Record, pieces: Vec<Piece>) -> Decision {
    Decision { records: vec![record], ..say(pieces) }
}

/// What follows `/start`, if a message is that command.
fn started(text: &str) -> Option<&str> {
    let (command, rest) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), ""));
    (command.split('@').next() == Some(START)).then_some(rest.trim())
}

/// What the reader must know of the household and the moment.
pub fn context(ledger: &Ledger, sent: Moment) -> Context {
    let household = ledger.household();
    Context {
        sent: sent.with_timezone(&household.zone).naive_local(),
        zone: household.zone,
        units: household.units,
        languages: household.languages.iter().filter_map(|l| read::Language::from_tag(l)).collect(),
    }
}

fn reading(ledger: &Ledger, message: &Message) -> Reading {
    if message.text.trim() == "?" {
        return Reading { acts: vec![Act::ask(Topic::Help)], unclear: None };
    }
    let context = context(ledger, message.sent);
    let mut reading = read::read(message.text, &context);
    for act in &mut reading.acts {
        not_after_it_was_told(ledger, message, act);
        // "The 2pm one" is looked for in the stock by its time.
        if let Some(Pick::Phrase(words)) = &act.pick
            && let Some(named) = read::named_time(words, &context)
        {
            (act.named_from, act.named_to) = (Some(named.at), named.latest);
        }
    }
    reading
}

/// "It was at 7", said days later, is the seven before what it corrects was told of: nothing told of is still to come.
fn not_after_it_was_told(ledger: &Ledger, message: &Message, act: &mut Act) {
    let Some(change) = act.change.as_deref().filter(|c| c.at.is_some()) else { return };
    let Some(told) = decide::told_of(ledger, message, act) else { return };
    let then = context(ledger, told);
    if change.at > Some(then.sent) {
        let then = read::read(message.text, &then).acts;
        let anew = then.into_iter().find(|a| a.kind == act.kind && a.codes == act.codes);
        let at = anew.and_then(|a| a.change?.at);
        act.change.as_deref_mut().into_iter().for_each(|change| change.at = at);
    }
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
