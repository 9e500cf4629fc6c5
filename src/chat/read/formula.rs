//! Formula that was given; of it only the amount is kept. What milk was told beside it is a feed of its own.

use super::Context;
use super::children::{child, gave_by_name};
use super::clause::Clause;
use super::drunk::drank_later;
use super::item::Kind;
use super::pump::{Pour, doubtful_pair, entry_moment, pours};
use super::scene::{Bare, Built, act, place, refs, timed, volume, written_unit};
use super::senses::Tag;
use crate::domain::act::{Act, Kind as ActKind};
use crate::domain::volume::Unit;

/// "60 bm", "40 of formula": the word stands right after the amount.
fn beside(clause: &Clause, at: usize, tag: Tag) -> bool {
    let mut after = clause.items[at + 1..].iter().filter(|i| !(i.is_word() && i.has(Tag::Of)));
    after.next().is_some_and(|i| i.is_word() && i.has(tag) && !(tag == Tag::Milk && i.has(Tag::Formula)))
}

/// Formula given; only the amount is kept of it.
pub fn formula(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let pours = pours(clause, gave_by_name(clause, ctx));
    doubtful_pair(clause, &pours)?;
    let mut formula = act(ActKind::Formula, clause, ctx)?;
    formula.about = pours.iter().any(|p| p.amount.about);
    let unit: Option<Unit> = written_unit(&clause.items);
    let entries = super::pump::entries(clause, &pours);
    if entries.len() > 1 {
        let each = entries.into_iter().map(|(when, pour)| {
            let mut one = formula.clone();
            timed(&mut one, entry_moment(clause, when, ctx), ctx);
            (one.ml, one.about) = (Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
            Ok(one)
        });
        return each.collect();
    }
    let drunk = pours.get(1).filter(|p| drank_later(clause, pours[0].at, p.at));
    let own = pours.iter().find(|p| beside(clause, p.at, Tag::Formula)).filter(|_| pours.len() > 1);
    formula.ml = drunk.or(own).or(pours.first()).map(|p| volume(p.amount, unit, ctx)).transpose()?;
    formula.child = child(clause);
    place(clause)?;
    let own_at = own.or(pours.first()).map_or(0, |p| p.at);
    if let Some(feed) = from_labels(clause, &pours, own_at, ctx)? {
        let first = clause.items.iter().position(|i| matches!(i.kind, Kind::Codes(_))).unwrap_or(0) < own_at;
        return Ok(if first { vec![feed, formula] } else { vec![formula, feed] });
    }
    let milk = pours.iter().find(|p| beside(clause, p.at, Tag::Milk) && own.is_some_and(|o| o.at != p.at));
    let Some(milk) = milk.filter(|_| drunk.is_none()) else { return Ok(vec![formula]) };
    let mut feed = act(ActKind::Feed, clause, ctx)?;
    (feed.ml, feed.about) = (Some(volume(milk.amount, unit, ctx)?), milk.amount.about);
    Ok(if milk.at < own.map_or(0, |o| o.at) { vec![feed, formula] } else { vec![formula, feed] })
}

/// "50 formula + 50 of #1": the milk beside it, by the containers it came from.
fn from_labels(clause: &Clause, pours: &[Pour], formula: usize, ctx: &Context) -> Built<Option<Act>> {
    let found = refs(clause, &clause.items, Bare::Never)?;
    if found.codes.is_empty() || pours.len() > 2 {
        return Ok(None);
    }
    let mut feed = act(ActKind::Feed, clause, ctx)?;
    let milk = pours.iter().find(|p| p.at != formula);
    feed.ml = milk.map(|p| volume(p.amount, written_unit(&clause.items), ctx)).transpose()?;
    (feed.codes, feed.child) = (found.codes, child(clause));
    Ok(Some(feed))
}
