//! Updates as they came, unique by their id, so that one which comes again changes nothing. A row waits until it is
//! handled (its commit marks it done) or set aside after failing too often.

use sqlx::AnyConnection;

use super::group::{Share, Written};
use super::rows::clean;
use super::{Changes, InboxRow, Store, StoreError, Write};

const HOUR_MS: i64 = 60 * 60 * 1000;
/// The platform repeats an update for a day; twice that is kept, to know it again.
const DONE_IS_KEPT_MS: i64 = 48 * HOUR_MS;
/// Longer, so that people can look at what failed, but not so long that the platform uses its ids again.
const SET_ASIDE_IS_KEPT_MS: i64 = 7 * 24 * HOUR_MS;

/// From one chat to the next, past all that waits in it: it may be much.
const CHATS: &str = "WITH RECURSIVE next (chat) AS (SELECT MIN(chat) FROM inbox WHERE state = 0 UNION ALL \
     SELECT (SELECT MIN(chat) FROM inbox WHERE state = 0 AND chat > next.chat) FROM next \
     WHERE next.chat IS NOT NULL) SELECT chat FROM next WHERE chat IS NOT NULL ORDER BY chat";
/// SQLite uses the index of what has ended only where the index's own condition stands in the statement.
const FORGET: &str = "DELETE FROM inbox WHERE state <> 0 AND state = $1 AND received < $2";

type Row = (i64, i64, String, i64, i64);

impl From<Row> for InboxRow {
    fn from((update, chat, body, received_ms, tries): Row) -> InboxRow {
        InboxRow { update, chat: (chat != 0).then_some(chat), body, received_ms, tries }
    }
}

impl Store {
    /// Stores a batch of updates; those that are there already change nothing. Returns how many were new.
    pub async fn receive(&self, rows: &[InboxRow], now: i64) -> Result<usize, StoreError> {
        self.writer.write(Receive { rows: rows.to_vec(), now }).await
    }

    /// The chats that have updates waiting; `None` stands for what belongs to no chat.
    pub async fn chats_waiting(&self) -> Result<Vec<Option<i64>>, StoreError> {
        let chats: Vec<(i64,)> = sqlx::query_as(CHATS).fetch_all(self.reading()?).await?;
        Ok(chats.into_iter().map(|(chat,)| (chat != 0).then_some(chat)).collect())
    }

    /// The first updates waiting in a chat, in order.
    pub async fn waiting_in(&self, chat: Option<i64>, limit: i64) -> Result<Vec<InboxRow>, StoreError> {
        const SQL: &str = "SELECT id, chat, body, received, tries FROM inbox WHERE state = 0 AND chat = $1 ORDER BY id LIMIT $2";
        let rows: Vec<Row> =
            sqlx::query_as(SQL).bind(chat.unwrap_or(0)).bind(limit).fetch_all(self.reading()?).await?;
        Ok(rows.into_iter().map(InboxRow::from).collect())
    }

    /// All that waits, in order.
    pub async fn waiting(&self) -> Result<Vec<InboxRow>, StoreError> {
        const SQL: &str = "SELECT id, chat, body, received, tries FROM inbox WHERE state = 0 ORDER BY id";
        let rows: Vec<Row> = sqlx::query_as(SQL).fetch_all(self.reading()?).await?;
        Ok(rows.into_iter().map(InboxRow::from).collect())
    }

    /// Counts a failure to handle an update and returns how many there were; it goes on waiting.
    pub async fn failed(&self, update: i64, reason: &str) -> Result<i64, StoreError> {
        self.writer.write(Failed { update, reason: clean(reason) }).await
    }

    /// The update is not tried again.
    pub async fn set_aside(&self, update: i64, reason: &str) -> Result<(), StoreError> {
        self.writer.write(SetAside { update, reason: clean(reason) }).await
    }
}

struct Receive {
    rows: Vec<InboxRow>,
    now: i64,
}

impl Write for Receive {
    type Out = usize;

    fn share(&self) -> Option<Share<'_>> {
        Some(Share::Received { rows: &self.rows, now: self.now })
    }

    fn shared(&self, written: Written) -> Option<usize> {
        Some(written.new)
    }

    fn announce(&self, changes: &Changes) {
        changes.inbox.send_replace(());
    }
}

/// Before anything is stored: after a quiet week the platform may begin with ids that were used before.
pub(super) async fn forget_old(db: &mut AnyConnection, now: i64) -> Result<(), StoreError> {
    for (state, kept) in [(1_i64, DONE_IS_KEPT_MS), (2, SET_ASIDE_IS_KEPT_MS)] {
        sqlx::query(FORGET).bind(state).bind(now - kept).execute(&mut *db).await?;
    }
    Ok(())
}

struct Failed {
    update: i64,
    reason: String,
}

impl Write for Failed {
    type Out = i64;

    async fn apply(&self, db: &mut AnyConnection) -> Result<i64, StoreError> {
        const SQL: &str = "UPDATE inbox SET tries = tries + 1, reason = $2 WHERE id = $1 RETURNING tries";
        let tries: Option<(i64,)> =
            sqlx::query_as(SQL).bind(self.update).bind(self.reason.as_str()).fetch_optional(db).await?;
        Ok(tries.map_or(0, |(tries,)| tries))
    }
}

struct SetAside {
    update: i64,
    reason: String,
}

impl Write for SetAside {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const SQL: &str = "UPDATE inbox SET state = 2, reason = $2 WHERE id = $1 AND state = 0";
        sqlx::query(SQL).bind(self.update).bind(self.reason.as_str()).execute(db).await?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use sqlx::{AssertSqlSafe, Row};

    use super::*;

    /// An inbox holds what came in two days, whoever's it is.
    #[tokio::test]
    async fn nothing_that_is_done_again_and_again_walks_over_the_whole_inbox() {
        let store = Store::open("sqlite::memory:").await.unwrap();
        for sql in [CHATS, FORGET] {
            let query = sqlx::query(AssertSqlSafe(format!("EXPLAIN QUERY PLAN {sql}")));
            let query = (0..sql.matches('$').count()).fold(query, |query, _| query.bind(1_i64));
            let plan = query.fetch_all(&store.pool).await.unwrap();
            let plan: Vec<String> = plan.iter().map(|row| row.get("detail")).collect();
            assert!(plan.iter().any(|step| step.starts_with("SEARCH inbox")), "{sql}: {plan:?}");
            assert!(!plan.iter().any(|step| step.starts_with("SCAN inbox")), "{sql}: {plan:?}");
        }
    }
}
