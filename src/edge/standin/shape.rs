//! The platform's JSON for what the world holds.

use serde_json::{Value, json};

use super::post::{File, Post};
use super::world::{BOT_ID, BOT_NAME, BOT_USER, Chat, Kind, World};

pub(super) fn bot() -> Value {
    json!({ "id": BOT_ID, "is_bot": true, "first_name": BOT_NAME, "username": BOT_USER })
}

pub(super) fn me(reads_all: bool) -> Value {
    let mut me = bot();
    me["can_join_groups"] = json!(true);
    me["can_read_all_group_messages"] = json!(reads_all);
    for absent in ["supports_inline_queries", "can_connect_to_business", "has_main_web_app"] {
        me[absent] = json!(false);
    }
    me
}

pub(super) fn person(world: &World, name: &str) -> Value {
    json!({ "id": world.people.get(name).copied().unwrap_or_default(), "is_bot": false, "first_name": name })
}

pub(super) fn chat(chat: &Chat) -> Value {
    match chat.kind {
        Kind::Private => json!({ "id": chat.id, "type": "private", "first_name": chat.title }),
        Kind::Group => json!({ "id": chat.id, "type": "group", "title": chat.title }),
        Kind::Supergroup => json!({ "id": chat.id, "type": "supergroup", "title": chat.title }),
    }
}

pub(super) fn message(world: &World, chat: i64, post: &Post) -> Value {
    let Some(place) = world.chats.get(&chat) else { return Value::Null };
    let mut body = bare_message(world, place, post);
    if let Some(answered) = post.reply_to.and_then(|to| place.posts.get(&to)) {
        body["reply_to_message"] = bare_message(world, place, answered);
    }
    body
}

/// A message without the one it replies to: the platform nests them one deep.
fn bare_message(world: &World, place: &Chat, post: &Post) -> Value {
    let from = if post.by_bot { bot() } else { person(world, &post.author) };
    let mut body =
        json!({ "message_id": post.id, "date": post.at.timestamp(), "chat": chat(place), "from": from });
    if let Some(edited) = post.edited {
        body["edit_date"] = json!(edited.timestamp());
    }
    if let Some(Value::Object(service)) = &post.service {
        service.iter().for_each(|(key, value)| body[key] = value.clone());
    } else if let Some(file) = &post.file {
        add_file(&mut body, post, file);
    } else {
        add_text(&mut body, &post.text);
    }
    if !post.buttons.is_empty() {
        body["reply_markup"] = markup(post);
    }
    body
}

fn add_text(body: &mut Value, text: &str) {
    body["text"] = json!(text);
    if text.starts_with('/') {
        let length = text.split_whitespace().next().map_or(1, |command| command.encode_utf16().count());
        body["entities"] = json!([{ "type": "bot_command", "offset": 0, "length": length }]);
    }
}

fn add_file(body: &mut Value, post: &Post, file: &File) {
    let id = format!("file-{}", post.id);
    body[file.kind] = match file.kind {
        "photo" => json!([{ "file_id": id, "file_unique_id": id, "width": 640, "height": 480,
            "file_size": file.bytes.len() }]),
        _ => {
            json!({ "file_id": id, "file_unique_id": id, "file_name": file.name, "file_size": file.bytes.len() })
        }
    };
    if !post.text.is_empty() {
        body["caption"] = json!(post.text);
    }
}

fn markup(post: &Post) -> Value {
    let row = |row: &Vec<super::Button>| -> Vec<Value> {
        row.iter().map(|b| json!({ "text": b.label, "callback_data": b.data })).collect()
    };
    json!({ "inline_keyboard": post.buttons.iter().map(row).collect::<Vec<_>>() })
}

/// That the bot's standing in a chat went from one state to another.
pub(super) fn standing(world: &World, place: &Chat, by: &str, at: i64, from: &str, to: &str) -> Value {
    let member = |status: &str| match status {
        "kicked" => json!({ "status": status, "user": bot(), "until_date": 0 }),
        _ => json!({ "status": status, "user": bot() }),
    };
    json!({ "chat": chat(place), "from": person(world, by), "date": at,
        "old_chat_member": member(from), "new_chat_member": member(to) })
}
