//! HTTP: finds out what is called, lets scripted faults happen, waits on long polls, and wraps the answers.

use std::collections::BTreeSet;
use std::io;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Path, RawQuery, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Json, Response};
use axum::routing::any;
use serde_json::{Value, json};
use tokio::net::TcpListener;

use super::bot::{self, Refusal};
use super::params::Params;
use super::world::World;
use super::{Fault, Standin};

impl Standin {
    /// The Bot API, to be served alone or beside other pages.
    pub fn router(&self) -> Router {
        Router::new()
            .route("/{bot}/{method}", any(call))
            .layer(DefaultBodyLimit::disable())
            .with_state(self.clone())
    }

    /// Serves on a free port of this machine until the runtime ends. The address to give as `TELEGRAM_API_URL`.
    pub async fn listen(&self) -> io::Result<String> {
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let address = listener.local_addr()?;
        let router = self.router();
        tokio::spawn(async move { axum::serve(listener, router).await });
        Ok(format!("http://{address}"))
    }

    async fn answer(&self, method: &str, params: &Params) -> Result<Value, Refusal> {
        match method {
            "getupdates" => self.updates(params).await,
            "setwebhook" => self.set_webhook(params),
            _ => self.change(|world, now| bot::call(world, method, params, now)),
        }
    }

    /// A long poll. A later one ends this one.
    async fn updates(&self, params: &Params) -> Result<Value, Refusal> {
        let poll = self.change(|world, _| world.begin_poll(params));
        let limit = params.int("limit").unwrap_or(100).clamp(1, 100) as usize;
        let wait = Duration::from_secs(params.int("timeout").unwrap_or(0).clamp(0, 50) as u64);
        let mut version = self.version();
        let _waiting = Waiting::begin(self);
        let some = async {
            loop {
                version.borrow_and_update();
                let pending = self.look(|world| world.pending(poll, limit))?;
                if !pending.is_empty() || version.changed().await.is_err() {
                    return Ok(pending);
                }
            }
        };
        match tokio::time::timeout(wait, some).await {
            Ok(pending) => pending.map(Value::Array),
            Err(_) => self.look(|world| world.pending(poll, limit)).map(Value::Array),
        }
    }
}

/// Counts a poll for as long as it waits, also when its client goes away.
struct Waiting(Standin);

impl Waiting {
    fn begin(standin: &Standin) -> Waiting {
        standin.change(|world, _| world.waiting += 1);
        Waiting(standin.clone())
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.0.change(|world, _| world.waiting -= 1);
    }
}

impl World {
    /// Forgets what the poller has acknowledged, and takes down what it wants to see from now on.
    fn begin_poll(&mut self, params: &Params) -> u64 {
        if let Some(offset) = params.int("offset").filter(|offset| *offset > 0) {
            self.updates.retain(|(id, _)| *id >= offset);
        }
        self.allow(params);
        self.polls += 1;
        self.polls
    }

    pub(super) fn allow(&mut self, params: &Params) {
        if let Some(Value::Array(kinds)) = params.json("allowed_updates") {
            self.allowed =
                kinds.iter().filter_map(|k| k.as_str().map(str::to_owned)).collect::<BTreeSet<_>>();
        }
    }

    fn conflict() -> Refusal {
        Refusal::new(
            409,
            "Conflict: terminated by other getUpdates request; make sure that only one bot instance is running",
        )
    }

    fn pending(&self, poll: u64, limit: usize) -> Result<Vec<Value>, Refusal> {
        if self.webhook.is_some() {
            return Err(Refusal::new(
                409,
                "Conflict: can't use getUpdates method while webhook is active; use deleteWebhook to delete the webhook first",
            ));
        }
        if self.polls != poll {
            return Err(World::conflict());
        }
        Ok(self.updates.iter().take(limit).map(|(_, update)| update.clone()).collect())
    }
}

async fn call(
    State(standin): State<Standin>,
    Path((bot, method)): Path<(String, String)>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    match bot.strip_prefix("bot") {
        None => return refused(Refusal::new(404, "Not Found")),
        Some(token) if token != standin.shared.token => return refused(Refusal::new(401, "Unauthorized")),
        Some(_) => {}
    }
    let content_type = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let Some(params) = Params::read(&query.unwrap_or_default(), content_type, &body) else {
        return refused(Refusal::new(400, "Bad Request: can't parse the request's body"));
    };
    serve(&standin, &method.to_ascii_lowercase(), &params).await
}

async fn serve(standin: &Standin, method: &str, params: &Params) -> Response {
    let fault = standin.change(|world, _| world.faults.take(method, params.int("chat_id")));
    match fault {
        None => wrapped(standin.answer(method, params).await),
        Some(Fault::LostAnswer) => {
            let answer = standin.answer(method, params).await;
            tracing::debug!(?answer, "done, and the answer is lost");
            hang_up()
        }
        Some(Fault::HalfAnswer) => {
            let answer = standin.answer(method, params).await;
            tracing::debug!(?answer, "done, and half of the answer is lost");
            break_off("{\"ok\":true,\"resu")
        }
        Some(Fault::Hangup) => hang_up(),
        Some(Fault::NotJson) => (StatusCode::OK, "<html>a page, not an answer</html>").into_response(),
        Some(Fault::ServerError) => refused(Refusal::new(500, "Internal Server Error")),
        Some(Fault::BadGateway) => (StatusCode::BAD_GATEWAY, "<html>Bad Gateway</html>").into_response(),
        Some(Fault::Silenced) => {
            refused(Refusal::new(400, "Bad Request: not enough rights to send text messages to the chat"))
        }
        Some(Fault::Conflict) => refused(World::conflict()),
        Some(Fault::Blocked) => refused(Refusal::new(403, "Forbidden: bot was blocked by the user")),
        Some(Fault::TooMany { retry_after }) => {
            let mut refusal = Refusal::new(429, &format!("Too Many Requests: retry after {retry_after}"));
            refusal.parameters = Some(json!({ "retry_after": retry_after }));
            refused(refusal)
        }
    }
}

fn wrapped(answer: Result<Value, Refusal>) -> Response {
    match answer {
        Ok(result) => Json(json!({ "ok": true, "result": result })).into_response(),
        Err(refusal) => refused(refusal),
    }
}

fn refused(refusal: Refusal) -> Response {
    let mut body = json!({ "ok": false, "error_code": refusal.code, "description": refusal.description });
    if let Some(parameters) = refusal.parameters {
        body["parameters"] = parameters;
    }
    let status = StatusCode::from_u16(refusal.code).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    (status, Json(body)).into_response()
}

/// Promises a byte that never comes, upon which the server ends the connection.
fn hang_up() -> Response {
    break_off("")
}

/// Promises more than comes.
fn break_off(part: &'static str) -> Response {
    let part = Body::from_stream(Body::from(part).into_data_stream());
    ([(header::CONTENT_LENGTH, "1000")], part).into_response()
}
