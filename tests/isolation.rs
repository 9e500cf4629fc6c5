//! What belongs to one household stays there: whoever writes, presses or guesses, in whichever chat. Seen through the app
//! as an edge sees it.

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use firstout::app::App;
use firstout::app::wire::{Body, Event, Incoming, Sender};
use firstout::domain::household::{Household, Person, Role};
use firstout::store::{InboxRow, Store};
use proptest::prelude::*;
use tokio::runtime::{Builder, Runtime};

const CODE: &str = "milk-and-honey";
const ANA: (i64, &str) = (1, "Ana");
const BEN: (i64, &str) = (2, "Ben");

fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().unwrap()
}

fn noon() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 3, 9, 12, 0, 0).unwrap()
}

/// The app, and what an edge does around it.
struct Stage {
    app: App,
    store: Store,
    update: i64,
    now: DateTime<Utc>,
}

impl Stage {
    async fn new() -> Stage {
        let store = Store::open("sqlite::memory:").await.unwrap();
        let app = App::new(store.clone(), CODE.to_owned().into());
        Stage { app, store, update: 0, now: noon() }
    }

    async fn household(&self, chat: i64) {
        let person = |(_, name): (i64, &str), role| Person { name: name.into(), role };
        let people = vec![person(ANA, Role::Pumps), person(BEN, Role::Helps)];
        let household = Household { people, ..Household::default() };
        self.app.take_on(chat, &household, self.now).await.unwrap();
    }

    /// Somebody does something in a chat; what the bot sends for it, with the chat it goes to.
    async fn does(&mut self, chat: i64, who: (i64, &str), event: Event) -> Vec<(i64, Body)> {
        self.update += 1;
        let row = InboxRow::new(self.update, Some(chat), "{}".into());
        self.app.receive(&[row], 0).await.unwrap();
        let from = Some(Sender { id: who.0, name: who.1.into() });
        let incoming = Incoming { update: self.update, chat, private: chat > 0, at: self.now, from, event };
        self.app.handle(&incoming).await.unwrap();
        self.sent().await
    }

    async fn says(&mut self, chat: i64, who: (i64, &str), message: i64, text: &str) -> Vec<String> {
        let event = Event::Text { message, text: text.into(), reply_to: None };
        texts(self.does(chat, who, event).await)
    }

    async fn taps(&mut self, chat: i64, who: (i64, &str), message: i64, data: &str) -> Vec<String> {
        let event = Event::Tapped { message, data: data.into(), tap: "tap".into() };
        texts(self.does(chat, who, event).await)
    }

    /// All that waits to be sent is taken by the platform; a chat's messages are numbered from 1000 on.
    async fn sent(&mut self) -> Vec<(i64, Body)> {
        let mut sent = Vec::new();
        loop {
            let next = self.app.outgoing().await.unwrap();
            let Some(out) = next.into_iter().next() else { return sent };
            let number = match out.body {
                Body::Send { .. } => {
                    let before = self.store.messages_of(out.chat).await.unwrap();
                    Some(1000 + before.iter().filter(|r| r.message.is_some()).count() as i64)
                }
                _ => None,
            };
            self.app.delivered(out.id, number).await.unwrap();
            sent.push((out.chat, out.body));
        }
    }

    async fn passes(&mut self, minutes: i64) -> Vec<(i64, Body)> {
        self.now += TimeDelta::minutes(minutes);
        self.app.tick(self.now).await.unwrap();
        self.sent().await
    }
}

fn text_of(body: &Body) -> Option<String> {
    match body {
        Body::Send { text, buttons, .. } | Body::Edit { text, buttons, .. } => {
            let labels: Vec<&str> = buttons.iter().map(|b| b.label.as_str()).collect();
            Some(format!("{text} [{}]", labels.join("] [")))
        }
        Body::Ack { .. } => None,
    }
}

fn texts(sent: Vec<(i64, Body)>) -> Vec<String> {
    sent.iter().filter_map(|(_, body)| text_of(body)).collect()
}

#[test]
fn a_person_in_two_households_writes_in_each_for_that_one() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        stage.household(-1).await;
        stage.household(-2).await;
        stage.says(-1, ANA, 1, "pumped 120 fridge").await;
        stage.says(-2, ANA, 1, "pumped 70 fridge").await;
        assert!(stage.says(-1, ANA, 2, "how much do we have?").await[0].contains("120 ml"));
        assert!(stage.says(-2, ANA, 2, "how much do we have?").await[0].contains("70 ml"));
        // What is taken back here is taken back here only.
        stage.says(-1, ANA, 3, "undo").await;
        assert!(stage.says(-2, ANA, 3, "how much do we have?").await[0].contains("70 ml"));
    });
}

#[test]
fn in_a_private_chat_no_household_is_shown() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        stage.household(-1).await;
        stage.says(-1, ANA, 1, "pumped 120 fridge").await;
        for text in ["/stock", "/next", "/undo", "/help", "/start", &format!("/start {CODE}")] {
            let said = stage.says(ANA.0, ANA, 9, text).await;
            assert!(said[0].starts_with("I work in your family's group"), "{text}: {said:?}");
        }
        assert!(stage.says(ANA.0, ANA, 10, "how much do we have?").await.is_empty());
        assert!(stage.says(ANA.0, ANA, 11, "pumped 90 fridge").await.is_empty());
        assert!(stage.says(-1, ANA, 2, "how much do we have?").await[0].contains("120 ml"));
    });
}

#[test]
fn whoever_has_left_is_not_written_to_alone_any_more() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        stage.household(-1).await;
        stage.says(-1, ANA, 1, "pumped 120 freezer").await;
        stage.says(ANA.0, ANA, 1, "/start").await;
        stage.says(-1, ANA, 2, "hold 1").await;
        let told = stage.passes(3 * 24 * 60 + 1).await;
        assert!(told.iter().any(|(chat, _)| *chat == ANA.0), "milk on hold is asked about alone: {told:?}");
        stage.does(-1, ANA, Event::Left { member: ANA.0 }).await;
        // Nor does asking for it from outside help.
        stage.says(ANA.0, ANA, 2, "/start").await;
        let told = stage.passes(7 * 24 * 60).await;
        assert!(!told.is_empty() && told.iter().all(|(chat, _)| *chat == -1), "{told:?}");
        // Back in the group, and asked for again.
        stage.says(-1, ANA, 3, "hello everybody").await;
        stage.says(ANA.0, ANA, 3, "/start").await;
        let told = stage.passes(7 * 24 * 60).await;
        assert!(told.iter().any(|(chat, _)| *chat == ANA.0), "{told:?}");
    });
}

#[test]
fn a_forged_button_does_nothing() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        stage.household(-1).await;
        stage.household(-2).await;
        for n in 1..=4 {
            stage.says(-1, ANA, n, "pumped 120 fridge").await;
        }
        stage.says(-2, BEN, 1, "pumped 70 fridge").await;
        let before = stage.says(-1, ANA, 8, "how much do we have?").await;
        let forged = [
            "",
            ":",
            "u",
            "u:",
            "u:x",
            "u:99",
            "u:-1",
            "u:1:2",
            "q:1:0",
            "q:99:0",
            "q:1:-1",
            "b:99:1",
            "b:1:99",
            "o:99",
            "a:1:moon",
            "a:99:fridge",
            "h:1:oven",
            "h:99:fridge",
            "w:99999999999",
            "c:1",
            "d:1",
            "p:99",
            "zzz",
            "u:1;drop",
            "\u{0}",
            "u:9223372036854775808",
        ];
        for data in forged {
            stage.taps(-1, BEN, 1001, data).await;
        }
        // Ben may press "undo" under what Ana wrote, but not take it back.
        assert!(stage.taps(-1, BEN, 1001, "u:1").await[0].starts_with("Only the one who said it"));
        assert_eq!(stage.says(-1, ANA, 9, "how much do we have?").await, before);
        // The number of an entry means the entry of the chat that the button is in.
        stage.taps(-2, BEN, 1001, "u:1").await;
        assert_eq!(stage.says(-1, ANA, 10, "how much do we have?").await, before);
    });
}

#[test]
fn a_reply_means_a_message_of_its_own_chat() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        stage.household(-1).await;
        stage.household(-2).await;
        stage.says(-1, ANA, 1, "pumped 120 fridge").await;
        stage.says(-2, ANA, 5, "pumped 70 fridge").await;
        // Message 1 is of the other chat; here it is nothing.
        let reply = Event::Text { message: 6, text: "undo".into(), reply_to: Some(1) };
        stage.does(-2, ANA, reply).await;
        assert!(stage.says(-1, ANA, 2, "how much do we have?").await[0].contains("120 ml"));
    });
}

#[test]
fn guesses_of_the_set_up_code_are_slowed_and_then_refused() {
    runtime().block_on(async {
        let mut stage = Stage::new().await;
        let mallory = (66, "Mallory");
        let mut answered = 0;
        let mut looked_at = 0;
        // A guess each twelve seconds in ever new groups, for two hours.
        for n in 0..600 {
            stage.now += TimeDelta::seconds(12);
            let said = stage.says(-100 - n, mallory, 1, &format!("/start guess{n}")).await;
            answered += said.len();
            looked_at += said.iter().filter(|s| s.starts_with("That is not the set-up code")).count();
        }
        assert!(looked_at <= 10, "{looked_at} codes were compared");
        assert!(answered > looked_at, "those in between are told to wait");
        // Refused: the right code isn't looked at either.
        let said = stage.says(-100, mallory, 2, &format!("/start {CODE}")).await;
        assert!(said.iter().all(|s| !s.starts_with("Hello")), "{said:?}");
        // Others are not kept out by it.
        let said = stage.says(-5, ANA, 1, &format!("/start {CODE}")).await;
        assert!(said[0].starts_with("Hello"), "{said:?}");
    });
}

/// What people may write, of all kinds.
const LINES: [&str; 24] = [
    "pumped 120 fridge",
    "pumped 90",
    "pumped 8",
    "fed 60",
    "fed 90 left 30",
    "gave 1",
    "1 to the freezer",
    "undo",
    "sorry 100",
    "same again",
    "another 50",
    "tossed 1",
    "how much do we have?",
    "which one next?",
    "is 1 still ok?",
    "hold 1",
    "thawing 1 in the fridge",
    "on it",
    "done",
    "yes",
    "no",
    "counted the fridge: 2",
    "we use ounces",
    "so tired today",
];

#[derive(Debug, Clone)]
struct Step {
    household: usize,
    by: bool,
    line: usize,
    minutes: i64,
}

fn step() -> impl Strategy<Value = Step> {
    (0..3_usize, any::<bool>(), 0..LINES.len(), 0..90_i64).prop_map(|(household, by, line, minutes)| Step {
        household,
        by,
        line,
        minutes,
    })
}

/// What each household is sent when these steps are taken, or only those of one household.
async fn played(steps: &[Step], only: Option<usize>) -> Vec<Vec<String>> {
    let mut stage = Stage::new().await;
    for household in 0..3 {
        stage.household(-1 - household).await;
    }
    let mut seen = vec![Vec::new(); 3];
    let mut note = |sent: Vec<(i64, Body)>| {
        for (chat, body) in sent {
            seen[(-1 - chat) as usize].extend(text_of(&body));
        }
    };
    for (n, step) in steps.iter().enumerate() {
        note(stage.passes(step.minutes).await);
        if only.is_none_or(|only| only == step.household) {
            let who = if step.by { ANA } else { BEN };
            let text = LINES[step.line].to_owned();
            let event = Event::Text { message: n as i64 + 1, text, reply_to: None };
            note(stage.does(-1 - step.household as i64, who, event).await);
        }
    }
    note(stage.passes(24 * 60).await);
    seen
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn households_in_between_each_other_are_answered_as_if_alone(steps in prop::collection::vec(step(), 1..40)) {
        runtime().block_on(async {
            let together = played(&steps, None).await;
            for household in 0..3 {
                let alone = played(&steps, Some(household)).await;
                assert_eq!(together[household], alone[household]);
            }
        });
    }
}
