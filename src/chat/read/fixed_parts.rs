//! Corrections that tell containers in place of the amount that was recorded: "make it 2 bags of 75". A whole is never made
//! up: as many amounts as containers, or none.

use super::Context;
use super::clause::Clause;
use super::item::{Amount, Kind};
use super::scene::{Built, spots, volume, written_unit};
use crate::domain::act::Part;

/// "make it 2 bags of 75".
pub fn parts(clause: &Clause, ctx: &Context) -> Built<Option<Vec<Part>>> {
    let unit = written_unit(&clause.items);
    let mut parts = Vec::new();
    for item in &clause.items {
        if let Kind::Multi(count, each) = item.kind {
            let ml = volume(each, unit, ctx)?;
            let place = spots(clause).last().map(|s| s.place);
            parts.extend((0..count).map(|_| Part { ml: Some(ml), place, ..Part::default() }));
        }
    }
    if parts.is_empty() {
        parts = counted_out(clause, ctx)?;
    }
    Ok(Some(parts).filter(|p| !p.is_empty()))
}

/// "make that 2 bags, 80 and 60": as many amounts as containers.
fn counted_out(clause: &Clause, ctx: &Context) -> Built<Vec<Part>> {
    let unit = written_unit(&clause.items);
    let bags = clause.items.iter().find_map(|i| match i.kind {
        Kind::Count(n) if n > 1 => Some(n as usize),
        _ => None,
    });
    let each: Vec<Amount> = clause
        .items
        .iter()
        .flat_map(|i| match &i.kind {
            Kind::Amount(a) => vec![*a],
            Kind::List(all, false) => all.iter().map(|n| Amount::bare(f64::from(*n))).collect(),
            _ => vec![],
        })
        .collect();
    if bags != Some(each.len()) {
        return Ok(vec![]);
    }
    let place = spots(clause).last().map(|s| s.place);
    let made =
        each.into_iter().map(|a| Ok(Part { ml: Some(volume(a, unit, ctx)?), place, ..Part::default() }));
    made.collect()
}
