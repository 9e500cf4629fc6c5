//! Whole households for months on a clock that is moved by hand, through the app, the store and the sender as they are. One
//! seed decides what people do, when, what the platform makes of each message, and where a write fails or the program ends.
//! After each step is checked what must always hold; the first thing that doesn't ends the run with a line that says what.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex};

use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, TimeZone, Timelike, Utc};
use firstout::app::gate::InboxRow;
use firstout::app::wire::{Body, Button, Event, Incoming, Outgoing, Sender as Person};
use firstout::app::{App, House};
use firstout::clock::Clock;
use firstout::domain::fact::Record;
use firstout::domain::household::Household;
use firstout::domain::ledger::{Container, Ledger, known_rules};
use firstout::domain::reminders;
use firstout::edge::telegram::{Messenger, Refusal, Sender};
use firstout::store::{Doing, Fortune, HouseholdId, Luck, Store};
use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use secrecy::SecretString;
use tempfile::TempDir;
use tokio::sync::watch;

type Time = DateTime<Utc>;
type Check = Result<(), String>;

#[derive(Debug, Clone, Copy)]
pub struct Options {
    pub seed: u64,
    pub days: i64,
    pub homes: usize,
    /// Of a thousand writes, questions to the database and sendings so many go wrong.
    pub faults: u32,
}

impl Options {
    /// The command that shows the same again.
    pub fn again(&self) -> String {
        let Options { seed, days, homes, faults } = self;
        format!(
            "cargo bench --bench simulator -- --worlds 1 --seed {seed} --days {days} --homes {homes} --faults {faults}"
        )
    }
}

/// What a run has seen.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Ran {
    pub messages: u64,
    pub entries: u64,
    pub reminders: u64,
    pub crashes: u64,
    pub refused: u64,
    /// Questions to the database without an answer, where it was seen.
    pub unanswered: u64,
    pub repeated: u64,
}

impl std::ops::AddAssign for Ran {
    fn add_assign(&mut self, other: Ran) {
        self.messages += other.messages;
        self.entries += other.entries;
        self.reminders += other.reminders;
        self.crashes += other.crashes;
        self.refused += other.refused;
        self.unanswered += other.unanswered;
        self.repeated += other.repeated;
    }
}

/// The households' side: what was posted, and what the platform does with the next message.
#[derive(Default)]
struct Wall {
    posts: Vec<Post>,
    /// How often each row was posted, and how often that was not told.
    posted: HashMap<i64, (u32, u32)>,
    tries: HashMap<i64, u64>,
}

#[derive(Clone)]
struct Post {
    chat: i64,
    message: i64,
    buttons: Vec<Button>,
}

struct Platform {
    seed: u64,
    faults: u32,
    wall: Mutex<Wall>,
    fate: Arc<Fate>,
}

impl Platform {
    fn post(&self, outgoing: &Outgoing, told: bool) -> Option<i64> {
        let mut wall = self.wall.lock().unwrap();
        let (times, untold) = wall.posted.entry(outgoing.id).or_default();
        *times += 1;
        *untold += u32::from(!told);
        match &outgoing.body {
            Body::Send { buttons, .. } => {
                let before = wall.posts.iter().filter(|post| post.chat == outgoing.chat).count();
                let message = 1_000_000 + before as i64;
                wall.posts.push(Post { chat: outgoing.chat, message, buttons: buttons.clone() });
                Some(message)
            }
            Body::Edit { buttons, .. } => {
                let post = wall
                    .posts
                    .iter_mut()
                    .find(|post| post.chat == outgoing.chat && Some(post.message) == outgoing.edits);
                post.into_iter().for_each(|post| post.buttons.clone_from(buttons));
                outgoing.edits
            }
            Body::Ack { .. } => None,
        }
    }
}

#[async_trait]
impl Messenger for Platform {
    async fn deliver(&self, outgoing: &Outgoing) -> Result<Option<i64>, Refusal> {
        if self.fate.is_over() {
            return std::future::pending().await;
        }
        let tries = {
            let mut wall = self.wall.lock().unwrap();
            let tries = wall.tries.entry(outgoing.chat).or_default();
            *tries += 1;
            *tries
        };
        // By chat and try, not by the order in which chats come: several may be on their way. How long to wait is always
        // told, for what the sender waits otherwise is left to chance.
        let mut dice = StdRng::seed_from_u64(self.seed ^ (outgoing.chat as u64) << 32 ^ tries);
        let wait = Refusal::TooMany(TimeDelta::seconds(dice.random_range(1..60)));
        match dice.random_range(0..1000) {
            n if n >= self.faults => Ok(self.post(outgoing, true)),
            n if n % 3 > 0 => Err(wait),
            _ => {
                self.post(outgoing, false);
                Err(wait)
            }
        }
    }
}

/// Where the database fails and where the program ends.
#[derive(Default)]
struct Fate {
    /// At so many commits from now, this.
    armed: Mutex<Option<(u32, Luck, bool)>>,
    /// After so many questions to the database one isn't answered.
    mute: Mutex<Option<u32>>,
    over: watch::Sender<bool>,
}

impl Fate {
    fn arm(&self, after: u32, luck: Luck, ends: bool) {
        *self.armed.lock().unwrap() = Some((after, luck, ends));
    }

    fn mute(&self, after: u32) {
        *self.mute.lock().unwrap() = Some(after);
    }

    /// Nothing goes wrong any more; whether a question was left without an answer.
    fn disarm(&self) -> bool {
        *self.armed.lock().unwrap() = None;
        let left = self.mute.lock().unwrap().take();
        left == Some(0)
    }

    fn is_over(&self) -> bool {
        *self.over.borrow()
    }

    /// Waits for the program's end.
    async fn ends(&self) {
        let _ = self.over.subscribe().wait_for(|over| *over).await;
    }

    fn of(&self, doing: Doing) -> Luck {
        // After its end a program writes nothing.
        if self.is_over() {
            return Luck::Refused;
        }
        match doing {
            Doing::Reading => self.question(),
            Doing::Committing => self.commit(),
        }
    }

    fn question(&self) -> Luck {
        match self.mute.lock().unwrap().as_mut() {
            Some(0) => Luck::Refused,
            Some(after) => {
                *after -= 1;
                Luck::Good
            }
            None => Luck::Good,
        }
    }

    fn commit(&self) -> Luck {
        let mut armed = self.armed.lock().unwrap();
        match armed.take() {
            Some((0, luck, ends)) => {
                if ends {
                    self.over.send_replace(true);
                }
                luck
            }
            Some((after, luck, ends)) => {
                *armed = Some((after - 1, luck, ends));
                Luck::Good
            }
            None => Luck::Good,
        }
    }
}

struct Running {
    store: Store,
    app: Arc<App>,
    sender: Sender<Platform>,
}

struct Home {
    id: HouseholdId,
    chat: i64,
    next: Time,
    said: Vec<(i64, String, Time)>,
    ledger: Ledger,
}

struct World {
    options: Options,
    dice: StdRng,
    url: String,
    clock: Clock,
    platform: Arc<Platform>,
    fate: Arc<Fate>,
    running: Option<Running>,
    homes: Vec<Home>,
    /// Every update so far, by id.
    updates: HashMap<i64, Incoming>,
    ran: Ran,
    _dir: TempDir,
}

const TEXTS: [&str; 44] = [
    "pumped {ml} fridge",
    "pumped {ml} fridge",
    "pumped {ml} room",
    "pumped {ml} freezer",
    "pumped {ml}",
    "pumped left 60 right 50, fridge",
    "pumped {ml} and {ml} freezer",
    "pumped {ml} fridge 2 hours ago",
    "fed {ml}",
    "fed {ml}",
    "fed {ml} left 20",
    "fed {ml} left 30 fridge",
    "fed {ml} an hour ago",
    "fed #{n}",
    "fed {ml} from #{n}",
    "nursed left 12 min",
    "formula {ml}",
    "warmed #{n}",
    "thaw #{n} in the fridge",
    "thaw the oldest",
    "took 2 out of the freezer",
    "#{n} is fully thawed just now",
    "moved #{n} to the freezer",
    "moved #{n} to the fridge",
    "froze #{n}",
    "combined #{n} and #{m}",
    "split #{n} into 40 and 40",
    "tossed #{n}",
    "tossed 30 from #{n}",
    "hold #{n}",
    "release #{n}",
    "sent #{n} to daycare",
    "#{n} came back",
    "donated #{n}",
    "power was out since 2 hours ago",
    "#{n} still has ice crystals",
    "count freezer",
    "undo",
    "sorry {ml}",
    "how much is there?",
    "what's next?",
    "quiet 22:00-06:00",
    "pause until tomorrow",
    "can you bring bread on the way home?",
];

/// Runs one world; what it saw, or what didn't hold.
pub async fn simulate(options: Options) -> Result<Ran, String> {
    let mut world = World::begin(options).await;
    let end = world.clock.now() + TimeDelta::days(options.days);
    let mut steps = 0u64;
    while world.clock.now() < end {
        world.step().await.map_err(|what| format!("{}: {what}", world.clock.now()))?;
        steps += 1;
        if steps.is_multiple_of(200) {
            world.refold().await?;
        }
    }
    world.settle_all().await?;
    world.refold().await?;
    Ok(world.ran)
}

impl World {
    async fn begin(options: Options) -> World {
        let dir = TempDir::new().unwrap();
        let start = Utc.with_ymd_and_hms(2027, 3, 1, 8, 0, 0).unwrap();
        let fate = Arc::new(Fate::default());
        let platform = Platform {
            seed: options.seed,
            faults: options.faults,
            wall: Mutex::default(),
            fate: fate.clone(),
        };
        let mut world = World {
            options,
            dice: StdRng::seed_from_u64(options.seed),
            url: format!("sqlite:{}/world.db", dir.path().display()),
            clock: Clock::virtual_at(start),
            platform: Arc::new(platform),
            fate,
            running: None,
            homes: Vec::new(),
            updates: HashMap::new(),
            ran: Ran::default(),
            _dir: dir,
        };
        world.start().await;
        for n in 0..options.homes {
            world.settle_in(n, start).await;
        }
        world
    }

    async fn settle_in(&mut self, n: usize, start: Time) {
        let mut household = Household::default();
        let rules = ["us-cdc", "us-aap", "uk-nhs"];
        let zones = ["America/New_York", "Europe/Madrid", "Asia/Kolkata"];
        let wishes = [
            ("rules", *rules.choose(&mut self.dice).unwrap()),
            ("zone", *zones.choose(&mut self.dice).unwrap()),
            ("need", "3 x 100"),
        ];
        for (key, value) in wishes {
            // A set of that name may not be there; then it is as it begins.
            let _ = household.set(key, value, &known_rules);
        }
        let chat = -100 - n as i64;
        let id = self.running.as_ref().unwrap().app.take_on(chat, &household, start).await.unwrap();
        let next = start + TimeDelta::minutes(self.dice.random_range(1..60));
        self.homes.push(Home { id, chat, next, said: Vec::new(), ledger: Ledger::new(household) });
    }

    async fn start(&mut self) {
        self.running = None;
        self.fate.disarm();
        self.fate.over.send_replace(false);
        let fate = self.fate.clone();
        let fortune = Fortune(Arc::new(move |doing| fate.of(doing)));
        let store = Store::open_with(&self.url, Some(fortune)).await.unwrap();
        let app = Arc::new(App::new(store.clone(), SecretString::from("code")));
        let sender = Sender::new(app.clone(), self.platform.clone(), self.clock.clone(), true);
        self.running = Some(Running { store, app, sender });
    }

    fn running(&self) -> &Running {
        self.running.as_ref().unwrap()
    }

    /// The next thing that happens, and all that follows from it at once.
    async fn step(&mut self) -> Check {
        let more = self.send().await?;
        let wake = self.running().app.next_wake().await.map_err(|e| e.to_string())?;
        let acts = self.homes.iter().map(|home| home.next).min();
        let next = [more, wake, acts].into_iter().flatten().min().unwrap();
        self.clock.advance_to(next);
        let now = self.clock.now();
        if wake.is_some_and(|at| at <= now) {
            self.tick(now).await?;
        }
        for n in 0..self.homes.len() {
            if self.homes[n].next <= now {
                self.act(n, now).await?;
            }
            self.nothing_missed(n, now).await?;
        }
        Ok(())
    }

    /// Now and then the next writes go wrong, or the next questions to the database.
    fn arm(&mut self) {
        if self.dice.random_range(0..1000) < self.options.faults {
            self.fate.mute(self.dice.random_range(0..4));
        }
        if self.dice.random_range(0..1000) >= self.options.faults {
            return;
        }
        let luck = if self.dice.random_bool(0.5) { Luck::Refused } else { Luck::Unsure };
        let after = self.dice.random_range(0..3);
        self.fate.arm(after, luck, self.dice.random_bool(0.5));
    }

    async fn tick(&mut self, now: Time) -> Check {
        // What goes wrong is tried again, as the scheduler does.
        for _ in 0..3 {
            self.arm();
            let Running { app, .. } = self.running();
            let (app, fate) = (app.clone(), self.fate.clone());
            tokio::select! {
                biased;
                () = fate.ends() => {}
                _ = app.tick(now) => {}
            }
            self.fate.disarm();
            if self.fate.is_over() {
                self.ran.crashes += 1;
                self.start().await;
            }
            let wake = self.running().app.next_wake().await.map_err(|e| e.to_string())?;
            if wake.is_none_or(|at| at > now) {
                return Ok(());
            }
        }
        self.running().app.tick(now).await.map_err(|e| e.to_string())?;
        match self.running().app.next_wake().await.map_err(|e| e.to_string())? {
            Some(at) if at <= now => Err(format!("what was due at {at} is not said")),
            _ => Ok(()),
        }
    }

    async fn send(&mut self) -> Result<Option<Time>, String> {
        // With several chats at a time it is left to chance which of them comes first to the database.
        let alone = self.options.homes == 1;
        if alone && self.dice.random_range(0..1000) < self.options.faults {
            let luck = if self.dice.random_bool(0.5) { Luck::Refused } else { Luck::Unsure };
            self.fate.arm(self.dice.random_range(0..2), luck, true);
        } else if alone && self.dice.random_range(0..1000) < self.options.faults {
            self.fate.mute(self.dice.random_range(0..3));
        }
        let fate = self.fate.clone();
        let sent = tokio::select! {
            biased;
            () = fate.ends() => None,
            sent = self.running.as_mut().unwrap().sender.send_ready() => Some(sent),
        };
        let unanswered = self.fate.disarm();
        if let Some(sent) = sent {
            self.nothing_twice()?;
            return match sent {
                Err(_) if unanswered => {
                    self.ran.unanswered += 1;
                    Ok(Some(self.clock.now()))
                }
                sent => sent.map_err(|e| e.to_string()),
            };
        }
        self.ran.crashes += 1;
        self.start().await;
        // What had been posted and wasn't marked when the program ended is posted again.
        let left = self.running().store.outgoing_after(0).await.map_err(|e| e.to_string())?;
        let mut wall = self.platform.wall.lock().unwrap();
        for row in left {
            wall.posted.entry(row.id).and_modify(|(times, untold)| *untold = *times);
        }
        Ok(Some(self.clock.now()))
    }

    fn nothing_twice(&self) -> Check {
        let wall = self.platform.wall.lock().unwrap();
        match wall.posted.iter().find(|(_, (times, untold))| *times > untold + 1) {
            Some((id, (times, _))) => Err(format!("outbox row {id} was sent {times} times")),
            None => Ok(()),
        }
    }

    async fn act(&mut self, n: usize, now: Time) -> Check {
        let event = self.event(n, now);
        let home = &mut self.homes[n];
        // People sleep, most of the time.
        let minutes = if (4..20).contains(&now.hour()) { 15..120 } else { 120..360 };
        home.next = now + TimeDelta::minutes(self.dice.random_range(minutes));
        let update = self.updates.len() as i64 + 1;
        let (id, name) = if self.dice.random_bool(0.6) { (1, "Ana") } else { (2, "Ben") };
        let chat = home.chat;
        let from = Some(Person { id, name: name.into() });
        self.updates.insert(update, Incoming { update, chat, private: false, at: now, from, event });
        self.ran.messages += 1;
        let row = InboxRow::new(update, Some(chat), "{}".into());
        self.running()
            .app
            .receive(std::slice::from_ref(&row), now.timestamp_millis())
            .await
            .map_err(|e| e.to_string())?;
        self.handle_waiting().await?;
        // The platform may bring it again.
        if self.dice.random_bool(0.05) {
            self.ran.repeated += 1;
            self.running().app.receive(&[row], now.timestamp_millis()).await.map_err(|e| e.to_string())?;
            self.handle_waiting().await?;
        }
        self.look(n, now).await
    }

    fn event(&mut self, n: usize, now: Time) -> Event {
        let message = self.updates.len() as i64 + 1;
        let chat = self.homes[n].chat;
        let dice = &mut self.dice;
        let posts: Vec<Post> = {
            let wall = self.platform.wall.lock().unwrap();
            wall.posts.iter().rev().filter(|post| post.chat == chat).take(4).cloned().collect()
        };
        if dice.random_bool(0.2)
            && let Some(post) = posts.choose(dice)
            && let Some(button) = post.buttons.choose(dice)
        {
            return Event::Tapped {
                message: post.message,
                data: button.data.clone(),
                tap: message.to_string(),
            };
        }
        let existing: Vec<u32> = self.homes[n].ledger.stock().existing().map(|c| c.code).collect();
        let text = text(dice, &existing);
        let said = &mut self.homes[n].said;
        if dice.random_bool(0.05)
            && let Some((id, _, sent)) = said.iter().rev().take(5).collect::<Vec<_>>().choose(dice)
        {
            return Event::Edited { message: *id, text, sent: *sent };
        }
        let reply_to = posts.choose(dice).filter(|_| dice.random_bool(0.1)).map(|post| post.message);
        said.push((message, text.clone(), now));
        Event::Text { message, text, reply_to }
    }

    /// What lies in the inbox, in order, as a lane does it.
    async fn handle_waiting(&mut self) -> Check {
        for _ in 0..20 {
            let waiting = self.running().store.waiting().await.map_err(|e| e.to_string())?;
            let Some(row) = waiting.first() else { return Ok(()) };
            let incoming = self.updates[&row.update].clone();
            self.arm();
            let (app, fate) = (self.running().app.clone(), self.fate.clone());
            let how = tokio::select! {
                biased;
                () = fate.ends() => None,
                how = app.handle(&incoming) => Some(how),
            };
            let unanswered = self.fate.disarm();
            if self.fate.is_over() {
                self.ran.crashes += 1;
                self.start().await;
                continue;
            }
            match how {
                Some(Err(error)) if error.is_passing() && unanswered => self.ran.unanswered += 1,
                Some(Err(error)) if error.is_passing() => self.ran.refused += 1,
                Some(Err(error)) if !error.is_done() => {
                    return Err(format!("{incoming:?} could not be handled: {error}"));
                }
                _ => {}
            }
        }
        Err("an update can't be handled, however often it is tried".into())
    }

    /// Compares a household with what it was before somebody did something in it.
    async fn look(&mut self, n: usize, now: Time) -> Check {
        for (m, home) in self.homes.iter_mut().enumerate() {
            let ledger =
                self.running.as_ref().unwrap().app.ledger(home.id).await.map_err(|e| e.to_string())?;
            if m != n && ledger.stock() != home.ledger.stock() {
                return Err(format!("what was said in another household changed household {}", home.id.0));
            }
            if !ledger.stock().adds_up() {
                return Err(format!("the books of household {} don't add up", home.id.0));
            }
            // A correction may do what new facts may not.
            if m == n && is_told_in_order(&home.ledger, &ledger) {
                for before in home.ledger.stock().ever() {
                    let after = ledger.stock().get(before.code);
                    let after = after.ok_or_else(|| format!("#{} is on no books any more", before.code))?;
                    only_gets_older(before, after, now)?;
                }
            }
            home.ledger = ledger;
        }
        Ok(())
    }

    /// Whatever is due has been said, and the store knows when to wake for the rest.
    async fn nothing_missed(&mut self, n: usize, now: Time) -> Check {
        let home = &self.homes[n];
        let app = &self.running().app;
        let ledger = app.ledger(home.id).await.map_err(|e| e.to_string())?;
        let due = reminders::due(&ledger, now);
        let wake = app.next_wake().await.map_err(|e| e.to_string())?;
        match due.first() {
            Some(due) if wake.is_none_or(|at| at > now) => {
                Err(format!("{due:?} is due and nobody wakes for it"))
            }
            _ => Ok(()),
        }
    }

    /// All that may still be sent is sent.
    async fn settle_all(&mut self) -> Check {
        self.options.faults = 0;
        for _ in 0..10_000 {
            match self.send().await? {
                Some(next) => self.clock.advance_to(next),
                None => break,
            }
        }
        let left = self.running().store.outgoing().await.map_err(|e| e.to_string())?;
        if left.is_empty() { Ok(()) } else { Err(format!("never sent: {left:?}")) }
    }

    /// What is in memory is what is in the store, and what is in the store is complete.
    async fn refold(&mut self) -> Check {
        for home in &self.homes {
            let Running { store, app, .. } = self.running();
            let kept = app.ledger(home.id).await.map_err(|e| e.to_string())?;
            let house = House::load(store, home.id).await.map_err(|e| e.to_string())?;
            if kept.stock() != house.ledger.stock() || kept.next_seq() != house.ledger.next_seq() {
                return Err(format!("household {} in memory is not what the store holds", home.id.0));
            }
            self.recorded_once(home).await?;
        }
        let (mut entries, mut told) = (0, 0);
        for home in &self.homes {
            let loaded = self.running().store.load(home.id).await.map_err(|e| e.to_string())?.unwrap();
            entries += loaded.entries.len() as u64;
            told += loaded.entries.iter().filter(|e| e.entry.fact.contains("reminded")).count() as u64;
        }
        (self.ran.entries, self.ran.reminders) = (entries, told);
        Ok(())
    }

    async fn recorded_once(&self, home: &Home) -> Check {
        let loaded = self.running().store.load(home.id).await.map_err(|e| e.to_string())?.unwrap();
        let mut messages = HashSet::new();
        let mut told = HashSet::new();
        for row in loaded.entries {
            match serde_json::from_str::<Record>(&row.entry.fact).map_err(|e| e.to_string())? {
                Record::Said { .. } if row.entry.message.is_some_and(|m| !messages.insert(m)) => {
                    return Err(format!("message {:?} is recorded twice", row.entry.message));
                }
                Record::Reminded(reminder) => {
                    for code in reminder.codes.iter().filter(|(_, by)| by.is_some()) {
                        if !told.insert((*code, reminder.why, reminder.stage)) {
                            return Err(format!("{reminder:?} is said twice"));
                        }
                    }
                }
                _ => {}
            }
        }
        Ok(())
    }
}

fn text(dice: &mut StdRng, existing: &[u32]) -> String {
    let template = *TEXTS.choose(dice).unwrap();
    let code = |dice: &mut StdRng| existing.choose(dice).copied().unwrap_or(1).to_string();
    let (n, m) = (code(dice), code(dice));
    let ml = (dice.random_range(3..16) * 10).to_string();
    template.replace("{ml}", &ml).replace("{n}", &n).replace("{m}", &m)
}

/// Nothing was corrected or set, and nothing told of the past.
fn is_told_in_order(before: &Ledger, after: &Ledger) -> bool {
    let new: Vec<_> = after.newest_first().take_while(|said| said.seq >= before.next_seq()).collect();
    let told = after.next_seq() - before.next_seq();
    let end = before.newest_first().flat_map(|said| said.facts.iter().map(|f| f.at)).max();
    told == new.len() as i64
        && new.iter().all(|said| said.facts.iter().all(|f| end.is_none_or(|end| f.at >= end)))
}

/// What may not change for the better when something new is told in order.
fn only_gets_older(before: &Container, after: &Container, at: Time) -> Check {
    let no_later = |b: Option<Time>, a: Option<Time>| b.is_none_or(|b| a.is_some_and(|a| a <= b));
    let (b, a) = (&before.life, &after.life);
    let rules = [
        (a.state >= b.state || !before.exists(), "its state went back"),
        (no_later(b.first_frozen, a.first_frozen), "frozen later"),
        (no_later(b.left_freezer, a.left_freezer), "left the freezer later"),
        (no_later(b.warmed, a.warmed), "warmed later"),
        (no_later(b.feed_began, a.feed_began), "drunk from later"),
        (b.expressed.is_none() || a.expressed.is_none() || no_later(b.expressed, a.expressed), "younger"),
        (!before.is_past(at) || after.is_past(at), "a use-by that had passed came back"),
    ];
    match rules.iter().find(|(holds, _)| !holds) {
        Some((_, what)) => Err(format!("#{}: {what}: {before:?} became {after:?}", before.code)),
        None => Ok(()),
    }
}
