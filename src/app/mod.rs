//! The one path through the house: `handle` for what people do, `tick` for what time does. Each takes one household from
//! its ledger to new entries and what is to be sent, and commits all of it at once or nothing. A household is handled by one
//! task at a time; another process that was faster makes the commit stale, and then everything is worked out anew.

pub mod books;
pub mod gate;
mod guesses;
mod handle;
mod house;
mod post;
mod tick;
pub mod wire;
mod words;

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use chrono::{DateTime, Utc};
use secrecy::{ExposeSecret, SecretString};
use tokio::sync::Mutex;

use crate::domain::act::{Act, Code};
use crate::domain::household::Household;
use crate::domain::ledger::Ledger;
use crate::store::{HouseholdId, Store, StoreError};

use guesses::Guesses;
pub use house::House;
use house::is_stale;
pub use post::Key;
use wire::Incoming;

/// How many households' ledgers are kept in memory; the others are read again when they are needed.
const KEPT_IN_MEMORY: usize = 2000;
/// How often a commit is tried again when another process was faster.
const TRIES: usize = 8;

#[derive(Debug, thiserror::Error)]
pub enum AppError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("household {0}: the books don't add up: pumped, stored and found are not what became of them")]
    Unbalanced(i64),
    #[error("household {0}: an entry of the ledger can't be read: {1}")]
    Unreadable(i64, serde_json::Error),
    #[error("there is no household {0}")]
    NoHousehold(i64),
    #[error("household {0}: another process was always faster")]
    Busy(i64),
}

/// What was made of a message.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Heard {
    pub acts: Vec<Act>,
    /// The labels of containers that came on the books.
    pub codes: Vec<Code>,
}

/// What is done in a household, with its ledger in hand.
#[derive(Clone, Copy)]
enum Deed<'a> {
    Handle(&'a Incoming),
    Tick(DateTime<Utc>),
}

type Slot = Arc<Mutex<Option<House>>>;

#[derive(Debug)]
pub struct App {
    pub(crate) store: Store,
    /// What a group must give before it is served.
    setup_code: SecretString,
    /// Whether plain messages in groups reach the bot at all.
    sees_all: AtomicBool,
    slots: Mutex<HashMap<HouseholdId, Slot>>,
    guesses: Mutex<Guesses>,
}

impl App {
    pub fn new(store: Store, setup_code: SecretString) -> App {
        App {
            store,
            setup_code,
            sees_all: AtomicBool::new(true),
            slots: Mutex::default(),
            guesses: Mutex::default(),
        }
    }

    /// The platform told whether plain messages in groups reach the bot.
    pub fn set_sees_all(&self, sees_all: bool) {
        self.sees_all.store(sees_all, Ordering::Relaxed);
    }

    fn sees_all(&self) -> bool {
        self.sees_all.load(Ordering::Relaxed)
    }

    fn is_setup_code(&self, given: &str) -> bool {
        let (a, b) = (given.as_bytes(), self.setup_code.expose_secret().as_bytes());
        // Compared whole, so that the time taken tells nothing.
        a.len() == b.len() && a.iter().zip(b).fold(0, |d, (x, y)| d | (x ^ y)) == 0
    }

    /// Begins a household in a chat.
    pub async fn take_on(
        &self,
        chat: i64,
        household: &Household,
        now: DateTime<Utc>,
    ) -> Result<HouseholdId, AppError> {
        let settings = serde_json::to_string(household).map_err(|e| AppError::Unreadable(0, e))?;
        Ok(self.store.create_household(chat, &settings, now.timestamp_millis()).await?)
    }

    /// The ledger of a household as it stands.
    pub async fn ledger(&self, id: HouseholdId) -> Result<Ledger, AppError> {
        let slot = self.slot(id).await;
        let mut kept = slot.lock().await;
        let house = self.taken(id, &mut kept).await?;
        Ok(kept.insert(house).ledger.clone())
    }

    async fn slot(&self, id: HouseholdId) -> Slot {
        let mut slots = self.slots.lock().await;
        if slots.len() >= KEPT_IN_MEMORY && !slots.contains_key(&id) {
            // Whoever works on a household holds its slot; the others can be read again.
            slots.retain(|_, slot| Arc::strong_count(slot) > 1);
        }
        slots.entry(id).or_default().clone()
    }

    /// Does something in a household, anew each time that another process was faster.
    async fn in_house(&self, id: HouseholdId, deed: Deed<'_>) -> Result<Heard, AppError> {
        let slot = self.slot(id).await;
        for _ in 0..TRIES {
            let mut kept = slot.lock().await;
            let mut house = self.taken(id, &mut kept).await?;
            let done = match deed {
                Deed::Handle(incoming) => self.handle_in(&mut house, incoming).await,
                Deed::Tick(now) => self.say_due(&mut house, now).await,
            };
            match done {
                Ok(heard) => {
                    *kept = Some(house);
                    return Ok(heard);
                }
                Err(error) if is_stale(&error) => {}
                Err(error) => return Err(error),
            }
        }
        Err(AppError::Busy(id.0))
    }

    /// Takes a household out of its slot to work on it. Whoever has written what it did puts it back; after an error or a
    /// panic it isn't there, and is read again.
    async fn taken(&self, id: HouseholdId, kept: &mut Option<House>) -> Result<House, AppError> {
        match kept.take() {
            Some(house) => Ok(house),
            None => House::load(&self.store, id).await,
        }
    }
}
