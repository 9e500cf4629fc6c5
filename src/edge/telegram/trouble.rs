//! When what people write can't be stored for a while, they are told: receipts and reminders may be missed by then. The
//! platform is asked straight away, since nothing can be put in the outbox. Once in a chat for as long as it lasts, and only
//! in chats that are known to be served.

use std::collections::HashSet;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::api::{Api, Messenger};
use crate::app::App;
use crate::app::gate::InboxRow;
use crate::app::wire::{Body, Class, Outgoing};
use crate::clock::Clock;

/// What passes sooner concerns nobody.
const TOLD_AFTER: TimeDelta = TimeDelta::seconds(30);

pub struct Trouble {
    app: Arc<App>,
    api: Api,
    clock: Clock,
    since: Option<DateTime<Utc>>,
    told: HashSet<i64>,
}

impl Trouble {
    pub fn new(app: Arc<App>, api: Api, clock: Clock) -> Trouble {
        Trouble { app, api, clock, since: None, told: HashSet::new() }
    }

    pub fn is_over(&mut self) {
        if self.since.take().is_some() {
            tracing::info!("updates are stored again");
        }
        self.told.clear();
    }

    /// These could not be stored.
    pub async fn goes_on(&mut self, rows: &[InboxRow]) {
        let now = self.clock.now();
        if now - *self.since.get_or_insert(now) < TOLD_AFTER {
            return;
        }
        let chats: HashSet<i64> = rows.iter().filter_map(|row| row.chat).collect();
        for chat in chats.difference(&self.told.clone()) {
            let Some(text) = self.app.words_of_trouble(*chat, now).await else { continue };
            let body = Body::Send { text, buttons: Vec::new(), reply_to: None, silent: false };
            let outgoing = Outgoing { id: 0, chat: *chat, class: Class::Urgent, body, edits: None };
            match self.api.deliver(&outgoing).await {
                Ok(_) => drop(self.told.insert(*chat)),
                Err(refusal) => tracing::warn!(chat, %refusal, "the group can't be told"),
            }
        }
    }
}
