//! The commands: what is typed at a terminal, and what it prints. Bad input is one line that names it, and exit status 2.

mod belief;
pub mod copies;
mod logging;
pub mod plan;
pub mod read;
pub mod replay;
pub mod room;
pub mod serve;
pub mod settings;

use std::fs;
use std::io::{self, Read};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{Args, Parser, Subcommand};

/// Keeps a family's expressed breast milk in order: a log and the published times, in the family's message group.
#[derive(Debug, Parser)]
#[command(name = "firstout", version, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Be the bot: take the group's messages from the Bot API, keep the stock, send reminders
    ///
    /// It needs the token of a bot whose privacy mode is off. A group is taken on by /start CODE with the set-up code; until
    /// then nothing else is answered there. It ends in order on SIGTERM and SIGINT.
    Serve(settings::ServeArgs),
    /// Write a copy of everything into a file, while the bot may be at work
    ///
    /// The copy is text, the same from SQLite and PostgreSQL, and shows the database as it was at one moment. It holds what
    /// a family wrote about their child: keep it as you would keep that.
    Backup(copies::BackupArgs),
    /// Check a file that backup has written, and put it back
    ///
    /// It must be whole and unchanged, and the books of every household must add up; otherwise nothing is touched. The
    /// database must be empty, unless --replace is given. End the bot before. Exit status 2 if anything is wrong.
    Restore(copies::RestoreArgs),
    /// Carry everything from one database to another: SQLite to PostgreSQL, or back
    ///
    /// From --database-url (or DATABASE_URL) to --to; what is at the first stays as it is. End the bot before, and set
    /// DATABASE_URL to the new place after.
    Move(copies::MoveArgs),
    /// Open a local group chat with an invented household, to try everything without an account
    Room(room::RoomArgs),
    /// Say what messages mean: one JSON object a line in, one a line out
    ///
    /// In: {"text": "pumped 120 fridge", "sent": "2027-03-09T08:40", "zone": "America/Chicago", "units": "ml",
    /// "languages": ["en"], "id": 1}; only text and sent are required. Out: {"id": 1, "acts": [...], "unclear": null}.
    /// Nothing is recorded anywhere. Exit status 1 if a line could not be read.
    Read {
        /// Add why each message is read so
        #[arg(long)]
        explain: bool,
    },
    /// Run a written conversation and print what the group would have seen
    ///
    /// A script has settings (key: value), a line ---, then lines such as "2027-03-09 08:40  Ana: pumped 120 fridge".
    /// Its clock jumps from line to line. Exit status 2 if the script has an error; nothing is run then.
    Replay(Replay),
    /// Say what to thaw for a stock and a need: a JSON object in, one out
    ///
    /// In: {"now": "2027-03-09T20:00", "zone": "America/Chicago", "rules": "us-cdc", "need": {"from": "2027-03-10T08:00",
    /// "to": "2027-03-10T17:00", "ml": 360}, "stock": [{"code": 1, "ml": 120, "milk": "frozen", "place": "freezer",
    /// "expressed": "2027-02-01T09:00", "frozen": "2027-02-01T10:00"}]}. Exit status 1 if anything could not be read.
    Plan {
        /// One object a line
        #[arg(long)]
        lines: bool,
    },
}

#[derive(Debug, Args)]
pub struct Replay {
    /// The script; - for standard input
    pub script: PathBuf,
    /// One JSON object a line instead of a conversation for people
    #[arg(long)]
    pub json: bool,
    /// Keep the database here (sqlite: or postgres: address); otherwise it is gone afterwards
    #[arg(long, value_name = "URL")]
    pub database: Option<String>,
}

/// The command that was typed; help and errors are told at once. An error is one line.
pub fn command() -> Result<Command, ExitCode> {
    Cli::try_parse().map(|cli| cli.command).map_err(|error| {
        if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
            return error.print().map_or(ExitCode::from(2), |()| ExitCode::SUCCESS);
        }
        if error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
            return error.print().map_or(ExitCode::from(2), |()| ExitCode::from(2));
        }
        let text = error.to_string();
        let what = text.split("\n\n").next().unwrap_or_default().trim_start_matches("error: ");
        let what = what.split_whitespace().collect::<Vec<_>>().join(" ");
        bad(&format!("{what} (firstout --help tells what there is)"))
    })
}

/// Runs a command to its end.
pub async fn run(command: Command) -> ExitCode {
    match command {
        Command::Read { explain } => ended(read::run(io::stdin().lock(), io::stdout().lock(), explain)),
        Command::Plan { lines } => match text_of(&PathBuf::from("-")) {
            Ok(text) => ended(plan::run(&text, lines, &mut io::stdout().lock())),
            Err(error) => bad(&error),
        },
        Command::Replay(replay) => run_replay(replay).await,
        Command::Backup(args) => tell(copies::backup(args).await),
        Command::Restore(args) => tell(copies::restore(args).await),
        Command::Move(args) => tell(copies::move_house(args).await),
        Command::Serve(args) => tell(serve::run(args).await),
        Command::Room(args) => tell(room::run(args).await),
    }
}

async fn run_replay(replay: Replay) -> ExitCode {
    let text = match text_of(&replay.script) {
        Ok(text) => text,
        Err(error) => return bad(&error),
    };
    let form = if replay.json { replay::Form::Json } else { replay::Form::People };
    let database = replay.database.as_deref().unwrap_or("sqlite::memory:");
    let mut out = Vec::new();
    let result = replay::run(&text, database, form, &mut out).await;
    // What the group saw before something went wrong is shown all the same.
    if let Err(error) = io::Write::write_all(&mut io::stdout().lock(), &out) {
        return bad(&error.to_string());
    }
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => bad(&format!("{}: {error}", replay.script.display())),
    }
}

fn tell(result: Result<(), impl std::fmt::Display>) -> ExitCode {
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => bad(&error.to_string()),
    }
}

fn text_of(path: &PathBuf) -> Result<String, String> {
    let read = if path.as_os_str() == "-" {
        let mut text = String::new();
        io::stdin().read_to_string(&mut text).map(|_| text)
    } else {
        fs::read_to_string(path)
    };
    read.map_err(|e| format!("{}: {e}", path.display()))
}

/// 0 where everything could be read, 1 where something could not.
fn ended(result: io::Result<bool>) -> ExitCode {
    match result {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(1),
        // Whoever read the output has gone; there is nobody left to tell.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => bad(&error.to_string()),
    }
}

/// One line that says what is wrong.
pub fn bad(what: &str) -> ExitCode {
    eprintln!("firstout: {what}");
    ExitCode::from(2)
}
