//! What the platform and the way to it may do wrong, over HTTP: nothing is lost, nothing stops, and what can't be is said.

use chrono::TimeDelta;
use firstout::edge::standin::{Fault, Post, What};
use firstout::edge::telegram::ServeError;
use firstout::store::{Commit, NewOutboxRow, Store};
use serde_json::{Value, json};

use crate::telegram::{CODE, GUARD, Stage, heard, noon};

fn by_bot(stage: &Stage, group: i64) -> Vec<Post> {
    stage.standin.posts(group).into_iter().filter(|post| post.by_bot).collect()
}

#[tokio::test]
async fn what_breaks_for_a_while_is_tried_again_until_it_goes() {
    // Each on a platform of its own, side by side: the client waits a while of its own after a 5xx.
    let faults = [
        (Fault::ServerError, 110),
        (Fault::BadGateway, 120),
        (Fault::HalfAnswer, 130),
        (Fault::TooMany { retry_after: 3 }, 140),
    ];
    let running = faults.map(|(fault, ml)| {
        tokio::spawn(async move {
            let stage = Stage::new().await;
            let bot = stage.start();
            let (group, mut follow) = stage.at_home().await;
            stage.standin.fail("sendMessage", Some(group), 1, fault.clone());
            stage.standin.fail("getUpdates", None, 1, fault.clone());
            stage.standin.says(group, "Ana", &format!("pumped {ml} fridge")).unwrap();
            let text = stage.heard_later(&mut follow, group).await.text;
            assert!(text.contains(&format!("{ml} ml")), "{fault:?}: {text}");
            bot.end().await;
        })
    });
    for one in running {
        one.await.unwrap();
    }
}

/// A message as the platform tells it.
fn message(group: i64, id: i64, date: i64, text: &str) -> Value {
    json!({ "message": { "message_id": id, "date": date, "text": text, "chat": { "id": group, "type": "group" },
        "from": { "id": 4_000_001, "is_bot": false, "first_name": "Ana" } } })
}

#[tokio::test]
async fn updates_come_in_any_order_more_than_once_late_and_of_unknown_kinds() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    bot.end().await;
    let (now, day) = (noon().timestamp(), 24 * 3600);
    let standin = &stage.standin;
    standin.queues(5006, message(group, 96, now, "how much do we have?"));
    standin.queues(5001, json!({ "a_kind_of_the_future": { "chat": { "id": group } } }));
    standin.queues(5003, message(group, 93, now, "pumped 130 fridge"));
    standin.queues(5002, message(group, 92, now - day + 60, "pumped 120 fridge"));
    standin.queues(5003, message(group, 93, now, "pumped 130 fridge"));
    standin.queues(5004, json!({ "message": { "nothing": "that is known" } }));
    standin.queues(5005, json!({ "message": null, "poll": [] }));
    let bot = stage.start();
    while !heard(&mut follow, group).await.text.contains("250 ml") {}
    let receipts = by_bot(&stage, group);
    let answers = |id| receipts.iter().filter(|post| post.reply_to == Some(id)).count();
    // The group never saw these messages; the bot answers them all the same, each once.
    let texts = receipts.iter().filter(|post| post.text.contains("130 ml (")).count();
    assert_eq!((answers(92) + answers(93) + answers(96), texts), (0, 1), "{receipts:?}");
    // The milk of a day ago has the clock of a day ago.
    let old = receipts.iter().find(|post| post.text.contains("120 ml")).unwrap();
    assert!(old.text.contains("expressed Mon 12:01"), "{}", old.text);
    bot.end().await;
    let store = Store::open(&stage.database()).await.unwrap();
    assert_eq!(store.waiting().await.unwrap(), []);
}

#[tokio::test]
async fn another_program_that_stays_is_given_way_to() {
    let stage = Stage::new().await;
    let bot = stage.start();
    stage.until(|s| s.pollers() == 1).await;
    let group = stage.group();
    stage.until(|s| s.unacknowledged() == 0).await;
    stage.standin.fail("getUpdates", None, 1_000_000, Fault::Conflict);
    stage.standin.says(group, "Ana", &format!("/start {CODE}")).unwrap();
    let began = stage.clock.now();
    let serving = bot.serving;
    tokio::pin!(serving);
    let ended = loop {
        tokio::select! {
            biased;
            ended = &mut serving => break ended.unwrap(),
            () = tokio::task::yield_now() => stage.clock.advance(TimeDelta::seconds(1)),
        }
    };
    assert!(matches!(ended, Err(ServeError::Outdone)), "{ended:?}");
    assert_eq!(
        ended.unwrap_err().to_string(),
        "TELEGRAM_TOKEN: another program gets the updates of the same bot"
    );
    assert!(stage.clock.now() - began >= TimeDelta::seconds(60));
    bot.runtime.shutdown_background();
}

#[tokio::test]
async fn a_group_that_silences_the_bot_or_puts_it_out_stops_nobody() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    let (other, mut others) = stage.at_home().await;
    stage.standin.fail("sendMessage", Some(group), 1, Fault::Silenced);
    stage.standin.says(group, "Ana", "pumped 110 fridge").unwrap();
    stage.standin.says(group, "Ana", "how much do we have?").unwrap();
    // What it could not say it knows all the same.
    assert!(heard(&mut follow, group).await.text.contains("110 ml"));

    stage.standin.says(group, "Ana", "pumped 120, on the counter").unwrap();
    heard(&mut follow, group).await;
    stage.standin.remove_bot(group, "Ana").unwrap();
    stage.standin.says(other, "Ana", "pumped 90 fridge").unwrap();
    assert!(heard(&mut others, other).await.text.contains("90 ml"));
    let before = by_bot(&stage, group).len();
    stage.clock.advance(TimeDelta::hours(5));
    stage.standin.says(other, "Ana", "how much do we have?").unwrap();
    heard(&mut others, other).await;
    assert_eq!(by_bot(&stage, group).len(), before, "nothing is said to a group that put the bot out");
    stage.standin.add_bot(group, "Ana").unwrap();
    stage.standin.says(group, "Ana", "pumped 100 fridge").unwrap();
    while !stage.heard_later(&mut follow, group).await.text.contains("100 ml") {}
    bot.end().await;
}

#[tokio::test]
async fn a_group_that_moves_while_the_answer_is_on_its_way_gets_it() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, _) = stage.at_home().await;
    // The answer meets a failure first, and on the next try the group is another.
    stage.standin.fail("sendMessage", Some(group), 1, Fault::TooMany { retry_after: 5 });
    stage.standin.says(group, "Ana", "pumped 120 fridge").unwrap();
    let mut version = stage.standin.version();
    // The fault is used up when the answer was tried.
    tokio::time::timeout(GUARD, version.changed()).await.unwrap().unwrap();
    let mut follow = stage.standin.follow();
    let moved = stage.standin.migrate(group).unwrap();
    assert!(stage.heard_later(&mut follow, moved).await.text.contains("120 ml"));
    bot.end().await;
}

#[tokio::test]
async fn what_is_too_long_for_one_message_takes_several() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    bot.end().await;
    let lines: Vec<String> = (0..400).map(|n| format!("{n} · 120 ml · fridge")).collect();
    let body =
        json!({ "type": "send", "text": lines.join("\n"), "buttons": [], "reply_to": null, "silent": false });
    let row = NewOutboxRow { chat: group, class: 1, body: body.to_string(), ..NewOutboxRow::default() };
    let store = Store::open(&stage.database()).await.unwrap();
    store.commit(Commit { outbox: vec![row], ..Commit::default() }).await.unwrap();
    let bot = stage.start();
    let mut seen = Vec::new();
    while seen.len() < lines.len() {
        let post = heard(&mut follow, group).await;
        assert!(post.text.encode_utf16().count() <= 4096);
        seen.extend(post.text.lines().map(str::to_owned).collect::<Vec<_>>());
    }
    assert_eq!(seen, lines);
    bot.end().await;
}

#[tokio::test]
async fn what_was_to_be_changed_and_is_gone_is_said_anew() {
    let stage = Stage::new().await;
    let bot = stage.start();
    let (group, mut follow) = stage.at_home().await;
    stage.standin.says(group, "Ana", "pumped 120, on the counter").unwrap();
    heard(&mut follow, group).await;
    stage.clock.advance(TimeDelta::minutes(190));
    let reminder = heard(&mut follow, group).await;
    stage.standin.removes(group, "Ben", reminder.id).unwrap();
    stage.standin.says(group, "Ben", "on it").unwrap();
    let (_, post) = tokio::time::timeout(GUARD, follow.next_post()).await.unwrap();
    assert!(post.id != reminder.id && post.text.contains("Ben"), "{post:?}");
    let edited = stage.standin.sent().into_iter().any(|sent| matches!(sent.what, What::Edited(_)));
    assert!(!edited);
    bot.end().await;
}
