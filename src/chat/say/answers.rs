//! Answers to questions, and what can't be done. Always "by our log" and by whose times; never a verdict on milk.

use chrono::{NaiveDate, TimeDelta};

use crate::domain::act::{Code, Doubt, Kind, Topic};
use crate::domain::answer::{Asked, Piece, Wanted};
use crate::domain::household::BadSetting;
use crate::domain::ledger::{Container, Meal, MealKind, OpenQuestion};
use crate::domain::milk::Moment;
use crate::domain::place::Place;
use crate::domain::plan::Thaw;
use crate::domain::query::{self, Owner};
use crate::domain::volume::Volume;

use super::Speaker;
use super::label::rounded;

/// How far ahead "what runs out" looks, and how far back a summary.
const AHEAD: TimeDelta = TimeDelta::days(2);
const SUMMARY_DAYS: i64 = 7;

impl Speaker<'_> {
    pub fn answer(&self, piece: &Piece) -> String {
        let w = self.words;
        match piece {
            Piece::Topic { topic: Topic::Rule, place, rule, codes, .. } => self.rule(*place, *rule, codes),
            Piece::Topic { topic: Topic::Why, codes, .. } => self.why(codes),
            Piece::Topic { topic, codes, place, ml, asked, .. } => {
                self.topic(*topic, codes, *place, *ml, asked)
            }
            Piece::Alarm { what } => self.alarm(*what),
            Piece::Medicine { hold } => {
                let offer = hold.then(|| w.word("medicine-hold"));
                [Some(w.word("medicine")), offer].into_iter().flatten().collect::<Vec<_>>().join("\n")
            }
            Piece::Ask { about } => w.word(&format!("ask-{}", super::key_of(about))),
            Piece::AskSame { kind, by, ml, at } => {
                let args = [("by", by.clone()), ("time", self.time(*at))];
                let id = if *kind == Kind::Pump { "ask-same-pump" } else { "ask-same-feed" };
                match ml {
                    Some(ml) => w.say(id, &[args.to_vec(), vec![("amount", self.amount(*ml))]].concat()),
                    None => w.say(&format!("{id}-open"), &args),
                }
            }
            Piece::NotedOnce => w.word("noted-once"),
            Piece::PickOther => w.word("pick-other"),
            Piece::NoSuchChild { child } => w.say("no-such-child", &[("child", child.clone())]),
            Piece::NoSuch { codes } => w.say("no-such", &[("codes", self.codes(codes))]),
            Piece::AlreadyGone { code, gone } => {
                let gone = w.word(&format!("gone-{}", super::key_of(gone)));
                w.say("already-gone", &[("code", code.to_string()), ("gone", gone)])
            }
            Piece::ThereAfterAll { codes } => w.say("there-after-all", &[("codes", self.codes(codes))]),
            Piece::NoneLike { kind } => w.word(match kind {
                Wanted::Frozen => "none-frozen",
                Wanted::Unfrozen => "none-unfrozen",
                Wanted::Sent => "none-sent",
                Wanted::Any => "none-any",
            }),
            Piece::SetAside { codes } => {
                let each: Vec<&Container> = codes.iter().filter_map(|code| self.container(*code)).collect();
                let same = each.chunk_by(|a, b| self.until(a) == self.until(b));
                let one = |of: &[&Container]| {
                    let codes = self.labels_of(of.iter().copied()).unwrap_or_default();
                    let until = of.first().map(|c| self.until(c)).unwrap_or_default();
                    w.say("set-aside-one", &[("codes", codes), ("until", until)])
                };
                w.say("set-aside", &[("list", same.map(one).collect::<Vec<_>>().join("; "))])
            }
            Piece::AmountMissing => w.word("amount-missing"),
            Piece::WhichOne => w.word("which-one"),
            Piece::NothingToUndo => w.word("nothing-to-undo"),
            Piece::NothingToCorrect => w.word("nothing-to-correct"),
            Piece::NotYours => w.word("not-yours"),
            Piece::NothingAsked => w.word("nothing-asked"),
            Piece::BadSetting { error } => self.bad_setting(error),
            Piece::Reminder { reminder } => self.reminder(reminder),
            Piece::Welcome => w.say("welcome", &[("whose", self.whose())]),
            Piece::SeesOnlyCommands => w.word("sees-only-commands"),
            Piece::Unreadable => w.say("unreadable", &self.examples()),
            _ => String::new(),
        }
    }

    fn bad_setting(&self, error: &BadSetting) -> String {
        match error {
            BadSetting::Unknown(setting) => {
                self.words.say("unknown-setting", &[("setting", setting.clone())])
            }
            BadSetting::Value { key, value, example } => self.words.say(
                "bad-setting",
                &[("setting", key.clone()), ("value", value.clone()), ("example", (*example).into())],
            ),
        }
    }

    fn topic(
        &self,
        topic: Topic,
        codes: &[Code],
        place: Option<Place>,
        ml: Option<Volume>,
        asked: &Asked,
    ) -> String {
        match topic {
            Topic::Stock => self.stock(place, asked),
            Topic::Next => self.next(asked),
            Topic::Thaw | Topic::Plan => self.plan_for_next_workday(),
            Topic::LastFeed => self.last_meals(asked),
            Topic::Status => self.status(codes),
            Topic::Expiring => self.expiring(),
            Topic::DaysLeft => self.days_left(place),
            Topic::Pumped => self.pumped_today(),
            Topic::Fed => self.fed_today(asked),
            Topic::Summary => self.summary(),
            Topic::Rule => self.rule(place, None, codes),
            Topic::Why => self.why(codes),
            Topic::Convert => self.convert(ml),
            Topic::Help => self.help(),
        }
    }

    pub fn container_line(&self, id: &str, c: &Container) -> String {
        let expressed = c.life.expressed.map_or_else(|| "?".to_owned(), |at| self.time(at));
        self.words.say(
            id,
            &[
                ("code", self.marked(c.code.to_string(), c)),
                ("amount", self.amount(c.ml)),
                ("state", self.state(c.life.state)),
                ("where", self.place(c.life.place, c.life.site.as_ref())),
                ("expressed", expressed),
                ("until", self.until(c)),
            ],
        )
    }

    fn status(&self, codes: &[Code]) -> String {
        let mut lines = Vec::new();
        for code in codes {
            lines.push(match self.container(*code) {
                None => self.words.say("status-none", &[("code", code.to_string())]),
                Some(c) if self.is_gone(c) => {
                    let gone = c.gone.map(|g| self.words.word(&format!("gone-{}", super::key_of(&g))));
                    let args = [("code", code.to_string()), ("gone", gone.unwrap_or_default())];
                    self.words.say("status-gone", &args)
                }
                Some(c) => self.container_line("status", c),
            });
        }
        if lines.is_empty() {
            return self.words.word("which-one");
        }
        if codes.iter().any(|code| self.status_line(*code).is_some()) {
            lines.push(self.words.word("status-caution"));
        }
        lines.join("\n")
    }

    /// Until when a container that is still there keeps, by the log.
    pub fn status_line(&self, code: Code) -> Option<String> {
        self.container(code).filter(|c| !self.is_gone(c)).map(|c| self.container_line("status", c))
    }

    fn expiring(&self) -> String {
        let soon = query::expiring(self.ledger.stock(), self.now, AHEAD);
        let past = query::past(self.ledger.stock(), self.now);
        if soon.is_empty() && past.is_empty() {
            return self.words.word("expiring-none");
        }
        let mut lines = vec![self.words.word("expiring-title")];
        lines.extend(past.iter().chain(&soon).map(|c| self.container_line("expiring-line", c)));
        lines.join("\n")
    }

    /// The children that a question is about: the one it names, or each where there are several, or nobody in particular.
    fn children(&self, asked: &Asked) -> Vec<Option<String>> {
        let household = self.ledger.household();
        let named = asked.child.as_deref().and_then(|words| household.child_called(words));
        match named {
            _ if !household.several_children() => vec![None],
            Some(child) => vec![Some(child.name.clone())],
            None => household.children.iter().map(|c| Some(c.name.clone())).collect(),
        }
    }

    fn for_each_child(&self, asked: &Asked, line: impl Fn(Option<&str>) -> String) -> String {
        let lines = self.children(asked).into_iter().map(|child| match child {
            None => line(None),
            Some(child) => {
                self.words.say("for-child", &[("line", line(Some(&child))), ("child", child.clone())])
            }
        });
        lines.collect::<Vec<_>>().join("\n")
    }

    fn last_meals(&self, asked: &Asked) -> String {
        let (household, stock) = (self.ledger.household(), self.ledger.stock());
        if household.several_children() {
            return self.for_each_child(asked, |child| self.last_meal(query::last_meal(stock, child)));
        }
        // A child was named of which nobody had told: its feeds are no other's.
        let meal = query::last_meal_of(stock, asked.child.as_deref());
        let named = meal.and_then(|meal| meal.child.clone());
        let known = |name: &String| household.child_called(name).is_some();
        self.for_child(self.last_meal(meal), &named.filter(|name| !known(name)))
    }

    fn last_meal(&self, meal: Option<&Meal>) -> String {
        let Some(meal) = meal else { return self.words.word("last-meal-none") };
        let by = meal.by.clone().unwrap_or_else(|| self.words.word("by-nobody"));
        let mut args = vec![("time", self.time(meal.at)), ("by", by)];
        let id = match &meal.kind {
            MealKind::Bottle { drunk, about, .. } => {
                let amount = self.amount(*drunk);
                args.push((
                    "amount",
                    if *about { self.words.say("amount-about", &[("amount", amount)]) } else { amount },
                ));
                "last-meal-bottle"
            }
            MealKind::Breast { .. } => "last-meal-breast",
            MealKind::Formula { .. } => "last-meal-formula",
        };
        self.words.say(id, &args)
    }

    fn days_left(&self, place: Option<Place>) -> String {
        let sources = query::sources(self.ledger);
        let lines = sources.iter().map(|s| self.of_source(s, self.days_left_of(s, place)));
        lines.collect::<Vec<_>>().join("\n")
    }

    fn days_left_of(&self, source: &Owner, place: Option<Place>) -> String {
        let Some((tenths, there, daily)) = query::days_left(self.ledger, self.now, place, source) else {
            return self.words.word("days-left-none");
        };
        let days = rounded(f64::from(tenths) / 10.0, 1);
        self.words.say(
            "days-left",
            &[("amount", self.amount(there)), ("days", days), ("daily", self.amount(daily))],
        )
    }

    fn today(&self) -> (Moment, Moment) {
        query::day_of(self.ledger, query::today(self.ledger, self.now))
    }

    fn fed_today(&self, asked: &Asked) -> String {
        let (from, to) = self.today();
        self.for_each_child(asked, |child| {
            let (ml, count) = query::fed(self.ledger.stock(), from, to, child);
            self.words.say("fed-today", &[("amount", self.amount(ml)), ("count", count.to_string())])
        })
    }

    fn pumped_today(&self) -> String {
        let (from, to) = self.today();
        let (ml, count) = query::pumped(self.ledger.stock(), from, to);
        self.words.say("pumped-today", &[("amount", self.amount(ml)), ("count", count.to_string())])
    }

    fn plan_for_next_workday(&self) -> String {
        let day = query::next_workday(self.ledger, self.now);
        day.and_then(|day| self.plan(day)).unwrap_or_else(|| self.words.word("plan-no-need"))
    }

    /// What a coming day needs, what of it is cold already, and what to take out.
    pub fn plan(&self, day: NaiveDate) -> Option<String> {
        let plans = query::sources(self.ledger).into_iter().map(|source| self.plan_of(day, &source));
        Some(plans.collect::<Option<Vec<String>>>()?.join("\n"))
    }

    /// The same from one source: it is never made up with milk of another.
    pub fn plan_of(&self, day: NaiveDate, source: &Owner) -> Option<String> {
        let (from, _, need) = query::need_on(self.ledger, day)?;
        let plan = query::plan_for(self.ledger, self.now, day, source)?;
        let time = self.time(from);
        let name = time.split(' ').next().unwrap_or_default().to_owned();
        let mut lines = vec![self.words.say("plan-need", &[("day", name), ("amount", self.amount(need))])];
        lines.extend(self.plan_lines(&plan, source));
        Some(self.of_source(source, lines.join(" ")))
    }

    fn plan_lines(&self, plan: &Thaw, source: &Owner) -> Vec<String> {
        let line = |id: &str, codes: &[Code], ml: Volume| {
            self.words.say(id, &[("codes", self.codes(codes)), ("amount", self.amount(ml))])
        };
        let mut lines = Vec::new();
        if !plan.use_codes.is_empty() {
            lines.push(line("plan-use", &plan.use_codes, plan.use_ml));
        }
        if plan.thaw_codes.is_empty() {
            lines.push(self.words.word("plan-nothing"));
        } else {
            lines.push(line("plan-thaw", &plan.thaw_codes, plan.thaw_ml));
        }
        if !plan.over_ml.is_zero() {
            lines.push(line("plan-over", &[], plan.over_ml));
        }
        if !plan.short_ml.is_zero() {
            lines.push(line("plan-short", &[], plan.short_ml));
            lines.extend(self.left_aside(source));
        }
        if let Some(from) = plan.take_out_from.filter(|_| !plan.thaw_codes.is_empty()) {
            let given = self
                .ledger
                .rules()
                .figures
                .iter()
                .any(|f| f.milk.contains(&crate::domain::rules::Milk::Thawed));
            let id = if given { "plan-from" } else { "plan-from-none" };
            lines.push(self.words.say(id, &[("time", self.time(from)), ("whose", self.whose())]));
        }
        lines
    }

    /// The milk at home that no plan counts on, with the reason.
    fn left_aside(&self, source: &Owner) -> Option<String> {
        let reason = |c: &&Container| match c {
            c if c.is_started() => None,
            c if c.held_since.is_some() => Some("aside-held"),
            c if c.suspect_since.is_some() => Some("aside-suspect"),
            c if !c.age_known() => Some("aside-unknown"),
            _ => None,
        };
        let of = |id: &str| {
            let here = self.ledger.stock().current().filter(|c| query::is_at_home(c));
            let own = here.filter(|c| query::covers(self.ledger, c, source) && reason(c) == Some(id));
            self.labels_of(own).map(|codes| self.words.say(id, &[("codes", codes)]))
        };
        let list: Vec<String> =
            ["aside-suspect", "aside-held", "aside-unknown"].into_iter().filter_map(of).collect();
        (!list.is_empty()).then(|| self.words.say("plan-aside", &[("list", list.join(", "))]))
    }

    fn summary(&self) -> String {
        let title = self.words.say("summary-title", &[("days", SUMMARY_DAYS.to_string())]);
        let today = query::today(self.ledger, self.now);
        let days = (0..SUMMARY_DAYS).rev().filter_map(|n| today.checked_sub_signed(TimeDelta::days(n)));
        let lines = days.map(|day| {
            let (from, to) = query::day_of(self.ledger, day);
            let (fed, feeds) = query::fed(self.ledger.stock(), from, to, None);
            let (pumped, sessions) = query::pumped(self.ledger.stock(), from, to);
            let name = self.words.word(&format!("day-{}", day.format("%a").to_string().to_lowercase()));
            self.words.say(
                "summary-day",
                &[
                    ("day", name),
                    ("fed", self.amount(fed)),
                    ("feeds", feeds.to_string()),
                    ("pumped", self.amount(pumped)),
                    ("sessions", sessions.to_string()),
                ],
            )
        });
        let since = query::day_of(self.ledger, today).0 - TimeDelta::days(SUMMARY_DAYS);
        let talk = self.ledger.talk();
        let is_open = |q: &&OpenQuestion| q.asked >= since && q.question.about != Doubt::Hold;
        let open = talk.lapsed().iter().chain(talk.questions()).filter(is_open);
        std::iter::once(title).chain(lines).chain(self.not_noted(open)).collect::<Vec<_>>().join("\n")
    }

    fn convert(&self, ml: Option<Volume>) -> String {
        let ml = ml.unwrap_or_default();
        let args = [("ml", rounded(ml.ml(), 1)), ("oz", rounded(ml.oz(), 2))];
        match self.ledger.household().units {
            crate::domain::volume::Unit::Ml => self.words.say("convert-to-oz", &args),
            crate::domain::volume::Unit::Oz => self.words.say("convert-to-ml", &args),
        }
    }
}
