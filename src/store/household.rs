//! Households, the chats they talk in and the people in them. A chat that is left keeps its household, so that coming
//! back finds the stock again; a chat that got a new id is followed.

use sqlx::AnyConnection;

use super::rows::clean;
use super::{Changes, HouseholdId, PersonRow, Store, StoreError, Write};

impl Store {
    /// All there are.
    pub async fn households(&self) -> Result<Vec<HouseholdId>, StoreError> {
        const SQL: &str = "SELECT id FROM household ORDER BY id";
        let found: Vec<(i64,)> = sqlx::query_as(SQL).fetch_all(self.reading()?).await?;
        Ok(found.into_iter().map(|(id,)| HouseholdId(id)).collect())
    }

    /// The household a chat talks for, while the bot is connected to it. An id that the chat had before finds it too.
    pub async fn household_of_chat(&self, chat: i64) -> Result<Option<HouseholdId>, StoreError> {
        const SQL: &str = "SELECT household FROM chat WHERE id = $1 AND connected = 1";
        let found: Option<(i64,)> = sqlx::query_as(SQL).bind(chat).fetch_optional(self.reading()?).await?;
        Ok(found.map(|(id,)| HouseholdId(id)))
    }

    /// The chats a household talks in, under the ids they have now.
    pub async fn chats_of(&self, household: HouseholdId) -> Result<Vec<i64>, StoreError> {
        const SQL: &str =
            "SELECT id FROM chat WHERE household = $1 AND connected = 1 AND moved_to IS NULL ORDER BY id";
        let chats: Vec<(i64,)> = sqlx::query_as(SQL).bind(household.0).fetch_all(self.reading()?).await?;
        Ok(chats.into_iter().map(|(id,)| id).collect())
    }

    /// Takes a chat on: with a household of its own, or with the one it had when the bot was there before.
    pub async fn create_household(
        &self,
        chat: i64,
        settings: &str,
        now: i64,
    ) -> Result<HouseholdId, StoreError> {
        self.writer.write(Create { chat, settings: clean(settings), now }).await
    }

    /// The chat has a new id from now on; what waits to be sent goes there.
    pub async fn migrate_chat(&self, from: i64, to: i64) -> Result<(), StoreError> {
        self.writer.write(Migrate { from, to }).await
    }

    /// The bot is out of the chat: nothing more is sent there, and a household without any chat isn't woken.
    pub async fn disconnect_chat(&self, chat: i64) -> Result<(), StoreError> {
        self.writer.write(Disconnect { chat }).await
    }

    /// Notes a person, or what is new about them; a private chat once known stays known.
    pub async fn upsert_person(&self, household: HouseholdId, person: &PersonRow) -> Result<(), StoreError> {
        self.writer.write(Upsert { household, person: person.clone() }).await
    }

    /// Where a person is written to alone on behalf of this household, or that they aren't; who they are stays known.
    pub async fn set_private_chat(
        &self,
        household: HouseholdId,
        member: i64,
        chat: Option<i64>,
    ) -> Result<(), StoreError> {
        self.writer.write(SetPrivateChat { household, member, chat }).await
    }

    pub async fn persons(&self, household: HouseholdId) -> Result<Vec<PersonRow>, StoreError> {
        const SQL: &str =
            "SELECT member, name, private_chat FROM person WHERE household = $1 ORDER BY member";
        Ok(sqlx::query_as(SQL).bind(household.0).fetch_all(self.reading()?).await?)
    }

    pub async fn households_of_person(&self, member: i64) -> Result<Vec<HouseholdId>, StoreError> {
        const SQL: &str = "SELECT household FROM person WHERE member = $1 ORDER BY household";
        let found: Vec<(i64,)> = sqlx::query_as(SQL).bind(member).fetch_all(self.reading()?).await?;
        Ok(found.into_iter().map(|(id,)| HouseholdId(id)).collect())
    }
}

/// Takes the next `count` numbers of a counter and returns the first of them.
pub(super) async fn next_ids(db: &mut AnyConnection, counter: &str, count: i64) -> Result<i64, StoreError> {
    const SQL: &str = "UPDATE counter SET value = value + $2 WHERE name = $1 RETURNING value";
    let (last,): (i64,) = sqlx::query_as(SQL).bind(counter).bind(count).fetch_one(db).await?;
    Ok(last - count + 1)
}

async fn connect(db: &mut AnyConnection, chat: i64, household: i64) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO chat (id, household, connected) VALUES ($1, $2, 1) \
                       ON CONFLICT (id) DO UPDATE SET household = excluded.household, connected = 1, moved_to = NULL";
    sqlx::query(SQL).bind(chat).bind(household).execute(db).await?;
    Ok(())
}

struct Create {
    chat: i64,
    settings: String,
    now: i64,
}

impl Write for Create {
    type Out = HouseholdId;

    async fn apply(&self, db: &mut AnyConnection) -> Result<HouseholdId, StoreError> {
        const BEFORE: &str = "SELECT household FROM chat WHERE id = $1";
        const NEW: &str = "INSERT INTO household (id, settings, seq, created) VALUES ($1, $2, 0, $3)";
        let before: Option<(i64,)> = sqlx::query_as(BEFORE).bind(self.chat).fetch_optional(&mut *db).await?;
        let id = match before {
            Some((id,)) => id,
            None => {
                let id = next_ids(db, "household", 1).await?;
                sqlx::query(NEW)
                    .bind(id)
                    .bind(self.settings.as_str())
                    .bind(self.now)
                    .execute(&mut *db)
                    .await?;
                id
            }
        };
        connect(db, self.chat, id).await?;
        Ok(HouseholdId(id))
    }
}

struct Migrate {
    from: i64,
    to: i64,
}

impl Write for Migrate {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const STATEMENTS: [&str; 5] = [
            "INSERT INTO chat (id, household, connected) SELECT $2, household, connected FROM chat WHERE id = $1 \
             ON CONFLICT (id) DO NOTHING",
            // An id that moved on before moves on again, so that no chain has to be walked.
            "UPDATE chat SET moved_to = $2 WHERE id = $1 OR moved_to = $1",
            "UPDATE chat SET moved_to = NULL WHERE id = $2",
            "UPDATE outbox SET chat = $2 WHERE chat = $1 AND state = 0 AND NOT EXISTS \
             (SELECT 1 FROM outbox said WHERE said.chat = $2 AND said.dedupe = outbox.dedupe)",
            "UPDATE outbox SET state = 2, reason = 'said already' WHERE chat = $1 AND state = 0",
        ];
        if self.from == self.to {
            return Ok(());
        }
        for sql in STATEMENTS {
            sqlx::query(sql).bind(self.from).bind(self.to).execute(&mut *db).await?;
        }
        Ok(())
    }

    fn announce(&self, changes: &Changes) {
        changes.moves.send_replace(());
        changes.outbox.send_replace(());
    }
}

struct Disconnect {
    chat: i64,
}

impl Write for Disconnect {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const STATEMENTS: [&str; 3] = [
            "UPDATE chat SET connected = 0 WHERE id = $1 OR moved_to = $1",
            "UPDATE outbox SET state = 2, reason = 'the bot is not in the chat' WHERE chat = $1 AND state = 0",
            "UPDATE household SET wake = NULL, urgent = NULL WHERE id IN (SELECT household FROM chat WHERE id = $1) AND NOT EXISTS \
             (SELECT 1 FROM chat other WHERE other.household = household.id AND other.connected = 1)",
        ];
        for sql in STATEMENTS {
            sqlx::query(sql).bind(self.chat).execute(&mut *db).await?;
        }
        Ok(())
    }

    fn announce(&self, changes: &Changes) {
        changes.moves.send_replace(());
        changes.outbox.send_replace(());
        changes.wake.send_replace(());
    }
}

struct SetPrivateChat {
    household: HouseholdId,
    member: i64,
    chat: Option<i64>,
}

impl Write for SetPrivateChat {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const SQL: &str = "UPDATE person SET private_chat = $3 WHERE household = $1 AND member = $2";
        sqlx::query(SQL).bind(self.household.0).bind(self.member).bind(self.chat).execute(db).await?;
        Ok(())
    }
}

struct Upsert {
    household: HouseholdId,
    person: PersonRow,
}

impl Write for Upsert {
    type Out = ();

    async fn apply(&self, db: &mut AnyConnection) -> Result<(), StoreError> {
        const SQL: &str = "INSERT INTO person (household, member, name, private_chat) VALUES ($1, $2, $3, $4) \
                           ON CONFLICT (household, member) DO UPDATE SET name = excluded.name, \
                           private_chat = COALESCE(excluded.private_chat, person.private_chat)";
        let PersonRow { member, name, private_chat } = &self.person;
        let insert =
            sqlx::query(SQL).bind(self.household.0).bind(*member).bind(clean(name)).bind(*private_chat);
        insert.execute(db).await?;
        Ok(())
    }
}
