//! The bots that are compared; each is this program started anew with `bot NAME URL DATABASE`.

use std::sync::Arc;

use firstout::app::App;
use firstout::clock::Clock;
use firstout::edge::telegram;
use firstout::store::Store;
use secrecy::SecretString;
use sqlx::AnyPool;
use sqlx::any::AnyPoolOptions;
use teloxide::prelude::*;

use super::{Kind, TOKEN};

pub fn name(kind: Kind) -> &'static str {
    match kind {
        Kind::Echo => "echo",
        Kind::Durable => "durable",
        Kind::New | Kind::Old | Kind::Quiet => "firstout",
    }
}

pub async fn run(arguments: &[String]) {
    let [bot, url, database] = arguments else { panic!("bot NAME URL DATABASE") };
    match bot.as_str() {
        "echo" => echo(url, None).await,
        "durable" => echo(url, Some(inbox(database).await)).await,
        _ => serve(url, database).await,
    }
}

/// As a first bot is written: a closure that answers.
async fn echo(url: &str, pool: Option<AnyPool>) {
    let bot = Bot::new(TOKEN).set_api_url(url.parse().unwrap());
    teloxide::repl(bot, move |bot: Bot, message: Message| {
        let pool = pool.clone();
        async move {
            let Some(text) = message.text() else { return Ok(()) };
            if let Some(pool) = &pool {
                store(pool, &message, text).await;
            }
            bot.send_message(message.chat.id, text).await?;
            Ok(())
        }
    })
    .await;
}

/// SQLite as it is usually opened, with nothing lost in a power cut.
async fn inbox(database: &str) -> AnyPool {
    sqlx::any::install_default_drivers();
    let options = AnyPoolOptions::new().max_connections(4).after_connect(|db, _| {
        Box::pin(async move {
            sqlx::query("PRAGMA journal_mode = WAL").execute(&mut *db).await?;
            sqlx::query("PRAGMA synchronous = FULL").execute(&mut *db).await?;
            sqlx::query("PRAGMA busy_timeout = 10000").execute(&mut *db).await?;
            Ok(())
        })
    });
    let pool = options.connect(&format!("{database}?mode=rwc")).await.unwrap();
    let table = "CREATE TABLE IF NOT EXISTS inbox (chat BIGINT, message BIGINT, body TEXT)";
    sqlx::query(table).execute(&pool).await.unwrap();
    pool
}

async fn store(pool: &AnyPool, message: &Message, text: &str) {
    let insert = sqlx::query("INSERT INTO inbox (chat, message, body) VALUES ($1, $2, $3)");
    let insert = insert.bind(message.chat.id.0).bind(i64::from(message.id.0)).bind(text);
    insert.execute(pool).await.unwrap();
}

async fn serve(url: &str, database: &str) {
    let store = Store::open(database).await.unwrap();
    let app = Arc::new(App::new(store, SecretString::from("code")));
    let settings = telegram::Settings { token: TOKEN.into(), url: url.parse().unwrap(), paced: false };
    telegram::serve(app, settings, Clock::system(), std::future::pending()).await.unwrap();
}
