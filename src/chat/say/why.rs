//! "Why?": the steps of a container's life, each with what decided then, the clocks that run on it now, and the one that
//! ends first. All of it is in the ledger already; nothing is worked out anew here.

use chrono::TimeDelta;

use crate::domain::act::Code;
use crate::domain::keeping::Running;
use crate::domain::ledger::{Container, Step};

use super::Speaker;

impl Speaker<'_> {
    pub fn why(&self, codes: &[Code]) -> String {
        let lines: Vec<String> = codes
            .iter()
            .map(|code| match self.container(*code) {
                Some(c) => self.why_one(c),
                None => self.words.say("status-none", &[("code", code.to_string())]),
            })
            .collect();
        if lines.is_empty() { self.words.word("why-which") } else { lines.join("\n") }
    }

    fn why_one(&self, c: &Container) -> String {
        let mut lines = vec![self.words.say("why-title", &[("code", c.code.to_string())])];
        let mut last: Option<&Step> = None;
        for step in &c.steps {
            let same = |s: &Step| (s.state, s.place, s.use_by) == (step.state, step.place, step.use_by);
            if !last.is_some_and(same) {
                lines.push(self.why_step(step));
            }
            last = Some(step);
        }
        lines.extend(c.keeping.running.iter().map(|r| self.why_clock(c, r)));
        lines.push(self.why_end(c));
        lines.extend(self.why_kept_back(c));
        lines.join("\n")
    }

    fn why_step(&self, step: &Step) -> String {
        let mut args = vec![
            ("time", self.time(step.at)),
            ("state", self.state(step.state)),
            ("where", self.place(step.place, None)),
        ];
        match (step.clock, step.use_by) {
            (_, Some(by)) if by < step.at => {
                args.push(("by", self.time(by)));
                self.words.say("why-step-past", &args)
            }
            (Some(clock), Some(by)) => {
                args.push(("clock", self.words.word(&format!("clock-{}", clock.key()))));
                args.push(("by", self.time(by)));
                self.words.say("why-step", &args)
            }
            _ => self.words.say("why-step-open", &args),
        }
    }

    fn why_clock(&self, c: &Container, running: &Running) -> String {
        let own = self.ledger.household().limits.get(running.clock.key()).filter(|_| running.entered);
        let limit = own.copied().or(running.figure.map(|f| f.limit));
        let args = [
            ("clock", self.words.word(&format!("clock-{}", running.clock.key()))),
            ("start", self.time(running.start)),
            ("limit", limit.map_or_else(|| self.words.word("rule-now"), |limit| self.span(limit))),
            ("used", self.lasting(running.spent)),
            ("by", self.time(running.by)),
            ("whose", self.whose_running(Some(running))),
        ];
        // Hours in the room and in a cooler add up over all visits.
        let id = if running.spent.is_zero() { "why-clock" } else { "why-clock-used" };
        let line = self.words.say(id, &args);
        // Of two clocks of one name each says for which milk it is.
        let twice = c.keeping.running.iter().filter(|r| r.clock == running.clock).count() > 1;
        match running.figure.and_then(|f| f.milk.first()).filter(|_| twice) {
            Some(milk) => {
                let more = self.words.word(&format!("milk-{}", super::key_of(milk)));
                self.words.say("and-also", &[("line", line), ("more", more)])
            }
            None => line,
        }
    }

    fn lasting(&self, time: TimeDelta) -> String {
        let (hours, minutes) = (time.num_hours(), time.num_minutes() % 60);
        let some = [(hours, "span-hours"), (minutes, "span-minutes")];
        let some = some.iter().filter(|(n, _)| *n > 0);
        some.map(|(n, id)| self.words.say(id, &[("n", n.to_string())])).collect::<Vec<_>>().join(" ")
    }

    fn why_end(&self, c: &Container) -> String {
        match (c.expired, c.keeping.decisive()) {
            (Some(by), _) => self.words.say("why-expired", &[("time", self.time(by))]),
            (None, Some(first)) => {
                let clock = self.words.word(&format!("clock-{}", first.clock.key()));
                let args = [
                    ("clock", clock),
                    ("by", self.time(first.by)),
                    ("whose", self.whose_running(Some(first))),
                ];
                self.words.say("why-decides", &args)
            }
            (None, None) => self.words.word("why-unknown"),
        }
    }

    /// Why it isn't to be used, whatever its clocks say.
    fn why_kept_back(&self, c: &Container) -> Vec<String> {
        let held = c.held_since.map(|at| self.words.say("why-held", &[("time", self.time(at))]));
        let id = if c.loss.door { "why-door" } else { "why-suspect" };
        let suspect = c.suspect_since.map(|at| self.words.say(id, &[("time", self.time(at))]));
        held.into_iter().chain(suspect).collect()
    }
}
