//! Words that mean what stands beside them makes of them: "did 120" is a session and "she did 120" a feed, "chucked it in
//! the fridge" throws nothing away, and "the kitchen one" after a freezer is another freezer.

use super::item::{Item, Kind, Message, built};
use super::senses::{Form, Sense, Tag, Verb};
use super::when::DayName;
use crate::domain::place::Place;

pub fn find(message: &mut Message) {
    message.rewrite(none_of_it);
    for at in 0..message.items.len() {
        // "5am 130 / 9am 100": the stroke parts what belongs together
        let next = message.items.get(at + 1);
        if message.items[at].sign() == Some('/') && next.is_some_and(|i| i.when().is_some()) {
            message.items[at].kind = Kind::Sign(',');
        }
        let item = &message.items[at];
        if !item.is_word() {
            continue;
        }
        let meant = match () {
            () if item.has(Tag::YieldWord) => {
                yielded(&message.items, at).or_else(|| did_one(&message.items, at))
            }
            () if item.is(Verb::Pour) => poured_away(&message.items, at),
            () if item.has(Tag::CasualPut) => put_away(&message.items, at),
            () if item.has(Tag::HouseRoom) => same_kind(&message.items, at),
            () if names_place(&message.items, at) => Some(Sense::Tag(Tag::Filler)),
            () if item.has(Tag::RoomWord) => room(&message.items, at),
            () => None,
        };
        if is_left_there(&message.items, at) {
            message.items[at].senses.retain(|s| *s != Sense::Tag(Tag::LeftSide));
        }
        if is_person_out(message, at) {
            message.items[at].senses.retain(|s| !matches!(s, Sense::Place(_)));
        }
        if let Some(sense) = meant {
            let verb = matches!(sense, Sense::Verb(..));
            let (item, other) =
                (&mut message.items[at], [Tag::OtherThing, Tag::Event, Tag::Medicine, Tag::Question]);
            item.senses
                .retain(|s| !(verb && matches!(s, Sense::Verb(..)) || *s == Sense::Tag(Tag::OtherThing)));
            item.senses.push(sense);
            message.marks[item.from].retain(|(tag, _)| !other.contains(tag));
        }
    }
}

/// "pumped 90 no formula fridge": what was not given says nothing of the rest.
fn none_of_it(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let formula = none_at(items, at, message) && items[at].is_word() && word(items, at + 1, &[Tag::Formula]);
    let today = |i: &Item| i.when().is_some_and(|w| w.day == Some(DayName::Back(0)) && w.clock.is_none());
    // "in my bag no ice today"
    let bare =
        none_at(items, at, message) && items[at].place().is_some() && items.get(at + 1).is_some_and(today);
    if bare {
        let (item, used) = built(items, at, 2, Kind::Word);
        return Some((Item { senses: items[at].senses.clone(), ..item }, used));
    }
    let used = if items.get(at + 2).is_some_and(today) { 3 } else { 2 };
    formula.then(|| built(items, at, used, Kind::Word))
}

fn none_at(items: &[Item], at: usize, message: &Message) -> bool {
    message.marks[items[at].from].iter().any(|(tag, length)| *tag == Tag::Negative && *length == 1)
}

fn word(items: &[Item], at: usize, tags: &[Tag]) -> bool {
    items.get(at).is_some_and(|i| i.is_word() && i.any(tags))
}

/// "did 120", "did another 90ml": milk that came, or, said of a child, milk that was drunk.
fn yielded(items: &[Item], at: usize) -> Option<Sense> {
    let small = [Tag::About, Tag::Article, Tag::Another, Tag::More, Tag::Just];
    let amount = (at + 1..items.len()).find(|n| !word(items, *n, &small))?;
    let surely = match items[amount].kind {
        Kind::Amount(a) => a.unit.is_some() || a.value >= 15.0 || a.value.fract() != 0.0,
        Kind::Multi(..) => true,
        _ => false,
    };
    let counts = items.get(amount + 1).is_some_and(|i| {
        i.unknown || i.is_word() && i.any(&[Tag::Minute, Tag::Hour, Tag::Plural, Tag::Times, Tag::Event])
    });
    let just = usize::from(at > 0 && word(items, at - 1, &[Tag::Just]));
    let child = at > just && word(items, at - 1 - just, &[Tag::He]);
    let verb = if child { Verb::Drink } else { Verb::Get };
    (surely && !counts).then_some(Sense::Verb(verb, Form::Done))
}

/// "did a quick pump at 5", "did the 11pm feed".
fn did_one(items: &[Item], at: usize) -> Option<Sense> {
    let few = items.get(at + 1).and_then(Item::amount).and_then(|a| a.whole()).is_some_and(|n| n <= 12);
    let led = few || word(items, at + 1, &[Tag::Article, Tag::The, Tag::Another]);
    // "did the 4am, she took 85"
    let hour = items.get(at + 2).and_then(Item::when).is_some_and(|w| w.clock.is_some());
    if hour && !few && items.get(at + 3).is_none_or(|i| matches!(i.sign(), Some(',' | '.' | '-'))) {
        return led.then_some(Sense::Verb(Verb::Feed, Form::Done));
    }
    let near = items.get(at + 2..).unwrap_or_default().iter().take(3);
    let noun = near.take_while(|i| i.sign().is_none()).find(|i| i.any(&[Tag::Session, Tag::FeedNoun]));
    let noun = noun.filter(|i| led && !i.has(Tag::Bottle) && (!few || i.has(Tag::Session)))?;
    let verb = if noun.has(Tag::Session) { Verb::Pump } else { Verb::Feed };
    Some(Sense::Verb(verb, Form::Done))
}

/// "poured bag 16 away".
fn poured_away(items: &[Item], at: usize) -> Option<Sense> {
    let form = items[at].verbs().map(|(_, form)| form).next().filter(|form| *form != Form::Base)?;
    let near = items[at + 1..].iter().take(5);
    let mut near = near.take_while(|i| i.sign().is_none() && !i.any(&[Tag::Into, Tag::To]));
    near.any(|i| i.is_word() && i.has(Tag::AwayWord)).then_some(Sense::Verb(Verb::Dump, form))
}

/// "tossed 3 bags in the freezer", "chucked the 60 in with the 80": put there, or poured to it.
fn put_away(items: &[Item], at: usize) -> Option<Sense> {
    let form = items[at].verbs().map(|(_, form)| form).next()?;
    let thing = |i: &Item| {
        let word = i.is_word()
            && !i.any(&[Tag::In, Tag::Into, Tag::To])
            && i.any(&[
                Tag::It,
                Tag::The,
                Tag::This,
                Tag::Article,
                Tag::Container,
                Tag::Bottle,
                Tag::Milk,
                Tag::About,
                Tag::More,
                Tag::Fresh,
                Tag::Of,
                Tag::Both,
            ]);
        let number = !matches!(i.kind, Kind::Word | Kind::Sign(_));
        word || number
    };
    let goal = (at + 1..items.len()).find(|n| !thing(&items[*n]))?;
    // "chucked 9 in with 10": labels, poured together
    let bare = |n: usize| items.get(n).and_then(Item::amount).is_some_and(|a| a.unit.is_none());
    if goal == at + 2 && bare(at + 1) && bare(goal + 1) {
        return None;
    }
    if goal == at + 1 || !word(items, goal, &[Tag::In, Tag::Into, Tag::To]) {
        return None;
    }
    if items[goal].to - items[goal].from > 1 && items[goal].has(Tag::Into) {
        return Some(Sense::Verb(Verb::Add, form));
    }
    let named = items[goal + 1..].iter().take(4).take_while(|i| i.is_word());
    named.filter_map(Item::place).next().filter(|p| *p != Place::Room)?;
    Some(Sense::Verb(Verb::Put, form))
}

/// "from the chest freezer to the kitchen one": of the kind that was named before.
fn same_kind(items: &[Item], at: usize) -> Option<Sense> {
    let led = at > 0 && word(items, at - 1, &[Tag::The, Tag::CodeArticle]);
    let one = word(items, at + 1, &[Tag::One]);
    let before = items[..at].iter().rev().find_map(Item::place)?;
    let place = if before == Place::DeepFreezer { Place::Freezer } else { before };
    (led && one && (place == Place::Freezer || place == Place::Fridge)).then_some(Sense::Place(place))
}

/// "left it on the counter": no side of a session.
fn is_left_there(items: &[Item], at: usize) -> bool {
    items[at].is(Verb::Leave) && items[at].has(Tag::LeftSide) && word(items, at + 1, &[Tag::It])
}

/// "while I was out": nothing of milk.
fn is_person_out(message: &Message, at: usize) -> bool {
    let item = &message.items[at];
    let be = message.marks[item.from].iter().any(|(tag, length)| *tag == Tag::Be && *length == 1);
    be && item.place() == Some(Place::Room) && at > 0 && word(&message.items, at - 1, &[Tag::I, Tag::Person])
}

/// "the break room fridge", "my lunch cooler", "the beer fridge": which one it is.
fn names_place(items: &[Item], at: usize) -> bool {
    let other = items[at].any(&[Tag::OtherThing, Tag::Event, Tag::Medicine]) && !items[at].any(&[Tag::Pet]);
    let next = if word(items, at + 1, &[Tag::RoomWord]) { at + 2 } else { at + 1 };
    let cold = items.get(next).is_some_and(|i| i.is_word() && i.place().is_some_and(|p| p != Place::Room));
    let led = items[..at].iter().rev().take(2);
    let led = led.take_while(|i| i.is_word()).any(|i| i.any(&[Tag::The, Tag::Article, Tag::In, Tag::Into]));
    cold && (other && led || items[at].has(Tag::RoomWord))
}

/// "pumped 100, room": after an amount or containers the word names where milk stands, anywhere else a room to live in.
fn room(items: &[Item], at: usize) -> Option<Sense> {
    let soft = |i: &&Item| !(i.sign() == Some(',') || i.is_word() && i.any(&[Tag::In, Tag::At, Tag::The]));
    let milk = items[..at].iter().rev().find(soft).is_some_and(|i| {
        matches!(i.kind, Kind::Amount(_) | Kind::Multi(..) | Kind::Codes(_) | Kind::Count(_))
    });
    let counts = items.get(at + 1).is_some_and(|i| i.amount().is_some());
    (milk && !counts).then_some(Sense::Place(Place::Room))
}
