//! Receipts: one line for what was recorded, showing how it was understood; and the warnings that belong beside it.

use crate::domain::act::{Code, What};
use crate::domain::answer::{Did, Piece};
use crate::domain::ledger::{Container, Said};
use crate::domain::milk::{Gone, Moment, State};
use crate::domain::place::Place;
use crate::domain::rules;

use super::Speaker;

impl Speaker<'_> {
    pub fn piece(&self, piece: &Piece) -> String {
        let w = self.words;
        match piece {
            Piece::Label { code } => self.label(&[*code]),
            Piece::NothingKept { ml } => w.say("nothing-kept", &[("amount", self.amount(*ml))]),
            Piece::Fed { .. } => self.fed(piece),
            Piece::FeedBegan { codes, at } if codes.is_empty() => {
                w.say("feed-began-nowhere", &[("time", self.time(*at))])
            }
            Piece::FeedBegan { codes, at } => {
                w.say("feed-began", &[("codes", self.codes(codes)), ("time", self.time(*at))])
            }
            Piece::Leftover { code, ml } => self.about(*code, "leftover", Some(self.amount(*ml))),
            Piece::SoFar { ml } => w.say("so-far", &[("amount", self.amount(*ml))]),
            Piece::Rest { code } => self.about(*code, "rest", None),
            Piece::Nursed { .. } => self.nursed(piece),
            Piece::Formula { ml, at, child } => self.for_child(
                match ml {
                    Some(ml) => w.say("formula", &[("amount", self.amount(*ml)), ("time", self.time(*at))]),
                    None => w.say("formula-open", &[("time", self.time(*at))]),
                },
                child,
            ),
            Piece::Did { .. } => self.did(piece),
            Piece::Outage { what, since, codes, start_unknown, .. } => {
                self.outage(*what, *since, codes, *start_unknown)
            }
            Piece::Counted { .. } => self.counted(piece),
            Piece::TakenBack { acts } if acts.is_empty() => w.word("taken-back"),
            Piece::TakenBack { acts } => w.say("taken-back-what", &[("what", self.readings(acts))]),
            Piece::Stands { codes } => self.stand(codes),
            Piece::NotedSince { entries } => self.noted_since(entries),
            Piece::Corrected => String::new(),
            Piece::Set { setting, value } if setting == "zone" => {
                w.say("set-zone", &[("value", value.clone()), ("time", self.time(self.now))])
            }
            Piece::Set { setting, value } => {
                w.say("set", &[("setting", setting.clone()), ("value", value.clone())])
            }
            Piece::Paused { until: None } => w.word("paused"),
            Piece::Paused { until: Some(until) } => w.say("paused-until", &[("time", self.time(*until))]),
            Piece::Resumed => w.word("resumed"),
            Piece::Claimed { by } => w.say("claimed", &[("by", by.clone())]),
            Piece::Closed { by } => w.say("closed", &[("by", by.clone())]),
            other => self.beside(other),
        }
    }

    /// Where containers lie now and until when they keep; those that differ in nothing but their number share a line.
    fn stand(&self, codes: &[Code]) -> String {
        let there: Vec<&Container> = codes.iter().filter_map(|code| self.container(*code)).collect();
        let line = |same: &[&Container]| {
            let codes: Vec<Code> = same.iter().map(|c| c.code).collect();
            let place = self.place(same[0].life.place, same[0].life.site.as_ref());
            let args = [("codes", self.ranges(&codes)), ("where", place), ("until", self.until(same[0]))];
            self.words.say("stands-one", &args)
        };
        let alike = |a: &&Container, b: &&Container| {
            (a.life.place, &a.life.site, self.until(a)) == (b.life.place, &b.life.site, self.until(b))
        };
        let list = there.chunk_by(alike).map(line).collect::<Vec<_>>().join("; ");
        self.words.say("stands", &[("list", list)])
    }

    fn noted_since(&self, entries: &[i64]) -> String {
        let one = |said: &Said| {
            let by = said.by.clone().unwrap_or_else(|| self.words.word("by-nobody"));
            format!("{by} {} ({})", self.time(said.sent), self.readings(&said.acts))
        };
        let said = entries.iter().filter_map(|seq| self.ledger.said(*seq));
        self.words.say("noted-since", &[("list", said.map(one).collect::<Vec<_>>().join(", "))])
    }

    /// Warnings and questions beside a receipt.
    fn beside(&self, piece: &Piece) -> String {
        let w = self.words;
        let code = |code: &Code| ("code", code.to_string());
        match piece {
            Piece::GivenPast { code: c, by } => {
                w.say("given-past", &[code(c), ("time", self.time(*by)), ("whose", self.whose())])
            }
            Piece::GivenHeld { code: c } => w.say("given-held", &[code(c)]),
            Piece::GivenUnknown { code: c } => w.say("given-unknown", &[code(c)]),
            Piece::GivenSuspect { code: c } => w.say("given-suspect", &[code(c)]),
            Piece::MoreThanThere { code: Some(c), beyond } => {
                w.say("more-than-there", &[("amount", self.amount(*beyond)), code(c)])
            }
            Piece::MoreThanThere { code: None, beyond } => {
                w.say("more-than-there-nowhere", &[("amount", self.amount(*beyond))])
            }
            Piece::ColdNotBack { place } => w.say("cold-not-back", &[("place", self.place(*place, None))]),
            Piece::NotRefrozen { codes } => {
                w.say("not-refrozen", &[("codes", self.codes(codes)), ("whose", self.whose())])
            }
            Piece::NotFrozenNow { codes } => w.say("not-frozen-now", &[("codes", self.codes(codes))]),
            Piece::NeverFrozen { codes } => w.say("never-frozen", &[("codes", self.codes(codes))]),
            Piece::HoursAway { codes } => w.say("hours-away", &[("codes", self.codes(codes))]),
            Piece::SeenAgain { codes } => w.say("seen-again", &[("codes", self.codes(codes))]),
            Piece::GivenAwayStarted { codes } => w.say("given-away-started", &[("codes", self.codes(codes))]),
            Piece::NotFrozenStarted { codes } => w.say("not-frozen-started", &[("codes", self.codes(codes))]),
            Piece::StartedMixed { codes } => w.say("started-mixed", &[("codes", self.codes(codes))]),
            Piece::NotForSending { codes } => w.say("not-for-sending", &[("codes", self.codes(codes))]),
            Piece::LabelTaken { wanted, given } => {
                w.say("label-taken", &[("wanted", wanted.to_string()), ("given", given.to_string())])
            }
            Piece::NotThere { codes } => {
                let told = w.say("not-there", &[("codes", self.codes(codes))]);
                format!("{told}\n{}", w.word("counted-ask"))
            }
            Piece::HeldOn { until, code } => {
                let code = code.map(|code| code.to_string()).unwrap_or_default();
                w.say("held-on", &[("time", self.time(*until)), ("code", code)])
            }
            Piece::LeftOut { codes } => self.left_out(codes),
            Piece::PlaceOpen { .. } => w.word("place-open"),
            Piece::CombiningRule => self.combining(),
            Piece::AskThawHow { .. } => w.word("ask-thaw-how"),
            Piece::AskAge { codes } => w.say("ask-age", &[("code", self.ranges(codes))]),
            other => self.mishap(other),
        }
    }

    /// A line for each container that came on the books; those that differ in nothing but their number share one.
    pub fn labels(&self, codes: &[Code]) -> Vec<String> {
        let alike = |a: &Code, b: &Code| match (self.container(*a), self.container(*b)) {
            (Some(a), Some(b)) => {
                (a.ml, &a.life, &a.marks, a.use_by()) == (b.ml, &b.life, &b.marks, b.use_by())
            }
            _ => false,
        };
        codes.chunk_by(alike).map(|codes| self.label(codes)).collect()
    }

    /// The card of a container, as it should be written on it.
    fn label(&self, codes: &[Code]) -> String {
        let Some(c) = codes.first().and_then(|code| self.container(*code)) else { return String::new() };
        let amount = match codes.len() {
            1 => self.amount(c.ml),
            n => self.words.say("times", &[("count", n.to_string()), ("amount", self.amount(c.ml))]),
        };
        let mut args = vec![
            ("code", self.marked(self.ranges(codes), c)),
            ("amount", amount),
            ("where", self.place(c.life.place, c.life.site.as_ref())),
            ("until", self.until(c)),
        ];
        let Some(expressed) = c.life.expressed else { return self.words.say("label-no-age", &args) };
        args.push(("expressed", self.time(expressed)));
        if matches!(c.life.state, State::Fresh | State::Frozen) {
            return self.words.say("label", &args);
        }
        args.push(("state", self.state(c.life.state)));
        self.words.say("label-state", &args)
    }

    fn about(&self, code: Code, id: &str, amount: Option<String>) -> String {
        let Some(c) = self.container(code) else { return String::new() };
        let amount = amount.unwrap_or_else(|| self.amount(c.ml));
        self.words.say(id, &[("code", code.to_string()), ("amount", amount), ("until", self.until(c))])
    }

    fn fed(&self, piece: &Piece) -> String {
        let Piece::Fed { codes, drunk, chosen, child, at } = piece else { return String::new() };
        let mut args = vec![("codes", self.codes(codes)), ("time", self.time(*at))];
        let id = match (drunk, codes.is_empty(), chosen) {
            (None, _, _) => "fed-all",
            (Some(_), true, _) => "fed-nowhere",
            (Some(_), false, true) => "fed-chosen",
            (Some(_), false, false) => "fed",
        };
        args.extend(drunk.map(|ml| ("amount", self.amount(ml))));
        self.for_child(self.words.say(id, &args), child)
    }

    pub fn for_child(&self, line: String, child: &Option<String>) -> String {
        match child {
            Some(child) => self.words.say("for-child", &[("line", line), ("child", child.clone())]),
            None => line,
        }
    }

    fn nursed(&self, piece: &Piece) -> String {
        let Piece::Nursed { side, minutes, at, child } = piece else { return String::new() };
        let mut args = vec![("time", self.time(*at))];
        args.extend(side.map(|s| ("side", self.words.word(&format!("side-{}", super::key_of(&s))))));
        args.extend(minutes.map(|m| ("minutes", m.to_string())));
        let id = match (side, minutes) {
            (Some(_), Some(_)) => "nursed-side-minutes",
            (Some(_), None) => "nursed-side",
            (None, Some(_)) => "nursed-minutes",
            (None, None) => "nursed",
        };
        self.for_child(self.words.say(id, &args), child)
    }

    fn did(&self, piece: &Piece) -> String {
        let Piece::Did { what, codes, ml, site, .. } = piece else { return String::new() };
        let first = codes.first().and_then(|c| self.container(*c));
        let id = match what {
            Did::Moved => "did-moved",
            Did::Thawing => "did-thawing",
            Did::Thawed => "did-thawed",
            Did::Warmed => "did-warmed",
            Did::Combined => "did-combined",
            Did::Split => "did-split",
            Did::Discarded if codes.is_empty() => "did-discarded-unnamed",
            Did::Discarded if ml.is_some() => "did-discarded-some",
            Did::Discarded => "did-discarded",
            Did::Held => "did-held",
            Did::HeldAll => "did-held-all",
            Did::Released => "did-released",
            Did::Donated => "did-donated",
            Did::Sent => "did-sent",
            Did::Returned => "did-returned",
            Did::Checked => "did-checked",
        };
        let amount = ml.or(first.map(|c| c.ml)).unwrap_or_default();
        let place = match (what, site, first) {
            (Did::Sent, Some(site), _) => self.site(site),
            (_, _, Some(c)) => self.place(c.life.place, c.life.site.as_ref()),
            _ => self.place(Place::Room, None),
        };
        self.words.say(
            id,
            &[
                ("codes", self.codes(codes)),
                ("amount", self.amount(amount)),
                ("where", place),
                ("until", self.until_of(codes)),
            ],
        )
    }

    fn outage(&self, what: What, since: Moment, codes: &[Code], start_unknown: bool) -> String {
        let args =
            [("time", self.time(since)), ("codes", self.codes(codes)), ("rule", self.outage_rule(what))];
        let told = self.words.say(if codes.is_empty() { "outage-none" } else { "outage" }, &args);
        let asked = (start_unknown && !codes.is_empty()).then(|| self.words.word("outage-since"));
        [Some(told), asked].into_iter().flatten().collect::<Vec<_>>().join("\n")
    }

    /// The labels that the rest of the message was noted without, each with the reason.
    fn left_out(&self, codes: &[(Code, Option<Gone>)]) -> String {
        let one = |(code, gone): &(Code, Option<Gone>)| {
            let gone = gone.map_or("gone-never".to_owned(), |gone| format!("gone-{}", super::key_of(&gone)));
            let args = [("code", code.to_string()), ("gone", self.words.word(&gone))];
            self.words.say("status-gone", &args)
        };
        let list: Vec<String> = codes.iter().map(one).collect();
        self.words.say("left-out", &[("list", list.join(", "))])
    }

    fn combining(&self) -> String {
        match self.ledger.rules().note(rules::Topic::Combining) {
            Some(note) => {
                self.words.say("combining-rule", &[("whose", self.whose()), ("rule", self.note(note))])
            }
            None => self.words.say("rule-unsaid", &[("whose", self.whose())]),
        }
    }

    /// A note of a rule set: in the household's language if the set has words for it, else as it stands there.
    pub fn note(&self, note: &rules::Note) -> String {
        note.text.of(self.words.language()).to_owned()
    }

    pub fn is_gone(&self, c: &Container) -> bool {
        c.gone.is_some() && !c.is_sent()
    }
}
