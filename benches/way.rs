//! How long a message is on its way: from its HTTP request, through the stand-in, the bot's client, the inbox, the reader,
//! the ledger and the outbox, to the receipt in the chat. Beside it, in the same run, a bare call of the stand-in: the
//! ratio tells what the bot adds on any machine. `cargo bench --bench way`.
#![allow(clippy::unwrap_used, reason = "a measurement that can't go on should stop there")]
#![allow(clippy::disallowed_methods)] // a bench measures real time

use std::time::{Duration, Instant};

use firstout::cli::replay::parse;
use firstout::cli::room::open;
use serde_json::json;

const TIMES: usize = 50;
/// Connections are open and code is warm after so many.
const WARM_UP: usize = 5;
const SEED: &str = "people: Ana pumps\n---\n2027-03-09 09:00  Ana: pumped 120 ml fridge\n";

#[tokio::main]
async fn main() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let house = open(&parse(SEED).unwrap(), "the seed", listener).await.unwrap();
    let client = reqwest::Client::new();
    let post = async |path: &str, body: serde_json::Value| {
        let request = client.post(format!("{url}/{path}")).header("content-type", "application/json");
        let answer = request.body(body.to_string()).send().await.unwrap();
        assert!(answer.status().is_success(), "{path}");
        answer.text().await.unwrap()
    };

    let mut ways = Vec::new();
    let mut bare = Vec::new();
    let mut follow = house.standin().follow();
    for n in 0..WARM_UP + TIMES {
        let began = Instant::now();
        post("bot1:room/getMe", json!({})).await;
        bare.push(began.elapsed());

        let began = Instant::now();
        post("room/say", json!({ "who": "Ana", "text": format!("pumped {} ml fridge", 50 + n) })).await;
        let (_, receipt) = follow.next_post().await;
        ways.push(began.elapsed());
        assert!(receipt.text.contains(&format!("{} ml", 50 + n)), "{}", receipt.text);
    }
    let (way, call) = (median(&ways[WARM_UP..]), median(&bare[WARM_UP..]));
    println!("message to receipt: median {way:.2?}, slowest {:.2?} of {TIMES}", slowest(&ways[WARM_UP..]));
    println!("bare call of the stand-in: median {call:.2?}");
    println!("ratio: {:.1}", way.as_secs_f64() / call.as_secs_f64());
}

fn median(times: &[Duration]) -> Duration {
    let mut times = times.to_vec();
    times.sort_unstable();
    times[times.len() / 2]
}

fn slowest(times: &[Duration]) -> Duration {
    times.iter().copied().max().unwrap_or_default()
}
