//! A stand-in of the Bot API over HTTP, in memory: the platform as the bot sees it, and on the other side the people,
//! their messages and their presses. The room is built on it, and so is every test of the Telegram edge.
//! Always true: it keeps the platform's limits and answers its errors, it stamps messages with the time it is given, and
//! whatever the bot did is in the log in the order in which it was accepted.

mod bot;
mod faults;
mod params;
mod people;
mod post;
mod server;
mod shape;
mod webhook;
mod world;

use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Utc};
use tokio::sync::watch;

pub use faults::Fault;
pub use people::Mistake;
pub use post::{Button, File, Post, Sent, What};
use world::World;

/// A handle on the one platform; clones share it.
#[derive(Clone)]
pub struct Standin {
    shared: Arc<Shared>,
}

struct Shared {
    token: String,
    now: Box<dyn Fn() -> DateTime<Utc> + Send + Sync>,
    world: Mutex<World>,
    version: watch::Sender<u64>,
}

impl Standin {
    /// A platform with one bot, which `token` opens, and no chats. `now` stamps what is said.
    pub fn new(token: &str, now: impl Fn() -> DateTime<Utc> + Send + Sync + 'static) -> Standin {
        Standin {
            shared: Arc::new(Shared {
                token: token.into(),
                now: Box::new(now),
                world: Mutex::new(World::default()),
                version: watch::Sender::new(0),
            }),
        }
    }

    /// Grows with every change; waiting for it to change is how to wait for anything.
    pub fn version(&self) -> watch::Receiver<u64> {
        self.shared.version.subscribe()
    }

    /// Wakes whoever waits for news, when something outside the platform has changed.
    pub fn touch(&self) {
        self.change(|_, _| ());
    }

    /// Everything the bot has done so far.
    pub fn sent(&self) -> Vec<Sent> {
        self.look(|world| world.sent.clone())
    }

    /// Reads what the bot does from now on, one thing after the other.
    pub fn follow(&self) -> Follow {
        Follow { next: self.look(|world| world.sent.len()), standin: self.clone(), version: self.version() }
    }

    /// All that can be seen in a chat, oldest first.
    pub fn posts(&self, chat: i64) -> Vec<Post> {
        self.look(|world| {
            world.chats.get(&chat).map(|c| c.posts.values().cloned().collect()).unwrap_or_default()
        })
    }

    /// How many updates the bot hasn't acknowledged yet.
    pub fn unacknowledged(&self) -> usize {
        self.look(|world| world.updates.len())
    }

    /// How many long polls are waiting.
    pub fn pollers(&self) -> usize {
        self.look(|world| world.waiting)
    }

    /// The commands the bot registered, as it gave them.
    pub fn commands(&self) -> serde_json::Value {
        self.look(|world| world.commands.clone())
    }

    /// Privacy mode: off (`true`) lets the bot see plain messages in groups, as it is at first here.
    pub fn bot_reads_all(&self, reads_all: bool) {
        self.change(|world, _| world.reads_all = reads_all);
    }

    /// The next `times` calls of `method` (`*`: any), for `chat` alone if one is given, meet this fault.
    pub fn fail(&self, method: &str, chat: Option<i64>, times: u32, fault: Fault) {
        self.change(|world, _| world.faults.script(method, chat, times, fault));
    }

    fn look<T>(&self, read: impl FnOnce(&World) -> T) -> T {
        read(&self.shared.world.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Everything that changes the world goes through here, so nobody who waits misses it.
    fn change<T>(&self, write: impl FnOnce(&mut World, DateTime<Utc>) -> T) -> T {
        let now = (self.shared.now)();
        let result = write(&mut self.shared.world.lock().unwrap_or_else(PoisonError::into_inner), now);
        self.shared.version.send_modify(|version| *version += 1);
        result
    }
}

/// A reader of the bot's log.
pub struct Follow {
    standin: Standin,
    version: watch::Receiver<u64>,
    next: usize,
}

impl Follow {
    /// The next thing the bot does, as soon as it is done.
    pub async fn next(&mut self) -> Sent {
        loop {
            self.version.borrow_and_update();
            if let Some(sent) = self.standin.look(|world| world.sent.get(self.next).cloned()) {
                self.next += 1;
                return sent;
            }
            if self.version.changed().await.is_err() {
                std::future::pending::<()>().await;
            }
        }
    }

    /// The next message, new or changed, with the chat it is in.
    pub async fn next_post(&mut self) -> (i64, Post) {
        loop {
            let sent = self.next().await;
            if let What::Message(post) | What::Edited(post) = sent.what {
                return (sent.chat, post);
            }
        }
    }

    /// What the bot has done and was not read yet, without waiting.
    pub fn unread(&mut self) -> Vec<Sent> {
        let unread = self.standin.look(|world| world.sent[self.next..].to_vec());
        self.next += unread.len();
        unread
    }
}
