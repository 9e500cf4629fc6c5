//! Updates that are brought to the bot, in place of its fetching them. Always true: each is brought until it was taken with
//! a 2xx, several at the same time, so that a later one may arrive first; and the secret comes with it.

use std::collections::BTreeSet;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::task::JoinSet;

use super::Standin;
use super::bot::Refusal;
use super::params::Params;
use super::world::Webhook;

/// How many updates are on their way at the same time.
const AT_ONCE: usize = 8;
/// How long an update is brought at most, and how long after a failure it is brought again.
const PATIENCE: Duration = Duration::from_secs(10);
const AGAIN: Duration = Duration::from_millis(100);

impl Standin {
    /// From now on updates are brought to an address; none ends that.
    pub(super) fn set_webhook(&self, params: &Params) -> Result<Value, Refusal> {
        let url = params.text("url").unwrap_or_default().to_owned();
        let secret = params.text("secret_token").unwrap_or_default().to_owned();
        if url.is_empty() {
            self.change(|world, _| world.webhook = None);
            return Ok(json!(true));
        }
        if !url.starts_with("http") {
            return Err(Refusal::bad("bad webhook: invalid URL"));
        }
        let webhook = Webhook { url, secret };
        let is_new = self.change(|world, _| {
            world.allow(params);
            world.webhook.replace(webhook.clone()) != Some(webhook.clone())
        });
        if is_new {
            tokio::spawn(self.clone().bring(webhook));
        }
        Ok(json!(true))
    }

    async fn bring(self, webhook: Webhook) {
        let client = reqwest::Client::new();
        let (mut on_the_way, mut running) = (BTreeSet::new(), JoinSet::new());
        let mut version = self.version();
        loop {
            version.borrow_and_update();
            if self.look(|world| world.webhook.as_ref() != Some(&webhook)) {
                return;
            }
            let waiting = self.look(|world| world.updates.clone());
            let free = waiting.into_iter().filter(|(id, _)| !on_the_way.contains(id));
            for (id, update) in free.take(AT_ONCE.saturating_sub(running.len())).collect::<Vec<_>>() {
                on_the_way.insert(id);
                running.spawn(bring_one(client.clone(), webhook.clone(), id, update));
            }
            tokio::select! {
                _ = version.changed() => {}
                Some(Ok((id, taken))) = running.join_next() => {
                    on_the_way.remove(&id);
                    if taken {
                        self.change(|world, _| world.updates.retain(|(other, _)| *other != id));
                    }
                }
            }
        }
    }
}

/// Whether it was taken; after a failure only when it may be brought again.
async fn bring_one(client: reqwest::Client, to: Webhook, id: i64, update: Value) -> (i64, bool) {
    let request = client
        .post(&to.url)
        .timeout(PATIENCE)
        .header("content-type", "application/json")
        .header("x-telegram-bot-api-secret-token", &to.secret)
        .body(update.to_string());
    let taken = request.send().await.is_ok_and(|answer| answer.status().is_success());
    if !taken {
        tokio::time::sleep(AGAIN).await;
    }
    (id, taken)
}
