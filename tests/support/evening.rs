//! An evening at which the plans of many households fall due in the same second in which milk runs out for others and people
//! ask: the app, the outbox and the sender as they are, on a clock that is moved by hand. The platform takes every message
//! at once; its limits are the sender's to keep.

use std::sync::{Arc, Mutex};

use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use firstout::app::App;
use firstout::app::gate::InboxRow;
use firstout::app::wire::{Class, Event, Incoming, Outgoing, Sender as Person};
use firstout::clock::Clock;
use firstout::domain::fact::Record;
use firstout::domain::household::Household;
use firstout::domain::ledger::known_rules;
use firstout::edge::telegram::{Messenger, Refusal, Sender};
use firstout::store::Store;
use secrecy::SecretString;
use sqlx::{AnyConnection, Connection};
use tempfile::TempDir;

type Time = DateTime<Utc>;

pub struct Size {
    /// Households whose plan falls due.
    pub plans: i64,
    /// Households whose milk runs out in that second.
    pub urgent: i64,
    /// How many people ask in each second, for how many seconds.
    pub asked: (i64, i64),
}

/// How long each was on its way: from its moment until the platform had it.
#[derive(Debug, Default)]
pub struct Told {
    pub urgent: Vec<TimeDelta>,
    pub answers: Vec<TimeDelta>,
    pub plans: Vec<TimeDelta>,
    /// When everything was sent.
    pub sent: Vec<(Time, i64)>,
}

/// Groups have negative ids.
const PLANS: i64 = 0;
const URGENT: i64 = -2_000_000;
const ASKING: i64 = -3_000_000;

fn evening() -> Time {
    Utc.with_ymd_and_hms(2027, 3, 9, 20, 0, 0).unwrap()
}

/// Hears everything at once, and notes when.
struct Ear {
    clock: Clock,
    heard: Mutex<Vec<(Time, i64, Class)>>,
}

#[async_trait]
impl Messenger for Ear {
    async fn deliver(&self, outgoing: &Outgoing) -> Result<Option<i64>, Refusal> {
        self.heard.lock().unwrap().push((self.clock.now(), outgoing.chat, outgoing.class));
        Ok(Some(outgoing.id))
    }
}

struct Town {
    app: Arc<App>,
    clock: Clock,
    ear: Arc<Ear>,
    sender: Sender<Ear>,
    update: i64,
    /// When each question was asked, by chat.
    asked: Vec<(Time, i64)>,
}

pub async fn evening_of(size: &Size) -> Told {
    let dir = TempDir::new().unwrap();
    let database = format!("sqlite:{}/evening.db", dir.path().display());
    let store = Store::open(&database).await.unwrap();
    plan_for(&database, size.plans).await;
    let clock = Clock::virtual_at(evening() - TimeDelta::hours(4));
    let ear = Arc::new(Ear { clock: clock.clone(), heard: Mutex::default() });
    let app = Arc::new(App::new(store, SecretString::from("code")));
    let sender = Sender::new(app.clone(), ear.clone(), clock.clone(), true);
    let mut town = Town { app, clock, ear, sender, update: 0, asked: Vec::new() };
    for n in 0..size.urgent {
        town.hear(URGENT - n, "pumped 100 room").await;
    }
    town.pass_until(evening() - TimeDelta::seconds(1), (0, 0)).await;
    town.ear.heard.lock().unwrap().clear();
    town.pass_until(evening() + TimeDelta::hours(1), size.asked).await;
    town.told()
}

/// Households with a need, that have written before: made by SQL, for there are many.
async fn plan_for(database: &str, plans: i64) {
    const HOMES: &str = "INSERT INTO household (id, settings, seq, wake, created) \
        WITH RECURSIVE n(id) AS (SELECT 1 UNION ALL SELECT id + 1 FROM n WHERE id < $1) \
        SELECT 1000000 + id, $2, 1, $3, 0 FROM n";
    const CHATS: &str = "INSERT INTO chat (id, household, connected) SELECT $1 - id, id, 1 FROM household";
    const ENTRIES: &str = "INSERT INTO ledger (household, seq, happened, recorded, version, fact) \
        SELECT id, 1, $1, $1, 1, $2 FROM household";
    let mut settings = Household::default();
    for (key, value) in [("need", "3 x 120"), ("plan at", "20:00")] {
        settings.set(key, value, &known_rules).unwrap();
    }
    let settings = serde_json::to_string(&settings).unwrap();
    let began = (evening() - TimeDelta::days(9)).timestamp_millis();
    let mut db = AnyConnection::connect(database).await.unwrap();
    let homes = sqlx::query(HOMES).bind(plans).bind(settings).bind(evening().timestamp_millis());
    homes.execute(&mut db).await.unwrap();
    sqlx::query(CHATS).bind(PLANS).execute(&mut db).await.unwrap();
    let entry = serde_json::to_string(&Record::Resumed).unwrap();
    sqlx::query(ENTRIES).bind(began).bind(entry).execute(&mut db).await.unwrap();
}

impl Town {
    async fn hear(&mut self, chat: i64, text: &str) {
        self.update += 1;
        let (update, at) = (self.update, self.clock.now());
        self.app.take_on(chat, &Household::default(), at).await.unwrap();
        let row = InboxRow::new(update, Some(chat), "{}".into());
        self.app.receive(&[row], at.timestamp_millis()).await.unwrap();
        let event = Event::Text { message: update, text: text.into(), reply_to: None };
        let from = Some(Person { id: 7, name: "Ana".into() });
        self.app.handle(&Incoming { update, chat, private: false, at, from, event }).await.unwrap();
    }

    /// Lets time pass from one thing that happens to the next; in each second so many people ask, for so many seconds.
    async fn pass_until(&mut self, end: Time, (asking, seconds): (i64, i64)) {
        let questions = asking * seconds;
        let mut asked = 0;
        let due =
            |n: i64| (n < questions).then(|| evening() + TimeDelta::milliseconds(n * 1000 / asking.max(1)));
        loop {
            let now = self.clock.now();
            while due(asked).is_some_and(|at| at <= now) {
                let chat = ASKING - asked;
                self.hear(chat, "how much is there?").await;
                self.asked.push((now, chat));
                asked += 1;
            }
            let next = [self.work(now).await, due(asked)].into_iter().flatten().min();
            let Some(next) = next.filter(|next| *next <= end) else { break };
            self.clock.advance_to(next);
        }
        self.clock.advance_to(end);
    }

    /// Does all that can be done now; when there will be more.
    async fn work(&mut self, now: Time) -> Option<Time> {
        if self.app.next_urgent().await.unwrap().is_some_and(|at| at <= now) {
            self.app.tick_urgent(now).await.unwrap();
        }
        if self.app.next_wake().await.unwrap().is_some_and(|at| at <= now) {
            self.app.tick(now).await.unwrap();
        }
        let wake = self.app.next_wake().await.unwrap();
        let more = self.sender.send_ready().await.unwrap();
        [wake, more].into_iter().flatten().filter(|at| *at > now).min()
    }

    fn told(self) -> Told {
        let mut told = Told::default();
        for (at, chat, class) in self.ear.heard.lock().unwrap().iter().copied() {
            told.sent.push((at, chat));
            match chat {
                chat if chat <= ASKING => {
                    let asked = self.asked.iter().find(|(_, by)| *by == chat).map(|(asked, _)| *asked);
                    told.answers.push(at - asked.unwrap());
                }
                chat if chat <= URGENT => {
                    assert_eq!(class, Class::Urgent);
                    told.urgent.push(at - evening());
                }
                _ => told.plans.push(at - evening()),
            }
        }
        told
    }
}
