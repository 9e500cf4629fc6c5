//! The ledger: entries as they were recorded, and what they come to. Entries are only appended; the stock is the fold of
//! the facts in force in order of (time, sequence). Appending in order folds one step further; anything about the past
//! folds anew from there, so the stock is always what it would be had it been right from the start. A copy of a ledger
//! shares what isn't changed in it.

mod away;
mod change;
mod cold;
mod course;
mod fold;
mod stock;
mod talk;

use std::collections::BTreeMap;
use std::sync::Arc;

use imbl::{HashMap, Vector};

use crate::domain::act::Code;
use crate::domain::acts::Acts;
use crate::domain::fact::{Dated, Entry, Fact, Record};
use crate::domain::household::Household;
use crate::domain::keeping::Conditions;
use crate::domain::milk::Moment;
use crate::domain::rules::{self, Rules};

use course::{Course, Spot};
use fold::Fold;
pub use fold::JUG;
pub use stock::{Container, Meal, MealKind, Session, Step, Stock, Totals};
pub use talk::{OpenQuestion, OpenReminder, Talk};

/// So many of the newest entries have their acts at hand; a correction is nearly always of one of them.
const RECENT: usize = 100;

/// What an entry says now, after all corrections.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    pub seq: i64,
    /// When it was first said, and when it was last changed.
    pub sent: Moment,
    pub recorded: Moment,
    pub by: Option<String>,
    pub message: Option<i64>,
    pub acts: Acts,
    pub facts: Vec<Dated>,
    pub taken_back: bool,
}

#[derive(Debug, Clone)]
pub struct Ledger {
    /// As it was given when the household began; settings given later are entries.
    seed: Household,
    household: Household,
    conditions: Conditions,
    rules: &'static Rules,
    said: Vector<Arc<Said>>,
    /// The last entry that each message made.
    of_message: HashMap<i64, i64>,
    talk: Talk,
    stock: Stock,
    course: Course,
    /// The dates in force that people told of containers by label.
    dates: BTreeMap<Code, Moment>,
    highest_code: Code,
    next_seq: i64,
    began: Option<Moment>,
}

impl Ledger {
    pub fn new(seed: Household) -> Ledger {
        Ledger {
            conditions: Conditions::of(&seed),
            rules: rules_of(&seed),
            household: seed.clone(),
            seed,
            said: Vector::new(),
            of_message: HashMap::new(),
            talk: Talk::default(),
            stock: Stock::default(),
            course: Course::default(),
            dates: BTreeMap::new(),
            highest_code: 0,
            next_seq: 1,
            began: None,
        }
    }

    /// All entries at once, folded a single time.
    pub fn replay(seed: Household, entries: impl IntoIterator<Item = Entry>) -> Ledger {
        let mut ledger = Ledger::new(seed);
        for entry in entries {
            ledger.take(entry);
        }
        ledger.settle();
        ledger.dates = ledger.dates_told(None);
        ledger.fold_from(None);
        ledger
    }

    pub fn append(&mut self, entry: Entry) {
        let set_something = matches!(entry.record, Record::Set { .. });
        let changed = self.take(entry);
        if set_something && self.settle() {
            // By other rules all of it comes out otherwise.
            self.fold_from(None);
        } else if let Some(first) = changed {
            if first == course::FIRST {
                self.dates = self.dates_told(None);
            }
            self.fold_from(Some(first));
        }
    }

    /// Notes an entry, without folding. The first fact that it brings, changes or takes away.
    fn take(&mut self, entry: Entry) -> Option<Spot> {
        self.next_seq = self.next_seq.max(entry.seq + 1);
        self.began.get_or_insert(entry.recorded);
        self.talk.take(&entry);
        let Entry { seq, recorded, by, message, record } = entry;
        match record {
            Record::Said { acts, facts } => {
                self.note_codes(&facts);
                let said =
                    Said { seq, sent: recorded, recorded, by, message, acts, facts, taken_back: false };
                let first = enter(&mut self.course, &said);
                self.of_message.extend(message.map(|message| (message, seq)));
                self.said.push_back(Arc::new(said));
                self.put_away_old();
                first
            }
            Record::Amended { entry, acts, facts } => {
                self.note_codes(&facts);
                self.amend(entry, |said| {
                    (said.acts, said.facts, said.recorded, said.taken_back) = (acts, facts, recorded, false);
                })
            }
            Record::TakenBack { entry } => self.amend(entry, |said| said.taken_back = true),
            Record::Set { setting, value } => {
                // A setting that an older program took and this one doesn't know leaves the household as it is.
                let _ = self.household.set(&setting, &value, &known_rules);
                None
            }
            _ => None,
        }
    }

    /// What was said long ago is seldom looked at.
    fn put_away_old(&mut self) {
        let old = self.said.len().checked_sub(RECENT).and_then(|i| self.said.get_mut(i));
        if let Some(said) = old.map(Arc::make_mut) {
            said.acts.put_away();
        }
    }

    /// Changes what an entry says: the first fact of it, as it was or as it is.
    fn amend(&mut self, entry: i64, change: impl FnOnce(&mut Said)) -> Option<Spot> {
        let i = self.said.binary_search_by_key(&entry, |s| s.seq).ok()?;
        let said = Arc::make_mut(self.said.get_mut(i)?);
        let before = if said.taken_back { None } else { leave(&mut self.course, said) };
        change(said);
        let after = if said.taken_back { None } else { enter(&mut self.course, said) };
        before.into_iter().chain(after).min()
    }

    /// Whether milk keeps by other rules or conditions than before.
    fn settle(&mut self) -> bool {
        let before = (self.conditions, self.rules.key.as_str());
        self.conditions = Conditions::of(&self.household);
        self.rules = rules_of(&self.household);
        before != (self.conditions, self.rules.key.as_str())
    }

    fn note_codes(&mut self, facts: &[Dated]) {
        let highest = facts.iter().flat_map(|f| codes_made(&f.fact)).max().unwrap_or(0);
        self.highest_code = self.highest_code.max(highest);
    }

    /// Folds what has changed from a fact on; all of it, without one.
    fn fold_from(&mut self, first: Option<Spot>) {
        let mut stock = match first {
            Some(first) if self.course.is_next(first) => std::mem::take(&mut self.stock),
            first => self.course.back_to(first),
        };
        for spot in self.course.rest() {
            self.fold_one(&mut stock, spot, &self.dates);
            stock.lay_aside(spot.0);
            self.course.folded(spot, &stock);
        }
        self.stock = stock;
    }

    /// The newest date told of each container.
    fn dates_told(&self, without: Option<i64>) -> BTreeMap<Code, Moment> {
        let mut told: Vec<(Moment, i64, Code, Moment)> = Vec::new();
        for said in self.said.iter().filter(|s| !s.taken_back && Some(s.seq) != without) {
            for dated in &said.facts {
                if let Fact::Labelled { codes, expressed: Some(expressed), .. } = &dated.fact {
                    told.extend(codes.iter().map(|code| (dated.at, said.seq, *code, *expressed)));
                }
            }
        }
        told.sort_unstable();
        told.into_iter().map(|(_, _, code, expressed)| (code, expressed)).collect()
    }

    fn fold_one(&self, stock: &mut Stock, (at, seq, nth): Spot, dates: &BTreeMap<Code, Moment>) {
        let Some(said) = self.said(seq) else { return };
        let Some(dated) = said.facts.get(nth) else { return };
        let fold = Fold {
            rules: self.rules,
            conditions: &self.conditions,
            recorded: said.recorded,
            by: said.by.as_deref(),
            dates,
            tried: false,
        };
        fold.apply(stock, at, &dated.fact);
    }

    fn fold(&self, until: Option<Moment>, without: Option<i64>) -> Stock {
        let left_out = without.and_then(|seq| self.said(seq));
        let dating = left_out.is_some_and(|said| is_dating(&said.facts));
        let first_out = left_out.and_then(|said| course::spots(said).into_iter().min());
        let (mut stock, rest) =
            self.course.before(if dating { Some(course::FIRST) } else { first_out }, until);
        let told;
        let dates = if dating {
            told = self.dates_told(without);
            &told
        } else {
            &self.dates
        };
        let until = until.unwrap_or(Moment::MAX_UTC);
        for spot in rest.take_while(|spot| spot.0 <= until).filter(|spot| Some(spot.1) != without) {
            self.fold_one(&mut stock, spot, dates);
        }
        stock
    }

    /// The stock as it was at a moment, as far as is known now; `without` leaves one entry out.
    pub fn stock_as_of(&self, at: Moment, without: Option<i64>) -> Stock {
        if without.is_none() && self.course.end().is_none_or(|end| at >= end) {
            return self.stock.clone();
        }
        self.fold(Some(at), without)
    }

    /// The stock as it would be without one entry.
    pub fn stock_without(&self, entry: Option<i64>) -> Stock {
        self.fold(None, entry)
    }

    /// Applies facts to a stock that is only looked at, as if they were recorded now.
    pub fn try_on(&self, stock: &mut Stock, facts: &[Dated], recorded: Moment, by: Option<&str>) {
        let (rules, conditions, dates) = (self.rules, &self.conditions, &self.dates);
        let fold = Fold { rules, conditions, recorded, by, dates, tried: true };
        for dated in facts {
            fold.apply(stock, dated.at, &dated.fact);
        }
    }

    pub fn stock(&self) -> &Stock {
        &self.stock
    }

    pub fn household(&self) -> &Household {
        &self.household
    }

    pub fn seed(&self) -> &Household {
        &self.seed
    }

    pub fn rules(&self) -> &'static Rules {
        self.rules
    }

    pub fn conditions(&self) -> &Conditions {
        &self.conditions
    }

    pub fn talk(&self) -> &Talk {
        &self.talk
    }

    pub fn next_seq(&self) -> i64 {
        self.next_seq
    }

    /// The highest label ever given, undone or not: none is given twice.
    pub fn highest_code(&self) -> Code {
        self.highest_code
    }

    pub fn said(&self, seq: i64) -> Option<&Said> {
        let i = self.said.binary_search_by_key(&seq, |s| s.seq).ok()?;
        self.said.get(i).map(Arc::as_ref)
    }

    /// What a message recorded.
    pub fn said_in(&self, message: i64) -> Option<&Said> {
        self.said(*self.of_message.get(&message)?)
    }

    /// The entries a person made that are in force, newest first.
    pub fn said_by<'a>(&'a self, by: &'a str) -> impl Iterator<Item = &'a Said> {
        self.newest_first().filter(move |s| s.by.as_deref() == Some(by))
    }

    /// When the household first wrote anything.
    pub fn began(&self) -> Option<Moment> {
        self.began
    }

    /// All entries in force, newest first.
    pub fn newest_first(&self) -> impl Iterator<Item = &Said> {
        self.said.iter().rev().map(Arc::as_ref).filter(|s| !s.taken_back)
    }
}

/// A date told of a container holds from the start.
fn is_dating(facts: &[Dated]) -> bool {
    facts.iter().any(|dated| matches!(dated.fact, Fact::Labelled { expressed: Some(_), .. }))
}

/// From where on the facts of an entry that counts from now on are to be folded.
fn enter(course: &mut Course, said: &Said) -> Option<Spot> {
    let first = course.enter(said);
    first.map(|first| if is_dating(&said.facts) { course::FIRST } else { first })
}

/// The same for one that counts no more.
fn leave(course: &mut Course, said: &Said) -> Option<Spot> {
    let first = course.leave(said);
    first.map(|first| if is_dating(&said.facts) { course::FIRST } else { first })
}

fn rules_of(household: &Household) -> &'static Rules {
    rules::find(&household.rules).unwrap_or_else(|| &rules::all()[0])
}

/// The labels that a fact puts on the books.
pub fn codes_made(fact: &Fact) -> Vec<Code> {
    match fact {
        Fact::Fed(feed) => feed.bottle.into_iter().collect(),
        fact => fact.kept().iter().map(|k| k.code).collect(),
    }
}

/// Whether a rule set, of families or of child care, has this key.
pub fn known_rules(key: &str) -> bool {
    rules::find(key).is_some()
}
