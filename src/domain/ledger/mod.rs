//! The ledger: entries as they were recorded, and what they come to. Entries are only appended; the stock is the fold of
//! the facts in force in order of (time, sequence). Appending in order folds one step further; anything about the past
//! folds anew, so the stock is always what it would be had it been right from the start.

mod change;
mod fold;
mod stock;
mod talk;

use std::collections::BTreeMap;

use crate::domain::act::{Act, Code};
use crate::domain::fact::{Dated, Entry, Fact, Record};
use crate::domain::household::Household;
use crate::domain::keeping::Conditions;
use crate::domain::milk::Moment;
use crate::domain::rules::{self, Rules};

use fold::Fold;
pub use fold::JUG;
pub use stock::{Container, Meal, MealKind, Session, Step, Stock, Totals};
pub use talk::{OpenQuestion, OpenReminder, Talk};

/// What an entry says now, after all corrections.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    pub seq: i64,
    /// When it was first said, and when it was last changed.
    pub sent: Moment,
    pub recorded: Moment,
    pub by: Option<String>,
    pub message: Option<i64>,
    pub acts: Vec<Act>,
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
    said: Vec<Said>,
    talk: Talk,
    stock: Stock,
    folded_to: Moment,
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
            said: Vec::new(),
            talk: Talk::default(),
            stock: Stock::default(),
            folded_to: Moment::MIN_UTC,
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
        ledger.fold_anew();
        ledger
    }

    pub fn append(&mut self, entry: Entry) {
        let facts_in_order = match &entry.record {
            Record::Said { facts, .. } => self.in_order(facts),
            Record::Amended { .. } | Record::TakenBack { .. } | Record::Set { .. } => false,
            _ => true,
        };
        let said_something = matches!(entry.record, Record::Said { .. });
        let set_something = matches!(entry.record, Record::Set { .. });
        self.take(entry);
        if set_something {
            self.settle();
        }
        if !facts_in_order {
            self.fold_anew();
        } else if said_something {
            self.fold_last();
        }
    }

    /// Notes an entry, without folding.
    fn take(&mut self, entry: Entry) {
        self.next_seq = self.next_seq.max(entry.seq + 1);
        self.began.get_or_insert(entry.recorded);
        self.talk.take(&entry);
        let Entry { seq, recorded, by, message, record } = entry;
        match record {
            Record::Said { acts, facts } => {
                self.note_codes(&facts);
                let sent = recorded;
                self.said.push(Said { seq, sent, recorded, by, message, acts, facts, taken_back: false });
            }
            Record::Amended { entry, acts, facts } => {
                self.note_codes(&facts);
                if let Some(said) = self.said_mut(entry) {
                    (said.acts, said.facts, said.recorded, said.taken_back) = (acts, facts, recorded, false);
                }
            }
            Record::TakenBack { entry } => {
                if let Some(said) = self.said_mut(entry) {
                    said.taken_back = true;
                }
            }
            Record::Set { setting, value } => {
                // A setting that an older program took and this one doesn't know leaves the household as it is.
                let _ = self.household.set(&setting, &value, &known_rules);
            }
            _ => {}
        }
    }

    fn settle(&mut self) {
        self.conditions = Conditions::of(&self.household);
        self.rules = rules_of(&self.household);
    }

    fn note_codes(&mut self, facts: &[Dated]) {
        let highest = facts.iter().flat_map(|f| codes_made(&f.fact)).max().unwrap_or(0);
        self.highest_code = self.highest_code.max(highest);
    }

    fn said_mut(&mut self, seq: i64) -> Option<&mut Said> {
        let i = self.said.binary_search_by_key(&seq, |s| s.seq).ok()?;
        self.said.get_mut(i)
    }

    fn in_order(&self, facts: &[Dated]) -> bool {
        let mut last = self.folded_to;
        facts.iter().all(|f| {
            // A date holds from the start.
            let dated = matches!(f.fact, Fact::Labelled { expressed: Some(_), .. });
            let fits = f.at >= last && !dated;
            last = f.at;
            fits
        })
    }

    fn fold_last(&mut self) {
        let Some(said) = self.said.last() else { return };
        let fold = Fold {
            rules: self.rules,
            conditions: &self.conditions,
            recorded: said.recorded,
            by: said.by.as_deref(),
            dates: &self.dates,
        };
        for dated in &said.facts {
            fold.apply(&mut self.stock, dated.at, &dated.fact);
            self.folded_to = self.folded_to.max(dated.at);
        }
    }

    fn fold_anew(&mut self) {
        self.folded_to = self.in_force(None).map(|(d, _)| d.at).max().unwrap_or(Moment::MIN_UTC);
        self.dates = self.dates_told(None);
        self.stock = self.fold(None, None);
    }

    /// The newest date told of each container.
    fn dates_told(&self, without: Option<i64>) -> BTreeMap<Code, Moment> {
        let mut told: Vec<(Moment, i64, Code, Moment)> = Vec::new();
        for (dated, said) in self.in_force(without) {
            if let Fact::Labelled { codes, expressed: Some(expressed), .. } = &dated.fact {
                told.extend(codes.iter().map(|code| (dated.at, said.seq, *code, *expressed)));
            }
        }
        told.sort_unstable();
        told.into_iter().map(|(_, _, code, expressed)| (code, expressed)).collect()
    }

    fn in_force(&self, without: Option<i64>) -> impl Iterator<Item = (&Dated, &Said)> {
        let there = self.said.iter().filter(move |s| !s.taken_back && Some(s.seq) != without);
        there.flat_map(|s| s.facts.iter().map(move |f| (f, s)))
    }

    fn fold(&self, until: Option<Moment>, without: Option<i64>) -> Stock {
        let mut facts: Vec<(&Dated, &Said)> =
            self.in_force(without).filter(|(d, _)| until.is_none_or(|until| d.at <= until)).collect();
        facts.sort_by_key(|(dated, said)| (dated.at, said.seq));
        let dates = self.dates_told(without);
        let mut stock = Stock::default();
        for (dated, said) in facts {
            let fold = Fold {
                rules: self.rules,
                conditions: &self.conditions,
                recorded: said.recorded,
                by: said.by.as_deref(),
                dates: &dates,
            };
            fold.apply(&mut stock, dated.at, &dated.fact);
        }
        stock
    }

    /// The stock as it was at a moment, as far as is known now; `without` leaves one entry out.
    pub fn stock_as_of(&self, at: Moment, without: Option<i64>) -> Stock {
        if without.is_none() && at >= self.folded_to {
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
        let fold = Fold { rules: self.rules, conditions: &self.conditions, recorded, by, dates: &self.dates };
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
        self.said.get(i)
    }

    /// What a message recorded.
    pub fn said_in(&self, message: i64) -> Option<&Said> {
        self.said.iter().rev().find(|s| s.message == Some(message))
    }

    /// The entries a person made that are in force, newest first.
    pub fn said_by<'a>(&'a self, by: &'a str) -> impl Iterator<Item = &'a Said> {
        self.said.iter().rev().filter(move |s| !s.taken_back && s.by.as_deref() == Some(by))
    }

    /// When the household first wrote anything.
    pub fn began(&self) -> Option<Moment> {
        self.began
    }

    /// All entries in force, newest first.
    pub fn newest_first(&self) -> impl Iterator<Item = &Said> {
        self.said.iter().rev().filter(|s| !s.taken_back)
    }
}

fn rules_of(household: &Household) -> &'static Rules {
    rules::find(&household.rules).unwrap_or_else(|| &rules::all()[0])
}

/// The labels that a fact puts on the books.
pub fn codes_made(fact: &Fact) -> Vec<Code> {
    match fact {
        Fact::Pumped { kept, .. } | Fact::Stored { kept, .. } | Fact::Split { kept, .. } => {
            kept.iter().map(|k| k.code).collect()
        }
        Fact::Fed(feed) => feed.bottle.into_iter().collect(),
        _ => Vec::new(),
    }
}

/// Whether a rule set, of families or of child care, has this key.
pub fn known_rules(key: &str) -> bool {
    rules::find(key).is_some()
}
