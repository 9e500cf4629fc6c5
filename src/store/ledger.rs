//! The ledger, and the one transaction that takes a message to facts, things to say, the next wake and "done".
//! Entries are only ever appended, by somebody who knew the last one.

use super::group::{Share, Written};
use super::{Change, Changes, Commit, Committed, HouseholdId, LedgerRow, Loaded, Store, StoreError, Write};

impl Store {
    /// A household with its whole ledger; none if there is no such household.
    pub async fn load(&self, household: HouseholdId) -> Result<Option<Loaded>, StoreError> {
        self.load_after(household, 0).await
    }

    /// The same, with the entries after one that is known already.
    pub async fn load_after(&self, household: HouseholdId, seq: i64) -> Result<Option<Loaded>, StoreError> {
        const HEAD: &str = "SELECT settings, wake FROM household WHERE id = $1";
        // The head first: an entry that comes in between is then in the list, and `seq` is taken from the list.
        let head: Option<(String, Option<i64>)> =
            sqlx::query_as(HEAD).bind(household.0).fetch_optional(self.reading()?).await?;
        let Some((settings, wake)) = head else { return Ok(None) };
        let entries = self.entries_after(household, seq).await?;
        let seq = entries.last().map_or(seq, |entry| entry.seq);
        Ok(Some(Loaded { settings, wake, seq, entries }))
    }

    async fn entries_after(&self, household: HouseholdId, seq: i64) -> Result<Vec<LedgerRow>, StoreError> {
        const SQL: &str = "SELECT seq, happened, recorded, author, chat, message, version, fact FROM ledger \
                           WHERE household = $1 AND seq > $2 ORDER BY seq";
        Ok(sqlx::query_as(SQL).bind(household.0).bind(seq).fetch_all(self.reading()?).await?)
    }

    /// Writes all of it or nothing; it is on disk when this returns.
    pub async fn commit(&self, commit: Commit) -> Result<Committed, StoreError> {
        self.writer.write(commit).await
    }

    /// Which household wants to be woken first, and when.
    pub async fn earliest_wake(&self) -> Result<Option<(HouseholdId, i64)>, StoreError> {
        const SQL: &str = "SELECT id, wake FROM household WHERE wake IS NOT NULL ORDER BY wake, id LIMIT 1";
        let first: Option<(i64, i64)> = sqlx::query_as(SQL).fetch_optional(self.reading()?).await?;
        Ok(first.map(|(id, wake)| (HouseholdId(id), wake)))
    }

    /// The households whose time has come, the longest overdue first.
    pub async fn due_households(&self, now: i64) -> Result<Vec<HouseholdId>, StoreError> {
        const SQL: &str = "SELECT id FROM household WHERE wake <= $1 ORDER BY wake, id";
        let due: Vec<(i64,)> = sqlx::query_as(SQL).bind(now).fetch_all(self.reading()?).await?;
        Ok(due.into_iter().map(|(id,)| HouseholdId(id)).collect())
    }

    /// When the first household has something that can't wait.
    pub async fn earliest_urgent(&self) -> Result<Option<i64>, StoreError> {
        const SQL: &str = "SELECT MIN(urgent) FROM household WHERE urgent IS NOT NULL";
        let (first,): (Option<i64>,) = sqlx::query_as(SQL).fetch_one(self.reading()?).await?;
        Ok(first)
    }

    /// The households with something that can't wait any more, the longest overdue first.
    pub async fn urgent_households(&self, now: i64) -> Result<Vec<HouseholdId>, StoreError> {
        const SQL: &str = "SELECT id FROM household WHERE urgent <= $1 ORDER BY urgent, id";
        let due: Vec<(i64,)> = sqlx::query_as(SQL).bind(now).fetch_all(self.reading()?).await?;
        Ok(due.into_iter().map(|(id,)| HouseholdId(id)).collect())
    }
}

impl Write for Commit {
    type Out = Committed;

    fn share(&self) -> Option<Share<'_>> {
        Some(Share::Commit(self))
    }

    fn shared(&self, written: Written) -> Option<Committed> {
        Some(Committed { outbox: written.outbox, seq: self.change.as_ref().map(Change::last_seq) })
    }

    fn announce(&self, changes: &Changes) {
        if !self.outbox.is_empty() {
            changes.outbox.send_replace(());
        }
        if let Some(change) = &self.change {
            changes.tell_wakes(change.wake, change.urgent);
        }
    }
}

impl Change {
    pub(super) fn last_seq(&self) -> i64 {
        self.expected_seq + self.entries.len() as i64
    }
}
