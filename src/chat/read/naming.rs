//! What milk is called and whose it is ("dairy-free", "Ana's #3", "she pumped 130"), and labels of which no more is told than
//! that or a date ("bag 4 is from tuesday"). A name is kept as typed; who that is, is not for the reader.

use super::Context;
use super::children;
use super::clause::{Clause, Head};
use super::item::{Item, Kind};
use super::scene::{Built, moment};
use super::senses::{Form, Tag, Verb};
use super::when::Role;
use crate::domain::act::{Act, Change, Code, Kind as ActKind};

/// What stands for milk beside a name.
const MILK: [Tag; 5] = [Tag::Milk, Tag::Container, Tag::Bottle, Tag::One, Tag::Called];

/// Sets what the clause calls the milk and whose it says it is.
pub fn put(acts: &mut [Act], clause: &Clause) {
    let (tags, owner, child) = (called(clause), owner(clause), children::child(clause));
    for act in acts {
        act.tags.clone_from(&tags);
        let doer = matches!(act.kind, ActKind::Pump | ActKind::Feed).then(|| doer(clause)).flatten();
        act.person = owner.clone().or(doer);
        if matches!(act.kind, ActKind::Feed | ActKind::Nurse | ActKind::Formula) {
            act.child = act.child.take().or_else(|| child.clone());
            // "Zoe's bottles": a child that drank gave nothing and owns no milk
            act.person = act.person.take().filter(|p| act.child.as_ref() != Some(p));
        }
        if act.child.is_none() && matches!(act.kind, ActKind::Pump | ActKind::Store | ActKind::Correct) {
            act.child = for_whom(clause);
        }
        if act.kind == ActKind::Pump && act.parts.is_some() && clause.has(Tag::Undated) {
            // Milk of which nobody knows the age was not expressed just now.
            (act.kind, act.ml, act.at, act.at_latest, act.timed) = (ActKind::Store, None, None, None, false);
        }
    }
}

/// "for Lio": a name after "for".
fn for_whom(clause: &Clause) -> Option<String> {
    let whom = clause.items.windows(2).find(|w| w[0].has(Tag::For) && is_name(clause, &w[1]))?;
    Some(clause.message.typed(whom[1].from, whom[1].to))
}

/// A word with a capital that nobody knows.
fn is_name(clause: &Clause, item: &Item) -> bool {
    let token = &clause.message.tokens[item.from];
    item.is_word()
        && item.unknown
        && token.is_name()
        && token.typed.chars().count() > 1
        && item.to - item.from == 1
}

/// The names that the clause has for milk.
pub fn called(clause: &Clause) -> Vec<String> {
    let within = |at: usize| clause.spans.iter().any(|(from, to)| (*from..*to).contains(&at));
    let mut all: Vec<String> = Vec::new();
    for (_, name) in clause.message.called.iter().filter(|(at, _)| within(*at)) {
        if !all.iter().any(|known| known == name) {
            all.push(name.to_string());
        }
    }
    all
}

/// "Ana pumped", "grandma gave", "she pumped": whoever stands before the verb, if it isn't the one who writes.
fn doer(clause: &Clause) -> Option<String> {
    let acts = |h: &&Head| matches!(h.verb, Verb::Pump | Verb::Get | Verb::Feed | Verb::Give);
    let head = clause.heads.iter().find(|h| acts(h) && h.form == Form::Done)?;
    let before = clause.items[..head.at].iter().rev();
    let who = before.take(2).find(|i| !(i.is_word() && i.has(Tag::Just)))?;
    let other = who.is_word() && who.has(Tag::He) && !matches!(head.verb, Verb::Feed);
    let object = clause.items.get(head.at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Him))
        || matches!(head.verb, Verb::Give | Verb::Feed) && children::child(clause).is_some();
    let small = object && who.unknown && who.to - who.from == 1;
    let named = (is_person(clause, who) || small) && !who.has(Tag::I);
    (named || other).then(|| clause.message.typed(who.from, who.to))
}

/// A word for a relative, or one with a capital that nobody knows.
fn is_person(clause: &Clause, item: &Item) -> bool {
    let token = &clause.message.tokens[item.from];
    let name = item.unknown && token.is_name() && token.typed.chars().count() > 1;
    item.is_word() && (name && item.to - item.from == 1 || item.has(Tag::Person))
}

/// "Ana's #3", "milk of Ana", "la 3 de Ana".
fn owner(clause: &Clause) -> Option<String> {
    (0..clause.items.len()).find_map(|at| possessive(clause, at).or_else(|| of_somebody(clause, at)))
}

fn possessive(clause: &Clause, at: usize) -> Option<String> {
    let (item, last) = (&clause.items[at], &clause.message.tokens[clause.items[at].to.checked_sub(1)?]);
    let stem = last.typed.strip_suffix("'s")?;
    let told = clause.items[..at].iter().any(|i| i.is_word() && i.has(Tag::Be));
    let owned = clause.items.get(at + 1).map_or(told, |next| is_milk(next) && next.place().is_none());
    (is_person(clause, item) && owned).then(|| stem.to_string())
}

fn of_somebody(clause: &Clause, at: usize) -> Option<String> {
    let who = clause.items.get(at + 1).filter(|i| is_person(clause, i))?;
    let of = clause.items[at].is_word() && clause.items[at].has(Tag::Of);
    let near = || clause.items[..at].iter().rev().take(2);
    let housed = near().any(|i| i.has(Tag::House) || i.place().is_some());
    let told = near().next().is_some_and(|i| i.has(Tag::Be));
    (of && !housed && (near().any(is_milk) || told)).then(|| clause.message.typed(who.from, who.to))
}

fn is_milk(item: &Item) -> bool {
    matches!(item.kind, Kind::Codes(_)) || item.is_word() && item.any(&MILK)
}

/// Labels, and nothing told of them but what their milk is called, whose it is, or when it was expressed.
pub fn tells_of_labels(clause: &Clause) -> bool {
    let items = &clause.items;
    let Some(be) = items.iter().position(is_link) else { return false };
    let labelled = !labels(&items[..be]).is_empty() && labels(&items[be..]).is_empty();
    let expressed = |h: &Head| matches!(h.verb, Verb::Pump | Verb::Label);
    let dated = dates(clause) && items[be..].iter().any(|i| i.when().is_some());
    let known = items.iter().all(|i| !i.unknown || is_person(clause, i) || is_name(clause, i));
    // "1 and 2 were out from 8 to 9" tells no date of them.
    let lay = items.iter().any(|i| i.is_word() && i.any(&[Tag::OutWord, Tag::OutOf]));
    labelled
        && !lay
        && !clause.has_place()
        && clause.heads.iter().all(expressed)
        && items.iter().all(|i| i.amount().is_none() && !matches!(i.kind, Kind::Multi(..) | Kind::Count(_)))
        && known
        && (dated || !called(clause).is_empty() || owner(clause).is_some() || for_whom(clause).is_some())
}

fn is_link(item: &Item) -> bool {
    item.is_word() && item.any(&[Tag::Be, Tag::Dated])
        || matches!(item.sign(), Some(':' | '='))
        || item.verbs().any(|(verb, form)| (verb, form) == (Verb::Pump, Form::Done))
}

pub fn labels(items: &[Item]) -> Vec<Code> {
    let all = items.iter().filter_map(|i| match &i.kind {
        Kind::Codes(codes) | Kind::List(codes, _) => Some(codes.clone()),
        _ => None,
    });
    all.flatten().collect()
}

fn dates(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| {
        matches!(w.role, Role::At | Role::Names)
            && !w.now
            && (w.day.is_some() || w.part.is_some() || w.clock.is_some() || w.ago.is_some())
    })
}

/// What is told of labels, as a correction of what the books have of them.
pub fn of_labels(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let at = moment(&clause.items, ctx, true)?.map(|m| m.at);
    let mut act = Act::new(ActKind::Correct);
    act.codes = labels(&clause.items);
    act.change = at.map(|at| Box::new(Change { at: Some(at), ..Change::default() }));
    Ok(vec![act])
}
