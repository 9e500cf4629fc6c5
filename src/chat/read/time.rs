//! Finds times among the items: spans and "ago", days and dates, parts of a day, clock times, and what each is there for.
//! A number that is part of a time is no amount any more; that is why times are found first.

use super::dates::date;
use super::item::{Item, Kind, Message, built};
use super::named::{heads_list, mark_names};
use super::oclock::{
    agree, clock, has, hour_of_part, is_of_an_hour, is_unit, later_of_two, more_hours, value,
};
use super::senses::{Day, Form, Part, Sense, Tag, Verb};
use super::when::{Clock, DayName, Role, When};
use crate::domain::place::Place;
use crate::domain::volume::Unit;

const DAY: f64 = 24.0 * 60.0;

/// Replaces all items that tell a time.
pub fn find(message: &mut Message) {
    message.rewrite(span);
    message.rewrite(|items, at, _| ago(items, at));
    message.rewrite(date);
    if is_list(message) {
        message.rewrite(listed);
    }
    message.rewrite(|items, at, _| named(items, at));
    let outage = message.has(0, message.tokens.len(), Tag::Outage);
    let lenient = has_amount(&message.items) || outage;
    message.rewrite(|items, at, message| prefixed(items, at, message, lenient));
    message.rewrite(loose);
    if lenient {
        message.rewrite(|items, at, _| two_hours(items, at));
        message.rewrite(line_hour);
    }
    message.rewrite(between);
    more_hours(message);
    message.rewrite(merged);
    message.rewrite(|items, at, _| role(items, at));
    message.rewrite(onward);
    mark_names(message);
}

/// "bottles: 9 - 4, 12 - 3.5": a word for feeds or sessions leads a list.
fn is_list(message: &Message) -> bool {
    let head = message.items.iter().position(|i| i.is_word() && i.has(Tag::ListHead));
    let colon = message.items.iter().position(|i| i.sign() == Some(':'));
    let dashes = message.items.iter().filter(|i| i.sign() == Some('-')).count();
    head.is_some_and(|at| at <= 2 && colon.is_some_and(|c| c > at && c <= at + 3)) && dashes >= 2
}

/// An hour before a dash and an amount.
fn listed(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let hour = items[at].amount()?.whole().filter(|h| *h <= 24)?;
    let dash = items.get(at + 1)?.sign() == Some('-') && message.tokens[items[at + 1].from].gap;
    items.get(at + 2)?.amount()?;
    let dash = dash && message.tokens[items[at].from].gap;
    let clock = Clock { hour: hour % 24, minute: 0, fixed: hour > 12 };
    dash.then(|| built(items, at, 2, Kind::When(When::clock(clock))))
}

/// A number of this size surely is an amount, so that another, small one may be a clock time.
fn has_amount(items: &[Item]) -> bool {
    (0..items.len()).any(|at| value(items, at).is_some_and(|v| v >= 25.0 || is_unit(items, at + 1)))
}

/// "2 hrs", "half an hour", "an hour and a half", "1h30", "25 min".
fn span(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    if has(items, at, Tag::HalfHour) {
        return Some(built(items, at, 1, Kind::Lasting(30.0)));
    }
    if has(items, at, Tag::QuarterHour) {
        return Some(built(items, at, 1, Kind::Lasting(15.0)));
    }
    if has(items, at, Tag::ThreeQuarterHour) {
        return Some(built(items, at, 1, Kind::Lasting(45.0)));
    }
    let article = has(items, at, Tag::Article) || has(items, at, Tag::One);
    // "hace hora y media", "lleva hora y media": one hour, though no one says so.
    let half = has(items, at + 1, Tag::And) && has(items, at + 2, Tag::Half);
    let ago = at > 0 && has(items, at - 1, Tag::AgoBefore);
    let bare = has(items, at, Tag::Hour) && (ago || half);
    let number = value(items, at).or((article || bare).then_some(1.0))?;
    let noun = at + usize::from(!bare);
    let unit = if has(items, noun, Tag::Hour) {
        60.0
    } else if has(items, noun, Tag::Minute) {
        1.0
    } else if has(items, noun, Tag::Day) {
        DAY
    } else if has(items, noun, Tag::Week) {
        7.0 * DAY
    } else {
        return None;
    };
    let four = message.tokens[items[at].from].typed.len() == 4 && (100.0..2400.0).contains(&number);
    if unit == 60.0 && (clock_with_hour_sign(items, at, message) || four && number % 100.0 < 60.0) {
        return None;
    }
    let (more, used) = rest_of_span(items, noun + 1, unit);
    Some(built(items, at, noun + 1 - at + used, Kind::Lasting(number * unit + more)))
}

/// "19h30" and "a las 19 h" are clock times.
fn clock_with_hour_sign(items: &[Item], at: usize, message: &Message) -> bool {
    let minutes = items.get(at + 2).is_some_and(|i| i.amount().is_some() && !message.tokens[i.from].gap);
    // "110ml 18h"
    let glued = items.get(at + 1).is_some_and(|i| i.to == i.from + 1 && !message.tokens[i.from].gap);
    let late = items[at].amount().is_some_and(|a| (13.0..24.0).contains(&a.value) && a.value.fract() == 0.0);
    let comma = at > 0
        && items[at - 1].sign() == Some(',')
        && items.get(at + 2).is_some_and(|i| i.amount().is_some());
    let beside = comma || at == 0 || is_unit(items, at - 1) || items[at - 1].amount().is_some();
    let ends = items.get(at + 2).is_none_or(|i| i.sign().is_some() || i.amount().is_some());
    // "biberones: 10h 90, 13h 100"
    let head = |i: &Item| i.is_word() && i.any(&[Tag::ListHead, Tag::Bottle, Tag::FeedNoun, Tag::Session]);
    let sign = at > 0 && (matches!(items[at - 1].sign(), Some(':' | ',')) || head(&items[at - 1]));
    let poured =
        items.get(at + 2).and_then(Item::amount).is_some_and(|a| a.unit.is_some() || a.value >= 60.0);
    let hour = value(items, at).is_some_and(|v| v <= 24.0 && v.fract() == 0.0);
    minutes
        || glued && late && beside && ends
        || glued && hour && sign && poured
        || (at > 0
            && (has(items, at - 1, Tag::At) || has(items, at - 1, Tag::Since))
            && !has(items, at + 2, Tag::Ago))
}

fn rest_of_span(items: &[Item], at: usize, unit: f64) -> (f64, usize) {
    let and = usize::from(has(items, at, Tag::And));
    let article = usize::from(has(items, at + and, Tag::Article));
    if and == 1 && has(items, at + and + article, Tag::Half) {
        return (unit / 2.0, and + article + 1);
    }
    match value(items, at + and) {
        Some(minutes) if unit == 60.0 && has(items, at + and + 1, Tag::Minute) => (minutes, and + 2),
        _ => (0.0, 0),
    }
}

/// "an hour ago", "hace 2 horas"; days ago name a day.
fn ago(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let before = has(items, at, Tag::AgoBefore);
    let about = usize::from(before && has(items, at + 1, Tag::About));
    let span = at + usize::from(before) + about;
    let Kind::Lasting(minutes) = items.get(span)?.kind else { return None };
    let after = has(items, span + 1, Tag::Ago);
    if !before && !after {
        return None;
    }
    let when =
        if minutes >= DAY { When::day(DayName::Back((minutes / DAY) as i64)) } else { When::ago(minutes) };
    Some(built(items, at, usize::from(before) + about + 1 + usize::from(!before && after), Kind::When(when)))
}

/// Words for days, parts of a day, and now.
fn named(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let item = &items[at];
    if !item.is_word() {
        return None;
    }
    let before = item.to - item.from == 1
        && item.has(Tag::Before)
        && items.get(at + 1).is_some_and(|i| i.is_word() && !i.has(Tag::And) || is_hour(items, at + 1));
    if before {
        return None;
    }
    // "desde la mañana" is today's
    let since = at > 0 && items[at - 1].is_word() && items[at - 1].has(Tag::Since);
    let when = item.senses.iter().find_map(|s| match s {
        Sense::Day(Day::Tomorrow) if since => Some(When::part(Part::ThisMorning)),
        Sense::Day(day) => Some(When::day(day_name(*day))),
        Sense::Part(part) => Some(When::part(*part)),
        _ => None,
    });
    // "7 de la mañana" is a clock time, "lo de la mañana" names milk
    let half = item.any(&[Tag::Am, Tag::Pm]);
    let hour = |i: &Item| i.amount().is_some() || i.any(&[Tag::Half, Tag::Quarter, Tag::Noon, Tag::Oclock]);
    if half && (at == 0 || hour(&items[at - 1])) {
        return None;
    }
    let when = when.map(|w| if half { When { role: Role::Names, ..w } } else { w });
    let now = item.has(Tag::NowOnly).then(|| When { now: true, ..When::default() });
    let when = when.or(now)?;
    let (mut built, used) = built(items, at, 1, Kind::When(when));
    built.senses.clone_from(&item.senses);
    Some((built, used))
}

/// "before 6", but not "before 90" or "before 3 oz".
fn is_hour(items: &[Item], at: usize) -> bool {
    let hour = items[at].amount().and_then(|a| a.whole()).is_some_and(|n| n <= 12);
    hour && !is_unit(items, at + 1)
}

fn day_name(day: Day) -> DayName {
    match day {
        Day::Today => DayName::Back(0),
        Day::Yesterday => DayName::Back(1),
        Day::BeforeYesterday => DayName::Back(2),
        Day::Tomorrow => DayName::Back(-1),
        Day::LastWeek => DayName::LastWeek,
        Day::Monday => DayName::Weekday(0),
        Day::Tuesday => DayName::Weekday(1),
        Day::Wednesday => DayName::Weekday(2),
        Day::Thursday => DayName::Weekday(3),
        Day::Friday => DayName::Weekday(4),
        Day::Saturday => DayName::Weekday(5),
        Day::Sunday => DayName::Weekday(6),
    }
}

/// A clock time after a word that asks for one: "at 7", "since 10", "around 2 or 3", "a las 7 y media".
fn prefixed(items: &[Item], at: usize, message: &Message, lenient: bool) -> Option<(Item, usize)> {
    let word = &items[at];
    let between = word.has(Tag::Between)
        && value(items, at + 1).is_some_and(|v| v <= 24.0)
        && (value(items, at + 3).or(value(items, at + 4))).is_some_and(|v| v <= 24.0);
    let strict = between || word.any(&[Tag::At, Tag::Since, Tag::Until, Tag::OfAt]);
    let dotted = word.has(Tag::From)
        && items
            .get(at + 1)
            .is_some_and(|i| i.amount().is_some_and(|a| a.value.fract() != 0.0 && a.value < 24.0));
    let dotted =
        dotted || spans_hours(items, at, message) || hour_of_part(items, at) || is_of_an_hour(items, at);
    let beside = word.has(Tag::Before);
    let drunk = [Verb::Leave, Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Want];
    let amount = at > 0 && items[at - 1].is_word() && drunk.iter().any(|v| items[at - 1].is(*v));
    // "around 1, 4.5, fridge": an amount of its own follows
    let sign = |n: usize| items.get(n).and_then(Item::sign) == Some(',');
    let own = sign(at + 2) && value(items, at + 3).is_some() && !has(items, at + 4, Tag::LeftOver);
    let about = word.has(Tag::AtMaybe) && (lenient || own) && !amount;
    // "took 3.5 for me around 1"
    let told =
        || has(items, at.saturating_sub(1), Tag::It) || items[..at].iter().any(|i| i.amount().is_some());
    let plain = at > 0
        && items[at - 1].verbs().next().is_none()
        && !items[at - 1].any(&[Tag::OrOnly, Tag::And])
        && items[at - 1].sign().is_none();
    let ends = items.get(at + 2).is_none_or(|i| i.sign().is_some());
    let hour = items.get(at + 1).and_then(|i| i.amount()).and_then(|a| a.whole()).is_some_and(|n| n <= 12);
    let spat = at > 0 && message.within(items[at - 1].from, Tag::SpitUp);
    let about = about || !spat && word.has(Tag::AtMaybe) && hour && plain && ends && told();
    if word.has(Tag::OfAt) && is_part_of(items, at) {
        return None;
    }
    if !(strict || beside || about || dotted) || !word.is_word() && word.sign() != Some('@') {
        return None;
    }
    let skip = usize::from(strict && (has(items, at + 1, Tag::About) || has(items, at + 1, Tag::At)));
    let start = at + 1 + skip;
    let (clock, used) = clock(items, start, message, true)?;
    // "a la 1", but "a la 3" is bag 3.
    if word.has(Tag::AtOne) && items[start].amount().is_none_or(|a| a.value != 1.0) {
        return None;
    }
    if about && items[start].amount().is_some_and(|a| a.value > 12.0 && a.value.fract() == 0.0) {
        return None;
    }
    let mut when = When { role: role_of(items, at), ..When::clock(clock) };
    let mut total = 1 + skip + used;
    if let Some((latest, more)) = later_of_two(items, at + total, message) {
        when.clock_latest = Some(latest);
        when.clock = Some(agree(clock, latest));
        total += more;
    }
    let (mut item, total) = built(items, at, total, Kind::When(when));
    item.senses = word.senses.iter().copied().filter(is_kept).collect();
    Some((item, total))
}

/// "2 oz de las 4": how much of how much, where the second is the larger.
fn is_part_of(items: &[Item], at: usize) -> bool {
    let ounces = at > 1 && items[at - 1].senses.contains(&Sense::Unit(Unit::Oz));
    let whole = value(items, at + 1).filter(|w| ounces && *w <= 12.0);
    let ends =
        items.get(at + 2).is_none_or(|i| i.sign().is_some() || i.any(&[Tag::And, Tag::But, Tag::Relative]));
    ends && whole.zip(value(items, at.saturating_sub(2))).is_some_and(|(whole, part)| part < whole)
}

/// "power was out from 1 till 6": two hours, where no containers are spoken of.
fn spans_hours(items: &[Item], at: usize, message: &Message) -> bool {
    let hour =
        |n: usize| items.get(n).and_then(Item::amount).and_then(|a| a.whole()).is_some_and(|h| h <= 24);
    if !(items[at].is_word() && items[at].has(Tag::From) && hour(at + 1)) {
        return false;
    }
    let alone = items.get(at + 2).is_none_or(|i| i.sign().is_some() || i.any(&[Tag::And, Tag::Am, Tag::Pm]));
    let open = items[..at].iter().any(|i| i.is(Verb::Open));
    if alone && (open || message.has(0, message.tokens.len(), Tag::Outage)) {
        return true;
    }
    if !hour(at + 3) {
        return false;
    }
    let joint = items.get(at + 2).is_some_and(|i| i.any(&[Tag::Until, Tag::To]) || i.sign() == Some('-'));
    let told = message.has(0, message.tokens.len(), Tag::Outage)
        || items[..at].iter().any(|i| i.is(Verb::Nurse) || i.is(Verb::Open) || i.has(Tag::OutWord))
        || items[..at].iter().any(|i| i.place() == Some(Place::Room))
        || items.get(at + 4).and_then(Item::sign) == Some(':');
    joint && told
}

/// "out since 10" tells a place as well.
fn is_kept(sense: &Sense) -> bool {
    matches!(sense, Sense::Tag(Tag::At) | Sense::Place(_))
}

fn role_of(items: &[Item], at: usize) -> Role {
    let word = &items[at];
    let of_a_feed =
        at > 0 && items[at - 1].any(&[Tag::FeedNoun, Tag::Session]) && !items[at - 1].has(Tag::Bottle);
    match () {
        () if word.has(Tag::Since) => Role::Since,
        () if word.has(Tag::Until) => Role::Until,
        () if word.has(Tag::OfAt) && !of_a_feed => Role::Names,
        // "just after noon"
        () if word.has(Tag::Before) && (is_told_by(items, at) || word.to - word.from > 1) => Role::At,
        () if word.has(Tag::Before) => Role::Beside,
        () if word.has(Tag::From) && is_span_told(items, at) => Role::At,
        () if word.has(Tag::From) => Role::Names,
        () => Role::At,
    }
}

/// "from 7 to 7:30 fed 110": how long it took, and no milk of those hours.
fn is_span_told(items: &[Item], at: usize) -> bool {
    let done = |i: &Item| i.verbs().any(|(_, form)| form == Form::Done);
    let joint = items
        .get(at + 2)
        .is_some_and(|i| i.is_word() && i.any(&[Tag::To, Tag::Until]) || i.sign() == Some('-'));
    joint && (at == 0 || done(&items[at - 1]))
}

/// "has taken 100ml by 3pm": when it was, roughly.
fn is_told_by(items: &[Item], at: usize) -> bool {
    let fed = [Verb::Take, Verb::Drink, Verb::Feed, Verb::Give, Verb::Finish, Verb::Pump];
    let done = |i: &Item| i.verbs().any(|(v, form)| form == Form::Done && fed.contains(&v));
    let timed = items[..at]
        .iter()
        .any(|i| i.is_word() && i.has(Tag::At) || i.when().is_some_and(|w| w.clock.is_some()));
    items[at].has(Tag::By) && !timed && items[..at].iter().any(done)
}

/// "from last night on": open to the present.
fn onward(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let when = *items[at].when().filter(|w| matches!(w.role, Role::Names | Role::Since))?;
    let next = items.get(at + 1).filter(|i| i.is_word())?;
    let marks = message.marks[next.from].iter().filter(|(tag, _)| *tag == Tag::Onward);
    let end = next.from + marks.map(|(_, length)| *length).max()?;
    let used = items[at..].iter().take_while(|i| i.from < end).count();
    let ends = items.get(at + used).is_none_or(|i| i.sign().is_some() || i.any(&[Tag::And, Tag::But]));
    let role = Role::Since;
    ends.then(|| built(items, at, used, Kind::When(When { role, ..when })))
}

/// "12 85" on a line of its own, among lines that begin with a clock time.
fn line_hour(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let opens = |n: usize| n == 0 || message.tokens[items[n].from].line;
    let entry = |n: usize| {
        opens(n)
            && items[n].when().is_some_and(|w| w.clock.is_some())
            && items.get(n + 1).is_some_and(|i| i.amount().is_some())
    };
    let hour = items[at].amount().filter(|a| a.unit.is_none())?.whole().filter(|h| *h <= 24)?;
    let amount = items.get(at + 1)?.amount()?;
    // "8am 90 y 12 100"
    let next = at > 0
        && (items[at - 1].sign() == Some(',') || items[at - 1].is_word() && items[at - 1].has(Tag::And));
    let told =
        |n: usize| items[n].when().is_some_and(|w| w.clock.is_some()) && items[n + 1].amount().is_some();
    let goes_on = next && at > 2 && told(at - 3);
    if goes_on && amount.value >= 15.0 && items.get(at + 2).is_none_or(|i| !i.has(Tag::Plural)) {
        let clock = Clock { hour: hour % 24, minute: 0, fixed: hour > 12 };
        return Some(built(items, at, 1, Kind::When(When::clock(clock))));
    }
    let bare = opens(at) && (amount.value >= 15.0 || is_unit(items, at + 2));
    let clock = Clock { hour: hour % 24, minute: 0, fixed: hour > 12 };
    (bare && (0..items.len()).any(entry)).then(|| built(items, at, 1, Kind::When(When::clock(clock))))
}

/// "6 or 7, 100 fridge": two small numbers beside an amount are hours.
fn two_hours(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let hour = |n: usize| {
        items.get(n)?.amount().filter(|a| a.unit.is_none() && !a.about)?.whole().filter(|h| *h <= 12)
    };
    let (first, last) = (hour(at)?, hour(at + 2)?);
    let or = items[at + 1].is_word() && items[at + 1].has(Tag::OrOnly);
    let alone = at == 0 && items.get(at + 3).is_some_and(|i| i.sign() == Some(','));
    let clock = |hour: u32| Clock { hour, minute: 0, fixed: false };
    let when = When { clock_latest: Some(clock(last)), ..When::clock(clock(first)) };
    (or && alone && !is_unit(items, at + 3)).then(|| built(items, at, 3, Kind::When(when)))
}

/// A clock time that shows itself as one: "7:30", "9am", "0730", "19h30", "noon".
fn loose(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    // "110 not 1110": the amount that was typed wrong
    let denied = at > 1 && items[at - 1].is_word() && items[at - 1].has(Tag::Wasnt);
    if denied && items[at].amount().is_some_and(|a| a.value >= 100.0) && items[at - 2].amount().is_some() {
        return None;
    }
    let (clock, mut used) = clock(items, at, message, false)?;
    let mut when = When::clock(clock);
    if let Some((latest, more)) = later_of_two(items, at + used, message) {
        when.clock_latest = Some(latest);
        when.clock = Some(agree(clock, latest));
        used += more;
    }
    Some(built(items, at, used, Kind::When(when)))
}

/// "between 2200 and 2300": one time, and not two.
fn between(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let led = message.marks[items[at].from].iter().any(|(tag, _)| *tag == Tag::Between);
    let (first, last) = (*items.get(at + 1)?.when()?, *items.get(at + 3)?.when()?);
    let joint = items[at + 2].is_word() && items[at + 2].has(Tag::And) || items[at + 2].sign() == Some('-');
    let plain = first.clock_latest.is_none() && last.clock_latest.is_none();
    if !(led && joint && plain && items[at].is_word()) {
        return None;
    }
    let (early, late) = (first.clock?, last.clock?);
    let when = When { clock: Some(agree(early, late)), clock_latest: Some(late), ..first };
    Some(built(items, at, 4, Kind::When(when)))
}

/// "yesterday morning", "monday 10pm": a day and what narrows it, side by side.
fn merged(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let first = *items[at].when()?;
    let second = *items.get(at + 1)?.when()?;
    // "Nell today", and the first of her bottles on the next line
    let line = message.tokens[items[at + 1].from].line;
    let head = || items[..at].iter().rfind(|i| i.from == 0 || message.tokens[i.from].line);
    if line && head().is_some_and(|i| i.unknown) {
        return None;
    }
    let open = first.clock.is_none() && first.ago.is_none() && !first.now && first.role == Role::At;
    let narrows = second.role == Role::At
        && second.ago.is_none()
        && !second.now
        && (first.day.is_none() || second.day.is_none())
        && (first.part.is_none() || second.part.is_none());
    let (mut item, used) = (open && narrows).then(|| built(items, at, 2, Kind::When(first.and(second))))?;
    item.senses.clone_from(&items[at + 1].senses);
    Some((item, used))
}

/// A word before a time tells what the time is there for.
fn role(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let word = &items[at];
    let article =
        usize::from(items.get(at + 1).is_some_and(|i| i.any(&[Tag::The, Tag::CodeArticle]) && i.is_word()));
    let when = *items.get(at + 1 + article)?.when()?;
    if when.role != Role::At || when.now {
        return None;
    }
    let role = match () {
        () if word.has(Tag::Since) => Role::Since,
        () if word.has(Tag::Until) => Role::Until,
        () if word.has(Tag::For) => Role::Purpose,
        () if word.any(&[Tag::From, Tag::Of]) && heads_list(items, at, &when) => Role::At,
        () if word.any(&[Tag::From, Tag::Of]) => Role::Names,
        () if word.has(Tag::Before) => Role::Beside,
        () => return None,
    };
    let (mut item, used) = built(items, at, 2 + article, Kind::When(When { role, ..when }));
    item.senses.clone_from(&items[at + 1 + article].senses);
    Some((item, used))
}
