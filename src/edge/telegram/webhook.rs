//! The platform brings the updates, in place of their being fetched: any number of processes may take them in behind one
//! address. Always true: what doesn't carry the secret is turned away unread, and what is acknowledged is stored.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::routing::post;
use secrecy::{ExposeSecret, SecretString};
use serde_json::Value;
use tokio::net::TcpListener;
use tokio::sync::{Mutex, watch};
use url::Url;

use super::api::Api;
use super::translate;
use super::trouble::Trouble;
use crate::app::App;
use crate::clock::Clock;

/// The header in which the platform sends the secret back.
const HEADER: &str = "x-telegram-bot-api-secret-token";

#[derive(Debug, Clone)]
pub struct Webhook {
    /// Where the platform brings the updates to.
    pub url: Url,
    /// What the platform must show.
    pub secret: SecretString,
    /// Where this process takes them in: behind a proxy that speaks TLS.
    pub listen: SocketAddr,
}

/// Where what the platform brings is taken in.
#[derive(Clone)]
pub struct Door {
    app: Arc<App>,
    clock: Clock,
    secret: SecretString,
    trouble: Arc<Mutex<Trouble>>,
}

impl Door {
    pub fn new(app: Arc<App>, api: Api, clock: Clock, secret: SecretString) -> Door {
        let trouble = Trouble::new(app.clone(), api, clock.clone());
        Door { app, clock, secret, trouble: Arc::new(Mutex::new(trouble)) }
    }
}

/// Takes updates in until `stop` turns true.
pub async fn run(door: Door, listener: TcpListener, mut stop: watch::Receiver<bool>) {
    let router = Router::new().fallback(post(take)).with_state(door);
    let stopped = async move { drop(stop.wait_for(|stop| *stop).await) };
    if let Err(error) = axum::serve(listener, router).with_graceful_shutdown(stopped).await {
        tracing::error!(%error, "updates can't be taken in any more");
    }
}

async fn take(State(door): State<Door>, headers: HeaderMap, body: Bytes) -> StatusCode {
    let given = headers.get(HEADER).map(|value| value.as_bytes()).unwrap_or_default();
    if !is_same(given, door.secret.expose_secret().as_bytes()) {
        tracing::warn!("somebody came to the webhook without the secret");
        return StatusCode::UNAUTHORIZED;
    }
    let Ok(update) = serde_json::from_slice::<Value>(&body) else {
        tracing::warn!(bytes = body.len(), "what came to the webhook is not JSON");
        return StatusCode::BAD_REQUEST;
    };
    let rows: Vec<_> = translate::row(&update).into_iter().collect();
    match door.app.receive(&rows, door.clock.now().timestamp_millis()).await {
        Ok(_) => {
            door.trouble.lock().await.is_over();
            StatusCode::OK
        }
        // The platform brings it again.
        Err(error) => {
            tracing::error!(%error, "an update can't be stored; it is not acknowledged");
            door.trouble.lock().await.goes_on(&rows).await;
            StatusCode::SERVICE_UNAVAILABLE
        }
    }
}

/// Compared whole, so that the time taken tells nothing.
fn is_same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |d, (x, y)| d | (x ^ y)) == 0
}
