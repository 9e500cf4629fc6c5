//! Numbers in words and fractions become numbers: "ciento veinte", "four and a half ounces", "3 1/2 oz", "½".

use super::item::{Amount, Item, Kind, Message, built};
use super::senses::{Sense, Tag};
use crate::domain::volume::Unit;

/// Numbers in words become numbers; "one" alone stays a word, for it mostly is a pronoun.
pub fn in_words(message: &mut Message) {
    message.rewrite(enumerator);
    message.rewrite(|items, at, _| {
        let (value, used) = spelled(items, at)?;
        let pronoun =
            used == 1 && items[at].has(Tag::One) && !is_hour(items, at) && !is_left_ounce(items, at);
        (!pronoun).then(|| built(items, at, used, Kind::Amount(Amount::bare(f64::from(value)))))
    });
    message.rewrite(fraction);
    message.rewrite(|items, at, _| unit_and_half(items, at));
}

/// "1) bottle 9:00": the number only orders a list.
fn enumerator(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let tokens = &message.tokens;
    let small = items[at].amount()?.whole().filter(|n| *n <= 30)?;
    let bracket = items.get(at + 1).and_then(Item::sign) == Some(')') && !tokens[items[at + 1].from].gap;
    let mut before = items[..at].iter().rev().filter_map(Item::sign);
    let mut within = || before.find(|s| matches!(s, '(' | ')')) == Some('(');
    let alone = bracket && (at == 0 || tokens[items[at].from].gap && !within());
    (alone && small > 0).then(|| built(items, at, 2, Kind::Sign(';')))
}

/// "at one", "one o'clock", "a la una".
fn is_hour(items: &[Item], at: usize) -> bool {
    let next = items.get(at + 1);
    let sure = next.is_some_and(|i| i.is_word() && i.any(&[Tag::Oclock, Tag::Am, Tag::Pm]));
    let asked = at > 0
        && items[at - 1].is_word()
        && items[at - 1].any(&[Tag::At, Tag::Since, Tag::HalfPast, Tag::QuarterPast, Tag::QuarterTo]);
    let ends = next.is_none_or(|i| i.sign().is_some() || i.any(&[Tag::And, Tag::Minus]));
    let half = at > 1
        && items[at - 1].any(&[Tag::HalfPast, Tag::QuarterPast, Tag::QuarterTo])
        && items[at - 2].any(&[Tag::At, Tag::Since, Tag::Until, Tag::About, Tag::Before]);
    sure || half || (asked && ends)
}

/// "tomó tres onzas y le quedó una": one of them.
fn is_left_ounce(items: &[Item], at: usize) -> bool {
    let ounces = |i: &Item| i.senses.contains(&Sense::Unit(Unit::Oz));
    let left = at > 0 && items[at - 1].is_word() && items[at - 1].has(Tag::LeftOver);
    let ends = items.get(at + 1).is_none_or(|i| i.sign().is_some() || i.any(&[Tag::In, Tag::And]));
    left && ends && items[..at].iter().any(ounces)
}

/// A number in words: tens and ones after hundreds add up ("ciento veinte", "treinta y cinco").
fn spelled(items: &[Item], at: usize) -> Option<(u32, usize)> {
    let mut value = word_value(items.get(at)?)?;
    let (mut last, mut used) = (value, 1);
    // "got one sixty", but "at one thirty" is a time
    let hour =
        at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::At, Tag::Since, Tag::Until, Tag::From]);
    let tens =
        items.get(at + 1).and_then(word_value).filter(|n| (10..100).contains(n) && value < 10 && !hour);
    if let Some(tens) = tens {
        (value, last, used) = (value * 100 + tens, tens, 2);
    }
    loop {
        let joined = usize::from(items.get(at + used).is_some_and(|i| i.has(Tag::And)));
        let next = items.get(at + used + joined).and_then(word_value);
        match next {
            Some(next) if fits_below(last, next) && (joined == 0 || last >= 20) => {
                value += next;
                last = next;
                used += joined + 1;
            }
            _ => return Some((value, used)),
        }
    }
}

fn word_value(item: &Item) -> Option<u32> {
    item.senses.iter().find_map(|s| match s {
        Sense::Number(value) => Some(*value),
        _ => None,
    })
}

fn fits_below(last: u32, next: u32) -> bool {
    (last >= 100 && next < 100) || ((20..100).contains(&last) && last.is_multiple_of(10) && next < 10)
}

/// Halves and quarters: "3 1/2 oz", "½", "4 and a half oz", "half an ounce".
fn fraction(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let one = items[at].is_word() && items[at].has(Tag::One) && word_value(&items[at]).is_some();
    let number = items[at].amount().filter(|a| a.value < 1000.0);
    let number =
        number.or((one && items.get(at + 1).is_some_and(|i| i.has(Tag::And))).then(|| Amount::bare(1.0)));
    let made = |value: f64, used: usize| Some(built(items, at, used, Kind::Amount(Amount::bare(value))));
    if let Some(whole) = number {
        if let Some((part, used)) = slashed(items, at + 1).or_else(|| vulgar(items, at + 1)) {
            return made(whole.value + part, used + 1);
        }
        if let Some((value, used)) = slashed(items, at).filter(|(_, used)| is_unit(items, at + used)) {
            return made(value, used);
        }
        let and = usize::from(items.get(at + 1).is_some_and(|i| i.has(Tag::And)));
        let article = usize::from(items.get(at + 1 + and).is_some_and(|i| i.has(Tag::Article)));
        let half = at + 1 + and + article;
        let ends = items.get(half).is_some_and(|i| i.has(Tag::Half));
        let hour = at > 0 && items[at - 1].any(&[Tag::At, Tag::Since, Tag::Until, Tag::OfAt]);
        // "no las 6 y media"
        let led = at > 0 && items[at - 1].is_word() && items[at - 1].has(Tag::PluralArticle);
        let hour = hour || led && !is_unit(items, half + 1);
        // "seis y media, 105": an hour, before how much it was
        let much = |n: usize| items.get(n).and_then(Item::amount).is_some_and(|a| a.value >= 15.0);
        let hour =
            hour || at == 0 && items.get(half + 1).is_some_and(|i| i.sign().is_some()) && much(half + 2);
        let complete = !hour && is_complete(items, half + 1);
        return (and == 1 && ends && (is_unit(items, half + 1) || complete))
            .then(|| made(whole.value + 0.5, half + 1 - at))
            .flatten();
    }
    if let Some((value, used)) = vulgar(items, at) {
        return made(value, used);
    }
    let article = usize::from(items.get(at + 1).is_some_and(|i| i.has(Tag::Article)));
    let half = items[at].has(Tag::Half) && is_unit(items, at + 1 + article) && !message.tokens.is_empty();
    half.then(|| made(0.5, 1 + article)).flatten()
}

/// "pumped three and a half, fridge": nothing follows that would be counted.
fn is_complete(items: &[Item], at: usize) -> bool {
    items
        .get(at)
        .is_none_or(|i| i.sign().is_some() || i.is_word() && i.any(&[Tag::In, Tag::LeftOver, Tag::At]))
}

/// "an ounce and a half", "2 oz and a half", "an ounce".
fn unit_and_half(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let article = items[at].is_word() && items[at].any(&[Tag::Article, Tag::One]);
    let value = items[at].amount().map(|a| a.value).or(article.then_some(1.0))?;
    let unit = items.get(at + 1)?.senses.iter().find_map(|s| match s {
        Sense::Unit(unit) => Some(*unit),
        _ => None,
    })?;
    let word = |n: usize, tag: Tag| items.get(n).is_some_and(|i| i.is_word() && i.has(tag));
    let more = usize::from(word(at + 3, Tag::Article));
    let half = word(at + 2, Tag::And) && word(at + 3 + more, Tag::Half) && !is_unit(items, at + 4 + more);
    let made = |value: f64, used: usize| {
        Some(built(items, at, used, Kind::Amount(Amount { value, unit: Some(unit), about: false })))
    };
    match half {
        true => made(value + 0.5, 4 + more),
        false if article && !word(at + 2, Tag::Of) && !word(at + 2, Tag::House) => made(1.0, 2),
        false => None,
    }
}

/// "1/2", "3/4": small over two or four.
fn slashed(items: &[Item], at: usize) -> Option<(f64, usize)> {
    let over = items.get(at)?.amount()?.value;
    let under = items.get(at + 2)?.amount()?.value;
    let slash = items[at + 1].sign() == Some('/');
    let common = slash && over < under && (under == 2.0 || under == 4.0 || under == 3.0);
    common.then_some((over / under, 3))
}

fn vulgar(items: &[Item], at: usize) -> Option<(f64, usize)> {
    let value = match items.get(at)?.sign()? {
        '½' => 0.5,
        '¼' => 0.25,
        '¾' => 0.75,
        _ => return None,
    };
    Some((value, 1))
}

fn is_unit(items: &[Item], at: usize) -> bool {
    items.get(at).is_some_and(|i| i.senses.iter().any(|s| matches!(s, Sense::Unit(_))))
}
