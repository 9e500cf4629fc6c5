//! Corrections, edits and undo: an entry is said anew as it should have been, or taken back. What follows from it follows
//! anew. People correct their own entries; somebody else's only by replying to it.

use std::collections::BTreeSet;

use chrono::TimeDelta;

use crate::domain::act::{Act, Change, Code, Kind, Part, Side};
use crate::domain::answer::Piece;
use crate::domain::fact::{Entry, Fact, Record};
use crate::domain::keeping::usual_way;
use crate::domain::ledger::{Container, Ledger, Said, codes_made};
use crate::domain::milk::Moment;
use crate::domain::place::Place;
use crate::domain::volume::{Unit, Volume};

use super::draft::moment;
use super::{Changes, Decision, Message, aside, record_and_answer};

/// The entry that a correction is about: the one replied to, else the sender's last.
fn target<'a>(ledger: &'a Ledger, message: &'a Message) -> Option<&'a Said> {
    match message.replies_to {
        Some(seq) => ledger.said(seq).filter(|s| !s.taken_back),
        None => ledger.said_by(message.by?).next(),
    }
}

/// When what a correction is about was first told of: the entry that it corrects, or the containers that it names.
pub fn told_of(ledger: &Ledger, message: &Message, correction: &Act) -> Option<Moment> {
    if correction.codes.is_empty() {
        return target(ledger, message).map(|s| s.sent);
    }
    let made = |said: &&Said| {
        said.facts.iter().flat_map(|d| codes_made(&d.fact)).any(|code| correction.codes.contains(&code))
    };
    ledger.newest_first().filter(made).map(|s| s.sent).min()
}

pub fn correct(ledger: &Ledger, message: &Message, act: &Act) -> Decision {
    let on_labels = !act.codes.is_empty()
        && (act.change.as_ref().is_some_and(|c| c.at.is_some())
            || act.person.is_some()
            || act.child.is_some());
    if on_labels || !act.tags.is_empty() {
        return record_and_answer(ledger, message, vec![act.clone()], None);
    }
    let Some(mut said) = target(ledger, message) else { return Decision::say(Piece::NothingToCorrect) };
    if let Some(outage) = outage_looked_after(ledger, said, act) {
        if outage.by.as_deref() != message.by && message.replies_to.is_none() {
            return told_earlier(ledger, message, outage, act);
        }
        said = outage;
    }
    // "13 is 150": of another container than the one that the entry was about.
    let about = |code: &Code| said.acts.iter().any(|a| is_about(a, *code));
    if !act.codes.iter().all(about) {
        return Decision::say(Piece::NothingToCorrect);
    }
    let mut acts = said.acts.to_vec();
    let named = name_anew(act, &mut acts);
    let changed = act.change.as_deref().is_some_and(|change| apply(change, &mut acts));
    let to_come = |a: &Act| a.at.max(a.since).is_some_and(|at| moment(ledger, at) > said.sent);
    if !named && !changed || !said.acts.iter().any(to_come) && acts.iter().any(to_come) {
        return Decision::say(Piece::NothingToCorrect);
    }
    let mut decision = record_anew(ledger, message, said, acts);
    let same = |r: &Record| matches!(r, Record::Amended { facts, .. } if *facts == said.facts);
    if decision.records.iter().any(same) {
        return Decision::say(Piece::NothingToCorrect);
    }
    decision.acts = vec![act.clone()];
    // Said in words, a correction gets a receipt of its own.
    decision.changes = None;
    decision
}

/// A time that corrects what was found after an outage is when the outage began, where it says so or is before that: nobody
/// looked before it.
fn outage_looked_after<'a>(ledger: &'a Ledger, said: &Said, act: &Act) -> Option<&'a Said> {
    let looks = said.acts.iter().all(|a| a.kind == Kind::Check);
    let at = act.change.as_ref().and_then(|c| c.at).filter(|_| looks)?;
    let outage = ledger.newest_first().find(|s| began(s).is_some())?;
    (act.since.is_some() || Some(moment(ledger, at)) < began(outage)).then_some(outage)
}

fn began(said: &Said) -> Option<Moment> {
    said.facts.iter().find_map(|d| match d.fact {
        Fact::Outage { since, .. } => Some(since),
        _ => None,
    })
}

/// An outage that somebody else told of began earlier: that is told anew. Later is theirs to say.
fn told_earlier(ledger: &Ledger, message: &Message, outage: &Said, act: &Act) -> Decision {
    let since = act.change.as_ref().and_then(|c| c.at);
    let earlier = since.is_some_and(|since| Some(moment(ledger, since)) < began(outage));
    let told = outage.acts.iter().find(|a| a.kind == Kind::Outage).filter(|_| earlier);
    let Some(told) = told else { return Decision::say(Piece::NothingToCorrect) };
    let anew = Act { since, at: None, minutes: None, ..told.clone() };
    record_and_answer(ledger, message, vec![anew], None)
}

fn is_about(act: &Act, code: Code) -> bool {
    act.codes.contains(&code) || act.parts.iter().flatten().any(|p| p.code == Some(code))
}

/// Changes what an entry said and records it anew; the receipt under which the button was is changed in place.
pub fn amend(ledger: &Ledger, message: &Message, entry: i64, change: impl FnOnce(&mut Vec<Act>)) -> Decision {
    let Some(said) = ledger.said(entry).filter(|s| !s.taken_back) else {
        return Decision::say(Piece::NothingToCorrect);
    };
    let mut acts = said.acts.to_vec();
    change(&mut acts);
    record_anew(ledger, message, said, acts)
}

/// As if the acts had been said by the one who said the entry, when it was said.
fn record_anew(ledger: &Ledger, message: &Message, said: &Said, acts: Vec<Act>) -> Decision {
    let then = Message { by: said.by.as_deref(), sent: said.sent, id: said.message, ..message.clone() };
    record_and_answer(ledger, &then, acts, Some(said.seq))
}

/// What follows once an entry is corrected or taken back, of which nobody wrote.
pub fn in_its_wake(ledger: &Ledger, message: &Message, mut decision: Decision) -> Decision {
    let changed = |r: &Record| match r {
        Record::Amended { entry, .. } | Record::TakenBack { entry } => Some(*entry),
        _ => None,
    };
    let Some(first) = decision.records.iter().filter_map(changed).min() else { return decision };
    let then = after(ledger, message, &decision.records);
    let pieces = &mut decision.answer.pieces;
    for piece in pieces.iter_mut() {
        if let Piece::Outage { codes, .. } = piece {
            // Also what looked settled by the time that was told before.
            *codes = aside::suspects(then.stock());
        }
    }
    if pieces.iter().any(|p| matches!(p, Piece::TakenBack { .. })) {
        let gone: Vec<i64> = decision.records.iter().filter_map(changed).collect();
        pieces.extend(as_it_stands(ledger, &then, &gone));
    }
    pieces.extend(there_after_all(ledger, &then, first));
    decision
}

/// What was gone may be there after all. What was written of it in between was refused, and may have been told otherwise
/// since: nobody records it now, but it is said.
fn there_after_all(ledger: &Ledger, then: &Ledger, first: i64) -> Option<Piece> {
    let exists = |ledger: &Ledger, code: &Code| ledger.stock().get(*code).is_some_and(Container::exists);
    let refused = ledger.talk().refused_since(first);
    let gone: BTreeSet<Code> = refused.filter(|code| !exists(ledger, code)).collect();
    let codes: Vec<Code> = gone.into_iter().filter(|code| exists(then, code)).collect();
    (!codes.is_empty()).then_some(Piece::ThereAfterAll { codes })
}

/// So many entries are named that were made since.
const NAMED: usize = 3;

/// How containers stand without what was said of them, and what was noted of them since.
fn as_it_stands(ledger: &Ledger, then: &Ledger, gone: &[i64]) -> Vec<Piece> {
    let taken: Vec<&Said> = gone.iter().filter_map(|seq| ledger.said(*seq)).collect();
    let outage = taken.iter().any(|s| began(s).is_some());
    let mut about: BTreeSet<Code> = taken.iter().flat_map(|s| codes_of(s)).collect();
    if outage {
        about.extend(aside::suspects(ledger.stock()));
    }
    let later = then.newest_first().take_while(|s| gone.iter().all(|seq| s.seq > *seq));
    let of_them = |s: &&Said| match outage {
        true => s.acts.iter().any(|a| a.kind == Kind::Check),
        false => codes_of(s).any(|code| about.contains(&code)),
    };
    let since: Vec<&Said> = later.filter(of_them).take(NAMED).collect();
    if outage {
        about.extend(since.iter().flat_map(|s| codes_of(s)));
    }
    let there = |code: &Code| then.stock().get(*code).is_some_and(Container::exists);
    let codes: Vec<Code> = about.into_iter().filter(there).collect();
    let entries: Vec<i64> = since.iter().rev().map(|s| s.seq).collect();
    let stands = (!codes.is_empty()).then_some(Piece::Stands { codes });
    let noted = (!entries.is_empty()).then_some(Piece::NotedSince { entries });
    stands.into_iter().chain(noted).collect()
}

fn codes_of(said: &Said) -> impl Iterator<Item = Code> {
    let acts = said.acts.to_vec();
    acts.into_iter().flat_map(|act| {
        let parts = act.parts.into_iter().flatten().filter_map(|p| p.code);
        act.codes.into_iter().chain(act.into).chain(parts).collect::<Vec<_>>()
    })
}

/// The ledger as it will be.
pub fn after(ledger: &Ledger, message: &Message, records: &[Record]) -> Ledger {
    let mut then = ledger.clone();
    for record in records {
        then.append(Entry {
            seq: then.next_seq(),
            recorded: message.sent,
            by: message.by.map(str::to_owned),
            message: message.id,
            record: record.clone(),
        });
    }
    then
}

pub fn undo(ledger: &Ledger, message: &Message, entries: u32) -> Decision {
    let seqs: Vec<i64> = match message.replies_to {
        Some(seq) => vec![seq],
        None => {
            let Some(by) = message.by else { return Decision::say(Piece::NothingToUndo) };
            ledger.said_by(by).take(entries.max(1) as usize).map(|s| s.seq).collect()
        }
    };
    take_back(ledger, message, &seqs, false)
}

/// Only one's own entries can be taken back; a button shows it in place.
pub fn take_back(ledger: &Ledger, message: &Message, seqs: &[i64], by_button: bool) -> Decision {
    let entries: Vec<&Said> =
        seqs.iter().filter_map(|seq| ledger.said(*seq)).filter(|s| !s.taken_back).collect();
    if entries.is_empty() {
        return Decision::say(Piece::NothingToUndo);
    }
    if entries.iter().any(|s| s.by.as_deref() != message.by) {
        return Decision::say(Piece::NotYours);
    }
    let acts = entries.iter().flat_map(|s| s.acts.to_vec()).collect();
    Decision {
        records: entries.iter().map(|s| Record::TakenBack { entry: s.seq }).collect(),
        changes: entries.first().filter(|_| by_button).map(|s| Changes::Receipt(s.seq)),
        ..Decision::say(Piece::TakenBack { acts })
    }
}

/// What an entry said before it was corrected, in the fields that differ now.
pub fn before(ledger: &Ledger, entry: i64, now: &[Act]) -> Option<Piece> {
    let old = ledger.said(entry).filter(|s| !s.taken_back)?.acts.first()?;
    let new = now.first()?;
    let place = |a: &Act| a.place.or(a.parts.iter().flatten().find_map(|p| p.place)).or(a.left_place);
    let ml = |a: &Act| a.ml.or(a.parts.iter().flatten().find_map(|p| p.ml));
    let differs = |yes: bool| old.kind != new.kind || yes;
    let was = Act {
        ml: ml(old).filter(|_| differs(ml(old) != ml(new))),
        place: place(old).filter(|_| differs(place(old) != place(new))),
        codes: if differs(old.codes != new.codes) { old.codes.clone() } else { Vec::new() },
        at: old.at.filter(|_| differs(old.at != new.at)),
        timed: true,
        ..Act::new(old.kind)
    };
    Some(Piece::Before { act: Box::new(was) })
}

/// Another child, or another person, than was said.
fn name_anew(correction: &Act, acts: &mut [Act]) -> bool {
    let before = acts.to_vec();
    for act in acts.iter_mut() {
        if matches!(act.kind, Kind::Feed | Kind::Nurse | Kind::Formula | Kind::Pump | Kind::Store) {
            act.child = correction.child.clone().or(act.child.take());
            act.person = correction.person.clone().or(act.person.take());
        }
    }
    *acts != before
}

/// Puts the change into what was said; false where there is nothing it could change.
fn apply(change: &Change, acts: &mut Vec<Act>) -> bool {
    let before = acts.clone();
    if let Some(place) = change.place {
        acts.iter_mut().for_each(|act| set_place(act, place));
    }
    // Beside an outage a time is its beginning, and what was done meanwhile stays when it was done.
    let outage = acts.iter().any(|act| act.kind == Kind::Outage);
    let timed = |act: &&mut Act| !outage || act.kind == Kind::Outage;
    if let Some(at) = change.at {
        acts.iter_mut().filter(timed).for_each(|act| set_time(act, at));
    }
    if let Some(days) = change.days {
        acts.iter_mut().filter(timed).for_each(|act| shift(act, days));
    }
    if let Some(unit) = change.unit {
        acts.iter_mut().for_each(|act| reread(act, unit));
    }
    if let Some(swap) = &change.codes {
        acts.iter_mut().for_each(|act| swap_codes(act, &swap.from, &swap.to));
    }
    if let Some(parts) = &change.parts {
        if let Some(act) = acts.iter_mut().find(|a| matches!(a.kind, Kind::Pump | Kind::Store)) {
            set_parts(act, parts);
        }
    } else if let Some(ml) = change.ml {
        match (change.side, acts.iter_mut().find(|a| a.ml.is_some() || a.parts.is_some())) {
            (side, Some(act))
                if act.kind == Kind::Feed && (side == Some(Side::Left) || change.left_ml.is_some()) =>
            {
                act.left_ml = Some(ml);
            }
            (Some(side), Some(act)) => set_side(act, side, ml),
            (None, Some(act)) => set_amount(act, ml),
            _ => {}
        }
    }
    *acts != before
}

pub fn set_place(act: &mut Act, place: Place) {
    match act.kind {
        Kind::Pump | Kind::Store | Kind::Split => {
            if let Some(parts) = &mut act.parts {
                parts.iter_mut().for_each(|p| p.place = Some(place));
            }
            act.place = act.place.map(|_| place);
        }
        Kind::Feed => act.left_place = Some(place),
        // "Out since 4": no place is cold that is out.
        Kind::Outage if !place.is_cold() => {}
        // Where it thaws is how it thaws.
        Kind::Thaw | Kind::Thawed => act.how = usual_way(place).or(act.how),
        _ => act.place = Some(place),
    }
}

/// What was one container was another one.
pub fn set_code(acts: &mut [Act], code: u32) {
    if let Some(act) = acts.iter_mut().find(|a| a.codes.len() == 1) {
        (act.codes, act.pick, act.count) = (vec![code], None, None);
    }
}

fn set_time(act: &mut Act, at: chrono::NaiveDateTime) {
    if let Some(change) = act.change.as_deref_mut() {
        return change.at = Some(at);
    }
    // What is told of an outage is when it began.
    if act.kind == Kind::Outage {
        return act.since = Some(at);
    }
    (act.at, act.at_latest, act.timed) = (Some(at), None, true);
}

fn shift(act: &mut Act, days: i64) {
    let by = TimeDelta::days(days);
    if act.kind == Kind::Outage {
        return act.since = act.since.map(|since| since + by);
    }
    (act.at, act.at_latest, act.timed) = (act.at.map(|at| at + by), act.at_latest.map(|at| at + by), true);
}

/// The amounts were meant in the other unit.
fn reread(act: &mut Act, unit: Unit) {
    let other = |v: Volume| match unit {
        Unit::Oz => Volume::from_oz(v.ml()),
        Unit::Ml => Volume::from_ml(v.oz()),
    };
    act.ml = act.ml.map(other);
    act.left_ml = act.left_ml.map(other);
    act.offered_ml = act.offered_ml.map(other);
    act.add_ml = act.add_ml.map(other);
    for part in act.parts.iter_mut().flatten() {
        part.ml = part.ml.map(other);
    }
    if let Some(sides) = &mut act.sides {
        (sides.left, sides.right) = (sides.left.map(other), sides.right.map(other));
    }
}

fn swap_codes(act: &mut Act, from: &[u32], to: &[u32]) {
    if from.is_empty() {
        if !act.codes.is_empty() {
            act.codes = to.to_vec();
        }
    } else if from.iter().all(|c| act.codes.contains(c)) {
        act.codes.retain(|c| !from.contains(c));
        act.codes.extend(to);
    }
    for part in act.parts.iter_mut().flatten() {
        if let (Some(code), [new]) = (part.code, to) {
            part.code = if from.is_empty() || from.contains(&code) { Some(*new) } else { Some(code) };
        }
    }
}

/// The containers as they should have been; what isn't said of them is as it was said of the first.
fn set_parts(act: &mut Act, parts: &[Part]) {
    let was = act.parts.iter().flatten().next().cloned().unwrap_or_default();
    let parts: Vec<Part> = parts
        .iter()
        .map(|p| Part {
            place: p.place.or(was.place),
            site: p.site.clone().or(was.site.clone()),
            ..p.clone()
        })
        .collect();
    act.ml = Some(parts.iter().filter_map(|p| p.ml).sum());
    act.parts = Some(parts);
}

/// A new amount for the whole; a single container follows it, several keep their proportion.
pub fn set_amount(act: &mut Act, ml: Volume) {
    let parts = act.parts.iter().flatten().count();
    let old: Volume = act.parts.iter().flatten().filter_map(|p| p.ml).sum();
    let mut given = Volume::ZERO;
    for (i, part) in act.parts.iter_mut().flatten().enumerate() {
        let share = if i + 1 == parts {
            ml - given
        } else {
            Volume::from_ml(part.ml.unwrap_or_default().ml() * ml.ml() / old.ml().max(0.001))
        };
        given += share;
        part.ml = Some(share);
    }
    act.ml = Some(ml);
}

fn set_side(act: &mut Act, side: Side, ml: Volume) {
    let mut sides = act.sides.unwrap_or_default();
    match side {
        Side::Left => sides.left = Some(ml),
        Side::Right => sides.right = Some(ml),
    }
    act.sides = Some(sides);
    set_amount(act, sides.left.unwrap_or_default() + sides.right.unwrap_or_default());
}
