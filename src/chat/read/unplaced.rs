//! Places that milk does not lie in: "no cooler", "the fridge is full", "not in the fridge yet". A cooler whose ice has melted
//! is no cooler. The words stay; only what they say of where the milk is goes.

use super::item::{Item, Kind, Message};
use super::senses::{Sense, Tag};
use crate::domain::place::Place;

/// How many words may stand between a negation and the place it denies: "no space left in the freezer".
const REACH: usize = 5;

pub fn find(message: &mut Message) {
    let end = message.tokens.len();
    if message.items.iter().any(|i| i.sign() == Some('?')) || message.has(0, end, Tag::DoNotUse) {
        return;
    }
    let Some(milk) = message.items.iter().position(is_milk) else { return };
    if message.has(0, end, Tag::IceGone) {
        message.items.iter_mut().for_each(warm);
    }
    let denied: Vec<usize> = (milk..message.items.len())
        .filter(|at| is_cold(&message.items[*at]) && is_denied(message, *at))
        .collect();
    for at in denied {
        message.items[at].senses.retain(|s| !matches!(s, Sense::Place(_)));
    }
}

fn is_milk(item: &Item) -> bool {
    !matches!(item.kind, Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_))
}

fn is_cold(item: &Item) -> bool {
    item.is_word() && item.place().is_some_and(|p| p != Place::Room)
}

fn warm(item: &mut Item) {
    for sense in item.senses.iter_mut().filter(|s| **s == Sense::Place(Place::Cooler)) {
        *sense = Sense::Place(Place::Room);
    }
}

fn is_denied(message: &Message, at: usize) -> bool {
    let items = &message.items;
    let marked = |i: &Item, tag: Tag| message.marks[i.from].iter().any(|(t, _)| *t == tag);
    let sides = [Tag::LeftSide, Tag::RightSide, Tag::SideWord];
    let other = [Tag::But, Tag::And, Tag::Formula, Tag::OtherThing, Tag::Medicine];
    let between = |n: &usize| {
        let i = &items[*n];
        let ends = i.place().is_some() || i.any(&other) || i.any(&sides) || marked(i, Tag::Conditional);
        i.is_word() && !ends
    };
    // "right nothing, fridge" is how much came; "not logged" is one phrase
    let denies = |n: usize| {
        let length = items[n].to - items[n].from;
        let whole =
            message.marks[items[n].from].iter().any(|(t, long)| *t == Tag::Negative && *long >= length);
        whole && !(n > 0 && items[n - 1].any(&sides))
    };
    let refused = (0..at).rev().take(REACH).take_while(between).any(denies);
    // "el congelador de la cocina está lleno"
    let small = [Tag::Be, Tag::Just, Tag::Of, Tag::The, Tag::HouseRoom];
    let mut after = items[at + 1..].iter().skip_while(|i| i.is_word() && i.any(&small));
    let full = after.next().is_some_and(|i| marked(i, Tag::NoRoom));
    let vessel = after.next().is_some_and(|i| i.is_word() && i.any(&[Tag::Bottle, Tag::Container]));
    // "está lleno el refri"
    let led = [Tag::The, Tag::CodeArticle, Tag::In];
    let mut before = items[..at].iter().rev().skip_while(|i| i.is_word() && i.any(&led));
    let full_before = before.next().is_some_and(|i| i.is_word() && marked(i, Tag::NoRoom));
    refused || full_before || full && !vessel
}
