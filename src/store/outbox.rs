//! What is to be sent, until the platform has taken it. A row is sent, or given up with a reason; a second row with the
//! same dedupe key in a chat is never made. In a chat the order is: class, then id.

use sqlx::AnyConnection;

use super::group::{End, Share, Written};
use super::household::next_ids;
use super::rows::clean;
use super::{OutboxRow, Store, StoreError, Write};

impl Store {
    /// Ids to be used in `NewOutboxRow::id`, for who must know them before the commit; returns the first.
    pub async fn reserve_outbox_ids(&self, count: i64) -> Result<i64, StoreError> {
        self.writer.write(Reserve { count }).await
    }

    /// The next row of each chat that has any, the most urgent first. A change of a message waits until that is sent.
    pub async fn outgoing(&self) -> Result<Vec<OutboxRow>, StoreError> {
        // The first of each chat by the index, so that a long queue costs no more than a short one.
        const SQL: &str = "SELECT o.id, o.chat, o.class, o.dedupe, o.body, e.message AS edits, o.message FROM \
            (SELECT DISTINCT chat FROM outbox WHERE state = 0) AS waiting \
            JOIN outbox o ON o.id = (SELECT n.id FROM outbox n WHERE n.chat = waiting.chat AND n.state = 0 AND NOT EXISTS \
             (SELECT 1 FROM outbox before WHERE before.id = n.edits AND before.state = 0) ORDER BY n.class, n.id LIMIT 1) \
            LEFT JOIN outbox e ON e.id = o.edits ORDER BY o.class, o.id";
        Ok(sqlx::query_as(SQL).fetch_all(self.reading()?).await?)
    }

    /// All that waits and came after a row, in order of coming: ids grow in the order of commits.
    pub async fn outgoing_after(&self, id: i64) -> Result<Vec<OutboxRow>, StoreError> {
        const SQL: &str = "SELECT o.id, o.chat, o.class, o.dedupe, o.body, e.message AS edits, o.message \
                           FROM outbox o LEFT JOIN outbox e ON e.id = o.edits \
                           WHERE o.id > $1 AND o.state = 0 ORDER BY o.id";
        // From the beginning: by the index of what waits, not past all that was ever sent.
        const FIRST: &str = "SELECT MIN(0 + id) FROM outbox WHERE state = 0";
        let after = match id {
            0 => sqlx::query_as::<_, (Option<i64>,)>(FIRST)
                .fetch_one(self.reading()?)
                .await?
                .0
                .map(|id| id - 1),
            id => Some(id),
        };
        let Some(after) = after else { return Ok(Vec::new()) };
        Ok(sqlx::query_as(SQL).bind(after).fetch_all(self.reading()?).await?)
    }

    /// The platform has taken it; `message` is the platform's id, where there is one.
    pub async fn delivered(&self, id: i64, message: Option<i64>) -> Result<(), StoreError> {
        self.writer.write(End { id, state: 1, message, reason: None }).await
    }

    pub async fn given_up(&self, id: i64, reason: &str) -> Result<(), StoreError> {
        self.writer.write(End { id, state: 2, message: None, reason: Some(clean(reason)) }).await
    }

    /// The row that became a message.
    pub async fn outbox_row_of_message(
        &self,
        chat: i64,
        message: i64,
    ) -> Result<Option<OutboxRow>, StoreError> {
        const SQL: &str = "SELECT o.id, o.chat, o.class, o.dedupe, o.body, e.message AS edits, o.message \
                           FROM outbox o LEFT JOIN outbox e ON e.id = o.edits \
                           WHERE o.chat = $1 AND o.message = $2 ORDER BY o.id LIMIT 1";
        Ok(sqlx::query_as(SQL).bind(chat).bind(message).fetch_optional(self.reading()?).await?)
    }

    /// The last row of a chat whose dedupe key begins with this.
    pub async fn outbox_row_of_key(&self, chat: i64, prefix: &str) -> Result<Option<OutboxRow>, StoreError> {
        const SQL: &str = "SELECT o.id, o.chat, o.class, o.dedupe, o.body, e.message AS edits, o.message \
                           FROM outbox o LEFT JOIN outbox e ON e.id = o.edits \
                           WHERE o.chat = $1 AND SUBSTR(o.dedupe, 1, LENGTH($2)) = $2 ORDER BY o.id DESC LIMIT 1";
        Ok(sqlx::query_as(SQL).bind(chat).bind(clean(prefix)).fetch_optional(self.reading()?).await?)
    }

    /// The messages sent to a chat, as they were sent.
    pub async fn messages_of(&self, chat: i64) -> Result<Vec<OutboxRow>, StoreError> {
        const SQL: &str = "SELECT o.id, o.chat, o.class, o.dedupe, o.body, e.message AS edits, o.message \
                           FROM outbox o LEFT JOIN outbox e ON e.id = o.edits \
                           WHERE o.chat = $1 AND o.state = 1 ORDER BY o.message, o.id";
        Ok(sqlx::query_as(SQL).bind(chat).fetch_all(self.reading()?).await?)
    }
}

struct Reserve {
    count: i64,
}

impl Write for Reserve {
    type Out = i64;

    async fn apply(&self, db: &mut AnyConnection) -> Result<i64, StoreError> {
        next_ids(db, "outbox", self.count).await
    }
}

impl Write for End {
    type Out = ();

    fn share(&self) -> Option<Share<'_>> {
        Some(Share::Ended(self))
    }

    fn shared(&self, _: Written) -> Option<()> {
        Some(())
    }
}
