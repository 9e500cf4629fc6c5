//! Answers to questions, and what can't be done. Always "by our log" and by whose times; never a verdict on milk.

use chrono::{NaiveDate, TimeDelta};

use crate::domain::act::{Code, Topic, What};
use crate::domain::answer::{Piece, Wanted};
use crate::domain::household::BadSetting;
use crate::domain::ledger::{Container, MealKind};
use crate::domain::milk::Moment;
use crate::domain::place::Place;
use crate::domain::plan::Thaw;
use crate::domain::query::{self, Tally};
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
            Piece::Topic { topic: Topic::Rule, place, rule, .. } => self.rule(*place, *rule),
            Piece::Topic { topic: Topic::Why, codes, .. } => self.why(codes),
            Piece::Topic { topic, codes, place, ml, .. } => self.topic(*topic, codes, *place, *ml),
            Piece::Alarm { what } => w.word(match what {
                What::WrongMilk => "alarm-wrong_milk",
                What::Dilution => "alarm-dilution",
                What::Colour => "alarm-colour",
                _ => "alarm-unwell",
            }),
            Piece::Ask { about } => w.word(&format!("ask-{}", super::key_of(about))),
            Piece::NoSuch { codes } => w.say("no-such", &[("codes", self.codes(codes))]),
            Piece::AlreadyGone { code, gone } => {
                let gone = w.word(&format!("gone-{}", super::key_of(gone)));
                w.say("already-gone", &[("code", code.to_string()), ("gone", gone)])
            }
            Piece::NoneLike { kind } => w.word(match kind {
                Wanted::Frozen => "none-frozen",
                Wanted::Unfrozen => "none-unfrozen",
                Wanted::Sent => "none-sent",
                Wanted::Any => "none-any",
            }),
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
            Piece::Unreadable => w.word("unreadable"),
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

    fn topic(&self, topic: Topic, codes: &[Code], place: Option<Place>, ml: Option<Volume>) -> String {
        match topic {
            Topic::Stock => self.stock(place),
            Topic::Next => self.next(),
            Topic::Thaw | Topic::Plan => self.plan_for_next_workday(),
            Topic::LastFeed => self.last_meal(),
            Topic::Status => self.status(codes),
            Topic::Expiring => self.expiring(),
            Topic::DaysLeft => self.days_left(place),
            Topic::Pumped => self.pumped_today(),
            Topic::Fed => self.fed_today(),
            Topic::Summary => self.summary(),
            Topic::Rule => self.rule(place, None),
            Topic::Why => self.why(codes),
            Topic::Convert => self.convert(ml),
            Topic::Help => self.words.word("help"),
        }
    }

    fn count(&self, count: usize) -> String {
        self.words.say("count-containers", &[("count", count.to_string())])
    }

    fn stock(&self, place: Option<Place>) -> String {
        let tally = Tally::of(self.ledger.stock(), self.now);
        let wanted = |p: Place| match place {
            None => true,
            Some(Place::Freezer) => p.is_freezer(),
            Some(place) => place == p,
        };
        let here: Vec<Place> =
            Place::ALL.into_iter().rev().filter(|p| wanted(*p) && tally.count(*p) > 0).collect();
        let mut lines: Vec<String> = here.iter().map(|p| self.stock_place(&tally, *p)).collect();
        if lines.is_empty() {
            lines.push(self.words.word("stock-none"));
        } else if lines.len() > 1 {
            let total: Volume = here.iter().map(|p| tally.place(*p)).sum();
            lines.push(self.words.say("stock-total", &[("amount", self.amount(total))]));
        }
        if place.is_none() {
            lines.extend(self.besides(&tally));
        }
        format!("{} {}", self.words.word("stock-title"), lines.join(" · "))
    }

    fn stock_place(&self, tally: &Tally, place: Place) -> String {
        let codes: Vec<Code> = (self.ledger.stock().existing())
            .filter(|c| query::counts(c, self.now) && c.life.place == place)
            .map(|c| c.code)
            .collect();
        let shown = if codes.len() <= 8 {
            format!("{} (#{})", self.count(codes.len()), self.codes(&codes))
        } else {
            self.count(codes.len())
        };
        self.words.say(
            "stock-place",
            &[
                ("where", self.place(place, None)),
                ("amount", self.amount(tally.place(place))),
                ("count", shown),
            ],
        )
    }

    fn besides(&self, tally: &Tally) -> Option<String> {
        let all = [
            ("besides-started", tally.started),
            ("besides-held", tally.held),
            ("besides-suspect", tally.suspect),
            ("besides-past", tally.past),
            ("besides-unknown", tally.unknown),
            ("besides-sent", tally.sent),
        ];
        let list: Vec<String> = all
            .iter()
            .filter(|(_, ml)| !ml.is_zero())
            .map(|(id, ml)| self.words.say(id, &[("amount", self.amount(*ml))]))
            .collect();
        (!list.is_empty()).then(|| self.words.say("stock-besides", &[("list", list.join(", "))]))
    }

    fn container_line(&self, id: &str, c: &Container) -> String {
        let expressed = c.life.expressed.map_or_else(|| "?".to_owned(), |at| self.time(at));
        self.words.say(
            id,
            &[
                ("code", c.code.to_string()),
                ("amount", self.amount(c.ml)),
                ("state", self.state(c.life.state)),
                ("where", self.place(c.life.place, c.life.site.as_ref())),
                ("expressed", expressed),
                ("until", self.until(c)),
            ],
        )
    }

    fn next(&self) -> String {
        let (started, next) = query::next(self.ledger.stock(), self.now);
        let mut lines: Vec<String> = started.iter().map(|c| self.container_line("next-started", c)).collect();
        match next {
            Some(c) if c.is_frozen() => lines.push(self.container_line("next-frozen", c)),
            Some(c) => lines.push(self.container_line("next", c)),
            None => lines.push(self.words.word("next-none")),
        }
        lines.join("\n")
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
        lines.push(self.words.word("status-caution"));
        lines.join("\n")
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

    fn last_meal(&self) -> String {
        let Some(meal) = query::last_meal(self.ledger.stock()) else {
            return self.words.word("last-meal-none");
        };
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
        let Some((tenths, there, daily)) = query::days_left(self.ledger, self.now, place) else {
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

    fn fed_today(&self) -> String {
        let (from, to) = self.today();
        let (ml, count) = query::fed(self.ledger.stock(), from, to);
        self.words.say("fed-today", &[("amount", self.amount(ml)), ("count", count.to_string())])
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
        let (from, _, need) = query::need_on(self.ledger, day)?;
        let plan = query::plan_for(self.ledger, self.now, day)?;
        let time = self.time(from);
        let name = time.split(' ').next().unwrap_or_default().to_owned();
        let mut lines = vec![self.words.say("plan-need", &[("day", name), ("amount", self.amount(need))])];
        lines.extend(self.plan_lines(&plan));
        Some(lines.join(" "))
    }

    fn plan_lines(&self, plan: &Thaw) -> Vec<String> {
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
        }
        if let Some(from) = plan.take_out_from.filter(|_| !plan.thaw_codes.is_empty()) {
            lines.push(self.words.say("plan-from", &[("time", self.time(from)), ("whose", self.whose())]));
        }
        lines
    }

    fn summary(&self) -> String {
        let title = self.words.say("summary-title", &[("days", SUMMARY_DAYS.to_string())]);
        let today = query::today(self.ledger, self.now);
        let days = (0..SUMMARY_DAYS).rev().filter_map(|n| today.checked_sub_signed(TimeDelta::days(n)));
        let lines = days.map(|day| {
            let (from, to) = query::day_of(self.ledger, day);
            let (fed, feeds) = query::fed(self.ledger.stock(), from, to);
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
        let open = talk.lapsed().iter().chain(talk.questions()).filter(|q| q.asked >= since);
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
