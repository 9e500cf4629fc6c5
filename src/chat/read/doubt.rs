//! Messages that can be read in more than one way, and the readings that are possible, best first. They are found by
//! reading the message again with the open word settled one way and the other.

use super::Context;
use super::build;
use super::event::events;
use super::item::{Item, Kind, Message};
use super::scene::MOST_ML;
use super::senses::{Sense, Tag, Verb};
use crate::domain::act::{Act, Doubt, Kind as ActKind};
use crate::domain::place::Place;
use crate::domain::volume::{Unit, Volume};

/// Signs and shapes that always are open: a bottle and a snowflake, "120 in, 90 out", "same again".
pub fn read(message: &Message) -> Option<Doubt> {
    let end = message.tokens.len();
    let amounts = message.items.iter().filter(|i| i.amount().is_some()).count();
    let verbs = message.items.iter().any(|i| i.is_word() && i.verbs().next().is_some());
    let sign = message.has(0, end, Tag::BottleSign) || message.has(0, end, Tag::SnowSign);
    let signs = sign
        && !verbs
        && message.items.iter().all(|i| i.amount().is_some() || i.sign().is_some() || i.when().is_some());
    let in_out = amounts >= 2
        && message.has(0, end, Tag::InWord)
        && message.has(0, end, Tag::OutWord)
        && !verbs
        && message.items.len() <= 8;
    let known = message.items.iter().all(|i| !i.unknown);
    let asked = message.items.iter().any(|i| i.sign() == Some('?'));
    let named = message.items.iter().any(|i| {
        i.is_word() && i.any(&[Tag::Bottle, Tag::FeedNoun, Tag::Session, Tag::Formula])
            || amounts > 0 && i.place().is_some()
    });
    let again = message.has(0, end, Tag::AnotherOnly)
        || (amounts == 1 && message.items.first().is_some_and(|i| i.has(Tag::Another)));
    let short = message.items.len() <= 5 && known && !verbs && !asked;
    if is_marked_date(message) {
        return Some(Doubt::Time);
    }
    if is_negative(message) {
        return Some(Doubt::Amount);
    }
    ((signs && amounts > 0) || in_out || (again && short && !named)).then_some(Doubt::Kind)
}

/// "found a bag marked 5/6": a date of which neither number tells the month, on one container.
fn is_marked_date(message: &Message) -> bool {
    message.items.iter().any(|i| {
        let Kind::Codes(codes) = &i.kind else { return false };
        let tag = |tag: Tag| message.marks[i.from].iter().any(|(t, _)| *t == tag);
        let pair = matches!(codes.as_slice(), [a, b] if *a <= 12 && *b <= 12 && a != b);
        let stroke = (i.from..i.to).any(|at| message.tokens[at].sign() == Some('/'));
        pair && stroke && tag(Tag::Container) && !tag(Tag::Plural)
    })
}

/// "pumped -5 ml": a sign that belongs to the number after it and to nothing before.
fn is_negative(message: &Message) -> bool {
    message.items.windows(3).any(|three| {
        let gap = |at: usize| message.tokens[three[at].from].gap;
        three[0].verbs().next().is_some()
            && three[1].sign() == Some('-')
            && gap(1)
            && !gap(2)
            && three[2].amount().is_some()
    })
}

/// The readings that are possible, best first.
pub fn readings(about: Doubt, message: &Message, ctx: &Context) -> Vec<Act> {
    let tried: Vec<Message> = match about {
        Doubt::Unit => vec![with_unit(message, ctx, Unit::Oz), with_unit(message, ctx, Unit::Ml)],
        Doubt::Amount | Doubt::Which => without_each(message),
        Doubt::Place => vec![with_place(message, Place::Fridge), with_place(message, Place::Freezer)],
        Doubt::Kind => return kinds(message, ctx),
        // No reading can be offered, or the question is none of the words'.
        _ => vec![],
    };
    let read = |m: &Message| build::acts(&events(m).all, ctx).unwrap_or_default().into_iter().next();
    let told = message.items.iter().any(|i| i.is_word() && i.verbs().next().is_some());
    let lies = moved(message, ctx).filter(|_| about == Doubt::Unit && !told);
    lies.into_iter().chain(tried.iter().filter_map(read)).collect()
}

fn with_unit(message: &Message, ctx: &Context, unit: Unit) -> Message {
    // In a household of ounces a big bare number is most likely millilitres, and the other way round.
    let unit = if ctx.units == Unit::Ml { unit } else { other(unit) };
    changed(message, |item| {
        if let Kind::Amount(amount) | Kind::Multi(_, amount) = &mut item.kind {
            amount.unit = amount.unit.or(Some(unit));
        }
    })
}

fn other(unit: Unit) -> Unit {
    match unit {
        Unit::Ml => Unit::Oz,
        Unit::Oz => Unit::Ml,
    }
}

/// The message with one side of "or" left out, and with the other.
fn without_each(message: &Message) -> Vec<Message> {
    let Some(or) = message.items.iter().position(|i| i.is_word() && i.has(Tag::OrOnly)) else {
        return vec![];
    };
    let cut = |from: usize, to: usize| {
        let mut less = message.clone();
        less.items.drain(from..to.min(less.items.len()));
        less
    };
    let number = |at: &usize| !message.items[*at].is_word() && message.items[*at].sign().is_none();
    let before = (0..or).rev().find(number);
    let after = (or + 1..message.items.len()).find(number);
    match (before, after) {
        (Some(before), Some(after)) => vec![cut(or, after + 1), cut(before, after)],
        _ => vec![],
    }
}

fn with_place(message: &Message, place: Place) -> Message {
    let cold = |item: &Item| item.place().is_some_and(|p| p != Place::Room) || item.has(Tag::AmbiguousPlace);
    let mut fixed = changed(message, |item| {
        if cold(item) {
            item.senses = vec![Sense::Place(place)];
        }
    });
    fixed.marks.iter_mut().for_each(|marks| marks.retain(|(tag, _)| *tag != Tag::AmbiguousPlace));
    fixed
}

/// A bare number as a session, a feed, or a label.
fn kinds(message: &Message, ctx: &Context) -> Vec<Act> {
    let end = message.tokens.len();
    let again = message.has(0, end, Tag::AnotherOnly);
    let Some(amount) = message.items.iter().find_map(|i| i.amount()) else {
        let place = message.items.iter().find_map(Item::place);
        let same = Act { at: Some(ctx.sent), again, place, ..Act::new(ActKind::Feed) };
        return if again { vec![same] } else { vec![] };
    };
    let more = again || message.items.first().is_some_and(|i| i.any(&[Tag::Another, Tag::More]));
    let unit = amount.unit.unwrap_or(if amount.value >= 15.0 { Unit::Ml } else { Unit::Oz });
    let ml = Volume::of(amount.value.min(1e6), unit);
    if ml.ml() > MOST_ML {
        return vec![];
    }
    let make = |kind: ActKind| Act { at: Some(ctx.sent), ml: Some(ml), more, ..Act::new(kind) };
    let mut label = Act { at: Some(ctx.sent), ..Act::new(ActKind::Feed) };
    label.codes.extend(amount.whole());
    let moved = moved(message, ctx).filter(|_| amount.unit.is_none());
    if let Some(done) = done_to(message, &label.codes, ml, ctx) {
        return done;
    }
    let fed = make(ActKind::Feed);
    let labelled = Some(label).filter(|l| !l.codes.is_empty() && amount.value < 60.0);
    [moved, Some(make(ActKind::Pump)), Some(fed), labelled].into_iter().flatten().collect()
}

/// "13 spilled", "left 13 on the counter": neither pumped nor fed, whatever the number is.
fn done_to(message: &Message, codes: &[u32], ml: Volume, ctx: &Context) -> Option<Vec<Act>> {
    let any = |verbs: &[Verb]| message.items.iter().any(|i| i.is_word() && verbs.iter().any(|v| i.is(*v)));
    let make = |kind: ActKind| Act { at: Some(ctx.sent), codes: codes.to_vec(), ..Act::new(kind) };
    let place = message.items.iter().find_map(Item::place);
    if !codes.is_empty() && any(&[Verb::Spill, Verb::Toss, Verb::Dump]) {
        let some = Act { codes: vec![], ml: Some(ml), ..make(ActKind::Discard) };
        return Some(vec![make(ActKind::Discard), some]);
    }
    let place = place.filter(|_| any(&[Verb::Leave, Verb::Put, Verb::Move]))?;
    let lies = Some(Act { place: Some(place), ..make(ActKind::Move) }).filter(|_| !codes.is_empty());
    // "left 20 on the counter": of a bottle
    let left = Act { left_ml: Some(ml), left_place: Some(place), codes: vec![], ..make(ActKind::Feed) };
    let left = Some(left).filter(|_| any(&[Verb::Leave]) && ml.ml() >= 15.0);
    Some([lies, left].into_iter().flatten().collect::<Vec<Act>>()).filter(|all| !all.is_empty())
}

/// "12 to the freezer", "5 in the fridge": the container of that label, where it was brought.
fn moved(message: &Message, ctx: &Context) -> Option<Act> {
    let at = message.items.iter().position(|i| i.place().is_some())?;
    let way = [Tag::To, Tag::Into, Tag::In, Tag::Back, Tag::On];
    let led = message.items[..at].iter().any(|i| i.is_word() && i.any(&way));
    let place =
        message.items[at].place().filter(|_| led || message.items[at].to - message.items[at].from > 1)?;
    let label = message.items[..at].iter().find_map(Item::amount)?.whole().filter(|n| *n < 60)?;
    let act = Act { at: Some(ctx.sent), ..Act::new(ActKind::Move) };
    Some(Act { codes: vec![label], place: Some(place), ..act })
}

fn changed(message: &Message, change: impl Fn(&mut Item)) -> Message {
    let mut copy = message.clone();
    copy.items.iter_mut().for_each(change);
    copy
}
