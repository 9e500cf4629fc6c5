//! Acts on containers that exist: moved, thawed, warmed, poured, sent, thrown away, held, counted, looked at. Each needs
//! some word for which containers are meant; where there is none the clause says nothing that could be recorded.

use super::Context;
use super::clause::Clause;
use super::item::{Item, Kind};
use super::pump::{part, pours};
use super::scene::{Bare, Built, Refs, Spot, act, place, refs, site, spots, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use crate::domain::act::{Act, Doubt, Found, Kind as ActKind, Pick, ThawHow};
use crate::domain::place::{Place, Site};
use crate::domain::volume::Unit;

/// Containers put elsewhere; several places are several moves ("20-24 in the chest freezer, rest in the kitchen one").
pub fn moved(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    place(clause)?;
    let all = spots(clause);
    let (mut acts, mut from): (Vec<Act>, usize) = (Vec::new(), 0);
    let ends: Vec<usize> = all.iter().map(|s| s.at + 1).collect();
    for (spot, end) in all.iter().zip(ends) {
        let found = refs(clause, &clause.items[from..end], Bare::Count)?;
        if is_origin(clause, spot) && found.is_empty() {
            continue;
        }
        match acts.last_mut() {
            Some(last) if found.is_empty() || only_it(&found) => last.place = Some(spot.place),
            _ => acts.push(move_to(clause, ctx, found, spot)?),
        }
        from = end;
    }
    trailing_refs(clause, &mut acts, from)?;
    acts.retain(|a| a.pick != Some(Pick::Last) || a.place != Some(Place::Room));
    acts.retain(|a| !a.codes.is_empty() || a.count.is_some() || a.pick.is_some());
    Ok(acts)
}

fn move_to(clause: &Clause, ctx: &Context, found: Refs, spot: &Spot) -> Built<Act> {
    let mut act = act(ActKind::Move, clause, ctx)?;
    found.put(&mut act);
    (act.place, act.site) = (Some(spot.place), spot.site.clone());
    Ok(act)
}

fn only_it(refs: &Refs) -> bool {
    refs.codes.is_empty() && refs.count.is_none() && refs.pick == Some(Pick::Last)
}

/// "to the freezer: 12, 13": labels after the only place.
fn trailing_refs(clause: &Clause, acts: &mut [Act], from: usize) -> Built<()> {
    let [only] = acts else { return Ok(()) };
    if only.codes.is_empty() && only.count.is_none() && only.pick.is_none() {
        refs(clause, &clause.items[from..], Bare::Count)?.put(only);
    }
    Ok(())
}

/// "from the freezer", "out of the fridge".
fn is_origin(clause: &Clause, spot: &Spot) -> bool {
    clause.items[..spot.at]
        .iter()
        .rev()
        .take(2)
        .any(|i| i.is_word() && i.any(&[Tag::From, Tag::OutOf, Tag::OutWord]))
}

/// Whether containers came out of a freezer, by the words for thawing or for where they come from and go to.
pub fn is_thaw(clause: &Clause) -> bool {
    let all = spots(clause);
    let cold_origin = all
        .iter()
        .any(|s| s.place.is_freezer() && (is_origin(clause, s) || leads_to_fridge(clause, s, &all)));
    let moving = clause.heads.is_empty() || clause.heads.iter().any(|h| h.form != Form::Base);
    let frozen = clause
        .items
        .iter()
        .position(|i| i.has(Tag::Frozen))
        .is_some_and(|at| all.iter().any(|s| s.place == Place::Fridge && s.at > at));
    let taken_out = clause.tells(Verb::Pull)
        || (clause.tells_any(&[Verb::Take, Verb::Get])
            && clause.item(Tag::OutOf).or(clause.item(Tag::OutWord)).is_some());
    let to_freezer = all.last().is_some_and(|s| s.place.is_freezer() && !is_origin(clause, s));
    clause.tells(Verb::Thaw)
        || (moving && !to_freezer && (cold_origin || frozen))
        || (taken_out && !to_freezer)
}

/// "freezer to fridge", "freezer -> fridge".
fn leads_to_fridge(clause: &Clause, spot: &Spot, all: &[Spot]) -> bool {
    let next = all.iter().find(|s| s.at > spot.at && s.place == Place::Fridge);
    next.is_some_and(|n| {
        clause.items[spot.at + 1..n.at].iter().any(|i| i.any(&[Tag::To, Tag::Into]) || i.sign() == Some('→'))
    })
}

/// "#14 is fully thawed": a state, told of containers named before it.
pub fn is_thawed_state(clause: &Clause) -> bool {
    let Some(verb) = clause.heads.iter().find(|h| h.verb == Verb::Thaw && h.form == Form::Done) else {
        return false;
    };
    let before = &clause.items[..verb.at];
    let named = before.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_))
            || i.amount().is_some()
            || i.any(&[Tag::One, Tag::It, Tag::This, Tag::Oldest])
    });
    let state =
        before.iter().any(|i| i.has(Tag::Be)) || before.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    named && state && !before.iter().any(|i| i.has(Tag::I))
}

pub fn thaw(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut thaw = act(ActKind::Thaw, clause, ctx)?;
    let found = refs(clause, &clause.items, Bare::Count)?;
    let milk = clause.any(&[Tag::Milk, Tag::Container, Tag::Bottle]);
    if found.is_empty() && !(milk && clause.tells(Verb::Thaw)) {
        return Ok(vec![]);
    }
    found.put(&mut thaw);
    thaw.how = how(clause);
    Ok(vec![thaw])
}

fn how(clause: &Clause) -> Option<ThawHow> {
    if clause.has(Tag::Wrap) {
        return Some(ThawHow::WarmWater);
    }
    let goal = spots(clause).into_iter().rfind(|s| !s.place.is_freezer() && !is_origin(clause, s))?;
    match goal.place {
        Place::Fridge => Some(ThawHow::Fridge),
        Place::Room => Some(ThawHow::Room),
        _ => None,
    }
}

/// An act that only needs to know which containers.
pub fn plain(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let found = refs(clause, &clause.items, Bare::Count)?;
    let amounts = pours(clause, false);
    let with_unit = amounts.iter().find(|p| p.amount.unit.is_some() || p.amount.value >= 15.0);
    if kind == ActKind::Warm
        && let Some(pour) = with_unit
    {
        act.ml = Some(volume(pour.amount, written_unit(&clause.items), ctx)?);
        return Ok(vec![act]);
    }
    let milk = clause.any(&[Tag::Container, Tag::Bottle, Tag::Milk]);
    if found.is_empty() && !(kind == ActKind::Warm && milk) {
        return Ok(vec![]);
    }
    found.put(&mut act);
    Ok(vec![act])
}

/// Gone to daycare or work, come back from there, or given to a milk bank.
pub fn travelled(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let mut found = refs(clause, &clause.items, Bare::Count)?;
    let strange = clause.items.iter().any(|i| i.unknown)
        && clause.has_amount()
        && !super::family::has_containers(clause);
    if strange && kind == ActKind::Send {
        return Ok(vec![]);
    }
    let loose = clause.items.iter().filter_map(Item::amount).filter_map(|a| a.whole()).any(|n| n >= 7);
    if loose && kind == ActKind::Send {
        return Err(Doubt::Kind);
    }
    if kind == ActKind::Donate {
        found
            .codes
            .retain(|code| !clause.items.iter().filter_map(Item::amount).any(|a| a.whole() == Some(*code)));
        act.ml = donated(clause);
    } else {
        act.site = site(clause);
        let unit = written_unit(&clause.items);
        act.ml = clause
            .items
            .iter()
            .filter_map(Item::amount)
            .find(|a| a.unit.is_some())
            .map(|a| volume(a, unit, ctx))
            .transpose()?;
        if found.is_empty() && act.ml.is_some() && clause.any(&[Tag::Bottle, Tag::Container, Tag::Milk]) {
            found.pick = Some(Pick::Last);
        }
    }
    if found.is_empty() && act.ml.is_none() {
        return Ok(vec![]);
    }
    found.put(&mut act);
    act.place = spots(clause).last().filter(|s| s.place == Place::Cooler).map(|s| s.place);
    Ok(vec![act])
}

/// What a bank was given may be more than one container holds.
fn donated(clause: &Clause) -> Option<crate::domain::volume::Volume> {
    let amount = clause.items.iter().filter_map(Item::amount).find(|a| a.unit.is_some())?;
    Some(crate::domain::volume::Volume::of(amount.value.min(100_000.0), amount.unit.unwrap_or(Unit::Ml)))
}

/// Thrown away: an amount, or containers, with the reason as typed.
pub fn discard(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut discard = act(ActKind::Discard, clause, ctx)?;
    let unit = written_unit(&clause.items);
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
    if found.is_empty() && discard.ml.is_none() && !milk {
        return Ok(vec![]);
    }
    found.put(&mut discard);
    discard.reason = reason(clause);
    Ok(vec![discard])
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
    object.is_some_and(|i| i.unknown)
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
                || i.any(&[Tag::So, Tag::Container, Tag::Bottle, Tag::It, Tag::Be])
                || i.is(Verb::Toss)
        })
        .collect();
    let (first, last) = (words.first()?, words.last()?);
    Some(clause.message.typed(first.from, last.to)).filter(|text| !text.is_empty())
}

/// Held or released, with the reason as typed.
pub fn held(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let found = refs(clause, &clause.items, Bare::Label)?;
    if found.is_empty() {
        return Ok(vec![]);
    }
    found.put(&mut act);
    if kind == ActKind::Hold {
        let after = clause.spans.get(1).map(|(from, _)| *from).zip(clause.spans.last().map(|(_, to)| *to));
        act.reason = after.map(|(from, to)| clause.message.typed(from, to)).filter(|t| !t.is_empty());
    }
    Ok(vec![act])
}

/// Milk poured together: into one of them, with what was added or what it came to.
pub fn combine(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut combine = act(ActKind::Combine, clause, ctx)?;
    let into = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::Into, Tag::To, Tag::With]));
    let target = topped(clause).or(into.and_then(|at| clause.items.get(at + 1..)).and_then(target_code));
    let found = refs(clause, &clause.items, Bare::Never)?;
    found.put(&mut combine);
    for item in &clause.items {
        if let Kind::List(codes, _) = &item.kind {
            combine.codes.extend(codes);
        }
    }
    let listed = clause.tells(Verb::Combine) && into.is_some() && combine.codes.len() > 1;
    if clause.tells_any(&[Verb::Pour, Verb::Add, Verb::Combine]) {
        combine.into = target;
        if combine.codes.is_empty()
            && let Some(code) = bare_source(clause, into, target)
        {
            combine.codes.push(code);
        }
        if combine.codes.len() < 3 && !listed {
            combine.codes.retain(|c| Some(*c) != target);
        }
    }
    let unit = written_unit(&clause.items);
    for pour in pours(clause, true) {
        let bare_code = pour.amount.whole().is_some_and(|n| Some(n) == target || combine.codes.contains(&n));
        if bare_code {
            continue;
        }
        let ml = volume(pour.amount, unit, ctx)?;
        let together = clause.has(Tag::Together) || clause.tells(Verb::Combine);
        let added = !together
            && clause
                .heads
                .iter()
                .rfind(|h| h.at < pour.at)
                .is_some_and(|h| matches!(h.verb, Verb::Add | Verb::Pour));
        if added && (into.is_none_or(|at| pour.at < at) || topped(clause).is_some()) {
            combine.add_ml = Some(ml)
        } else {
            combine.ml = Some(ml)
        }
        combine.about |= pour.amount.about;
    }
    combine.place = spots(clause).last().map(|s| s.place);
    let enough = !combine.codes.is_empty()
        || combine.count.is_some()
        || combine.ml.is_some()
        || combine.add_ml.is_some()
        || combine.into.is_some()
        || combine.pick.is_some();
    Ok(if enough { vec![combine] } else { vec![] })
}

/// "topped up #12 with 40": the label stands before the amount.
fn topped(clause: &Clause) -> Option<u32> {
    let with = clause
        .items
        .iter()
        .position(|i| i.is_word() && i.has(Tag::With))
        .filter(|_| clause.tells(Verb::Add))?;
    clause.items[..with].iter().find_map(|i| match &i.kind {
        Kind::Codes(codes) => codes.first().copied(),
        _ => None,
    })
}

fn target_code(items: &[Item]) -> Option<u32> {
    let item = items.iter().find(|i| !i.is_word())?;
    match &item.kind {
        Kind::Codes(codes) => codes.first().copied(),
        Kind::Amount(amount) => amount.whole().filter(|code| *code < 60),
        _ => None,
    }
}

/// "poured 14 into 12": the number before "into" is a label when the one after it is.
fn bare_source(clause: &Clause, into: Option<usize>, target: Option<u32>) -> Option<u32> {
    let (into, _) = (into?, target?);
    let numbers: Vec<u32> =
        clause.items[..into].iter().filter_map(Item::amount).filter_map(|a| a.whole()).collect();
    match numbers.as_slice() {
        [one] if clause.tells(Verb::Pour) && *one < 40 => Some(*one),
        _ => None,
    }
}

/// Milk poured apart: "poured 60 from 12 into a bottle", "made 3 bottles of 120 from 12, 13 and 14".
pub fn split(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut split = act(ActKind::Split, clause, ctx)?;
    let unit = written_unit(&clause.items);
    let from = clause.items.iter().position(|i| i.is_word() && i.has(Tag::From));
    let mut parts = Vec::new();
    let spot = spots(clause).pop();
    for (at, item) in clause.items.iter().enumerate() {
        match &item.kind {
            Kind::Codes(codes) | Kind::List(codes, _) => split.codes.extend(codes),
            Kind::Multi(count, each) => {
                let ml = volume(*each, unit, ctx)?;
                parts.extend((0..*count).map(|_| part(ml, spot.as_ref(), None)));
            }
            Kind::Amount(amount) => match amount.whole() {
                Some(n) if source_of_split(clause, at, from) => split.codes.push(n),
                _ => parts.push(part(volume(*amount, unit, ctx)?, spot.as_ref(), None)),
            },
            _ => {}
        }
    }
    if let Some(pick) = refs(clause, &clause.items, Bare::Never)?
        .pick
        .filter(|p| !matches!(p, Pick::Last | Pick::Rest | Pick::All))
    {
        split.pick = Some(pick);
    }
    split.parts = Some(parts).filter(|p| !p.is_empty());
    let enough = (!split.codes.is_empty() || split.pick.is_some()) && split.parts.is_some();
    Ok(if enough { vec![split] } else { vec![] })
}

fn source_of_split(clause: &Clause, at: usize, from: Option<usize>) -> bool {
    let after_from = from.is_some_and(|f| f < at && at <= f + 2);
    let after_verb = clause.head(Verb::Split).is_some_and(|h| h.at < at && at <= h.at + 2);
    after_from || (after_verb && from.is_none())
}

/// What is really there: "counted the freezer: 26 bags", "counted: 1, 2, 4".
pub fn count(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let all = spots(clause);
    let numbers: Vec<u32> = clause
        .items
        .iter()
        .filter_map(|i| match i.kind {
            Kind::Count(n) => Some(n),
            _ => i.amount().and_then(|a| a.whole()),
        })
        .collect();
    if all.len() > 1 && all.len() == numbers.len() {
        let mut counts = Vec::new();
        for (spot, number) in all.into_iter().zip(numbers) {
            let mut count = act(ActKind::Count, clause, ctx)?;
            (count.place, count.site, count.count) = (Some(spot.place), spot.site, Some(number));
            counts.push(count);
        }
        return Ok(counts);
    }
    let mut count = act(ActKind::Count, clause, ctx)?;
    let mut found = refs(clause, &clause.items, Bare::Never)?;
    for (at, item) in clause.items.iter().enumerate() {
        match &item.kind {
            Kind::List(codes, _) => found.codes.extend(codes),
            Kind::Amount(a) if !super::scene::is_foreign(&clause.items, at) => {
                found.count = found.count.or(a.whole())
            }
            _ => {}
        }
    }
    let bare = spots(clause).is_empty() && found.codes.is_empty() && !super::family::has_containers(clause);
    if bare || (found.codes.is_empty() && found.count.is_none()) {
        return Ok(vec![]);
    }
    count.codes = found.codes;
    count.count = found.count.filter(|_| count.codes.is_empty());
    let spot = place(clause)?;
    (count.place, count.site) = spot.map_or((None, site(clause)), |s| (Some(s.place), s.site));
    Ok(vec![count])
}

/// How milk was found after an outage: "all hard", "12 is icy", "14 soft but cold".
pub fn check(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut check = act(ActKind::Check, clause, ctx)?;
    let mut found = refs(clause, &clause.items, Bare::Label)?;
    if found.pick == Some(Pick::Last) && !clause.any(&[Tag::Container, Tag::Bottle]) {
        found.pick = None;
    }
    check.found = match () {
        () if clause.bare(Tag::Icy).is_some() => Some(Found::Icy),
        () if clause.bare(Tag::Liquid).is_some() => Some(Found::Liquid),
        () if clause.bare(Tag::Hard).is_some() => Some(Found::Hard),
        () => None,
    };
    if found.is_empty() || check.found.is_none() {
        return Ok(vec![]);
    }
    found.put(&mut check);
    check.cold = clause.has(Tag::Cold);
    check.place = spots(clause).last().map(|s| s.place);
    Ok(vec![check])
}

/// A site is where milk is sent to and comes back from.
pub fn is_away(site: Option<&Site>) -> bool {
    matches!(site, Some(Site::Work | Site::Daycare))
}
