//! The people's side: what they can do in a chat, as a page or a test asks for it.
//! Always true: people only do what the platform lets them (they are members, they change only what is theirs, they
//! press only buttons that are there); anything else is a `Mistake` and changes nothing.

use chrono::{DateTime, Utc};
use serde_json::{Value, json};

use super::post::File;
use super::world::{Chat, Draft, Kind, World};
use super::{Standin, shape};

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Mistake {
    #[error("there is no such chat")]
    NoChat,
    #[error("nobody of that name is in the chat")]
    NotThere,
    #[error("there is no such message")]
    NoMessage,
    #[error("that message is somebody else's")]
    NotTheirs,
    #[error("there is no such button")]
    NoButton,
    #[error("the message has no words")]
    NoWords,
    #[error("the message is longer than 4096 characters")]
    TooLong,
}

/// In characters; what the bot may write is counted otherwise.
const LONGEST_TEXT: usize = 4096;

impl Standin {
    /// A group of these people, without the bot. Its id.
    pub fn group(&self, title: &str, people: &[&str]) -> i64 {
        self.change(|world, _| {
            let mut chat = Chat::new(-1001 - world.chats.len() as i64, Kind::Group, title);
            for name in people {
                world.person(name);
                chat.members.insert((*name).into());
            }
            let id = chat.id;
            world.chats.insert(id, chat);
            id
        })
    }

    /// The chat of one person with the bot alone; from now on the bot may write to them. Its id is the person's.
    pub fn private(&self, name: &str) -> i64 {
        self.change(|world, _| {
            let id = world.person(name);
            let chat = world.chats.entry(id).or_insert_with(|| Chat::new(id, Kind::Private, name));
            chat.members.insert(name.into());
            chat.bot_in = true;
            id
        })
    }

    /// Somebody takes the bot into a group.
    pub fn add_bot(&self, chat: i64, by: &str) -> Result<(), Mistake> {
        self.change(|world, now| {
            world.member(chat, by)?.bot_in = true;
            world.standing(chat, by, now, ("left", "member"))?;
            let service = json!({ "new_chat_members": [shape::bot()] });
            world.say(chat, Draft { author: by.into(), service: Some(service), ..Draft::default() }, now)?;
            Ok(())
        })
    }

    /// Somebody puts the bot out of a group.
    pub fn remove_bot(&self, chat: i64, by: &str) -> Result<(), Mistake> {
        self.change(|world, now| {
            world.member(chat, by)?.bot_in = false;
            world.standing(chat, by, now, ("member", "kicked"))
        })
    }

    /// Somebody writes. The message's id.
    pub fn says(&self, chat: i64, who: &str, text: &str) -> Result<i64, Mistake> {
        self.change(|world, now| world.say(chat, words(who, text)?, now))
    }

    /// Somebody answers a message.
    pub fn replies(&self, chat: i64, who: &str, to: i64, text: &str) -> Result<i64, Mistake> {
        self.change(|world, now| {
            world.member(chat, who)?.posts.get(&to).ok_or(Mistake::NoMessage)?;
            world.say(chat, Draft { reply_to: Some(to), ..words(who, text)? }, now)
        })
    }

    /// Somebody changes a message of theirs.
    pub fn edits(&self, chat: i64, who: &str, message: i64, text: &str) -> Result<(), Mistake> {
        self.change(|world, now| {
            let text = words(who, text)?.text;
            let post = world.member(chat, who)?.posts.get_mut(&message).ok_or(Mistake::NoMessage)?;
            if post.author != who || post.by_bot || post.service.is_some() {
                return Err(Mistake::NotTheirs);
            }
            post.text = text;
            post.edited = Some(now);
            let post = post.clone();
            world.show("edited_message", chat, &post);
            Ok(())
        })
    }

    /// Somebody who may do that removes a message; the bot isn't told.
    pub fn removes(&self, chat: i64, who: &str, message: i64) -> Result<(), Mistake> {
        self.change(|world, _| {
            world.member(chat, who)?.posts.remove(&message).map(drop).ok_or(Mistake::NoMessage)
        })
    }

    /// An update as the platform might send it some day, under any id.
    pub fn queues(&self, id: i64, update: Value) {
        self.change(|world, _| {
            let mut update = update;
            update["update_id"] = json!(id);
            world.updates.push_back((id, update));
            world.last_update = world.last_update.max(id);
        });
    }

    /// Somebody sends a picture: something the bot can't read.
    pub fn sends_photo(&self, chat: i64, who: &str, caption: &str) -> Result<i64, Mistake> {
        let file = File { kind: "photo", name: "photo.jpg".into(), bytes: vec![0xff, 0xd8, 0xff, 0xd9] };
        let draft = Draft { author: who.into(), text: caption.into(), file: Some(file), ..Draft::default() };
        self.change(|world, now| world.say(chat, draft, now))
    }

    /// Somebody presses the button of that label under a message. The id by which the bot answers the press.
    pub fn presses(&self, chat: i64, who: &str, message: i64, label: &str) -> Result<String, Mistake> {
        self.change(|world, _| {
            let place = world.member(chat, who)?;
            let post = place.posts.get(&message).ok_or(Mistake::NoMessage)?.clone();
            let data = post.button(label).ok_or(Mistake::NoButton)?.data.clone();
            world.last_tap += 1;
            let tap = format!("tap-{}", world.last_tap);
            world.taps.insert(tap.clone());
            let body = json!({ "id": tap, "from": shape::person(world, who), "chat_instance": chat.to_string(),
                "message": shape::message(world, chat, &post), "data": data });
            world.update("callback_query", body);
            Ok(tap)
        })
    }

    /// The group becomes a supergroup: it has a new id, which is returned, and an empty history.
    pub fn migrate(&self, chat: i64) -> Result<i64, Mistake> {
        self.change(|world, now| {
            let old = world.chats.get(&chat).filter(|c| c.moved_to.is_none()).ok_or(Mistake::NoChat)?;
            let id = chat - 1_000_000_000_000;
            let mut new = Chat::new(id, Kind::Supergroup, &old.title);
            (new.members, new.bot_in) = (old.members.clone(), old.bot_in);
            let author = old.members.first().cloned().unwrap_or_default();
            world.chats.insert(id, new);
            for (place, key, other) in [(chat, "migrate_to_chat_id", id), (id, "migrate_from_chat_id", chat)]
            {
                let service = Some(json!({ key: other }));
                world.say(place, Draft { author: author.clone(), service, ..Draft::default() }, now)?;
            }
            world.chats.entry(chat).and_modify(|c| c.moved_to = Some(id));
            Ok(id)
        })
    }
}

fn words(who: &str, text: &str) -> Result<Draft, Mistake> {
    if text.trim().is_empty() {
        return Err(Mistake::NoWords);
    }
    if text.chars().nth(LONGEST_TEXT).is_some() {
        return Err(Mistake::TooLong);
    }
    Ok(Draft { author: who.into(), text: text.into(), ..Draft::default() })
}

impl World {
    /// A chat that this person is in.
    fn member(&mut self, chat: i64, who: &str) -> Result<&mut Chat, Mistake> {
        let chat = self.chats.get_mut(&chat).filter(|c| c.moved_to.is_none()).ok_or(Mistake::NoChat)?;
        if chat.members.contains(who) { Ok(chat) } else { Err(Mistake::NotThere) }
    }

    fn say(&mut self, chat: i64, draft: Draft, now: DateTime<Utc>) -> Result<i64, Mistake> {
        let author = draft.author.clone();
        let post = self.member(chat, &author)?.add(draft, now);
        self.show("message", chat, &post);
        Ok(post.id)
    }

    fn standing(
        &mut self,
        chat: i64,
        by: &str,
        now: DateTime<Utc>,
        (from, to): (&str, &str),
    ) -> Result<(), Mistake> {
        let place = self.chats.get(&chat).ok_or(Mistake::NoChat)?;
        let body = shape::standing(self, place, by, now.timestamp(), from, to);
        self.update("my_chat_member", body);
        Ok(())
    }
}
