//! Who works on what, where several processes share a database: a claim is held until it expires, is given back or made
//! again by its holder. Always true: at any time by one clock a piece of work has one holder at most; what a process held
//! that died is free when its claim has expired. A database that only one process uses needs no claims, and has none.

use sqlx::AnyConnection;

use super::{Store, StoreError, Write};

/// What can be claimed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Work {
    /// Getting the updates from the platform.
    Polling,
    /// Handling the updates of a chat.
    Handling,
    /// Sending to a chat.
    Sending,
}

impl Store {
    /// Whether other processes may work on the same database.
    pub fn is_shared(&self) -> bool {
        self.is_shared
    }

    /// Claims work in chats until then, or goes on claiming it. For each chat: nothing if it is ours now, or when the
    /// claim of another expires.
    pub async fn claim(
        &self,
        work: Work,
        chats: &[i64],
        now: i64,
        until: i64,
    ) -> Result<Vec<Option<i64>>, StoreError> {
        if !self.is_shared || chats.is_empty() {
            return Ok(vec![None; chats.len()]);
        }
        self.writer.write(Claim { work, holder: self.holder, chats: chats.to_vec(), now, until }).await
    }

    /// Whether some process has a claim on anything.
    pub async fn is_at_work(&self, now: i64) -> Result<bool, StoreError> {
        const SQL: &str = "SELECT work FROM claim WHERE expires > $1 LIMIT 1";
        let some: Option<(i64,)> = sqlx::query_as(SQL).bind(now).fetch_optional(self.reading()?).await?;
        Ok(some.is_some())
    }

    /// From then on another may have it.
    pub async fn release(&self, work: Work, chat: i64, at: i64) -> Result<(), StoreError> {
        if !self.is_shared {
            return Ok(());
        }
        self.writer.write(Release { work, holder: self.holder, chat, at }).await
    }
}

struct Claim {
    work: Work,
    holder: i64,
    chats: Vec<i64>,
    now: i64,
    until: i64,
}

impl Claim {
    async fn of(&self, db: &mut AnyConnection, chat: i64) -> Result<Option<i64>, StoreError> {
        const TAKE: &str = "INSERT INTO claim (work, chat, holder, expires) VALUES ($1, $2, $3, $4) \
                            ON CONFLICT (work, chat) DO UPDATE SET holder = excluded.holder, expires = excluded.expires \
                            WHERE claim.holder = excluded.holder OR claim.expires <= $5";
        const OTHER: &str = "SELECT expires FROM claim WHERE work = $1 AND chat = $2";
        let take = sqlx::query(TAKE).bind(self.work as i64).bind(chat).bind(self.holder);
        let taken = take.bind(self.until).bind(self.now).execute(&mut *db).await?.rows_affected();
        if taken > 0 {
            return Ok(None);
        }
        let other: Option<(i64,)> =
            sqlx::query_as(OTHER).bind(self.work as i64).bind(chat).fetch_optional(db).await?;
        Ok(Some(other.map_or(self.now, |(expires,)| expires)))
    }
}

impl Write for Claim {
    type Out = Vec<Option<i64>>;

    async fn apply(&self, db: &mut AnyConnection) -> Result<Self::Out, StoreError> {
        // In one order everywhere, so that two processes don't wait for each other.
        let mut order: Vec<usize> = (0..self.chats.len()).collect();
        order.sort_unstable_by_key(|n| self.chats[*n]);
        let mut found = vec![None; self.chats.len()];
        for n in order {
            found[n] = self.of(db, self.chats[n]).await?;
        }
        Ok(found)
    }
}

pub(super) struct Release {
    pub work: Work,
    pub holder: i64,
    pub chat: i64,
    pub at: i64,
}

impl Write for Release {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const SQL: &str = "UPDATE claim SET expires = $4 WHERE work = $1 AND chat = $2 AND holder = $3";
        let release = sqlx::query(SQL).bind(self.work as i64).bind(self.chat).bind(self.holder).bind(self.at);
        release.execute(db).await?;
        Ok(())
    }
}
