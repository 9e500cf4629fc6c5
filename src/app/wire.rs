//! What comes in from a chat platform and what goes out to it, free of any platform's own shapes.
//! Every edge translates to and from these; the app knows nothing else of the outside.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// One thing that happened in a chat.
#[derive(Debug, Clone, PartialEq)]
pub struct Incoming {
    /// The platform's id of the update; the key of its row in the inbox.
    pub update: i64,
    pub chat: i64,
    /// A chat between one person and the bot, not a group.
    pub private: bool,
    /// The platform's time of the message, never the time at which it arrived.
    pub at: DateTime<Utc>,
    pub from: Option<Sender>,
    pub event: Event,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sender {
    pub id: i64,
    pub name: String,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    Text {
        message: i64,
        text: String,
        /// The message this one replies to, by its id in the chat.
        reply_to: Option<i64>,
    },
    Edited {
        message: i64,
        text: String,
        /// When the message was first sent; the update has the time of the change.
        sent: DateTime<Utc>,
    },
    /// A button of the bot's message was pressed. `tap` is what the platform wants to see answered.
    Tapped {
        message: i64,
        data: String,
        tap: String,
    },
    /// A photo, a voice message, a sticker: nothing to read.
    Unreadable {
        message: i64,
    },
    /// The bot was added to the chat; `sees_all`: whether the platform shows it plain messages.
    Added {
        sees_all: bool,
    },
    Removed,
    /// Somebody left the chat, or was put out.
    Left {
        member: i64,
    },
    /// The chat has a new id from now on.
    Migrated {
        to: i64,
    },
}

/// In which order things are sent: the first class first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    /// Milk is about to be lost, or people must act now.
    Urgent,
    Answer,
    Reminder,
    Digest,
}

impl Class {
    pub fn rank(self) -> i64 {
        self as i64
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Button {
    pub label: String,
    /// At most 64 bytes.
    pub data: String,
}

/// What is to be sent, as it lies in the outbox.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "type", rename_all = "snake_case")]
pub enum Body {
    Send {
        text: String,
        buttons: Vec<Button>,
        /// The message answered, by its id in the chat.
        reply_to: Option<i64>,
        silent: bool,
    },
    /// A message of the bot's is changed in place: the one that outbox row `of` became.
    Edit { of: i64, text: String, buttons: Vec<Button> },
    /// Tells the platform that a button press was seen.
    Ack { tap: String },
}

/// An outbox row that is to be delivered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    pub id: i64,
    pub chat: i64,
    pub class: Class,
    pub body: Body,
    /// For `Body::Edit`: the platform's id of the message to change, if it was delivered.
    pub edits: Option<i64>,
}
