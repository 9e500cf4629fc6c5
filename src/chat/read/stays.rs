//! Where milk lay, and how long it has lain there: "on the counter since 9", "was out for 3 hours, now back in the fridge",
//! "everything in the freezer". Hours out of the cold count from when they began, never from when they are told.

use chrono::NaiveDateTime;

use super::Context;
use super::clause::Clause;
use super::item::{Item, Kind};
use super::moment::{elapsed_before, settle};
use super::moves::{is_away, is_origin};
use super::pump::pump;
use super::scene::{Built, Spot, act, is_named_by, moment, refs, spots, volume, written_unit};
use super::senses::{Form, Sense, Tag, Verb};
use super::when::{Role, When};
use crate::domain::act::{Act, Kind as ActKind, Part, Pick};
use crate::domain::place::{Place, Site};

/// A stay in one place, from when on.
pub struct Stay {
    place: Place,
    site: Option<Site>,
    from: NaiveDateTime,
    latest: Option<NaiveDateTime>,
}

/// The stay that a clause tells of, if it tells since when or how long.
pub fn find(clause: &Clause, all: &[Spot], ctx: &Context) -> Built<Option<Stay>> {
    let Some(at) = clause.items.iter().position(is_span) else { return Ok(None) };
    let before = all.iter().rfind(|s| s.at < at);
    let Some(spot) = before.or_else(|| all.iter().find(|s| s.at > at)) else { return Ok(None) };
    let out = is_left(clause, spot);
    let place = if out { Place::Room } else { spot.place };
    let now = moment(&clause.items, ctx, false)?.map_or(ctx.sent, |m| m.at);
    let (from, latest) = match &clause.items[at].kind {
        Kind::Lasting(_) if place != Place::Room && !lay(clause) => return Ok(None),
        Kind::Lasting(minutes) => (elapsed_before(now, *minutes, ctx.zone), None),
        _ => {
            let all = clause.whens().filter(|(_, w)| w.role == Role::Since).map(|(_, w)| *w);
            let Some(when) = all.reduce(When::and).and_then(|w| settle(&w, ctx.sent, ctx.zone)) else {
                return Ok(None);
            };
            (when.at, when.latest)
        }
    };
    Ok(Some(Stay { place, site: spot.site.clone(), from, latest }))
}

/// "from the fridge", "been out of the fridge": where it no longer was.
pub fn is_left(clause: &Clause, spot: &Spot) -> bool {
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::The, Tag::CodeArticle]));
    let before = clause.items[..spot.at].iter().rev().find(small);
    is_origin(clause, spot) || before.is_some_and(|i| i.is_word() && i.has(Tag::Of))
}

fn is_span(item: &Item) -> bool {
    matches!(item.kind, Kind::Lasting(_)) || item.when().is_some_and(|w| w.role == Role::Since)
}

/// "has been in the cooler": a state, and nobody put it there just now.
fn lay(clause: &Clause) -> bool {
    clause.has(Tag::Be) && !clause.tells_any(&[Verb::Put, Verb::Move, Verb::Freeze])
}

/// The stay, and where the milk went after it, if that is told as well.
pub fn moves(clause: &Clause, all: &[Spot], stay: Stay, ctx: &Context) -> Built<Vec<Act>> {
    let mut first = act(ActKind::Move, clause, ctx)?;
    refs(clause, &clause.items, super::moves::bare(clause))?.put(&mut first);
    (first.place, first.site) = (Some(stay.place), stay.site);
    let goal = all.iter().rfind(|s| s.place != stay.place && !is_left(clause, s));
    let then = match goal {
        Some(goal) => {
            let mut then = act(ActKind::Move, clause, ctx)?;
            (then.place, then.site) = (Some(goal.place), goal.site.clone());
            then.codes.clone_from(&first.codes);
            then.pick = first.codes.is_empty().then_some(Pick::Last);
            Some(then)
        }
        None => None,
    };
    (first.at, first.at_latest, first.timed) = (Some(stay.from), stay.latest, true);
    let which = !first.codes.is_empty() || first.count.is_some() || first.pick.is_some();
    let it = first.pick == Some(Pick::Last) && first.codes.is_empty() && then.is_none();
    if !which || it {
        return Ok(vec![]);
    }
    Ok(std::iter::once(first).chain(then).collect())
}

/// From when on, open to the present: "everything since tuesday".
pub fn since(clause: &Clause, ctx: &Context) -> Option<NaiveDateTime> {
    let all = clause.whens().filter(|(_, w)| w.role == Role::Since).map(|(_, w)| *w);
    settle(&all.reduce(When::and)?, ctx.sent, ctx.zone).map(|m| m.at)
}

/// Where milk comes from that goes elsewhere: "from the fridge to the freezer", "the fridge milk".
pub fn origin(clause: &Clause, all: &[Spot]) -> Option<Place> {
    let from = |s: &&Spot| is_origin(clause, s) || is_named_by(clause, s);
    all.iter().find(from).map(|s| s.place)
}

/// The place in which the containers lie that are meant: "everything in the freezer", "the freezer milk".
pub fn lying(clause: &Clause) -> Option<Place> {
    let beside = |at: usize| {
        let before =
            clause.items[..at].iter().rev().find(|i| !(i.is_word() && i.any(&[Tag::The, Tag::CodeArticle])));
        before.is_some_and(|i| i.is_word() && i.any(&[Tag::In, Tag::From, Tag::OutOf]))
    };
    let end = clause.items.iter().position(|i| i.sign() == Some(',')).unwrap_or(clause.items.len());
    let cold = spots(clause).into_iter().filter(|s| s.at < end && s.place != Place::Room);
    let mut meant = cold.filter(|s| beside(s.at) || is_named_by(clause, s));
    meant.next().map(|s| s.place)
}

/// "#11 thawed on the counter since 9": it left the freezer then; that it has thawed is not all that is told.
pub fn thawed_there(clause: &Clause) -> bool {
    let warm = spots(clause).iter().any(|s| !s.place.is_freezer());
    let thawed = clause.heads.iter().any(|h| h.verb == Verb::Thaw && h.form == Form::Done);
    thawed && warm && clause.items.iter().any(is_span)
}

/// "pumped 120 at 7, put it in the fridge at 12": until then it lay in the room.
pub fn put_away_later(clause: &Clause, ctx: &Context) -> Built<Option<Vec<Act>>> {
    let Some((made, away)) = halves(clause) else { return Ok(None) };
    let Some(spot) = spots(&away).pop().filter(|s| s.place != Place::Room) else { return Ok(None) };
    let (Some(begun), Some(put)) = (moment(&made.items, ctx, true)?, put_at(&away, ctx)?) else {
        return Ok(None);
    };
    if begun.at >= put || spots(&made).iter().any(|s| s.place != Place::Room) {
        return Ok(None);
    }
    let Ok([mut pump]) = <[Act; 1]>::try_from(pump(&made, ctx)?) else { return Ok(None) };
    let whole = pump.ml.map(|ml| vec![Part { ml: Some(ml), ..Part::default() }]);
    let Some(parts) = pump.parts.take().filter(|p| !p.is_empty()).or(whole) else { return Ok(None) };
    let room = |p: Part| Part { place: Some(Place::Room), ..p };
    pump.parts = Some(parts.into_iter().map(room).collect());
    let mut moved = Act { pick: Some(Pick::Last), place: Some(spot.place), ..Act::new(ActKind::Move) };
    (moved.at, moved.timed, moved.site) = (Some(put), true, spot.site);
    Ok(Some(vec![pump, moved]))
}

/// What was expressed, and where it was put in words of their own, without an amount.
fn halves<'m>(clause: &Clause<'m>) -> Option<(Clause<'m>, Clause<'m>)> {
    let items = &clause.items;
    let joint = |at: &usize| {
        let item = &items[*at];
        let word = item.is_word() && item.any(&[Tag::And, Tag::Then, Tag::But]);
        (word || item.sign() == Some(',')) && items[at + 1..].iter().any(|i| i.place().is_some())
    };
    let cut = (1..items.len()).rfind(joint)?;
    let part = |items: &[Item]| Clause::of(clause.message, items, false, clause.first);
    let (made, away) = (part(&items[..cut]), part(&items[cut + 1..]));
    (made.has_amount() && !away.has_number()).then_some((made, away))
}

/// When it was put away, if that is told: at a time, or just now.
fn put_at(away: &Clause, ctx: &Context) -> Built<Option<NaiveDateTime>> {
    let put = away.tells_any(&[Verb::Put, Verb::Move, Verb::Freeze]);
    let just = away.items.iter().any(|i| i.is_word() && i.has(Tag::Just)) && put;
    Ok(moment(&away.items, ctx, false)?.map(|m| m.at).or(just.then_some(ctx.sent)))
}

/// "picked up 2 bottles from nursery": containers that come from where they were sent to.
pub fn fetched(clause: &Clause) -> bool {
    let site = |i: &Item| i.senses.iter().any(|s| matches!(s, Sense::Site(_)));
    is_away(super::scene::site(clause).as_ref())
        && clause.items.windows(2).any(|pair| pair[0].has(Tag::From) && site(&pair[1]))
        && clause.tells_any(&[Verb::Buy, Verb::Get, Verb::Take, Verb::Pull])
        && clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::Count(_)))
}

/// "the 120 from this morning": milk that is there already.
pub fn known_amount(clause: &Clause) -> Option<usize> {
    // "sunday's 120"
    let whose = |i: &Item| i.when().is_some_and(|w| w.role == Role::Names && w.clock.is_none());
    // "moved last nights 120"
    let moved = clause.tells(Verb::Move);
    let then = |i: &Item| moved && i.when().is_some_and(|w| w.clock.is_none() && !w.now);
    let all = if moved { spots(clause) } else { Vec::new() };
    let lay = all.len() > 1 && origin(clause, &all).is_some_and(|p| p != Place::Room);
    let the = |at: usize| {
        let before = at.checked_sub(1).map(|n| &clause.items[n]);
        lay || before.is_some_and(|i| i.is_word() && i.has(Tag::The) || whose(i) || then(i))
    };
    (0..clause.items.len()).find(|at| the(*at) && clause.items[*at].amount().is_some())
}

/// "the 120 is in the fridge", "40 back in the fridge", "froze the 130": milk that is there already, by what it holds, where
/// nothing tells of a session.
pub fn on_the_books(clause: &Clause) -> Option<usize> {
    let items = &clause.items;
    let word = |at: usize, tags: &[Tag]| items.get(at).is_some_and(|i| i.is_word() && i.any(tags));
    let session = |i: &Item| {
        i.is(Verb::Pump)
            || i.is(Verb::Get)
            || i.any(&[Tag::PumpNoun, Tag::Session, Tag::SideWord, Tag::Another])
    };
    let mut amounts = (0..items.len()).filter(|at| items[*at].amount().is_some());
    let (at, None) = (amounts.next()?, amounts.next()) else { return None };
    let spot = spots(clause).pop()?;
    if clause.message.items.iter().any(session) {
        return None;
    }
    let article = [Tag::The, Tag::CodeArticle, Tag::PluralArticle];
    let led =
        at > 0 && (word(at - 1, &article) || at > 1 && word(at - 1, &[Tag::Of]) && word(at - 2, &article));
    // "7:30 120 now in the fridge", "never logged the 130 from last night" are sessions
    let past = |w: &When| !w.now && w.role != Role::Purpose;
    let now = |i: &Item| i.when().is_some_and(|w| w.now);
    let lies = |i: &Item| i.is_word() && i.any(&[Tag::Be, Tag::Back]) || now(i);
    let between = items.get(at + 1..spot.at).unwrap_or_default();
    // "4 oz, it's in the fridge" may be new
    let lies = between.iter().any(lies)
        && !between.iter().any(|i| i.sign().is_some() || i.is_word() && i.has(Tag::At));
    ((led || lies) && !clause.whens().any(|(_, w)| past(w))).then_some(at)
}

/// The container that holds what is told, put where it is told to be.
pub fn of_amount(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let (Some(at), Some(spot)) = (on_the_books(clause), spots(clause).pop()) else { return Ok(vec![]) };
    let Some(amount) = clause.items[at].amount() else { return Ok(vec![]) };
    let mut moved = act(ActKind::Move, clause, ctx)?;
    moved.ml = Some(volume(amount, written_unit(&clause.items), ctx)?);
    moved.about = amount.about;
    moved.pick = Some(Pick::Phrase(clause.message.typed(clause.items[at].from, clause.items[at].to)));
    (moved.place, moved.site) = (Some(spot.place), spot.site);
    Ok(vec![moved])
}
