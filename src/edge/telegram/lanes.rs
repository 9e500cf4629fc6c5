//! Takes updates from the inbox to the app: each chat has a lane, in which they go one after the other, in order. Each is
//! handled in a task of its own, so that a panic costs one update. What fails is tried again, then set aside and reported;
//! what can't be done because the database is away waits for it. Of several processes one handles a chat at a time.

use std::collections::HashSet;
use std::pin::Pin;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinSet;

use super::backoff::Backoff;
use super::translate::{self, Me};
use crate::app::gate::{InboxRow, Work};
use crate::app::{App, AppError};
use crate::clock::Clock;

const TRIES: i64 = 3;
/// How many lanes work at the same time.
const AT_ONCE: usize = 32;
/// How many updates a lane takes from the inbox at a time.
const TAKEN: i64 = 50;
/// How often the claim on a chat is renewed while its updates are handled.
const RENEWED: TimeDelta = TimeDelta::seconds(8);

#[derive(Clone)]
pub struct Lanes {
    app: Arc<App>,
    me: Me,
    clock: Clock,
    turns: Arc<Semaphore>,
    stop: watch::Receiver<bool>,
    handling: Handling,
}

/// How one update is handled; a field so that a test can see what a panic in it does.
type Handling =
    fn(Arc<App>, Me, InboxRow, DateTime<Utc>) -> Pin<Box<dyn Future<Output = Result<(), AppError>> + Send>>;

impl Lanes {
    pub fn new(app: Arc<App>, me: Me, clock: Clock, stop: watch::Receiver<bool>) -> Lanes {
        Lanes {
            app,
            me,
            clock,
            turns: Arc::new(Semaphore::new(AT_ONCE)),
            stop,
            handling: |app, me, row, received| Box::pin(handle(app, me, row, received)),
        }
    }

    /// Runs until told to stop, and until each lane has finished the update it is at.
    pub async fn run(self) {
        let mut inbox = self.app.changes().inbox();
        let mut stop = self.stop.clone();
        let mut lanes = JoinSet::new();
        let mut open: HashSet<Option<i64>> = HashSet::new();
        while !*stop.borrow() {
            inbox.borrow_and_update();
            for chat in self.chats_waiting().await {
                if open.insert(chat) {
                    let lane = self.clone();
                    lanes.spawn(async move {
                        lane.serve(chat).await;
                        chat
                    });
                }
            }
            tokio::select! {
                _ = stop.wait_for(|stop| *stop) => {}
                _ = inbox.changed() => {}
                Some(Ok(chat)) = lanes.join_next() => {
                    open.remove(&chat);
                    while let Some(Ok(chat)) = lanes.try_join_next() {
                        open.remove(&chat);
                    }
                }
            }
        }
        while lanes.join_next().await.is_some() {}
    }

    async fn chats_waiting(&self) -> Vec<Option<i64>> {
        self.patiently(|| self.app.chats_waiting()).await.unwrap_or_default()
    }

    /// Handles what waits in a chat until nothing does, if that is this process's part. What comes after that finds a new
    /// lane.
    async fn serve(&self, chat: Option<i64>) {
        let mut inbox = self.app.changes().inbox();
        loop {
            let rows = self.waiting_in(chat).await;
            if rows.is_empty() || *self.stop.borrow() {
                return;
            }
            // Whoever has it may not know of what came meanwhile, and may die.
            if let Some(expires) = self.claim(chat).await {
                self.wait_for_news(&mut inbox, expires).await;
                continue;
            }
            // What another process did before the chat was ours is done.
            let rows = if self.app.is_shared() { self.waiting_in(chat).await } else { rows };
            self.handle_all(chat, rows).await;
            return self.give_back(chat).await;
        }
    }

    async fn waiting_in(&self, chat: Option<i64>) -> Vec<InboxRow> {
        self.patiently(|| self.app.waiting_in(chat, TAKEN)).await.unwrap_or_default()
    }

    async fn handle_all(&self, chat: Option<i64>, mut rows: Vec<InboxRow>) {
        let mut claimed = self.clock.now();
        while !rows.is_empty() {
            for row in rows {
                let _turn = self.turns.acquire().await;
                if *self.stop.borrow() || !self.is_ours_still(chat, &mut claimed).await {
                    return;
                }
                self.see_through(&row).await;
            }
            rows = self.waiting_in(chat).await;
        }
    }

    /// Nothing if the chat is ours to handle, or when the claim of another process expires.
    async fn claim(&self, chat: Option<i64>) -> Option<DateTime<Utc>> {
        let chats = [chat.unwrap_or(0)];
        let claim = || {
            let now = self.clock.now();
            self.app.claim(Work::Handling, &chats, now, now)
        };
        self.patiently(claim).await.unwrap_or_default().into_iter().flatten().next()
    }

    async fn is_ours_still(&self, chat: Option<i64>, claimed: &mut DateTime<Utc>) -> bool {
        let now = self.clock.now();
        if now - *claimed < RENEWED {
            return true;
        }
        *claimed = now;
        self.claim(chat).await.is_none()
    }

    async fn give_back(&self, chat: Option<i64>) {
        if let Err(error) = self.app.release(Work::Handling, chat.unwrap_or(0), self.clock.now()).await {
            tracing::warn!(%error, "another process will handle the chat a little later");
        }
    }

    async fn wait_for_news(&self, inbox: &mut watch::Receiver<()>, until: DateTime<Utc>) {
        let mut stop = self.stop.clone();
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => {}
            _ = inbox.changed() => {}
            () = self.clock.sleep_until(until) => {}
        }
    }

    /// Until it is done, or set aside, or the program stops.
    async fn see_through(&self, row: &InboxRow) {
        let mut backoff = Backoff::default();
        loop {
            let how = self.attempt(row).await;
            let reason = match how {
                Attempt::Done => return,
                Attempt::Later(reason) => {
                    tracing::warn!(update = row.update, reason, "waiting for the database");
                    None
                }
                Attempt::Failed(reason) => Some(reason),
            };
            if let Some(reason) = reason
                && self.count(row, &reason).await >= TRIES
            {
                return;
            }
            if self.pause(&mut backoff).await {
                return;
            }
        }
    }

    async fn attempt(&self, row: &InboxRow) -> Attempt {
        let received = DateTime::from_timestamp_millis(row.received_ms).unwrap_or_default();
        let handling =
            tokio::spawn((self.handling)(self.app.clone(), self.me.clone(), row.clone(), received));
        match handling.await {
            Ok(Ok(())) => Attempt::Done,
            Ok(Err(error)) if error.is_done() => Attempt::Done,
            Ok(Err(error)) if error.is_passing() => Attempt::Later(error.to_string()),
            Ok(Err(error)) => Attempt::Failed(error.to_string()),
            Err(panic) => Attempt::Failed(panic.to_string()),
        }
    }

    /// Notes a failure; after too many the update is set aside. How many there were.
    async fn count(&self, row: &InboxRow, reason: &str) -> i64 {
        let tries = self.patiently(|| self.app.failed(row.update, reason)).await.unwrap_or_default();
        tracing::error!(update = row.update, tries, reason, "an update could not be handled");
        if tries >= TRIES {
            self.patiently(|| self.app.set_aside(row.update, reason)).await;
            self.tell_the_group(row).await;
            tracing::error!(update = row.update, "the update is set aside and not tried again");
        }
        tries
    }

    /// Whoever wrote it must not take it for noted.
    async fn tell_the_group(&self, row: &InboxRow) {
        let received = DateTime::from_timestamp_millis(row.received_ms).unwrap_or_default();
        let update = serde_json::from_str(&row.body).unwrap_or_default();
        if let Some(incoming) = translate::translate(&update, &self.me, received)
            && let Err(error) = self.app.apologise(&incoming).await
        {
            tracing::error!(update = row.update, %error, "the group could not be told");
        }
    }

    /// Asks the database until it answers, or the program stops.
    async fn patiently<T, F>(&self, ask: impl Fn() -> F) -> Option<T>
    where
        F: Future<Output = Result<T, AppError>>,
    {
        let mut backoff = Backoff::default();
        loop {
            match ask().await {
                Ok(answer) => return Some(answer),
                Err(error) => tracing::error!(%error, "the database does not answer"),
            }
            if self.pause(&mut backoff).await {
                return None;
            }
        }
    }

    /// Waits a while; true if the program stops.
    async fn pause(&self, backoff: &mut Backoff) -> bool {
        let mut stop = self.stop.clone();
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => true,
            () = self.clock.sleep(backoff.next()) => false,
        }
    }
}

enum Attempt {
    Done,
    Later(String),
    Failed(String),
}

async fn handle(app: Arc<App>, me: Me, row: InboxRow, received: DateTime<Utc>) -> Result<(), AppError> {
    let update = serde_json::from_str(&row.body).unwrap_or_default();
    match translate::translate(&update, &me, received) {
        Some(incoming) => app.handle(&incoming).await.map(drop),
        None => {
            tracing::debug!(update = row.update, "nothing in this update is for the bot");
            app.skip(row.update).await
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicI64, Ordering};

    use serde_json::json;

    use super::*;
    use crate::domain::household::Household;
    use crate::store::Store;

    const GROUP: i64 = -7;
    static BOOMS: AtomicI64 = AtomicI64::new(0);

    fn says(update: i64, text: &str) -> InboxRow {
        let body = json!({ "update_id": update, "message": {
            "message_id": update, "date": 1_800_000_000 + update, "text": text,
            "chat": { "id": GROUP, "type": "group" }, "from": { "id": 3, "is_bot": false, "first_name": "Ana" },
        }});
        InboxRow::new(update, Some(GROUP), body.to_string())
    }

    /// A message of this text is more than the program can bear.
    fn fragile(
        app: Arc<App>,
        me: Me,
        row: InboxRow,
        received: DateTime<Utc>,
    ) -> Pin<Box<dyn Future<Output = Result<(), AppError>> + Send>> {
        Box::pin(async move {
            if row.body.contains("boom") {
                BOOMS.fetch_add(1, Ordering::Relaxed);
                panic!("boom");
            }
            handle(app, me, row, received).await
        })
    }

    #[tokio::test]
    async fn a_panic_costs_one_message_and_the_chat_goes_on() {
        let store = Store::open("sqlite::memory:").await.unwrap();
        let app = Arc::new(App::new(store, "code".to_owned().into()));
        let now = DateTime::from_timestamp(1_800_000_000, 0).unwrap();
        let home = app.take_on(GROUP, &Household::default(), now).await.unwrap();
        let (_running, stop) = watch::channel(false);
        let me = Me { username: "milk_bot".into(), sees_all: true };
        let clock = Clock::virtual_at(now);
        let lanes = Lanes { handling: fragile, ..Lanes::new(app.clone(), me, clock.clone(), stop) };
        let rows = [says(1, "pumped 120 fridge"), says(2, "boom"), says(3, "fed 90")];
        app.receive(&rows, 0).await.unwrap();

        let serving = tokio::spawn(async move { lanes.serve(Some(GROUP)).await });
        while !serving.is_finished() {
            // Between its tries the lane waits for the clock.
            clock.advance(chrono::TimeDelta::minutes(1));
            tokio::task::yield_now().await;
        }

        let ledger = app.ledger(home).await.unwrap();
        assert_eq!(ledger.newest_first().count(), 2, "both other messages are noted");
        assert!(app.waiting_in(Some(GROUP), 10).await.unwrap().is_empty(), "the one is set aside");
        assert_eq!(BOOMS.load(Ordering::Relaxed), TRIES);
        let mut said = Vec::new();
        while let Some(next) = app.outgoing().await.unwrap().into_iter().next() {
            app.delivered(next.id, Some(100 + next.id)).await.unwrap();
            said.push(format!("{:?}", next.body));
        }
        assert_eq!(said.len(), 3);
        assert!(
            said.iter().any(|body| body.contains("could not handle") && body.contains("reply_to: Some(2)"))
        );
    }
}
