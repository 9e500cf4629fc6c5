//! What a message costs, side by side on one core: a bot that only echoes, one that stores each update durably first, and
//! Firstout with new households, with three years of ledger, and beside a hundred thousand quiet ones. Each bot is a process
//! of its own on the first core; the stand-in of the platform and whoever writes are on the second. It asserts nothing:
//! ratios travel to other machines, absolute figures don't. `cargo bench --bench scale`, `-- --messages 4000 --only quiet`.
#![allow(clippy::unwrap_used, reason = "a measurement that can't go on should stop there")]
#![allow(clippy::disallowed_methods)] // a bench measures real time

mod bots;
mod homes;
mod process;
mod talk;

use std::time::{Duration, Instant};

use chrono::Utc;
use firstout::edge::standin::{Follow, Standin, What};
use tempfile::TempDir;

use process::Process;

pub const TOKEN: &str = "1:scale";
/// Groups that write at the same time.
const CHATS: usize = 20;
/// Households that only lie there.
const QUIET: i64 = 100_000;
/// Entries of a household's three years.
const YEARS: usize = 20_000;

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Echo,
    Durable,
    New,
    Old,
    Quiet,
}

const KINDS: [(Kind, &str, &str); 5] = [
    (Kind::Echo, "echo", "teloxide echo, nothing stored"),
    (Kind::Durable, "durable", "teloxide echo, one durable insert an update"),
    (Kind::New, "new", "Firstout, new households"),
    (Kind::Old, "old", "Firstout, 3-year-old households"),
    (Kind::Quiet, "quiet", "Firstout, new beside 100,000 quiet ones"),
];

struct Options {
    messages: usize,
    only: Option<String>,
}

/// What one bot took.
struct Taken {
    what: &'static str,
    messages: usize,
    wall: Duration,
    cpu: Duration,
    /// Peak, and at rest before anybody wrote, in KiB.
    peak: u64,
    rest: u64,
    /// From the start of the process to the first answer.
    first: Duration,
    /// Share of a core while nothing happens.
    idle: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    match arguments.iter().position(|a| a == "bot") {
        Some(at) => runtime.block_on(bots::run(&arguments[at + 1..])),
        None => runtime.block_on(compare(&options(&arguments))),
    }
}

fn options(arguments: &[String]) -> Options {
    let after = |name: &str| {
        arguments.iter().position(|a| a == name).and_then(|at| arguments.get(at + 1)).map(String::as_str)
    };
    Options {
        messages: after("--messages").map_or(10_000, |n| n.parse().unwrap()),
        only: after("--only").map(str::to_owned),
    }
}

async fn compare(options: &Options) {
    process::pin_self();
    println!("{} messages in {CHATS} groups; of ten: {}", options.messages, talk::MIX);
    let chosen = |key: &str| options.only.as_ref().is_none_or(|only| only.split(',').any(|k| k == key));
    let mut all = Vec::new();
    for (kind, key, what) in KINDS {
        if chosen(key) {
            let taken = measure(kind, what, options.messages).await;
            eprintln!("{}", line(&taken));
            all.push((kind, taken));
        }
    }
    print(&all);
}

async fn measure(kind: Kind, what: &'static str, messages: usize) -> Taken {
    let dir = TempDir::new().unwrap();
    let database = format!("sqlite:{}/bot.db", dir.path().display());
    let standin = Standin::new(TOKEN, Utc::now);
    let groups: Vec<i64> =
        (0..CHATS).map(|n| standin.group(&format!("Group {n}"), &["Ana", "Ben"])).collect();
    for group in &groups {
        standin.add_bot(*group, "Ana").unwrap();
    }
    match kind {
        Kind::Echo | Kind::Durable => {}
        Kind::New => homes::lay_down(&database, &groups, 0, 0).await,
        Kind::Old => homes::lay_down(&database, &groups, YEARS, 0).await,
        Kind::Quiet => homes::lay_down(&database, &groups, 0, QUIET).await,
    }
    let url = standin.listen().await.unwrap();
    let echoes = matches!(kind, Kind::Echo | Kind::Durable);
    let mut room = Room { follow: standin.follow(), standin, groups, echoes, owed: 0, heard: 0 };
    // The updates of joining are no messages: an echo says nothing to them.
    let bot = Process::start(bots::name(kind), &url, &database);
    let began = Instant::now();
    let question = room.question(0);
    room.all_answered(&[question]).await;
    let first = began.elapsed();
    let rest = bot.peak();
    let idle = idle(&bot).await;
    // Connections are open, households are read and code is warm after that.
    room.round(CHATS * 10, 1).await;

    let (cpu, began) = (bot.cpu(), Instant::now());
    room.round(messages, 2).await;
    let (wall, cpu) = (began.elapsed(), bot.cpu() - cpu);
    let peak = bot.peak();
    Taken { what, messages, wall, cpu, peak, rest, first, idle }
}

/// The share of a core that a bot takes while nobody writes.
async fn idle(bot: &Process) -> f64 {
    tokio::time::sleep(Duration::from_secs(1)).await;
    let (cpu, began) = (bot.cpu(), Instant::now());
    tokio::time::sleep(Duration::from_secs(5)).await;
    (bot.cpu() - cpu).as_secs_f64() / began.elapsed().as_secs_f64()
}

/// The groups, and what they wait for.
struct Room {
    standin: Standin,
    follow: Follow,
    groups: Vec<i64>,
    /// The bot answers everything, and doesn't say what it answers.
    echoes: bool,
    owed: usize,
    heard: usize,
}

impl Room {
    fn say(&mut self, group: usize, text: &str) -> (i64, i64) {
        self.owed += 1;
        let chat = self.groups[group];
        (chat, self.standin.says(chat, "Ana", text).unwrap())
    }

    fn question(&mut self, group: usize) -> (i64, i64) {
        self.say(group, talk::LAST)
    }

    /// So many messages in turn; a question ends it in each group, and its answer tells that all before is handled.
    async fn round(&mut self, messages: usize, seed: u64) {
        let mut talk = talk::Talk::new(seed);
        for n in 0..messages.saturating_sub(CHATS) {
            self.say(n % CHATS, &talk.next());
        }
        let questions: Vec<(i64, i64)> = (0..CHATS).map(|group| self.question(group)).collect();
        self.all_answered(&questions).await;
    }

    async fn all_answered(&mut self, questions: &[(i64, i64)]) {
        let mut open = questions.len();
        while (self.echoes && self.heard < self.owed) || (!self.echoes && open > 0) {
            tokio::time::sleep(Duration::from_millis(2)).await;
            for sent in self.follow.unread() {
                let What::Message(post) = &sent.what else { continue };
                self.heard += 1;
                let answers = |(chat, id): &(i64, i64)| *chat == sent.chat && post.reply_to == Some(*id);
                open -= usize::from(questions.iter().any(answers));
            }
        }
    }
}

fn line(taken: &Taken) -> String {
    let per_second = taken.messages as f64 / taken.wall.as_secs_f64();
    let cpu = taken.cpu.as_micros() as f64 / taken.messages as f64;
    let mib = |kib: u64| kib as f64 / 1024.0;
    format!(
        "{:<46} {per_second:>9.0} {cpu:>9.0} {:>10.1} {:>10.1} {:>10.0} {:>8.2}",
        taken.what,
        mib(taken.peak),
        mib(taken.rest),
        taken.first.as_millis(),
        taken.idle * 100.0,
    )
}

fn print(all: &[(Kind, Taken)]) {
    println!(
        "{:<46} {:>9} {:>9} {:>10} {:>10} {:>10} {:>8}",
        "", "updates/s", "CPU us", "peak MiB", "rest MiB", "first ms", "idle %"
    );
    for (_, taken) in all {
        println!("{}", line(taken));
    }
    let of = |kind: Kind| all.iter().find(|(k, _)| *k == kind).map(|(_, taken)| taken);
    let cpu = |taken: &Taken| taken.cpu.as_secs_f64() / taken.messages as f64;
    let rate = |taken: &Taken| taken.messages as f64 / taken.wall.as_secs_f64();
    if let (Some(durable), Some(new)) = (of(Kind::Durable), of(Kind::New)) {
        println!(
            "Firstout against the durable echo: {:.2} times its rate, {:.2} of its CPU an update",
            rate(new) / rate(durable),
            cpu(new) / cpu(durable)
        );
    }
    if let (Some(new), Some(old)) = (of(Kind::New), of(Kind::Old)) {
        println!("three years old against new: {:.2} times the CPU an update", cpu(old) / cpu(new));
    }
    if let (Some(new), Some(quiet)) = (of(Kind::New), of(Kind::Quiet)) {
        println!(
            "beside 100,000 quiet households: {:.2} times the CPU an update, {:+.1} MiB at rest, {:+.1} MiB at the \
             peak, first answer after {:.2} times as long, {:.2} % of a core at rest",
            cpu(quiet) / cpu(new),
            (quiet.rest as f64 - new.rest as f64) / 1024.0,
            (quiet.peak as f64 - new.peak as f64) / 1024.0,
            quiet.first.as_secs_f64() / new.first.as_secs_f64(),
            quiet.idle * 100.0
        );
    }
}
