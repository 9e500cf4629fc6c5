//! The room, driven as a visitor would, in Debian's chromium: what is typed is answered, time brings reminders, buttons
//! work, nothing overflows at a phone's or a desk's width, all of it by keyboard, in light and dark, without a script
//! error. Needs `apt-get install chromium chromium-driver`; screenshots are left in `tests/shots/` for people to judge.
#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use firstout::edge::room::{Backstage, Belief, Player, Room, Setting, Shelf, Tape};
use firstout::edge::standin::Standin;
use serde_json::{Value, json};
use thirtyfour::prelude::*;

const TOKEN: &str = "1:room";
const PHONE: (u32, u32) = (390, 844);
/// For a machine that has other things to do; what is waited for is looked for all the time.
const PATIENCE: Duration = Duration::from_secs(40);
const DESK: (u32, u32) = (1280, 900);

// --- a house to look at: a bot of three sentences, on a clock of its own ---

struct Puppet {
    clock: Arc<Mutex<DateTime<Utc>>>,
    bot: teloxide::Bot,
    group: i64,
    reminder: Mutex<Option<DateTime<Utc>>>,
    belief: Belief,
}

#[async_trait]
impl Backstage for Puppet {
    fn now(&self) -> DateTime<Utc> {
        *self.clock.lock().unwrap()
    }

    async fn next_wake(&self) -> Option<DateTime<Utc>> {
        *self.reminder.lock().unwrap()
    }

    async fn advance(&self, until: DateTime<Utc>) {
        let due = self.reminder.lock().unwrap().take_if(|at| *at <= until);
        if let Some(at) = due {
            *self.clock.lock().unwrap() = at;
            say(
                &self.bot,
                self.group,
                "12 · in the room since 18:02, use by Tue 22:02 (CDC)",
                None,
                &["On it", "Done"],
            )
            .await;
        }
        *self.clock.lock().unwrap() = until;
    }

    async fn belief(&self) -> Belief {
        self.belief.clone()
    }
}

async fn say(bot: &teloxide::Bot, chat: i64, text: &str, reply_to: Option<i64>, buttons: &[&str]) {
    use teloxide::payloads::SendMessageSetters;
    use teloxide::prelude::Requester;
    use teloxide::types::{ChatId, InlineKeyboardButton, InlineKeyboardMarkup, MessageId, ReplyParameters};
    let row = buttons.iter().map(|label| InlineKeyboardButton::callback(*label, *label));
    let mut sending = bot.send_message(ChatId(chat), text).reply_markup(InlineKeyboardMarkup::new([row]));
    if let Some(to) = reply_to {
        sending = sending.reply_parameters(ReplyParameters::new(MessageId(to as i32)));
    }
    sending.await.unwrap();
}

/// Answers "pumped" and an edit with a receipt, and a press by changing the message.
async fn answer(url: &str, bot: &teloxide::Bot, update: &Value) {
    let said = if update["message"].is_null() { &update["edited_message"] } else { &update["message"] };
    let text = said["text"].as_str().unwrap_or_default();
    let chat = said["chat"]["id"].as_i64().unwrap_or_default();
    if let Some(amount) = text.strip_prefix("pumped ") {
        let receipt = format!("13 · {amount} · expressed Tue 21:02 · use by Sat 21:02 (CDC)");
        say(bot, chat, &receipt, said["message_id"].as_i64(), &["Undo"]).await;
    }
    if let Some(tap) = update["callback_query"]["id"].as_str() {
        let pressed = &update["callback_query"];
        let message = &pressed["message"];
        let text = format!(
            "{}\n{} has it",
            message["text"].as_str().unwrap(),
            pressed["from"]["first_name"].as_str().unwrap()
        );
        post(
            &format!("{url}/bot{TOKEN}/editMessageText"),
            json!({ "chat_id": message["chat"]["id"], "message_id": message["message_id"], "text": text }),
        )
        .await;
        post(&format!("{url}/bot{TOKEN}/answerCallbackQuery"), json!({ "callback_query_id": tap })).await;
    }
}

async fn run_bot(url: String, bot: teloxide::Bot) {
    let mut offset = 0;
    loop {
        let got =
            post(&format!("{url}/bot{TOKEN}/getUpdates"), json!({ "offset": offset, "timeout": 30 })).await;
        for update in got["result"].as_array().into_iter().flatten() {
            offset = update["update_id"].as_i64().unwrap() + 1;
            answer(&url, &bot, update).await;
        }
    }
}

fn evening() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2027, 3, 10, 3, 2, 0).unwrap()
}

fn tape(code: i64, ml: i64, state: &str, turn: Option<u32>, days: i64) -> Tape {
    Tape {
        code,
        amount: format!("{ml} ml"),
        state: state.into(),
        turn,
        expressed: Some(evening() - TimeDelta::days(4 - days.min(4))),
        best_by: None,
        use_by: Some(evening() + TimeDelta::days(days)),
        why: "CDC, if 4\u{a0}°C or colder".into(),
        caution: None,
    }
}

/// More than a screen holds, with everything that can be on a tape.
fn belief() -> Belief {
    let shelf =
        |key, name: &str, total: &str, tapes| Shelf { key, name: name.into(), total: total.into(), tapes };
    let held =
        Tape { caution: Some("on hold: not to be used".into()), turn: None, ..tape(9, 85, "fresh", None, 2) };
    let fridge = vec![tape(10, 120, "fresh", Some(2), 1), tape(11, 90, "fresh", Some(3), 2), held];
    let mut freezer: Vec<Tape> =
        (0..9).map(|n| tape(101 + n, 60 + 15 * n, "frozen", Some(4 + n as u32), 150 + n)).collect();
    freezer[0].best_by = Some(evening() + TimeDelta::days(40));
    Belief {
        shelves: vec![
            shelf("room", "Room", "110 ml", vec![tape(12, 110, "fresh", Some(1), 0)]),
            shelf("cooler", "Cooler at work", "150 ml", vec![tape(7, 150, "thawing", None, 1)]),
            shelf("fridge", "Fridge", "210 ml", fridge),
            shelf("freezer", "Freezer", "1080 ml", freezer),
        ],
        totals: vec![("Started, in no total".into(), "30 ml".into()), ("On hold".into(), "85 ml".into())],
        plan: vec!["Tomorrow 3 × 120 ml: the fridge has 210 ml. Thaw 101 and 103 tonight.".into()],
    }
}

// --- a browser ---

struct Stage {
    standin: Standin,
    group: i64,
    page: WebDriver,
    driver_url: String,
    _driver: Driver,
    _profile: tempfile::TempDir,
}

/// chromedriver, ended with the test whatever becomes of it.
struct Driver(Child);

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts chromedriver on a port of its choice and reads which.
fn start_driver() -> (Driver, String) {
    let mut child = Command::new("chromedriver")
        .arg("--port=0")
        .stdout(Stdio::piped())
        .spawn()
        .expect("chromedriver is needed: apt-get install chromium chromium-driver");
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let port = lines
        .by_ref()
        .map_while(Result::ok)
        .find_map(|line| Some(line.split_once("successfully on port ")?.1.trim_end_matches('.').to_owned()))
        .expect("chromedriver says its port");
    std::thread::spawn(move || lines.for_each(drop));
    (Driver(child), format!("http://127.0.0.1:{port}"))
}

async fn open_page(driver_url: &str, profile: &Path) -> WebDriver {
    let mut caps = DesiredCapabilities::chrome();
    caps.set_binary("/usr/bin/chromium").unwrap();
    let profile = format!("--user-data-dir={}", profile.display());
    for flag in [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--disable-background-networking",
        "--force-color-profile=srgb",
        &profile,
    ] {
        caps.add_arg(flag).unwrap();
    }
    caps.set("goog:loggingPrefs", json!({ "browser": "ALL" })).unwrap();
    WebDriver::new(driver_url, caps).await.unwrap()
}

async fn post(url: &str, body: Value) -> Value {
    let request =
        reqwest::Client::new().post(url).header("content-type", "application/json").body(body.to_string());
    serde_json::from_str(&request.send().await.unwrap().text().await.unwrap()).unwrap()
}

async fn stage() -> Stage {
    let clock = Arc::new(Mutex::new(evening()));
    let hand = Arc::clone(&clock);
    let standin = Standin::new(TOKEN, move || *hand.lock().unwrap());
    let group = standin.group("Milk", &["Ana", "Ben", "Rosa", "Dora"]);
    standin.add_bot(group, "Ana").unwrap();
    let api = standin.listen().await.unwrap();
    let bot = teloxide::Bot::new(TOKEN).set_api_url(api.parse().unwrap());
    tokio::spawn(run_bot(api, bot.clone()));
    let reminder = Mutex::new(Some(evening() + TimeDelta::hours(3)));
    let behind = Puppet { clock, bot, group, reminder, belief: belief() };
    let people = [("Ana", "pumps"), ("Ben", ""), ("Rosa", ""), ("Dora", "child care")];
    let people = people.map(|(name, part)| Player { name: name.into(), part: part.into() }).to_vec();
    let setting = Setting { chat: group, zone: "America/Chicago".parse().unwrap(), people };
    let room = Room::new(standin.clone(), setting, Arc::new(behind));
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    tokio::spawn(async move { axum::serve(listener, room.router()).await });

    let profile = tempfile::tempdir().unwrap();
    let (driver, driver_url) = start_driver();
    let page = open_page(&driver_url, profile.path()).await;
    let stage = Stage { standin, group, page, driver_url, _driver: driver, _profile: profile };
    stage.size(DESK, "light").await;
    stage.page.goto(&url).await.unwrap();
    stage.wait("#people input:checked").await;
    stage
}

impl Stage {
    async fn devtools(&self, command: &str, params: Value) {
        let session = self.page.session_id();
        let url = format!("{}/session/{session}/goog/cdp/execute", self.driver_url);
        let answer = post(&url, json!({ "cmd": command, "params": params })).await;
        assert!(answer["value"]["error"].is_null(), "{answer}");
    }

    async fn size(&self, (width, height): (u32, u32), scheme: &str) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.devtools("Emulation.setDeviceMetricsOverride", size).await;
        let scheme = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme },
            { "name": "prefers-reduced-motion", "value": "reduce" }] });
        self.devtools("Emulation.setEmulatedMedia", scheme).await;
    }

    /// The element, as soon as it is there.
    async fn wait(&self, css: &str) -> WebElement {
        let patience = self.page.query(By::Css(css)).wait(PATIENCE, Duration::from_millis(20));
        patience.first().await.unwrap_or_else(|e| panic!("{css}: {e}"))
    }

    async fn wait_path(&self, path: &str) -> WebElement {
        let patience = self.page.query(By::XPath(path)).wait(PATIENCE, Duration::from_millis(20));
        patience.first().await.unwrap_or_else(|e| panic!("{path}: {e}"))
    }

    /// The newest message, as soon as it has these words.
    async fn wait_words(&self, words: &str) -> WebElement {
        self.wait_path(&format!("(//article)[last()][contains(., '{words}')]")).await
    }

    async fn script(&self, script: &str) -> Value {
        self.page.execute(script, vec![]).await.unwrap().json().clone()
    }

    async fn types(&self, keys: impl Into<TypingData>) {
        self.page.active_element().await.unwrap().send_keys(keys).await.unwrap();
    }

    async fn shoot(&self, name: &str) {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/shots");
        std::fs::create_dir_all(&folder).unwrap();
        self.page.screenshot(&folder.join(format!("{name}.png"))).await.unwrap();
    }

    /// Closes the browser, after a look at what it complained of.
    async fn end(self) {
        let session = self.page.session_id();
        let log =
            post(&format!("{}/session/{session}/se/log", self.driver_url), json!({ "type": "browser" }))
                .await;
        self.page.quit().await.unwrap();
        assert_eq!(log["value"], json!([]), "the browser's log");
    }
}

// --- what a visitor does ---

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_evening_in_the_room() {
    let stage = stage().await;
    stage.types("pumped 120 ml" + Key::Enter).await;
    let receipt = stage.wait_words("use by Sat 21:02").await;
    assert_eq!(receipt.find(By::Css(".no")).await.unwrap().text().await.unwrap(), "13");
    assert!(receipt.class_name().await.unwrap().unwrap().contains("answer"));

    stage.wait("[data-act=edit]").await.click().await.unwrap();
    stage.types(Key::Control + "a").await;
    stage.types("pumped 130 ml" + Key::Enter).await;
    stage.wait_words("13 · 130 ml").await;
    let texts: Vec<_> =
        stage.standin.posts(stage.group).into_iter().filter(|p| !p.by_bot).map(|p| p.text).collect();
    assert_eq!(texts.last().unwrap(), "pumped 130 ml");

    stage.wait("input[value=Ben]").await.click().await.unwrap();
    stage.wait("article:last-child [data-act=reply]").await.click().await.unwrap();
    stage.types("thank you" + Key::Enter).await;
    stage.wait_words("thank you").await;
    let reply = stage.standin.posts(stage.group).pop().unwrap();
    assert_eq!((&*reply.author, reply.reply_to), ("Ben", Some(reply.id - 1)));

    stage.wait("[data-until=reminder]").await.click().await.unwrap();
    let reminder = stage.wait_words("in the room since").await;
    assert!(reminder.text().await.unwrap().contains("sounding"));
    stage.wait_words("00:02").await;
    assert_eq!(stage.wait("#day").await.text().await.unwrap(), "Wednesday 10 March 2027");
    stage.wait("article:last-child .slip-buttons button").await.click().await.unwrap();
    stage.wait_words("Ben has it").await;
    stage.wait("article:last-child:not(:has(.slip-buttons))").await;

    stage.wait("[data-until=morning]").await.click().await.unwrap();
    stage.wait_path("//*[@id='time'][.='07:00']").await;
    stage.wait("[data-until=reminder]").await.click().await.unwrap();
    stage.wait_path("//*[@id='status'][contains(., 'Nothing lies ahead')]").await;
    markup_stays_text(&stage).await;
    stage.end().await;
}

/// What people write is shown as they wrote it, and never becomes part of the page.
async fn markup_stays_text(stage: &Stage) {
    let text = "<img src=x onerror=alert(1)><b>pumped</b>";
    stage.wait("#words").await.send_keys(text.to_owned() + Key::Enter).await.unwrap();
    stage.wait_words("<b>pumped</b>").await;
    let slip = stage.wait("article.said:last-child .text").await;
    assert_eq!(slip.text().await.unwrap(), text);
    assert_eq!(stage.script("return document.querySelectorAll('.said .text *').length").await, 0);
}

/// Everything that can be used, as it is there for somebody who tabs: of a set of radio buttons the chosen one.
const CONTROLS: &str = "return [...document.querySelectorAll('a[href], button, textarea, summary, input:checked, [tabindex=\"0\"]')]
    .filter((e) => e.checkVisibility()).map((e, i) => (e.dataset.walk = i, e.id || e.textContent || e.value));";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_control_is_reached_by_keyboard() {
    let stage = stage().await;
    for size in [DESK, PHONE] {
        stage.size(size, "light").await;
        stage.types("pumped 120 ml" + Key::Enter).await;
        stage.wait("article.answer:last-child .slip-buttons button").await;
        let controls = stage.script(CONTROLS).await;
        let controls = controls.as_array().unwrap();
        let mut reached = vec![false; controls.len()];
        for _ in 0..controls.len() + 2 {
            stage.types(Key::Tab).await;
            let now = stage.script(
                "const e = document.activeElement; return [e.dataset.walk ?? null, e.matches('input')
                    ? getComputedStyle(e.nextSibling).outlineStyle : getComputedStyle(e).outlineStyle]",
            );
            let now = now.await;
            if let Some(place) = now[0].as_str().and_then(|walk| walk.parse::<usize>().ok()) {
                reached[place] = true;
                assert_ne!(now[1], "none", "no visible focus on {}", controls[place]);
            }
        }
        let missed: Vec<_> =
            controls.iter().zip(reached).filter(|(_, reached)| !reached).map(|(c, _)| c).collect();
        assert!(missed.is_empty(), "never reached at {size:?}: {missed:?}");
        stage.script("document.getElementById('words').focus()").await;
    }
    stage.types("never mind").await;
    stage.script("document.querySelector('[data-act=reply]').click()").await;
    stage.types(Key::Escape).await;
    assert!(!stage.wait("#about").await.is_displayed().await.unwrap());
    stage.end().await;
}

/// What sticks out to the right of the window, or makes a half of the page scroll sideways.
const OVERFLOW: &str =
    "const wide = [document.documentElement, ...document.querySelectorAll('body, main, #log, .shelf, #say')]
        .filter((e) => e.checkVisibility() && e.scrollWidth > e.clientWidth);
    if (document.documentElement.scrollHeight > innerHeight) wide.push(document.documentElement);
    const out = [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility()
        && !e.matches('.skip') && e.getBoundingClientRect().right > innerWidth + 0.5);
    return [...wide, ...out].map((e) => e.outerHTML.slice(0, 120));";

/// Text that stands out too little from what is behind it: under 4.5 to 1, or 3 to 1 where it is large (published: WCAG
/// 2.2, success criterion 1.4.3).
const PALE: &str = "const parts = (c) => c.match(/[\\d.]+/g).map(Number);
    const shine = (c) => parts(c).slice(0, 3).map((v) => v / 255)
        .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
        .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
    const ground = (e) => { const c = getComputedStyle(e).backgroundColor;
        return (parts(c)[3] ?? 1) < 1 ? ground(e.parentElement) : c; };
    return [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility() && !e.matches('.unseen, .skip')
        && [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim())).map((e) => {
            const style = getComputedStyle(e), size = parseFloat(style.fontSize);
            const [dark, light] = [shine(style.color), shine(ground(e))].sort((a, b) => a - b);
            const least = size >= 24 || (size >= 18.7 && style.fontWeight >= 700) ? 3 : 4.5;
            return [(light + 0.05) / (dark + 0.05), least, e.outerHTML.slice(0, 120)];
        }).filter(([ratio, least]) => ratio < least);";

impl Stage {
    /// Looks at both halves of the page, at both sizes, in light and dark.
    async fn look_at_all(&self, name: &str) {
        for (width, size) in [("390", PHONE), ("1280", DESK)] {
            for scheme in ["light", "dark"] {
                self.size(size, scheme).await;
                for half in if size == PHONE { &["talk", "shelf"][..] } else { &["talk"] } {
                    self.script(&format!("document.querySelector('[data-shows={half}]').click()")).await;
                    let view = format!("{name}-{width}-{scheme}-{half}");
                    self.shoot(&view).await;
                    assert_eq!(self.script(OVERFLOW).await, json!([]), "{view}");
                    assert_eq!(self.script(PALE).await, json!([]), "{view}");
                }
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_overflows_or_pales_on_a_phone_or_a_desk_in_light_and_dark() {
    let stage = stage().await;
    stage.look_at_all("start").await;
    let long =
        "left out since ten, we think, or it was half past; Rosa says it was still cold when she came, so "
            .repeat(3);
    for text in ["pumped 120 ml fridge", &long, &"x".repeat(300), "thanks!", "pumped 90 ml freezer"] {
        stage.script("document.getElementById('words').focus()").await;
        stage.types(text.to_owned() + Key::Enter).await;
        stage.wait_path(&format!("//article[contains(., '{}')]", &text[..7])).await;
    }
    stage.wait_words("13 · 90 ml").await;
    stage.wait("[data-until=reminder]").await.click().await.unwrap();
    stage.wait_words("in the room since").await;
    stage.look_at_all("evening").await;
    stage.script("document.querySelector('[data-act=edit]').click()").await;
    stage.look_at_all("editing").await;
    stage.end().await;
}
