//! Gets updates and lays them down in the inbox. Always true: the offset moves, and with it the platform forgets, only
//! after what was got is stored. It isn't kept: each start begins at 0, and the inbox knows what it has seen.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::Value;
use tokio::sync::watch;

use super::api::{Api, Refusal};
use super::backoff::Backoff;
use super::lease::Lease;
use super::translate;
use super::trouble::Trouble;
use crate::app::App;
use crate::clock::Clock;

/// After a week without updates the platform may begin with any id, also a lower one.
const QUIET: TimeDelta = TimeDelta::days(6);
/// Another program with the same token that is there for so long is there to stay.
const CONFLICT: TimeDelta = TimeDelta::seconds(60);

pub struct Poller {
    app: Arc<App>,
    api: Api,
    clock: Clock,
    offset: i64,
    last: DateTime<Utc>,
    /// Since when another program has got the updates.
    conflict: Option<DateTime<Utc>>,
    trouble: Trouble,
}

/// Another program gets the updates of the same bot, and goes on doing so.
#[derive(Debug)]
pub struct Outdone;

impl Poller {
    pub fn new(app: Arc<App>, api: Api, clock: Clock) -> Poller {
        let last = clock.now();
        let trouble = Trouble::new(app.clone(), api.clone(), clock.clone());
        Poller { app, api, clock, offset: 0, last, conflict: None, trouble }
    }

    /// Runs until `stop` turns true; a poll that waits is left, since nothing it might bring was acknowledged.
    pub async fn run(mut self, mut stop: watch::Receiver<bool>) -> Result<(), Outdone> {
        let lease = Lease::new(self.app.clone(), self.clock.clone());
        let ended = tokio::select! {
            _ = stop.wait_for(|stop| *stop) => Ok(()),
            outdone = self.serve(&lease) => Err(outdone),
        };
        lease.give_back().await;
        ended
    }

    /// Polls whenever it is this process's part to do so.
    async fn serve(&mut self, lease: &Lease) -> Outdone {
        loop {
            lease.gained().await;
            tokio::select! {
                () = lease.lost() => {}
                outdone = self.poll_on() => return outdone,
            }
        }
    }

    async fn poll_on(&mut self) -> Outdone {
        let mut backoff = Backoff::default();
        loop {
            match self.poll().await {
                Ok(()) => (self.conflict, backoff) = (None, Backoff::default()),
                Err(refusal) => {
                    if self.is_outdone(&refusal) {
                        tracing::error!("another program has had the updates for a minute; this one stops");
                        return Outdone;
                    }
                    self.clock.sleep(wait_after(&refusal, &mut backoff)).await;
                }
            }
        }
    }

    fn is_outdone(&mut self, refusal: &Refusal) -> bool {
        if *refusal != Refusal::Conflict {
            return false;
        }
        let now = self.clock.now();
        now - *self.conflict.get_or_insert(now) >= CONFLICT
    }

    async fn poll(&mut self) -> Result<(), Refusal> {
        let updates = self.api.updates(self.offset).await?;
        let now = self.clock.now();
        if updates.is_empty() {
            if now - self.last > QUIET {
                self.offset = 0;
            }
            return Ok(());
        }
        self.last = now;
        let rows: Vec<_> = updates.iter().filter_map(translate::row).collect();
        let new = match self.app.receive(&rows, now.timestamp_millis()).await {
            Ok(new) => new,
            Err(error) => {
                self.trouble.goes_on(&rows).await;
                return Err(Refusal::Later(format!("updates can't be stored: {error}")));
            }
        };
        self.trouble.is_over();
        tracing::debug!(got = updates.len(), new, "updates stored");
        self.offset = updates.iter().filter_map(id).max().map_or(self.offset, |last| last + 1);
        Ok(())
    }
}

fn id(update: &Value) -> Option<i64> {
    update["update_id"].as_i64()
}

fn wait_after(refusal: &Refusal, backoff: &mut Backoff) -> TimeDelta {
    let wait = match refusal {
        Refusal::TooMany(wait) => *wait,
        _ => backoff.next(),
    };
    let seconds = wait.num_seconds();
    match refusal {
        Refusal::Conflict | Refusal::Token => {
            tracing::error!(%refusal, seconds, "no updates; trying again later")
        }
        _ => tracing::warn!(%refusal, seconds, "no updates; trying again later"),
    }
    wait
}
