//! A message being recorded: the facts so far, the stock as it would be with them, and what will be said of them.

use std::iter;

use chrono::{NaiveDateTime, TimeDelta};

use crate::domain::act::{Act, Code, Doubt, Kind, Pick, Topic};
use crate::domain::answer::{Answer, Asked, Choice, ChoiceLabel, Piece, Press};
use crate::domain::fact::{Dated, Fact, Kept, Record};
use crate::domain::ledger::{Container, Ledger, Stock, codes_made};
use crate::domain::milk::{Gone, Moment};
use crate::domain::rules::span;

use super::{Changes, Decision, Message, aside, choose, correct};

#[derive(Clone)]
pub struct Draft<'a> {
    pub ledger: &'a Ledger,
    pub message: &'a Message<'a>,
    /// The stock as it is with the facts so far, without the entry that is amended.
    pub stock: Stock,
    amends: Option<i64>,
    facts: Vec<Dated>,
    acts: Vec<Act>,
    made: Vec<Code>,
    /// The containers that its question named.
    asked_of: Vec<Code>,
    pub pieces: Vec<Piece>,
    pub buttons: Vec<Choice>,
    /// Labels of the amended entry, to be given again.
    spare: Vec<Code>,
    highest: Code,
    /// Labels that were named beside others and are on no books, or gone: the rest of the message stands without them.
    left_out: Vec<(Code, Option<Gone>)>,
    /// Something can't be recorded; then nothing of the message is.
    pub stuck: bool,
    /// What must be asked before anything of the message is recorded, and what each answer makes of the act in hand.
    pub question: Option<(Doubt, Vec<Act>)>,
}

/// Why an act can't be recorded as it stands.
#[derive(Debug, Clone, PartialEq)]
pub enum Trouble {
    Say(Piece),
    /// A choice that matters, with what each answer makes of the act.
    Ask(Doubt, Vec<Act>),
}

impl From<Piece> for Trouble {
    fn from(piece: Piece) -> Trouble {
        Trouble::Say(piece)
    }
}

impl<'a> Draft<'a> {
    pub fn new(ledger: &'a Ledger, message: &'a Message<'a>, amends: Option<i64>) -> Draft<'a> {
        let spare = amends
            .and_then(|seq| ledger.said(seq))
            .map(|said| said.facts.iter().flat_map(|d| codes_made(&d.fact)).collect())
            .unwrap_or_default();
        Draft {
            ledger,
            message,
            stock: match amends {
                Some(_) => ledger.stock_without(amends),
                None => ledger.stock().clone(),
            },
            amends,
            facts: Vec::new(),
            acts: Vec::new(),
            made: Vec::new(),
            asked_of: Vec::new(),
            pieces: Vec::new(),
            buttons: Vec::new(),
            spare,
            highest: ledger.highest_code(),
            left_out: Vec::new(),
            stuck: false,
            question: None,
        }
    }

    /// The entry that this message makes or amends.
    pub fn entry(&self) -> i64 {
        self.amends.unwrap_or_else(|| self.ledger.next_seq())
    }

    /// A container as the amended entry put it on the books.
    pub fn amended(&self, code: Code) -> Option<&'a Kept> {
        let said = self.ledger.said(self.amends?)?;
        said.facts.iter().flat_map(|d| d.fact.kept()).find(|k| k.code == code)
    }

    /// When an act happened. An untimed one happened when the message was sent, to the second.
    pub fn at(&self, act: &Act) -> Moment {
        at(self.ledger, self.message, act)
    }

    /// Which milk there was when it happened: for choosing, a late entry looks at the stock of then.
    pub fn stock_at(&self, at: Moment) -> Stock {
        if at >= self.message.sent || !self.facts.is_empty() {
            self.stock.clone()
        } else {
            self.ledger.stock_as_of(at, self.amends)
        }
    }

    /// A label: the wanted one if it is free, one of the amended entry's, or the next that nobody ever had.
    pub fn label(&mut self, wanted: Option<Code>) -> Code {
        if let Some(code) = wanted {
            let free = self.stock.get(code).is_none() && !self.made.contains(&code);
            if free && code > 0 {
                self.spare.retain(|c| *c != code);
                return self.take(code);
            }
            let given = self.next_label();
            self.pieces.push(Piece::LabelTaken { wanted: code, given });
            return given;
        }
        if self.spare.is_empty() {
            self.next_label()
        } else {
            let code = self.spare.remove(0);
            self.take(code)
        }
    }

    fn next_label(&mut self) -> Code {
        self.take(self.highest + 1)
    }

    fn take(&mut self, code: Code) -> Code {
        self.highest = self.highest.max(code);
        self.made.push(code);
        code
    }

    /// Notes a fact and lets the stock follow.
    pub fn note(&mut self, at: Moment, fact: Fact) {
        let dated = Dated { at, fact };
        self.ledger.try_on(&mut self.stock, std::slice::from_ref(&dated), self.message.sent, self.message.by);
        self.facts.push(dated);
    }

    pub fn heard(&mut self, act: Act) {
        self.acts.push(act);
    }

    /// The last act before this one in the message that was about containers.
    pub fn last_act(&self) -> Option<&Act> {
        self.acts.iter().rev().find(|a| !spoken_of(a).is_empty())
    }

    /// The containers that "it" means after that act.
    pub fn last_codes(&self) -> Vec<Code> {
        self.last_act().map(spoken_of).unwrap_or_default()
    }

    /// The bottle that the last feed of this message was poured into, where the rest of the container never was in it.
    pub fn bottle(&self) -> Option<Code> {
        self.facts.iter().rev().find_map(|d| match &d.fact {
            Fact::Fed(feed) => Some(feed.bottle),
            _ => None,
        })?
    }

    pub fn say(&mut self, piece: Piece) {
        self.pieces.push(piece);
    }

    /// Labels that the message is recorded without.
    pub fn leave_out(&mut self, codes: Vec<(Code, Option<Gone>)>) {
        let new = codes.into_iter().filter(|c| !self.left_out.contains(c)).collect::<Vec<_>>();
        self.left_out.extend(new);
    }

    /// The draft as it was before an act whose labels are all wrong, where the rest of the message can stand without it:
    /// where none of the others leaves to this one what it is about.
    pub fn without<'o>(
        mut self,
        act: &Act,
        trouble: &[Piece],
        mut others: impl Iterator<Item = &'o Act>,
    ) -> Option<Draft<'a>> {
        let wrong_labels = matches!(trouble, [Piece::NoSuch { .. } | Piece::AlreadyGone { .. }]);
        let mut any = false;
        let stand = others.all(|a| {
            any |= a.kind != Kind::Ask;
            !a.codes.is_empty() || matches!(a.kind, Kind::Pump | Kind::Store | Kind::Nurse | Kind::Formula)
        });
        let codes = act.codes.iter().map(|code| (*code, self.stock.get(*code).and_then(|c| c.gone)));
        let codes = codes.collect();
        self.leave_out(codes);
        (wrong_labels && stand && any).then_some(self)
    }

    pub fn trouble(&mut self, trouble: Trouble) {
        match trouble {
            Trouble::Say(piece) => self.stick(piece),
            Trouble::Ask(about, options) => {
                self.stick(Piece::Ask { about });
                self.question = Some((about, options));
            }
        }
    }

    /// Nothing of the message is recorded; this says why.
    pub fn stick(&mut self, piece: Piece) {
        self.facts.clear();
        self.made.clear();
        self.buttons.clear();
        self.pieces = vec![piece];
        self.stuck = true;
    }

    /// The bot chose the container itself: one tap offers the others, if there are any.
    pub fn offer_others(&mut self, chosen: &[Code]) {
        let other = |c: &Container| super::reply::is_choice(c, false) && !chosen.contains(&c.code);
        if chosen.len() == 1 && self.stock.current().any(other) {
            let entry = self.entry();
            self.buttons.push(Choice { label: ChoiceLabel::Other, press: Press::Other { entry } });
        }
    }

    pub fn answer(&mut self, mut act: Act) {
        if self.asks_of_what_was_told(&act) {
            // "#1 was out since 5, still good?" isn't answered with all the rules there are.
            (act.topic, act.codes) = (Some(Topic::Status), self.last_codes());
        }
        if act.topic == Some(Topic::Why)
            && act.codes.is_empty()
            && let Some(outage) = self.outage_spoken_of()
        {
            self.say(outage);
            return self.heard(act);
        }
        let meant = act.pick == Some(Pick::Last) || act.topic == Some(Topic::Why);
        let codes = match &act.codes {
            codes if codes.is_empty() && meant => {
                choose::just_spoken_of(self, &self.stock).unwrap_or_default()
            }
            codes if codes.is_empty() && act.pick.is_some() => self.last_codes(),
            codes if codes.is_empty() && act.topic == Some(Topic::Status) => self.called(&act.tags),
            codes => codes.clone(),
        };
        if let ([code], Some(Topic::Status)) = (codes.as_slice(), act.topic)
            && self.is_there(*code)
        {
            self.buttons.push(Choice { label: ChoiceLabel::Why, press: Press::Why { code: *code } });
        }
        self.asked_of.clone_from(&codes);
        self.say(Piece::Topic {
            topic: act.topic.unwrap_or(Topic::Help),
            codes,
            pick: act.pick.clone(),
            place: act.place,
            ml: act.ml,
            rule: act.rule,
            asked: Box::new(Asked {
                site: act.site.clone(),
                child: act.child.clone(),
                person: act.person.clone(),
                tags: act.tags.clone(),
            }),
        });
        self.heard(act);
    }

    /// A rule that names neither a place nor a kind of milk is asked of the containers that the message told of.
    fn asks_of_what_was_told(&self, act: &Act) -> bool {
        let rule = act.topic == Some(Topic::Rule) && act.rule.is_none() && act.place.is_none();
        rule && act.codes.is_empty() && self.last_codes().iter().any(|code| self.is_there(*code))
    }

    /// What the sender told of last was an outage: "why?" means what is said of that.
    fn outage_spoken_of(&self) -> Option<Piece> {
        let last = self.ledger.said_by(self.message.by?).next()?;
        let spoken = choose::just_spoken_of(self, &self.stock).is_none();
        last.facts.iter().filter(|_| spoken).find_map(|d| aside::told_outage(&self.stock, &d.fact))
    }

    fn is_there(&self, code: Code) -> bool {
        self.stock.get(code).is_some_and(|c| c.exists() && !c.ml.is_zero())
    }

    /// All that is there and called so.
    fn called(&self, tags: &[String]) -> Vec<Code> {
        let called = |c: &&Container| !tags.is_empty() && tags.iter().all(|tag| c.marks.tags.contains(tag));
        self.stock.existing().filter(called).map(|c| c.code).collect()
    }

    /// The containers that it asks about, and those that are gone, of which nothing is noted.
    fn spoken_of(&mut self) -> impl Iterator<Item = Record> + use<> {
        let mut gone: Vec<Code> =
            self.left_out.iter().filter(|(_, gone)| gone.is_some()).map(|(code, _)| *code).collect();
        if let [Piece::AlreadyGone { code, .. }] = self.pieces[..] {
            gone.push(code);
        }
        let asked = std::mem::take(&mut self.asked_of);
        let both = [(asked, false), (gone, true)].into_iter().filter(|(codes, _)| !codes.is_empty());
        both.map(|(codes, refused)| Record::Spoke { codes, refused })
    }

    pub fn finish(mut self) -> Decision {
        let spoke = self.spoken_of();
        if self.facts.is_empty() {
            let taken_back = self.amends.filter(|_| !self.stuck).map(|entry| Record::TakenBack { entry });
            return Decision {
                records: taken_back.into_iter().chain(spoke).collect(),
                answer: Answer { pieces: self.pieces, buttons: self.buttons },
                acts: self.acts,
                ..Decision::default()
            };
        }
        let put: Vec<Code> = self.facts.iter().flat_map(|d| put_by(&d.fact)).collect();
        self.pieces.extend(aside::cold_not_back(&self.stock, &put));
        if !self.left_out.is_empty() {
            let codes = std::mem::take(&mut self.left_out);
            self.say(Piece::LeftOut { codes });
        }
        let entry = self.entry();
        self.buttons.push(Choice { label: ChoiceLabel::Undo, press: Press::Undo { entry } });
        let recorded: Vec<Act> = self.acts.iter().filter(|a| a.kind != Kind::Ask).cloned().collect();
        let record = match self.amends {
            Some(entry) => {
                self.pieces.insert(0, Piece::Corrected);
                self.pieces.extend(correct::before(self.ledger, entry, &recorded));
                Record::Amended { entry, acts: recorded.into(), facts: self.facts }
            }
            None => Record::Said { acts: recorded.into(), facts: self.facts },
        };
        Decision {
            records: iter::once(record).chain(spoke).collect(),
            answer: Answer { pieces: self.pieces, buttons: self.buttons },
            acts: self.acts,
            made: self.made,
            changes: self.amends.map(Changes::Receipt),
            on_behalf: None,
        }
    }
}

/// What an act made or what milk was poured into by it; else the containers that it named.
fn spoken_of(act: &Act) -> Vec<Code> {
    let made: Vec<Code> = act.parts.iter().flatten().filter_map(|p| p.code).collect();
    match act.into {
        Some(into) => vec![into],
        None if !made.is_empty() => made,
        None => act.codes.clone(),
    }
}

/// The containers that a fact puts somewhere.
fn put_by(fact: &Fact) -> Vec<Code> {
    match fact {
        Fact::Moved { codes, .. } | Fact::Thaw { codes, .. } | Fact::Returned { codes, .. } => codes.clone(),
        fact => codes_made(fact),
    }
}

/// When an act happened. An untimed one happened when the message was sent, to the second.
pub fn at(ledger: &Ledger, message: &Message, act: &Act) -> Moment {
    let sent = message.sent.with_timezone(&ledger.household().zone).naive_local();
    let as_sent = |at: NaiveDateTime| sent.signed_duration_since(at).abs() < TimeDelta::minutes(1);
    match act.at {
        Some(at) if act.timed || !as_sent(at) => moment(ledger, at),
        _ => message.sent,
    }
}

/// The instant of a civil time: one that comes twice is the earlier, one that is skipped the first after the gap.
pub fn moment(ledger: &Ledger, civil: NaiveDateTime) -> Moment {
    span::moment(civil, ledger.household().zone).unwrap_or_default()
}
