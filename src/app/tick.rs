//! What time does: the reminders that have fallen due are recorded as said and put in the outbox, in one transaction.

use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, Utc};

use crate::chat::say::{Said, Speaker};
use crate::domain::act::Doubt;
use crate::domain::answer::{Choice, ChoiceLabel, Press};
use crate::domain::decide::Decision;
use crate::domain::fact::{Record, Reminder, Why};
use crate::domain::reminders::{self, Due};
use crate::store::{HouseholdId, NewOutboxRow};

use super::handle::record;
use super::house::House;
use super::post::{Key, send};
use super::wire::Class;
use super::{App, AppError, Deed, Heard};

impl App {
    /// Says everything that is due in any household by `now`; gives the next moment to wake.
    pub async fn tick(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, AppError> {
        self.tick_each(self.store.due_households(now.timestamp_millis()).await?, now).await;
        self.next_wake().await
    }

    /// The same where something can't wait, whatever else is due elsewhere.
    pub async fn tick_urgent(&self, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, AppError> {
        self.tick_each(self.store.urgent_households(now.timestamp_millis()).await?, now).await;
        self.next_urgent().await
    }

    pub async fn next_wake(&self) -> Result<Option<DateTime<Utc>>, AppError> {
        let wake = self.store.earliest_wake().await?;
        Ok(wake.and_then(|(_, ms)| DateTime::from_timestamp_millis(ms)))
    }

    pub async fn next_urgent(&self) -> Result<Option<DateTime<Utc>>, AppError> {
        Ok(self.store.earliest_urgent().await?.and_then(DateTime::from_timestamp_millis))
    }

    /// Several at the same time, so that they are committed together.
    async fn tick_each(&self, due: Vec<HouseholdId>, now: DateTime<Utc>) {
        let due = Mutex::new(due.into_iter());
        let next = || due.lock().unwrap_or_else(PoisonError::into_inner).next();
        let worker = async || {
            while let Some(id) = next() {
                // One household that can't be worked out doesn't keep the others from being told.
                if let Err(error) = self.tick_household(id, now).await {
                    tracing::error!(household = id.0, %error, "reminders could not be worked out");
                }
            }
        };
        tokio::join!(worker(), worker(), worker(), worker(), worker(), worker(), worker(), worker());
    }

    async fn tick_household(&self, id: HouseholdId, now: DateTime<Utc>) -> Result<(), AppError> {
        self.in_house(id, Deed::Tick(now)).await.map(drop)
    }

    pub(super) async fn say_due(&self, house: &mut House, now: DateTime<Utc>) -> Result<Heard, AppError> {
        let due = reminders::due(&house.ledger, now);
        let lapsed = reminders::lapsing(&house.ledger, now);
        let first = house.ledger.next_seq();
        let reminded = due.iter().map(|d| Record::Reminded(d.reminder.clone()));
        let records = reminded.chain(lapsed.iter().map(|question| Record::Lapsed { question: *question }));
        let decision = Decision { records: records.collect(), ..Decision::default() };
        let offered =
            |q: i64| house.ledger.talk().question(q).is_some_and(|q| q.question.about == Doubt::Hold);
        let offers: Vec<i64> = lapsed.iter().copied().filter(|q| offered(*q)).collect();
        let entries = record(&mut house.ledger, &decision, None, None, now);
        let speaker = Speaker::new(&house.ledger, now);
        let mut outbox: Vec<NewOutboxRow> =
            due.iter().zip(first..).map(|(due, seq)| reminder_row(house, &speaker, due, seq)).collect();
        for question in lapsed {
            let line = (!offers.contains(&question)).then(|| speaker.word("not-answered"));
            outbox.extend(self.without_buttons(house.chat, question, line).await?);
        }
        house.commit(&self.store, &entries, outbox, None, now).await?;
        Ok(Heard::default())
    }
}

fn reminder_row(house: &House, speaker: &Speaker, due: &Due, seq: i64) -> NewOutboxRow {
    let reminder = &due.reminder;
    let said = Said { text: speaker.remind(reminder), buttons: speaker.buttons(&choices(reminder, seq)) };
    let private = (reminder.why == Why::Held).then_some(reminder.to.as_ref()).flatten();
    let chat = private.and_then(|name| house.private_chats.get(name)).copied().unwrap_or(house.chat);
    send(chat, class(reminder), said, None, due.silent, Some(Key::Reminder(seq).write(seq)))
}

/// Where there is something to do, one takes it on or says that it is done.
fn choices(reminder: &Reminder, seq: i64) -> Vec<Choice> {
    if reminder.why == Why::Plan && reminder.codes.is_empty() {
        return Vec::new();
    }
    vec![
        Choice { label: ChoiceLabel::OnIt, press: Press::Claim { reminder: seq } },
        Choice { label: ChoiceLabel::Done, press: Press::Close { reminder: seq } },
    ]
}

fn class(reminder: &Reminder) -> Class {
    match reminder.why {
        _ if reminders::is_urgent(reminder) => Class::Urgent,
        Why::Digest => Class::Digest,
        _ => Class::Reminder,
    }
}
