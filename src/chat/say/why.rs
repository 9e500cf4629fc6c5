//! "Why?": the steps of a container's life, each with what decided then, the clocks that run on it now, and the one that
//! ends first. All of it is in the ledger already; nothing is worked out anew here.

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
        if lines.is_empty() { self.words.word("which-one") } else { lines.join("\n") }
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
        lines.extend(c.keeping.running.iter().map(|r| self.why_clock(r)));
        lines.push(self.why_end(c));
        lines.join("\n")
    }

    fn why_step(&self, step: &Step) -> String {
        let mut args = vec![
            ("time", self.time(step.at)),
            ("state", self.state(step.state)),
            ("where", self.place(step.place, None)),
        ];
        match (step.clock, step.use_by) {
            (Some(clock), Some(by)) => {
                args.push(("clock", self.words.word(&format!("clock-{}", clock.key()))));
                args.push(("by", self.time(by)));
                self.words.say("why-step", &args)
            }
            _ => self.words.say("why-step-open", &args),
        }
    }

    fn why_clock(&self, running: &Running) -> String {
        let limit = running.figure.map_or_else(|| self.words.word("rule-now"), |f| self.span(f.limit));
        let args = [
            ("clock", self.words.word(&format!("clock-{}", running.clock.key()))),
            ("start", self.time(running.start)),
            ("limit", limit),
            ("by", self.time(running.by)),
            ("whose", self.whose_running(Some(running))),
        ];
        self.words.say(if running.entered { "why-clock-own" } else { "why-clock" }, &args)
    }

    fn why_end(&self, c: &Container) -> String {
        if c.suspect_since.is_some() {
            return self.words.say("given-suspect", &[("code", c.code.to_string())]);
        }
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
}
