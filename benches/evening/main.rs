//! The outbox on an evening under the platform's limits: 50,000 plans fall due in the second in which the milk of 1,000 others
//! runs out, while eight people a second ask. Prints how long each was on its way, on the virtual clock, and how long this
//! machine took to work it all out. It asserts nothing. `cargo bench --bench evening`, `-- PLANS URGENT ASKED SECONDS`.
#![allow(clippy::unwrap_used, reason = "a measurement that can't go on should stop there")]
#![allow(clippy::disallowed_methods)] // a bench measures real time

#[path = "../../tests/support/evening.rs"]
mod evening;

use std::time::Instant;

use chrono::TimeDelta;

use evening::{Size, evening_of};

#[tokio::main]
async fn main() {
    let given: Vec<i64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let of = |nth: usize, usual| given.get(nth).copied().unwrap_or(usual);
    let size = Size { plans: of(0, 50_000), urgent: of(1, 1_000), asked: (of(2, 8), of(3, 120)) };
    let began = Instant::now();
    let told = evening_of(&size).await;
    println!(
        "{:<34} {:>8} {:>10} {:>10}",
        "seconds from its moment until sent", "number", "median", "longest"
    );
    for (what, spans) in
        [("milk that runs out", told.urgent), ("answers", told.answers), ("plans", told.plans)]
    {
        let (count, median, longest) = spread(spans);
        println!("{what:<34} {count:>8} {median:>10.1} {longest:>10.1}");
    }
    println!("worked out and sent in {:.1} s of this machine", began.elapsed().as_secs_f64());
}

fn spread(mut spans: Vec<TimeDelta>) -> (usize, f64, f64) {
    spans.sort_unstable();
    let seconds = |span: Option<&TimeDelta>| span.map_or(0.0, |s| s.num_milliseconds() as f64 / 1000.0);
    (spans.len(), seconds(spans.get(spans.len() / 2)), seconds(spans.last()))
}
