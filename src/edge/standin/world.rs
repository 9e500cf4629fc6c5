//! The platform's state: chats, people, posts, and the updates that wait for the bot.
//! Always true: update ids only grow; message ids are counted for each chat on its own; a chat that moved has no posts
//! added under its old id.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::faults::Faults;
use super::post::{Post, Sent};
use super::shape;

pub(super) const BOT_ID: i64 = 7_000_000_001;
pub(super) const BOT_NAME: &str = "Firstout";
pub(super) const BOT_USER: &str = "firstout_bot";

pub(super) struct World {
    pub reads_all: bool,
    pub chats: BTreeMap<i64, Chat>,
    /// Everybody who was ever named, by name.
    pub people: BTreeMap<String, i64>,
    pub updates: VecDeque<(i64, Value)>,
    pub last_update: i64,
    /// The kinds of update the bot asked for; all, until it says.
    pub allowed: BTreeSet<String>,
    /// How often somebody began to poll: a poll whose number has passed is over.
    pub polls: u64,
    /// How many polls wait at the moment.
    pub waiting: usize,
    /// Where updates are brought to, if the bot asked for that.
    pub webhook: Option<Webhook>,
    /// Presses that the platform still takes an answer to.
    pub taps: BTreeSet<String>,
    pub last_tap: u64,
    pub faults: Faults,
    pub commands: Value,
    pub sent: Vec<Sent>,
}

impl Default for World {
    fn default() -> World {
        World {
            reads_all: true,
            chats: BTreeMap::new(),
            people: BTreeMap::new(),
            updates: VecDeque::new(),
            last_update: 1000,
            allowed: BTreeSet::new(),
            polls: 0,
            waiting: 0,
            webhook: None,
            taps: BTreeSet::new(),
            last_tap: 0,
            faults: Faults::default(),
            commands: Value::Null,
            sent: Vec::new(),
        }
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Webhook {
    pub url: String,
    pub secret: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Private,
    Group,
    Supergroup,
}

pub(super) struct Chat {
    pub id: i64,
    pub kind: Kind,
    pub title: String,
    pub members: BTreeSet<String>,
    pub bot_in: bool,
    pub moved_to: Option<i64>,
    pub posts: BTreeMap<i64, Post>,
    pub last_post: i64,
}

impl Chat {
    pub(super) fn new(id: i64, kind: Kind, title: &str) -> Chat {
        Chat {
            id,
            kind,
            title: title.into(),
            members: BTreeSet::new(),
            bot_in: false,
            moved_to: None,
            posts: BTreeMap::new(),
            last_post: 0,
        }
    }

    /// Puts a post into the chat under the next id.
    pub(super) fn add(&mut self, draft: Draft, at: DateTime<Utc>) -> Post {
        self.last_post += 1;
        let post = Post {
            id: self.last_post,
            author: draft.author,
            by_bot: draft.by_bot,
            at,
            edited: None,
            text: draft.text,
            reply_to: draft.reply_to,
            buttons: draft.buttons,
            silent: draft.silent,
            file: draft.file,
            service: draft.service,
        };
        self.posts.insert(post.id, post.clone());
        post
    }
}

/// A post before it has a number and a time.
#[derive(Default)]
pub(super) struct Draft {
    pub author: String,
    pub by_bot: bool,
    pub text: String,
    pub reply_to: Option<i64>,
    pub buttons: Vec<Vec<super::Button>>,
    pub silent: bool,
    pub file: Option<super::File>,
    pub service: Option<Value>,
}

impl World {
    /// The id of the person of that name, who exists from now on.
    pub(super) fn person(&mut self, name: &str) -> i64 {
        let next = 4_000_001 + self.people.len() as i64;
        *self.people.entry(name.into()).or_insert(next)
    }

    /// Queues an update for the bot, unless it asked not to get that kind.
    pub(super) fn update(&mut self, kind: &str, body: Value) {
        if self.allowed.is_empty() || self.allowed.contains(kind) {
            self.last_update += 1;
            self.updates.push_back((self.last_update, json!({ "update_id": self.last_update, kind: body })));
        }
    }

    /// Queues a message or its edit, if the bot is there and may see it.
    pub(super) fn show(&mut self, kind: &str, chat: i64, post: &Post) {
        if self.may_see(chat, post) {
            let body = shape::message(self, chat, post);
            self.update(kind, body);
        }
    }

    /// With privacy mode on a bot in a group sees commands, replies to itself and what the platform says.
    fn may_see(&self, chat: i64, post: &Post) -> bool {
        let Some(chat) = self.chats.get(&chat).filter(|c| c.bot_in) else { return false };
        let replies_to_bot =
            post.reply_to.and_then(|to| chat.posts.get(&to)).is_some_and(|answered| answered.by_bot);
        self.reads_all
            || chat.kind == Kind::Private
            || post.service.is_some()
            || post.text.starts_with('/')
            || replies_to_bot
    }
}
