//! The platform's updates, as they came, to what the app knows. What people can't mean for the bot (somebody joined, a
//! command for another bot, a kind of update that is newer than this program) is nothing.

use chrono::{DateTime, Utc};
use serde_json::Value;

use crate::app::gate::InboxRow;
use crate::app::wire::{Event, Incoming, Sender};

/// The kinds of update that are asked for.
pub const KINDS: [&str; 4] = ["message", "edited_message", "callback_query", "my_chat_member"];

/// What a message may hold beside text; anything else is the platform telling what happened in the chat.
const CONTENTS: [&str; 14] = [
    "photo",
    "voice",
    "audio",
    "video",
    "video_note",
    "sticker",
    "document",
    "animation",
    "contact",
    "location",
    "venue",
    "poll",
    "dice",
    "story",
];

/// Who the bot is to the platform.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Me {
    pub username: String,
    /// Plain messages in groups are shown to the bot, administrator or not.
    pub sees_all: bool,
}

/// The row to be stored for an update; none if it has no id, by which it could be known again.
pub fn row(update: &Value) -> Option<InboxRow> {
    let chat = KINDS.iter().find_map(|kind| {
        let body = &update[kind];
        body["chat"]["id"].as_i64().or_else(|| body["message"]["chat"]["id"].as_i64())
    });
    Some(InboxRow::new(update["update_id"].as_i64()?, chat, update.to_string()))
}

/// What an update means; `received` is the time of what has no other time, such as a press of a button.
pub fn translate(update: &Value, me: &Me, received: DateTime<Utc>) -> Option<Incoming> {
    let kind = KINDS.iter().find(|kind| update[**kind].is_object())?;
    let body = &update[*kind];
    let place = if *kind == "callback_query" { &body["message"]["chat"] } else { &body["chat"] };
    let chat = place["id"].as_i64()?;
    let private = place["type"] == "private";
    let time = |key: &str| DateTime::from_timestamp(body[key].as_i64()?, 0);
    let (event, at) = match *kind {
        "message" => (message(body, me)?, time("date")?),
        // What was changed is said anew when it was changed; the app knows when it was said first.
        "edited_message" => (edited(body, me)?, time("edit_date").or(time("date"))?),
        "callback_query" => (tapped(body)?, received),
        _ => (standing(body, me, private)?, time("date")?),
    };
    let incoming =
        Incoming { update: update["update_id"].as_i64()?, chat, private, at, from: sender(body), event };
    Some(match body["migrate_from_chat_id"].as_i64() {
        // Told in the new chat: it is the old one that moved.
        Some(from) => Incoming { chat: from, ..incoming },
        None => incoming,
    })
}

fn message(body: &Value, me: &Me) -> Option<Event> {
    let moved_to = body["migrate_to_chat_id"].as_i64();
    let moved_here = body["migrate_from_chat_id"].as_i64().and(body["chat"]["id"].as_i64());
    if let Some(to) = moved_to.or(moved_here) {
        return Some(Event::Migrated { to });
    }
    if let Some(member) = body["left_chat_member"]["id"].as_i64() {
        return Some(Event::Left { member });
    }
    if is_another_bots(body) {
        return None;
    }
    let message = body["message_id"].as_i64()?;
    match text(body) {
        Some(text) => Some(Event::Text { message, text: addressed(&text, me)?, reply_to: reply_to(body) }),
        None => CONTENTS.iter().any(|kind| !body[*kind].is_null()).then_some(Event::Unreadable { message }),
    }
}

fn edited(body: &Value, me: &Me) -> Option<Event> {
    if is_another_bots(body) {
        return None;
    }
    Some(Event::Edited {
        message: body["message_id"].as_i64()?,
        text: addressed(&text(body)?, me)?,
        sent: DateTime::from_timestamp(body["date"].as_i64()?, 0)?,
    })
}

fn tapped(body: &Value) -> Option<Event> {
    Some(Event::Tapped {
        message: body["message"]["message_id"].as_i64()?,
        data: clean(body["data"].as_str()?),
        tap: clean(body["id"].as_str()?),
    })
}

/// The bot's own standing in a chat has changed.
fn standing(body: &Value, me: &Me, private: bool) -> Option<Event> {
    let new = &body["new_chat_member"];
    match new["status"].as_str()? {
        "left" | "kicked" => Some(Event::Removed),
        "restricted" if new["is_member"] == false => Some(Event::Removed),
        "administrator" | "creator" => Some(Event::Added { sees_all: true }),
        "member" | "restricted" => Some(Event::Added { sees_all: private || me.sees_all }),
        _ => None,
    }
}

/// The words of a message, or those under a picture.
fn text(body: &Value) -> Option<String> {
    body["text"].as_str().or_else(|| body["caption"].as_str()).map(clean)
}

/// A command may name the bot it is for (`/help@some_bot`): another's is not ours, and our own name says nothing more.
fn addressed(text: &str, me: &Me) -> Option<String> {
    if !text.starts_with('/') {
        return Some(text.into());
    }
    let (command, rest) = text.split_at(text.find(char::is_whitespace).unwrap_or(text.len()));
    match command.split_once('@') {
        None => Some(text.into()),
        Some((command, name)) if name.eq_ignore_ascii_case(&me.username) => Some(format!("{command}{rest}")),
        Some(_) => None,
    }
}

/// In a group with topics every message replies to the one that began its topic; nobody meant that.
fn reply_to(body: &Value) -> Option<i64> {
    let to = &body["reply_to_message"];
    to["message_id"].as_i64().filter(|_| to["forum_topic_created"].is_null())
}

/// An administrator who writes without a name appears as a bot, on behalf of the chat.
fn is_another_bots(body: &Value) -> bool {
    body["from"]["is_bot"] == true && body["sender_chat"].is_null()
}

fn sender(body: &Value) -> Option<Sender> {
    let from = &body["from"];
    if from["is_bot"] == true {
        return None;
    }
    let id = from["id"].as_i64()?;
    let named = ["first_name", "last_name", "username"].into_iter().filter_map(|key| from[key].as_str());
    let name = named.map(|name| clean(name).trim().to_owned()).find(|name| !name.is_empty());
    Some(Sender { id, name: name.unwrap_or_else(|| id.to_string()) })
}

/// A NUL means nothing, and not every database takes it.
fn clean(text: &str) -> String {
    text.replace('\0', "")
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    const RECEIVED: i64 = 1_900_000_000;

    fn read(kind: &str, body: Value) -> Option<Incoming> {
        let me = Me { username: "milk_bot".into(), sees_all: false };
        translate(&json!({ "update_id": 5, kind: body }), &me, DateTime::from_timestamp(RECEIVED, 0).unwrap())
    }

    fn event(kind: &str, extra: Value) -> Option<Event> {
        let mut body = json!({
            "message_id": 7, "date": 1_800_000_000, "chat": { "id": -9, "type": "group" },
            "from": { "id": 3, "is_bot": false, "first_name": "Ana", "last_name": "B" },
        });
        body.as_object_mut().unwrap().extend(extra.as_object().unwrap().clone());
        read(kind, body).map(|incoming| incoming.event)
    }

    fn says(text: &str) -> Option<Event> {
        Some(Event::Text { message: 7, text: text.into(), reply_to: None })
    }

    #[test]
    fn a_message_has_a_chat_a_sender_and_the_platforms_time() {
        let body = json!({
            "message_id": 7, "date": 1_800_000_000, "text": "120", "chat": { "id": 3, "type": "private" },
            "from": { "id": 3, "is_bot": false, "first_name": " Ana\0 " },
        });
        let read = read("message", body).unwrap();
        assert_eq!((read.update, read.chat, read.private, read.at.timestamp()), (5, 3, true, 1_800_000_000));
        assert_eq!(read.from, Some(Sender { id: 3, name: "Ana".into() }));
    }

    #[test]
    fn messages_are_what_they_say() {
        let message = |extra| event("message", extra);
        for (extra, expected) in [
            (json!({ "text": "pumped 120\0" }), says("pumped 120")),
            (json!({ "text": "/stock" }), says("/stock")),
            (json!({ "text": "/stock@Milk_Bot now" }), says("/stock now")),
            (json!({ "text": "/stock@other_bot now" }), None),
            (json!({ "text": "ask a@b or /c@d" }), says("ask a@b or /c@d")),
            (json!({ "photo": [{}], "caption": "pumped 90" }), says("pumped 90")),
            (json!({ "photo": [{}] }), Some(Event::Unreadable { message: 7 })),
            (json!({ "voice": {} }), Some(Event::Unreadable { message: 7 })),
            (json!({ "sticker": {} }), Some(Event::Unreadable { message: 7 })),
            (json!({ "new_chat_members": [{}] }), None),
            (json!({ "left_chat_member": { "id": 4, "is_bot": false } }), Some(Event::Left { member: 4 })),
            (json!({ "pinned_message": {} }), None),
            (json!({ "a_kind_of_the_future": {} }), None),
            (json!({ "migrate_to_chat_id": -100 }), Some(Event::Migrated { to: -100 })),
            (json!({ "text": "beep", "from": { "id": 4, "is_bot": true, "first_name": "Bot" } }), None),
        ] {
            assert_eq!(message(extra.clone()), expected, "{extra}");
        }
    }

    #[test]
    fn a_reply_is_to_a_message_but_not_to_the_beginning_of_a_topic() {
        let reply = |to| match event("message", json!({ "text": "undo", "reply_to_message": to })) {
            Some(Event::Text { reply_to, .. }) => reply_to,
            other => panic!("{other:?}"),
        };
        assert_eq!(reply(json!({ "message_id": 4, "text": "pumped" })), Some(4));
        assert_eq!(reply(json!({ "message_id": 4, "forum_topic_created": {} })), None);
    }

    #[test]
    fn an_administrator_without_a_name_is_heard() {
        let group = json!({ "id": -9, "type": "group" });
        let from = json!({ "id": 4, "is_bot": true, "first_name": "Group" });
        let body = json!({ "message_id": 7, "date": 1, "text": "hi", "chat": group, "from": from, "sender_chat": group });
        let read = read("message", body).unwrap();
        assert_eq!((read.from, Some(read.event)), (None, says("hi")));
    }

    #[test]
    fn a_move_told_in_the_new_chat_is_the_old_chats() {
        let body = json!({ "message_id": 1, "date": 1, "chat": { "id": -100, "type": "supergroup" }, "migrate_from_chat_id": -9 });
        let read = read("message", body).unwrap();
        assert_eq!((read.chat, read.event), (-9, Event::Migrated { to: -100 }));
    }

    #[test]
    fn an_edit_is_said_when_it_was_made() {
        let body = json!({
            "message_id": 7, "date": 100, "edit_date": 200, "text": "130", "chat": { "id": -9, "type": "group" },
        });
        let read = read("edited_message", body).unwrap();
        assert_eq!(
            (read.at.timestamp(), read.event),
            (
                200,
                Event::Edited {
                    message: 7,
                    text: "130".into(),
                    sent: DateTime::from_timestamp(100, 0).unwrap()
                }
            )
        );
        assert_eq!(event("edited_message", json!({ "photo": [{}] })), None);
    }

    #[test]
    fn a_press_has_the_time_at_which_it_came() {
        let body = json!({
            "id": "tap", "data": "u:5", "from": { "id": 3, "is_bot": false, "first_name": "Ben" },
            "message": { "message_id": 8, "date": 100, "chat": { "id": -9, "type": "group" }, "from": { "is_bot": true } },
        });
        let read = read("callback_query", body).unwrap();
        assert_eq!((read.chat, read.at.timestamp()), (-9, RECEIVED));
        assert_eq!(read.from.unwrap().name, "Ben");
        assert_eq!(read.event, Event::Tapped { message: 8, data: "u:5".into(), tap: "tap".into() });
    }

    #[test]
    fn the_bots_standing_is_told() {
        for (status, expected) in [
            ("member", Some(Event::Added { sees_all: false })),
            ("administrator", Some(Event::Added { sees_all: true })),
            ("left", Some(Event::Removed)),
            ("kicked", Some(Event::Removed)),
            ("of the future", None),
        ] {
            assert_eq!(
                event("my_chat_member", json!({ "new_chat_member": { "status": status } })),
                expected,
                "{status}"
            );
        }
    }

    #[test]
    fn every_update_with_an_id_can_be_stored() {
        let stored = |update: Value| row(&update).map(|row| (row.update, row.chat));
        assert_eq!(
            stored(json!({ "update_id": 5, "message": { "chat": { "id": -9 } } })),
            Some((5, Some(-9)))
        );
        assert_eq!(
            stored(json!({ "update_id": 5, "callback_query": { "message": { "chat": { "id": 2 } } } })),
            Some((5, Some(2)))
        );
        assert_eq!(stored(json!({ "update_id": 5, "of_the_future": {} })), Some((5, None)));
        assert_eq!(stored(json!({ "message": {} })), None);
        assert_eq!(read("of_the_future", json!({})), None);
    }
}
