//! Lets time do its part: sleeps until the first household wants to be woken, or until that may have changed, and ticks.
//! While nothing is due and nothing changes it asks the database nothing.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use tokio::sync::watch;

use crate::app::{App, AppError};
use crate::clock::Clock;

/// After a failure, and if something is still due after a tick.
const PAUSE: TimeDelta = TimeDelta::seconds(30);

/// What is looked after: all that falls due, or only what can't wait, so that no number of others holds it up.
#[derive(Debug, Clone, Copy)]
enum Care {
    All,
    Urgent,
}

impl Care {
    async fn next(self, app: &App) -> Result<Option<DateTime<Utc>>, AppError> {
        match self {
            Care::All => app.next_wake().await,
            Care::Urgent => app.next_urgent().await,
        }
    }

    async fn tick(self, app: &App, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, AppError> {
        match self {
            Care::All => app.tick(now).await,
            Care::Urgent => app.tick_urgent(now).await,
        }
    }

    fn sleeps_until(self, app: &App, until: DateTime<Utc>) {
        app.changes().sleeps_until(matches!(self, Care::Urgent), until.timestamp_millis());
    }
}

/// Runs until `stop` turns true. What a tick has begun is finished first.
pub async fn run(app: Arc<App>, clock: Clock, stop: watch::Receiver<bool>) {
    let care = |care| look_after(care, app.clone(), clock.clone(), stop.clone());
    tokio::join!(care(Care::Urgent), care(Care::All));
}

async fn look_after(care: Care, app: Arc<App>, clock: Clock, mut stop: watch::Receiver<bool>) {
    let mut changed = app.changes().wake();
    loop {
        changed.borrow_and_update();
        care.sleeps_until(&app, DateTime::<Utc>::MAX_UTC);
        let next = turn(care, &app, clock.now()).await.unwrap_or_else(|error| {
            tracing::error!(%error, "reminders could not be worked out; they are tried again soon");
            Some(clock.now() + PAUSE)
        });
        care.sleeps_until(&app, next.unwrap_or(DateTime::<Utc>::MAX_UTC));
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => return,
            _ = changed.changed() => {}
            () = sleep_until(&clock, next) => {}
        }
    }
}

async fn turn(care: Care, app: &Arc<App>, now: DateTime<Utc>) -> Result<Option<DateTime<Utc>>, AppError> {
    match care.next(app).await? {
        Some(due) if due <= now => {}
        later => return Ok(later),
    }
    // In a task of its own, so that a panic costs one tick and not all reminders from then on.
    let ticking = tokio::spawn({
        let app = app.clone();
        async move { care.tick(&app, now).await }
    });
    let next = match ticking.await {
        Ok(ticked) => ticked?,
        Err(panic) => {
            tracing::error!(%panic, "working out reminders broke off; they are tried again soon");
            Some(now + PAUSE)
        }
    };
    Ok(next.map(|next| if next <= now { now + PAUSE } else { next }))
}

async fn sleep_until(clock: &Clock, until: Option<DateTime<Utc>>) {
    match until {
        Some(until) => clock.sleep_until(until).await,
        None => std::future::pending().await,
    }
}
