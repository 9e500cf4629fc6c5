//! Fed at a breast: told with a verb, a noun ("bf at 4:40") or a side and how long.

use super::Context;
use super::children::child;
use super::clause::Clause;
use super::family::is_base_noun;
use super::feed::at_each_time;
use super::item::{Item, Kind};
use super::pump::pours;
use super::scene::{Built, act};
use super::senses::{Form, Tag, Verb};
use crate::domain::act::{Act, Kind as ActKind, Side};

/// "bf at 4:40", but not "bf is coming over".
pub fn is_nursing_noun(clause: &Clause) -> bool {
    let next = clause.head(Verb::Nurse).and_then(|h| clause.items.get(h.at + 1));
    is_base_noun(clause, Verb::Nurse)
        && !next.is_some_and(|i| i.is_word() && (i.has(Tag::Be) || i.unknown || i.verbs().next().is_some()))
}

/// "fed on the left": at a breast, where no amount is told.
pub fn at_a_breast(clause: &Clause) -> bool {
    let on = clause.items.windows(3).any(|three| {
        let side =
            |i: &Item| i.is_word() && i.any(&[Tag::LeftSide, Tag::RightSide, Tag::SideWord, Tag::Both]);
        three[0].is_word()
            && three[0].any(&[Tag::In, Tag::From, Tag::At])
            && (side(&three[1]) || side(&three[2]))
    });
    let on = on
        || clause.items.windows(2).any(|p| {
            p[0].any(&[Tag::In, Tag::From]) && p[1].any(&[Tag::LeftSide, Tag::RightSide, Tag::Both])
        });
    let sides = clause.items.iter().any(|i| i.is_word() && i.has(Tag::SideWord));
    let sides = sides && clause.item(Tag::Bottle).is_none() && !clause.has_number();
    clause.tells(Verb::Feed) && (on || sides) && pours(clause, false).is_empty()
}

/// "10 mins each side", "pecho izquierdo 12 minutos", "boob at 9:30": no verb and no milk, but sides and how long or when.
pub fn lasts_each_side(clause: &Clause) -> bool {
    let lasting = clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    let breast = |i: &Item| {
        i.is_word()
            && i.to - i.from > 1
            && i.any(&[Tag::LeftSide, Tag::RightSide])
            && !i.any(&[Tag::Of, Tag::From])
    };
    // "15 mins left, 10 mins right"
    let apart = clause.message.items.windows(2).filter(|p| {
        let side = p[1].is_word() && p[1].any(&[Tag::LeftSide, Tag::RightSide]) && !p[1].has(Tag::With);
        matches!(p[0].kind, Kind::Lasting(_)) && side
    });
    let sided = clause.has(Tag::SideWord)
        || apart.count() > 1
        || word(Tag::LeftSide) && word(Tag::RightSide)
        || clause.items.iter().any(breast);
    let first = clause.items.first().is_some_and(|i| i.has(Tag::SideWord));
    let timed = first && clause.whens().any(|(_, w)| w.clock.is_some());
    (lasting && sided || timed)
        && clause.heads.iter().all(|h| h.verb == Verb::Leave)
        && !clause.has_number()
        && clause.items.iter().all(|i| !i.unknown)
}

/// "nursing the hangover", "nursing a cold".
pub fn nurses_something_else(clause: &Clause) -> bool {
    let Some(head) = clause.heads.iter().find(|h| h.verb == Verb::Nurse) else { return false };
    let before = head.at.checked_sub(1).is_some_and(|at| clause.items[at].has(Tag::Of));
    let noun = clause.items.get(head.at + 1).is_some_and(|i| i.unknown);
    if head.form == Form::Now && (before || noun) {
        return true;
    }
    clause.items.iter().skip(head.at + 1).take(2).any(|i| {
        i.any(&[Tag::Idiom]) || i.unknown && clause.items[head.at + 1].any(&[Tag::The, Tag::Article])
    })
}

/// Fed at the breast.
pub fn nurse(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    Ok(at_each_time(nursed(clause, ctx)?, clause, ctx))
}

fn nursed(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut nurse = act(ActKind::Nurse, clause, ctx)?;
    let side = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    nurse.side = match (side(Tag::LeftSide), side(Tag::RightSide)) {
        (true, false) => Some(Side::Left),
        (false, true) => Some(Side::Right),
        _ => None,
    };
    let minutes: f64 = clause
        .items
        .iter()
        .filter_map(|i| match i.kind {
            Kind::Lasting(minutes) => Some(minutes),
            _ => None,
        })
        .sum();
    nurse.minutes = (minutes >= 1.0).then_some(minutes.min(1440.0) as u32);
    nurse.child = child(clause);
    Ok(vec![nurse])
}
