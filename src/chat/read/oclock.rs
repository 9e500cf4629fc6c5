//! Clock times as they are written or spoken: "7:30", "0730", "19h30", "7 y media", "quarter to 8", "2 or 3 am". Morning or
//! evening stays open where the words leave it so.

use super::item::{Amount, Item, Kind, Message};
use super::senses::{Form, Sense, Tag, Verb};
use super::token::Shape;
use super::when::{Clock, When};

pub fn has(items: &[Item], at: usize, tag: Tag) -> bool {
    items.get(at).is_some_and(|i| i.has(tag))
}

pub fn value(items: &[Item], at: usize) -> Option<f64> {
    items.get(at)?.amount().map(|a| a.value)
}

pub fn is_unit(items: &[Item], at: usize) -> bool {
    items.get(at).is_some_and(|i| i.senses.iter().any(|s| matches!(s, Sense::Unit(_))))
}

/// A clock time at this place. `asked`: the words before ask for one, so that a bare number is an hour.
pub fn clock(items: &[Item], at: usize, message: &Message, asked: bool) -> Option<(Clock, usize)> {
    let item = items.get(at)?;
    if let Some(hour) = [(Tag::Noon, 12), (Tag::Midnight, 0)].iter().find(|(tag, _)| item.has(*tag)) {
        return Some((Clock { hour: hour.1, minute: 0, fixed: true }, 1));
    }
    if let Some(found) = spoken(items, at, asked) {
        return Some(found);
    }
    let typed = &message.tokens[item.from].typed;
    let number = item.amount()?;
    let (hour, minute, used, shown) = digits(items, at, message, typed, number.value)
        .or_else(|| three_digits(items, at, typed, number.value).filter(|_| asked))?;
    // "las 6 y media"
    let led = at > 0 && items[at - 1].is_word() && has(items, at - 1, Tag::PluralArticle);
    let asks = asked || led && has(items, at + used + 1, Tag::Half) || parts_hour(items, at + used);
    let (hour, minute, more) = after_hour(items, at + used, hour, minute, asks);
    let (minute, said) = spoken_minutes(items, at + used, message)
        .filter(|_| asked && minute == 0 && more == 0)
        .map_or((minute, 0), |m| (m, 1));
    let shown = shown || more > 0 || said > 0;
    let used = used + more + said;
    let short = short_half(items, at + used, hour, message);
    let half_day = half_of_day(items, at + used, hour).or(short);
    let oclock = usize::from(has(items, at + used, Tag::Oclock));
    let sure = shown || half_day.is_some() || oclock == 1 || (asked && !counts_something(items, at + used));
    if !sure || is_unit(items, at + used) {
        return None;
    }
    let zero_led = typed.starts_with('0');
    let fixed = half_day.is_some() || zero_led || hour >= 13 || hour == 0;
    let hour = half_day.unwrap_or(hour);
    let tail = if half_day.is_some() { 1 } else { oclock };
    (hour < 24 && minute < 60).then_some((Clock { hour, minute, fixed }, used + tail))
}

/// Hour and minute in digits, how many items they take, and whether their form alone shows a clock time.
fn digits(
    items: &[Item],
    at: usize,
    message: &Message,
    typed: &str,
    number: f64,
) -> Option<(u32, u32, usize, bool)> {
    let glued = |n: usize| items.get(at + n).is_some_and(|i| !message.tokens[i.from].gap);
    let minute = |n: usize| {
        let item = items.get(at + n)?;
        let two = message.tokens[item.from].typed.len() == 2 && item.from + 1 == item.to;
        item.amount().filter(|_| two).map(|a| a.value as u32)
    };
    if let Some((hour, minute)) = typed.split_once('.').filter(|(_, m)| m.len() == 2 && number < 24.0) {
        let next = items.get(at + 1);
        let minutes: u32 = minute.parse().ok()?;
        let amount = items.get(at + 2).and_then(Item::amount);
        let dash = next.is_some_and(|i| matches!(i.sign(), Some('-' | ':')))
            && minutes < 60
            && amount.is_some_and(|a| a.value >= 15.0 || !minutes.is_multiple_of(25));
        let told =
            |i: &Item| i.any(&[Tag::I, Tag::He, Tag::Him]) || i.verbs().any(|(_, form)| form == Form::Done);
        let milk = || {
            (at + 1..items.len()).any(|n| {
                let milk = |a: Amount| a.value >= 15.0 || a.unit.is_some() || is_unit(items, n + 1);
                items[n].amount().is_some_and(milk)
            })
        };
        // "6.30 me saqué 120", but "3.25 me saqué" may be ounces
        let before_verb = minutes < 60
            && !minutes.is_multiple_of(25)
            && next.is_some_and(|i| i.is_word() && told(i))
            && milk();
        // "5.15 this morning 140"
        let of_day = minutes < 60 && next.and_then(Item::when).is_some_and(|w| w.part.is_some()) && milk();
        let shown = dash
            || before_verb
            || of_day
            || next
                .is_some_and(|i| i.amount().is_some() || i.any(&[Tag::Bottle, Tag::FeedNoun, Tag::Session]));
        return Some((hour.parse().ok()?, minute.parse().ok()?, 1, shown));
    }
    if number < 25.0 && number.fract() == 0.0 {
        let colon = items.get(at + 1).and_then(Item::sign) == Some(':') && glued(1) && glued(2);
        let hour_sign = has(items, at + 1, Tag::Hour) && glued(1) && glued(2);
        if let Some(minute) = minute(2).filter(|m| *m < 60 && (colon || hour_sign)) {
            let shown = 3 + usize::from(colon && has(items, at + 3, Tag::Hour) && glued(3));
            return Some((number as u32, minute, shown, true));
        }
        let hour_word = usize::from(has(items, at + 1, Tag::Hour));
        // "18h": where it were a span, it would have been taken for one before
        return Some((number as u32, 0, 1 + hour_word, hour_word == 1 && glued(1)));
    }
    let (hour, minute) = ((number / 100.0) as u32, number as u32 % 100);
    let four = typed.len() == 4 && number.fract() == 0.0 && hour < 24 && minute < 60;
    let three = typed.len() == 3 && hour <= 12 && minute < 60 && number.fract() == 0.0;
    let half = |tag: &Tag| has(items, at + 1, *tag);
    let short = glued(1) && [Tag::AmShort, Tag::PmShort].iter().any(half);
    // "am 120 pm 100"
    let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::Am, Tag::Pm]);
    let three =
        three && !led && (heads_a_log(items, at, number) || short || [Tag::Am, Tag::Pm].iter().any(half));
    let shown = (four || three && heads_a_log(items, at, number)) && !is_unit(items, at + 1);
    let hours = usize::from(four && has(items, at + 1, Tag::Hour));
    (four || three).then_some((hour, minute, 1 + hours, shown))
}

/// "20 to 5, 90": no row of labels runs that way.
fn leads(items: &[Item], at: usize) -> bool {
    let backward = value(items, at).zip(value(items, at + 2)).is_some_and(|(minutes, hour)| minutes > hour);
    at == 0 && backward && items.get(at + 3).and_then(Item::sign) == Some(',')
}

/// "830 pump 4.5oz": too much for a bottle, before a word for a session and what came of it.
fn heads_a_log(items: &[Item], at: usize, number: f64) -> bool {
    let noun =
        items.get(at + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::Session, Tag::FeedNoun, Tag::Bottle]));
    let more = (at + 2..items.len()).any(|n| value(items, n).is_some());
    at == 0 && noun && more && number >= 300.0
}

/// "at four thirty": minutes in words, after an hour in words.
fn spoken_minutes(items: &[Item], at: usize, message: &Message) -> Option<u32> {
    let word = |i: &Item| message.tokens[i.from].shape == Shape::Word;
    let minutes = items.get(at).filter(|i| word(i) && at > 0 && word(&items[at - 1]))?.amount()?.whole()?;
    ((10..60).contains(&minutes) && minutes.is_multiple_of(5) && !is_unit(items, at + 1)).then_some(minutes)
}

/// "fed at 830": after a word that asks for a time.
fn three_digits(items: &[Item], at: usize, typed: &str, number: f64) -> Option<(u32, u32, usize, bool)> {
    let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::At, Tag::Since]);
    let (hour, minute) = ((number / 100.0) as u32, number as u32 % 100);
    let fits =
        typed.len() == 3 && number.fract() == 0.0 && minute < 60 && minute.is_multiple_of(5) && hour > 0;
    (led && fits && !is_unit(items, at + 1)).then_some((hour, minute, 1, false))
}

/// "biberón 5 y media 90", "siete y media, 120", "7 y media de la mañana": a part of an hour, and none of an amount.
fn parts_hour(items: &[Item], at: usize) -> bool {
    let part = has(items, at + 1, Tag::Half) || has(items, at + 1, Tag::Quarter);
    let comma = items.get(at + 2).and_then(Item::sign).is_some_and(|s| matches!(s, ',' | '-' | ':'));
    let next = at + 2 + usize::from(comma);
    let amount =
        items.get(next).and_then(Item::amount).is_some_and(|a| a.value >= 15.0 || is_unit(items, next + 1));
    let told = items.get(next).is_some_and(|i| {
        let day = !comma && i.any(&[Tag::Am, Tag::Pm]);
        day || i.verbs().any(|(verb, form)| verb == Verb::Pump && form == Form::Done)
    });
    part && (amount || told)
}

/// "y media", "y cuarto", "menos cuarto", "y 20" after an hour.
fn after_hour(items: &[Item], at: usize, hour: u32, minute: u32, asked: bool) -> (u32, u32, usize) {
    let (and, less) = (has(items, at, Tag::And), has(items, at, Tag::Minus));
    if minute != 0 || !asked || !(and || less) || is_unit(items, at + 2) {
        return (hour, minute, 0);
    }
    let number = value(items, at + 1).filter(|v| {
        v.fract() == 0.0 && (5.0..60.0).contains(v) && (less || *v > 24.0 || has(items, at, Tag::AndMinutes))
    });
    let minutes = match () {
        () if has(items, at + 1, Tag::Half) => 30,
        () if has(items, at + 1, Tag::Quarter) => 15,
        () => match number {
            Some(minutes) => minutes as u32,
            None => return (hour, minute, 0),
        },
    };
    if less { ((hour + 23) % 24, 60 - minutes, 2) } else { (hour, minutes, 2) }
}

/// "5a", "10p": a letter that touches the hour.
fn short_half(items: &[Item], at: usize, hour: u32, message: &Message) -> Option<u32> {
    let item = items.get(at).filter(|i| !message.tokens[i.from].gap && (1..=12).contains(&hour))?;
    match () {
        () if item.has(Tag::AmShort) => Some(hour % 12),
        () if item.has(Tag::PmShort) => Some(hour % 12 + 12),
        () => None,
    }
}

/// The hour by am or pm.
fn half_of_day(items: &[Item], at: usize, hour: u32) -> Option<u32> {
    let item = items.get(at)?;
    match () {
        () if hour > 12 => None,
        () if item.has(Tag::Am) => Some(hour % 12),
        () if item.has(Tag::Pm) => Some(hour % 12 + 12),
        () => None,
    }
}

/// What follows tells that the number counts something, so that it is no hour.
fn counts_something(items: &[Item], at: usize) -> bool {
    let Some(next) = items.get(at) else { return false };
    let noun = next.any(&[Tag::Plural, Tag::Times, Tag::Minute, Tag::Day, Tag::Week, Tag::Celsius]);
    noun || next.sign() == Some('%')
        || (next.sign() == Some('/') && items.get(at + 1).is_some_and(|i| i.amount().is_some()))
}

/// "half 7", "half past 7", "quarter to 8", "10 past 7".
fn spoken(items: &[Item], at: usize, asked: bool) -> Option<(Clock, usize)> {
    let hour_at = |n: usize| value(items, at + n).filter(|v| v.fract() == 0.0 && (1.0..=12.0).contains(v));
    let make = |hour: f64, minute: u32, used: usize| {
        let half = half_of_day(items, at + used, hour as u32);
        let clock = Clock { hour: half.unwrap_or(hour as u32), minute, fixed: half.is_some() };
        (!is_unit(items, at + used)).then_some((clock, used + usize::from(half.is_some())))
    };
    // "quarter past midnight", "10 past noon"
    let named = |n: usize| {
        [(Tag::Noon, 12), (Tag::Midnight, 0)].into_iter().find(|(tag, _)| has(items, at + n, *tag))
    };
    let sure = |hour: u32, minute: u32, used: usize| Some((Clock { hour, minute, fixed: true }, used));
    match () {
        () if has(items, at, Tag::HalfPast) && named(1).is_some() => sure(named(1)?.1, 30, 2),
        () if has(items, at, Tag::QuarterPast) && named(1).is_some() => sure(named(1)?.1, 15, 2),
        () if has(items, at, Tag::QuarterTo) && named(1).is_some() => sure((named(1)?.1 + 23) % 24, 45, 2),
        () if has(items, at + 1, Tag::Past) && named(2).is_some() => {
            let minute = value(items, at).filter(|v| (1.0..60.0).contains(v) && v.fract() == 0.0)?;
            sure(named(2)?.1, minute as u32, 3)
        }
        () if has(items, at, Tag::HalfPast) => make(hour_at(1)?, 30, 2),
        () if has(items, at, Tag::QuarterPast) => make(hour_at(1)?, 15, 2),
        () if has(items, at, Tag::QuarterTo) => make((hour_at(1)? + 10.0) % 12.0 + 1.0, 45, 2),
        () if (asked || leads(items, at))
            && items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::To))
            && !is_unit(items, at + 3) =>
        {
            let minute = value(items, at).filter(|v| [5.0, 10.0, 20.0, 25.0].contains(v))?;
            make((hour_at(2)? + 10.0) % 12.0 + 1.0, 60 - minute as u32, 3)
        }
        // "diez para las 8": not "2 bolsas para las 8".
        () if has(items, at + 1, Tag::MinutesTo) && (asked || at == 0 || items[at - 1].sign().is_some()) => {
            let minute = value(items, at).filter(|v| [5.0, 10.0, 15.0, 20.0, 25.0].contains(v))?;
            make((hour_at(2)? + 10.0) % 12.0 + 1.0, 60 - minute as u32, 3)
        }
        () if has(items, at + 1, Tag::Past) => {
            let minute = value(items, at).filter(|v| (1.0..60.0).contains(v) && v.fract() == 0.0)?;
            make(hour_at(2)?, minute as u32, 3)
        }
        () => None,
    }
}

/// "from 9 last night".
pub fn hour_of_part(items: &[Item], at: usize) -> bool {
    let hour = items.get(at + 1).and_then(Item::amount).and_then(|a| a.whole()).is_some_and(|h| h <= 12);
    let part = items.get(at + 2).and_then(Item::when).is_some_and(|w| w.part.is_some() && w.clock.is_none());
    items[at].is_word() && items[at].has(Tag::From) && hour && part
}

/// "or 3", "and 3", "-3": the later of two clock times.
pub fn later_of_two(items: &[Item], at: usize, message: &Message) -> Option<(Clock, usize)> {
    let joint = items.get(at)?;
    // "entre las 2 y las 3"
    let between = at >= 2 && has(items, at - 2, Tag::Between) && joint.has(Tag::PluralArticle);
    let words = (between || joint.any(&[Tag::OrOnly, Tag::And, Tag::To])) && joint.is_word();
    let dash = joint.sign() == Some('-') && !message.tokens[joint.from].gap;
    let skip = usize::from(has(items, at + 1, Tag::At) || has(items, at + 1, Tag::CodeArticle));
    let next = at + 1 + skip;
    if !(words || dash) || !items.get(next)?.amount().is_some_and(|a| a.value <= 24.0) {
        return None;
    }
    let (clock, used) = clock(items, next, message, true)?;
    // "tomó 90 a las 10 y a las 11 me saqué 120": when something of its own was done
    let verb =
        |n: usize| items.get(n).is_some_and(|i| i.is_word() && i.verbs().any(|(_, f)| f == Form::Done));
    let who = usize::from(
        items.get(next + used).is_some_and(|i| i.is_word() && i.any(&[Tag::I, Tag::He, Tag::Person])),
    );
    let before = items[..at].iter().any(|i| i.verbs().any(|(_, f)| f == Form::Done));
    if before && verb(next + used + who) && joint.is_word() && joint.has(Tag::And) {
        return None;
    }
    // "4oz at 10 and 3 at 1": an amount, with an hour of its own
    let own = skip == 0
        && has(items, next + used, Tag::At)
        && value(items, next + used + 1).is_some_and(|v| v <= 24.0);
    (!own).then_some((clock, 1 + skip + used))
}

/// "2 or 3 am": what settles the later settles the earlier.
pub fn agree(early: Clock, latest: Clock) -> Clock {
    if latest.fixed && !early.fixed && latest.hour >= 12 && early.hour < 12 && early.hour + 12 <= latest.hour
    {
        return Clock { hour: early.hour + 12, fixed: true, ..early };
    }
    Clock { fixed: early.fixed || (latest.fixed && early.hour <= latest.hour), ..early }
}

/// "120 on 3/4", "120 el 3/4", but not "on 3/4 of it": a date, where milk was told of before.
pub fn is_dated(items: &[Item], at: usize) -> bool {
    let Some(word) = at.checked_sub(1).map(|n| &items[n]).filter(|i| i.is_word()) else { return false };
    let on = word.has(Tag::On) || word.has(Tag::CodeArticle) && !word.has(Tag::PluralArticle);
    let share =
        items.get(at + 3).is_some_and(|i| i.any(&[Tag::Of, Tag::Bottle, Tag::Container, Tag::LeftOver]));
    let told = items[..at].iter().any(|i| i.amount().is_some() || i.any(&[Tag::Container, Tag::Bottle]));
    on && told && !share && !is_unit(items, at + 3)
}

/// "the bottle from 9", but not "a bottle from 12": the hour names what was spoken of.
pub fn is_of_an_hour(items: &[Item], at: usize) -> bool {
    let hour = items.get(at + 1).and_then(Item::amount).and_then(|a| a.whole()).is_some_and(|h| h <= 12);
    let named = at > 1
        && items[at - 1].any(&[Tag::Bottle, Tag::One, Tag::Milk])
        && items[at - 2].is_word()
        && items[at - 2].has(Tag::The);
    items[at].is_word() && items[at].has(Tag::From) && hour && named
}

/// "fed 90 at 7, 10 and 1": small numbers after a clock time, joined to the end, are clock times as well.
pub fn more_hours(message: &mut Message) {
    let hour = |i: &Item| {
        i.amount().filter(|a| a.unit.is_none() && !a.about)?.whole().filter(|h| (1..=12).contains(h))
    };
    let Some(start) = message.items.iter().position(|i| i.when().is_some_and(|w| w.clock.is_some())) else {
        return;
    };
    let mut row: Vec<usize> = (start + 1..message.items.len())
        .take_while(|at| {
            let item = &message.items[*at];
            hour(item).is_some() || item.sign() == Some(',') || item.has(Tag::And) || item.when().is_some()
        })
        .collect();
    let told = |at: &usize| hour(&message.items[*at]).is_some() || message.items[*at].when().is_some();
    row.truncate(row.iter().rposition(told).map_or(0, |last| last + 1));
    let timed = [Verb::Nurse, Verb::Feed, Verb::Drink, Verb::Pump];
    let boob = message.items.first().is_some_and(|i| i.has(Tag::SideWord))
        || message.items[..start].windows(2).any(|p| p[0].sign().is_some() && p[1].has(Tag::SideWord));
    let fed = boob || message.items[..start].iter().any(|i| timed.iter().any(|v| i.is(*v)));
    let amount = (0..start).any(|at| value(&message.items, at).is_some_and(|v| v >= 15.0))
        || boob
        || message.items[..start].iter().any(|i| i.is(Verb::Nurse));
    // "at 11, 2 and 6, 4oz each"
    let after = row.last().map_or(message.items.len(), |last| last + 1);
    let milk =
        |at: usize| value(&message.items, at).is_some_and(|v| v >= 15.0 || is_unit(&message.items, at + 1));
    let amount = amount || (after..message.items.len()).any(milk);
    let next = row.last().and_then(|last| message.items.get(last + 1));
    let ends = next.is_none_or(|i| matches!(i.sign(), Some('.' | ',' | '!' | ';' | ')' | ':' | '-')));
    let joined = row.iter().any(|at| message.items[*at].has(Tag::And));
    if fed && amount && ends && joined {
        for at in row {
            if let Some(hour) = hour(&message.items[at]) {
                let clock = Clock { hour, minute: 0, fixed: false };
                message.items[at].kind = Kind::When(When::clock(clock));
            }
        }
    }
}
