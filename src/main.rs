//! Settings, store, edges, signal: the command line begins everything and holds no rules.

use std::process::ExitCode;

use clap::Parser;
use firstout::cli::{self, Cli};

#[tokio::main]
async fn main() -> ExitCode {
    cli::run(Cli::parse().command).await
}
