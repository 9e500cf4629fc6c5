//! The room: a local page where a visitor plays an invented household and its clock, and sees what the bot believes.
//! Always true: the page reaches the bot only as people do, through the stand-in of the platform; what it shows beside
//! the chat is read from the house behind it and never written.

mod hours;
mod server;
mod view;

use std::sync::Arc;

use async_trait::async_trait;
use axum::Router;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;

use super::standin::Standin;

/// What the room needs of the house behind it.
#[async_trait]
pub trait Backstage: Send + Sync + 'static {
    /// The visitor's time. It stands still unless `advance` moves it.
    fn now(&self) -> DateTime<Utc>;

    /// When time alone next makes the bot do something; `None` if nothing lies ahead.
    async fn next_wake(&self) -> Option<DateTime<Utc>>;

    /// Lets time pass up to `until`. What people said before is handled first; whatever falls due on the way is worked
    /// on at its own moment, and has arrived in the chat when this returns.
    async fn advance(&self, until: DateTime<Utc>);

    /// What the bot believes at this moment.
    async fn belief(&self) -> Belief;
}

/// Who plays, and where.
#[derive(Debug, Clone)]
pub struct Setting {
    /// The group's id in the stand-in, with everybody and the bot in it.
    pub chat: i64,
    pub zone: Tz,
    /// In the order in which they are offered to the visitor.
    pub people: Vec<Player>,
}

#[derive(Debug, Clone, Serialize)]
pub struct Player {
    /// As in the stand-in's group.
    pub name: String,
    /// What they are in the household, for instance "pumps"; may be empty.
    pub part: String,
}

#[derive(Debug, Clone, Default)]
pub struct Belief {
    /// Places that hold something, in the order of the house.
    pub shelves: Vec<Shelf>,
    /// Amounts that are on no shelf or concern all of them: a name and an amount.
    pub totals: Vec<(String, String)>,
    /// What the bot would do next for tomorrow, a line each.
    pub plan: Vec<String>,
}

#[derive(Debug, Clone)]
pub struct Shelf {
    /// `room`, `cooler`, `fridge`, `freezer` or `deep_freezer`: the colour of the board.
    pub key: &'static str,
    /// For instance "Fridge", or "Fridge at work".
    pub name: String,
    pub total: String,
    /// In the order in which to use them.
    pub tapes: Vec<Tape>,
}

/// A container, as the strip of tape on it would say.
#[derive(Debug, Clone)]
pub struct Tape {
    pub code: i64,
    pub amount: String,
    pub state: String,
    /// 1 for the container to use next of all; `None` for one that isn't to be suggested.
    pub turn: Option<u32>,
    pub expressed: Option<DateTime<Utc>>,
    pub best_by: Option<DateTime<Utc>>,
    pub use_by: Option<DateTime<Utc>>,
    /// Whose rule gives the clock, and on which condition.
    pub why: String,
    /// Why not to use it as it is: on hold, past, age unknown.
    pub caution: Option<String>,
}

/// The page and the platform behind it.
#[derive(Clone)]
pub struct Room {
    standin: Standin,
    setting: Arc<Setting>,
    behind: Arc<dyn Backstage>,
}

impl Room {
    pub fn new(standin: Standin, setting: Setting, behind: Arc<dyn Backstage>) -> Room {
        Room { standin, setting: Arc::new(setting), behind }
    }

    /// The page at `/`, what it asks for under `/room/`, and the Bot API.
    pub fn router(&self) -> Router {
        server::routes(self.clone()).merge(self.standin.router())
    }
}
