//! What is sent for a decision: an answer, a change of a message that the bot sent before, a sign that a press was seen.

use crate::chat::say::{Said, Speaker};
use crate::domain::answer::{Choice, ChoiceLabel, Piece, Press};
use crate::domain::decide::{Changes, Decision};
use crate::domain::fact::Record;
use crate::domain::ledger::Ledger;
use crate::store::{Commit, NewOutboxRow};

use super::house::House;
use super::wire::{Body, Button, Class, Event, Incoming};
use super::{App, AppError};

impl App {
    /// What is sent for a decision: an answer, or a change of the message that the button was under.
    pub(super) async fn outbox(
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
        rows.extend(self.closed(&speaker, decision, incoming).await?);
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
        let key = key.map(|k| match k {
            // A question is put once, and found again by itself.
            Key::Question(seq) => k.write(seq),
            _ => k.write(incoming.update),
        });
        rows.push(send(incoming.chat, class, said, reply_to, false, key));
        Ok(rows)
    }

    /// A message that could not be handled is told of, in the group that it was written in.
    pub async fn apologise(&self, incoming: &Incoming) -> Result<(), AppError> {
        let (Event::Text { message, .. } | Event::Edited { message, .. }) = &incoming.event else {
            return Ok(());
        };
        let Some(id) = self.store.household_of_chat(incoming.chat).await? else { return Ok(()) };
        let ledger = self.ledger(id).await?;
        let text = Speaker::new(&ledger, incoming.at).word("mishandled");
        let said = Said { text, buttons: Vec::new() };
        let key = format!("mishandled:{}", incoming.update);
        let row = send(incoming.chat, Class::Answer, said, Some(*message), false, Some(key));
        self.store.commit(Commit { change: None, outbox: vec![row], done: None }).await?;
        Ok(())
    }

    /// The questions that were settled otherwise than by their own buttons lose these.
    async fn closed(
        &self,
        speaker: &Speaker<'_>,
        decision: &Decision,
        incoming: &Incoming,
    ) -> Result<Vec<NewOutboxRow>, AppError> {
        let mut rows = Vec::new();
        for record in &decision.records {
            let Record::Answered { question } = record else { continue };
            let tapped = matches!(incoming.event, Event::Tapped { .. });
            if !(tapped && decision.changes == Some(Changes::Question(*question))) {
                let open = decision.answer.pieces.is_empty().then(|| speaker.word("not-noted"));
                rows.extend(self.without_buttons(incoming.chat, *question, open).await?);
            }
        }
        Ok(rows)
    }

    /// A question's message without its buttons, and with a line of what became of it.
    pub(super) async fn without_buttons(
        &self,
        chat: i64,
        question: i64,
        line: Option<String>,
    ) -> Result<Option<NewOutboxRow>, AppError> {
        let asked = self.store.outbox_row_of_key(chat, &Key::Question(question).write(question)).await?;
        Ok(asked.map(|found| {
            let text =
                [Some(text_of(&found.body)), line].into_iter().flatten().collect::<Vec<_>>().join("\n");
            let body = Body::Edit { of: found.id, text, buttons: Vec::new() };
            row(chat, Class::Answer, &body, None, Some(found.id))
        }))
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
            Changes::Choices(_) => (format!("{}\n{}", text_of(&found.body), said.text), said.buttons.clone()),
            Changes::Receipt(_) | Changes::Question(_) => (said.text.clone(), said.buttons.clone()),
        };
        let body = Body::Edit { of: found.id, text, buttons: buttons_of(buttons) };
        Ok(Some(row(incoming.chat, Class::Answer, &body, None, Some(found.id))))
    }
}

fn done_button(reminder: i64) -> Choice {
    Choice { label: ChoiceLabel::Done, press: Press::Close { reminder } }
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

pub fn key_of(before: &Ledger, decision: &Decision) -> Option<Key> {
    decision.records.iter().zip(before.next_seq()..).find_map(|(record, seq)| match record {
        Record::Said { .. } | Record::Spoke { .. } => Some(Key::Receipt(seq)),
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
