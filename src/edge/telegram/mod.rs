//! Telegram: gets updates, hands them to the app, and sends what the app has put in the outbox. What the platform is like
//! (shapes, limits, moving groups, privacy mode) is known here and nowhere else.

mod api;
mod backoff;
mod lanes;
mod pacing;
mod poller;
mod sender;
mod translate;

use std::sync::Arc;

use secrecy::SecretString;
use tokio::sync::watch;
use tokio::time::{Duration, timeout};
use url::Url;

use crate::app::App;
use crate::clock::Clock;
use crate::scheduler;
use api::{Api, Refusal};
use backoff::Backoff;
use lanes::Lanes;
use poller::Poller;
use sender::Sender;
use translate::Me;

/// How long a message that is on its way may hold up the end of the program.
const LAST_MESSAGES: Duration = Duration::from_secs(30);

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
}

/// Serves until `shutdown`, then finishes what was begun: the updates in hand are handled and what can be said at once is
/// said; the rest is stored and waits for the next start.
pub async fn serve(
    app: Arc<App>,
    settings: Settings,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), ServeError> {
    let api = Api::new(&settings.token, &settings.url)?;
    let mut shutdown = Box::pin(shutdown);
    let me = tokio::select! {
        () = &mut shutdown => return Ok(()),
        me = introduce(&app, &api, &clock) => me?,
    };
    let (stop, stopped) = watch::channel(false);
    let poller = tokio::spawn(Poller::new(app.clone(), api.clone(), clock.clone()).run(stopped.clone()));
    let lanes = tokio::spawn(Lanes::new(app.clone(), me, clock.clone(), stopped.clone()).run());
    let ticks = tokio::spawn(scheduler::run(app.clone(), clock.clone(), stopped));
    let (last, at_last) = watch::channel(false);
    let sender = tokio::spawn(Sender::new(app, Arc::new(api), clock, settings.paced).run(at_last));

    shutdown.await;
    tracing::info!("stopping: what is begun is finished");
    stop.send_replace(true);
    for part in [poller, lanes, ticks] {
        report(part.await);
    }
    // Only now is all in the outbox that is to come there.
    last.send_replace(true);
    match timeout(LAST_MESSAGES, sender).await {
        Ok(ended) => report(ended),
        Err(_) => tracing::warn!("the platform takes too long; what is left is sent after the next start"),
    }
    Ok(())
}

fn report(ended: Result<(), tokio::task::JoinError>) {
    if let Err(error) = ended {
        tracing::error!(%error, "a part of the program broke off");
    }
}

/// Finds out who the bot is and makes it known; waits for the platform as long as that takes.
async fn introduce(app: &App, api: &Api, clock: &Clock) -> Result<Me, ServeError> {
    let mut backoff = Backoff::default();
    loop {
        match greet(app, api).await {
            Ok(me) => return Ok(me),
            Err(Refusal::Token) => return Err(ServeError::Token),
            Err(refusal) => {
                let wait = backoff.next();
                tracing::warn!(%refusal, seconds = wait.num_seconds(), "the platform can't be reached; trying again");
                clock.sleep(wait).await;
            }
        }
    }
}

async fn greet(app: &App, api: &Api) -> Result<Me, Refusal> {
    let me = api.me().await?;
    tracing::info!(username = me.username, "the platform knows the bot");
    if !me.sees_all {
        tracing::warn!(
            "privacy mode is on: in groups only commands and replies reach the bot, unless it is an administrator"
        );
    }
    app.set_sees_all(me.sees_all);
    api.use_polling().await?;
    api.register(&app.commands()).await?;
    Ok(me)
}
