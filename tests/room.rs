//! The room over HTTP, as its page uses it: the real bot answers behind it, time brings reminders at their own moments,
//! two visitors do not get in each other's way, and what can't be done is refused in one line.

#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::time::Duration;

use firstout::cli::replay::parse;
use firstout::cli::room::{House, open};
use serde_json::{Value, json};

/// For a machine that has other things to do; news is waited for, never slept for.
const PATIENCE: Duration = Duration::from_secs(40);
const EVENING: &str = "zone: America/Chicago
people: Ana pumps, Ben, Rosa, Dora child care
---
2027-03-09 09:00  Ana: pumped 120 ml fridge
";

/// A room that is served for as long as this is kept.
pub struct Visit {
    pub url: String,
    client: reqwest::Client,
    _house: Arc<House>,
}

/// The room with this seed played, on a free port.
pub async fn visit(seed: &str) -> Visit {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let house = open(&parse(seed).unwrap(), "the test's seed", listener).await.unwrap();
    Visit { url, client: reqwest::Client::new(), _house: house }
}

impl Visit {
    async fn post(&self, what: &str, body: String) -> (u16, String) {
        let request = self.client.post(format!("{}/room/{what}", self.url)).body(body);
        let answer = request.header("content-type", "application/json").send().await.unwrap();
        (answer.status().as_u16(), answer.text().await.unwrap())
    }

    async fn does(&self, what: &str, body: Value) -> Value {
        let (status, answer) = self.post(what, body.to_string()).await;
        assert_eq!(status, 200, "{body}: {answer}");
        serde_json::from_str(&answer).unwrap()
    }

    async fn says(&self, who: &str, text: &str) {
        self.does("say", json!({ "who": who, "text": text })).await;
    }

    async fn look(&self, since: Option<u64>) -> Value {
        let query = since.map(|version| format!("?since={version}")).unwrap_or_default();
        let answer = self.client.get(format!("{}/room/view{query}", self.url)).send().await.unwrap();
        serde_json::from_str(&answer.text().await.unwrap()).unwrap()
    }

    /// The view, as soon as it is so.
    async fn see(&self, what: &str, is_so: impl Fn(&Value) -> bool) -> Value {
        let looking = async {
            let mut view = self.look(None).await;
            while !is_so(&view) {
                view = self.look(view["version"].as_u64()).await;
            }
            view
        };
        tokio::time::timeout(PATIENCE, looking).await.unwrap_or_else(|_| panic!("never seen: {what}"))
    }
}

fn posts(view: &Value) -> &[Value] {
    view["posts"].as_array().unwrap()
}

/// The bot's words to the newest message with this text.
fn answer_to<'v>(view: &'v Value, text: &str) -> Option<&'v str> {
    let asked = posts(view).iter().rev().find(|p| p["text"] == text && p["bot"] == false)?;
    posts(view).iter().find(|p| p["reply_to"] == asked["id"] && p["bot"] == true)?["text"].as_str()
}

fn containers(view: &Value) -> Vec<&Value> {
    let shelves = view["belief"]["shelves"].as_array().unwrap();
    shelves.iter().flat_map(|shelf| shelf["tapes"].as_array().unwrap()).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_can_not_be_done_is_refused_in_one_line() {
    let room = visit(EVENING).await;
    let long = "x".repeat(4097);
    for (what, body, status, says) in [
        ("say", "not json".to_owned(), 400, "expected ident"),
        ("say", json!({ "who": "Ana" }).to_string(), 422, "missing field `text`"),
        ("say", json!({ "who": "Zoe", "text": "hello" }).to_string(), 400, "nobody of that name"),
        ("say", json!({ "who": "Ana", "text": " \n" }).to_string(), 400, "no words"),
        ("say", json!({ "who": "Ana", "text": long }).to_string(), 400, "longer than 4096"),
        ("say", json!({ "who": "Ana", "text": "a", "reply_to": 99 }).to_string(), 400, "no such message"),
        ("edit", json!({ "who": "Ben", "message": 2, "text": "a" }).to_string(), 400, "somebody else's"),
        ("edit", json!({ "who": "Ana", "message": 3, "text": "a" }).to_string(), 400, "somebody else's"),
        ("press", json!({ "who": "Ana", "message": "3", "label": "a" }).to_string(), 422, "invalid type"),
        ("press", json!({ "who": "Ana", "message": 3, "label": "Fly" }).to_string(), 400, "no such button"),
        ("pass", json!({ "until": "spring" }).to_string(), 422, "unknown variant `spring`"),
    ] {
        let (got, answer) = room.post(what, body).await;
        let error = serde_json::from_str::<Value>(&answer).unwrap()["error"].as_str().unwrap().to_owned();
        assert_eq!(got, status, "{error}");
        assert!(error.contains(says) && !error.contains('\n'), "{error}");
    }
    let view = room.client.get(format!("{}/room/view?since=yesterday", room.url)).send().await.unwrap();
    assert_eq!(view.status(), 400);
    assert!(view.text().await.unwrap().starts_with("{\"error\":"));
    assert_eq!(posts(&room.look(None).await).len(), 2);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn odd_texts_are_shown_as_written_and_the_bot_goes_on() {
    let room = visit(EVENING).await;
    let emoji = "🍼".repeat(4096);
    let odd =
        ["<script>alert(1)</script>", &emoji, "\0", "שלום, מה שלומך?", "\u{202e}120 ml", "pumped 99999 ml"];
    for text in odd {
        room.says("Ben", text).await;
    }
    room.says("Ana", "pumped 90 ml fridge").await;
    let view = room
        .see("the receipt after the odd texts", |view| answer_to(view, "pumped 90 ml fridge").is_some())
        .await;
    assert!(answer_to(&view, "pumped 90 ml fridge").unwrap().starts_with("2 · 90 ml"));
    let shown: Vec<_> = posts(&view).iter().filter(|p| p["by"] == "Ben").map(|p| &p["text"]).collect();
    assert_eq!(shown, odd);
    assert_eq!(containers(&view).len(), 2, "{}", view["belief"]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn reminders_come_at_their_own_moments_before_time_has_passed() {
    let room = visit("people: Ana pumps\n---\n2027-03-09 09:00  Ana: pumped 120 ml\n").await;
    assert_eq!(room.does("pass", json!({ "until": "morning" })).await, json!({ "passed": true }));
    let view = room.look(None).await;
    assert_eq!(view["clock"]["day"], "Wednesday 10 March 2027");
    assert_eq!(view["clock"]["time"], "07:00");
    // Milk keeps 4 hours in a room (published: CDC, "Breast Milk Storage and Preparation").
    let times: Vec<_> = posts(&view)[1..].iter().map(|p| p["time"].as_str().unwrap()).collect();
    let [receipt, soon, past] = times[..] else { panic!("{times:?}") };
    assert!(receipt == "09:00" && ("12:00"..="12:15").contains(&soon) && past == "13:00", "{times:?}");

    assert_eq!(room.does("pass", json!({ "until": "reminder" })).await, json!({ "passed": false }));
    assert_eq!(room.look(None).await["clock"]["next"], Value::Null);
}

/// The seed's lines are minutes apart; what is answered late would carry the time of a later line.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_seed_is_answered_line_by_line() {
    let lines: String = (0..60)
        .map(|n| {
            format!("2027-03-09 {:02}:{:02}  Ana: pumped {} ml fridge\n", 9 + n / 30, n % 30 * 2, 50 + n)
        })
        .collect();
    let room = visit(&format!("people: Ana pumps\n---\n{lines}")).await;
    let view = room.look(None).await;
    let posts = posts(&view);
    assert_eq!(posts.len(), 120);
    for pair in posts.chunks(2) {
        assert_eq!((&pair[1]["reply_to"], &pair[1]["time"]), (&pair[0]["id"], &pair[0]["time"]));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_visitors_at_once_see_the_same() {
    let room = visit(EVENING).await;
    let by = async |who: &str, from: u32| {
        for ml in from..from + 10 {
            room.says(who, &format!("pumped {ml} ml fridge")).await;
            if ml % 5 == 0 {
                room.does("pass", json!({ "until": "hour" })).await;
            }
        }
    };
    tokio::join!(by("Ana", 60), by("Ben", 90));
    let all_answered = |view: &Value| {
        (60..70).chain(90..100).all(|ml| answer_to(view, &format!("pumped {ml} ml fridge")).is_some())
    };
    let (one, two) = tokio::join!(
        room.see("one's receipts", all_answered),
        room.see("the other's receipts", all_answered)
    );
    assert_eq!(one["posts"], two["posts"]);
    let mut codes: Vec<_> = containers(&one).iter().map(|c| c["code"].as_i64().unwrap()).collect();
    codes.sort_unstable();
    assert_eq!(codes, (1..=21).collect::<Vec<_>>());
}

// --- the program itself ---

fn program(seed: &Path, listen: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_firstout"));
    command.args(["room", "--listen", listen, "--seed"]).arg(seed);
    command
}

/// One line on standard error, and exit status 2.
fn complains(output: &Output, of: &str) {
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.contains(of) && error.trim_end().lines().count() == 1, "{error}");
}

#[test]
fn a_bad_seed_or_a_taken_port_ends_the_program_with_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let seed = folder.path().join("seed.txt");
    for (text, line) in [
        ("people: Ana pumps\nkettle: red\n---\n", "seed.txt: line 2"),
        ("people: Ana pumps\n---\n2027-03-09 09:00  Zoe: hello\n", "seed.txt: line 3"),
        (
            "people: Ana pumps\n---\n2027-03-09 09:00  Ana: hello\n2027-03-09 09:01  Ana taps \"Fly\"\n",
            "seed.txt: line 4",
        ),
        ("---\n", "seed.txt: no people"),
    ] {
        std::fs::write(&seed, text).unwrap();
        complains(&program(&seed, "127.0.0.1:0").output().unwrap(), line);
    }
    complains(&program(&folder.path().join("none.txt"), "127.0.0.1:0").output().unwrap(), "none.txt: ");

    std::fs::write(&seed, "people: Ana pumps\n---\n").unwrap();
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    complains(&program(&seed, &address).output().unwrap(), &address);
}

/// Ended with the test whatever becomes of it.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn it_ends_in_order_when_told_to() {
    let folder = tempfile::tempdir().unwrap();
    let seed = folder.path().join("seed.txt");
    std::fs::write(&seed, EVENING).unwrap();
    for signal in ["-TERM", "-INT"] {
        let mut child = Running(program(&seed, "127.0.0.1:0").stdout(Stdio::piped()).spawn().unwrap());
        let lines = BufReader::new(child.0.stdout.take().unwrap()).lines();
        assert!(
            lines.map_while(Result::ok).any(|line| line.starts_with("The room is open at http://127.0.0.1:"))
        );
        let told = Command::new("kill").args([signal, &child.0.id().to_string()]).status().unwrap();
        assert!(told.success());
        assert_eq!(child.0.wait().unwrap().code(), Some(0), "{signal}");
    }
}
