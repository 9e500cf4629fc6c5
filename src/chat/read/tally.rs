//! What somebody counted: how many there are in a place, or which labels.

use super::Context;
use super::clause::Clause;
use super::item::{Item, Kind};
use super::scene::{Bare, Built, act, place, refs, site, spots};
use crate::domain::act::{Act, Kind as ActKind};

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
    let listed = labels_in_a_row(clause);
    if listed.len() > 1 && found.codes.is_empty() {
        found.codes = listed;
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

/// "counted the freezer: 11, 13": bare numbers with nothing but commas between them.
fn labels_in_a_row(clause: &Clause) -> Vec<u32> {
    let items = &clause.items;
    let number = |i: &Item| i.amount().and_then(|a| a.whole());
    let Some(first) = items.iter().position(|i| number(i).is_some()) else { return Vec::new() };
    let row = items[first..].iter().take_while(|i| number(i).is_some() || i.sign() == Some(','));
    let row: Vec<u32> = row.filter_map(number).collect();
    let all = items.iter().filter(|i| !i.is_word() && i.sign().is_none() && i.when().is_none()).count();
    if row.len() == all { row } else { Vec::new() }
}
