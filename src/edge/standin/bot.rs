//! The bot's side: the methods of the Bot API, with the platform's limits and its words of refusal.
//! Always true: a call that is refused has changed nothing.

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::params::Params;
use super::post::{Button, File, Post, Sent, What};
use super::shape;
use super::world::{BOT_NAME, Chat, Draft, Kind, World};

const LONGEST_TEXT: usize = 4096;
const LONGEST_CAPTION: usize = 1024;
const LONGEST_DATA: usize = 64;

/// The platform's no.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Refusal {
    pub code: u16,
    pub description: String,
    pub parameters: Option<Value>,
}

impl Refusal {
    pub(super) fn new(code: u16, description: &str) -> Refusal {
        Refusal { code, description: description.into(), parameters: None }
    }

    pub(super) fn bad(why: &str) -> Refusal {
        Refusal::new(400, &format!("Bad Request: {why}"))
    }
}

type Answer = Result<Value, Refusal>;

/// Every method but those that deal with the ways of updates. `method` in lower case.
pub(super) fn call(world: &mut World, method: &str, params: &Params, now: DateTime<Utc>) -> Answer {
    match method {
        "getme" => Ok(shape::me(world.reads_all)),
        "deletewebhook" => {
            world.webhook = None;
            Ok(json!(true))
        }
        "setmycommands" => set_commands(world, params),
        "getchat" => get_chat(world, params),
        "leavechat" => leave(world, params),
        "sendmessage" => send_text(world, params, now),
        "sendphoto" => send_file(world, params, "photo", now),
        "senddocument" => send_file(world, params, "document", now),
        "editmessagetext" => edit(world, params, now, Part::Text),
        "editmessagereplymarkup" => edit(world, params, now, Part::Buttons),
        "deletemessage" => delete(world, params),
        "answercallbackquery" => answer_tap(world, params),
        _ => Err(Refusal::new(404, "Not Found: method not found")),
    }
}

fn set_commands(world: &mut World, params: &Params) -> Answer {
    world.commands = params.json("commands").ok_or_else(|| Refusal::bad("can't parse commands"))?;
    world.sent.push(Sent { chat: 0, what: What::Commands });
    Ok(json!(true))
}

fn get_chat(world: &mut World, params: &Params) -> Answer {
    let mut chat = shape::chat(open_chat(world, params)?);
    chat["accent_color_id"] = json!(0);
    chat["max_reaction_count"] = json!(11);
    chat["permissions"] = json!({ "can_send_messages": true });
    chat["accepted_gift_types"] = json!({ "unlimited_gifts": false, "limited_gifts": false,
        "unique_gifts": false, "premium_subscription": false });
    Ok(chat)
}

fn leave(world: &mut World, params: &Params) -> Answer {
    let chat = open_chat(world, params)?;
    chat.bot_in = false;
    let chat = chat.id;
    world.sent.push(Sent { chat, what: What::Left });
    Ok(json!(true))
}

fn send_text(world: &mut World, params: &Params, now: DateTime<Utc>) -> Answer {
    let text = message_text(params)?;
    send(world, params, Draft { text, ..Draft::default() }, now)
}

fn send_file(world: &mut World, params: &Params, kind: &'static str, now: DateTime<Utc>) -> Answer {
    let (name, bytes) =
        params.file(kind).ok_or_else(|| Refusal::bad(&format!("there is no {kind} in the request")))?;
    let caption = params.text("caption").unwrap_or_default();
    if caption.encode_utf16().count() > LONGEST_CAPTION {
        return Err(Refusal::bad("message caption is too long"));
    }
    let file = Some(File { kind, name: name.clone(), bytes: bytes.clone() });
    send(world, params, Draft { text: caption.into(), file, ..Draft::default() }, now)
}

fn send(world: &mut World, params: &Params, draft: Draft, now: DateTime<Utc>) -> Answer {
    let buttons = buttons(params)?;
    let chat = open_chat(world, params)?;
    let draft = Draft {
        author: BOT_NAME.into(),
        by_bot: true,
        reply_to: reply_to(chat, params)?,
        buttons,
        silent: params.flag("disable_notification"),
        ..draft
    };
    let (chat, post) = (chat.id, chat.add(draft, now));
    let shown = shape::message(world, chat, &post);
    world.sent.push(Sent { chat, what: What::Message(post) });
    Ok(shown)
}

/// What an edit may change.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Text,
    Buttons,
}

fn edit(world: &mut World, params: &Params, now: DateTime<Utc>, part: Part) -> Answer {
    let buttons = buttons(params)?;
    let new_text = if part == Part::Text { Some(message_text(params)?) } else { None };
    let chat = open_chat(world, params)?;
    let id = chat.id;
    let post = own_post(chat, params, "edit")?;
    let text = new_text.unwrap_or_else(|| post.text.clone());
    if post.text == text && post.buttons == buttons {
        return Err(Refusal::bad(
            "message is not modified: specified new message content and reply markup are exactly the same as a \
             current content and reply markup of the message",
        ));
    }
    (post.text, post.buttons, post.edited) = (text, buttons, Some(now));
    let post = post.clone();
    let shown = shape::message(world, id, &post);
    world.sent.push(Sent { chat: id, what: What::Edited(post) });
    Ok(shown)
}

fn delete(world: &mut World, params: &Params) -> Answer {
    let chat = open_chat(world, params)?;
    let message = own_post(chat, params, "delete")?.id;
    chat.posts.remove(&message);
    let chat = chat.id;
    world.sent.push(Sent { chat, what: What::Deleted(message) });
    Ok(json!(true))
}

fn answer_tap(world: &mut World, params: &Params) -> Answer {
    let tap = params.text("callback_query_id").unwrap_or_default();
    if !world.taps.remove(tap) {
        return Err(Refusal::bad("query is too old and response timeout expired or query ID is invalid"));
    }
    let text = params.text("text").unwrap_or_default().to_owned();
    world.sent.push(Sent { chat: 0, what: What::Answered { tap: tap.into(), text } });
    Ok(json!(true))
}

/// The chat that is addressed, if the bot can write there.
fn open_chat<'w>(world: &'w mut World, params: &Params) -> Result<&'w mut Chat, Refusal> {
    let id = params.int("chat_id").ok_or_else(|| Refusal::bad("chat_id is empty"))?;
    if !world.chats.contains_key(&id) && world.people.values().any(|person| *person == id) {
        return Err(Refusal::new(403, "Forbidden: bot can't initiate conversation with a user"));
    }
    let chat = world.chats.get_mut(&id).ok_or_else(|| Refusal::bad("chat not found"))?;
    if let Some(to) = chat.moved_to {
        let mut refusal = Refusal::bad("group chat was upgraded to a supergroup chat");
        refusal.parameters = Some(json!({ "migrate_to_chat_id": to }));
        return Err(refusal);
    }
    if !chat.bot_in {
        let kind = if chat.kind == Kind::Supergroup { "supergroup" } else { "group" };
        return Err(Refusal::new(403, &format!("Forbidden: bot was kicked from the {kind} chat")));
    }
    Ok(chat)
}

/// A message of the bot's own, to change or remove.
fn own_post<'c>(chat: &'c mut Chat, params: &Params, what: &str) -> Result<&'c mut Post, Refusal> {
    let id = params.int("message_id").ok_or_else(|| Refusal::bad("message identifier is not specified"))?;
    let missing = Refusal::bad(&format!("message to {what} not found"));
    let post = chat.posts.get_mut(&id).ok_or(missing)?;
    if post.by_bot { Ok(post) } else { Err(Refusal::bad(&format!("message can't be {what}ed"))) }
}

/// The message that is answered, in the newer or the older form of the parameter.
fn reply_to(chat: &Chat, params: &Params) -> Result<Option<i64>, Refusal> {
    let reply = params.json("reply_parameters").unwrap_or_default();
    let Some(to) = reply["message_id"].as_i64().or_else(|| params.int("reply_to_message_id")) else {
        return Ok(None);
    };
    let tolerant = reply["allow_sending_without_reply"] == true || params.flag("allow_sending_without_reply");
    match chat.posts.contains_key(&to) {
        true => Ok(Some(to)),
        false if tolerant => Ok(None),
        false => Err(Refusal::bad("message to be replied not found")),
    }
}

fn message_text(params: &Params) -> Result<String, Refusal> {
    let text = params.text("text").unwrap_or_default().trim();
    match text.encode_utf16().count() {
        0 => Err(Refusal::bad("message text is empty")),
        count if count > LONGEST_TEXT => Err(Refusal::bad("message is too long")),
        _ => Ok(text.into()),
    }
}

fn buttons(params: &Params) -> Result<Vec<Vec<Button>>, Refusal> {
    let Some(markup) = params.json("reply_markup") else { return Ok(Vec::new()) };
    let rows = markup["inline_keyboard"].as_array().cloned().unwrap_or_default();
    let row = |row: &Value| row.as_array().into_iter().flatten().map(button).collect::<Result<Vec<_>, _>>();
    let rows = rows.iter().map(row).collect::<Result<Vec<_>, _>>()?;
    Ok(rows.into_iter().filter(|row| !row.is_empty()).collect())
}

fn button(shape: &Value) -> Result<Button, Refusal> {
    let label = shape["text"].as_str().filter(|label| !label.is_empty());
    let label = label.ok_or_else(|| Refusal::bad("can't parse inline keyboard button: text is empty"))?;
    let data = shape["callback_data"].as_str().unwrap_or_default();
    if data.is_empty() || data.len() > LONGEST_DATA {
        return Err(Refusal::bad("BUTTON_DATA_INVALID"));
    }
    Ok(Button { label: label.into(), data: data.into() })
}
