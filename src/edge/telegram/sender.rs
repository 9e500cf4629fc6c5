//! Takes what is to be sent from the outbox to the platform: by class, within the platform's limits, one at a time in each
//! chat. Always true: a row is marked after the platform has taken it, and a chat that is refused for a while holds up no
//! other. A crash between the two sends one message twice, never none.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use tokio::sync::watch;
use tokio::task::{Id, JoinSet};

use super::api::{Messenger, Refusal};
use super::backoff::Backoff;
use super::pacing::Pacer;
use crate::app::wire::{Body, Outgoing};
use crate::app::{App, AppError};
use crate::clock::Clock;

type Time = DateTime<Utc>;

pub struct Sender<M> {
    app: Arc<App>,
    messenger: Arc<M>,
    clock: Clock,
    pacer: Option<Pacer>,
    /// Chats that are to be left alone until then.
    held: HashMap<i64, (Time, Backoff)>,
    /// What is on its way, and the chat it goes to.
    busy: HashMap<Id, i64>,
    running: JoinSet<Result<(), Refusal>>,
}

impl<M: Messenger> Sender<M> {
    pub fn new(app: Arc<App>, messenger: Arc<M>, clock: Clock, paced: bool) -> Sender<M> {
        Sender {
            app,
            messenger,
            clock,
            pacer: paced.then(Pacer::default),
            held: HashMap::new(),
            busy: HashMap::new(),
            running: JoinSet::new(),
        }
    }

    /// Runs until told to stop; then sends what can go at once, and sees what is on its way through.
    pub async fn run(mut self, mut stop: watch::Receiver<bool>) {
        let mut outbox = self.app.changes().outbox();
        let mut database = Backoff::default();
        let clock = self.clock.clone();
        while !*stop.borrow() {
            outbox.borrow_and_update();
            let next = match self.start_ready().await {
                Ok(next) => {
                    database = Backoff::default();
                    next
                }
                Err(error) => {
                    tracing::error!(%error, "the database does not tell what is to be sent");
                    Some(self.clock.now() + database.next())
                }
            };
            tokio::select! {
                _ = stop.wait_for(|stop| *stop) => {}
                _ = outbox.changed() => {}
                () = self.finish_one() => {}
                () = sleep_until(&clock, next) => {}
            }
        }
        self.finish().await;
    }

    async fn finish(&mut self) {
        loop {
            if let Err(error) = self.start_ready().await {
                tracing::error!(%error, "what is to be sent will be sent after the next start");
            }
            if self.running.is_empty() {
                return;
            }
            self.finish_one().await;
        }
    }

    /// Starts all that may go now; gives the time at which more may.
    async fn start_ready(&mut self) -> Result<Option<Time>, AppError> {
        let now = self.clock.now();
        let mut next: Option<Time> = None;
        for row in self.app.outgoing().await? {
            if self.busy.values().any(|chat| *chat == row.chat) {
                continue;
            }
            let ready = self.ready(&row);
            if ready <= now {
                self.start(row, now);
            } else {
                next = Some(next.map_or(ready, |next| next.min(ready)));
            }
        }
        Ok(next)
    }

    fn ready(&self, row: &Outgoing) -> Time {
        let held = self.held.get(&row.chat).map_or(Time::MIN_UTC, |(until, _)| *until);
        match &self.pacer {
            Some(pacer) if is_counted(&row.body) => held.max(pacer.ready(row.chat)),
            _ => held,
        }
    }

    fn start(&mut self, row: Outgoing, now: Time) {
        let chat = row.chat;
        if let Some(pacer) = &mut self.pacer
            && is_counted(&row.body)
        {
            pacer.record(chat, now);
        }
        let sending = send(self.app.clone(), self.messenger.clone(), self.clock.clone(), row);
        let id = self.running.spawn(sending).id();
        self.busy.insert(id, chat);
    }

    /// Waits for one of those on their way; for ever, if there is none.
    async fn finish_one(&mut self) {
        let Some(ended) = self.running.join_next_with_id().await else { return std::future::pending().await };
        let (id, how) = match ended {
            Ok((id, how)) => (id, how),
            Err(panic) => (panic.id(), Err(Refusal::Later(panic.to_string()))),
        };
        let Some(chat) = self.busy.remove(&id) else { return };
        match how {
            Ok(()) => {
                self.held.remove(&chat);
            }
            Err(refusal) => self.hold(chat, &refusal),
        }
    }

    fn hold(&mut self, chat: i64, refusal: &Refusal) {
        let (_, mut backoff) = self.held.get(&chat).copied().unwrap_or_default();
        let wait = match refusal {
            Refusal::TooMany(wait) => *wait,
            _ => backoff.next(),
        };
        tracing::warn!(chat, %refusal, seconds = wait.num_seconds(), "not sent; it is tried again");
        self.held.insert(chat, (self.clock.now() + wait, backoff));
    }
}

/// The platform limits messages and changes of them; that a press was seen may always be said.
fn is_counted(body: &Body) -> bool {
    !matches!(body, Body::Ack { .. })
}

/// Sends one row and marks what became of it. An error means that it is to be tried again.
async fn send<M: Messenger>(
    app: Arc<App>,
    messenger: Arc<M>,
    clock: Clock,
    row: Outgoing,
) -> Result<(), Refusal> {
    match messenger.deliver(&row).await {
        Ok(message) => mark(&clock, || app.delivered(row.id, message)).await,
        Err(Refusal::Never(reason)) => {
            tracing::warn!(row = row.id, chat = row.chat, reason, "given up");
            mark(&clock, || app.given_up(row.id, &reason)).await;
        }
        Err(Refusal::Moved(to)) => {
            tracing::info!(chat = row.chat, to, "the chat has moved");
            mark(&clock, || app.moved(row.chat, to)).await;
        }
        Err(again) => return Err(again),
    }
    Ok(())
}

/// Writes down what has happened, however long the database takes: not to know it would be to send again.
async fn mark<F>(clock: &Clock, write: impl Fn() -> F)
where
    F: Future<Output = Result<(), AppError>>,
{
    let mut backoff = Backoff::default();
    while let Err(error) = write().await {
        tracing::error!(%error, "what was sent can't be noted yet");
        clock.sleep(backoff.next()).await;
    }
}

async fn sleep_until(clock: &Clock, until: Option<Time>) {
    match until {
        Some(until) => clock.sleep_until(until).await,
        None => std::future::pending().await,
    }
}
