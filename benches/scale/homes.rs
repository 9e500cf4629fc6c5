//! Households as they lie in a database before the bot starts: new ones, ones with years of entries, and quiet ones.

use chrono::{DateTime, TimeDelta, Utc};
use firstout::app::App;
use firstout::chat::read::{self, Context, Language};
use firstout::domain::decide::{self, Message};
use firstout::domain::fact::{Entry, Record};
use firstout::domain::household::Household;
use firstout::domain::ledger::Ledger;
use firstout::domain::reminders;
use firstout::store::{Change, Commit, NewLedgerRow, Store};
use secrecy::SecretString;
use sqlx::{AnyConnection, Connection};

/// Of a day; what is expressed is fed, and some is nursed.
const DAY: [&str; 18] = [
    "pumped 120 fridge",
    "fed 110",
    "nursed left 12 min",
    "pumped 90 fridge",
    "fed 80 left 10",
    "fed 100",
    "pumped 110 fridge",
    "nursed right 15 min",
    "fed 100",
    "pumped 100 fridge",
    "fed 90",
    "pumped 80 freezer",
    "nursed left 10 min",
    "fed 80",
    "thaw the oldest",
    "pumped 110 fridge",
    "fed 120",
    "nursed right 9 min",
];

/// A household for each group, with so many entries, and so many households that nobody writes in.
pub async fn lay_down(database: &str, groups: &[i64], entries: usize, quiet: i64) {
    let store = Store::open(database).await.unwrap();
    let app = App::new(store.clone(), SecretString::from("code"));
    for group in groups {
        app.take_on(*group, &Household::default(), Utc::now()).await.unwrap();
    }
    drop(app);
    let mut db = AnyConnection::connect(database).await.unwrap();
    if entries > 0 {
        write(&store, &years(entries)).await;
        // The others have lived the same.
        let copy = "INSERT INTO ledger SELECT h.id, l.seq, happened, recorded, author, chat, message, version, fact \
                    FROM ledger l JOIN household h ON h.id > 1 WHERE l.household = 1";
        for sql in [copy, "UPDATE household SET seq = (SELECT MAX(seq) FROM ledger WHERE household = 1)"] {
            sqlx::query(sql).execute(&mut db).await.unwrap();
        }
    }
    if quiet > 0 {
        lay_down_quiet(&mut db, quiet).await;
    }
}

/// Each with a day's entries behind it and something due some time after next week.
async fn lay_down_quiet(db: &mut AnyConnection, quiet: i64) {
    const HOMES: &str = "INSERT INTO household (id, settings, seq, wake, created) \
        WITH RECURSIVE n(id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n WHERE id < $1) \
        SELECT 1000 + id, (SELECT settings FROM household WHERE id = 1), $2, $3 + id * 1000, 0 FROM n";
    const CHATS: &str = "INSERT INTO chat (id, household, connected) SELECT -1000000 - id, id, 1 FROM household WHERE id > 1000";
    const ENTRIES: &str = "INSERT INTO ledger (household, seq, happened, recorded, author, version, fact) \
        SELECT id, $1, $2, $3, $4, 1, $5 FROM household WHERE id > 1000";
    let entries = years(6);
    let next_week = (Utc::now() + TimeDelta::days(7)).timestamp_millis();
    let homes = sqlx::query(HOMES).bind(quiet).bind(entries.len() as i64).bind(next_week);
    homes.execute(&mut *db).await.unwrap();
    sqlx::query(CHATS).execute(&mut *db).await.unwrap();
    for entry in &entries {
        let row = row(entry);
        let insert = sqlx::query(ENTRIES).bind(entry.seq).bind(row.happened_ms).bind(row.recorded_ms);
        insert.bind(row.by).bind(row.fact).execute(&mut *db).await.unwrap();
    }
    sqlx::query("UPDATE counter SET value = 1000000 WHERE name = 'household'")
        .execute(&mut *db)
        .await
        .unwrap();
}

async fn write(store: &Store, entries: &[Entry]) {
    let household = store.household_of_chat(-1001).await.unwrap().unwrap();
    for (n, some) in entries.chunks(1000).enumerate() {
        let change = Change {
            household,
            expected_seq: n as i64 * 1000,
            entries: some.iter().map(row).collect(),
            wake: None,
            urgent: None,
        };
        store.commit(Commit { change: Some(change), ..Commit::default() }).await.unwrap();
    }
}

fn row(entry: &Entry) -> NewLedgerRow {
    let happened = match &entry.record {
        Record::Said { facts, .. } => facts.iter().map(|f| f.at).min(),
        _ => None,
    };
    NewLedgerRow {
        happened_ms: happened.unwrap_or(entry.recorded).timestamp_millis(),
        recorded_ms: entry.recorded.timestamp_millis(),
        by: entry.by.clone(),
        chat: None,
        message: entry.message,
        version: 1,
        fact: serde_json::to_string(&entry.record).unwrap(),
    }
}

/// The last `count` entries of a life that goes on until an hour ago, as the bot itself would have written them.
pub fn years(count: usize) -> Vec<Entry> {
    let apart = TimeDelta::hours(24) / DAY.len() as i32;
    let mut at = Utc::now() - TimeDelta::hours(1) - apart * count as i32;
    at = DateTime::from_timestamp(at.timestamp(), 0).unwrap_or(at);
    let mut ledger = Ledger::new(Household::default());
    let mut entries = Vec::new();
    for (n, text) in DAY.iter().cycle().enumerate() {
        let told = reminders::due(&ledger, at).into_iter().map(|due| Record::Reminded(due.reminder));
        let said = decided(&ledger, text, at, n as i64);
        for (record, by) in told.map(|r| (r, None)).chain(said.into_iter().map(|r| (r, Some("Ana".into())))) {
            let message = by.is_some().then_some(-(n as i64) - 1);
            let entry = Entry { seq: ledger.next_seq(), recorded: at, by, message, record };
            ledger.append(entry.clone());
            entries.push(entry);
        }
        at += apart;
        if entries.len() >= count {
            break;
        }
    }
    entries.truncate(count);
    entries
}

fn decided(ledger: &Ledger, text: &str, at: DateTime<Utc>, id: i64) -> Vec<Record> {
    let context = Context {
        sent: at.naive_utc(),
        zone: ledger.household().zone,
        units: ledger.household().units,
        languages: vec![Language::from_tag("en").unwrap()],
    };
    let message =
        Message { by: Some("Ana"), sent: at, text, id: Some(-id - 1), replies_to: None, about: None };
    decide::decide(ledger, &message, read::read(text, &context)).records
}
