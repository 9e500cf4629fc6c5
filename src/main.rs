//! Settings, store, edges, signal: the command line begins everything and holds no rules.

use std::process::ExitCode;

use firstout::cli;

#[tokio::main]
async fn main() -> ExitCode {
    match cli::command() {
        Ok(command) => cli::run(command).await,
        Err(ended) => ended,
    }
}
