//! What the machine may do wrong: a disk that is full, a database that is held, read-only or damaged, a clock that is set
//! back, a process that is stopped. Nothing is acknowledged that isn't stored, the log says why in plain words, and when the
//! cause is gone the bot goes on by itself.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};

use chrono::TimeDelta;
use firstout::app::App;
use firstout::edge::standin::Fault;
use firstout::store::{InboxRow, Store, StoreError};
use sqlx::{AnyConnection, AssertSqlSafe, Connection};
use tempfile::TempDir;

use crate::support::postgres;
use crate::support::proxy::Proxy;
use crate::telegram::{CODE, GUARD, Stage, TOKEN, heard, program};

/// The program as a process of its own, and its log.
struct Process {
    child: Child,
    log: Arc<Mutex<String>>,
}

impl Process {
    fn start(mut command: Command) -> Process {
        let mut child = command.spawn().unwrap();
        let log: Arc<Mutex<String>> = Arc::default();
        let (written, out) = (log.clone(), child.stderr.take().unwrap());
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                written.lock().unwrap().push_str(&format!("{line}\n"));
            }
        });
        Process { child, log }
    }

    fn log(&self) -> String {
        self.log.lock().unwrap().clone()
    }

    fn signal(&self, signal: &str) {
        run("kill", &["-s", signal, &self.child.id().to_string()]);
    }

    /// Waits until the log says something; the platform's changes are when to look.
    async fn says(&self, stage: &Stage, words: &str) {
        let mut version = stage.standin.version();
        let waiting = async {
            while !self.log().contains(words) {
                let _ = tokio::time::timeout(std::time::Duration::from_millis(100), version.changed()).await;
            }
        };
        if tokio::time::timeout(GUARD, waiting).await.is_err() {
            panic!("the log does not say {words:?}:\n{}", self.log());
        }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn run(program: &str, arguments: &[&str]) {
    assert!(Command::new(program).args(arguments).status().unwrap().success(), "{program} {arguments:?}");
}

fn variables<'s>(stage: &'s Stage, database: &'s str) -> Vec<(&'s str, &'s str)> {
    vec![
        ("TELEGRAM_TOKEN", TOKEN),
        ("TELEGRAM_API_URL", &stage.url),
        ("DATABASE_URL", database),
        ("SETUP_CODE", CODE),
    ]
}

#[tokio::test]
async fn on_a_full_disk_nothing_is_acknowledged_and_all_is_read_later() {
    let stage = Stage::new().await;
    let database = stage.database();
    // The file may grow no further: for a process that is what a full disk is. The signal that would end it is ignored.
    let plain = program(&stage, &variables(&stage, &database));
    let mut command = Command::new("sh");
    command.args(["-c", "trap '' XFSZ; exec \"$0\" serve"]).arg(plain.get_program());
    command.env_clear().envs(variables(&stage, &database)).current_dir(stage.dir.path());
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    let process = Process::start(command);
    let (group, mut follow) = stage.at_home().await;
    stage.until(|s| s.unacknowledged() == 0).await;
    let id = process.child.id().to_string();
    run("prlimit", &["--pid", &id, "--fsize=1:unlimited"]);
    let said = stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    // What the sender can't note may be said before it; what counts is that the message could not be kept.
    process
        .says(
            &stage,
            "updates can't be stored: the database can't be used: the disk fails or has no room left",
        )
        .await;
    assert_eq!(stage.standin.unacknowledged(), 1);
    assert!(!stage.standin.posts(group).iter().any(|post| post.by_bot && post.reply_to == Some(said)));
    run("prlimit", &["--pid", &id, "--fsize=unlimited:unlimited"]);
    process.says(&stage, "updates are stored again").await;
    assert!(heard(&mut follow, group).await.text.contains("120 ml"));
    stage.until(|s| s.unacknowledged() == 0).await;
}

#[tokio::test]
async fn a_database_that_another_holds_is_waited_for() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.until(|s| s.unacknowledged() == 0).await;
    let mut other = AnyConnection::connect(&stage.database()).await.unwrap();
    sqlx::query("BEGIN IMMEDIATE").execute(&mut other).await.unwrap();
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    // The poll that brought it has ended, and no other begins before it is stored.
    stage.until(|s| s.pollers() == 0).await;
    assert_eq!(stage.standin.unacknowledged(), 1);
    sqlx::query("COMMIT").execute(&mut other).await.unwrap();
    assert!(stage.heard_later(&mut follow, group).await.text.contains("120 ml"));
    bot.end().await;
}

#[tokio::test]
async fn a_database_that_can_only_be_read_says_so_and_is_tried_again() {
    let url = postgres::database().await;
    let (_, name) = url.split_once("127.0.0.1").unwrap();
    let name = name.split(['/', '?']).nth(1).unwrap().to_owned();
    let store = Store::open(&url).await.unwrap();
    let mut other = AnyConnection::connect(&url.replace(&format!("/{name}?"), "/postgres?")).await.unwrap();
    let mut set = async |only_read: &str| {
        let sql = format!("ALTER DATABASE {name} SET default_transaction_read_only = {only_read}");
        sqlx::query(AssertSqlSafe(sql)).execute(&mut other).await.unwrap();
        let sql = format!(
            "SELECT CAST(pg_terminate_backend(pid) AS TEXT) FROM pg_stat_activity WHERE datname = '{name}'"
        );
        sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut other).await.unwrap();
    };
    set("on").await;
    // Connections that were cut are made anew, one after the other.
    let refused = loop {
        match store.receive(&[InboxRow::new(1, None, "{}".into())], 0).await {
            Err(StoreError::Unreachable(why)) if why.contains("read-only") => break why,
            Err(StoreError::Unreachable(_)) => {}
            other => panic!("{other:?}"),
        }
    };
    assert!(refused.starts_with("it can't be written to ("), "{refused}");
    assert_eq!(store.waiting().await.unwrap(), []);
    set("off").await;
    let again = async { while store.receive(&[InboxRow::new(1, None, "{}".into())], 0).await.is_err() {} };
    tokio::time::timeout(GUARD, again).await.unwrap();
    assert_eq!(store.waiting().await.unwrap().len(), 1);
}

/// Overwrites all of a file but its first pages.
fn damage(path: &Path, kept: usize) {
    let mut bytes = fs::read(path).unwrap();
    assert!(bytes.len() > kept, "{}", bytes.len());
    bytes[kept..].fill(0x55);
    fs::write(path, bytes).unwrap();
}

#[tokio::test]
async fn a_damaged_file_is_named_and_no_message_is_given_up_for_it() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    for n in 0..40 {
        stage.standin.says(group, "Ana", &format!("pumped {} fridge", 50 + n)).unwrap();
        heard(&mut follow, group).await;
    }
    bot.end().await;
    let file = stage.dir.path().join("firstout.db");
    let mut db = AnyConnection::connect(&stage.database()).await.unwrap();
    sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").fetch_all(&mut db).await.unwrap();
    drop(db);
    damage(&file, 4096);
    // Either it is seen at the start, in one line, or when it is read.
    let why = match Store::open(&stage.database()).await {
        Err(error) => error.to_string(),
        Ok(store) => App::new(store, CODE.into()).check_books().await.unwrap_err().to_string(),
    };
    assert!(why.contains("malformed") || why.contains("its file is damaged"), "{why}");
    fs::write(&file, "milk ".repeat(2000)).unwrap();
    let why = Store::open(&stage.database()).await.unwrap_err().to_string();
    assert!(why.contains("file is not a database"), "{why}");
}

#[tokio::test]
async fn a_clock_that_is_set_back_an_hour_stops_nothing() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.says(group, "Ana", "pumped 120, on the counter").unwrap();
    heard(&mut follow, group).await;
    stage.clock.set_back(TimeDelta::hours(1));
    stage.standin.says(group, "Ana", "pumped 130 fridge").unwrap();
    assert!(heard(&mut follow, group).await.text.contains("130 ml"));
    // The milk's time is the platform's; by this clock it is 50 minutes before its end an hour later than it would have been.
    stage.clock.advance(TimeDelta::minutes(249));
    stage.standin.says(group, "Ana", "how much do we have?").unwrap();
    assert!(heard(&mut follow, group).await.text.contains("130 ml"));
    stage.clock.advance(TimeDelta::minutes(1));
    assert!(heard(&mut follow, group).await.text.contains("out of the cold"));
    bot.end().await;
}

#[tokio::test]
async fn after_a_day_asleep_what_was_missed_is_said_once() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.says(group, "Ana", "pumped 120, on the counter").unwrap();
    heard(&mut follow, group).await;
    stage.clock.advance(TimeDelta::days(1));
    let late = heard(&mut follow, group).await;
    assert!(late.text.contains("past since") && late.reply_to.is_none(), "{}", late.text);
    stage.standin.says(group, "Ana", "pumped 130 fridge").unwrap();
    assert!(heard(&mut follow, group).await.text.contains("130 ml"), "nothing is said twice in between");
    bot.end().await;
}

#[tokio::test]
async fn a_process_that_was_stopped_goes_on() {
    let stage = Stage::new().await;
    let database = stage.database();
    let process = Process::start(program(&stage, &variables(&stage, &database)));
    let (group, mut follow) = stage.at_home().await;
    process.signal("STOP");
    stage.standin.fail("getUpdates", None, 1, Fault::Hangup);
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    process.signal("CONT");
    assert!(heard(&mut follow, group).await.text.contains("120 ml"));
}

#[tokio::test]
async fn no_secret_is_in_the_log_whatever_goes_wrong() {
    let stage = Stage::new().await;
    let (proxy, dir) = (Proxy::start(1).await, TempDir::new().unwrap());
    let database = format!("sqlite:{}/firstout.db", dir.path().display());
    let (url, listen) = (proxy.url(), proxy.backend(0).to_string());
    let mut given = variables(&stage, &database);
    given.retain(|(name, _)| *name != "SETUP_CODE");
    given.extend([
        ("RUST_LOG", "trace"),
        ("SETUP_CODE", "hush-a-by-baby"),
        ("WEBHOOK_URL", &url),
        ("WEBHOOK_SECRET", "hush-only-the-platform"),
        ("WEBHOOK_LISTEN", &listen),
    ]);
    stage.standin.fail("setWebhook", None, 1, Fault::Hangup);
    stage.standin.fail("getMe", None, 1, Fault::NotJson);
    let process = Process::start(program(&stage, &given));
    let group = stage.group();
    let mut follow = stage.standin.follow();
    stage.standin.says(group, "Ana", "/start hush-a-by-baby").unwrap();
    assert!(heard(&mut follow, group).await.text.starts_with("Hello."));
    let wrong = reqwest::Client::new().post(&url).header("X-Telegram-Bot-Api-Secret-Token", "hush");
    let answer = wrong.body("{}").send().await.unwrap();
    assert_eq!((answer.status().as_u16(), answer.text().await.unwrap()), (401, String::new()));
    process.says(&stage, "somebody came to the webhook without the secret").await;
    assert!(process.log().contains("TRACE"), "the log is that of everything");
    assert!(!process.log().contains("hush"), "a secret is in the log");
}
