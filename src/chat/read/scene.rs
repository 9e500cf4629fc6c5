//! What the builders of acts share: the household's view of numbers and times, and what a clause says about which
//! containers, where, and how much. A choice that the words leave open becomes a doubt, never a guess.

use super::Context;
use super::clause::Clause;
use super::item::{Amount, Item, Kind};
use super::moment::{Moment, settle};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
use super::when::{DayName, Role, When};
use crate::domain::act::{Act, Code, Doubt, Kind as ActKind, Pick};
use crate::domain::place::{Place, Site};
use crate::domain::volume::{Unit, Volume};

/// More than this in one container is a slip of the finger.
pub const MOST_ML: f64 = 1000.0;

/// What stopped an act from being built.
pub type Built<T> = Result<T, Doubt>;

/// The volume that an amount means in this household. A bare number takes the unit written beside the others, if any.
pub fn volume(amount: Amount, written: Option<Unit>, ctx: &Context) -> Built<Volume> {
    let unit = match amount.unit.or(written) {
        Some(unit) => unit,
        None if ctx.units == Unit::Ml && amount.value >= 15.0 => Unit::Ml,
        None if ctx.units == Unit::Oz && amount.value <= 8.0 => Unit::Oz,
        None => return Err(Doubt::Unit),
    };
    let volume = Volume::of(amount.value.min(1e8), unit);
    if volume.ml() > MOST_ML { Err(Doubt::Amount) } else { Ok(volume) }
}

/// The unit written beside any amount of the clause.
pub fn written_unit(items: &[Item]) -> Option<Unit> {
    items.iter().find_map(|i| match i.kind {
        Kind::Amount(a) | Kind::Multi(_, a) => a.unit,
        _ => None,
    })
}

/// A place in a clause, with the site beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    pub at: usize,
    pub place: Place,
    pub site: Option<Site>,
}

pub fn spots(clause: &Clause) -> Vec<Spot> {
    let site = site(clause);
    let places = clause.items.iter().enumerate().filter_map(|(at, i)| {
        let named = i.place().filter(|_| !is_adjective(clause, at));
        named.or_else(|| freezes(clause, at).then_some(Place::Freezer)).map(|place| (at, place))
    });
    places.map(|(at, place)| Spot { at, place, site: site.clone() }).collect()
}

/// "froze the other 60": the verb itself tells the place, if no word after it does.
fn freezes(clause: &Clause, at: usize) -> bool {
    let verb = clause.heads.iter().any(|h| h.at == at && h.verb == Verb::Freeze && h.form != Form::Base);
    let own = clause.items[at + 1..].iter().take(6).take_while(|i| !(i.is_word() && i.has(Tag::Rest)));
    verb && !own.into_iter().any(|i| i.place().is_some())
}

/// "frozen" names a state, not a place, unless it ends what is said ("both frozen").
fn is_adjective(clause: &Clause, at: usize) -> bool {
    let next = clause.items.get(at + 1);
    // "still fridge cold"
    if next.is_some_and(|n| n.is_word() && n.has(Tag::Cold)) {
        return true;
    }
    let elsewhere = at > 0
        && matches!(clause.items[at - 1].kind, Kind::Count(_))
        && clause.items.iter().any(|i| i.place().is_some() && !i.has(Tag::Frozen));
    clause.items[at].has(Tag::Frozen) && (elsewhere || next.is_some_and(|n| n.is_word() && !n.has(Tag::And)))
}

/// "put the milk from the counter in the fridge": all of it.
pub fn names_the_milk(clause: &Clause) -> bool {
    clause
        .items
        .windows(2)
        .any(|p| p[0].is_word() && p[0].has(Tag::The) && p[1].is_word() && p[1].has(Tag::Milk))
}

/// "the fridge milk", "the room milk": the place names the milk, and is not where it goes.
pub fn is_named_by(clause: &Clause, spot: &Spot) -> bool {
    names_milk(&clause.items, spot.at)
}

fn names_milk(items: &[Item], at: usize) -> bool {
    let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::The, Tag::All, Tag::CodeArticle]);
    let milk = items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Milk));
    led && milk && items[at].place().is_some()
}

/// The place, where just one is named; two of them joined by "or" are a doubt.
pub fn place(clause: &Clause) -> Built<Option<Spot>> {
    if clause.bare(Tag::AmbiguousPlace).is_some() {
        return Err(Doubt::Place);
    }
    let all = spots(clause);
    for pair in all.windows(2) {
        if pair[0].place != pair[1].place && joined_by_or(clause, pair[0].at, pair[1].at) {
            return Err(Doubt::Place);
        }
    }
    Ok(all.into_iter().last())
}

/// Whether "or" stands between two items and little else.
pub fn joined_by_or(clause: &Clause, from: usize, to: usize) -> bool {
    to > from
        && to - from <= 4
        && clause.items[from + 1..to].iter().any(|i| i.is_word() && i.has(Tag::OrOnly))
}

/// A site other than home.
pub fn site(clause: &Clause) -> Option<Site> {
    let led = |at: usize| {
        at > 0
            && clause.items[at - 1].any(&[
                Tag::In,
                Tag::At,
                Tag::To,
                Tag::For,
                Tag::The,
                Tag::From,
                Tag::CodeArticle,
            ])
    };
    // "nursery is shut till monday", "work called"
    let subject = |at: usize| {
        let next = clause.items.get(at + 1).filter(|i| i.is_word());
        !led(at) && next.is_some_and(|i| i.unknown || i.has(Tag::Be))
    };
    let word = clause.items.iter().enumerate().find_map(|(at, i)| {
        let site = i.senses.iter().find_map(|s| match s {
            Sense::Site(SiteWord::Work) => Some(Site::Work),
            Sense::Site(SiteWord::Daycare) => Some(Site::Daycare),
            _ => None,
        })?;
        (!subject(at) && (led(at) || i.verbs().next().is_none())).then_some(site)
    });
    word.or_else(|| named_site(clause))
}

/// "my mom's freezer", "at nana's", "en casa de la abuela": somebody's place, in the words typed.
fn named_site(clause: &Clause) -> Option<Site> {
    let message = clause.message;
    for (at, item) in clause.items.iter().enumerate() {
        let owner = &message.tokens[item.to.saturating_sub(1).min(message.tokens.len() - 1)];
        let person = item.is_word() && (item.has(Tag::Person) || (item.unknown && owner.is_name()));
        let owns = item.is_word() && person && owner.typed.ends_with("'s");
        let near_place =
            clause.items[at + 1..].iter().take(2).any(|i| i.place().is_some() || i.has(Tag::House));
        let led = at > 0 && clause.items[at - 1].any(&[Tag::At, Tag::In, Tag::To, Tag::The]);
        if owns && (near_place || led) {
            return Some(Site::Named(owner.typed.clone()));
        }
        let of = at > 0 && clause.items[..at].iter().rev().take(3).any(|i| i.has(Tag::Of));
        let after = clause.items[..at].iter().rev().take(4).any(|i| i.place().is_some() || i.has(Tag::House));
        let goal = at > 0
            && clause.items[at - 1].has(Tag::To)
            && clause.tells_any(&[Verb::Take, Verb::Move, Verb::Leave]);
        if person && (of && after || goal) && item.has(Tag::Person) {
            return Some(Site::Named(message.typed(item.from, item.to)));
        }
    }
    None
}

/// Which containers a clause names.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Refs {
    pub codes: Vec<Code>,
    pub count: Option<u32>,
    pub pick: Option<Pick>,
    /// It is told what the milk is called.
    pub called: bool,
}

impl Refs {
    pub fn is_empty(&self) -> bool {
        self.codes.is_empty() && self.count.is_none() && self.pick.is_none() && !self.called
    }

    pub fn put(self, act: &mut Act) {
        act.codes = self.codes;
        act.count = self.count;
        act.pick = self.pick;
    }
}

/// What a bare number may be in a clause about containers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bare {
    /// One to six is a count, more is a label.
    Count,
    /// Always a label.
    Label,
    /// It is an amount, or nothing.
    Never,
}

/// The containers that some of the clause's items name.
pub fn refs(clause: &Clause, items: &[Item], bare: Bare) -> Built<Refs> {
    let mut refs = Refs::default();
    let mut previous: Option<usize> = None;
    // "don't touch 5 or 6" means both
    let both = clause.has(Tag::DoNotUse);
    for (at, item) in items.iter().enumerate() {
        match &item.kind {
            Kind::Codes(codes) => {
                if !both && previous.is_some_and(|p| either_or(items, p, at)) {
                    return Err(Doubt::Which);
                }
                refs.codes.extend(codes);
                previous = Some(at);
            }
            Kind::Amount(amount)
                if !both && amount.whole().is_some() && either_label(items, previous, at, bare) =>
            {
                return Err(Doubt::Which);
            }
            Kind::List(codes, _) if bare != Bare::Never => refs.codes.extend(codes),
            Kind::Count(count) | Kind::Multi(count, _)
                if clause.tells(Verb::Send) || !is_own_container(items, at) =>
            {
                refs.count = refs.count.or(Some(*count))
            }
            Kind::Amount(amount)
                if bare != Bare::Never && !is_foreign(items, at) && !is_how_often(items, at) =>
            {
                if let Some(number) = amount.whole() {
                    let oldest = items.iter().any(|i| i.any(&[Tag::Oldest, Tag::Newest]));
                    if bare == Bare::Count && (number <= 6 || oldest) {
                        refs.count = refs.count.or(Some(number))
                    } else {
                        refs.codes.push(number)
                    }
                }
            }
            Kind::Word if item.has(Tag::One) && counts_one(items, at) => refs.count = refs.count.or(Some(1)),
            _ => {}
        }
    }
    refs.pick = pick(clause, items);
    if matches!(refs.pick, Some(Pick::Phrase(_))) && refs.count.is_none() && names_one(items) {
        refs.count = Some(1);
    }
    refs.called = calls_milk(items);
    refs.codes.dedup();
    // "finished all but 1 oz": so much is left
    let rest = |pair: &[Item]| {
        pair[0].has(Tag::Except) && pair[1].amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0)
    };
    let rest = items.windows(2).any(rest);
    // "tomó todo menos 20" is what was left
    let left =
        |at: usize| items[at].has(Tag::LeftOver) && items.get(at + 1).is_some_and(|i| i.amount().is_some());
    if !rest && (0..items.len()).any(|at| items[at].is_word() && items[at].has(Tag::Except) && !left(at)) {
        return Err(Doubt::Which);
    }
    if !refs.codes.is_empty() {
        refs.count = None;
        refs.pick = refs.pick.filter(|p| !matches!(p, Pick::All | Pick::Rest | Pick::Last));
    }
    Ok(refs)
}

/// "la metí dos veces".
fn is_how_often(items: &[Item], at: usize) -> bool {
    items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Repeat))
}

/// "the one from yesterday", "the 2pm bottle": one container, and not "monday's" or "the ones from monday".
fn names_one(items: &[Item]) -> bool {
    let Some(at) = items.iter().position(|i| i.when().is_some_and(|w| w.role == Role::Names)) else {
        return false;
    };
    let one =
        |i: &Item| i.is_word() && i.any(&[Tag::One, Tag::Bottle, Tag::Container]) && !i.has(Tag::Plural);
    items[at.saturating_sub(3)..].iter().take(5).any(one)
}

/// "the dairy-free ones", "the colostrum": milk by what it is called.
fn calls_milk(items: &[Item]) -> bool {
    let noun = |i: &Item| i.is_word() && i.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]);
    let beside = |at: usize| {
        let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::The, Tag::CodeArticle]);
        led || noun(&items[at]) || items.get(at + 1).is_some_and(noun)
    };
    (0..items.len()).any(|at| items[at].has(Tag::Called) && beside(at))
}

/// "bag 5 or 6", "thawed 14 or 15".
fn either_label(items: &[Item], previous: Option<usize>, at: usize, bare: Bare) -> bool {
    let or = at >= 2 && items[at - 1].is_word() && items[at - 1].has(Tag::OrOnly);
    let number = bare != Bare::Never
        && at >= 2
        && items[at - 2].amount().is_some_and(|a| a.whole().is_some_and(|n| n > 6));
    or && (previous == Some(at - 2) || number)
}

fn either_or(items: &[Item], from: usize, to: usize) -> bool {
    items[from + 1..to].iter().any(|i| i.is_word() && i.has(Tag::OrOnly))
}

/// A container that something is poured or put into is not one that is meant.
fn is_own_container(items: &[Item], at: usize) -> bool {
    at > 0 && items[at - 1].any(&[Tag::Into])
}

/// A number beside a word nobody knows counts something else.
pub fn is_foreign(items: &[Item], at: usize) -> bool {
    let bare = items[at].amount().is_some_and(|a| a.unit.is_none());
    let after = items.get(at + 1).is_some_and(|i| {
        i.unknown
            || (i.is_word()
                && i.any(&[Tag::Event, Tag::OtherThing, Tag::Pet])
                && !i.any(&[Tag::Milk, Tag::Bottle]))
    });
    let before = at > 0 && items[at - 1].unknown && !items[at - 1].initial;
    bare && (after || before)
}

/// "thawed one", but not "the cold one" or "this one".
fn counts_one(items: &[Item], at: usize) -> bool {
    // "took one sip", "tomó una siesta"
    let thing = |i: &Item| i.is_word() && (i.unknown || i.any(&[Tag::Event, Tag::OtherThing]));
    if items.get(at + 1).is_some_and(thing) {
        return false;
    }
    let Some(before) = at.checked_sub(1).map(|n| &items[n]) else { return true };
    let verb = before.verbs().next().is_some();
    verb || before.any(&[Tag::And, Tag::Just, Tag::Another]) || matches!(before.kind, Kind::Sign(_))
}

fn pick(clause: &Clause, items: &[Item]) -> Option<Pick> {
    let word = |tag: Tag| items.iter().any(|i| i.is_word() && i.has(tag));
    if word(Tag::Oldest) {
        return Some(Pick::Oldest);
    }
    if word(Tag::Newest) {
        return Some(Pick::Newest);
    }
    if let Some(at) = items.iter().position(|i| i.when().is_some_and(|w| w.role == Role::Names)) {
        return Some(Pick::Phrase(phrase(clause, items, at)));
    }
    let since = items.iter().position(|i| i.when().is_some_and(|w| w.role == Role::Since));
    if let Some(at) = since.filter(|_| word(Tag::All) || clause.has(Tag::Anything)) {
        return Some(Pick::Phrase(clause.message.typed(items[at].from, items[at].to)));
    }
    let last = items.windows(2).any(|two| {
        two[0].is_word()
            && two[0].has(Tag::Last)
            && two[1].is_word()
            && two[1].any(&[Tag::One, Tag::Bottle, Tag::Container])
    });
    match () {
        () if last => Some(Pick::Last),
        () if word(Tag::Rest) && !onto_the_rest(items) => Some(Pick::Rest),
        () if ends_with_it(clause, items) => Some(Pick::Last),
        () if word(Tag::All) || (0..items.len()).any(|at| names_milk(items, at)) => Some(Pick::All),
        () if word(Tag::It) => Some(Pick::Last),
        () => None,
    }
}

/// "spilled it all": the whole of one, and not all there is.
fn ends_with_it(clause: &Clause, items: &[Item]) -> bool {
    items.windows(2).any(|pair| {
        let all = pair[1].is_word() && pair[1].has(Tag::All) && pair[1].to - pair[1].from == 1;
        let it = pair[0].is_word() && pair[0].to - pair[0].from > 1;
        all && it && clause.message.marks[pair[0].to - 1].iter().any(|(tag, _)| *tag == Tag::It)
    })
}

/// "leaked on the others": not they themselves.
fn onto_the_rest(items: &[Item]) -> bool {
    items.windows(2).any(|pair| pair[0].is_word() && pair[0].has(Tag::On) && pair[1].has(Tag::Rest))
}

/// The words that name milk by its time, as typed: "the 2pm one", "the one from this morning".
fn phrase(clause: &Clause, items: &[Item], at: usize) -> String {
    let belongs = |i: &Item| {
        i.is_word()
            && i.any(&[
                Tag::The,
                Tag::One,
                Tag::From,
                Tag::Of,
                Tag::OfAt,
                Tag::CodeArticle,
                Tag::Milk,
                Tag::Container,
                Tag::Bottle,
            ])
    };
    let before = items[..at].iter().rev().take_while(|i| belongs(i)).count();
    let after = items[at + 1..].iter().take_while(|i| belongs(i)).count();
    clause.message.typed(items[at - before].from, items[at + after].to)
}

/// When it happened, as the clause tells it: its day, part of a day and clock time taken together.
pub fn moment(items: &[Item], ctx: &Context, names_too: bool) -> Built<Option<Moment>> {
    let told = |w: &When| w.role == Role::At || (names_too && w.role == Role::Names);
    let any = items.iter().filter_map(Item::when).any(told);
    // "On the counter since 7": expressed by then at the latest, where nothing else is told.
    let fits = |w: &&When| told(w) || (names_too && !any && w.role == Role::Since);
    let mut all = items.iter().filter_map(Item::when).filter(fits).copied();
    let Some(first) = all.next() else {
        return if names_too && before_an_hour(items) { Err(Doubt::Time) } else { Ok(None) };
    };
    let whole = all.fold(first, When::and);
    if matches!(whole.day, Some(DayName::Either(..))) {
        return Err(Doubt::Time);
    }
    let moment = settle(&whole, ctx.sent, ctx.zone);
    // "31 February" never was: as of when it was sent would be a guess.
    if moment.is_none() && matches!(whole.day, Some(DayName::Date(..))) {
        return Err(Doubt::Time);
    }
    Ok(moment)
}

/// "pumped 120 before 6": as of when it was sent would be later than it was.
fn before_an_hour(items: &[Item]) -> bool {
    let hour = |i: &Item| i.when().is_some_and(|w| w.role == Role::Beside && w.clock.is_some());
    let at = items.iter().position(hour);
    at.is_some_and(|at| items.get(at + 1).is_none_or(|i| !i.is_word() || i.place().is_some()))
}

/// Sets when an act happened: as told, else when it was sent.
pub fn timed(act: &mut Act, moment: Option<Moment>, ctx: &Context) {
    act.timed = moment.is_some();
    act.at = Some(moment.map_or(ctx.sent, |m| m.at));
    act.at_latest = moment.and_then(|m| m.latest);
}

/// An act of this kind at the time the clause tells.
pub fn act(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Act> {
    let mut act = Act::new(kind);
    timed(&mut act, moment(&clause.items, ctx, false)?, ctx);
    Ok(act)
}
