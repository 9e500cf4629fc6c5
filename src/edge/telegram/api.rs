//! The calls of the Bot API that are used, as types of our own through teloxide's client: nothing that the platform adds
//! to its answers can make a message that was accepted look refused. The token is in no error and no debug output.

use std::fmt::{self, Debug};
use std::time::Duration;

use async_trait::async_trait;
use chrono::TimeDelta;
use secrecy::{ExposeSecret, SecretString};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use teloxide::requests::{JsonRequest, Payload, Request};
use teloxide::{ApiError, Bot, RequestError};
use url::Url;

use super::translate::{KINDS, Me};
use crate::app::wire::{Body, Button, Outgoing};

/// How long the platform holds a poll when it has nothing to tell.
const POLL_SECONDS: u64 = 50;
const PATIENCE: Duration = Duration::from_secs(20);
/// UTF-16 units, as the platform counts them.
const LONGEST_TEXT: usize = 4096;

/// Why the platform didn't do what it was asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    #[error("too many requests; to wait {} s", .0.num_seconds())]
    TooMany(TimeDelta),
    #[error("the chat has moved to {0}")]
    Moved(i64),
    /// It will be refused for ever.
    #[error("{0}")]
    Never(String),
    /// The message that was to be changed is not there any more, or can't be changed.
    #[error("{0}")]
    Gone(String),
    /// The platform or the way to it has a problem.
    #[error("{0}")]
    Later(String),
    #[error("another program gets the updates of the same bot")]
    Conflict,
    #[error("the token is not that of a bot")]
    Token,
}

/// The sending side of the platform.
#[cfg_attr(test, mockall::automock)]
#[async_trait]
pub trait Messenger: Send + Sync + 'static {
    /// Sends, or changes, or acknowledges; the platform's id of the message, where there is one.
    async fn deliver(&self, outgoing: &Outgoing) -> Result<Option<i64>, Refusal>;
}

#[derive(Clone)]
pub struct Api {
    calls: Bot,
    polls: Bot,
}

impl Debug for Api {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Api")
    }
}

impl Api {
    pub fn new(token: &SecretString, url: &Url) -> Result<Api, reqwest::Error> {
        Api::patient(token, url, PATIENCE)
    }

    /// `patience`: how long an answer may take.
    fn patient(token: &SecretString, url: &Url, patience: Duration) -> Result<Api, reqwest::Error> {
        let bot = |patience| {
            let settings = teloxide::net::default_reqwest_settings().timeout(patience);
            Ok(Bot::with_client(token.expose_secret(), settings.build()?).set_api_url(url.clone()))
        };
        Ok(Api { calls: bot(patience)?, polls: bot(patience + Duration::from_secs(POLL_SECONDS))? })
    }

    /// Who the token says the bot is.
    pub async fn me(&self) -> Result<Me, Refusal> {
        let me = call(&self.calls, GetMe {}).await?;
        Ok(Me { username: me.username, sees_all: me.can_read_all_group_messages })
    }

    /// Updates are asked for, not pushed to an address that somebody may have set.
    pub async fn use_polling(&self) -> Result<(), Refusal> {
        call(&self.calls, DeleteWebhook {}).await.map(drop)
    }

    /// Updates are brought to an address from now on, together with the secret.
    pub async fn use_webhook(&self, url: &Url, secret: &SecretString) -> Result<(), Refusal> {
        let set = SetWebhook {
            url: url.clone(),
            secret_token: secret.expose_secret().into(),
            allowed_updates: KINDS,
        };
        call(&self.calls, set).await.map(drop)
    }

    /// The commands that the platform offers while people write.
    pub async fn register(&self, commands: &[(String, String)]) -> Result<(), Refusal> {
        let commands = commands
            .iter()
            .map(|(command, description)| json!({ "command": command, "description": description }));
        call(&self.calls, SetMyCommands { commands: commands.collect() }).await.map(drop)
    }

    /// Waits for updates from `offset` on; those before it are acknowledged by that.
    pub async fn updates(&self, offset: i64) -> Result<Vec<Value>, Refusal> {
        call(&self.polls, GetUpdates { offset, limit: 100, timeout: POLL_SECONDS, allowed_updates: KINDS })
            .await
    }
}

impl Api {
    /// A long text takes several messages; the buttons are under the last, whose id counts.
    async fn say(
        &self,
        chat: i64,
        text: &str,
        buttons: &[Button],
        reply_to: Option<i64>,
        silent: bool,
    ) -> Result<Option<i64>, Refusal> {
        let mut last = None;
        let pages = pages(text);
        for (n, page) in pages.iter().enumerate() {
            let buttons = if n + 1 == pages.len() { buttons } else { &[] };
            let send = SendMessage::new(chat, page, buttons, reply_to, silent);
            last = Some(call(&self.calls, send).await?.message_id);
        }
        Ok(last)
    }

    /// What is no longer there to be changed is said anew: the words are news all the same.
    async fn change(&self, chat: i64, message: i64, text: &str, buttons: &[Button]) -> Result<i64, Refusal> {
        let edit = EditMessageText {
            chat_id: chat,
            message_id: message,
            text: pages(text).first().copied().unwrap_or_default().into(),
            reply_markup: keyboard(buttons),
            link_preview_options: no_preview(),
        };
        match call(&self.calls, edit).await {
            Err(Refusal::Gone(_)) => Ok(self.say(chat, text, buttons, None, false).await?.unwrap_or(message)),
            answer => answer.map(|_| message),
        }
    }
}

#[async_trait]
impl Messenger for Api {
    async fn deliver(&self, outgoing: &Outgoing) -> Result<Option<i64>, Refusal> {
        match &outgoing.body {
            Body::Send { text, buttons, reply_to, silent } => {
                self.say(outgoing.chat, text, buttons, *reply_to, *silent).await
            }
            Body::Edit { text, buttons, .. } => match outgoing.edits {
                Some(message) => self.change(outgoing.chat, message, text, buttons).await.map(Some),
                None => self.say(outgoing.chat, text, buttons, None, false).await,
            },
            Body::Ack { tap } => {
                call(&self.calls, AnswerCallbackQuery { callback_query_id: tap.clone() }).await?;
                Ok(None)
            }
        }
    }
}

async fn call<P>(bot: &Bot, payload: P) -> Result<P::Output, Refusal>
where
    P: Payload + Serialize + Send + 'static,
    P::Output: DeserializeOwned + Send + 'static,
{
    JsonRequest::new(bot.clone(), payload).send().await.map_err(Refusal::from)
}

impl From<RequestError> for Refusal {
    fn from(error: RequestError) -> Refusal {
        match error {
            RequestError::RetryAfter(wait) => Refusal::TooMany(TimeDelta::seconds(wait.seconds().into())),
            RequestError::MigrateToChatId(to) => Refusal::Moved(to.0),
            RequestError::Api(error) => refused(&error),
            // teloxide takes a token out of an address only if it looks like one; here no address is left at all.
            RequestError::Network(error) => Refusal::Later(reason(&error)),
            // What came instead is not repeated: it may be long, and it may be private.
            RequestError::InvalidJson { source, .. } => {
                Refusal::Later(format!("the answer is not the Bot API's: {source}"))
            }
            RequestError::Io(error) => Refusal::Later(error.to_string()),
        }
    }
}

fn reason(error: &reqwest::Error) -> String {
    let kind = match error {
        e if e.is_timeout() => "no answer in time",
        e if e.is_connect() => "no connection",
        e if e.is_body() || e.is_decode() => "the answer broke off",
        _ => "the request failed",
    };
    kind.into()
}

fn refused(error: &ApiError) -> Refusal {
    match error {
        ApiError::TerminatedByOtherGetUpdates => Refusal::Conflict,
        ApiError::InvalidToken => Refusal::Token,
        gone @ (ApiError::MessageToEditNotFound
        | ApiError::MessageCantBeEdited
        | ApiError::MessageIdInvalid) => Refusal::Gone(gone.to_string()),
        ApiError::MessageNotModified => Refusal::Never("nothing was to be changed".into()),
        ApiError::Unknown(text) if text.starts_with("Conflict") => Refusal::Conflict,
        // Everything that is known by name is about what was asked for; of the rest its class is in the text.
        ApiError::Unknown(text)
            if !["Bad Request", "Forbidden"].iter().any(|class| text.starts_with(class)) =>
        {
            Refusal::Later(text.clone())
        }
        ApiError::Unknown(text) => Refusal::Never(text.clone()),
        known => Refusal::Never(known.to_string()),
    }
}

/// Pieces that the platform takes, cut at the ends of lines where that is possible.
fn pages(text: &str) -> Vec<&str> {
    let mut pages = Vec::new();
    let mut rest = text.trim();
    while let Some(end) = overflow(rest) {
        let cut = rest[..end].rfind('\n').filter(|cut| *cut > 0).unwrap_or(end);
        pages.push(rest[..cut].trim_end());
        rest = rest[cut..].trim_start();
    }
    pages.push(rest);
    pages
}

/// Where a text gets too long, if it does.
fn overflow(text: &str) -> Option<usize> {
    let mut units = 0;
    text.char_indices().find_map(|(at, c)| {
        units += c.len_utf16();
        (units > LONGEST_TEXT).then_some(at)
    })
}

/// A button a row: labels may be long, and fingers big.
fn keyboard(buttons: &[Button]) -> Value {
    let row = |button: &Button| json!([{ "text": button.label, "callback_data": button.data }]);
    json!({ "inline_keyboard": buttons.iter().map(row).collect::<Vec<_>>() })
}

fn no_preview() -> Value {
    json!({ "is_disabled": true })
}

#[derive(Debug, Clone, Serialize)]
struct GetUpdates {
    offset: i64,
    limit: u8,
    timeout: u64,
    allowed_updates: [&'static str; 4],
}

impl Payload for GetUpdates {
    type Output = Vec<Value>;
    const NAME: &'static str = "getUpdates";
}

#[derive(Debug, Clone, Serialize)]
struct GetMe {}

#[derive(Debug, Clone, Deserialize)]
struct Bots {
    username: String,
    #[serde(default)]
    can_read_all_group_messages: bool,
}

impl Payload for GetMe {
    type Output = Bots;
    const NAME: &'static str = "getMe";
}

#[derive(Debug, Clone, Serialize)]
struct DeleteWebhook {}

impl Payload for DeleteWebhook {
    type Output = Value;
    const NAME: &'static str = "deleteWebhook";
}

#[derive(Clone, Serialize)]
struct SetWebhook {
    url: Url,
    secret_token: String,
    allowed_updates: [&'static str; 4],
}

impl Payload for SetWebhook {
    type Output = Value;
    const NAME: &'static str = "setWebhook";
}

#[derive(Debug, Clone, Serialize)]
struct SetMyCommands {
    commands: Vec<Value>,
}

impl Payload for SetMyCommands {
    type Output = Value;
    const NAME: &'static str = "setMyCommands";
}

#[derive(Debug, Clone, Serialize)]
struct SendMessage {
    chat_id: i64,
    text: String,
    disable_notification: bool,
    link_preview_options: Value,
    #[serde(skip_serializing_if = "Option::is_none")]
    reply_parameters: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reply_markup: Option<Value>,
}

impl SendMessage {
    fn new(chat: i64, text: &str, buttons: &[Button], reply_to: Option<i64>, silent: bool) -> SendMessage {
        // The message may be gone by now; then it is answered all the same.
        let reply = |id| json!({ "message_id": id, "allow_sending_without_reply": true });
        SendMessage {
            chat_id: chat,
            text: text.into(),
            disable_notification: silent,
            link_preview_options: no_preview(),
            reply_parameters: reply_to.map(reply),
            reply_markup: (!buttons.is_empty()).then(|| keyboard(buttons)),
        }
    }
}

#[derive(Debug, Clone, Deserialize)]
struct Sent {
    message_id: i64,
}

impl Payload for SendMessage {
    type Output = Sent;
    const NAME: &'static str = "sendMessage";
}

#[derive(Debug, Clone, Serialize)]
struct EditMessageText {
    chat_id: i64,
    message_id: i64,
    text: String,
    reply_markup: Value,
    link_preview_options: Value,
}

impl Payload for EditMessageText {
    type Output = Value;
    const NAME: &'static str = "editMessageText";
}

#[derive(Debug, Clone, Serialize)]
struct AnswerCallbackQuery {
    callback_query_id: String,
}

impl Payload for AnswerCallbackQuery {
    type Output = Value;
    const NAME: &'static str = "answerCallbackQuery";
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(description: &str) -> Refusal {
        refused(&serde_json::from_value(json!(description)).unwrap())
    }

    #[test]
    fn what_is_final_is_told_from_what_passes() {
        // Descriptions as the Bot API gives them (from memory).
        for text in [
            "Forbidden: bot was blocked by the user",
            "Forbidden: bot was kicked from the supergroup chat",
            "Forbidden: the group chat was deleted",
            "Bad Request: chat not found",
            "Bad Request: have no rights to send a message",
            "Bad Request: message is not modified: specified new message content and reply markup are exactly the \
             same as a current content and reply markup of the message",
        ] {
            assert!(matches!(of(text), Refusal::Never(_)), "{text}");
        }
        for text in ["Internal Server Error", "Bad Gateway", "Too Many Requests: retry after 5"] {
            assert_eq!(of(text), Refusal::Later(text.into()));
        }
        let conflict = "Conflict: can't use getUpdates method while webhook is active; use deleteWebhook to delete the webhook first";
        assert_eq!(of(conflict), Refusal::Conflict);
        assert_eq!((of("Unauthorized"), of("Not Found")), (Refusal::Token, Refusal::Token));
    }

    #[test]
    fn the_token_is_in_no_debug_output() {
        let url = Url::parse("http://127.0.0.1:1").unwrap();
        let api = Api::new(&SecretString::from("1:hush"), &url).unwrap();
        assert!(!format!("{api:?}").contains("hush"));
    }

    #[tokio::test]
    async fn the_token_is_in_no_error() {
        let url = Url::parse("http://127.0.0.1:1").unwrap();
        let api = Api::new(&SecretString::from("1:hush"), &url).unwrap();
        let refusal = api.me().await.unwrap_err();
        assert_eq!(refusal, Refusal::Later("no connection".into()));
    }

    /// A server that does this with every connection.
    async fn server<F>(what: impl Fn(tokio::net::TcpStream) -> F + Send + 'static) -> Url
    where
        F: Future<Output = ()> + Send + 'static,
    {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", listener.local_addr().unwrap());
        tokio::spawn(async move {
            while let Ok((connection, _)) = listener.accept().await {
                tokio::spawn(what(connection));
            }
        });
        url.parse().unwrap()
    }

    #[tokio::test]
    async fn what_breaks_on_the_way_is_told_without_the_token() {
        use tokio::io::{AsyncReadExt, AsyncWriteExt};
        let silent = server(|connection| async move {
            std::future::pending::<()>().await;
            drop(connection);
        });
        // To close before everything was read is to reset.
        let reset = server(|mut connection| async move { drop(connection.read_u8().await) });
        let half = server(|mut connection| async move {
            let _ = connection.read(&mut [0; 4096]).await;
            let _ = connection.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 99\r\n\r\n{\"ok\"").await;
        });
        for (url, says) in [
            (silent.await, "no answer in time"),
            (reset.await, "the request failed"),
            (half.await, "the answer broke off"),
        ] {
            let token = SecretString::from("1:hush");
            let api = Api::patient(&token, &url, Duration::from_millis(300)).unwrap();
            assert_eq!(api.me().await.unwrap_err(), Refusal::Later(says.into()));
        }
    }

    #[test]
    fn long_texts_are_cut_at_the_ends_of_lines() {
        let line = "🍼".repeat(50);
        let text = vec![line.as_str(); 100].join("\n");
        let pages = pages(&text);
        assert!(pages.iter().all(|page| page.encode_utf16().count() <= LONGEST_TEXT));
        assert_eq!(pages.join("\n"), text);
        assert_eq!((pages.len(), super::pages(" one ").as_slice()), (3, ["one"].as_slice()));
        let unbroken = "x".repeat(9000);
        assert_eq!(super::pages(&unbroken).concat(), unbroken);
    }
}
