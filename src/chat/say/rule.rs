//! Questions about the rules, answered from the household's own set and, where it has one, that of its child care, and no
//! other: the figures that fit, from when each counts, on what condition, and whose they are. Where the publisher gives
//! none, that is said with the next cautious step.

use crate::domain::act::{Code, RuleOn, What};
use crate::domain::keeping::Clock;
use crate::domain::place::Place;
use crate::domain::rules::{self, Figure, Milk, Rules, Span, Spot};

use super::Speaker;
use super::label::rounded;

impl Speaker<'_> {
    /// In one or two lines where the question names what it is about, else the whole set. Beside the rule stands what
    /// the log says of the containers that were named.
    pub fn rule(&self, place: Option<Place>, on: Option<RuleOn>, codes: &[Code]) -> String {
        let mut own: Vec<String> = codes.iter().filter_map(|code| self.status_line(*code)).collect();
        let line = match (on, place) {
            (None, None) if own.is_empty() => return self.whole_set(),
            (None | Some(RuleOn::Smell), None) => {
                own.push(self.words.word("rule-caution"));
                return own.join("\n");
            }
            (Some(RuleOn::Medicine), _) => Some(self.words.word("medicine")),
            (Some(RuleOn::Outage), _) => Some(self.outage_rule(What::Power)),
            (on, place) => self.line_of(self.ledger.rules(), on, place),
        };
        let none = match on {
            Some(RuleOn::Refreezing | RuleOn::Mixing) => "rule-unsaid",
            _ => "rule-none",
        };
        let line = line.unwrap_or_else(|| self.words.say(none, &[("whose", self.whose())]));
        let theirs = self.ledger.conditions().child_care.and_then(|rules| self.line_of(rules, on, place));
        let mut lines = vec![line];
        lines.extend(theirs);
        lines.append(&mut own);
        let entered = self.ledger.rules().entered;
        lines.push(self.words.word(if entered { "rule-entered-caution" } else { "rule-short-caution" }));
        lines.join("\n")
    }

    fn line_of(&self, rules: &'static Rules, on: Option<RuleOn>, place: Option<Place>) -> Option<String> {
        match on {
            Some(RuleOn::Refreezing) => self.note_line(rules, rules::Topic::Refreezing),
            Some(RuleOn::Mixing) => self.note_line(rules, rules::Topic::Combining),
            Some(RuleOn::Medicine | RuleOn::Outage | RuleOn::Smell) => None,
            on => self.figures_line(rules, on, place),
        }
    }

    fn whole_set(&self) -> String {
        let mut lines = self.set(self.ledger.rules());
        lines.extend(self.own_limits(|_| true));
        lines.extend(self.ledger.conditions().child_care.into_iter().flat_map(|rules| self.set(rules)));
        lines.push(self.words.word("rule-caution"));
        lines.join("\n")
    }

    fn set(&self, rules: &'static Rules) -> Vec<String> {
        let args = [("whose", self.name(rules)), ("title", title(rules))];
        // Figures of a care team are not for healthy babies.
        let id = if rules.entered { "rule-title-entered" } else { "rule-title" };
        let mut lines = vec![self.words.say(id, &args)];
        lines.extend(self.fitting(rules, |_| true).map(|f| self.figure(f, None)));
        for (topic, id) in
            [(rules::Topic::Refreezing, "rule-refreezing"), (rules::Topic::Combining, "rule-combining")]
        {
            lines.extend(rules.note(topic).map(|note| self.words.say(id, &[("rule", self.note(note))])));
        }
        lines
    }

    fn fitting(
        &self,
        rules: &'static Rules,
        fits: impl Fn(&Figure) -> bool,
    ) -> impl Iterator<Item = &'static Figure> {
        let clean = self.ledger.household().very_clean;
        rules.figures.iter().filter(move |f| (clean || !f.very_clean) && fits(f))
    }

    fn note_line(&self, rules: &'static Rules, topic: rules::Topic) -> Option<String> {
        let note = rules.note(topic)?;
        let args =
            [("whose", self.name(rules)), ("list", self.note(note)), ("title", note.source.title.clone())];
        Some(self.words.say("rule-answer", &args))
    }

    fn figures_line(
        &self,
        rules: &'static Rules,
        on: Option<RuleOn>,
        place: Option<Place>,
    ) -> Option<String> {
        let spot = place.map(|p| self.ledger.conditions().spot(p));
        let milk = match on {
            Some(RuleOn::Thawed) => Some(Milk::Thawed),
            Some(RuleOn::Warmed) => Some(Milk::Warmed),
            Some(RuleOn::Leftover) => Some(Milk::Leftover),
            _ => None,
        };
        let fits = |f: &Figure| match (milk, spot) {
            (Some(milk), Some(spot)) => {
                f.milk.contains(&milk) && (f.places.is_empty() || f.places.contains(&spot))
            }
            (Some(milk), None) => f.milk.contains(&milk),
            (None, Some(spot)) if f.places.is_empty() => spot.is_frozen() && f.milk.contains(&Milk::Frozen),
            (None, spot) => spot.is_some_and(|spot| f.places.contains(&spot)),
        };
        let mut list: Vec<String> = self.fitting(rules, fits).map(|f| self.figure(f, milk)).collect();
        let figure_title = self.fitting(rules, fits).next().map(|f| f.source.title.clone());
        if rules.is_for_families() {
            list.extend(self.own_limits(|clock| match (on, place) {
                (Some(RuleOn::Thawed), _) => clock == Clock::Thawed,
                (Some(RuleOn::Warmed), _) => clock == Clock::Warmed,
                (Some(RuleOn::Leftover), _) => clock == Clock::Leftover,
                (_, place) => place == place_of_clock(clock),
            }));
        }
        let title = figure_title.unwrap_or_else(|| title(rules));
        let args = [("whose", self.name(rules)), ("list", list.join("; ")), ("title", title)];
        (!list.is_empty()).then(|| self.words.say("rule-answer", &args))
    }

    fn own_limits(&self, wanted: impl Fn(Clock) -> bool) -> Vec<String> {
        let limits = &self.ledger.household().limits;
        let own = Clock::ALL.into_iter().filter(|c| wanted(*c));
        own.filter_map(|c| Some((c, *limits.get(c.key())?)))
            .map(|(c, limit)| {
                let clock = self.words.word(&format!("clock-{}", c.key()));
                self.words.say("rule-own-limit", &[("clock", clock), ("limit", self.span(limit))])
            })
            .collect()
    }

    /// The publishers' times are for a fridge or freezer that stays shut; for an open door there are none.
    pub fn outage_rule(&self, what: What) -> String {
        if what == What::Door {
            return self.words.word("rule-outage-door");
        }
        let rules = self.ledger.rules();
        let figure = |place, fill| rules.outage(place, fill).map(|o| self.span(o.limit));
        let figures = (
            figure(Spot::Fridge, rules::Fill::Any),
            figure(Spot::Freezer, rules::Fill::Full),
            figure(Spot::Freezer, rules::Fill::Half),
        );
        let (Some(fridge), Some(full), Some(half)) = figures else {
            return self.words.say("rule-outage-none", &[("whose", self.whose())]);
        };
        let args = [("whose", self.whose()), ("fridge", fridge), ("full", full), ("half", half)];
        self.words.say("rule-outage", &args)
    }

    /// What the milk is and where, how long, from when, and on what condition.
    fn figure(&self, figure: &Figure, asked: Option<Milk>) -> String {
        let places: Vec<String> =
            figure.places.iter().map(|p| self.words.word(&format!("spot-{}", super::key_of(p)))).collect();
        let kind = asked.as_ref().or(figure.milk.first()).map(super::key_of).unwrap_or_default();
        let mut what = self.words.word(&format!("milk-{kind}"));
        if !places.is_empty() {
            what = format!("{what}, {}", places.join("/"));
        }
        let from = self.words.word(&format!("start-{}", super::key_of(&figure.start)));
        let from = if figure.limit.is_now() { String::new() } else { format!(" {from}") };
        let condition = match figure.max_c {
            Some(c) => {
                format!(
                    ", {}",
                    self.words.say("condition-temperature", &[("c", rounded(c, 0).replace('-', "−"))])
                )
            }
            None => String::new(),
        };
        let mut args = vec![("what", what), ("limit", self.span(figure.limit) + &from + &condition)];
        match figure.best {
            Some(best) => {
                args.push(("best", self.span(best)));
                self.words.say("rule-line-best", &args)
            }
            None => self.words.say("rule-line", &args),
        }
    }

    pub fn span(&self, span: Span) -> String {
        let (id, n) = match span {
            Span::AtOnce => return self.words.word("rule-now"),
            Span::EndOfFeed => return self.words.word("rule-end-of-feed"),
            Span::EndOfDay => return self.words.word("rule-end-of-day"),
            Span::Hours(n) => ("span-hours", n),
            Span::Days(n) => ("span-days", n),
            Span::Months(n) => ("span-months", n),
        };
        self.words.say(id, &[("n", n.to_string())])
    }
}

fn title(rules: &Rules) -> String {
    rules.figures.first().map(|f| f.source.title.clone()).unwrap_or_default()
}

fn place_of_clock(clock: Clock) -> Option<Place> {
    match clock {
        Clock::Room => Some(Place::Room),
        Clock::Cooler => Some(Place::Cooler),
        Clock::Fridge => Some(Place::Fridge),
        Clock::Freezer => Some(Place::Freezer),
        Clock::Thawed | Clock::Warmed | Clock::Leftover => None,
    }
}
