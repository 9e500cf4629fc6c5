//! Milk poured together and poured apart. What comes of it is told in labels and amounts; which number is which is settled
//! by the words between them.

use super::Context;
use super::clause::Clause;
use super::item::{Amount, Item, Kind};
use super::pump::{part, pours};
use super::scene::{Bare, Built, act, refs, spots, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick};

/// Milk poured together: into one of them, with what was added or what it came to.
pub fn combine(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut combine = act(ActKind::Combine, clause, ctx)?;
    let into = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::Into, Tag::To, Tag::With]));
    let onto = clause.items.iter().position(|i| !i.is_word() && i.any(&[Tag::To, Tag::Into]));
    let after = into.map(|at| at + 1).or(onto);
    let tops = into.is_some_and(|at| tops_up(clause, at));
    let after = after.filter(|_| !tops);
    let target = topped(clause).or(after.and_then(|at| clause.items.get(at..)).and_then(target_code));
    let found = refs(clause, &clause.items, Bare::Never)?;
    found.put(&mut combine);
    for item in &clause.items {
        if let Kind::List(codes, _) = &item.kind {
            combine.codes.extend(codes);
        }
    }
    let listed = clause.tells(Verb::Combine) && into.is_some() && combine.codes.len() > 1;
    if clause.tells_any(&[Verb::Pour, Verb::Add, Verb::Combine]) || clause.has(Tag::Together) {
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
        // "added 30 to the 60": what was there before
        let there =
            pour.at > 0 && clause.items[pour.at - 1].is_word() && clause.items[pour.at - 1].has(Tag::The);
        if bare_code || there && clause.tells(Verb::Add) && pours(clause, true).len() > 1 {
            continue;
        }
        let ml = volume(pour.amount, unit, ctx)?;
        let reached = pour.at > 0 && clause.items[pour.at - 1].any(&[Tag::To, Tag::Until]);
        let together = !tops && (reached || clause.has(Tag::Together)) || clause.tells(Verb::Combine);
        let added = !together
            && clause
                .heads
                .iter()
                .rfind(|h| h.at < pour.at)
                // "20 added to bag 12"
                .or(clause.heads.first().filter(|h| h.at == pour.at + 1))
                .is_some_and(|h| matches!(h.verb, Verb::Add | Verb::Pour));
        if added && (tops || into.is_none_or(|at| pour.at < at) || topped(clause).is_some()) {
            combine.add_ml = Some(ml)
        } else {
            combine.ml = Some(ml)
        }
        combine.about |= pour.amount.about;
    }
    combine.place = spots(clause).last().map(|s| s.place);
    let nothing_named =
        found_nothing(&combine) && !clause.any(&[Tag::Container, Tag::Bottle, Tag::One, Tag::It]);
    let with = clause.items.iter().any(|i| i.is_word() && i.has(Tag::With))
        || clause.items.iter().any(|i| i.has(Tag::With));
    if nothing_named
        && clause.tells(Verb::Add)
        && (with || into.is_none())
        && combine.add_ml.is_some()
        && clause.has(Tag::Milk)
    {
        return Err(Doubt::Kind);
    }
    let enough = !combine.codes.is_empty()
        || combine.count.is_some()
        || combine.ml.is_some()
        || combine.add_ml.is_some()
        || combine.into.is_some()
        || combine.pick.is_some()
        || (combine.place.is_some() && into.is_some_and(|at| names_vessel(&clause.items[at..])));
    Ok(if enough { vec![combine] } else { vec![] })
}

/// "topped up the 6am bottle with the 40": what comes after is what was added.
fn tops_up(clause: &Clause, with: usize) -> bool {
    let named = |i: &Item| i.when().is_some_and(|w| w.role == super::when::Role::Names);
    let vessel = |i: &Item| i.is_word() && i.any(&[Tag::Bottle, Tag::Container, Tag::One]) || named(i);
    let before = &clause.items[..with];
    clause.tells(Verb::Add)
        && clause.items[with].has(Tag::With)
        && before.iter().any(|i| vessel(i) || !i.is_word() && i.sign().is_none() && i.when().is_none())
        && clause.items[with..].iter().any(|i| i.amount().is_some())
}

/// "to the bottle in the fridge".
fn names_vessel(items: &[Item]) -> bool {
    items.iter().any(|i| i.is_word() && i.any(&[Tag::Bottle, Tag::Container]))
}

fn found_nothing(combine: &Act) -> bool {
    combine.codes.is_empty()
        && combine.count.is_none()
        && combine.into.is_none()
        && combine.pick.is_none()
        && combine.place.is_none()
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

pub fn is_split(clause: &Clause) -> bool {
    let from = clause.items.iter().position(|i| i.is_word() && i.has(Tag::From));
    let source =
        from.is_some_and(|at| clause.items[at + 1..].iter().any(|i| !i.is_word() && i.sign().is_none()));
    let coded = clause.items.iter().any(|i| i.has(Tag::From) && matches!(i.kind, Kind::Codes(_)));
    let source = source || coded || takes_some(clause);
    let multi = clause.items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
    let amounts = clause.has_amount();
    let shared = clause.items.iter().any(|i| i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0));
    let vessel = clause
        .items
        .iter()
        .any(|i| i.is_word() && i.any(&[Tag::Container, Tag::Bottle]) || matches!(i.kind, Kind::Count(_)));
    let parted =
        clause.tells_any(&[Verb::Move, Verb::Put]) && source && coded_source(clause) && vessel && shared;
    // "made a 4oz bottle from bag 5"
    let made = clause.tells(Verb::Make) && coded_source(clause) && vessel && shared;
    // "separé 60 de la 12 en un frasquito"
    let taken = clause.tells(Verb::Split) && source && coded && shared;
    // "saqué 60 de la 12": where one word is for both, it can't have been expressed
    let of_it = clause.items.windows(2).any(|p| {
        let much = p[0].amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0);
        much && p[1].any(&[Tag::From, Tag::To]) && matches!(p[1].kind, Kind::Codes(_))
    });
    let drawn = of_it && clause.tells(Verb::Pull) && clause.tells(Verb::Get);
    parted
        || made
        || drawn
        || taken
        || into_several(clause)
        || (clause.tells(Verb::Pour) && source && amounts)
        || (clause.tells(Verb::Make)
            && multi
            && (source || clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)))))
        || (clause.tells(Verb::Split)
            && !clause.tells(Verb::Pump)
            && (!clause.has(Tag::HalfHalf) || super::family::counted(clause)))
}

fn coded_source(clause: &Clause) -> bool {
    let from = clause.items.windows(2).any(|p| p[0].has(Tag::From) && matches!(p[1].kind, Kind::Codes(_)));
    from || clause.items.iter().any(|i| i.has(Tag::From) && matches!(i.kind, Kind::Codes(_)))
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
        [one] if clause.tells_any(&[Verb::Pour, Verb::Toss, Verb::Put]) && *one < 40 => Some(*one),
        _ => None,
    }
}

/// Milk poured apart: "poured 60 from 12 into a bottle", "made 3 bottles of 120 from 12, 13 and 14".
pub fn split(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut split = act(ActKind::Split, clause, ctx)?;
    let unit = written_unit(&clause.items);
    let from = clause.items.iter().position(|i| i.is_word() && i.has(Tag::From));
    let mut parts = Vec::new();
    let coded = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)) && i.any(&[Tag::From, Tag::To]));
    let spot = spots(clause).pop();
    for (at, item) in clause.items.iter().enumerate() {
        match &item.kind {
            Kind::List(numbers, false) if clause.items[..at].iter().any(|i| i.any(&[Tag::Into, Tag::In])) => {
                for number in numbers {
                    let ml = volume(Amount::bare(f64::from(*number)), unit, ctx)?;
                    parts.push(part(ml, spot.as_ref(), None));
                }
            }
            Kind::Codes(codes) | Kind::List(codes, _) => split.codes.extend(codes),
            Kind::Amount(amount) if clause.has(Tag::Both) && bottles(clause).is_some() => {
                let ml = volume(*amount, unit, ctx)?;
                parts.extend((0..bottles(clause).unwrap_or(1)).map(|_| part(ml, spot.as_ref(), None)));
            }
            Kind::Multi(count, each) => {
                let ml = volume(*each, unit, ctx)?;
                parts.extend((0..*count).map(|_| part(ml, spot.as_ref(), None)));
            }
            Kind::Amount(amount) => match amount.whole() {
                Some(n) if !coded && source_of_split(clause, at, from) => split.codes.push(n),
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

/// "took 60 from bag 9", "20 ml of #5": some of its milk.
pub fn takes_some(clause: &Clause) -> bool {
    let codes = |i: &Item| matches!(i.kind, Kind::Codes(_));
    let milk = |i: &Item| i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0);
    let linked = |i: &Item| i.any(&[Tag::From, Tag::Of, Tag::Off]);
    clause.items.windows(3).any(|three| {
        let [amount, link, label] = three else { return false };
        milk(amount) && linked(link) && (codes(label) || codes(link))
    })
}

/// "chucked 13 and 14 together in one bottle": into a bottle, and not out.
pub fn thrown_together(clause: &Clause) -> bool {
    let into = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::In, Tag::Into]));
    let with = into.is_some_and(|at| clause.items[at].has(Tag::Into) && !clause.items[at].has(Tag::To));
    let vessel = |i: &Item| {
        let label =
            with && (matches!(i.kind, Kind::Codes(_)) || i.amount().is_some_and(|a| a.whole().is_some()));
        label || i.any(&[Tag::Bottle, Tag::Container]) || matches!(i.kind, Kind::Count(1))
    };
    clause.tells(Verb::Toss)
        && clause.item(Tag::OutWord).is_none()
        && into.is_some_and(|at| clause.items[at + 1..].iter().take(3).any(vessel))
}

/// "poured #23 into 2 bottles, 70 each", "emptied 16 into 2 bottles", "pasé 50 de la 11 a un frasco".
pub fn into_several(clause: &Clause) -> bool {
    let into = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::Into, Tag::To]));
    let several = |i: &Item| matches!(i.kind, Kind::Count(n) | Kind::Multi(n, _) if n > 1);
    let labels = |i: &Item| match &i.kind {
        Kind::Codes(_) => true,
        Kind::List(all, _) => all.iter().all(|n| *n < 60),
        Kind::Amount(a) => a.whole().is_some_and(|n| n < 60),
        _ => false,
    };
    let before = clause.items.iter().take(into.unwrap_or(usize::MAX)).any(labels);
    (before || clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_))))
        && clause.tells_any(&[Verb::Pour, Verb::Move])
        && into.is_some_and(|at| clause.items[at..].iter().any(several))
}

/// "the milk bank collected 10 bags": the bank stands before the verb.
pub fn fetched_by_a_bank(clause: &Clause) -> bool {
    let bank = clause.item(Tag::MilkBank);
    let fetched = |h: &super::clause::Head| {
        matches!(h.verb, Verb::Pump | Verb::Get | Verb::Take | Verb::Buy) && h.form == Form::Done
    };
    let after = bank.is_some_and(|at| clause.heads.iter().any(|h| fetched(h) && at < h.at));
    let before = bank.is_none() && clause.heads.iter().any(fetched) && came_before(clause, Tag::MilkBank);
    (after || before) && clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::Count(_)))
}

/// "the milk bank came and took 12": who it was is told earlier in the sentence, and nobody else is named.
pub fn came_before(clause: &Clause, who: Tag) -> bool {
    let start = clause.spans[0].0;
    let items = &clause.message.items;
    let sentence = items.iter().rfind(|i| i.to <= start && matches!(i.sign(), Some('.' | '!' | '?' | ';')));
    let from = sentence.map_or(0, |i| i.to);
    let line = |i: &&Item| clause.message.tokens[i.from].line;
    let from = items.iter().rfind(|i| i.from <= start && line(i)).map_or(from, |i| i.from.max(from));
    let named = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::I, Tag::He, Tag::Person]));
    from < start && clause.message.has(from, start, who) && !named
}

/// "the bags are still solid", "the milk is all icy": what there is, without a label or number.
pub fn names_all(clause: &Clause) -> bool {
    let noun = |i: &Item| i.is_word() && (i.has(Tag::Milk) || i.has(Tag::Plural));
    let led = |at: usize| at == 0 || clause.items[at - 1].has(Tag::The);
    (0..clause.items.len()).any(|at| led(at) && noun(&clause.items[at]))
}

/// "into 2 bottles".
fn bottles(clause: &Clause) -> Option<u32> {
    clause.items.iter().find_map(|i| match i.kind {
        Kind::Count(n) if (2..=20).contains(&n) => Some(n),
        _ => None,
    })
}

fn source_of_split(clause: &Clause, at: usize, from: Option<usize>) -> bool {
    let after_from = from.is_some_and(|f| f < at && at <= f + 2);
    let poured = into_several(clause).then(|| clause.head(Verb::Pour)).flatten();
    let after_verb = clause.head(Verb::Split).or(poured).is_some_and(|h| h.at < at && at <= h.at + 2);
    after_from || ((after_verb || is_shared_out(clause, at)) && from.is_none())
}

/// "33 got split into 60 and 80": before the verb, and less than what came of it.
fn is_shared_out(clause: &Clause, at: usize) -> bool {
    let Some(verb) = clause.head(Verb::Split).filter(|h| at < h.at) else { return false };
    let each = clause.items[verb.at..].iter().map(|i| match &i.kind {
        Kind::Amount(a) => a.value,
        Kind::Multi(n, a) => f64::from(*n) * a.value,
        Kind::List(all, _) => all.iter().map(|n| f64::from(*n)).sum(),
        _ => 0.0,
    });
    let (label, sum) = (clause.items[at].amount().map_or(0.0, |a| a.value), each.sum::<f64>());
    label < 60.0 && label + 1.0 < sum
}

/// A bottle without a label, filled from containers that are named.
pub fn fills_a_bottle(clause: &Clause) -> bool {
    let items = &clause.items;
    let bottle = |i: &Item| i.is_word() && i.has(Tag::Bottle) && !i.has(Tag::Container);
    let source = |at: usize| {
        let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::From, Tag::Of]);
        match items[at].kind {
            Kind::Codes(_) => led || items[at].has(Tag::From),
            Kind::Amount(a) => led && a.unit.is_none(),
            _ => false,
        }
    };
    let filled = items.iter().any(bottle) && !clause.names_time();
    filled && clause.has_amount() && (0..items.len()).any(source)
}
