//! Several processes on one PostgreSQL database, against the stand-in: one gets the updates, all handle and send, and
//! nothing is done twice. Each process is an app with a store and a runtime of its own, so that it can be killed.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use firstout::app::App;
use firstout::clock::Clock;
use firstout::edge::standin::{Follow, Post, Standin, What};
use firstout::edge::telegram::{self, Webhook};
use firstout::store::{Store, Work};
use tokio::net::TcpListener;
use tokio::runtime::Runtime;

use crate::support::kills::{Plan, Until, run};
use crate::support::postgres;
use crate::support::proxy::Proxy;

const TOKEN: &str = "1:hush-hush";
const CODE: &str = "milk";
const SECRET: &str = "only-the-platform-knows";
/// Only a test that fails waits for this long.
const GUARD: Duration = Duration::from_secs(60);

fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 3, 9, 12, 0, 0).unwrap()
}

struct Stage {
    standin: Standin,
    url: String,
    clock: Clock,
    database: String,
}

/// One process, for as long as its runtime is there.
struct Process(Option<Runtime>);

impl Process {
    fn kill(mut self) {
        self.0.take().unwrap().shutdown_background();
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        if let Some(runtime) = self.0.take() {
            runtime.shutdown_background();
        }
    }
}

impl Stage {
    async fn new() -> Stage {
        let clock = Clock::virtual_at(noon());
        let standin = Standin::new(TOKEN, {
            let clock = clock.clone();
            move || clock.now()
        });
        let url = standin.listen().await.unwrap();
        Stage { standin, url, clock, database: postgres::database().await }
    }

    fn start(&self, webhook: Option<Webhook>) -> Process {
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
        let (database, clock, never) = (self.database.clone(), self.clock.clone(), std::future::pending());
        let settings =
            telegram::Settings { token: TOKEN.into(), url: self.url.parse().unwrap(), paced: false };
        runtime.spawn(async move {
            let app = Arc::new(App::new(Store::open(&database).await.unwrap(), CODE.into()));
            match webhook {
                None => telegram::serve(app, settings, clock, never).await,
                Some(webhook) => telegram::serve_webhook(app, settings, webhook, clock, never).await,
            }
        });
        Process(Some(runtime))
    }

    /// Waits until something is so on the platform, while the clock stands still.
    async fn until(&self, so: impl Fn(&Standin) -> bool) {
        let mut version = self.standin.version();
        let waiting = version.wait_for(|_| so(&self.standin));
        tokio::time::timeout(GUARD, waiting).await.expect("it never came to that").unwrap();
    }

    async fn at_home(&self) -> (i64, Follow) {
        let group = self.standin.group("Milk", &["Ana", "Ben"]);
        self.standin.add_bot(group, "Ana").unwrap();
        let mut follow = self.standin.follow();
        self.standin.says(group, "Ana", &format!("/start {CODE}")).unwrap();
        self.heard(&mut follow, group).await;
        (group, follow)
    }

    /// The bot's next message in a chat, while time passes slowly.
    async fn heard(&self, follow: &mut Follow, chat: i64) -> Post {
        let hearing = async {
            loop {
                let (place, post) = follow.next_post().await;
                if place == chat {
                    return post;
                }
            }
        };
        tokio::pin!(hearing);
        let mut version = self.standin.version();
        let waiting = async {
            loop {
                tokio::select! {
                    biased;
                    post = &mut hearing => return post,
                    // A while in which nothing happens: whoever waits, waits for the clock.
                    _ = tokio::time::timeout(Duration::from_millis(300), version.changed()) => {
                        self.clock.advance(TimeDelta::seconds(1));
                    }
                }
            }
        };
        tokio::time::timeout(GUARD, waiting).await.expect("the bot says nothing")
    }

    /// Everything said in these chats, once and in order, and each answered once.
    async fn check(&self, said: &[(i64, Vec<i64>)]) {
        let store = Store::open(&self.database).await.unwrap();
        for (chat, messages) in said {
            let home = store.household_of_chat(*chat).await.unwrap().unwrap();
            let entries = store.load(home).await.unwrap().unwrap().entries;
            let recorded: Vec<_> = entries.into_iter().filter_map(|row| row.entry.message).collect();
            assert_eq!(&recorded, messages);
            let posts = self.standin.posts(*chat);
            let mut answered: Vec<_> = posts.iter().filter(|p| p.by_bot).filter_map(|p| p.reply_to).collect();
            // The first is what the group was taken on by.
            assert_eq!(answered.split_off(1), *messages);
        }
    }

    async fn until_answered(&self, said: &[(i64, Vec<i64>)]) {
        let all_answered = |standin: &Standin| {
            said.iter().all(|(chat, messages)| {
                let posts = standin.posts(*chat);
                let last = messages.last().copied();
                posts.iter().any(|post| post.by_bot && post.reply_to == last)
            })
        };
        let mut version = self.standin.version();
        let waiting = async {
            while !all_answered(&self.standin) {
                if tokio::time::timeout(Duration::from_millis(300), version.changed()).await.is_err() {
                    self.clock.advance(TimeDelta::seconds(1));
                }
            }
        };
        tokio::time::timeout(GUARD, waiting).await.expect("not everything was answered");
    }

    fn say(&self, groups: &[i64], times: i64) -> Vec<(i64, Vec<i64>)> {
        let mut said: Vec<(i64, Vec<i64>)> = groups.iter().map(|group| (*group, Vec::new())).collect();
        for n in 0..times {
            for (group, messages) in &mut said {
                let text = format!("pumped {} fridge", 50 + n);
                messages.push(self.standin.says(*group, "Ana", &text).unwrap());
            }
        }
        said
    }
}

#[tokio::test]
async fn three_share_the_work_and_do_nothing_twice() {
    let stage = Stage::new().await;
    let _processes: Vec<_> = (0..3).map(|_| stage.start(None)).collect();
    let mut groups = Vec::new();
    for _ in 0..5 {
        groups.push(stage.at_home().await.0);
    }
    assert_eq!(stage.standin.pollers(), 1, "one alone gets the updates");
    let said = stage.say(&groups, 12);
    stage.until_answered(&said).await;
    stage.check(&said).await;
}

#[tokio::test]
async fn when_the_one_that_polls_dies_another_takes_over_within_half_a_minute() {
    let stage = Stage::new().await;
    let first = stage.start(None);
    let (group, mut follow) = stage.at_home().await;
    let _second = stage.start(None);
    stage.until(|s| s.sent().iter().filter(|sent| sent.what == What::Commands).count() == 2).await;
    first.kill();
    stage.until(|s| s.pollers() == 0).await;
    let died = stage.clock.now();
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    // Nobody polls until the claim has expired.
    stage.clock.advance(TimeDelta::seconds(15));
    assert_eq!((stage.standin.pollers(), stage.standin.unacknowledged() > 0), (0, true));
    stage.clock.advance_to(died + TimeDelta::seconds(30));
    let (_, receipt) = tokio::time::timeout(GUARD, follow.next_post()).await.unwrap();
    assert!(receipt.text.contains("120 ml"), "{receipt:?}");
}

#[tokio::test]
async fn a_claim_has_one_holder_until_it_expires() {
    let database = postgres::database().await;
    let (one, two) = (Store::open(&database).await.unwrap(), Store::open(&database).await.unwrap());
    let claim = async |store: &Store, chats: &[i64], now, until| {
        store.claim(Work::Handling, chats, now, until).await.unwrap()
    };
    assert_eq!(claim(&one, &[5, -7], 0, 100).await, [None, None]);
    assert_eq!(claim(&two, &[-7, 6, 5], 99, 150).await, [Some(100), None, Some(100)]);
    assert_eq!(claim(&one, &[5], 99, 200).await, [None]);
    assert_eq!(claim(&two, &[5, -7], 100, 250).await, [Some(200), None]);
    one.release(Work::Handling, -7, 101).await.unwrap();
    assert_eq!(claim(&one, &[-7], 102, 300).await, [Some(250)], "nobody gives back what is another's");
    two.release(Work::Handling, -7, 101).await.unwrap();
    assert_eq!(claim(&one, &[-7], 102, 300).await, [None]);
    assert_eq!(two.claim(Work::Sending, &[-7], 102, 300).await.unwrap(), [None]);
}

/// Where three processes take in what the platform brings.
async fn door(proxy: &Proxy, number: usize) -> Webhook {
    Webhook { url: proxy.url().parse().unwrap(), secret: SECRET.into(), listen: proxy.backend(number) }
}

#[tokio::test]
async fn what_the_platform_brings_any_of_three_takes_in() {
    let stage = Stage::new().await;
    let proxy = Proxy::start(3).await;
    let mut processes = Vec::new();
    for number in 0..3 {
        processes.push(stage.start(Some(door(&proxy, number).await)));
    }
    let (group, mut follow) = stage.at_home().await;
    processes.swap_remove(1).kill();
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    // What the one that died was about to mark as sent may be said once more.
    let said = stage.heard(&mut follow, group).await.text;
    let receipt = |text: &str| text.contains("120 ml");
    assert!(receipt(&said) || receipt(&stage.heard(&mut follow, group).await.text));
    stage.until(|s| s.unacknowledged() == 0).await;
    assert_eq!(stage.standin.pollers(), 0);
}

#[tokio::test]
async fn who_comes_without_the_secret_is_turned_away_and_leaves_nothing() {
    let stage = Stage::new().await;
    let proxy = Proxy::start(1).await;
    let _process = stage.start(Some(door(&proxy, 0).await));
    let (group, _) = stage.at_home().await;
    let message = serde_json::json!({ "message_id": 900, "date": noon().timestamp(), "text": "pumped 120 fridge",
        "chat": { "id": group, "type": "group" }, "from": { "id": 1, "is_bot": false, "first_name": "Ana" } });
    let client = reqwest::Client::new();
    let bring = async |id: i64, secret: Option<&str>, body: Option<&str>| {
        let update = serde_json::json!({ "update_id": id, "message": message }).to_string();
        let request = client.post(proxy.url()).body(body.map_or(update, str::to_owned));
        let request = match secret {
            Some(secret) => request.header("X-Telegram-Bot-Api-Secret-Token", secret),
            None => request,
        };
        request.send().await.unwrap().status().as_u16()
    };
    assert_eq!(bring(9001, None, None).await, 401);
    assert_eq!(bring(9002, Some("only-the-platform-knew5"), None).await, 401);
    assert_eq!(bring(9003, Some(""), None).await, 401);
    assert_eq!(bring(9004, Some(SECRET), Some("<html>")).await, 400);
    assert_eq!(client.get(proxy.url()).send().await.unwrap().status().as_u16(), 405);
    assert_eq!(bring(9005, Some(SECRET), None).await, 200);
    let store = Store::open(&stage.database).await.unwrap();
    // What was taken in is known again, what was turned away is not there.
    let again: Vec<_> =
        [9001, 9002, 9003, 9004, 9005].map(|id| firstout::store::InboxRow::new(id, None, "{}".into())).into();
    assert_eq!(store.receive(&again, 0).await.unwrap(), 4);
}

#[tokio::test]
async fn a_webhook_that_can_not_be_set_is_named() {
    let stage = Stage::new().await;
    let taken = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let listen = taken.local_addr().unwrap();
    let serve = async |webhook| {
        let settings =
            telegram::Settings { token: TOKEN.into(), url: stage.url.parse().unwrap(), paced: true };
        let app = Arc::new(App::new(Store::open("sqlite::memory:").await.unwrap(), CODE.into()));
        let never = std::future::pending();
        telegram::serve_webhook(app, settings, webhook, stage.clock.clone(), never)
            .await
            .unwrap_err()
            .to_string()
    };
    let webhook = |url: &str, listen| Webhook { url: url.parse().unwrap(), secret: SECRET.into(), listen };
    let error = serve(webhook("https://bot.example", listen)).await;
    assert!(error.starts_with(&format!("WEBHOOK_LISTEN: {listen}: ")), "{error}");
    let error = serve(webhook("ftp://bot.example", ([127, 0, 0, 1], 0).into())).await;
    assert_eq!(error, "WEBHOOK_URL: the platform refuses it: Bad Request: bad webhook: invalid URL");
}

#[tokio::test]
async fn any_of_three_may_be_killed() {
    for webhook in [false, true] {
        let database = postgres::database().await;
        let plan =
            Plan { seed: 2, database, processes: 3, webhook, groups: 9, messages: 5, until: Until::Kills(9) };
        let counts = run(&plan, Path::new(env!("CARGO_BIN_EXE_firstout"))).await;
        assert!(counts.sound(), "webhook {webhook}: {counts}");
    }
}
