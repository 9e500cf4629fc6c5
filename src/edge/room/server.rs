//! The page's files and the few things it may ask: the view as soon as it changes, and what a visitor does.

use std::time::Duration;

use axum::Router;
use axum::extract::rejection::{PathRejection, QueryRejection};
use axum::extract::{FromRequest, Path, Query, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Json, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;

use super::Room;
use super::hours::Pass;
use crate::edge::standin::Mistake;

/// How long the page's question for news stays open.
const LONGEST_WAIT: Duration = Duration::from_secs(25);
/// Nothing is loaded from elsewhere, and no text can become a script.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

pub(super) fn routes(room: Room) -> Router {
    Router::new()
        .route("/", get(async || file("text/html", include_str!("page/room.html"))))
        .route("/room/room.css", get(async || file("text/css", include_str!("page/room.css"))))
        .route("/room/room.js", get(async || file("text/javascript", include_str!("page/room.js"))))
        .route("/room/view", get(view))
        .route("/room/file/{message}", get(attachment))
        .route("/room/say", post(say))
        .route("/room/edit", post(edit))
        .route("/room/press", post(press))
        .route("/room/pass", post(pass))
        .with_state(room)
}

/// Something posted; what can't be read is refused in one line, as everything here is.
struct Told<T>(T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Told<T> {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Told<T>, Response> {
        match Json::from_request(request, state).await {
            Ok(Json(told)) => Ok(Told(told)),
            Err(why) => Err(refused(why.status(), &why.body_text())),
        }
    }
}

fn refused(status: StatusCode, why: &str) -> Response {
    let line = why.split_whitespace().collect::<Vec<_>>().join(" ");
    (status, Json(json!({ "error": line }))).into_response()
}

fn file(kind: &str, contents: &'static str) -> Response {
    let headers = [
        (header::CONTENT_TYPE, format!("{kind}; charset=utf-8")),
        (header::CONTENT_SECURITY_POLICY, POLICY.to_owned()),
        (header::CACHE_CONTROL, "no-cache".to_owned()),
    ];
    (headers, contents).into_response()
}

#[derive(Deserialize)]
struct Since {
    /// The version the page has; without it the answer is immediate.
    since: Option<u64>,
}

/// The view, once it is another than the page has, or after a while.
async fn view(State(room): State<Room>, asked: Result<Query<Since>, QueryRejection>) -> Response {
    let since = match asked {
        Ok(Query(Since { since })) => since,
        Err(why) => return refused(why.status(), &why.body_text()),
    };
    let mut version = room.standin.version();
    let news = version.wait_for(|version| Some(*version) != since);
    // Too long without news isn't a failure: the page is shown what there is.
    let _ = tokio::time::timeout(LONGEST_WAIT, news).await;
    let seen = *version.borrow();
    Json(room.view(seen).await).into_response()
}

/// A picture or a paper that the bot sent.
async fn attachment(State(room): State<Room>, message: Result<Path<i64>, PathRejection>) -> Response {
    let posts = room.standin.posts(room.setting.chat);
    let post = message.ok().and_then(|Path(message)| posts.into_iter().find(|p| p.id == message));
    let Some(file) = post.and_then(|p| p.file) else {
        return refused(StatusCode::NOT_FOUND, "there is no such file");
    };
    let kind = if file.kind == "photo" { "image/png" } else { "application/octet-stream" };
    ([(header::CONTENT_TYPE, kind), (header::X_CONTENT_TYPE_OPTIONS, "nosniff")], file.bytes).into_response()
}

#[derive(Deserialize)]
struct Say {
    who: String,
    text: String,
    reply_to: Option<i64>,
}

async fn say(State(room): State<Room>, Told(say): Told<Say>) -> Response {
    let chat = room.setting.chat;
    done(match say.reply_to {
        Some(to) => room.standin.replies(chat, &say.who, to, &say.text),
        None => room.standin.says(chat, &say.who, &say.text),
    })
}

#[derive(Deserialize)]
struct Edit {
    who: String,
    message: i64,
    text: String,
}

async fn edit(State(room): State<Room>, Told(edit): Told<Edit>) -> Response {
    done(room.standin.edits(room.setting.chat, &edit.who, edit.message, &edit.text))
}

#[derive(Deserialize)]
struct Press {
    who: String,
    message: i64,
    label: String,
}

async fn press(State(room): State<Room>, Told(press): Told<Press>) -> Response {
    done(room.standin.presses(room.setting.chat, &press.who, press.message, &press.label))
}

#[derive(Deserialize)]
struct LetPass {
    until: Pass,
}

async fn pass(State(room): State<Room>, Told(LetPass { until }): Told<LetPass>) -> Response {
    let passed = room.pass(until).await;
    room.standin.touch();
    Json(json!({ "passed": passed })).into_response()
}

fn done<T>(result: Result<T, Mistake>) -> Response {
    match result {
        Ok(_) => Json(json!({})).into_response(),
        Err(mistake) => refused(StatusCode::BAD_REQUEST, &mistake.to_string()),
    }
}
