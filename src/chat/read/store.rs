//! Milk that goes on the books without a session: containers told of with their labels, amounts and places.

use super::Context;
use super::clause::Clause;
use super::item::Kind;
use super::pump::{Pour, doubtful_pair, equal_parts, part, pours};
use super::scene::{Built, moment, place, spots, volume, written_unit};
use super::senses::Tag;
use super::when::Role;
use crate::domain::act::{Act, Code, Kind as ActKind, Part};
use crate::domain::volume::Unit;

/// Containers with amounts and no session: "bag 12 = 120, bag 13 = 90", "found 4 bags of 120 from April".
pub fn store(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    place(clause)?;
    let unit = written_unit(&clause.items);
    let pours = pours(clause, true);
    doubtful_pair(clause, &pours)?;
    let mut parts = labelled(clause, &pours, unit, ctx)?;
    for (at, item) in clause.items.iter().enumerate() {
        if let Kind::Multi(count, each) = item.kind {
            let ml = volume(each, unit, ctx)?;
            parts.extend((0..count).map(|_| (at, part(ml, None, None))));
        }
    }
    if let ([(_, only)], true) = (parts.as_slice(), clause.has(Tag::Both)) {
        let many = equal_parts(clause) as usize;
        parts = vec![(0, only.clone()); many.max(1)];
    }
    let spots = spots(clause);
    for (at, part) in &mut parts {
        let next = spots.iter().find(|s| s.at > *at).or(spots.last());
        part.place = next.map(|s| s.place);
        part.site = next.and_then(|s| s.site.clone());
    }
    let told = dates(clause);
    if told.len() > 1 {
        return by_date(clause, &told, parts, ctx);
    }
    let moment = moment(&clause.items, ctx, true)?;
    let clock = clause.whens().any(|(_, w)| w.clock.is_some() || w.part.is_some());
    let mut act = Act::new(if clock { ActKind::Pump } else { ActKind::Store });
    act.parts = Some(parts.into_iter().map(|(_, part)| part).collect());
    act.about = pours.iter().any(|p| p.amount.about);
    act.at = moment.map(|m| m.at);
    act.at_latest = moment.and_then(|m| m.latest);
    act.timed = moment.is_some();
    if clock {
        act.ml = act.parts.as_ref().map(|all| all.iter().filter_map(|p| p.ml).sum());
    }
    Ok(vec![act])
}

/// The days of a clause that tells of several, none of them with a time of day.
pub fn dates(clause: &Clause) -> Vec<usize> {
    let told: Vec<_> = clause.whens().filter(|(_, w)| matches!(w.role, Role::At | Role::Names)).collect();
    let days = told.iter().all(|(_, w)| w.day.is_some() && w.clock.is_none() && w.part.is_none());
    if days { told.into_iter().map(|(at, _)| at).collect() } else { vec![] }
}

/// "5 bags of 120 from Feb 10, 3 bags of 90 from Feb 20": each with its own.
fn by_date(clause: &Clause, dates: &[usize], parts: Vec<(usize, Part)>, ctx: &Context) -> Built<Vec<Act>> {
    let leads = parts.iter().all(|(at, _)| dates[0] < *at);
    let mut acts = Vec::new();
    for (n, date) in dates.iter().enumerate() {
        let (first, last) = (n == 0, n + 1 == dates.len());
        let own = |at: usize| match leads {
            true => *date < at && (last || at < dates[n + 1]),
            false => (first || dates[n - 1] < at) && (last || at < *date),
        };
        let of_it: Vec<Part> = parts.iter().filter(|(at, _)| own(*at)).map(|(_, p)| p.clone()).collect();
        if of_it.is_empty() {
            continue;
        }
        let moment = moment(&clause.items[*date..=*date], ctx, true)?;
        let mut act = Act { parts: Some(of_it), timed: moment.is_some(), ..Act::new(ActKind::Store) };
        (act.at, act.at_latest) = (moment.map(|m| m.at), moment.and_then(|m| m.latest));
        acts.push(act);
    }
    Ok(acts)
}

/// Each label with the amount that follows or precedes it; one amount holds for all labels listed before it.
fn labelled(clause: &Clause, pours: &[Pour], unit: Option<Unit>, ctx: &Context) -> Built<Vec<(usize, Part)>> {
    let labels: Vec<(usize, Code)> = clause
        .items
        .iter()
        .enumerate()
        .filter_map(|(at, i)| match &i.kind {
            Kind::Codes(codes) => Some(codes.iter().map(move |c| (at, *c)).collect::<Vec<_>>()),
            _ => None,
        })
        .flatten()
        .collect();
    let mut parts = Vec::new();
    if labels.is_empty() {
        for pour in pours {
            parts.push((pour.at, part(volume(pour.amount, unit, ctx)?, None, None)));
        }
        return Ok(parts);
    }
    let first = pours.iter().any(|p| p.at < labels[0].0);
    for (n, (at, code)) in labels.iter().enumerate() {
        let own = if pours.len() == labels.len() {
            pours.get(n)
        } else if first {
            pours.iter().rev().find(|p| p.at < *at)
        } else {
            pours.iter().find(|p| p.at > *at)
        };
        let Some(own) = own.or(pours.last()) else { continue };
        parts.push((own.at.max(*at), part(volume(own.amount, unit, ctx)?, None, Some(*code))));
    }
    Ok(parts)
}
