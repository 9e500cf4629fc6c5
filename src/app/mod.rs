//! The one path through the house: `handle` for what people do, `tick` for what time does. Each takes one household from
//! its ledger to new entries and what is to be sent, and commits all of it at once or nothing. A household is handled by one
//! task at a time; another process that was faster makes the commit stale, and then everything is worked out anew.

pub mod books;
pub mod gate;
mod guesses;
mod handle;
mod house;
mod memory;
mod post;
mod tick;
pub mod wire;
mod words;

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
use memory::Memory;
pub use post::Key;
use wire::Incoming;

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

#[derive(Debug)]
pub struct App {
    pub(crate) store: Store,
    /// What a group must give before it is served.
    setup_code: SecretString,
    /// Whether plain messages in groups reach the bot at all.
    sees_all: AtomicBool,
    memory: Memory,
    guesses: Mutex<Guesses>,
}

impl App {
    pub fn new(store: Store, setup_code: SecretString) -> App {
        App {
            store,
            setup_code,
            sees_all: AtomicBool::new(true),
            memory: Memory::default(),
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

    /// The household that a chat talks for. Other processes may change that, where there are any.
    async fn home(&self, chat: i64) -> Result<Option<HouseholdId>, AppError> {
        if let Some(id) = self.memory.home(chat) {
            return Ok(Some(id));
        }
        let found = self.store.household_of_chat(chat).await?;
        if let Some(id) = found.filter(|_| !self.store.is_shared()) {
            self.memory.note_home(chat, id);
        }
        Ok(found)
    }

    /// The ledger of a household as it stands.
    pub async fn ledger(&self, id: HouseholdId) -> Result<Ledger, AppError> {
        let slot = self.memory.slot(id);
        let mut kept = slot.lock().await;
        let house = self.taken(id, &mut kept).await?;
        let ledger = house.ledger.clone();
        self.put_back(house, &mut kept);
        Ok(ledger)
    }

    fn put_back(&self, house: House, kept: &mut Option<House>) {
        let house = kept.insert(house);
        self.memory.note(house.id, Some(house));
    }

    /// Does something in a household, anew each time that another process was faster.
    async fn in_house(&self, id: HouseholdId, deed: Deed<'_>) -> Result<Heard, AppError> {
        let slot = self.memory.slot(id);
        for _ in 0..TRIES {
            let mut kept = slot.lock().await;
            let was_kept = kept.is_some();
            let mut house = self.taken(id, &mut kept).await?;
            let done = match deed {
                Deed::Handle(incoming) => self.handle_in(&mut house, incoming).await,
                Deed::Tick(now) => self.say_due(&mut house, now).await,
            };
            match done {
                // A household that nobody writes in need not be remembered until its next reminder.
                Ok(heard) if was_kept || matches!(deed, Deed::Handle(_)) => {
                    self.put_back(house, &mut kept);
                    return Ok(heard);
                }
                Ok(heard) => {
                    self.memory.note(id, None);
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
