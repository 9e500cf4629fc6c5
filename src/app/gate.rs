//! What an edge needs around `handle`: to lay down what has come in, and to take out what is to be sent. Nothing here
//! decides anything.

use chrono::{DateTime, TimeDelta, Utc};

use crate::chat::say::Speaker;
use crate::domain::household::Household;
use crate::domain::ledger::Ledger;
use crate::store::{Commit, OutboxRow, StoreError};

use super::wire::{Body, Class, Outgoing};
use super::{App, AppError};

pub use crate::store::{Changes, InboxRow, Work};

/// How long a claim lasts that isn't renewed: so long after the death of a process another goes on with its work.
const CLAIMED: TimeDelta = TimeDelta::seconds(25);

/// Commands are shorthands for what can be said in words as well.
const COMMANDS: [&str; 5] = ["help", "stock", "next", "thaw", "undo"];

impl App {
    /// The commands that a platform may offer, each with what it does.
    pub fn commands(&self) -> Vec<(String, String)> {
        let ledger = Ledger::new(Household::default());
        let speaker = Speaker::new(&ledger, DateTime::UNIX_EPOCH);
        COMMANDS.iter().map(|name| ((*name).into(), speaker.word(&format!("command-{name}")))).collect()
    }

    /// Tells when there is something to do.
    pub fn changes(&self) -> &Changes {
        self.store.changes()
    }

    /// Whether other processes may be at work on the same database.
    pub fn is_shared(&self) -> bool {
        self.store.is_shared()
    }

    /// Claims work in chats for a while, from `from` on. For each chat: nothing if it is ours now, or when the claim of
    /// another expires.
    pub async fn claim(
        &self,
        work: Work,
        chats: &[i64],
        now: DateTime<Utc>,
        from: DateTime<Utc>,
    ) -> Result<Vec<Option<DateTime<Utc>>>, AppError> {
        let until = (from + CLAIMED).timestamp_millis();
        let claimed = self.store.claim(work, chats, now.timestamp_millis(), until).await?;
        Ok(claimed.into_iter().map(|other| other.and_then(DateTime::from_timestamp_millis)).collect())
    }

    /// Gives back what was claimed; from `at` on another may have it.
    pub async fn release(&self, work: Work, chat: i64, at: DateTime<Utc>) -> Result<(), AppError> {
        Ok(self.store.release(work, chat, at.timestamp_millis()).await?)
    }

    /// Stores updates as they came; when this returns they may be acknowledged. How many were new.
    pub async fn receive(&self, rows: &[InboxRow], now: i64) -> Result<usize, AppError> {
        Ok(self.store.receive(rows, now).await?)
    }

    /// What to tell a group whose messages can't be stored at the moment; nothing where it isn't known to be served.
    pub async fn words_of_trouble(&self, chat: i64, now: DateTime<Utc>) -> Option<String> {
        let home = self.store.household_of_chat(chat).await.ok()??;
        let ledger = self.ledger(home).await.ok()?;
        Some(Speaker::new(&ledger, now).word("log-stuck"))
    }

    /// The chats that have updates waiting.
    pub async fn chats_waiting(&self) -> Result<Vec<Option<i64>>, AppError> {
        Ok(self.store.chats_waiting().await?)
    }

    /// The first updates waiting in a chat, in order.
    pub async fn waiting_in(&self, chat: Option<i64>, limit: i64) -> Result<Vec<InboxRow>, AppError> {
        Ok(self.store.waiting_in(chat, limit).await?)
    }

    /// An update that asks for nothing is done.
    pub async fn skip(&self, update: i64) -> Result<(), AppError> {
        match self.store.commit(Commit { done: Some(update), ..Commit::default() }).await {
            Ok(_) | Err(StoreError::AlreadyDone(_)) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    /// Counts a failure to handle an update, and returns how many there were.
    pub async fn failed(&self, update: i64, reason: &str) -> Result<i64, AppError> {
        Ok(self.store.failed(update, reason).await?)
    }

    /// The update won't be tried again.
    pub async fn set_aside(&self, update: i64, reason: &str) -> Result<(), AppError> {
        Ok(self.store.set_aside(update, reason).await?)
    }

    /// What each chat is to be sent next, the most urgent first.
    pub async fn outgoing(&self) -> Result<Vec<Outgoing>, AppError> {
        self.sendable(self.store.outgoing().await?).await
    }

    /// All that came to wait after a row, in order of coming.
    pub async fn outgoing_after(&self, id: i64) -> Result<Vec<Outgoing>, AppError> {
        self.sendable(self.store.outgoing_after(id).await?).await
    }

    async fn sendable(&self, rows: Vec<OutboxRow>) -> Result<Vec<Outgoing>, AppError> {
        let mut outgoing = Vec::new();
        for row in rows {
            match sendable(&row) {
                Ok(row) => outgoing.push(row),
                Err(error) => self.given_up(row.id, &format!("can't be read: {error}")).await?,
            }
        }
        Ok(outgoing)
    }

    /// The platform has taken it; `message` is the platform's id, where there is one.
    pub async fn delivered(&self, id: i64, message: Option<i64>) -> Result<(), AppError> {
        Ok(self.store.delivered(id, message).await?)
    }

    pub async fn given_up(&self, id: i64, reason: &str) -> Result<(), AppError> {
        Ok(self.store.given_up(id, reason).await?)
    }

    /// The platform said on sending that the chat has a new id.
    pub async fn moved(&self, from: i64, to: i64) -> Result<(), AppError> {
        self.store.migrate_chat(from, to).await?;
        // Households in memory know their chat by its old id.
        self.memory.forget_all();
        Ok(())
    }
}

impl AppError {
    /// Nothing is wrong with what was asked for: it can be tried again later.
    pub fn is_passing(&self) -> bool {
        matches!(self, AppError::Store(StoreError::Unreachable(_) | StoreError::Clash(_)) | AppError::Busy(_))
    }

    /// It was done before, here or elsewhere.
    pub fn is_done(&self) -> bool {
        matches!(self, AppError::Store(StoreError::AlreadyDone(_)))
    }
}

fn sendable(row: &OutboxRow) -> Result<Outgoing, serde_json::Error> {
    let body: Body = serde_json::from_str(&row.body)?;
    let classes = [Class::Urgent, Class::Answer, Class::Reminder, Class::Digest];
    let class = classes.into_iter().find(|class| class.rank() == row.class).unwrap_or(Class::Digest);
    Ok(Outgoing { id: row.id, chat: row.chat, class, body, edits: row.edits })
}
