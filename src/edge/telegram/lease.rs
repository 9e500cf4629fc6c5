//! Which of several processes gets the updates: the one that holds the claim on it. It renews the claim in time; when it
//! has died, another takes over as soon as the claim has expired. Alone on its database, a process always holds it.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::backoff::Backoff;
use crate::app::App;
use crate::app::gate::Work;
use crate::clock::Clock;

/// So often that a renewal may fail once before the claim expires.
const RENEWED: TimeDelta = TimeDelta::seconds(8);

#[derive(Clone)]
pub struct Lease {
    app: Arc<App>,
    clock: Clock,
}

impl Lease {
    pub fn new(app: Arc<App>, clock: Clock) -> Lease {
        Lease { app, clock }
    }

    /// Returns when it is ours.
    pub async fn gained(&self) {
        let mut backoff = Backoff::default();
        let mut told = false;
        loop {
            // Time goes on while the database is asked.
            let asked = self.clock.now();
            let Err(wait) = self.claim().await else { break };
            let until = match wait {
                Some(expires) => expires.max(asked + TimeDelta::seconds(1)),
                None => self.clock.now() + backoff.next(),
            };
            if wait.is_some() && !std::mem::replace(&mut told, true) {
                tracing::info!("another process gets the updates; this one handles and sends");
            }
            self.clock.sleep_until(until).await;
        }
        if told {
            tracing::warn!("this process gets the updates from now on");
        }
    }

    /// Returns when it is ours no more.
    pub async fn lost(&self) {
        if !self.app.is_shared() {
            std::future::pending::<()>().await;
        }
        loop {
            self.clock.sleep(RENEWED).await;
            // As long as the database doesn't answer nobody else can claim it either.
            if let Err(Some(_)) = self.claim().await {
                tracing::warn!("another process gets the updates now: this one was held up for too long");
                return;
            }
        }
    }

    pub async fn give_back(&self) {
        if let Err(error) = self.app.release(Work::Polling, 0, self.clock.now()).await {
            tracing::warn!(%error, "another process will get the updates a little later");
        }
    }

    /// Fails with the time at which the claim of another expires, or without one if the database doesn't answer.
    async fn claim(&self) -> Result<(), Option<DateTime<Utc>>> {
        let now = self.clock.now();
        match self.app.claim(Work::Polling, &[0], now, now).await {
            Ok(claimed) => claimed.into_iter().flatten().next().map_or(Ok(()), |expires| Err(Some(expires))),
            Err(error) => {
                tracing::error!(%error, "who gets the updates can't be settled");
                Err(None)
            }
        }
    }
}
