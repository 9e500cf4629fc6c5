//! The room, driven as a visitor would, in Debian's chromium: what is typed is answered, time brings reminders, buttons
//! work, nothing overflows at a phone's or a desk's width, all of it by keyboard, in light and dark, without a script
//! error. Needs `apt-get install chromium chromium-driver`; screenshots are left in `tests/shots/` for people to judge.
#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use serde_json::{Value, json};
use thirtyfour::prelude::*;

use crate::room::{Visit, visit};

const PHONE: (u32, u32) = (390, 844);
/// For a machine that has other things to do; what is waited for is looked for all the time.
const PATIENCE: Duration = Duration::from_secs(40);
const DESK: (u32, u32) = (1280, 900);

/// More than a screen holds: milk in four places, fresh, frozen, thawing, started and past its time.
const SEED: &str = "zone: America/Chicago
people: Ana pumps, Ben, Rosa, Dora child care
fridge: 4 C
freezer: own door
quiet: 22:30-06:00
need: 3 x 120
workdays: mon-fri
---
2027-02-22 07:40  Ana: pumped 90 ml freezer
2027-02-22 12:40  Ana: pumped 110 ml freezer
2027-02-23 07:40  Ana: pumped 150 ml freezer
2027-02-24 07:40  Ana: pumped 4.5oz freezer
2027-02-25 07:40  Ana: pumped 120 ml freezer
2027-03-05 12:00  Ana: pumped 85 ml fridge
2027-03-07 08:40  Ana: pumped 120 ml fridge
2027-03-08 07:40  Ana: pumped 110 ml fridge
2027-03-09 07:40  Ana: pumped 130 ml fridge
2027-03-09 12:00  Rosa: fed 90 ml left 30 ml
2027-03-09 18:02  Ben: thawing 1 in the fridge
2027-03-09 20:32  Ana: pumped 105 ml
2027-03-09 21:02  Rosa: what's in the fridge
";
/// The label of what is pumped next.
const NEXT: &str = "11";

// --- a browser ---

struct Stage {
    _visit: Visit,
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
    let visit = visit(SEED).await;
    let profile = tempfile::tempdir().unwrap();
    let (driver, driver_url) = start_driver();
    let page = open_page(&driver_url, profile.path()).await;
    let stage = Stage { page, driver_url, _driver: driver, _profile: profile, _visit: visit };
    stage.size(DESK, "light").await;
    stage.page.goto(&stage._visit.url).await.unwrap();
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
    stage.types("pumped 120 ml fridge" + Key::Enter).await;
    // Four days in the fridge (published: CDC, "Breast Milk Storage and Preparation").
    let receipt = stage.wait_words("use by Sat 21:02").await;
    assert_eq!(receipt.find(By::Css(".no")).await.unwrap().text().await.unwrap(), NEXT);
    assert!(receipt.class_name().await.unwrap().unwrap().contains("answer"));

    stage.wait("article:nth-last-child(2) [data-act=edit]").await.click().await.unwrap();
    stage.types(Key::Control + "a").await;
    stage.types("pumped 130 ml fridge" + Key::Enter).await;
    stage.wait_words("130 ml").await;
    stage.wait_path("//article[contains(., 'changed 21:02')][contains(., 'pumped 130 ml fridge')]").await;

    stage.wait("input[value=Ben]").await.click().await.unwrap();
    stage.wait("article:last-child [data-act=reply]").await.click().await.unwrap();
    stage.types("thank you" + Key::Enter).await;
    let reply = stage.wait_words("thank you").await;
    assert!(reply.text().await.unwrap().starts_with("Ben"));
    time_passes(&stage).await;
    markup_stays_text(&stage).await;
    stage.end().await;
}

/// The reminder of milk that has lain in the room for three hours, and what its button does.
async fn time_passes(stage: &Stage) {
    let in_room = "//section[contains(@class, 'room')]//li[b[starts-with(., '10')]]";
    let in_fridge = in_room.replace("'room'", "'fridge'");
    stage.wait_path(in_room).await;
    stage.wait("[data-until=reminder]").await.click().await.unwrap();
    let reminder = stage.wait_words("out of the cold").await;
    let words = reminder.text().await.unwrap();
    // Four hours in the room (published: CDC, as above), and 45 to 60 minutes before that the reminder.
    assert!(words.contains("sounding") && words.contains("use by Wed 00:32"), "{words}");
    let time = stage.wait("#time").await.text().await.unwrap();
    assert!(("23:32"..="23:47").contains(&&*time), "{time}");
    assert_eq!(stage.wait("#day").await.text().await.unwrap(), "Tuesday 9 March 2027");
    stage.wait_path("//article[last()]//button[.='On it']").await.click().await.unwrap();
    stage.wait_path("//article[last()][contains(., 'Ben')][not(.//button[.='On it'])]").await;
    stage.wait_path("//article[last()]//button[.='Done']").await.click().await.unwrap();
    stage.wait("article:last-child:not(:has(.slip-buttons))").await;
    stage.wait_path(&in_fridge).await;

    stage.wait("[data-until=morning]").await.click().await.unwrap();
    stage.wait_path("//*[@id='time'][.='07:00']").await;
    assert_eq!(stage.wait("#day").await.text().await.unwrap(), "Wednesday 10 March 2027");
}

/// What people write is shown as they wrote it, and never becomes part of the page.
async fn markup_stays_text(stage: &Stage) {
    let text = "<img src=x onerror=alert(1)><b>pumped</b>";
    stage.wait("#words").await.send_keys(text.to_owned() + Key::Enter).await.unwrap();
    let slip = stage.wait_path("//article[contains(., '<b>pumped</b>')]//p[@class='text']").await;
    assert_eq!(slip.text().await.unwrap(), text);
    assert_eq!(stage.script("return document.querySelectorAll('.said .text *').length").await, 0);
}

/// Everything that can be used, as it is there for somebody who tabs: of a set of radio buttons the chosen one.
const CONTROLS: &str = "return [...document.querySelectorAll('a[href], button, textarea, summary, input:checked, [tabindex=\"0\"]')]
    .filter((e) => e.checkVisibility()).map((e, i) => (e.dataset.walk = i, e.id || e.textContent || e.value));";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_control_is_reached_by_keyboard() {
    let stage = stage().await;
    for (size, ml) in [(DESK, "121 ml"), (PHONE, "122 ml")] {
        stage.size(size, "light").await;
        stage.types(format!("pumped {ml} fridge") + Key::Enter).await;
        stage.wait_path(&format!("//article[last()][contains(@class, 'answer')][contains(., '{ml}')]")).await;
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
    for text in
        ["pumped 120 ml fridge", &long, &"x".repeat(300), "help", "how much do we have?", "pumped 95 ml"]
    {
        stage.script("document.getElementById('words').focus()").await;
        stage.types(text.to_owned() + Key::Enter).await;
        stage.wait_path(&format!("//article[contains(., '{}')]", text.get(..7).unwrap_or(text))).await;
    }
    stage.wait_words("95 ml").await;
    stage.wait("article:last-child .slip-buttons button").await;
    stage.look_at_all("answers").await;
    stage.wait("[data-until=reminder]").await.click().await.unwrap();
    stage.wait_words("out of the cold").await;
    stage.look_at_all("evening").await;
    stage.script("document.querySelector('[data-act=edit]').click()").await;
    stage.look_at_all("editing").await;
    stage.end().await;
}
