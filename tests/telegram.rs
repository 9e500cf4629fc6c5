//! The bot against the stand-in of the Bot API over HTTP: that nothing people said is lost or done twice, whatever the
//! platform, the way to it, or the bot's own end do. Each bot has a runtime of its own, so that it can be killed.

#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use firstout::app::App;
use firstout::clock::Clock;
use firstout::edge::standin::{Fault, Follow, Post, Standin, What};
use firstout::edge::telegram::{self, ServeError};
use firstout::store::{InboxRow, Store};
use secrecy::SecretString;
use serde_json::json;
use sqlx::{AnyConnection, Connection};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

pub const TOKEN: &str = "1:hush-hush";
pub const CODE: &str = "milk";

pub fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 3, 9, 12, 0, 0).unwrap()
}

/// A platform, and a place for the bot's database.
pub struct Stage {
    pub standin: Standin,
    pub url: String,
    pub clock: Clock,
    pub dir: TempDir,
}

pub struct Bot {
    pub runtime: Runtime,
    pub stop: oneshot::Sender<()>,
    pub serving: JoinHandle<Result<(), ServeError>>,
}

impl Stage {
    pub async fn new() -> Stage {
        let clock = Clock::virtual_at(noon());
        let standin = Standin::new(TOKEN, {
            let clock = clock.clone();
            move || clock.now()
        });
        let url = standin.listen().await.unwrap();
        Stage { standin, url, clock, dir: TempDir::new().unwrap() }
    }

    pub fn database(&self) -> String {
        format!("sqlite:{}/firstout.db", self.dir.path().display())
    }

    pub async fn sql(&self, sql: &'static str) {
        sqlx::any::install_default_drivers();
        let mut connection = AnyConnection::connect(&self.database()).await.unwrap();
        sqlx::query(sql).execute(&mut connection).await.unwrap();
    }

    /// A group with the bot in it.
    pub fn group(&self) -> i64 {
        let group = self.standin.group("Milk", &["Ana", "Ben"]);
        self.standin.add_bot(group, "Ana").unwrap();
        group
    }

    pub fn start(&self) -> Bot {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let (database, clock) = (self.database(), self.clock.clone());
        let settings =
            telegram::Settings { token: TOKEN.into(), url: self.url.parse().unwrap(), paced: false };
        let (stop, stopped) = oneshot::channel();
        let serving = runtime.spawn(async move {
            let store = Store::open(&database).await.unwrap();
            let app = Arc::new(App::new(store, SecretString::from(CODE)));
            telegram::serve(app, settings, clock, async move { drop(stopped.await) }).await
        });
        Bot { runtime, stop, serving }
    }

    /// A group that is taken on, and the bot's words after that.
    pub async fn at_home(&self) -> (i64, Follow) {
        let group = self.group();
        let mut follow = self.standin.follow();
        self.standin.says(group, "Ana", &format!("/start {CODE}")).unwrap();
        heard(&mut follow, group).await;
        (group, follow)
    }

    /// Waits until something is so, while the clock stands still.
    pub async fn until(&self, so: impl Fn(&Standin) -> bool) {
        let mut version = self.standin.version();
        let waiting = version.wait_for(|_| so(&self.standin));
        tokio::time::timeout(GUARD, waiting).await.expect("it never came to that").unwrap();
    }

    /// The bot's next message in a chat, while time passes.
    pub async fn heard_later(&self, follow: &mut Follow, chat: i64) -> Post {
        let hearing = heard(follow, chat);
        tokio::pin!(hearing);
        loop {
            tokio::select! {
                biased;
                post = &mut hearing => return post,
                () = tokio::task::yield_now() => self.clock.advance(TimeDelta::seconds(1)),
            }
        }
    }
}

impl Bot {
    pub async fn end(self) {
        self.stop.send(()).unwrap();
        tokio::time::timeout(GUARD, self.serving).await.expect("the bot ends").unwrap().unwrap();
        self.runtime.shutdown_background();
    }
}

/// Only a test that fails waits for this long.
pub const GUARD: Duration = Duration::from_secs(60);

/// The bot's next message in a chat.
pub async fn heard(follow: &mut Follow, chat: i64) -> Post {
    let hearing = async {
        loop {
            let (place, post) = follow.next_post().await;
            if place == chat {
                return post;
            }
        }
    };
    match tokio::time::timeout(GUARD, hearing).await {
        Ok(post) => post,
        Err(_) => panic!("the bot says nothing after {:?}", follow.unread()),
    }
}

#[tokio::test]
async fn a_group_is_taken_on_by_its_code_and_nothing_is_said_before() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let group = stage.group();
    let mut follow = stage.standin.follow();
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    stage.standin.says(group, "Ana", "/start nonsense").unwrap();
    assert_eq!(heard(&mut follow, group).await.text, "That is not the set-up code.");
    stage.standin.says(group, "Ana", &format!("/start@firstout_bot {CODE}")).unwrap();
    let names = stage.standin.commands();
    let names: Vec<_> = names.as_array().unwrap().iter().map(|c| c["command"].as_str().unwrap()).collect();
    assert_eq!(names, ["help", "stock", "next", "thaw", "undo"]);
    bot.end().await;
}

#[tokio::test]
async fn a_family_talks_with_the_bot() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    let said = stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    let receipt = heard(&mut follow, group).await;
    assert!(receipt.text.contains("120 ml"), "{}", receipt.text);
    assert_eq!(receipt.reply_to, Some(said));

    stage.standin.edits(group, "Ana", said, "pumped 130 fridge").unwrap();
    let corrected = heard(&mut follow, group).await;
    assert!(corrected.text.contains("130 ml"), "{}", corrected.text);

    let button = receipt.labels()[0].to_owned();
    let tap = stage.standin.presses(group, "Ana", receipt.id, &button).unwrap();
    heard(&mut follow, group).await;
    let acknowledged =
        stage.standin.sent().into_iter().any(|s| matches!(s.what, What::Answered { tap: t, .. } if t == tap));
    assert!(acknowledged);
    bot.end().await;
}

#[tokio::test]
async fn what_was_stored_but_not_handled_is_handled_after_the_next_start() {
    let stage = Stage::new().await;
    let (group, mut follow) = (stage.group(), stage.standin.follow());
    let message = json!({ "message_id": 1, "date": noon().timestamp(), "text": format!("/start {CODE}"),
        "chat": { "id": group, "type": "group" }, "from": { "id": 1, "is_bot": false, "first_name": "Ana" } });
    let update = json!({ "update_id": 900, "message": message });
    let store = Store::open(&stage.database()).await.unwrap();
    store.receive(&[InboxRow::new(900, Some(group), update.to_string())], 0).await.unwrap();
    let bot = stage.start();
    assert!(heard(&mut follow, group).await.text.starts_with("Hello."));
    bot.end().await;
    assert!(store.waiting().await.unwrap().iter().all(|row| row.update != 900));
}

#[tokio::test]
async fn nothing_is_acknowledged_that_is_not_stored() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.until(|s| s.unacknowledged() == 0 && s.pollers() == 1).await;
    stage.sql("ALTER TABLE inbox RENAME TO away").await;
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    stage.until(|s| s.pollers() == 0).await;
    stage.clock.advance(TimeDelta::minutes(1));
    assert_eq!(stage.standin.unacknowledged(), 1);
    // What can't be stored for that long concerns the family.
    let told = stage.heard_later(&mut follow, group).await;
    assert!(told.text.starts_with("I can't write my log at the moment."), "{told:?}");
    stage.sql("ALTER TABLE away RENAME TO inbox").await;
    assert!(stage.heard_later(&mut follow, group).await.text.contains("120 ml"));
    stage.until(|s| s.unacknowledged() == 0).await;
    bot.end().await;
}

#[tokio::test]
async fn a_chat_that_must_wait_holds_up_no_other() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (one, mut follow) = stage.at_home().await;
    let (two, _) = stage.at_home().await;
    stage.standin.fail("sendMessage", Some(one), 1, Fault::TooMany { retry_after: 30 });
    stage.standin.says(one, "Ana", "pumped 110 fridge").unwrap();
    stage.standin.says(two, "Ana", "pumped 120 fridge").unwrap();
    let mut others = stage.standin.follow();
    let first = tokio::time::timeout(GUARD, others.next_post()).await.unwrap();
    assert_eq!((first.0, first.1.at), (two, noon()));
    assert!(stage.heard_later(&mut follow, one).await.at >= noon() + TimeDelta::seconds(30));
    bot.end().await;
}

#[tokio::test]
async fn a_group_that_moves_is_followed() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    heard(&mut follow, group).await;
    let moved = stage.standin.migrate(group).unwrap();
    stage.standin.says(moved, "Ben", "how much do we have?").unwrap();
    assert!(heard(&mut follow, moved).await.text.contains("120 ml"));
    bot.end().await;
}

#[tokio::test]
async fn what_is_refused_for_ever_is_given_up_and_the_next_is_sent() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.fail("sendMessage", Some(group), 1, Fault::Blocked);
    stage.standin.says(group, "Ana", "pumped 110 fridge").unwrap();
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    assert!(heard(&mut follow, group).await.text.contains("120 ml"));
    bot.end().await;
}

#[tokio::test]
async fn what_goes_wrong_on_the_way_is_tried_again() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    for (fault, ml) in [(Fault::NotJson, 110), (Fault::Hangup, 120), (Fault::LostAnswer, 130)] {
        stage.standin.fail("sendMessage", Some(group), 2, fault.clone());
        stage.standin.fail("getUpdates", None, 2, fault.clone());
        stage.standin.says(group, "Ana", &format!("pumped {ml} fridge")).unwrap();
        let text = stage.heard_later(&mut follow, group).await.text;
        assert!(text.contains(&format!("{ml} ml")), "{fault:?}: {text}");
    }
    bot.end().await;
}

#[tokio::test]
async fn another_poller_is_waited_out() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.until(|s| s.pollers() == 1).await;
    let other = reqwest::Client::new().get(format!("{}/bot{TOKEN}/getUpdates", stage.url));
    assert!(other.send().await.unwrap().status().is_success());
    stage.until(|s| s.pollers() == 0).await;
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    assert!(stage.heard_later(&mut follow, group).await.text.contains("120 ml"));
    bot.end().await;
}

#[tokio::test]
async fn an_update_that_fails_again_and_again_is_set_aside_and_stops_nobody() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (broken, _) = stage.at_home().await;
    let (sound, mut follow) = stage.at_home().await;
    bot.end().await;
    stage.sql("UPDATE household SET settings = '{' WHERE id = 1").await;
    let bot = stage.start();
    stage.standin.says(broken, "Ana", "pumped 110 fridge").unwrap();
    stage.standin.says(sound, "Ana", "pumped 120 fridge").unwrap();
    assert!(heard(&mut follow, sound).await.text.contains("120 ml"));
    let store = Store::open(&stage.database()).await.unwrap();
    while !store.waiting().await.unwrap().is_empty() {
        stage.clock.advance(TimeDelta::seconds(1));
    }
    bot.end().await;
}

#[tokio::test]
async fn a_group_in_which_the_bot_sees_only_commands_is_told_so() {
    let stage = Stage::new().await;
    stage.standin.bot_reads_all(false);
    let bot = stage.start();
    let group = stage.group();
    let mut follow = stage.standin.follow();
    stage.standin.says(group, "Ana", &format!("/start {CODE}")).unwrap();
    assert!(heard(&mut follow, group).await.text.contains("can't see plain messages"));
    bot.end().await;
}

#[tokio::test]
async fn a_token_that_is_not_known_is_named() {
    let stage = Stage::new().await;
    let settings =
        telegram::Settings { token: "1:other".into(), url: stage.url.parse().unwrap(), paced: true };
    let app = Arc::new(App::new(Store::open("sqlite::memory:").await.unwrap(), CODE.into()));
    let error =
        telegram::serve(app, settings, stage.clock.clone(), std::future::pending()).await.unwrap_err();
    assert_eq!(error.to_string(), "TELEGRAM_TOKEN: the platform does not know it");
}

/// The program itself, with nothing of our environment but what is given.
pub fn program(stage: &Stage, variables: &[(&str, &str)]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_firstout"));
    command.arg("serve").env_clear().current_dir(stage.dir.path()).envs(variables.iter().copied());
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

#[tokio::test]
async fn the_program_ends_in_order_and_its_log_holds_no_token() {
    for signal in ["TERM", "INT"] {
        let stage = Stage::new().await;
        let database = stage.database();
        let variables = [
            ("TELEGRAM_TOKEN", TOKEN),
            ("TELEGRAM_API_URL", &stage.url),
            ("DATABASE_URL", &database),
            ("RUST_LOG", "trace"),
            ("SETUP_CODE", "hush-a-by"),
        ];
        let child = program(&stage, &variables).spawn().unwrap();
        let id = child.id().to_string();
        // Read all the while: a full pipe would hold the program up.
        let ending = tokio::task::spawn_blocking(move || child.wait_with_output().unwrap());
        let group = stage.group();
        let mut follow = stage.standin.follow();
        stage.standin.fail("getUpdates", None, 1, Fault::Hangup);
        stage.standin.says(group, "Ana", "/start hush-a-by").unwrap();
        assert!(heard(&mut follow, group).await.text.starts_with("Hello."));
        stage.until(|s| s.pollers() == 1).await;
        Command::new("kill").args(["-s", signal, &id]).status().unwrap();
        let ended = ending.await.unwrap();
        let log = [ended.stderr, ended.stdout].map(|text| String::from_utf8(text).unwrap()).concat();
        assert_eq!(ended.status.code(), Some(0), "{log}");
        assert!(log.contains("getUpdates") || log.contains("ended in order"), "{log}");
        assert!(!log.contains("hush"), "a secret is in the log");
        assert_eq!(stage.standin.unacknowledged(), 0);
    }
}

#[tokio::test]
async fn the_program_names_what_is_missing_or_wrong() {
    let stage = Stage::new().await;
    for (variables, line) in [
        (vec![], "TELEGRAM_TOKEN: is missing (or TELEGRAM_TOKEN_FILE)"),
        (
            vec![("TELEGRAM_TOKEN", "1:a"), ("LOG_FORMAT", "xml")],
            "LOG_FORMAT: \"xml\" is neither text nor json",
        ),
        (
            vec![("TELEGRAM_TOKEN", "1:a"), ("DATABASE_URL", "sqlite:/no/where/x.db")],
            "DATABASE_URL: sqlite:/no/where/x.db: unable to open database file",
        ),
        (
            vec![("TELEGRAM_TOKEN", "1:a"), ("RUST_LOG", "error"), ("TELEGRAM_API_URL", stage.url.as_str())],
            "TELEGRAM_TOKEN: the platform does not know it",
        ),
    ] {
        let ended = tokio::task::spawn_blocking({
            let mut p = program(&stage, &variables);
            move || p.output().unwrap()
        })
        .await
        .unwrap();
        let text = String::from_utf8(ended.stderr).unwrap();
        let lines: Vec<_> = text.lines().filter(|l| !l.contains("WARN") && !l.contains("INFO")).collect();
        assert_eq!((lines, ended.status.code()), (vec![format!("firstout: {line}").as_str()], Some(2)));
    }
}

#[tokio::test]
async fn what_falls_due_is_said_when_its_time_comes() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.says(group, "Ana", "pumped 120, on the counter").unwrap();
    heard(&mut follow, group).await;
    let store = Store::open(&stage.database()).await.unwrap();
    let (_, wake) = store.earliest_wake().await.unwrap().unwrap();
    let wake = DateTime::from_timestamp_millis(wake).unwrap();
    // At room temperature up to 4 hours: CDC, Breast Milk Storage and Preparation (published).
    let after = wake - noon();
    assert!(after > TimeDelta::hours(2) && after <= TimeDelta::hours(4), "{after}");
    stage.clock.advance_to(wake - TimeDelta::seconds(1));
    assert_eq!(store.earliest_wake().await.unwrap().map(|(_, ms)| ms), Some(wake.timestamp_millis()));
    stage.clock.advance_to(wake);
    let reminder = heard(&mut follow, group).await;
    assert_eq!((reminder.at, reminder.reply_to), (wake, None), "{}", reminder.text);
    bot.end().await;
}
