//! One value put against another: "90 not 100", "no la 13, la 31", "120 no, 130", "i put 10 but it's 100".

use super::clause::Clause;
use super::item::{Item, Kind};
use super::scene::spots;
use super::senses::Tag;

/// One value put against another: the items of the new and the old.
pub fn pair(clause: &Clause) -> Option<(usize, usize)> {
    let nots = (0..clause.items.len())
        .rev()
        .filter(|at| clause.items[*at].is_word() && clause.items[*at].any(&[Tag::Wasnt, Tag::InsteadOf]));
    nots.into_iter().find_map(|not| denied_after(clause, not).or_else(|| pair_around(clause, not)))
}

/// "la 41 no, la 14", "120 no, 130": what stands before the "not" is the old one.
fn denied_after(clause: &Clause, not: usize) -> Option<(usize, usize)> {
    let items = &clause.items;
    let old = not.checked_sub(1).filter(|_| items.get(not + 1).and_then(Item::sign) == Some(','))?;
    // unless it is told to be one, "la 41 no, la 14" may be which to use
    let meant = clause.any(&[Tag::Fix, Tag::Strong, Tag::ThatWas]);
    let kind = value(&items[old]).filter(|kind| meant || *kind != 1)?;
    let rest = items.get(not + 2..)?;
    let new = rest.iter().position(|i| value(i).is_some()).filter(|n| rest[..*n].iter().all(is_soft))?;
    (value(&rest[new]) == Some(kind)).then_some((not + 2 + new, old))
}

/// The values before and after one "not".
fn pair_around(clause: &Clause, not: usize) -> Option<(usize, usize)> {
    let items = &clause.items;
    let values: Vec<usize> = (0..items.len()).filter(|at| value(&items[*at]).is_some()).collect();
    let old = *values.iter().find(|at| **at > not && items[not + 1..**at].iter().all(is_soft))?;
    let kind = value(&items[old])?;
    let hour = items[old].amount().and_then(|a| a.whole()).is_some_and(|h| h <= 24);
    let fits = |at: &&usize| {
        **at != old
            && value(&items[**at]).is_some_and(|v| v == kind || (v < 2 && kind < 2) || (v == 3 && hour))
    };
    let new = *values.iter().rfind(fits)?;
    Some((new, old))
}

/// "pumped 90 not 100": the old value stands right after the new one.
pub fn side_by_side(clause: &Clause, pair: Option<(usize, usize)>) -> bool {
    let amounts = |at: usize| clause.items[at].amount().is_some();
    pair.is_some_and(|(new, old)| {
        let and = old == new + 3 && clause.items[new + 1].has(Tag::And);
        (old == new + 2 || and) && amounts(new) && amounts(old)
    }) && !clause.has(Tag::Plan)
}

/// What sort of value an item is: amounts and labels, days, clock times.
pub fn value(item: &Item) -> Option<u8> {
    match &item.kind {
        Kind::Amount(_) => Some(0),
        Kind::Codes(_) | Kind::List(..) => Some(1),
        Kind::When(w) if w.clock.is_some() => Some(3),
        Kind::When(_) => Some(2),
        Kind::Word if item.place().is_some() => Some(4),
        _ => None,
    }
}

fn is_soft(item: &Item) -> bool {
    matches!(item.kind, Kind::Word)
        && (item.any(&[
            Tag::Filler,
            Tag::The,
            Tag::CodeArticle,
            Tag::In,
            Tag::At,
            Tag::Be,
            Tag::Container,
            Tag::Bottle,
            Tag::Article,
        ]) && item.place().is_none())
}

/// "i put 10 but it's 100": what was entered, and what it is.
pub fn contradicted(clause: &Clause) -> Option<(usize, usize)> {
    let but = clause.items.iter().position(|i| i.is_word() && i.has(Tag::But))?;
    let amounts = |items: &[Item]| -> Vec<usize> {
        (0..items.len()).filter(|at| items[*at].amount().is_some()).collect()
    };
    let (before, after) = (&clause.items[..but], &clause.items[but + 1..]);
    let (was, is) = (amounts(before), amounts(after));
    let ([old], [new]) = (was.as_slice(), is.as_slice()) else { return None };
    let entered = clause.message.find(0, before.last()?.to, Tag::Entered).is_some();
    let plain =
        after.iter().all(|i| i.amount().is_some() || i.is_word() && i.any(&[Tag::Be, Tag::It, Tag::Filler]));
    let linked = after[..*new].iter().any(|i| i.any(&[Tag::Be, Tag::It]));
    (entered && plain && linked && spots(clause).is_empty()).then_some((but + 1 + new, *old))
}
