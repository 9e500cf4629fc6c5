//! Dates among the items: "14 Nov", "the 3rd", "2027-03-01", "14/11", "from April".

use super::item::{Item, Kind, Message, built};
use super::oclock::{has, is_dated, is_unit};
use super::senses::{Sense, Tag, Verb};
use super::when::{DayName, When};

fn month(items: &[Item], at: usize) -> Option<u32> {
    items.get(at)?.senses.iter().find_map(|s| match s {
        Sense::Month(month) => Some(*month),
        _ => None,
    })
}

fn day_of_month(items: &[Item], at: usize) -> Option<u32> {
    items.get(at)?.amount()?.whole().filter(|d| (1..=31).contains(d))
}

/// "14 Nov", "November 14th", "the 3rd", "2027-03-01", "14/11", "from April".
pub fn date(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let make = |day, used| Some(built(items, at, used, Kind::When(When::day(day))));
    if let Some((day, used)) = numeric_date(items, at, message) {
        return make(day, used);
    }
    if let Some(day) = day_of_month(items, at) {
        let ordinal =
            usize::from(has(items, at + 1, Tag::Ordinal) && !message.tokens[items[at + 1].from].gap);
        let of = usize::from(has(items, at + 1 + ordinal, Tag::Of));
        // "31 may be used again"
        let verb =
            |n: usize| items.get(n).is_some_and(|i| i.is_word() && (i.has(Tag::Be) || i.is(Verb::Release)));
        let used = |n: usize| message.has(n, message.tokens.len(), Tag::Be) && verb(at + 2);
        if let Some(month) = month(items, at + 1 + ordinal + of).filter(|_| !used(items[at].to)) {
            return make(DayName::Date(day, Some(month), None), 2 + ordinal + of);
        }
        let led = at > 0
            && items[at - 1].any(&[
                Tag::The,
                Tag::From,
                Tag::Of,
                Tag::Since,
                Tag::Dated,
                Tag::In,
                Tag::Label,
                Tag::CodeArticle,
            ]);
        return (ordinal == 1
            && led
            && !items
                .get(at + 2)
                .is_some_and(|i| i.is_word() && i.any(&[Tag::Session, Tag::FeedNoun, Tag::Bottle])))
        .then(|| make(DayName::Date(day, None, None), 2))
        .flatten();
    }
    let month = month(items, at)?;
    if let Some(day) = day_of_month(items, at + 1).filter(|_| !is_unit(items, at + 2)) {
        let ordinal = usize::from(has(items, at + 2, Tag::Ordinal));
        return make(DayName::Date(day, Some(month), None), 2 + ordinal);
    }
    let introduced = at > 0
        && items[at - 1].any(&[Tag::From, Tag::In, Tag::Of, Tag::Since, Tag::Until, Tag::Dated, Tag::Label]);
    let names = items.get(at + 1).is_some_and(|i| i.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]));
    (introduced || names).then(|| make(DayName::Month(month), 1)).flatten()
}

/// "2027-03-01", "14/11", "14/11/26"; where day and month can't be told apart: both.
fn numeric_date(items: &[Item], at: usize, message: &Message) -> Option<(DayName, usize)> {
    let first = items.get(at)?.amount()?.whole()?;
    let sign = items.get(at + 1)?.sign().filter(|s| matches!(s, '/' | '-' | '.'))?;
    let second = items.get(at + 2)?.amount()?.whole()?;
    let tight = (1..=2).all(|n| !message.tokens[items[at + n].from].gap);
    let third = items
        .get(at + 3)
        .and_then(Item::sign)
        .filter(|s| *s == sign)
        .and_then(|_| items.get(at + 4)?.amount()?.whole());
    if !tight {
        return None;
    }
    if let Some(third) = third {
        if first > 1900 && second <= 12 && third <= 31 {
            return Some((DayName::Date(third, Some(second), Some(first as i32)), 5));
        }
        let year = if third < 100 { 2000 + third } else { third } as i32;
        return either(first, second, Some(year)).filter(|_| sign == '/' || year > 1900).map(|day| (day, 5));
    }
    let introduced = at > 0
        && (items[at - 1].any(&[Tag::From, Tag::Of, Tag::Since, Tag::Dated])
            || items[at - 1].is(Verb::Label) && items[at - 1].is_word())
        || is_dated(items, at);
    let plain = sign == '/' && first.max(second) > 12 && first.max(second) <= 31 && first.min(second) <= 12;
    (sign == '/' && (introduced || plain)).then(|| either(first, second, None).map(|day| (day, 3))).flatten()
}

fn either(first: u32, second: u32, year: Option<i32>) -> Option<DayName> {
    match (first, second) {
        (d, m) if d > 12 && d <= 31 && m <= 12 => Some(DayName::Date(d, Some(m), year)),
        (m, d) if d > 12 && d <= 31 && m <= 12 => Some(DayName::Date(d, Some(m), year)),
        (a, b) if a <= 12 && a == b => Some(DayName::Date(a, Some(a), year)),
        (a, b) if a <= 12 && b <= 12 => Some(DayName::Either(a, b)),
        _ => None,
    }
}
