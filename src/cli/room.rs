//! `room`: the stand-in of the platform, the page, and behind them the same bot as `serve`, on a clock that the visitor
//! moves. The seed's conversation is played into the chat the way the visitor will go on with it.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, Utc};
use clap::Args;
use secrecy::SecretString;
use tokio::net::TcpListener;
use tokio::sync::Mutex;
use tokio::time::{Duration, Instant};

use super::belief;
use super::replay::{Deed, Script, ScriptError, What, parse};
use crate::app::{App, AppError};
use crate::clock::Clock;
use crate::domain::household::{Household, Role};
use crate::edge::room::{Backstage, Belief, Player, Room, Setting};
use crate::edge::standin::{Mistake, Standin};
use crate::edge::telegram::{self, ServeError};
use crate::store::{HouseholdId, Store, StoreError};

/// The stand-in takes any token; this one opens nothing.
const TOKEN: &str = "1:room";
/// How often to see whether all is said that is to be said.
const LOOK_AGAIN: Duration = Duration::from_millis(5);
/// How long nothing may move before the bot is taken to wait for the clock.
const STUCK: Duration = Duration::from_secs(5);
/// Used where no seed is named and the program is not started in its own folder.
const SEED: &str = include_str!("../../demo/household.txt");

#[derive(Debug, Clone, Args)]
pub struct RoomArgs {
    /// Where the page is served
    #[arg(long, default_value = "127.0.0.1:8087")]
    listen: SocketAddr,
    /// The household to begin with: a script as for replay; the one that comes with the program if absent
    #[arg(long, value_name = "SCRIPT")]
    seed: Option<PathBuf>,
}

#[derive(Debug, thiserror::Error)]
pub enum RoomError {
    #[error("{0}: {1}")]
    Unreadable(String, std::io::Error),
    #[error("{0}: {1}")]
    Seed(String, ScriptError),
    #[error("{0}: line {1}: {2}")]
    Line(String, usize, Mistake),
    #[error("{0}: no people: ... line: who should speak?")]
    Nobody(String),
    #[error("signals can't be listened to: {0}")]
    Signals(std::io::Error),
    #[error("{0}: can't listen there: {1} (--listen 127.0.0.1:0 takes a port that is free)")]
    Listen(SocketAddr, std::io::Error),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    App(#[from] AppError),
    #[error(transparent)]
    Serve(#[from] ServeError),
}

/// Opens the room and serves it until it is told to end.
pub async fn run(args: RoomArgs) -> Result<(), RoomError> {
    let told_to_end = super::serve::asked_to_end().map_err(RoomError::Signals)?;
    let (name, script) = seed(args.seed)?;
    let listener = TcpListener::bind(args.listen).await.map_err(|e| RoomError::Listen(args.listen, e))?;
    let address = listener.local_addr().map_err(|e| RoomError::Listen(args.listen, e))?;
    println!("Setting up the household of {name} ...");
    let opened = async {
        // Kept for as long as the page is served.
        let _house = open(&script, &name, listener).await?;
        println!("The room is open at http://{address} (end it with Ctrl-C)");
        std::future::pending().await
    };
    tokio::select! {
        () = told_to_end => Ok(()),
        failed = opened => failed,
    }
}

fn seed(path: Option<PathBuf>) -> Result<(String, Script), RoomError> {
    let (name, text) = match path {
        None => ("demo/household.txt".to_owned(), SEED.to_owned()),
        Some(path) => {
            let name = path.display().to_string();
            let text = std::fs::read_to_string(&path).map_err(|e| RoomError::Unreadable(name.clone(), e))?;
            (name, text)
        }
    };
    let script = parse(&text).map_err(|e| RoomError::Seed(name.clone(), e))?;
    Ok((name, script))
}

/// The house behind the page, with its seed played.
pub async fn open(script: &Script, name: &str, listener: TcpListener) -> Result<Arc<House>, RoomError> {
    let household = &script.household;
    if household.people.is_empty() {
        return Err(RoomError::Nobody(name.to_owned()));
    }
    let begin = script.lines.first().map_or_else(|| Clock::system().now(), |line| line.at);
    let clock = Clock::virtual_at(begin);
    let standin = Standin::new(TOKEN, {
        let clock = clock.clone();
        move || clock.now()
    });
    let names: Vec<&str> = household.people.iter().map(|p| p.name.as_str()).collect();
    let chat = standin.group("The milk", &names);
    let store = Store::open("sqlite::memory:").await?;
    let app = Arc::new(App::new(store, SecretString::from("room")));
    let id = app.take_on(chat, household, begin).await?;
    let house = Arc::new(House { app, clock, standin, id, turn: Mutex::default() });
    house.start(chat, household, listener).await?;
    house.play(chat, script, name).await?;
    Ok(house)
}

pub struct House {
    app: Arc<App>,
    clock: Clock,
    standin: Standin,
    id: HouseholdId,
    turn: Mutex<()>,
}

impl House {
    /// The platform that the bot and the page meet on.
    pub fn standin(&self) -> &Standin {
        &self.standin
    }

    /// Serves the page and the stand-in at one address, and starts the bot on it.
    async fn start(
        self: &Arc<House>,
        chat: i64,
        household: &Household,
        listener: TcpListener,
    ) -> Result<(), RoomError> {
        let address = listener.local_addr().map_err(|e| RoomError::Listen(([127, 0, 0, 1], 0).into(), e))?;
        let people = household
            .people
            .iter()
            .map(|p| Player { name: p.name.clone(), part: part(p.role).into() })
            .collect();
        let setting = Setting { chat, zone: household.zone, people };
        let room = Room::new(self.standin.clone(), setting, self.clone());
        tokio::spawn(async move { axum::serve(listener, room.router()).await });
        let settings = telegram::Settings {
            token: SecretString::from(TOKEN),
            url: format!("http://{address}")
                .parse()
                .map_err(|_| RoomError::Listen(address, std::io::ErrorKind::AddrNotAvailable.into()))?,
            paced: false,
        };
        let (app, clock) = (self.app.clone(), self.clock.clone());
        tokio::spawn(async move { telegram::serve(app, settings, clock, std::future::pending()).await });
        Ok(())
    }

    /// Plays the seed: everybody says what the script has them say, when it has them say it.
    async fn play(&self, chat: i64, script: &Script, name: &str) -> Result<(), RoomError> {
        if let Some(person) = script.household.people.first() {
            self.standin.add_bot(chat, &person.name).map_err(|e| RoomError::Line(name.to_owned(), 0, e))?;
        }
        let mut said: HashMap<usize, i64> = HashMap::new();
        for line in &script.lines {
            self.advance(line.at).await;
            if let What::Does { by, deed } = &line.what {
                let number = said.len() + 1;
                let message = self
                    .does(chat, by, deed, &said)
                    .map_err(|e| RoomError::Line(name.to_owned(), line.row, e))?;
                said.insert(number, message);
            }
        }
        self.settle().await;
        Ok(())
    }

    fn does(&self, chat: i64, by: &str, deed: &Deed, said: &HashMap<usize, i64>) -> Result<i64, Mistake> {
        let message = |n: &usize| said.get(n).copied().ok_or(Mistake::NoMessage);
        match deed {
            Deed::Says { text } => self.standin.says(chat, by, text),
            Deed::Edits { n, text } => {
                self.standin.edits(chat, by, message(n)?, text)?;
                message(n)
            }
            Deed::Replies { n, text } => self.standin.replies(chat, by, message(n)?, text),
            Deed::RepliesToBot { n, text } => {
                let bots = self.standin.posts(chat).into_iter().filter(|p| p.by_bot);
                let to = bots.into_iter().nth(n.saturating_sub(1)).ok_or(Mistake::NoMessage)?;
                self.standin.replies(chat, by, to.id, text)
            }
            Deed::Taps { n, label } => {
                let mut bots = self.standin.posts(chat).into_iter().filter(|p| p.by_bot);
                let post = match n {
                    Some(n) => bots.nth(n.saturating_sub(1)),
                    None => bots.rfind(|p| p.button(label).is_some()),
                };
                let post = post.ok_or(Mistake::NoButton)?;
                self.standin.presses(chat, by, post.id, label)?;
                Ok(post.id)
            }
        }
    }

    /// Waits until everything said has been handled and everything to be said has arrived.
    async fn settle(&self) {
        let mut changed = self.standin.version();
        let mut since = Instant::now();
        loop {
            let seen = *changed.borrow_and_update();
            if self.is_quiet().await {
                return;
            }
            // The store's own changes are not all announced; a short look again costs nothing here.
            let _ = tokio::time::timeout(LOOK_AGAIN, changed.changed()).await;
            if *changed.borrow() != seen {
                since = Instant::now();
            } else if since.elapsed() > STUCK {
                // Who tries again after a failure waits on this clock, which stands still.
                self.clock.advance(TimeDelta::seconds(1));
                since = Instant::now();
            }
        }
    }

    /// Looks in the order in which things move on, so that nothing slips from a place not yet looked at to one that was.
    async fn is_quiet(&self) -> bool {
        self.standin.unacknowledged() == 0
            && self.app.chats_waiting().await.is_ok_and(|chats| chats.is_empty())
            && self.app.outgoing().await.is_ok_and(|rows| rows.is_empty())
    }

    /// Lets the clock go to a moment at which something falls due, and sees it said. `false` if it stands still.
    async fn wake(&self, at: DateTime<Utc>, until: DateTime<Utc>) -> bool {
        self.clock.advance_to(at);
        if let Err(error) = self.app.tick(self.clock.now()).await {
            tracing::error!(%error, "reminders could not be worked out");
        }
        self.settle().await;
        if self.next_wake().await != Some(at) {
            return true;
        }
        // Nothing came of it; the clock goes on all the same.
        let before = self.clock.now();
        self.clock.advance_to(until.min(before + TimeDelta::minutes(1)));
        self.clock.now() > before
    }
}

fn part(role: Role) -> &'static str {
    match role {
        Role::Pumps => "pumps",
        Role::Helps => "",
        Role::ChildCare => "child care",
    }
}

#[async_trait]
impl Backstage for House {
    fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    async fn next_wake(&self) -> Option<DateTime<Utc>> {
        self.app.next_wake().await.ok().flatten()
    }

    async fn advance(&self, until: DateTime<Utc>) {
        // Two pages may let time pass at once; one after the other, nothing is said late.
        let _turn = self.turn.lock().await;
        self.settle().await;
        while let Some(wake) = self.next_wake().await.filter(|wake| *wake <= until) {
            if !self.wake(wake, until).await {
                break;
            }
        }
        self.clock.advance_to(until);
        self.standin.touch();
    }

    async fn belief(&self) -> Belief {
        match self.app.ledger(self.id).await {
            Ok(ledger) => belief::of(&ledger, self.clock.now()),
            Err(error) => {
                tracing::error!(%error, "the ledger can't be read");
                Belief::default()
            }
        }
    }
}
