//! Takes what is to be sent from the outbox to the platform: by class, within the platform's limits, one at a time in each
//! chat. Always true: a row is marked after the platform has taken it, and a chat that is refused for a while holds up no
//! other. Of several processes one sends to a chat at a time. A crash between the two sends one message twice, never none.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::watch;
use tokio::task::{Id, JoinError, JoinSet};

use super::api::{Messenger, Refusal};
use super::backoff::Backoff;
use super::pacing::Pacer;
use super::queue::Queue;
use crate::app::gate::Work;
use crate::app::wire::{Body, Class, Outgoing};
use crate::app::{App, AppError};
use crate::clock::Clock;

type Time = DateTime<Utc>;

/// How many messages are on their way at the same time.
const AT_ONCE: usize = 64;
const LOOK_AGAIN: TimeDelta = TimeDelta::seconds(20);

pub struct Sender<M> {
    app: Arc<App>,
    messenger: Arc<M>,
    clock: Clock,
    pacer: Option<Pacer>,
    queue: Queue,
    /// The latest time that was seen.
    seen: Time,
    /// Chats that are to be left alone until then.
    held: HashMap<i64, (Time, Backoff)>,
    /// What is on its way.
    busy: HashMap<Id, Outgoing>,
    running: JoinSet<Result<Ended, Refusal>>,
    outbox: watch::Receiver<()>,
    /// Rows have gone to other chats: all of them are to be read again.
    moves: watch::Receiver<()>,
    /// Not all that waits was read, because of what is on its way.
    left_out: bool,
}

/// What became of a row.
enum Ended {
    /// It is this message now, or there is none.
    Said(Option<i64>),
    /// It waits in another chat.
    Moved,
}

impl<M: Messenger> Sender<M> {
    pub fn new(app: Arc<App>, messenger: Arc<M>, clock: Clock, paced: bool) -> Sender<M> {
        let (mut outbox, mut moves) = (app.changes().outbox(), app.changes().moves());
        // What waits from before is read at the beginning.
        outbox.mark_changed();
        moves.mark_unchanged();
        Sender {
            app,
            messenger,
            clock,
            pacer: paced.then(Pacer::default),
            queue: Queue::default(),
            seen: Time::MIN_UTC,
            held: HashMap::new(),
            busy: HashMap::new(),
            running: JoinSet::new(),
            outbox,
            moves,
            left_out: false,
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
                () = self.finish_some() => {}
                () = sleep_until(&clock, next) => {}
            }
        }
        if let Err(error) = self.send_ready().await {
            tracing::error!(%error, "what is to be sent will be sent after the next start");
        }
        while !self.running.is_empty() {
            self.finish_some().await;
        }
    }

    /// Sends all that may go now and sees it through; gives the time at which more may.
    pub async fn send_ready(&mut self) -> Result<Option<Time>, AppError> {
        loop {
            let next = self.start_ready().await?;
            if self.running.is_empty() {
                return Ok(next);
            }
            self.finish_some().await;
        }
    }

    /// Starts all that may go now; gives the time at which more may.
    async fn start_ready(&mut self) -> Result<Option<Time>, AppError> {
        let now = self.look_at_clock();
        self.refresh().await?;
        self.queue.wake(now);
        let chosen = self.choose(now);
        for row in self.claimed(chosen, now).await? {
            self.start(row);
        }
        let all = self.pacer.as_ref().map(Pacer::ready).filter(|ready| *ready > now);
        Ok([self.queue.wakes(), all.filter(|_| self.queue.next(false).is_some())].into_iter().flatten().min())
    }

    /// Where the clock was set back, what was to be waited for lies too far off: it is forgotten.
    fn look_at_clock(&mut self) -> Time {
        let now = self.clock.now();
        if now < self.seen {
            tracing::warn!(seconds = (self.seen - now).num_seconds(), "the clock was set back");
            self.held.clear();
            self.pacer = self.pacer.take().map(|_| Pacer::default());
            // What sleeps there is read again.
            self.moves.mark_changed();
        }
        self.seen = now;
        now
    }

    /// Reads what is new in the outbox.
    async fn refresh(&mut self) -> Result<(), AppError> {
        // Other processes send as well: then nothing that was read before is certain.
        if self.moves.has_changed().unwrap_or(false) || self.app.is_shared() {
            self.queue.clear();
            self.outbox.mark_changed();
        }
        if !self.outbox.has_changed().unwrap_or(true) {
            return Ok(());
        }
        self.outbox.mark_unchanged();
        self.moves.mark_unchanged();
        let read = self.app.outgoing_after(self.queue.last()).await;
        if read.is_err() {
            self.outbox.mark_changed();
        }
        self.take_in(read?);
        Ok(())
    }

    fn take_in(&mut self, rows: Vec<Outgoing>) {
        let busy: HashMap<i64, i64> = self.busy.values().map(|row| (row.id, row.chat)).collect();
        // What is on its way to a chat that has moved may come to be sent again, before the others there.
        let moving = rows.iter().filter(|row| busy.get(&row.id).is_some_and(|chat| *chat != row.chat));
        let moving: HashSet<i64> = moving.map(|row| row.chat).collect();
        self.left_out |= !moving.is_empty();
        for row in rows {
            if !busy.contains_key(&row.id) && !moving.contains(&row.chat) {
                self.queue.add(row);
            }
        }
    }

    /// Takes what may go now from the queue.
    fn choose(&mut self, now: Time) -> Vec<Outgoing> {
        let mut chosen = Vec::new();
        while self.busy.len() + chosen.len() < AT_ONCE {
            let answers_first = self.pacer.as_ref().is_some_and(|pacer| pacer.urgent_had_its_part(now));
            let Some(row) = self.queue.next(answers_first).cloned() else { break };
            let (all, chat) = self.ready(&row);
            if all > now {
                break;
            }
            if chat > now {
                self.queue.sleep(row.chat, chat);
                continue;
            }
            if let Some(pacer) = self.pacer.as_mut().filter(|_| is_counted(&row.body)) {
                pacer.record(row.chat, row.class == Class::Urgent, now);
            }
            self.queue.take(&row);
            chosen.push(row);
        }
        chosen
    }

    /// From when on a row may go, as far as all chats and as far as its own is concerned.
    fn ready(&self, row: &Outgoing) -> (Time, Time) {
        let held = self.held.get(&row.chat).map_or(Time::MIN_UTC, |(until, _)| *until);
        match &self.pacer {
            Some(pacer) if is_counted(&row.body) => (pacer.ready(), held.max(pacer.ready_in(row.chat))),
            _ => (Time::MIN_UTC, held),
        }
    }

    /// Of several processes one sends to a chat at a time; those rows that are ours.
    async fn claimed(&mut self, rows: Vec<Outgoing>, now: Time) -> Result<Vec<Outgoing>, AppError> {
        if !self.app.is_shared() || rows.is_empty() {
            return Ok(rows);
        }
        let chats: Vec<i64> = rows.iter().map(|row| row.chat).collect();
        let others = self.app.claim(Work::Sending, &chats, now, now).await?;
        // What another sent before the chat was ours is sent: only what is there now counts.
        let waiting: HashSet<i64> = self.app.outgoing().await?.into_iter().map(|row| row.id).collect();
        let mut ours = Vec::new();
        for (row, other) in rows.into_iter().zip(others) {
            match other {
                Some(expires) => self.queue.again(row, expires),
                None if waiting.contains(&row.id) => ours.push(row),
                None => {
                    self.queue.ended(&row, None);
                    self.app.release(Work::Sending, row.chat, now).await?;
                }
            }
        }
        Ok(ours)
    }

    fn start(&mut self, row: Outgoing) {
        // Another process keeps to our pace by getting the chat only then.
        let free = self.pacer.as_ref().map_or(self.clock.now(), |pacer| pacer.ready_in(row.chat));
        let sending = send(self.app.clone(), self.messenger.clone(), self.clock.clone(), row.clone(), free);
        let id = self.running.spawn(sending).id();
        self.busy.insert(id, row);
    }

    /// Waits for one of those on their way, and takes in those that have arrived by then; for ever, if there is none.
    async fn finish_some(&mut self) {
        let Some(ended) = self.running.join_next_with_id().await else { return std::future::pending().await };
        self.finish(ended).await;
        while let Some(ended) = self.running.try_join_next_with_id() {
            self.finish(ended).await;
        }
    }

    async fn finish(&mut self, ended: Result<(Id, Result<Ended, Refusal>), JoinError>) {
        let (id, how) = match ended {
            Ok((id, how)) => (id, how),
            Err(panic) => (panic.id(), Err(Refusal::Later(panic.to_string()))),
        };
        let Some(row) = self.busy.remove(&id) else { return };
        if std::mem::take(&mut self.left_out) {
            self.moves.mark_changed();
        }
        match how {
            Ok(Ended::Said(message)) => {
                self.held.remove(&row.chat);
                self.queue.ended(&row, message);
            }
            Ok(Ended::Moved) => {
                self.queue.ended(&row, None);
                self.moves.mark_changed();
            }
            Err(refusal) => self.hold(row, &refusal).await,
        }
    }

    async fn hold(&mut self, row: Outgoing, refusal: &Refusal) {
        let chat = row.chat;
        let (_, mut backoff) = self.held.get(&chat).copied().unwrap_or_default();
        let wait = match refusal {
            Refusal::TooMany(wait) => *wait,
            _ => backoff.next(),
        };
        tracing::warn!(chat, %refusal, seconds = wait.num_seconds(), "not sent; it is tried again");
        let now = self.clock.now();
        self.held.insert(chat, (now + wait, backoff));
        self.queue.again(row, now + wait);
        // So that no other process tries before.
        if let Err(error) = self.app.claim(Work::Sending, &[chat], now, now + wait).await {
            tracing::warn!(chat, %error, "another process may try to send before its time");
        }
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
    free: Time,
) -> Result<Ended, Refusal> {
    let ended = match messenger.deliver(&row).await {
        Ok(message) => {
            mark(&clock, || app.delivered(row.id, message)).await;
            Ended::Said(message)
        }
        Err(Refusal::Never(reason) | Refusal::Gone(reason)) => {
            tracing::warn!(row = row.id, chat = row.chat, reason, "given up");
            mark(&clock, || app.given_up(row.id, &reason)).await;
            Ended::Said(None)
        }
        Err(Refusal::Moved(to)) => {
            tracing::info!(chat = row.chat, to, "the chat has moved");
            mark(&clock, || app.moved(row.chat, to)).await;
            Ended::Moved
        }
        Err(again) => return Err(again),
    };
    if let Err(error) = app.release(Work::Sending, row.chat, free).await {
        tracing::warn!(chat = row.chat, %error, "another process may send there a little later");
    }
    Ok(ended)
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

/// Not for long at a time: the clock may be set meanwhile.
async fn sleep_until(clock: &Clock, until: Option<Time>) {
    match until {
        Some(until) => clock.sleep((until - clock.now()).min(LOOK_AGAIN)).await,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU32, Ordering};

    use secrecy::SecretString;
    use tokio::sync::mpsc;
    use tokio::task::JoinHandle;

    use super::super::api::MockMessenger;
    use super::*;
    use crate::store::{Commit, NewOutboxRow, OutboxRow, Store};

    type Delivery = Result<Option<i64>, Refusal>;

    /// One attempt to send: when, to which chat, which words.
    #[derive(Debug, PartialEq)]
    struct Attempt {
        second: i64,
        chat: i64,
        text: String,
    }

    struct Stage {
        store: Store,
        clock: Clock,
        attempts: mpsc::UnboundedReceiver<Attempt>,
        stop: watch::Sender<bool>,
        running: JoinHandle<()>,
    }

    fn text_of(row: &Outgoing) -> String {
        match &row.body {
            Body::Send { text, .. } | Body::Edit { text, .. } => text.clone(),
            Body::Ack { tap } => tap.clone(),
        }
    }

    /// A sender at work for a platform that answers as `platform` does.
    async fn stage(
        rows: Vec<NewOutboxRow>,
        platform: impl Fn(&Outgoing) -> Delivery + Send + Sync + 'static,
    ) -> Stage {
        let store = Store::open("sqlite::memory:").await.unwrap();
        say(&store, rows).await;
        let clock = Clock::virtual_at(DateTime::UNIX_EPOCH);
        let (tell, attempts) = mpsc::unbounded_channel();
        let mut messenger = MockMessenger::new();
        let time = clock.clone();
        messenger.expect_deliver().returning(move |row| {
            let attempt = Attempt { second: time.now().timestamp(), chat: row.chat, text: text_of(row) };
            tell.send(attempt).unwrap();
            platform(row)
        });
        let app = Arc::new(App::new(store.clone(), SecretString::from("code")));
        let (stop, stopped) = watch::channel(false);
        let sender = Sender::new(app, Arc::new(messenger), clock.clone(), true);
        let running = tokio::spawn(sender.run(stopped));
        Stage { store, clock, attempts, stop, running }
    }

    async fn say(store: &Store, outbox: Vec<NewOutboxRow>) -> Vec<Option<i64>> {
        store.commit(Commit { outbox, ..Commit::default() }).await.unwrap().outbox
    }

    fn row(chat: i64, class: Class, text: &str) -> NewOutboxRow {
        let body = Body::Send { text: text.into(), buttons: Vec::new(), reply_to: None, silent: false };
        let body = serde_json::to_string(&body).unwrap();
        NewOutboxRow { chat, class: class.rank(), body, ..NewOutboxRow::default() }
    }

    fn answer(chat: i64, text: &str) -> NewOutboxRow {
        row(chat, Class::Answer, text)
    }

    impl Stage {
        /// The next attempt while the clock stands still.
        async fn at_once(&mut self) -> (i64, String) {
            let attempt = self.attempts.recv().await.unwrap();
            (attempt.chat, attempt.text)
        }

        /// The next attempt while time passes.
        async fn later(&mut self) -> Attempt {
            let start = self.clock.now();
            while self.clock.now() - start < TimeDelta::days(300) {
                tokio::select! {
                    biased;
                    attempt = self.attempts.recv() => return attempt.unwrap(),
                    () = tokio::task::yield_now() => self.clock.advance(TimeDelta::seconds(1)),
                }
            }
            panic!("nothing was sent");
        }

        async fn end(self) -> Vec<OutboxRow> {
            self.stop.send_replace(true);
            self.running.await.unwrap();
            self.store.outgoing().await.unwrap()
        }
    }

    #[tokio::test]
    async fn a_chat_that_must_wait_holds_up_no_other() {
        let first = AtomicBool::new(true);
        let platform = move |row: &Outgoing| match row.chat {
            1 if first.swap(false, Ordering::Relaxed) => Err(Refusal::TooMany(TimeDelta::seconds(60))),
            _ => Ok(Some(row.id)),
        };
        let mut stage = stage(vec![answer(1, "a"), answer(2, "b")], platform).await;
        assert_eq!(stage.at_once().await, (1, "a".into()));
        assert_eq!(stage.at_once().await, (2, "b".into()));
        say(&stage.store, vec![answer(3, "c")]).await;
        assert_eq!(stage.at_once().await, (3, "c".into()));
        let again = stage.later().await;
        assert_eq!((again.chat, again.second >= 60), (1, true), "{again:?}");
        assert_eq!(stage.end().await, []);
    }

    #[tokio::test]
    async fn what_fails_for_a_while_is_tried_again_more_and_more_slowly() {
        let failures = AtomicU32::new(0);
        let platform = move |row: &Outgoing| match failures.fetch_add(1, Ordering::Relaxed) {
            0..4 => Err(Refusal::Later("Bad Gateway".into())),
            _ => Ok(Some(row.id)),
        };
        let mut stage = stage(vec![answer(1, "a")], platform).await;
        let mut seconds = Vec::new();
        for _ in 0..5 {
            seconds.push(stage.later().await.second);
        }
        let waits: Vec<i64> = seconds.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(waits.iter().zip([1, 2, 4, 8]).all(|(wait, least)| *wait >= least), "{waits:?}");
        assert_eq!(stage.end().await, []);
    }

    #[tokio::test]
    async fn what_is_refused_for_ever_is_given_up() {
        let platform = |row: &Outgoing| match row.chat {
            1 => Err(Refusal::Never("Forbidden: bot was blocked by the user".into())),
            _ => Ok(Some(row.id)),
        };
        let mut stage = stage(vec![answer(1, "a"), answer(2, "b")], platform).await;
        stage.at_once().await;
        stage.at_once().await;
        let store = stage.store.clone();
        assert_eq!(stage.end().await, []);
        assert_eq!(
            (store.messages_of(1).await.unwrap().len(), store.messages_of(2).await.unwrap().len()),
            (0, 1)
        );
    }

    #[tokio::test]
    async fn a_chat_that_has_moved_is_followed() {
        let platform = |row: &Outgoing| match row.chat {
            -1 => Err(Refusal::Moved(-100)),
            _ => Ok(Some(row.id)),
        };
        let mut stage = stage(vec![answer(-1, "a"), answer(-1, "b")], platform).await;
        assert_eq!(stage.at_once().await, (-1, "a".into()));
        assert_eq!(stage.at_once().await, (-100, "a".into()));
        let last = stage.later().await;
        assert_eq!((last.chat, last.text.as_str()), (-100, "b"));
        assert_eq!(stage.end().await, []);
    }

    #[tokio::test]
    async fn a_chat_hears_the_urgent_first_and_no_more_than_a_message_a_second() {
        let store = Store::open("sqlite::memory:").await.unwrap();
        say(
            &store,
            vec![row(1, Class::Digest, "digest"), answer(1, "answer"), row(1, Class::Urgent, "urgent")],
        )
        .await;
        let clock = Clock::virtual_at(DateTime::UNIX_EPOCH);
        let mut messenger = MockMessenger::new();
        let number = AtomicI64::new(0);
        messenger.expect_deliver().returning(move |_| Ok(Some(number.fetch_add(1, Ordering::Relaxed))));
        let app = Arc::new(App::new(store.clone(), SecretString::from("code")));
        let mut sender = Sender::new(app, Arc::new(messenger), clock.clone(), true);
        for sent in 1..=3 {
            sender.start_ready().await.unwrap();
            sender.finish_some().await;
            // However often it looks, nothing more goes in this second.
            let next = sender.start_ready().await.unwrap();
            assert!(sender.running.is_empty());
            assert_eq!(store.messages_of(1).await.unwrap().len(), sent);
            assert_eq!(next, (sent < 3).then(|| clock.now() + TimeDelta::seconds(1)));
            clock.advance(TimeDelta::seconds(1));
        }
        let order = store.messages_of(1).await.unwrap();
        let order: Vec<_> = order.into_iter().map(|row| row.class).collect();
        assert_eq!(order, [Class::Urgent, Class::Answer, Class::Digest].map(Class::rank));
    }

    #[tokio::test]
    async fn a_message_is_changed_after_it_was_sent_under_the_id_it_got() {
        let mut stage = stage(Vec::new(), |row| Ok(Some(row.edits.unwrap_or(row.id + 500)))).await;
        let of = say(&stage.store, vec![answer(1, "before")]).await[0].unwrap();
        let body = Body::Edit { of, text: "after".into(), buttons: Vec::new() };
        let body = serde_json::to_string(&body).unwrap();
        say(
            &stage.store,
            vec![NewOutboxRow { class: 0, chat: 1, edits: Some(of), body, ..NewOutboxRow::default() }],
        )
        .await;
        assert_eq!((stage.later().await.text, stage.later().await.text), ("before".into(), "after".into()));
        let store = stage.store.clone();
        stage.end().await;
        let messages = store.messages_of(1).await.unwrap();
        assert_eq!(messages.iter().map(|row| row.message).collect::<Vec<_>>(), [Some(of + 500); 2]);
    }

    #[tokio::test]
    async fn a_clock_that_is_set_back_an_hour_holds_up_nothing() {
        let store = Store::open("sqlite::memory:").await.unwrap();
        say(&store, vec![answer(1, "a"), answer(1, "b")]).await;
        let clock = Clock::virtual_at(DateTime::UNIX_EPOCH + TimeDelta::days(1));
        let mut messenger = MockMessenger::new();
        messenger.expect_deliver().returning(|row| Ok(Some(row.id)));
        let app = Arc::new(App::new(store.clone(), SecretString::from("code")));
        let mut sender = Sender::new(app, Arc::new(messenger), clock.clone(), true);
        sender.start_ready().await.unwrap();
        sender.finish_some().await;
        clock.set_back(TimeDelta::hours(1));
        sender.start_ready().await.unwrap();
        sender.finish_some().await;
        assert_eq!(store.messages_of(1).await.unwrap().len(), 2);
    }

    #[tokio::test]
    async fn at_the_end_what_can_go_goes_and_the_rest_waits_for_the_next_start() {
        let platform = |row: &Outgoing| match row.chat {
            1 => Err(Refusal::TooMany(TimeDelta::hours(1))),
            _ => Ok(Some(row.id)),
        };
        let mut stage = stage(vec![answer(1, "held")], platform).await;
        stage.at_once().await;
        say(&stage.store, vec![answer(2, "at once")]).await;
        let left = stage.end().await;
        assert_eq!(left.iter().map(|row| row.chat).collect::<Vec<_>>(), [1]);
    }

    /// A defect of the program's own, the first time.
    struct Defect(AtomicBool);

    #[async_trait::async_trait]
    impl Messenger for Defect {
        async fn deliver(&self, outgoing: &Outgoing) -> Result<Option<i64>, Refusal> {
            assert!(self.0.swap(true, Ordering::Relaxed), "a defect");
            Ok(Some(outgoing.id))
        }
    }

    #[tokio::test]
    async fn a_panic_costs_no_message() {
        let store = Store::open("sqlite::memory:").await.unwrap();
        say(&store, vec![answer(1, "a")]).await;
        let app = Arc::new(App::new(store.clone(), SecretString::from("code")));
        let clock = Clock::virtual_at(DateTime::UNIX_EPOCH);
        let mut sender = Sender::new(app, Arc::new(Defect(AtomicBool::new(false))), clock.clone(), true);
        sender.start_ready().await.unwrap();
        sender.finish_some().await;
        assert_eq!(sender.start_ready().await.unwrap(), Some(DateTime::UNIX_EPOCH + TimeDelta::seconds(1)));
        clock.advance(TimeDelta::seconds(1));
        assert_eq!(sender.start_ready().await.unwrap(), None);
        sender.finish_some().await;
        assert_eq!(store.messages_of(1).await.unwrap().len(), 1);
    }
}
