//! The program, killed with SIGKILL at random moments while families talk with it, over and over; then what became of
//! every message is counted. The processes are real, the platform is the stand-in over HTTP, the moments come from one seed.
//! Each process is started again at once; the families go on talking all the while.

use std::collections::{HashMap, HashSet};
use std::fmt;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use firstout::clock::Clock;
use firstout::edge::standin::{Sent, Standin, What};
use firstout::store::Store;
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use tempfile::TempDir;

use super::proxy::Proxy;

const TOKEN: &str = "1:hush-hush";
const CODE: &str = "milk";
const SECRET: &str = "only-the-platform-knows";
/// Milk in the room is spoken of 50 minutes before its four hours are over. A message of the past, from the platform's
/// side, lets that come in seconds.
const REMINDED_AFTER: TimeDelta = TimeDelta::minutes(190);
const REMINDED_IN: TimeDelta = TimeDelta::seconds(3);
/// How long nothing may arrive, once nobody is killed any more, before the rest is taken for lost.
const PATIENCE: TimeDelta = TimeDelta::seconds(70);
/// How long a process may take to make itself known.
const START: Duration = Duration::from_secs(20);

pub struct Plan {
    pub seed: u64,
    pub database: String,
    pub processes: usize,
    pub webhook: bool,
    pub groups: usize,
    /// Messages between two kills.
    pub messages: usize,
    pub until: Until,
}

#[derive(Clone, Copy)]
#[allow(dead_code, reason = "the tests go by kills alone")]
pub enum Until {
    Kills(usize),
    Minutes(i64),
}

/// What was said to the bot, and must be found again.
struct Said {
    chat: i64,
    message: i64,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    /// Is recorded and answered.
    Pumped,
    /// Is recorded and answered, and seconds later there is a reminder.
    Counter,
    /// Is answered.
    Question,
}

#[derive(Debug, Default)]
pub struct Counts {
    pub seed: u64,
    pub kills: usize,
    pub seconds: f64,
    pub said: usize,
    pub to_record: usize,
    pub recorded: usize,
    pub recorded_twice: usize,
    pub answered: usize,
    pub repeated: usize,
    /// The most repeats in one chat after one kill.
    pub worst: usize,
    pub due: usize,
    pub reminded: usize,
    /// Processes that ended although nobody killed them.
    pub ended: usize,
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "seed {}: {} kills in {:.0} s", self.seed, self.kills, self.seconds)?;
        writeln!(f, "messages sent {}, answered {}", self.said, self.answered)?;
        writeln!(
            f,
            "to be recorded {}, recorded once {}, twice {}",
            self.to_record, self.recorded, self.recorded_twice
        )?;
        writeln!(f, "repeated answers {}, at most {} a chat and kill", self.repeated, self.worst)?;
        writeln!(f, "reminders due {}, delivered {}", self.due, self.reminded)?;
        write!(f, "processes that ended by themselves {}", self.ended)
    }
}

impl Counts {
    /// Nothing lost, nothing recorded twice, no chat told something more than once again for a kill.
    pub fn sound(&self) -> bool {
        self.said > 0
            && self.answered == self.said
            && self.recorded == self.to_record
            && self.recorded_twice == 0
            && self.worst <= 1
            && self.reminded == self.due
            && self.ended == 0
    }
}

/// Plays the whole of it and counts.
pub async fn run(plan: &Plan, program: &Path) -> Counts {
    let mut play = Play::begin(plan, program).await;
    let began = play.clock.now();
    let over = |kills: usize, now: DateTime<Utc>| match plan.until {
        Until::Kills(most) => kills >= most,
        Until::Minutes(minutes) => now - began >= TimeDelta::minutes(minutes),
    };
    while !over(play.kills, play.clock.now()) {
        play.talk(plan.messages).await;
        play.kill_one();
        play.see_it_start().await;
    }
    play.settle().await;
    let mut counts = play.count().await;
    counts.seed = plan.seed;
    counts.seconds = (play.clock.now() - began).as_seconds_f64();
    play.end();
    counts
}

struct Play {
    random: StdRng,
    clock: Clock,
    standin: Standin,
    /// How far in the past, in milliseconds, the platform's clock is for what is said now.
    past: Arc<AtomicI64>,
    stage: Stage,
    children: Vec<Child>,
    groups: Vec<i64>,
    said: Vec<Said>,
    kills: usize,
    ended: usize,
}

/// What a process needs to start.
struct Stage {
    program: PathBuf,
    dir: TempDir,
    url: String,
    database: String,
    proxy: Option<Proxy>,
}

impl Play {
    async fn begin(plan: &Plan, program: &Path) -> Play {
        let (clock, past) = (Clock::system(), Arc::new(AtomicI64::new(0)));
        let standin = Standin::new(TOKEN, {
            let (clock, past) = (clock.clone(), past.clone());
            move || clock.now() - TimeDelta::milliseconds(past.load(Ordering::Relaxed))
        });
        let dir = TempDir::new().unwrap();
        let database = match plan.database.as_str() {
            "sqlite" => format!("sqlite:{}/firstout.db", dir.path().display()),
            other => other.to_owned(),
        };
        let proxy = if plan.webhook { Some(Proxy::start(plan.processes).await) } else { None };
        let url = standin.listen().await.unwrap();
        let stage = Stage { program: program.into(), dir, url, database, proxy };
        let children = (0..plan.processes).map(|n| stage.start(n)).collect();
        let mut play = Play {
            random: StdRng::seed_from_u64(plan.seed),
            clock,
            standin,
            past,
            stage,
            children,
            groups: Vec::new(),
            said: Vec::new(),
            kills: 0,
            ended: 0,
        };
        play.take_on(plan.groups).await;
        play
    }

    /// Nobody is killed before all groups are taken on.
    async fn take_on(&mut self, groups: usize) {
        for _ in 0..groups {
            let group = self.standin.group("Milk", &["Ana", "Ben"]);
            self.standin.add_bot(group, "Ana").unwrap();
            self.standin.says(group, "Ana", &format!("/start {CODE}")).unwrap();
            self.groups.push(group);
        }
        let welcomed = |s: &Standin, groups: &[i64]| {
            groups.iter().all(|group| s.posts(*group).iter().any(|post| post.by_bot))
        };
        let (standin, groups) = (self.standin.clone(), self.groups.clone());
        self.until(move || welcomed(&standin, &groups)).await;
    }

    /// Waits until something is so; looks whenever the platform changes.
    async fn until(&self, so: impl Fn() -> bool) -> bool {
        let mut version = self.standin.version();
        let waiting = version.wait_for(|_| so());
        tokio::time::timeout(START, waiting).await.is_ok()
    }

    /// Mostly a process is let start before it is killed again; now and then it is killed while it does.
    async fn see_it_start(&mut self) {
        let starts = starts(&self.standin.sent());
        let standin = self.standin.clone();
        if self.random.random_range(0..10) > 0 {
            self.until(move || starts < self::starts(&standin.sent())).await;
        }
    }

    /// Lets a random while pass: so many milliseconds, or so many things that happen on the platform.
    async fn pause(&mut self, most_ms: u64) {
        let mut version = self.standin.version();
        let seen = *version.borrow_and_update();
        let steps = self.random.random_range(1..60);
        let span = Duration::from_millis(self.random.random_range(0..=most_ms));
        let _ = tokio::time::timeout(span, version.wait_for(|now| *now >= seen + steps)).await;
    }

    async fn talk(&mut self, messages: usize) {
        for _ in 0..messages {
            self.say_something();
            self.pause(80).await;
        }
    }

    fn say_something(&mut self) {
        let chat = self.groups[self.random.random_range(0..self.groups.len())];
        let ml = self.random.random_range(30..200);
        let (kind, text, past) = match self.random.random_range(0..10) {
            0 => (Kind::Counter, format!("pumped {ml}, on the counter"), REMINDED_AFTER - REMINDED_IN),
            1 => (Kind::Question, "how much do we have?".to_owned(), TimeDelta::zero()),
            _ => (Kind::Pumped, format!("pumped {ml} fridge"), TimeDelta::zero()),
        };
        self.past.store(past.num_milliseconds(), Ordering::Relaxed);
        let message = self.standin.says(chat, "Ana", &text).unwrap();
        self.past.store(0, Ordering::Relaxed);
        self.said.push(Said { chat, message, kind });
    }

    fn kill_one(&mut self) {
        let one = self.random.random_range(0..self.children.len());
        let child = &mut self.children[one];
        if child.try_wait().unwrap().is_some() {
            self.ended += 1;
        }
        child.kill().unwrap();
        child.wait().unwrap();
        self.kills += 1;
        self.children[one] = self.stage.start(one);
    }

    /// Waits for all that is still to come, for as long as anything comes.
    async fn settle(&self) {
        let (mut most, mut since) = (0, self.clock.now());
        while self.clock.now() - since < PATIENCE {
            let seen = Seen::of(&self.standin, &self.groups);
            let there = self.said.iter().filter(|said| seen.is_done(said)).count();
            if there == self.said.len() && self.standin.unacknowledged() == 0 {
                return;
            }
            if there > most {
                (most, since) = (there, self.clock.now());
            }
            // A look at everything is dear; one a second is enough.
            let _ = tokio::time::timeout(Duration::from_secs(1), std::future::pending::<()>()).await;
        }
    }

    async fn count(&mut self) -> Counts {
        let seen = Seen::of(&self.standin, &self.groups);
        let mut counts = Counts { kills: self.kills, said: self.said.len(), ..Counts::default() };
        counts.answered = self.said.iter().filter(|said| seen.is_answered(said)).count();
        let counters = self.said.iter().filter(|said| said.kind == Kind::Counter);
        counts.due = counters.clone().count();
        counts.reminded = counters.filter(|said| seen.is_reminded(said)).count();
        self.count_repeats(&mut counts);
        self.count_records(&mut counts).await;
        let running = self.children.iter_mut().filter_map(|child| child.try_wait().unwrap());
        counts.ended = self.ended + running.count();
        counts
    }

    /// A message of the bot's that a chat has got already: the one before is what a kill left unmarked. What a process
    /// had on its way arrives until the next one makes itself known.
    fn count_repeats(&self, counts: &mut Counts) {
        let mut last: HashMap<(i64, String), usize> = HashMap::new();
        let mut after: HashMap<(i64, usize), usize> = HashMap::new();
        let mut life = 0;
        for sent in self.standin.sent() {
            match sent.what {
                What::Commands => life += 1,
                What::Message(post) => {
                    let same = format!("{:?} {}", post.reply_to, post.text);
                    if let Some(before) = last.insert((sent.chat, same), life) {
                        *after.entry((sent.chat, before)).or_default() += 1;
                        counts.repeated += 1;
                    }
                }
                _ => {}
            }
        }
        counts.worst = after.values().copied().max().unwrap_or_default();
    }

    async fn count_records(&self, counts: &mut Counts) {
        let store = Store::open(&self.stage.database).await.unwrap();
        let mut times: HashMap<(i64, i64), usize> = HashMap::new();
        for chat in &self.groups {
            let home = store.household_of_chat(*chat).await.unwrap().unwrap();
            for entry in store.load(home).await.unwrap().unwrap().entries {
                if let Some(message) = entry.entry.message {
                    *times.entry((*chat, message)).or_default() += 1;
                }
            }
        }
        let to_record = self.said.iter().filter(|said| said.kind != Kind::Question);
        for said in to_record {
            counts.to_record += 1;
            match times.get(&(said.chat, said.message)) {
                None => {}
                Some(1) => counts.recorded += 1,
                Some(_) => counts.recorded_twice += 1,
            }
        }
    }

    fn end(&mut self) {
        for child in &mut self.children {
            child.kill().unwrap();
            child.wait().unwrap();
        }
    }
}

impl Stage {
    /// The program itself, with nothing of our environment but what is given.
    fn start(&self, number: usize) -> Child {
        let path = self.dir.path().join(format!("log-{number}"));
        let log = File::options().create(true).append(true).open(path).unwrap();
        let mut command = Command::new(&self.program);
        command.arg("serve").env_clear().current_dir(self.dir.path());
        command.env("TELEGRAM_TOKEN", TOKEN).env("TELEGRAM_API_URL", &self.url);
        command.env("DATABASE_URL", &self.database).env("SETUP_CODE", CODE).env("RUST_LOG", "warn");
        if let Some(proxy) = &self.proxy {
            command.env("WEBHOOK_URL", proxy.url()).env("WEBHOOK_SECRET", SECRET);
            command.env("WEBHOOK_LISTEN", proxy.backend(number).to_string());
        }
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(log).spawn().unwrap()
    }
}

/// How often a process has made itself known.
fn starts(sent: &[Sent]) -> usize {
    sent.iter().filter(|sent| matches!(sent.what, What::Commands)).count()
}

/// What has arrived in the chats.
struct Seen {
    /// The label in each answer, by chat and message answered.
    answers: HashMap<(i64, i64), Option<String>>,
    /// The labels in what answers nobody.
    reminded: HashSet<(i64, String)>,
}

impl Seen {
    fn of(standin: &Standin, groups: &[i64]) -> Seen {
        let mut seen = Seen { answers: HashMap::new(), reminded: HashSet::new() };
        for chat in groups {
            for post in standin.posts(*chat).into_iter().filter(|post| post.by_bot) {
                let mut labels = labels(&post.text).map(str::to_owned);
                match post.reply_to {
                    Some(to) => drop(seen.answers.insert((*chat, to), labels.next())),
                    None => seen.reminded.extend(labels.map(|label| (*chat, label))),
                }
            }
        }
        seen
    }

    fn is_answered(&self, said: &Said) -> bool {
        self.answers.contains_key(&(said.chat, said.message))
    }

    /// Whether the label that the receipt gave came up unasked.
    fn is_reminded(&self, said: &Said) -> bool {
        let label = self.answers.get(&(said.chat, said.message)).cloned().flatten();
        label.is_some_and(|label| self.reminded.contains(&(said.chat, label)))
    }

    fn is_done(&self, said: &Said) -> bool {
        self.is_answered(said) && (said.kind != Kind::Counter || self.is_reminded(said))
    }
}

/// The labels of containers in a text: the number before the dot that its amount follows.
fn labels(text: &str) -> impl Iterator<Item = &str> {
    let before = text.match_indices(" · ").map(|(at, _)| &text[..at]);
    before.filter_map(|before| {
        let word = before.rsplit(|c: char| !c.is_ascii_digit()).next()?;
        let stands_alone =
            before.strip_suffix(word).is_some_and(|b| b.is_empty() || b.ends_with([' ', '\n']));
        (stands_alone && !word.is_empty()).then_some(word)
    })
}
