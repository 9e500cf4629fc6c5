//! `serve`: settings, log, store, app, platform; then it waits to be told to end, and ends in order.

use std::sync::Arc;

use secrecy::ExposeSecret;
use tokio::signal::unix::{SignalKind, signal};

use super::logging;
use super::settings::{BadSetting, ServeArgs};
use crate::app::App;
use crate::clock::Clock;
use crate::edge::telegram::{self, ServeError};
use crate::store::{Lock, Store, StoreError};

/// Why the bot doesn't start: always a setting, named in one line.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    #[error(transparent)]
    Setting(#[from] BadSetting),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Serve(#[from] ServeError),
    #[error("signals can't be listened to: {0}")]
    Signals(#[from] std::io::Error),
}

pub async fn run(args: ServeArgs) -> Result<(), StartError> {
    let settings = args.settings()?;
    // From the first moment on, so that no signal is missed.
    let asked_to_end = asked_to_end()?;
    let mut secrets = vec![settings.token.clone()];
    secrets.extend(settings.webhook.as_ref().map(|webhook| webhook.secret.clone()));
    // One that was made up has to be learnt from the log.
    if !settings.setup_code.made_up {
        secrets.push(settings.setup_code.code.clone());
    }
    logging::start(settings.filter, settings.format, secrets);
    let _lock = Lock::take(settings.database_url.expose_secret())?;
    let store = Store::open(settings.database_url.expose_secret()).await?;
    if settings.setup_code.made_up {
        let code = settings.setup_code.code.expose_secret();
        tracing::warn!(
            "no SETUP_CODE is set; until the next start a new group is taken on by: /start {code}"
        );
    }
    let app = Arc::new(App::new(store, settings.setup_code.code));
    let platform = telegram::Settings { token: settings.token, url: settings.api_url, paced: true };
    match settings.webhook {
        None => telegram::serve(app, platform, Clock::system(), asked_to_end).await?,
        Some(webhook) => {
            telegram::serve_webhook(app, platform, webhook, Clock::system(), asked_to_end).await?
        }
    }
    tracing::info!("ended in order");
    Ok(())
}

/// SIGTERM or SIGINT.
pub(super) fn asked_to_end() -> Result<impl Future<Output = ()>, std::io::Error> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}
