//! Messages that are one answer or command as a whole: "on it", "done", "yes", "pause until 6", "/stock". The same words
//! inside a longer message mean nothing of the kind.

use chrono::{Datelike, Duration, NaiveDate, NaiveDateTime};

use super::Context;
use super::clause::Clause;
use super::cut::segments;
use super::item::{Kind, Message};
use super::moment::settle;
use super::mood::is_question;
use super::senses::Tag;
use super::when::{Clock, DayName, Role, When};
use crate::domain::act::{Act, Kind as ActKind, Topic};

/// The kinds of whole messages, in the order in which they are tried.
const ANSWERS: [(Tag, ActKind); 7] = [
    (Tag::Claim, ActKind::Claim),
    (Tag::Done, ActKind::Done),
    (Tag::Pause, ActKind::Pause),
    (Tag::Resume, ActKind::Resume),
    (Tag::Yes, ActKind::Yes),
    (Tag::No, ActKind::No),
    (Tag::Undo, ActKind::Undo),
];

const QUESTIONS: [(Tag, Topic); 4] = [
    (Tag::Help, Topic::Help),
    (Tag::StockWord, Topic::Stock),
    (Tag::SummaryWord, Topic::Summary),
    (Tag::NextWord, Topic::Next),
];

/// The act that the whole message is, if it is one.
pub fn read(message: &Message, ctx: &Context) -> Option<Act> {
    if let Some(topic) = command(message) {
        return Some(Act::ask(topic));
    }
    let end = message.tokens.len();
    if let Some((_, kind)) = ANSWERS.iter().find(|(tag, _)| covers(message, *tag, end)) {
        let mut act = Act::new(*kind);
        let both = message.has(0, end, Tag::Both);
        act.entries = (*kind == ActKind::Undo).then_some(1 + u32::from(both));
        return Some(act);
    }
    if claims(message) {
        return Some(Act::new(ActKind::Claim));
    }
    if let Some((_, topic)) = QUESTIONS.iter().find(|(tag, _)| covers(message, *tag, end)) {
        return Some(Act::ask(*topic));
    }
    pause_until(message, ctx)
}

/// "/stock" and the like, by the name of the topic.
fn command(message: &Message) -> Option<Topic> {
    let slash = message.tokens.first()?.sign() == Some('/');
    let name = message.tokens.get(1).filter(|_| slash)?.plain.clone();
    serde_json::from_value(serde_json::Value::String(name)).ok()
}

/// Whether the tokens before `end` are one phrase with this tag and nothing else but politeness and signs.
fn covers(message: &Message, tag: Tag, end: usize) -> bool {
    let mut at = 0;
    loop {
        if let Some(length) = longest(message, at, end, tag)
            && (only_polite(message, at + length, end) || repeated(message, tag, at + length, end))
        {
            return true;
        }
        match step(message, at, end) {
            Some(next) => at = next,
            None => return false,
        }
    }
}

/// "no, not yet", "yep that's right": the same said twice over.
fn repeated(message: &Message, tag: Tag, at: usize, end: usize) -> bool {
    let next = (at..end).find(|n| message.tokens[*n].sign().is_none());
    let again = next.and_then(|n| longest(message, n, end, tag).map(|length| n + length));
    again.is_some_and(|after| only_polite(message, after, end))
}

/// "I'll sort that", "let me get them": somebody takes it on, in words of their own.
fn claims(message: &Message) -> bool {
    let end = message.tokens.len();
    let mut at = 0;
    while longest(message, at, end, Tag::ClaimLead).is_none() {
        match step(message, at, end) {
            Some(next) => at = next,
            None => return false,
        }
    }
    for tag in [Tag::ClaimLead, Tag::ClaimVerb, Tag::ClaimObject] {
        match longest(message, at, end, tag) {
            Some(length) => at += length,
            None => return false,
        }
    }
    only_polite(message, at, end)
}

fn longest(message: &Message, at: usize, end: usize, tag: Tag) -> Option<usize> {
    let marks = message.marks.get(at)?.iter();
    marks.filter(|(t, length)| *t == tag && at + length <= end).map(|(_, length)| *length).max()
}

/// Past one word of politeness or one sign.
fn step(message: &Message, at: usize, end: usize) -> Option<usize> {
    if at >= end {
        return None;
    }
    if let Some(length) = longest(message, at, end, Tag::Polite) {
        return Some(at + length);
    }
    let sign = message.tokens[at].sign()?;
    (!matches!(sign, '#' | '*' | '+' | '=' | '?')).then_some(at + 1)
}

fn only_polite(message: &Message, mut at: usize, end: usize) -> bool {
    while at < end {
        match step(message, at, end) {
            Some(next) => at = next,
            None => return false,
        }
    }
    true
}

/// "pause until 6", "pause for 2 hours".
fn pause_until(message: &Message, ctx: &Context) -> Option<Act> {
    let first = message.items.iter().position(|i| matches!(i.kind, Kind::When(_) | Kind::Lasting(_)))?;
    let last = message.items.iter().rposition(|i| matches!(i.kind, Kind::When(_) | Kind::Lasting(_)))?;
    let joint = first
        .checked_sub(1)
        .map(|n| &message.items[n])
        .filter(|i| i.is_word() && i.any(&[Tag::Until, Tag::For]));
    let said = message.items[first].when().is_none_or(|w| {
        let day = w.role == Role::Purpose && w.day.is_some() && w.clock.is_none();
        (w.role == Role::Until || day) && w.clock_latest.is_none()
    }) || joint.is_some();
    let end = joint.unwrap_or(&message.items[first]).from;
    if !said
        || !covers(message, Tag::Pause, end)
        || !only_polite(message, message.items[last].to, message.tokens.len())
    {
        return None;
    }
    let mut pause = Act::new(ActKind::Pause);
    // A time that is over ends no pause.
    pause.until = until(message, first, last, ctx);
    Some(pause).filter(|p| p.until.is_none_or(|until| until >= ctx.sent))
}

fn until(message: &Message, first: usize, last: usize, ctx: &Context) -> Option<NaiveDateTime> {
    if let Kind::Lasting(minutes) = message.items[first].kind {
        return Some(ctx.sent + Duration::minutes(minutes.min(100_000.0) as i64));
    }
    let whens = message.items[first..=last].iter().filter_map(|i| i.when().copied());
    let when = whens.reduce(When::and)?;
    Some(next(when, ctx))
}

/// The next time to come that such words mean.
pub fn next(when: When, ctx: &Context) -> NaiveDateTime {
    let midnight = ctx.sent.date().and_hms_opt(0, 0, 0).unwrap_or(ctx.sent);
    let days = match when.day {
        Some(DayName::Back(days)) => -days,
        Some(DayName::Weekday(day)) => {
            let ahead = (7 + i64::from(day) - i64::from(ctx.sent.weekday().num_days_from_monday())) % 7;
            if ahead == 0 { 7 } else { ahead }
        }
        Some(DayName::Date(day, month, _)) => days_until(ctx.sent.date(), day, month),
        Some(DayName::Month(month)) => days_until(ctx.sent.date(), 1, Some(month)),
        _ => 0,
    };
    let day = midnight + Duration::days(days);
    if let Some(clock) = when.clock {
        return next_clock(clock, day, ctx.sent, days == 0);
    }
    let early = when.part.and_then(|_| {
        let tomorrow = When { day: None, ..when };
        settle(&tomorrow, day + Duration::minutes(23 * 60 + 59), ctx.zone).map(|m| m.at)
    });
    let at = early.unwrap_or(day);
    if at <= ctx.sent { at + Duration::days(1) } else { at }
}

/// To the next day of that number; none where no month has it.
fn days_until(today: NaiveDate, day: u32, month: Option<u32>) -> i64 {
    let is_it = |date: &NaiveDate| date.day() == day && month.is_none_or(|month| date.month() == month);
    let coming = today.iter_days().skip(1).take(4 * 366 + 1);
    coming.zip(1..).find(|(date, _)| is_it(date)).map_or(0, |(_, days)| days)
}

fn next_clock(clock: Clock, day: NaiveDateTime, sent: NaiveDateTime, nearest: bool) -> NaiveDateTime {
    let hours =
        if clock.fixed || !nearest { vec![clock.hour] } else { vec![clock.hour % 12, clock.hour % 12 + 12] };
    let at = |hour: u32, days: i64| {
        day + Duration::days(days) + Duration::minutes(i64::from(hour * 60 + clock.minute))
    };
    let all = [0, 1].into_iter().flat_map(|days| hours.iter().map(move |hour| (days, *hour)));
    all.map(|(days, hour)| at(hour, days)).filter(|t| *t > sent).min().unwrap_or(day)
}

/// "that feed was formula, ignore it": what was wrong with it stands before the comma.
fn ends_with_it(message: &Message, at: usize, length: usize) -> bool {
    let comma = at.checked_sub(1).and_then(|n| message.tokens[n].sign()).is_some_and(|s| ",.!-".contains(s));
    let said = message.items.iter().filter(|i| i.to < at);
    let about = said.clone().any(|i| i.is_word() && i.any(&[Tag::This, Tag::It, Tag::Wrong]));
    comma
        && length > 1
        && about
        && only_polite(message, at + length, message.tokens.len())
        && said.clone().zip(said.clone().skip(1)).all(|(the, i)| i.amount().is_none() || the.has(Tag::This))
}

/// "i've put that in twice": one of them is to go.
fn entered_twice(message: &Message) -> bool {
    let end = message.tokens.len();
    let twice = message.find(0, end, Tag::Twice).map(|(at, _)| at);
    let entered = twice.and_then(|at| message.find(0, at, Tag::Entered)).map(|(at, _)| at);
    let it = message.items.iter().any(|i| i.is_word() && i.any(&[Tag::It, Tag::This]))
        && !message.items.iter().any(|i| i.is_word() && i.has(Tag::He));
    entered.is_some()
        && it
        && message.items.len() <= 12
        && message.items.iter().all(|i| !i.unknown && i.amount().is_none_or(|_| twice == Some(i.from)))
        && !message.has(0, end, Tag::Question)
}

/// "can you delete that last entry please": nobody but the bot can.
fn asks_for_it(segment: &Clause, at: usize, length: usize) -> bool {
    let (from, to) = segment.spans[0];
    length > 2 && from < at && at + length <= to && segment.message.has(from, at, Tag::Request)
}

/// "undo the last two": how many entries are taken back.
pub fn undo(message: &Message) -> Option<Act> {
    if entered_twice(message) {
        return Some(Act { entries: Some(1), ..Act::new(ActKind::Undo) });
    }
    let (at, length) = message.find(0, message.tokens.len(), Tag::UndoStrong)?;
    // "nanny already wrote it, delete mine"
    let after = at > 0 && length > 1 && message.tokens[at - 1].sign().is_some_and(|s| ",.;!".contains(s));
    // "lo registré dos veces, quita una"
    let told = |p: &[super::item::Item]| p[0].amount().is_some() && !p[1].has(Tag::Repeat);
    let amounts = message.items.windows(2).any(|p| p[0].from < at && told(p));
    let begins = only_polite(message, 0, at)
        || after && !amounts
        || ends_with_it(message, at, length)
        || message.marks[..at]
            .iter()
            .flatten()
            .any(|(t, _)| matches!(t, Tag::Fix | Tag::Request | Tag::Undo));
    // "mi último mensaje bórralo"
    let ends = at + length == message.tokens.len()
        && message.items.len() <= 7
        && message.items.iter().all(|i| !i.unknown && i.sign().is_none());
    let begins = begins || ends;
    let stop = message.items.iter().find(|i| i.from > at && matches!(i.sign(), Some(',' | '.' | '!' | ';')));
    let sentence = stop.map_or(message.tokens.len(), |i| i.from);
    let asks = |s: &Clause| is_question(s) || message.has(s.spans[0].0, at.max(s.spans[0].0), Tag::Request);
    let short = message.items.len() <= 14
        && (length > 1 || message.items.iter().all(|i| !i.unknown))
        && (ends || !message.has(0, sentence, Tag::OtherThing))
        && !segments(message).iter().any(|s| asks(s) && !asks_for_it(s, at, length));
    let number = message
        .items
        .iter()
        .filter(|i| i.from >= at + length.min(1) || ends)
        .take_while(|i| !matches!(i.sign(), Some('.' | ',' | '!' | ';')))
        .filter_map(|i| match i.kind {
            Kind::Count(n) => Some(n),
            _ => i.amount().and_then(|a| a.whole()),
        })
        .next();
    // "scratch that, 3 oz": a value in place of the one that was said.
    let comma = message.items.iter().position(|i| i.from > at && i.sign() == Some(','));
    if comma.is_some_and(|n| message.items[n + 1..].first().is_some_and(|i| i.amount().is_some())) {
        return None;
    }
    let pair = message.items.iter().any(|i| i.is_word() && i.has(Tag::Both));
    let mut undo = Act::new(ActKind::Undo);
    undo.entries = Some(number.or(pair.then_some(2)).unwrap_or(1));
    (begins && short && undo.entries.is_some_and(|n| n <= 20)).then_some(undo)
}
