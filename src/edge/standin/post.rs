//! What can be seen in a chat, and what the bot did there. Plain data.

use chrono::{DateTime, Utc};
use serde::Serialize;

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Post {
    /// Counted for each chat on its own.
    pub id: i64,
    pub author: String,
    pub by_bot: bool,
    pub at: DateTime<Utc>,
    pub edited: Option<DateTime<Utc>>,
    pub text: String,
    pub reply_to: Option<i64>,
    /// Row by row.
    pub buttons: Vec<Vec<Button>>,
    /// Phones make no sound.
    pub silent: bool,
    pub file: Option<File>,
    /// What the platform itself says in a chat, in the platform's shape.
    #[serde(skip)]
    pub(super) service: Option<serde_json::Value>,
}

impl Post {
    /// The button of that label.
    pub fn button(&self, label: &str) -> Option<&Button> {
        self.buttons.iter().flatten().find(|b| b.label == label)
    }

    /// The platform itself says it: somebody came, the group moved.
    pub fn is_service(&self) -> bool {
        self.service.is_some()
    }

    pub fn labels(&self) -> Vec<&str> {
        self.buttons.iter().flatten().map(|b| b.label.as_str()).collect()
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Button {
    pub label: String,
    pub data: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct File {
    /// `photo` or `document`.
    pub kind: &'static str,
    pub name: String,
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

/// One thing the bot did and the platform accepted.
#[derive(Debug, Clone, PartialEq)]
pub struct Sent {
    /// 0 where no chat is concerned.
    pub chat: i64,
    pub what: What,
}

#[derive(Debug, Clone, PartialEq)]
pub enum What {
    Message(Post),
    Edited(Post),
    Deleted(i64),
    /// A press was answered, with the words shown to whoever pressed.
    Answered {
        tap: String,
        text: String,
    },
    Commands,
    Left,
}
