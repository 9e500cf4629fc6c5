//! Milk that was thrown away or spilled: an amount, or containers, and why.

use super::Context;
use super::clause::Clause;
use super::item::{Amount, Item, Kind};
use super::pump::pours;
use super::scene::{Bare, Built, act, refs, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use super::stays;
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick};
use crate::domain::volume::Unit;

/// Thrown away: an amount, or containers, with the reason as typed.
pub fn discard(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut discard = act(ActKind::Discard, clause, ctx)?;
    let unit = written_unit(&clause.items);
    if let Some(amount) = just_pumped(clause) {
        let kind = ActKind::Pump;
        let ml = Some(volume(amount, unit, ctx)?);
        return Ok(vec![Act { kind, ml, parts: Some(vec![]), ..discard }]);
    }
    let mut found = refs(clause, &clause.items, Bare::Never)?;
    let all = pours(clause, true);
    super::pump::doubtful_pair(clause, &all)?;
    if let Some(pour) = all.first() {
        let liquid = clause.tells_any(&[Verb::Dump, Verb::Spill]) && ctx.units == Unit::Oz;
        match pour.amount.whole() {
            Some(n) if n <= 6 && !liquid => found.count = Some(n),
            Some(_) if found.codes.is_empty() && (7.0..15.0).contains(&pour.amount.value) => {
                return Err(Doubt::Kind);
            }
            _ => discard.ml = Some(volume(pour.amount, unit, ctx)?),
        }
        discard.about = pour.amount.about;
    }
    for item in &clause.items {
        match &item.kind {
            Kind::List(codes, _) => found.codes.extend(codes),
            Kind::Multi(count, each) => {
                let ml = volume(*each, unit, ctx)?;
                discard.ml = Some((0..*count).map(|_| ml).sum());
            }
            _ => {}
        }
    }
    let milk = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::Container, Tag::Bottle, Tag::Milk]))
        && clause.items.iter().all(|i| !i.unknown);
    if thrown_by_child(clause) || throws_something_else(clause) {
        return Ok(vec![]);
    }
    if found.is_empty() && discard.ml.is_none() && only_thrown(clause) {
        found.pick = Some(Pick::Last);
    }
    if found.is_empty() && discard.ml.is_none() && !milk {
        return Ok(vec![]);
    }
    // "80 was in the car all day, dumped it", "dumped all 8oz"
    let head = clause.heads.iter().rfind(|h| h.form != Form::Base).map_or(0, |h| h.at);
    let told = discard.ml.is_some() && all.first().is_some_and(|p| p.at < head);
    found.pick = found.pick.filter(|p| match p {
        Pick::All => discard.ml.is_none(),
        Pick::Last => !told,
        _ => true,
    });
    // "spilled 30 but saved the rest"
    found.pick = found.pick.filter(|p| *p != Pick::Rest || discard.ml.is_none() || !clause.has(Tag::Saved));
    found.count = found.count.filter(|_| found.codes.is_empty());
    found.put(&mut discard);
    if discard.codes.is_empty() {
        discard.place = stays::lying(clause);
    }
    if discard.pick == Some(Pick::All) && clause.has(Tag::Expire) {
        discard.pick = Some(Pick::Phrase(clause.typed()));
        discard.past = true;
    }
    discard.reason = reason(clause).filter(|_| !only_thrown(clause));
    Ok(vec![discard])
}

/// "ok tossed": the whole message, of what was spoken of.
fn only_thrown(clause: &Clause) -> bool {
    let message = clause.message;
    let polite =
        |i: &Item| i.is_word() && (i.any(&[Tag::Polite, Tag::I]) || message.within(i.from, Tag::Polite));
    let tossed = |i: &Item| i.is(Verb::Toss) || i.is(Verb::Dump);
    let done = clause.tells_any(&[Verb::Toss, Verb::Dump]);
    done && message.items.iter().all(|i| tossed(i) || polite(i) || i.sign().is_some_and(|s| s != '?'))
}

/// "he threw his bottle": a child at play.
fn thrown_by_child(clause: &Clause) -> bool {
    let verb = clause.heads.iter().find(|h| h.verb == Verb::Toss).map_or(0, |h| h.at);
    let child = clause.items[..verb].iter().any(|i| i.is_word() && i.has(Tag::He));
    child && !clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)) || i.amount().is_some())
}

/// "threw a party for 20": what comes right after the verb is nothing of milk.
fn throws_something_else(clause: &Clause) -> bool {
    let Some(verb) = clause.heads.iter().find(|h| h.verb == Verb::Toss && h.form != Form::Base) else {
        return false;
    };
    let object = clause
        .items
        .iter()
        .skip(verb.at + 1)
        .find(|i| !(i.is_word() && i.any(&[Tag::Article, Tag::The, Tag::One])));
    let codes = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    object.is_some_and(|i| i.unknown) && !codes
}

/// What is said after the verb and the containers: "too old", "sat out all night".
fn reason(clause: &Clause) -> Option<String> {
    let verb = clause.heads.iter().find(|h| h.form != Form::Base)?.at;
    let named = clause.items.iter().rposition(|i| {
        !matches!(i.kind, Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_))
            && i.from < clause.spans[0].1
    });
    let start = verb.max(named.unwrap_or(0)) + 1;
    let words: Vec<&Item> = clause
        .items
        .get(start..)?
        .iter()
        .skip_while(|i| {
            matches!(i.kind, Kind::Sign(_))
                || i.any(&[Tag::So, Tag::Container, Tag::Bottle, Tag::It, Tag::Be, Tag::Oldest, Tag::Newest])
                || i.any(&[Tag::OutWord, Tag::All, Tag::Rest])
                || i.is(Verb::Toss)
        })
        .collect();
    let (first, last) = (words.first()?, words.last()?);
    Some(clause.message.typed(first.from, last.to)).filter(|text| !text.is_empty())
}

/// "spilled the 90 I just pumped": a session of which nothing is left.
fn just_pumped(clause: &Clause) -> Option<Amount> {
    let all = &clause.message.items;
    let at = all.iter().position(|i| i.from >= clause.spans[0].0 && i.amount().is_some())?;
    let pumped = |i: &Item| i.is_word() && i.verbs().any(|v| v == (Verb::Pump, Form::Done));
    let small =
        |i: &Item| i.is_word() && i.any(&[Tag::I, Tag::Just, Tag::Filler, Tag::Relative, Tag::Milk, Tag::Of]);
    let after = all[at + 1..].iter().find(|i| !small(i) || pumped(i))?;
    let said = all[at + 1..].iter().take_while(|i| !pumped(i)).any(|i| i.is_word() && i.has(Tag::I));
    let coded = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    all[at].amount().filter(|_| pumped(after) && said && !coded)
}
