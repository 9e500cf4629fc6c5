//! Databases of earlier versions, with data, are brought forward: nothing is lost, and the bot goes on with them. For each
//! set of tables `tests/migrations/` has a database as that version had it; the next set that is made adds one.

use chrono::DateTime;
use firstout::app::App;
use firstout::app::wire::{Event, Incoming};
use firstout::store::{HouseholdId, Store};
use sqlx::{AnyConnection, AssertSqlSafe, Connection};
use tempfile::TempDir;

use crate::copies::contents;
use crate::support::postgres;

/// The versions of the tables that came before this program's, oldest first.
const BEFORE: [(i64, &str); 1] = [(1, include_str!("migrations/0001.sql"))];

async fn is_brought_forward(url: &str, version: i64, data: &str) {
    drop(Store::open_at(url, version).await.unwrap());
    let mut db = AnyConnection::connect(url).await.unwrap();
    for line in data.lines().filter(|line| !line.starts_with("--")) {
        sqlx::query(AssertSqlSafe(line)).execute(&mut db).await.unwrap();
    }
    let before = contents(url).await;
    let store = Store::open(url).await.unwrap();
    let after = contents(url).await;
    for (table, rows) in &before {
        let (_, now) = after.iter().find(|(name, _)| name == table).unwrap();
        assert_eq!(rows.len(), now.len(), "{table}");
    }

    let app = App::new(store.clone(), "code".into());
    let books = app.check_books().await.unwrap();
    assert_eq!((books.households, books.entries > 100), (2, true));
    // What waited is handled, and what is asked is answered from what was recorded then.
    let waiting = store.waiting().await.unwrap();
    assert_eq!(waiting.iter().map(|row| (row.update, row.tries)).collect::<Vec<_>>(), [(9001, 1)]);
    let incoming = Incoming {
        update: 9001,
        chat: -1,
        private: false,
        at: DateTime::from_timestamp(1_804_500_000, 0).unwrap(),
        from: None,
        event: Event::Text { message: 9001, text: "how much do we have?".into(), reply_to: None },
    };
    app.handle(&incoming).await.unwrap();
    let said = store.outgoing().await.unwrap();
    // As that version had said it at the end of its day; the fridge is another matter a week later.
    let answer = said.iter().find(|row| row.chat == -1).unwrap();
    assert!(answer.body.contains("freezer: 1315 ml"), "{}", answer.body);
    assert!(said.iter().any(|row| row.chat == -1_000_000_000_002), "what was to be sent still is");
    assert_eq!(store.households_of_person(1).await.unwrap(), [HouseholdId(1)]);
}

#[tokio::test]
async fn every_earlier_version_is_brought_forward() {
    for (version, data) in BEFORE {
        let dir = TempDir::new().unwrap();
        is_brought_forward(&format!("sqlite:{}/a.db", dir.path().display()), version, data).await;
        is_brought_forward(&postgres::database().await, version, data).await;
    }
}

#[test]
fn there_is_a_database_of_every_earlier_version() {
    let sets = std::fs::read_dir("migrations").unwrap().count();
    assert_eq!(BEFORE.len(), sets - 1);
}
