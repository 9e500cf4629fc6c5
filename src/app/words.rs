//! Short words that mean something only against what was said before: an answer to a question of the bot's ("the first",
//! "oz", what the button says, the missing amount), or which container it was ("no, it was 14", "the 2pm one"). Only a
//! question put to the one who answers, or one that is replied to, is answered so.

use chrono::{NaiveDateTime, TimeDelta};

use crate::chat::read;
use crate::chat::say::Speaker;
use crate::domain::act::{Act, Code, Doubt, ThawHow};
use crate::domain::answer::{Choice, ChoiceLabel, Press};
use crate::domain::decide::{About, Message};
use crate::domain::fact::Fact;
use crate::domain::ledger::{Container, Ledger, OpenQuestion, Said};
use crate::domain::milk::Moment;
use crate::domain::place::Place;
use crate::domain::volume::{Unit, Volume};

use super::handle::context;

/// How many of a question's answers can be called by their place in the row.
const ORDINALS: [&str; 3] = ["answer-first", "answer-second", "answer-third"];
/// Where milk is, as the buttons offer it, and how it thaws.
const PLACES: [(Place, &str); 2] =
    [(Place::Fridge, "answer-in-fridge"), (Place::Freezer, "answer-in-freezer")];
const WAYS: [(ThawHow, &str); 3] = [
    (ThawHow::Fridge, "answer-in-fridge"),
    (ThawHow::WarmWater, "answer-in-water"),
    (ThawHow::Room, "answer-in-room"),
];
/// How long a bare number or word means what was asked or said just before, unless it replies to it. Our own choice, no source.
const JUST_NOW: TimeDelta = TimeDelta::minutes(15);
const A_WHILE: TimeDelta = TimeDelta::hours(1);
/// A clock time is remembered roughly.
const ROUGHLY: TimeDelta = TimeDelta::minutes(30);

/// What is longer stands for itself; a button's label is shorter.
const SHORT: usize = 120;

/// What short words stand for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Told {
    Pressed(Press),
    /// The amount that a question was about.
    Amount {
        question: i64,
        value: f64,
        unit: Option<Unit>,
    },
    /// When the outage that was told of last began.
    Began(NaiveDateTime),
}

/// What the words stand for, if they stand for anything that was asked or said before.
pub fn told(ledger: &Ledger, message: &Message) -> Option<Told> {
    if message.text.chars().nth(SHORT).is_some() {
        return None;
    }
    let words =
        Short { ledger, message, speaker: Speaker::new(ledger, message.sent), said: bare(message.text) };
    let answer = words.asked().and_then(|asked| words.answer(asked));
    answer.or_else(|| words.outage_began()).or_else(|| words.other_container()).or_else(|| words.left_open())
}

/// Without what surrounds the words.
fn bare(text: &str) -> String {
    text.trim().trim_end_matches(['.', '!']).to_lowercase()
}

struct Short<'a> {
    ledger: &'a Ledger,
    message: &'a Message<'a>,
    speaker: Speaker<'a>,
    said: String,
}

impl<'a> Short<'a> {
    /// The question that may be answered: the one replied to, else the sender's newest; whether two people wrote of one
    /// thing may be answered by either.
    fn asked(&self) -> Option<&'a OpenQuestion> {
        let talk = self.ledger.talk();
        if let Some(About::Question(seq)) = self.message.about {
            return talk.question(seq);
        }
        let own = self.message.by.and_then(|by| talk.questions_of(by).next());
        own.or_else(|| talk.questions().iter().rev().find(|q| q.question.about == Doubt::Same))
    }

    fn replies(&self, asked: &OpenQuestion) -> bool {
        self.message.about == Some(About::Question(asked.seq))
    }

    fn is_within(&self, asked: &OpenQuestion, span: TimeDelta) -> bool {
        self.replies(asked) || self.message.sent - asked.asked <= span
    }

    fn answer(&self, asked: &OpenQuestion) -> Option<Told> {
        let index = self.option(asked).filter(|index| *index < asked.question.options.len());
        let pressed = index.map(|index| Told::Pressed(Press::Option { question: asked.seq, index }));
        pressed.or_else(|| self.missing_amount(asked))
    }

    fn option(&self, asked: &OpenQuestion) -> Option<usize> {
        let two = asked.question.options.len() == 2;
        let other = || (two && self.is_one_of("answer-other")).then_some(1);
        self.by_label(asked)
            .or_else(|| self.same_or_another(asked))
            .or_else(|| ORDINALS.iter().position(|id| self.is_one_of(id)))
            .or_else(other)
            .or_else(|| self.by_unit(asked))
            .or_else(|| self.by_amount(asked))
            .or_else(|| self.by_words(asked).filter(|_| self.is_within(asked, A_WHILE)))
            .or_else(|| self.by_time(asked).filter(|_| self.is_within(asked, A_WHILE)))
    }

    /// The wordings are listed with a bar between them.
    fn is_one_of(&self, id: &str) -> bool {
        is_listed(&self.speaker, id, &self.said)
    }

    fn labels(&self, asked: &OpenQuestion) -> Vec<String> {
        let reading = |acts: &Vec<Act>| Choice {
            label: ChoiceLabel::of(asked.question.about, acts),
            press: Press::Option { question: asked.seq, index: 0 },
        };
        let choices: Vec<Choice> = asked.question.options.iter().map(reading).collect();
        self.speaker.buttons(&choices).into_iter().map(|(label, _)| label.to_lowercase()).collect()
    }

    fn by_label(&self, asked: &OpenQuestion) -> Option<usize> {
        self.labels(asked).iter().position(|label| !label.is_empty() && *label == self.said)
    }

    fn same_or_another(&self, asked: &OpenQuestion) -> Option<usize> {
        let same = asked.question.about == Doubt::Same;
        let found = ["answer-same", "answer-another"].iter().position(|id| self.is_one_of(id));
        found.filter(|_| same)
    }

    /// The same number is more milk in ounces than in millilitres.
    fn by_unit(&self, asked: &OpenQuestion) -> Option<usize> {
        if asked.question.about != Doubt::Unit {
            return None;
        }
        let options = asked.question.options.iter().enumerate();
        let found = if self.is_one_of("answer-oz") {
            options.max_by_key(|(_, acts)| whole(acts))
        } else if self.is_one_of("answer-ml") {
            options.min_by_key(|(_, acts)| whole(acts))
        } else {
            None
        };
        found.map(|(index, _)| index)
    }

    /// The one option of that much; a unit must be written where the unit is the question.
    fn by_amount(&self, asked: &OpenQuestion) -> Option<usize> {
        let (value, unit) = self.amount()?;
        if unit.is_none() && asked.question.about != Doubt::Amount {
            return None;
        }
        let ml = Volume::of(value, unit.unwrap_or(self.ledger.household().units));
        only(asked.question.options.iter().map(|acts| whole(acts) == ml))
    }

    /// The one option whose button says all of the words.
    fn by_words(&self, asked: &OpenQuestion) -> Option<usize> {
        let said = self.told_words();
        let says = |label: &String| {
            let label: Vec<String> = split(label);
            said.iter().all(|word| label.contains(word))
        };
        let fits: Vec<bool> = self.labels(asked).iter().map(says).collect();
        (!said.is_empty()).then(|| only(fits.into_iter())).flatten()
    }

    /// The one option that takes the milk of that time.
    fn by_time(&self, asked: &OpenQuestion) -> Option<usize> {
        let near = self.of_time()?;
        let fits = |acts: &Vec<Act>| acts.iter().any(|a| a.codes.iter().any(|code| near.contains(code)));
        only(asked.question.options.iter().map(fits))
    }

    /// The words but for those that say nothing by themselves.
    fn told_words(&self) -> Vec<String> {
        let filler = |word: &String| is_listed(&self.speaker, "answer-filler", word);
        split(&self.said).into_iter().filter(|word| !filler(word)).collect()
    }

    fn missing_amount(&self, asked: &OpenQuestion) -> Option<Told> {
        if asked.question.about != Doubt::Amount || !self.is_within(asked, JUST_NOW) {
            return None;
        }
        let (value, unit) = self.amount()?;
        Some(Told::Amount { question: asked.seq, value, unit })
    }

    /// A message that is an amount and no more.
    fn amount(&self) -> Option<(f64, Option<Unit>)> {
        let said = self.told_words().join(" ");
        let end = said.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == ',')).unwrap_or(said.len());
        let (number, unit) = said.split_at(end);
        let value: f64 = number.replace(',', ".").parse().ok().filter(|n| *n > 0.0 && *n < 10_000.0)?;
        match unit.trim() {
            "" => Some((value, None)),
            unit if is_listed(&self.speaker, "answer-oz", unit) => Some((value, Some(Unit::Oz))),
            unit if is_listed(&self.speaker, "answer-ml", unit) => Some((value, Some(Unit::Ml))),
            _ => None,
        }
    }

    /// "Since 5", "no it was 3", "hm no the power was out since 1": when the outage began, after the sender told of it or
    /// of what was found since.
    fn outage_began(&self) -> Option<Told> {
        let last = self.corrected()?;
        let lost = |said: &Said| said.facts.iter().any(|d| matches!(d.fact, Fact::Outage { .. }));
        let looks = last.facts.iter().all(|d| matches!(d.fact, Fact::Checked { .. }));
        let words = split(&self.said);
        let is = |id: &str| words.iter().any(|word| is_listed(&self.speaker, id, word));
        if !(lost(last) && (is("answer-since") || is("answer-correcting")) || looks && is("answer-since")) {
            return None;
        }
        let small =
            |word: &String| is_listed(&self.speaker, "answer-outage", word) && is("answer-correcting");
        let told: Vec<String> = self.told_words().into_iter().filter(|word| !small(word)).collect();
        let hour = |word: &String| word.parse::<u32>().is_ok_and(|hour| hour <= 24);
        let told = match told.as_slice() {
            [number] if hour(number) => format!("{number}:00"),
            words => words.join(" "),
        };
        // Since 4, as it was then: an outage that is told of has begun.
        let outage = self.ledger.newest_first().find(|said| lost(said))?;
        let context = context(self.ledger, outage.sent);
        let at = read::named_time(&told, &context).filter(|_| read::is_time(&told, &context))?.at;
        Some(Told::Began(at))
    }

    /// "No, it was 14", "the 2pm one": another container than the one of the entry replied to, or of the sender's last.
    fn other_container(&self) -> Option<Told> {
        let said = self.corrected()?;
        let old = said.acts.iter().find(|a| a.codes.len() == 1)?.codes[0];
        let there = |code: &Code| {
            let c = self.ledger.stock().get(*code);
            *code != old && c.is_some_and(Container::exists)
        };
        let replies = self.message.replies_to.is_some();
        let first = split(&self.said).into_iter().next()?;
        let correcting = replies || is_listed(&self.speaker, "answer-correcting", &first);
        let number = self.told_words().join(" ").trim_start_matches('#').parse::<Code>().ok();
        let by_number = number.filter(|_| correcting).filter(there);
        let code = by_number.or_else(|| {
            let named =
                replies || split(&self.said).iter().any(|w| is_listed(&self.speaker, "answer-one", w));
            let near = self.of_time().filter(|_| named)?;
            match near.iter().filter(|code| there(code)).collect::<Vec<_>>().as_slice() {
                [only] => Some(**only),
                _ => None,
            }
        })?;
        Some(Told::Pressed(Press::Code { entry: said.seq, code }))
    }

    /// What the buttons say that ask where milk is, or how it thaws.
    fn left_open(&self) -> Option<Told> {
        let said = self.corrected()?;
        let words = self.told_words().join(" ");
        let is = |id: &str| self.is_one_of(id) || is_listed(&self.speaker, id, &words);
        let entry = said.seq;
        said.facts.iter().find_map(|d| match &d.fact {
            Fact::Thaw { how: None, .. } => {
                let (how, _) = WAYS.into_iter().find(|(_, id)| is(id))?;
                Some(Told::Pressed(Press::How { entry, how }))
            }
            Fact::Pumped { kept, .. } | Fact::Stored { kept, .. } if kept.iter().any(|k| k.untold) => {
                let (place, _) = PLACES.into_iter().find(|(_, id)| is(id))?;
                Some(Told::Pressed(Press::Place { entry, place }))
            }
            _ => None,
        })
    }

    fn corrected(&self) -> Option<&'a Said> {
        match self.message.replies_to {
            Some(seq) => self.ledger.said(seq).filter(|s| !s.taken_back),
            None => {
                let last = self.ledger.said_by(self.message.by?).next();
                last.filter(|s| self.message.sent - s.recorded <= JUST_NOW)
            }
        }
    }

    /// The containers expressed at the time that the whole message names.
    fn of_time(&self) -> Option<Vec<Code>> {
        let words = self.told_words();
        if words.is_empty() || words.len() > 3 {
            return None;
        }
        let words = words.join(" ");
        let context = context(self.ledger, self.message.sent);
        if !read::is_time(&words, &context) {
            return None;
        }
        let named = read::named_time(&words, &context)?;
        let zone = self.ledger.household().zone;
        let moment = |at| crate::domain::rules::span::moment(at, zone);
        let from = moment(named.at)? - ROUGHLY;
        let to = named.latest.map_or_else(|| moment(named.at), moment)? + ROUGHLY;
        let near = |at: Option<Moment>| at.is_some_and(|at| from <= at && at <= to);
        let all = self.ledger.stock().existing().filter(|c| near(c.life.expressed));
        Some(all.map(|c| c.code).collect())
    }
}

fn is_listed(speaker: &Speaker, id: &str, said: &str) -> bool {
    speaker.word(id).split('|').any(|word| word.trim() == said)
}

fn split(said: &str) -> Vec<String> {
    let words = said.split(|c: char| c.is_whitespace() || "(),;".contains(c));
    words.map(|w| w.trim_matches('#').to_owned()).filter(|w| !w.is_empty()).collect()
}

/// Where exactly one is so.
fn only(fits: impl Iterator<Item = bool>) -> Option<usize> {
    let all: Vec<usize> = fits.enumerate().filter(|(_, fits)| *fits).map(|(i, _)| i).collect();
    match all.as_slice() {
        [one] => Some(*one),
        _ => None,
    }
}

fn whole(acts: &[Act]) -> Volume {
    let parts = |a: &Act| a.parts.iter().flatten().filter_map(|p| p.ml).sum::<Volume>();
    acts.iter().map(|a| a.ml.or(a.left_ml).unwrap_or_else(|| parts(a))).sum()
}
