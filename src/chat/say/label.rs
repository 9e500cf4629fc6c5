//! How amounts, times, places and use-bys are written: the same everywhere, in the household's unit and zone.

use chrono::{Datelike, TimeDelta};

use crate::domain::act::Code;
use crate::domain::keeping::Running;
use crate::domain::ledger::Container;
use crate::domain::milk::{Moment, State};
use crate::domain::place::{Place, Site};
use crate::domain::rules::{Rules, Span};
use crate::domain::volume::{Unit, Volume};

use super::{Speaker, key_of};

const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

impl Speaker<'_> {
    /// Both units, the household's own first.
    pub fn amount(&self, volume: Volume) -> String {
        // Half a millilitre matters in a spoonful only.
        let ml = rounded(volume.ml(), if volume.ml() < 10.0 { 1 } else { 0 });
        let oz = rounded(volume.oz(), 1);
        let id = match self.ledger.household().units {
            Unit::Ml => "amount-ml",
            Unit::Oz => "amount-oz",
        };
        self.words.say(id, &[("ml", ml), ("oz", oz)])
    }

    /// A clock time with its weekday; with the date where it is not within a week; the date alone where it is months away.
    pub fn time(&self, at: Moment) -> String {
        let local = at.with_timezone(&self.ledger.household().zone);
        let day = self.words.word(&format!("day-{}", DAYS[local.weekday().num_days_from_monday() as usize]));
        let month = self.words.word(&format!("month-{}", local.month()));
        let time = local.format("%H:%M").to_string();
        let away = (at - self.now).abs();
        if away < TimeDelta::days(6) {
            self.words.say("time-near", &[("day", day), ("time", time)])
        } else if away < TimeDelta::days(60) {
            let args = [("day", day), ("date", local.day().to_string()), ("month", month), ("time", time)];
            self.words.say("time-date", &args)
        } else {
            let args =
                [("date", local.day().to_string()), ("month", month), ("year", local.year().to_string())];
            self.words.say("time-far", &args)
        }
    }

    pub fn place(&self, place: Place, site: Option<&Site>) -> String {
        let place = self.words.word(&format!("place-{}", place.key()));
        match site {
            None => place,
            Some(site) => self.words.say("at-site", &[("place", place), ("site", self.site(site))]),
        }
    }

    pub fn site(&self, site: &Site) -> String {
        match site {
            Site::Work => self.words.word("site-work"),
            Site::Daycare => self.words.word("site-daycare"),
            Site::Named(words) => words.clone(),
        }
    }

    pub fn state(&self, state: State) -> String {
        self.words.word(&format!("state-{}", key_of(&state)))
    }

    /// Labels; each with its owner, where there are several.
    pub fn codes(&self, codes: &[Code]) -> String {
        let one = |code: &Code| match self.container(*code).and_then(|c| c.marks.whose.clone()) {
            Some(whose) => self.words.say("code-of", &[("code", code.to_string()), ("whose", whose)]),
            None => code.to_string(),
        };
        codes.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    /// A label with all that is written on it beside: whose milk, for whom, what it is called.
    pub fn marked(&self, code: String, c: &Container) -> String {
        let mut all = vec![code];
        all.extend(Some(self.whose_milk(c)).filter(|w| !w.is_empty()));
        all.extend(c.marks.tags.iter().cloned());
        all.join(" · ")
    }

    /// "Ana, for Lio".
    pub fn whose_milk(&self, c: &Container) -> String {
        let child = c.marks.child.clone().map(|child| self.words.say("for-one", &[("child", child)]));
        c.marks.whose.clone().into_iter().chain(child).collect::<Vec<_>>().join(", ")
    }

    /// With runs of three and more drawn together: 1–12, 15.
    pub fn ranges(&self, codes: &[Code]) -> String {
        let mut runs: Vec<(Code, Code)> = Vec::new();
        for code in codes {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == *code => *last = *code,
                _ => runs.push((*code, *code)),
            }
        }
        let one = |(first, last): &(Code, Code)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first}–{last}"),
        };
        runs.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    pub fn container(&self, code: Code) -> Option<&Container> {
        self.ledger.stock().get(code)
    }

    pub fn whose(&self) -> String {
        self.name(self.ledger.rules())
    }

    pub fn name(&self, rules: &Rules) -> String {
        rules.name.of(self.words.language()).to_owned()
    }

    /// Whose rule decides, and on what condition it rests that nobody has told.
    pub fn whose_of(&self, c: &Container) -> String {
        self.whose_running(c.keeping.decisive().filter(|_| c.expired.is_none()))
    }

    /// Why a container is not to be used as it is.
    pub fn caution(&self, c: &Container) -> Option<String> {
        let wanting = c.held_since.is_some() || c.suspect_since.is_some() || c.use_by().is_none();
        let id = match c {
            c if wanting || c.is_past(self.now) => return Some(self.until(c)),
            c if c.is_started() => "caution-started",
            _ => return None,
        };
        Some(self.words.word(id))
    }

    pub fn whose_running(&self, running: Option<&Running>) -> String {
        let Some(running) = running else { return self.whose() };
        if running.entered && !running.rules.entered {
            return self.words.word("whose-own");
        }
        let rules = self.name(running.rules);
        match running.figure.filter(|_| running.assumed).and_then(|f| f.max_c) {
            Some(c) => {
                let condition =
                    self.words.say("condition-temperature", &[("c", rounded(c, 0).replace('-', "−"))]);
                self.words.say("whose-if", &[("rules", rules), ("condition", condition)])
            }
            None => rules,
        }
    }

    /// Until when, or why there is no time.
    pub fn until(&self, c: &Container) -> String {
        if c.held_since.is_some() {
            return self.words.word("until-held");
        }
        // What is over is over, whatever the cold was.
        if c.suspect_since.is_some() && !c.is_past(self.now) {
            return self.words.word("until-suspect");
        }
        let Some(by) = c.use_by() else { return self.words.word("until-unknown") };
        if c.expired.is_none() && c.suspect_since.is_none() && c.keeping.use_now() {
            return self.until_now(c);
        }
        let whose = self.whose_of(c);
        let args = [("time", self.time(by)), ("whose", whose)];
        if by <= self.now {
            return self.words.say("until-past", &args);
        }
        match c.keeping.best_by.filter(|best| *best < by) {
            Some(best) => {
                let [time, whose] = args;
                self.words.say("until-best", &[("best", self.time(best)), time, whose])
            }
            None => self.words.say("until-use-by", &args),
        }
    }

    /// Milk with no time to be kept: the publisher says so, or says nothing.
    fn until_now(&self, c: &Container) -> String {
        let decisive = c.keeping.decisive();
        let id = match decisive.and_then(|d| d.figure).map(|f| f.limit) {
            Some(Span::EndOfFeed) => "until-end-of-feed",
            Some(_) => "until-at-once",
            None => "until-use-now",
        };
        self.words.say(id, &[("whose", self.whose_running(decisive))])
    }

    /// Until when, for several: one time if it is the same, else that of the first to end.
    pub fn until_of(&self, codes: &[Code]) -> String {
        let containers: Vec<&Container> = codes.iter().filter_map(|c| self.container(*c)).collect();
        let Some(first) = containers.iter().min_by_key(|c| (c.use_by().is_none(), c.use_by())) else {
            return String::new();
        };
        let until = self.until(first);
        if containers.iter().all(|c| self.until(c) == until) {
            until
        } else {
            self.words.say("first-of", &[("code", first.code.to_string()), ("until", until)])
        }
    }
}

/// At most so many decimals, and none that are nought.
pub fn rounded(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
