//! Backup, restore and moving house, by the program's own commands: everything is there afterwards, on both databases and
//! between them, and what is damaged is put nowhere. What is compared is read by this test itself, table by table.

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

use firstout::cli::replay;
use firstout::store::{Commit, InboxRow, NewOutboxRow, Store, Work};
use sqlx::{AnyConnection, AssertSqlSafe, Connection, Row};
use tempfile::TempDir;

use crate::support::postgres;

const SCRIPT: &str = include_str!("../demo/household.txt");

struct Stage {
    dir: TempDir,
}

impl Stage {
    fn new() -> Stage {
        Stage { dir: TempDir::new().unwrap() }
    }

    fn file(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn sqlite(&self, name: &str) -> String {
        format!("sqlite:{}", self.file(name).display())
    }

    async fn run(&self, database: &str, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_firstout"));
        command.args(arguments).env_clear().env("DATABASE_URL", database).current_dir(self.dir.path());
        tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap()
    }

    /// Its output, or its error.
    async fn does(&self, database: &str, arguments: &[&str]) -> Result<String, String> {
        let ended = self.run(database, arguments).await;
        let text = |bytes| String::from_utf8(bytes).unwrap();
        match ended.status.code() {
            Some(0) => Ok(text(ended.stdout)),
            _ => Err(text(ended.stderr)),
        }
    }
}

/// A household with a history, and something in every other table and state.
async fn lived_in(url: &str) {
    let mut seen = Vec::new();
    replay::run(SCRIPT, url, replay::Form::People, &mut seen).await.unwrap();
    let store = Store::open(url).await.unwrap();
    let odd = "120 мл 🍼 \"'\\ \u{2028} \n\t ☃";
    store.create_household(-77, "{}", 5).await.unwrap();
    store.migrate_chat(-77, -100_077).await.unwrap();
    let rows = [Some(-77), None, Some(-77)].into_iter().zip(9001..);
    let rows: Vec<_> =
        rows.map(|(chat, id)| InboxRow::new(id, chat, format!("{{\"text\":{odd:?}}}"))).collect();
    store.receive(&rows, 7).await.unwrap();
    store.failed(9001, odd).await.unwrap();
    store.set_aside(9001, odd).await.unwrap();
    let say = |dedupe: Option<&str>, edits| NewOutboxRow {
        chat: -77,
        body: odd.into(),
        dedupe: dedupe.map(str::to_owned),
        edits,
        ..NewOutboxRow::default()
    };
    let commit = Commit {
        outbox: vec![say(Some(odd), None), say(None, Some(1))],
        done: Some(9002),
        ..Commit::default()
    };
    let ids = store.commit(commit).await.unwrap().outbox;
    store.given_up(ids[1].unwrap(), odd).await.unwrap();
}

/// Every table with all its rows as text; the claims of the moment are nobody's to keep.
pub async fn contents(url: &str) -> Vec<(String, Vec<Vec<String>>)> {
    sqlx::any::install_default_drivers();
    let mut db = AnyConnection::connect(url).await.unwrap();
    let names = if url.starts_with("sqlite") {
        "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    } else {
        "SELECT CAST(table_name AS TEXT) FROM information_schema.tables WHERE table_schema = 'public' ORDER BY 1"
    };
    let names: Vec<(String,)> = sqlx::query_as(names).fetch_all(&mut db).await.unwrap();
    let mut tables = Vec::new();
    for (name,) in names.into_iter().filter(|(name,)| !["claim", "_sqlx_migrations"].contains(&name.as_str()))
    {
        let all = format!("SELECT * FROM {name} ORDER BY 1, 2");
        let rows = sqlx::query(AssertSqlSafe(all)).fetch_all(&mut db).await.unwrap();
        let cell = |row: &sqlx::any::AnyRow, n| match row.try_get::<Option<i64>, _>(n) {
            Ok(number) => format!("{number:?}"),
            Err(_) => format!("{:?}", row.try_get::<Option<String>, _>(n).unwrap()),
        };
        let rows = rows.iter().map(|row| (0..row.len()).map(|n| cell(row, n)).collect()).collect();
        tables.push((name, rows));
    }
    tables
}

async fn restored_from(first: &str, second: &str) {
    let stage = Stage::new();
    lived_in(first).await;
    let before = contents(first).await;
    assert_eq!(before.len(), 7, "a new table is to be copied, or to be named here");
    let said = stage.does(first, &["backup", "copy"]).await.unwrap();
    assert!(said.starts_with("copy: rows: chat 3, household 2, inbox "), "{said}");
    let said = stage.does(second, &["restore", "copy"]).await.unwrap();
    assert!(said.contains("the books add up") && said.contains("2 households"), "{said}");
    assert_eq!(contents(second).await, before);
    // And it is gone on with: the counters go on from where they were.
    let store = Store::open(second).await.unwrap();
    assert_eq!(store.create_household(5, "{}", 0).await.unwrap().0, 3);
}

#[tokio::test]
async fn everything_comes_back_into_the_same_kind_of_database() {
    let stage = Stage::new();
    restored_from(&stage.sqlite("a.db"), &stage.sqlite("b.db")).await;
    restored_from(&postgres::database().await, &postgres::database().await).await;
}

#[tokio::test]
async fn everything_moves_from_sqlite_to_postgresql_and_back() {
    let stage = Stage::new();
    let (here, there, back) = (stage.sqlite("a.db"), postgres::database().await, stage.sqlite("b.db"));
    lived_in(&here).await;
    let before = contents(&here).await;
    stage.does(&here, &["move", "--to", &there]).await.unwrap();
    assert_eq!(contents(&there).await, before);
    stage.does(&there, &["move", "--to", &back]).await.unwrap();
    assert_eq!(contents(&back).await, before);
    assert_eq!(contents(&here).await, before, "what is moved stays where it was");
}

#[tokio::test]
async fn a_copy_is_of_one_moment_while_others_write() {
    for url in [Stage::new().sqlite("a.db"), postgres::database().await] {
        let dir = TempDir::new().unwrap();
        let url =
            if url.starts_with("sqlite") { format!("sqlite:{}/a.db", dir.path().display()) } else { url };
        let store = Store::open(&url).await.unwrap();
        let home = store.create_household(1, "{}", 0).await.unwrap();
        let writing = tokio::spawn({
            let store = store.clone();
            async move {
                for n in 0..200 {
                    // A household's number of entries and the entries themselves go together.
                    let entry = firstout::store::NewLedgerRow { fact: "{}".into(), ..Default::default() };
                    let change = firstout::store::Change {
                        household: home,
                        expected_seq: n,
                        entries: vec![entry],
                        wake: None,
                        urgent: None,
                    };
                    store.commit(Commit { change: Some(change), ..Commit::default() }).await.unwrap();
                }
            }
        });
        while !writing.is_finished() {
            let mut copy = Vec::new();
            let copied = store.copy_out(&mut copy).await.unwrap();
            let text = String::from_utf8(copy).unwrap();
            let household = text.lines().find(|line| line.starts_with("[1,\"{}\",")).unwrap();
            assert!(household.starts_with(&format!("[1,\"{{}}\",{},", copied.rows["ledger"])), "{household}");
        }
        writing.await.unwrap();
    }
}

#[tokio::test]
async fn what_is_damaged_is_put_nowhere() {
    let stage = Stage::new();
    let (from, to) = (stage.sqlite("a.db"), stage.sqlite("b.db"));
    lived_in(&from).await;
    stage.does(&from, &["backup", "copy"]).await.unwrap();
    let copy = fs::read_to_string(stage.file("copy")).unwrap();
    let lines: Vec<&str> = copy.lines().collect();
    for (what, text, says) in [
        ("short", lines[..lines.len() - 1].join("\n") + "\n", "breaks off before its end"),
        ("cut", copy[..copy.len() / 2].to_owned(), "breaks off before its end"),
        ("changed", copy.replacen("120", "121", 1), "was changed since it was made, or is damaged"),
        (
            "fewer",
            lines.iter().enumerate().filter(|(n, _)| *n != 12).map(|(_, l)| format!("{l}\n")).collect(),
            "was changed since it was made, or is damaged",
        ),
        ("another", "milk ".repeat(5000), "is not a copy that this program has made"),
        ("empty", String::new(), "is not a copy that this program has made"),
        (
            "newer",
            copy.replacen("\"tables\":", "\"tables\":99", 1),
            "was made by a newer version of this program",
        ),
    ] {
        assert!(text != copy, "{what}");
        fs::write(stage.file(what), text).unwrap();
        let error = stage.does(&to, &["restore", what]).await.unwrap_err();
        assert!(
            error.starts_with(&format!("firstout: {what}: {says}")) && error.lines().count() == 1,
            "{error}"
        );
        assert!(!stage.file("b.db").exists(), "{what}");
    }
    // Whole and unchanged, but of a database that can't be gone on with.
    let mut db = AnyConnection::connect(&from).await.unwrap();
    sqlx::query("UPDATE ledger SET fact = '{}' WHERE seq = 3").execute(&mut db).await.unwrap();
    stage.does(&from, &["backup", "unreadable"]).await.unwrap();
    let error = stage.does(&to, &["restore", "unreadable"]).await.unwrap_err();
    let says = "firstout: unreadable: household 1: an entry of the ledger can't be read";
    assert!(error.starts_with(says) && !stage.file("b.db").exists(), "{error}");

    let error = stage.does(&to, &["restore", "nothing"]).await.unwrap_err();
    assert_eq!(error, "firstout: nothing: No such file or directory (os error 2)\n");
}

#[tokio::test]
async fn nothing_is_overwritten_unasked() {
    let stage = Stage::new();
    let (from, to) = (stage.sqlite("a.db"), stage.sqlite("b.db"));
    lived_in(&from).await;
    stage.does(&from, &["backup", "copy"]).await.unwrap();
    let error = stage.does(&from, &["backup", "copy"]).await.unwrap_err();
    assert_eq!(error, "firstout: copy: entity already exists\n");
    let error = stage.does(&from, &["restore", "copy"]).await.unwrap_err();
    assert_eq!(error, "firstout: there is something in the database already: --replace throws it away\n");

    let store = Store::open(&to).await.unwrap();
    store.create_household(99, "{\"other\": 1}", 0).await.unwrap();
    drop(store);
    stage.does(&to, &["restore", "copy"]).await.unwrap_err();
    stage.does(&to, &["restore", "copy", "--check"]).await.unwrap();
    assert_ne!(contents(&to).await, contents(&from).await);
    stage.does(&to, &["restore", "copy", "--replace"]).await.unwrap();
    assert_eq!(contents(&to).await, contents(&from).await);

    let error = stage.does(&from, &["move", "--to", &from]).await.unwrap_err();
    assert_eq!(error, "firstout: both databases are the same\n");
    let error = stage.does(&stage.sqlite("none.db"), &["backup", "other"]).await.unwrap_err();
    assert!(error.ends_with("none.db: there is no such file\n"), "{error}");
    assert!(!stage.file("none.db").exists() && !stage.file("other").exists());
}

#[tokio::test]
async fn a_database_at_which_somebody_works_is_left_alone() {
    let stage = Stage::new();
    let (file, server) = (stage.sqlite("a.db"), postgres::database().await);
    lived_in(&file).await;
    stage.does(&file, &["backup", "copy"]).await.unwrap();
    let lock = firstout::store::Lock::take(&file).unwrap();
    let error = stage.does(&file, &["restore", "copy", "--replace"]).await.unwrap_err();
    assert!(error.contains("another process works on it"), "{error}");
    stage.does(&file, &["backup", "while-it-works"]).await.unwrap();
    drop(lock);

    let store = Store::open(&server).await.unwrap();
    store.claim(Work::Polling, &[0], 0, i64::MAX).await.unwrap();
    let error = stage.does(&file, &["move", "--to", &server]).await.unwrap_err();
    assert_eq!(error, "firstout: a process is at work on the database; end it before\n");
    store.release(Work::Polling, 0, 0).await.unwrap();
    stage.does(&file, &["move", "--to", &server]).await.unwrap();
}

#[tokio::test]
async fn a_copy_of_an_earlier_version_is_put_back() {
    let stage = Stage::new();
    let (from, to) = (stage.sqlite("a.db"), stage.sqlite("b.db"));
    lived_in(&from).await;
    stage.does(&from, &["backup", "copy"]).await.unwrap();
    // The first version had the same tables but that of the claims, which isn't copied.
    let copy = fs::read_to_string(stage.file("copy")).unwrap();
    let (head, rest) = copy.split_once('\n').unwrap();
    assert_eq!(head, "{\"firstout_copy\":1,\"tables\":2}");
    fs::write(stage.file("old"), format!("{{\"firstout_copy\":1,\"tables\":1}}\n{rest}")).unwrap();
    stage.does(&to, &["restore", "old"]).await.unwrap();
    assert_eq!(contents(&to).await, contents(&from).await);
}
