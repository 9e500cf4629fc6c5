//! One household in memory: its ledger, its chats and who is who in them. What is here is what the store holds; whatever
//! might differ is thrown away and read again.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, Utc};

use crate::domain::fact::{Entry, Record};
use crate::domain::household::Household;
use crate::domain::ledger::Ledger;
use crate::domain::reminders::{self, Wakes};
use crate::store::{Change, Commit, HouseholdId, LedgerRow, NewLedgerRow, NewOutboxRow, Store, StoreError};

use super::AppError;

/// The form in which records are written. A change of it that older text can't follow takes a new number and a reader for
/// the old one.
const VERSION: i64 = 1;

/// In place of a private chat: this person has left the group. No chat has this id.
pub const NO_MORE: i64 = 0;

#[derive(Debug, Clone)]
pub struct House {
    pub id: HouseholdId,
    pub ledger: Ledger,
    /// The group; where reminders go.
    pub chat: i64,
    /// Names by the platform's id of the person.
    pub members: HashMap<i64, String>,
    pub private_chats: HashMap<String, i64>,
    /// Who was here and isn't any more.
    pub left: HashSet<i64>,
    seq: i64,
    /// As it was last written, where this process wrote it.
    wakes: Option<Wakes>,
}

impl House {
    pub async fn load(store: &Store, id: HouseholdId) -> Result<House, AppError> {
        let unreadable = |e| AppError::Unreadable(id.0, e);
        let loaded = store.load(id).await?.ok_or(AppError::NoHousehold(id.0))?;
        let settings: Household = serde_json::from_str(&loaded.settings).map_err(unreadable)?;
        let entries: Result<Vec<Entry>, _> = loaded.entries.iter().map(entry).collect();
        let persons = store.persons(id).await?;
        Ok(House {
            id,
            ledger: Ledger::replay(settings, entries.map_err(unreadable)?),
            chat: store.chats_of(id).await?.first().copied().unwrap_or_default(),
            private_chats: persons
                .iter()
                .filter_map(|p| Some((p.name.clone(), p.private_chat.filter(|chat| *chat != NO_MORE)?)))
                .collect(),
            left: persons.iter().filter(|p| p.private_chat == Some(NO_MORE)).map(|p| p.member).collect(),
            members: persons.into_iter().map(|p| (p.member, p.name)).collect(),
            seq: loaded.seq,
            wakes: None,
        })
    }

    /// How many entries its ledger has.
    pub fn entries(&self) -> usize {
        usize::try_from(self.seq).unwrap_or_default()
    }

    /// Writes the entries that are new in the ledger and what is to be sent, all at once. Where that fails, what is in
    /// memory is ahead of what is written: whoever called throws it away.
    pub async fn commit(
        &mut self,
        store: &Store,
        entries: &[Entry],
        outbox: Vec<NewOutboxRow>,
        done: Option<i64>,
        now: DateTime<Utc>,
    ) -> Result<(), AppError> {
        if !self.ledger.stock().adds_up() {
            return Err(AppError::Unbalanced(self.id.0));
        }
        let rows: Result<Vec<NewLedgerRow>, _> = entries.iter().map(|e| row(e, self.chat)).collect();
        let wakes = reminders::wakes(&self.ledger, now);
        let change = Change {
            household: self.id,
            expected_seq: self.seq,
            entries: rows.map_err(|e| AppError::Unreadable(self.id.0, e))?,
            wake: wakes.next.map(|at| at.timestamp_millis()),
            urgent: wakes.urgent.map(|at| at.timestamp_millis()),
        };
        // Where no other process writes, what changes nothing need not be compared with anything.
        let same = entries.is_empty() && self.wakes == Some(wakes) && !store.is_shared();
        let change = (!same).then_some(change);
        let committed = store.commit(Commit { change, outbox, done }).await?;
        self.seq = committed.seq.unwrap_or(self.seq);
        self.wakes = Some(wakes);
        Ok(())
    }
}

fn entry(row: &LedgerRow) -> Result<Entry, serde_json::Error> {
    Ok(Entry {
        seq: row.seq,
        recorded: DateTime::from_timestamp_millis(row.entry.recorded_ms).unwrap_or_default(),
        by: row.entry.by.clone(),
        message: row.entry.message,
        record: Record::read(&row.entry.fact)?,
    })
}

fn row(entry: &Entry, chat: i64) -> Result<NewLedgerRow, serde_json::Error> {
    let happened = match &entry.record {
        Record::Said { facts, .. } | Record::Amended { facts, .. } => facts.iter().map(|f| f.at).min(),
        _ => None,
    };
    Ok(NewLedgerRow {
        happened_ms: happened.unwrap_or(entry.recorded).timestamp_millis(),
        recorded_ms: entry.recorded.timestamp_millis(),
        by: entry.by.clone(),
        chat: Some(chat),
        message: entry.message,
        version: VERSION,
        fact: serde_json::to_string(&entry.record)?,
    })
}

/// Whether somebody else wrote in between.
pub fn is_stale(error: &AppError) -> bool {
    matches!(error, AppError::Store(StoreError::Stale))
}
