//! Settings, store, edges, signal: the command line begins everything and holds no rules.

use std::io;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let explain = std::env::args().any(|a| a == "--explain");
    match args.next().as_deref() {
        Some("read") => match firstout::cli::read::run(io::stdin().lock(), io::stdout().lock(), explain) {
            Ok(true) => ExitCode::SUCCESS,
            _ => ExitCode::FAILURE,
        },
        _ => ExitCode::from(2),
    }
}
