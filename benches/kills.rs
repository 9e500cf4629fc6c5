//! Kills the program at random moments under load, and counts what was lost, done twice or said again:
//! `cargo bench --bench kills -- --kills 1000`. Several processes on one PostgreSQL, any of which is killed:
//! `cargo bench --bench kills -- --processes 3 --minutes 5`, with `--webhook` behind a proxy. Exit status 1 if anything
//! was lost or done twice. The short form is among the tests.
#![allow(clippy::unwrap_used, reason = "a measurement that can't go on should stop there")]

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use support::kills::{Plan, Until, run};
use support::postgres;

#[allow(dead_code, reason = "the other harnesses are for other benches")]
#[path = "../tests/support/mod.rs"]
mod support;

#[derive(Parser)]
struct Args {
    /// How often to kill; about half a second each
    #[arg(long, default_value_t = 1000)]
    kills: usize,
    /// How long to go on, in place of a number of kills
    #[arg(long)]
    minutes: Option<i64>,
    /// Another seed gives other messages and other moments
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// How many processes are on the database; more than one needs PostgreSQL, and takes it
    #[arg(long, default_value_t = 1)]
    processes: usize,
    /// PostgreSQL also for one process
    #[arg(long)]
    postgres: bool,
    /// The platform brings the updates, by way of a proxy
    #[arg(long)]
    webhook: bool,
    #[arg(long, default_value_t = 60)]
    groups: usize,
    /// Messages between two kills
    #[arg(long, default_value_t = 10)]
    messages: usize,
    /// Another build of the program
    #[arg(long, default_value = env!("CARGO_BIN_EXE_firstout"))]
    program: PathBuf,
    /// Given by cargo
    #[arg(long, hide = true)]
    bench: bool,
}

#[tokio::main]
async fn main() -> ExitCode {
    let args = Args::parse();
    let database =
        if args.postgres || args.processes > 1 { postgres::database().await } else { "sqlite".to_owned() };
    let plan = Plan {
        seed: args.seed,
        database,
        processes: args.processes,
        webhook: args.webhook,
        groups: args.groups,
        messages: args.messages,
        until: args.minutes.map_or(Until::Kills(args.kills), Until::Minutes),
    };
    let counts = run(&plan, &args.program).await;
    println!("{counts}");
    if counts.sound() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
