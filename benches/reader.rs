//! How fast messages are read, on one core: the corpus of invented messages mixed with chatter; what share of a message's
//! whole handling (inbox, reader, decision, ledger and outbox, on SQLite that waits for the disk) the reading is; how work
//! grows with a message's length; the slowest messages; and the same messages through a general parser of dates.
//!
//! `cargo bench --bench reader`, with `DATEPARSER_PYTHON=.../bin/python3` for a Python that has `dateparser`.
#![allow(clippy::unwrap_used, reason = "a measurement that can't go on should stop there")]
#![allow(clippy::disallowed_methods)] // a bench measures real time

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use firstout::app::App;
use firstout::app::wire::{Event, Incoming, Sender};
use firstout::chat::read::{Context, Language, read};
use firstout::domain::act::civil;
use firstout::domain::household::Household;
use firstout::store::{InboxRow, Store};
use serde_json::Value;

const SETS: [&str; 3] = [
    include_str!("../tests/reading/build.jsonl"),
    include_str!("../tests/reading/build-2.jsonl"),
    include_str!("../tests/reading/build-wide.jsonl"),
];
const FUZZED: &str = include_str!("../fuzz/corpus.jsonl");
/// What groups write besides; none of it is the bot's business.
const CHATTER: [&str; 12] = [
    "who's picking up the big one today?",
    "lol",
    "we're out of nappies again, can someone grab some on the way home",
    "he slept until 6 😍",
    "grandma says hi, she's sending soup on sunday",
    "the plumber is coming between 2 and 4",
    "mañana viene la abuela a las 5",
    "no encuentro las llaves del coche",
    "foto del cole, mirad qué guapo",
    "running 20 minutes late, sorry",
    "did you see the weather for the weekend? rain on saturday and then it should clear up by sunday afternoon",
    "ok 👍",
];
const ROUNDS: usize = 10;
/// Messages of one household; a family's day and a bit.
const OF_A_HOUSEHOLD: usize = 40;

fn main() {
    let messages = messages();
    let each = reading(&messages);
    handling(&messages);
    lengths();
    slowest(&messages);
    println!("general date parser: {}", dateparser(&messages, each));
}

/// The corpus with chatter in between, each with its household.
fn messages() -> Vec<(String, Context)> {
    let lines = SETS.iter().flat_map(|set| set.lines()).filter(|line| !line.trim().is_empty());
    let given = lines.map(|line| serde_json::from_str::<Value>(line).unwrap()["in"].clone());
    let mut chatter = CHATTER.iter().cycle();
    given
        .flat_map(|given| {
            let ctx = context(&given);
            let text = given["text"].as_str().unwrap().to_owned();
            [(text, ctx.clone()), (chatter.next().unwrap().to_string(), ctx)]
        })
        .collect()
}

fn context(given: &Value) -> Context {
    let tags = given["languages"].as_array().unwrap().iter().filter_map(Value::as_str);
    Context {
        sent: NaiveDateTime::parse_from_str(given["sent"].as_str().unwrap(), civil::FORM).unwrap(),
        zone: given["zone"].as_str().unwrap().parse().unwrap(),
        units: serde_json::from_value(given["units"].clone()).unwrap(),
        languages: tags.filter_map(Language::from_tag).collect(),
    }
}

fn household() -> (Household, Context) {
    let household = Household { languages: vec!["en".into(), "es".into()], ..Household::default() };
    let languages = household.languages.iter().filter_map(|tag| Language::from_tag(tag)).collect();
    let sent = start().naive_utc();
    (household.clone(), Context { sent, zone: household.zone, units: household.units, languages })
}

fn start() -> DateTime<Utc> {
    DateTime::from_timestamp(1_804_000_000, 0).unwrap()
}

fn all_once<'a>(all: impl Iterator<Item = (&'a str, &'a Context)>) -> usize {
    all.map(|(text, ctx)| read(text, ctx).acts.len()).sum()
}

/// The time of one message.
fn reading(messages: &[(String, Context)]) -> Duration {
    let all = || messages.iter().map(|(text, ctx)| (text.as_str(), ctx));
    let acts = all_once(all());
    let rounds: Vec<Duration> = (0..ROUNDS)
        .map(|_| {
            let began = Instant::now();
            assert_eq!(all_once(all()), acts);
            began.elapsed()
        })
        .collect();
    let each = |round: Duration| round / messages.len() as u32;
    let (best, middle) = (each(*rounds.iter().min().unwrap()), each(median(&rounds)));
    println!("read: {} messages, {acts} acts", messages.len());
    println!(
        "read: median {middle:.1?} a message, {:.0} messages/s on one core; best round {best:.1?}, {:.0} messages/s",
        1.0 / middle.as_secs_f64(),
        1.0 / best.as_secs_f64()
    );
    middle
}

#[tokio::main]
async fn handling(messages: &[(String, Context)]) {
    let place = tempfile::tempdir().unwrap();
    let url = format!("sqlite:{}", place.path().join("bench.db").display());
    let store = Store::open(&url).await.unwrap();
    let app = App::new(store.clone(), "unused".to_owned().into());
    let (household, ctx) = household();
    let (mut whole, mut read_alone) = (Vec::new(), Vec::new());
    let mut update = 0;
    for (n, some) in messages.chunks(OF_A_HOUSEHOLD).enumerate() {
        let chat = -(n as i64) - 1;
        app.take_on(chat, &household, start()).await.unwrap();
        for (minute, (text, _)) in some.iter().enumerate() {
            update += 1;
            let incoming = Incoming {
                update,
                chat,
                private: false,
                at: start() + TimeDelta::minutes(minute as i64),
                from: Some(Sender { id: 1, name: "Ana".into() }),
                event: Event::Text { message: update, text: text.clone(), reply_to: None },
            };
            let began = Instant::now();
            let row = InboxRow::new(update, Some(chat), String::new());
            store.receive(&[row], incoming.at.timestamp_millis()).await.unwrap();
            app.handle(&incoming).await.unwrap();
            whole.push(began.elapsed());

            let began = Instant::now();
            let _ = read(text, &ctx);
            read_alone.push(began.elapsed());
        }
    }
    let (whole, alone) = (median(&whole), median(&read_alone));
    println!("handled: median {whole:.1?} a message, of which reading {alone:.1?}");
    println!("reader's share of handling: {:.1}%", 100.0 * alone.as_secs_f64() / whole.as_secs_f64());
}

/// The same again and again, four lengths.
fn lengths() {
    let (_, ctx) = household();
    for piece in ["pumped 90 fridge. ", "undo. ", "not 12, 21. ", "#1, ", "\n6:30 120 fridge", "9"] {
        let times: Vec<String> = [512, 1024, 2048, 4096]
            .iter()
            .map(|length| {
                let text: String = piece.chars().cycle().take(*length).collect();
                let _ = read(&text, &ctx);
                let began = Instant::now();
                let _ = read(&text, &ctx);
                format!("{length}: {:.1?}", began.elapsed())
            })
            .collect();
        println!("{piece:?} up to so many characters: {}", times.join(", "));
    }
}

/// Of the corpus, and of what was made up to find faults.
fn slowest(messages: &[(String, Context)]) {
    let (_, ctx) = household();
    let fuzzed = FUZZED.lines().map(|l| serde_json::from_str::<Value>(l).unwrap()["text"].clone());
    let fuzzed: Vec<String> = fuzzed.map(|t| t.as_str().unwrap_or_default().to_owned()).collect();
    let all = messages.iter().map(|(text, ctx)| (text, ctx)).chain(fuzzed.iter().map(|text| (text, &ctx)));
    let mut timed: Vec<(Duration, &String)> = all
        .map(|(text, ctx)| {
            let best = (0..3).map(|_| {
                let began = Instant::now();
                let _ = read(text, ctx);
                began.elapsed()
            });
            (best.min().unwrap(), text)
        })
        .collect();
    timed.sort_unstable_by_key(|t| std::cmp::Reverse(t.0));
    timed.dedup_by(|a, b| a.1 == b.1);
    for (time, text) in timed.iter().take(5) {
        println!("slow: {time:.1?} for {text:?}");
    }
}

/// How long the other parser takes for a message, beside ours.
fn dateparser(messages: &[(String, Context)], ours: Duration) -> String {
    let Ok(python) = std::env::var("DATEPARSER_PYTHON") else {
        return "not present (DATEPARSER_PYTHON is not set)".into();
    };
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/dates.py");
    let child = Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let Ok(mut child) = child else { return "not present (no such Python)".into() };
    let some: Vec<&str> = messages.iter().step_by(8).map(|(text, _)| text.as_str()).collect();
    child.stdin.take().unwrap().write_all(serde_json::to_string(&some).unwrap().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let Ok(answer) = serde_json::from_slice::<Value>(&output.stdout) else {
        return "not present (it gave no answer)".into();
    };
    let theirs = answer["seconds"].as_f64().unwrap() / some.len() as f64;
    format!(
        "dateparser {} finds dates in the same messages ({} of them) at {:.0} messages/s; ours reads them whole {:.0} times as fast",
        answer["version"].as_str().unwrap_or_default(),
        some.len(),
        1.0 / theirs,
        theirs / ours.as_secs_f64()
    )
}

fn median(times: &[Duration]) -> Duration {
    let mut times = times.to_vec();
    times.sort_unstable();
    times[times.len() / 2]
}
