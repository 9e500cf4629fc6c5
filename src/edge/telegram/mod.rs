//! Telegram: gets updates, or has them brought, hands them to the app, and sends what the app has put in the outbox. What the platform is like
//! (shapes, limits, moving groups, privacy mode) is known here and nowhere else.

mod api;
mod backoff;
mod lanes;
mod lease;
mod pacing;
mod poller;
mod queue;
mod sender;
mod translate;
mod trouble;
mod webhook;

use std::net::SocketAddr;
use std::sync::Arc;

use chrono::TimeDelta;
use secrecy::SecretString;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::{Duration, timeout};
use url::Url;

use crate::app::App;
use crate::clock::Clock;
use crate::scheduler;
use api::Api;
pub use api::{Messenger, Refusal};
use backoff::Backoff;
use lanes::Lanes;
use poller::{Outdone, Poller};
pub use sender::Sender;
use translate::Me;
use webhook::Door;
pub use webhook::Webhook;

/// How long a message that is on its way may hold up the end of the program.
const LAST_MESSAGES: Duration = Duration::from_secs(30);
/// How often to look for what a process left that is there no more.
const LOOK_AGAIN: TimeDelta = TimeDelta::seconds(10);

#[derive(Debug)]
pub struct Settings {
    pub token: SecretString,
    /// The address of the Bot API.
    pub url: Url,
    /// Keeps to the platform's limits; what only plays the platform has none.
    pub paced: bool,
}

#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    #[error("TELEGRAM_TOKEN: the platform does not know it")]
    Token,
    #[error("TELEGRAM_API_URL: {0}")]
    Client(#[from] reqwest::Error),
    #[error("WEBHOOK_LISTEN: {0}: {1}")]
    Listen(SocketAddr, std::io::Error),
    #[error("WEBHOOK_URL: the platform refuses it: {0}")]
    Webhook(String),
    #[error("TELEGRAM_TOKEN: another program gets the updates of the same bot")]
    Outdone,
}

/// How updates come in.
enum Arrival {
    Fetched,
    Brought(Webhook, TcpListener),
}

/// Serves until `shutdown`, then finishes what was begun: the updates in hand are handled and what can be said at once is
/// said; the rest is stored and waits for the next start.
pub async fn serve(
    app: Arc<App>,
    settings: Settings,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    serve_by(app, settings, Arrival::Fetched, clock, shutdown).await
}

/// The same, where the platform brings the updates to an address.
pub async fn serve_webhook(
    app: Arc<App>,
    settings: Settings,
    webhook: Webhook,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let listener = TcpListener::bind(webhook.listen).await;
    let listener = listener.map_err(|e| ServeError::Listen(webhook.listen, e))?;
    serve_by(app, settings, Arrival::Brought(webhook, listener), clock, shutdown).await
}

async fn serve_by(
    app: Arc<App>,
    settings: Settings,
    arrival: Arrival,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let api = Api::new(&settings.token, &settings.url)?;
    let mut shutdown = Box::pin(shutdown);
    let me = tokio::select! {
        () = &mut shutdown => return Ok(()),
        me = introduce(&app, &api, &arrival, &clock) => me?,
    };
    let (stop, stopped) = watch::channel(false);
    let mut arriving = arrive(arrival, &app, &api, &clock, &stopped);
    let parts = [
        tokio::spawn(Lanes::new(app.clone(), me, clock.clone(), stopped.clone()).run()),
        tokio::spawn(scheduler::run(app.clone(), clock.clone(), stopped.clone())),
        tokio::spawn(look_again(app.clone(), clock.clone(), stopped)),
    ];
    let (last, at_last) = watch::channel(false);
    let sender = tokio::spawn(Sender::new(app, Arc::new(api), clock, settings.paced).run(at_last));

    let mut arrived = None;
    tokio::select! {
        () = &mut shutdown => {}
        ended = &mut arriving => arrived = Some(ended),
    }
    tracing::info!("stopping: what is begun is finished");
    stop.send_replace(true);
    let arrived = match arrived {
        Some(ended) => ended,
        None => arriving.await,
    };
    for part in parts {
        report(part.await);
    }
    // Only now is all in the outbox that is to come there.
    last.send_replace(true);
    match timeout(LAST_MESSAGES, sender).await {
        Ok(ended) => report(ended),
        Err(_) => tracing::warn!("the platform takes too long; what is left is sent after the next start"),
    }
    match arrived {
        Ok(Err(Outdone)) => Err(ServeError::Outdone),
        Ok(Ok(())) => Ok(()),
        Err(broken) => {
            report(Err(broken));
            Ok(())
        }
    }
}

/// Begins to take updates in.
fn arrive(
    arrival: Arrival,
    app: &Arc<App>,
    api: &Api,
    clock: &Clock,
    stop: &watch::Receiver<bool>,
) -> JoinHandle<Result<(), Outdone>> {
    let (app, clock, stop) = (app.clone(), clock.clone(), stop.clone());
    match arrival {
        Arrival::Fetched => tokio::spawn(Poller::new(app, api.clone(), clock).run(stop)),
        Arrival::Brought(webhook, listener) => {
            let door = Door::new(app, api.clone(), clock, webhook.secret);
            tokio::spawn(async move {
                webhook::run(door, listener, stop).await;
                Ok(())
            })
        }
    }
}

/// Where several processes share a database, one that died may have left something to do.
async fn look_again(app: Arc<App>, clock: Clock, mut stop: watch::Receiver<bool>) {
    while app.is_shared() && !*stop.borrow() {
        tokio::select! {
            _ = stop.wait_for(|stop| *stop) => {}
            () = clock.sleep(LOOK_AGAIN) => app.changes().look_again(),
        }
    }
}

fn report(ended: Result<(), tokio::task::JoinError>) {
    if let Err(error) = ended {
        tracing::error!(%error, "a part of the program broke off");
    }
}

/// Finds out who the bot is and makes it known; waits for the platform as long as that takes.
async fn introduce(app: &App, api: &Api, arrival: &Arrival, clock: &Clock) -> Result<Me, ServeError> {
    let mut backoff = Backoff::default();
    loop {
        match greet(app, api, arrival).await {
            Ok(me) => return Ok(me),
            Err(Refusal::Token) => return Err(ServeError::Token),
            Err(Refusal::Never(reason)) if matches!(arrival, Arrival::Brought(..)) => {
                return Err(ServeError::Webhook(reason));
            }
            Err(refusal) => {
                let wait = backoff.next();
                tracing::warn!(%refusal, seconds = wait.num_seconds(), "the platform can't be reached; trying again");
                clock.sleep(wait).await;
            }
        }
    }
}

async fn greet(app: &App, api: &Api, arrival: &Arrival) -> Result<Me, Refusal> {
    let me = api.me().await?;
    tracing::info!(username = me.username, "the platform knows the bot");
    if !me.sees_all {
        tracing::warn!(
            "privacy mode is on: in groups only commands and replies reach the bot, unless it is an administrator"
        );
    }
    app.set_sees_all(me.sees_all);
    let registered = api.register(&app.commands()).await;
    if let Err(Refusal::Never(reason)) = &registered {
        tracing::warn!(reason, "the platform does not take the commands");
    } else {
        registered?;
    }
    match arrival {
        Arrival::Fetched => api.use_polling().await?,
        Arrival::Brought(webhook, _) => api.use_webhook(&webhook.url, &webhook.secret).await?,
    }
    Ok(me)
}
