//! The stand-in of the Bot API behaves as the platform does: checked through teloxide's own client, and with bare
//! requests where that client has no words for it. What the platform does: its published Bot API reference, and where
//! marked so, from memory.

#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

use std::sync::{Arc, Mutex};
use std::time::Duration;

use chrono::{DateTime, TimeZone, Utc};
use firstout::edge::standin::{Fault, Mistake, Standin, What};
use serde_json::{Value, json};
use teloxide::payloads::{GetUpdatesSetters, SendMessageSetters};
use teloxide::prelude::{Bot, Requester};
use teloxide::types::{
    ChatId, ChatMemberStatus, InlineKeyboardButton, InlineKeyboardMarkup, InputFile, MessageId,
    ReplyParameters, UpdateKind,
};

const TOKEN: &str = "1:test";

fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 3, 9, 12, 0, 0).unwrap()
}

struct Stage {
    standin: Standin,
    clock: Arc<Mutex<DateTime<Utc>>>,
    url: String,
    bot: Bot,
    group: i64,
}

/// A group of Ana and Ben with the bot in it, and nothing left to read.
async fn stage() -> Stage {
    let clock = Arc::new(Mutex::new(noon()));
    let hand = Arc::clone(&clock);
    let standin = Standin::new(TOKEN, move || *hand.lock().unwrap());
    let url = standin.listen().await.unwrap();
    let bot = Bot::new(TOKEN).set_api_url(url.parse().unwrap());
    let group = standin.group("Milk", &["Ana", "Ben"]);
    standin.add_bot(group, "Ana").unwrap();
    let stage = Stage { standin, clock, url, bot, group };
    stage.call("getUpdates", json!({ "offset": 1_000_000 })).await;
    stage
}

impl Stage {
    async fn call(&self, method: &str, body: Value) -> Value {
        call(&self.url, TOKEN, method, body).await.1
    }

    fn chat(&self) -> ChatId {
        ChatId(self.group)
    }
}

async fn call(url: &str, token: &str, method: &str, body: Value) -> (u16, Value) {
    let request = reqwest::Client::new()
        .post(format!("{url}/bot{token}/{method}"))
        .header("content-type", "application/json")
        .body(body.to_string());
    let response = request.send().await.unwrap();
    (response.status().as_u16(), serde_json::from_str(&response.text().await.unwrap()).unwrap())
}

#[tokio::test]
async fn what_people_say_reaches_the_bot_with_the_clocks_time() {
    let stage = stage().await;
    let said = stage.standin.says(stage.group, "Ana", "pumped 120 ml").unwrap();
    *stage.clock.lock().unwrap() = noon() + chrono::TimeDelta::hours(5);
    stage.standin.replies(stage.group, "Ben", said, "that was yesterday").unwrap();
    stage.standin.edits(stage.group, "Ana", said, "pumped 130 ml").unwrap();

    let updates = stage.bot.get_updates().await.unwrap();
    let [first, second, third] = &updates[..] else { panic!("{updates:?}") };
    let UpdateKind::Message(first) = &first.kind else { panic!("{first:?}") };
    assert_eq!((first.text(), first.date), (Some("pumped 120 ml"), noon()));
    assert_eq!(first.from.as_ref().unwrap().first_name, "Ana");
    let UpdateKind::Message(second) = &second.kind else { panic!("{second:?}") };
    assert_eq!(second.date, noon() + chrono::TimeDelta::hours(5));
    assert_eq!(second.reply_to_message().unwrap().id.0 as i64, said);
    let UpdateKind::EditedMessage(third) = &third.kind else { panic!("{third:?}") };
    assert_eq!((third.id.0 as i64, third.text(), third.date), (said, Some("pumped 130 ml"), noon()));
}

#[tokio::test]
async fn updates_stay_until_an_offset_beyond_them_is_asked_for() {
    let stage = stage().await;
    for text in ["one", "two", "three"] {
        stage.standin.says(stage.group, "Ana", text).unwrap();
    }
    let first = stage.bot.get_updates().limit(2).await.unwrap();
    let again = stage.bot.get_updates().limit(2).await.unwrap();
    assert_eq!(first, again);
    assert_eq!(stage.standin.unacknowledged(), 3);
    let rest = stage.bot.get_updates().offset(first[1].id.as_offset()).await.unwrap();
    assert_eq!((rest.len(), stage.standin.unacknowledged()), (1, 1));
}

#[tokio::test]
async fn a_long_poll_answers_as_soon_as_something_is_said() {
    let stage = stage().await;
    let bot = stage.bot.clone();
    let poll = tokio::spawn(async move { bot.get_updates().timeout(10).await });
    stage.standin.says(stage.group, "Ben", "hello").unwrap();
    assert_eq!(poll.await.unwrap().unwrap().len(), 1);
}

#[tokio::test]
async fn a_second_poller_ends_the_first() {
    let stage = stage().await;
    let (url, standin) = (stage.url.clone(), stage.standin.clone());
    let mut version = standin.version();
    version.borrow_and_update();
    let first = tokio::spawn(async move { call(&url, TOKEN, "getUpdates", json!({ "timeout": 30 })).await });
    while standin.pollers() == 0 {
        version.changed().await.unwrap();
    }
    stage.call("getUpdates", json!({})).await;
    let (status, answer) = first.await.unwrap();
    assert_eq!((status, &answer["error_code"]), (409, &json!(409)));
}

#[tokio::test]
async fn only_the_kinds_asked_for_are_kept() {
    let stage = stage().await;
    stage.call("getUpdates", json!({ "allowed_updates": ["edited_message"] })).await;
    let said = stage.standin.says(stage.group, "Ana", "hello").unwrap();
    stage.standin.edits(stage.group, "Ana", said, "hello!").unwrap();
    let updates = stage.call("getUpdates", json!({})).await;
    assert_eq!(updates["result"].as_array().unwrap().len(), 1);
    assert_eq!(updates["result"][0]["edited_message"]["text"], "hello!");
}

#[tokio::test]
async fn a_button_goes_from_the_bot_to_a_person_and_back() {
    let stage = stage().await;
    let mut follow = stage.standin.follow();
    let asked = stage.standin.says(stage.group, "Ana", "pumped 120 ml").unwrap();
    let keyboard = InlineKeyboardMarkup::new([[InlineKeyboardButton::callback("Undo", "undo:1")]]);
    let sending = stage
        .bot
        .send_message(stage.chat(), "1 · 120 ml")
        .reply_parameters(ReplyParameters::new(MessageId(asked as i32)))
        .reply_markup(keyboard)
        .disable_notification(true);
    let answer = sending.await.unwrap();
    let (chat, post) = follow.next_post().await;
    assert_eq!(
        (chat, post.id, post.reply_to, post.silent),
        (stage.group, answer.id.0 as i64, Some(asked), true)
    );
    assert_eq!(post.labels(), ["Undo"]);

    let tap = stage.standin.presses(stage.group, "Ben", post.id, "Undo").unwrap();
    let updates = stage.bot.get_updates().offset(0).await.unwrap();
    let Some(UpdateKind::CallbackQuery(query)) = updates.last().map(|u| &u.kind) else {
        panic!("{updates:?}")
    };
    assert_eq!((query.data.as_deref(), &query.id.0, &*query.from.first_name), (Some("undo:1"), &tap, "Ben"));
    stage.bot.answer_callback_query(query.id.clone()).await.unwrap();
    assert_eq!(follow.next().await.what, What::Answered { tap, text: String::new() });
    let twice = stage.bot.answer_callback_query(query.id.clone()).await;
    assert!(twice.unwrap_err().to_string().contains("query is too old"));
}

#[tokio::test]
async fn a_message_is_changed_in_place_and_then_removed() {
    let stage = stage().await;
    let sent = stage.bot.send_message(stage.chat(), "before").await.unwrap();
    stage.bot.edit_message_text(stage.chat(), sent.id, "after").await.unwrap();
    let same = stage.bot.edit_message_text(stage.chat(), sent.id, "after").await.unwrap_err();
    assert!(same.to_string().contains("message is not modified"), "{same}");
    stage.bot.delete_message(stage.chat(), sent.id).await.unwrap();
    let gone = stage.bot.edit_message_text(stage.chat(), sent.id, "later").await.unwrap_err();
    assert!(gone.to_string().contains("message to edit not found"), "{gone}");
    let kinds: Vec<_> = stage.standin.sent().into_iter().map(|sent| sent.what).collect();
    assert!(matches!(&kinds[..], [What::Message(_), What::Edited(p), What::Deleted(_)] if p.text == "after"));
}

#[tokio::test]
async fn files_arrive_as_they_were_sent() {
    let stage = stage().await;
    let photo = InputFile::memory(vec![0x89, b'\r', b'\n', 0]).file_name("label.png");
    let message = stage.bot.send_photo(stage.chat(), photo).await.unwrap();
    assert!(message.photo().is_some());
    let paper = InputFile::memory(b"a,b".to_vec()).file_name("log.csv");
    stage.bot.send_document(stage.chat(), paper).await.unwrap();
    let posts = stage.standin.posts(stage.group);
    let files: Vec<_> = posts.iter().filter_map(|p| p.file.as_ref()).collect();
    assert_eq!((files[0].kind, &files[0].bytes[..]), ("photo", &[0x89, b'\r', b'\n', 0][..]));
    assert_eq!((files[1].kind, &*files[1].name), ("document", "log.csv"));
}

/// Limits: the platform's reference for sendMessage and InlineKeyboardButton.
#[tokio::test]
async fn the_platforms_limits_hold() {
    let stage = stage().await;
    let with_data = |data: &str| json!({ "inline_keyboard": [[{ "text": "x", "callback_data": data }]] });
    for (text, markup, refusal) in [
        ("a".repeat(4096), with_data(&"d".repeat(64)), None),
        ("a".repeat(4097), Value::Null, Some("Bad Request: message is too long")),
        ("🍼".repeat(2049), Value::Null, Some("Bad Request: message is too long")),
        ("  ".into(), Value::Null, Some("Bad Request: message text is empty")),
        ("a".into(), with_data(&"é".repeat(33)), Some("Bad Request: BUTTON_DATA_INVALID")),
    ] {
        let body = json!({ "chat_id": stage.group, "text": text, "reply_markup": markup });
        let answer = stage.call("sendMessage", body).await;
        assert_eq!(answer["description"].as_str(), refusal);
    }
    let missing = json!({ "chat_id": stage.group, "text": "a", "reply_parameters": { "message_id": 999 } });
    let answer = stage.call("SENDMESSAGE", missing).await;
    assert_eq!(answer["description"], "Bad Request: message to be replied not found");
}

#[tokio::test]
async fn what_is_wrong_is_named() {
    let stage = stage().await;
    assert_eq!(call(&stage.url, "other", "getMe", json!({})).await.0, 401);
    assert_eq!(call(&stage.url, TOKEN, "sendNothing", json!({})).await.0, 404);
    let answer = stage.call("sendMessage", json!({ "chat_id": 5, "text": "a" })).await;
    assert_eq!(answer["description"], "Bad Request: chat not found");
}

#[tokio::test]
async fn a_bot_may_write_to_a_person_only_after_they_began() {
    let stage = stage().await;
    let ben = {
        stage.standin.says(stage.group, "Ben", "hi").unwrap();
        let updates = stage.call("getUpdates", json!({})).await;
        updates["result"][0]["message"]["from"]["id"].as_i64().unwrap()
    };
    let body = json!({ "chat_id": ben, "text": "psst" });
    assert_eq!(stage.call("sendMessage", body.clone()).await["error_code"], 403);
    assert_eq!(stage.standin.private("Ben"), ben);
    assert_eq!(stage.call("sendMessage", body).await["ok"], true);
}

#[tokio::test]
async fn with_privacy_mode_on_plain_messages_stay_hidden() {
    let stage = stage().await;
    stage.standin.bot_reads_all(false);
    assert!(!stage.bot.get_me().await.unwrap().can_read_all_group_messages);
    let answer = stage.bot.send_message(stage.chat(), "hello").await.unwrap();
    stage.standin.says(stage.group, "Ana", "pumped 120 ml").unwrap();
    stage.standin.says(stage.group, "Ana", "/stock").unwrap();
    stage.standin.replies(stage.group, "Ana", answer.id.0 as i64, "thanks").unwrap();
    let updates = stage.call("getUpdates", json!({})).await;
    let texts: Vec<_> = updates["result"].as_array().unwrap().iter().map(|u| &u["message"]["text"]).collect();
    assert_eq!(texts, ["/stock", "thanks"]);
}

#[tokio::test]
async fn being_added_and_put_out_is_told() {
    let stage = stage().await;
    stage.standin.remove_bot(stage.group, "Ben").unwrap();
    stage.standin.says(stage.group, "Ben", "unseen").unwrap();
    let answer = stage.bot.send_message(stage.chat(), "hello").await.unwrap_err();
    assert!(answer.to_string().contains("kicked"), "{answer}");
    stage.standin.add_bot(stage.group, "Ana").unwrap();
    let updates = stage.bot.get_updates().await.unwrap();
    let standings: Vec<_> = updates
        .iter()
        .filter_map(|update| match &update.kind {
            UpdateKind::MyChatMember(change) => Some(change.new_chat_member.status()),
            _ => None,
        })
        .collect();
    assert_eq!(standings, [ChatMemberStatus::Banned, ChatMemberStatus::Member]);
    assert_eq!(updates.len(), 3, "and the line in the chat that it was added");
}

#[tokio::test]
async fn a_group_that_moves_says_where_to() {
    let stage = stage().await;
    let new = stage.standin.migrate(stage.group).unwrap();
    let updates = stage.bot.get_updates().await.unwrap();
    let moves: Vec<_> = updates
        .iter()
        .filter_map(|update| match &update.kind {
            UpdateKind::Message(m) => Some((m.chat.id.0, m.migrate_to_chat_id(), m.migrate_from_chat_id())),
            _ => None,
        })
        .collect();
    let expected = [(stage.group, Some(ChatId(new)), None), (new, None, Some(ChatId(stage.group)))];
    assert_eq!(moves.iter().map(|m| (m.0, m.1.copied(), m.2.copied())).collect::<Vec<_>>(), expected);
    let answer = stage.call("sendMessage", json!({ "chat_id": stage.group, "text": "a" })).await;
    assert_eq!(answer["parameters"]["migrate_to_chat_id"], new);
    assert_eq!(stage.standin.says(stage.group, "Ana", "hello"), Err(Mistake::NoChat));
    assert!(stage.standin.says(new, "Ana", "hello").is_ok());
}

#[tokio::test]
async fn faults_come_as_scripted_and_pass() {
    let stage = stage().await;
    let other = stage.standin.group("Other", &["Eva"]);
    stage.standin.add_bot(other, "Eva").unwrap();
    let client = reqwest::Client::new();
    let send = async |chat: i64| {
        let url = format!("{}/bot{TOKEN}/sendMessage?chat_id={chat}&text=a", stage.url);
        let response = client.get(url).send().await.map_err(|_| "connection")?;
        let status = response.status().as_u16();
        let text = response.text().await.map_err(|_| "connection")?;
        Ok::<_, &str>((status, serde_json::from_str::<Value>(&text).ok()))
    };
    let fail = |fault| stage.standin.fail("sendMessage", Some(stage.group), 1, fault);

    fail(Fault::TooMany { retry_after: 7 });
    assert_eq!(send(other).await.unwrap().0, 200, "the other chat is not concerned");
    let (status, answer) = send(stage.group).await.unwrap();
    assert_eq!((status, &answer.unwrap()["parameters"]["retry_after"]), (429, &json!(7)));
    fail(Fault::ServerError);
    assert_eq!(send(stage.group).await.unwrap().0, 500);
    fail(Fault::Blocked);
    assert_eq!(send(stage.group).await.unwrap().0, 403);
    fail(Fault::NotJson);
    assert_eq!(send(stage.group).await.unwrap(), (200, None));
    fail(Fault::Hangup);
    assert_eq!(send(stage.group).await, Err("connection"));
    let seen = |standin: &Standin| standin.posts(stage.group).iter().filter(|p| p.by_bot).count();
    assert_eq!(seen(&stage.standin), 0);
    fail(Fault::LostAnswer);
    assert_eq!(send(stage.group).await, Err("connection"));
    assert_eq!(seen(&stage.standin), 1);
    assert_eq!(send(stage.group).await.unwrap().0, 200);
}

#[tokio::test]
async fn people_do_only_what_the_platform_lets_them() {
    let stage = stage().await;
    let said = stage.standin.says(stage.group, "Ana", "hello").unwrap();
    let answer = stage.bot.send_message(stage.chat(), "hello").await.unwrap().id.0 as i64;
    assert_eq!(stage.standin.says(stage.group, "Eva", "hello"), Err(Mistake::NotThere));
    assert_eq!(stage.standin.says(stage.group, "Ana", " \n"), Err(Mistake::NoWords));
    assert_eq!(stage.standin.edits(stage.group, "Ben", said, "no"), Err(Mistake::NotTheirs));
    assert_eq!(stage.standin.edits(stage.group, "Ana", answer, "no"), Err(Mistake::NotTheirs));
    assert_eq!(stage.standin.presses(stage.group, "Ana", answer, "Undo"), Err(Mistake::NoButton));
    assert_eq!(stage.standin.replies(stage.group, "Ana", 999, "what?"), Err(Mistake::NoMessage));
}

#[tokio::test]
async fn commands_and_chats_are_what_teloxide_expects() {
    let stage = stage().await;
    let command = teloxide::types::BotCommand::new("stock", "what there is");
    stage.bot.set_my_commands([command]).await.unwrap();
    assert_eq!(stage.standin.commands()[0]["command"], "stock");
    assert_eq!(stage.bot.get_chat(stage.chat()).await.unwrap().title(), Some("Milk"));
    stage.bot.delete_webhook().await.unwrap();
    stage.bot.leave_chat(stage.chat()).await.unwrap();
    assert!(matches!(stage.standin.sent().last().unwrap().what, What::Left));
}

#[tokio::test]
async fn waiting_for_the_bot_ends_when_it_speaks() {
    let stage = stage().await;
    let mut follow = stage.standin.follow();
    let waiting = tokio::spawn(async move { follow.next_post().await.1.text });
    stage.bot.send_message(stage.chat(), "here I am").await.unwrap();
    let heard = tokio::time::timeout(Duration::from_secs(5), waiting).await.unwrap().unwrap();
    assert_eq!(heard, "here I am");
}
