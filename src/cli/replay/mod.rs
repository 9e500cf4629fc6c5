//! `firstout replay`: a written conversation through the same app that serves a group, on a clock that jumps from line to
//! line. The same script always prints the same bytes.

mod print;
mod script;

use std::io::Write;

use chrono::{DateTime, TimeDelta, Utc};
use secrecy::SecretString;

use crate::app::wire::{Body, Button, Event, Incoming, Sender};
use crate::app::{App, AppError, Heard, Key};
use crate::domain::fact::Reminder;
use crate::domain::ledger::Ledger;
use crate::store::{HouseholdId, InboxRow, OutboxRow, Store};

pub use print::{Form, Printer};
pub use script::{Deed, Line, Script, ScriptError, What, parse};

/// The one chat of a replay.
const CHAT: i64 = -1;
/// The bot's messages are numbered on from here, so that they never meet the lines' own numbers.
const BOT_MESSAGES: i64 = 1_000_000;

#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    #[error(transparent)]
    Script(#[from] ScriptError),
    #[error(transparent)]
    App(#[from] AppError),
    #[error("line {row}: {what}")]
    Line { row: usize, what: String },
    #[error("the books don't add up at the end")]
    Unbalanced,
    #[error("can't write: {0}")]
    Output(#[from] std::io::Error),
}

impl From<crate::store::StoreError> for ReplayError {
    fn from(error: crate::store::StoreError) -> ReplayError {
        ReplayError::App(error.into())
    }
}

/// What the group saw, in order.
#[derive(Debug, Clone, PartialEq)]
pub enum Seen {
    Heard {
        n: usize,
        at: DateTime<Utc>,
        by: String,
        what: Deed,
        heard: Heard,
    },
    Reply {
        at: DateTime<Utc>,
        bot: usize,
        to: usize,
        text: String,
        buttons: Vec<Button>,
    },
    Reminder {
        at: DateTime<Utc>,
        bot: usize,
        reminder: Reminder,
        text: String,
        buttons: Vec<Button>,
        silent: bool,
    },
    Edited {
        at: DateTime<Utc>,
        bot: usize,
        text: String,
        buttons: Vec<Button>,
    },
}

/// A message of the bot's as it stands in the chat now.
#[derive(Debug, Clone)]
struct BotMessage {
    buttons: Vec<Button>,
}

pub struct Replay {
    app: App,
    store: Store,
    id: HouseholdId,
    people: Vec<String>,
    said: usize,
    /// When each of the numbered lines was.
    sent: Vec<DateTime<Utc>>,
    bot: Vec<BotMessage>,
    updates: i64,
    /// Time only goes on: what was due earlier is said now.
    now: DateTime<Utc>,
    pub seen: Vec<Seen>,
}

/// Runs a script against a database and prints what the group would have seen.
pub async fn run(text: &str, database: &str, form: Form, out: &mut impl Write) -> Result<(), ReplayError> {
    let script = parse(text)?;
    let mut replay = Replay::begin(&script, database).await?;
    let mut printer = Printer::new(form, &script.household);
    for line in &script.lines {
        replay.step(line).await?;
        for seen in replay.seen.drain(..) {
            printer.seen(out, &seen)?;
        }
    }
    let end = script.lines.last().map(|l| l.at).unwrap_or_default();
    let ledger = replay.ledger().await?;
    if !ledger.stock().adds_up() {
        return Err(ReplayError::Unbalanced);
    }
    printer.end(out, &ledger, end)?;
    Ok(())
}

impl Replay {
    pub async fn begin(script: &Script, database: &str) -> Result<Replay, ReplayError> {
        let store = Store::open(database).await?;
        let app = App::new(store.clone(), SecretString::from("unused"));
        let start = script.lines.first().map(|l| l.at).unwrap_or_default();
        let id = app.take_on(CHAT, &script.household, start).await?;
        Ok(Replay {
            app,
            store,
            id,
            people: Vec::new(),
            said: 0,
            sent: Vec::new(),
            bot: Vec::new(),
            updates: 0,
            now: start,
            seen: Vec::new(),
        })
    }

    pub async fn ledger(&self) -> Result<Ledger, ReplayError> {
        Ok(self.app.ledger(self.id).await?)
    }

    /// Lets time pass to a line and does what it says.
    pub async fn step(&mut self, line: &Line) -> Result<(), ReplayError> {
        self.pass_until(line.at).await?;
        if let What::Does { by, deed } = &line.what {
            self.does(line, by, deed).await?;
        }
        Ok(())
    }

    /// Everything that falls due on the way is said at its moment.
    async fn pass_until(&mut self, at: DateTime<Utc>) -> Result<(), ReplayError> {
        let mut before = None;
        while let Some(wake) = self.app.next_wake().await?.filter(|wake| *wake <= at) {
            // A wake that nothing came of would be woken for again.
            let wake = wake.max(self.now);
            let wake = if before == Some(wake) { wake + TimeDelta::minutes(1) } else { wake };
            if wake > at {
                break;
            }
            self.now = wake;
            self.app.tick(wake).await?;
            self.deliver(wake).await?;
            before = Some(wake);
        }
        self.now = at;
        Ok(())
    }

    async fn does(&mut self, line: &Line, by: &str, deed: &Deed) -> Result<(), ReplayError> {
        self.said += 1;
        self.sent.push(line.at);
        self.updates += 1;
        let event = self.event(line, deed)?;
        let incoming = Incoming {
            update: self.updates,
            chat: CHAT,
            private: false,
            at: line.at,
            from: Some(Sender { id: self.person(by), name: by.to_owned() }),
            event,
        };
        let row = InboxRow::new(incoming.update, Some(CHAT), String::new());
        self.store.receive(&[row], line.at.timestamp_millis()).await?;
        let heard = self.app.handle(&incoming).await?;
        self.seen.push(Seen::Heard {
            n: self.said,
            at: line.at,
            by: by.to_owned(),
            what: deed.clone(),
            heard,
        });
        self.deliver(line.at).await
    }

    fn person(&mut self, name: &str) -> i64 {
        let i = self.people.iter().position(|p| p == name).unwrap_or_else(|| {
            self.people.push(name.to_owned());
            self.people.len() - 1
        });
        i as i64 + 1
    }

    fn event(&self, line: &Line, deed: &Deed) -> Result<Event, ReplayError> {
        let message = self.said as i64;
        let text_of = |text: &String, reply_to| Event::Text { message, text: text.clone(), reply_to };
        Ok(match deed {
            Deed::Says { text } => text_of(text, None),
            Deed::Replies { n, text } => text_of(text, Some(*n as i64)),
            Deed::RepliesToBot { n, text } => {
                self.bot_message(line, *n)?;
                text_of(text, Some(BOT_MESSAGES + *n as i64))
            }
            Deed::Edits { n, text } => {
                let sent = n.checked_sub(1).and_then(|i| self.sent.get(i)).copied().unwrap_or(line.at);
                Event::Edited { message: *n as i64, text: text.clone(), sent }
            }
            Deed::Taps { n, label } => {
                let (bot, data) = self.button(line, *n, label)?;
                Event::Tapped { message: BOT_MESSAGES + bot as i64, data, tap: format!("tap-{message}") }
            }
        })
    }

    fn bot_message(&self, line: &Line, n: usize) -> Result<&BotMessage, ReplayError> {
        let found = n.checked_sub(1).and_then(|i| self.bot.get(i));
        found.ok_or_else(|| ReplayError::Line { row: line.row, what: format!("the bot has no message {n}") })
    }

    fn button(&self, line: &Line, n: Option<usize>, label: &str) -> Result<(usize, String), ReplayError> {
        let has = |m: &BotMessage| {
            m.buttons.iter().find(|b| b.label.to_lowercase() == label.to_lowercase()).map(|b| b.data.clone())
        };
        let found = match n {
            Some(n) => has(self.bot_message(line, n)?).map(|data| (n, data)),
            None => {
                let newest = self.bot.iter().enumerate().rev();
                newest.into_iter().find_map(|(i, m)| has(m).map(|data| (i + 1, data)))
            }
        };
        found.ok_or_else(|| ReplayError::Line {
            row: line.row,
            what: format!("no message of the bot has a button \"{label}\""),
        })
    }

    /// Takes what lies in the outbox as a platform would.
    async fn deliver(&mut self, at: DateTime<Utc>) -> Result<(), ReplayError> {
        let ledger = self.ledger().await?;
        loop {
            let rows = self.store.outgoing().await?;
            if rows.is_empty() {
                return Ok(());
            }
            for row in rows {
                let message = self.see(&ledger, at, &row);
                self.store.delivered(row.id, message).await?;
            }
        }
    }

    /// One row as the group sees it; gives the number of a new message.
    fn see(&mut self, ledger: &Ledger, at: DateTime<Utc>, row: &OutboxRow) -> Option<i64> {
        match serde_json::from_str(&row.body).ok()? {
            Body::Send { text, buttons, silent, .. } => {
                self.bot.push(BotMessage { buttons: buttons.clone() });
                let bot = self.bot.len();
                let reminder = match row.dedupe.as_deref().and_then(Key::read) {
                    Some(Key::Reminder(seq)) => ledger.talk().reminder(seq).map(|r| r.reminder.clone()),
                    _ => None,
                };
                self.seen.push(match reminder {
                    Some(reminder) => Seen::Reminder { at, bot, reminder, text, buttons, silent },
                    None => Seen::Reply { at, bot, to: self.said, text, buttons },
                });
                Some(BOT_MESSAGES + bot as i64)
            }
            Body::Edit { text, buttons, .. } => {
                let bot = (row.edits? - BOT_MESSAGES) as usize;
                self.bot.get_mut(bot.checked_sub(1)?)?.buttons = buttons.clone();
                self.seen.push(Seen::Edited { at, bot, text, buttons });
                None
            }
            Body::Ack { .. } => None,
        }
    }
}
