//! Household-years on the virtual clock, with everything that can go wrong: `cargo bench --bench simulator -- --years 100`.
//! Of a failure it prints the command that shows it again, and goes on. Options: `--seed` (of the first world), `--days` (of
//! each world), `--homes` (in each world), `--faults` (in a thousand writes, questions to the database and sendings), `--worlds` (instead of `--years`).
#![allow(clippy::unwrap_used, reason = "a run that can't go on should stop there")]
#![allow(clippy::disallowed_methods)] // a bench measures real time

#[path = "../../tests/support/simulator.rs"]
mod simulator;

use std::time::Instant;

use simulator::{Options, Ran, simulate};

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let of = |name: &str| -> Option<i64> {
        let at = arguments.iter().position(|a| a == name)?;
        arguments.get(at + 1)?.parse().ok()
    };
    let first = of("--seed").unwrap_or(1);
    let days = of("--days").unwrap_or(120);
    let homes = of("--homes");
    let faults = of("--faults").unwrap_or(40) as u32;
    let in_world = homes.unwrap_or(2) as f64 * days as f64 / 365.0;
    let worlds = of("--worlds").unwrap_or((of("--years").unwrap_or(10) as f64 / in_world).ceil() as i64);

    let began = Instant::now();
    let (mut all, mut years, mut failed) = (Ran::default(), 0.0, 0);
    for n in 0..worlds {
        // Alone a household also meets an end of the program while it is written to.
        let homes = homes.unwrap_or(1 + 2 * (n % 2)) as usize;
        let options = Options { seed: (first + n) as u64, days, homes, faults };
        match simulate(options).await {
            Ok(ran) => {
                all += ran;
                years += homes as f64 * days as f64 / 365.0;
            }
            Err(what) => {
                failed += 1;
                println!("FAILED {what}\n  {}", options.again());
            }
        }
    }
    println!(
        "{years:.1} household-years in {worlds} worlds, {:.0} s; {failed} worlds failed",
        began.elapsed().as_secs_f64()
    );
    println!("{all:?}");
}
