//! Where a message is cut into segments: at stops, and at commas and joining words where something new begins.

use super::clause::{Clause, heads};
use super::item::{Item, Kind, Message};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
use super::when::Role;

/// Cuts a message into segments.
pub fn segments(message: &Message) -> Vec<Clause<'_>> {
    let items = &message.items;
    let (mut all, mut start, mut first) = (Vec::new(), 0, true);
    let mut at = 0;
    while at <= items.len() {
        let end = at == items.len();
        let stop = items
            .get(at)
            .and_then(Item::sign)
            .is_some_and(|s| matches!(s, '.' | '!' | '?' | ';' | '¿' | '¡' | '(' | ')' | '"'));
        let line = items.get(at).is_some_and(|i| message.tokens[i.from].line) && at > start;
        let weak = !end && is_joint(message, start, at);
        if end || stop || line || weak {
            let asked = items.get(at).and_then(Item::sign) == Some('?');
            if at > start {
                all.push(Clause::of(message, &items[start..at], asked, first));
            } else if asked && let Some(last) = all.last_mut() {
                let last: &mut Clause = last;
                last.asked = true;
            }
            // "9am 120 (all), 12pm 100": the sentence goes on
            let sign = |n: usize| items.get(n).and_then(Item::sign);
            let timed = items.get(at + 1).is_some_and(|i| i.when().is_some() && !message.tokens[i.from].line);
            let aside = sign(at) == Some(')') && (sign(at + 1) == Some(',') || timed);
            first = (first && at == start) || stop && !aside || line;
            let kept = line || (weak && !is_separator(&items[at]));
            start = if kept { at } else { at + 1 };
        }
        at += 1;
    }
    all
}

fn is_separator(item: &Item) -> bool {
    matches!(item.sign(), Some(',' | ':'))
        || item.any(&[Tag::And, Tag::But, Tag::Then])
        || item.sign() == Some('-')
}

/// "la 12 está bien": told of it, and not asked.
fn only_named(message: &Message, items: &[Item]) -> bool {
    let named =
        |i: &Item| matches!(i.kind, Kind::Codes(_)) || i.when().is_some_and(|w| w.role == Role::Names);
    let small = [
        Tag::The,
        Tag::CodeArticle,
        Tag::Milk,
        Tag::Container,
        Tag::Bottle,
        Tag::And,
        Tag::It,
        Tag::Polite,
        Tag::Filler,
        Tag::Says,
        Tag::Relative,
        Tag::Person,
        Tag::OtherPerson,
    ];
    // "el doctor dice que la 12 está bien"
    let says = items.iter().position(|i| i.is_word() && i.has(Tag::Says));
    let items = match says {
        Some(at) if at <= 2 => &items[at..],
        _ => items,
    };
    items.iter().any(named)
        && items.iter().all(|i| {
            named(i)
                || i.is_word()
                    && (i.any(&small) && i.verbs().next().is_none() || message.within(i.from, Tag::Polite))
        })
}

/// A comma, or a word that begins something new.
fn is_joint(message: &Message, start: usize, at: usize) -> bool {
    let (items, item) = (&message.items, &message.items[at]);
    if at == start {
        return item.sign() == Some(',');
    }
    match () {
        () if item.sign() == Some(',') => !only_asks(message, at + 1) && !is_lone_noun(items, start, at),
        () if takes_medicine(message, at) => true,
        () if item.sign() == Some(':') => is_header(&items[start..at]),
        () if item.sign() == Some('-') => message.tokens[item.from].gap && opens_ahead(message, at + 1),
        () if matches!(item.kind, Kind::Codes(_)) => {
            message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::And) && other_goal(items, start, at)
        }
        () if !item.is_word() && item.sign() != Some('&') => false,
        () if item.has(Tag::But) => true,
        () if item.any(&[Tag::And, Tag::Then]) => {
            opens_ahead(message, at + 1)
                && !into_a_vessel(items, start, at + 1)
                && !joins_names(items, start, at)
                || other_goal(items, start, at)
                || tops_up(items, start, at)
        }
        () if item.has(Tag::So)
            && items[start..at].iter().any(|i| i.is_word() && i.any(&[Tag::Negative, Tag::OtherThing])) =>
        {
            true
        }
        () if item.has(Tag::So) && items[start..at].iter().any(|i| i.is_word() && i.place().is_some()) => {
            true
        }
        // "pasa algo si la mezclo" is one question
        () if message.within(item.from, Tag::MayI)
            && !message.marks[item.from].iter().any(|(t, _)| *t == Tag::MayI) =>
        {
            false
        }
        () if item.any(&[Tag::Plan, Tag::Conditional, Tag::So]) => says_something(&items[start..at]),
        () if message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::Upon) => {
            says_something(&items[start..at])
        }
        () if second_event(message, start, at) => true,
        () if message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::AskTail) => {
            let named =
                only_named(message, &items[start..at]) && !items.iter().any(|i| i.sign() == Some('?'));
            !named && says_something(&items[start..at])
                || message.has(items[start].from, item.from, Tag::Smell)
        }
        () => false,
    }
}

/// "otis and nell had 90 each": two words nobody knows, before one verb.
fn joins_names(items: &[Item], start: usize, at: usize) -> bool {
    let verb = |n: usize| items.get(n).is_some_and(|i| i.verbs().next().is_some());
    let name = |n: usize| items.get(n).is_some_and(|i| i.unknown);
    at == start + 1 && name(start) && name(at + 1) && (verb(at + 2) || verb(at + 3))
}

/// "pecho y luego 40 de la 12": milk out of a container, after a breast.
fn tops_up(items: &[Item], start: usize, at: usize) -> bool {
    let nursed = items[start..at].iter().any(|i| i.is(Verb::Nurse));
    let coded = |i: &Item| i.has(Tag::From) && matches!(i.kind, Kind::Codes(_));
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::And, Tag::Then, Tag::About, Tag::Article]));
    let mut after = items[at + 1..].iter().filter(small);
    nursed && after.next().is_some_and(|i| i.amount().is_some()) && after.next().is_some_and(coded)
}

/// "la 12 a la guarde y la 13 al refri": some leave the house and others stay.
fn other_goal(items: &[Item], start: usize, at: usize) -> bool {
    let coded = |i: &Item| matches!(i.kind, Kind::Codes(_));
    let away =
        |i: &Item| i.senses.iter().any(|s| matches!(s, Sense::Site(SiteWord::Work | SiteWord::Daycare)));
    let placed = |i: &Item| i.place().is_some();
    // "y la" is part of the label
    let label = if coded(&items[at]) { at } else { at + 1 };
    let before = &items[start..at];
    let rest = items.get(label + 1..).unwrap_or_default();
    let stop = rest.iter().position(|i| !i.is_word()).unwrap_or(rest.len()).min(4);
    let after = &rest[..stop];
    let sent = before.iter().any(away) && !before.iter().any(placed) && after.iter().any(placed);
    let kept = before.iter().any(placed) && !before.iter().any(away) && after.iter().any(away);
    items.get(label).is_some_and(coded)
        && before.iter().any(coded)
        && (sent && !after.iter().any(away) || kept && !after.iter().any(placed))
}

/// "jar, 140": what the amount is in.
fn is_lone_noun(items: &[Item], start: usize, at: usize) -> bool {
    let noun = at == start + 1 && items[start].is_word() && items[start].has(Tag::Container);
    noun && items.get(at + 1).is_some_and(|i| i.amount().is_some())
}

/// ", ok or not": belongs to what it asks about.
fn only_asks(message: &Message, at: usize) -> bool {
    let Some(first) = message.items.get(at) else { return false };
    let end =
        message.items[at..].iter().find(|i| i.sign().is_some()).map_or(message.tokens.len(), |i| i.from);
    message.marks[first.from].iter().any(|(tag, length)| *tag == Tag::AskEnd && first.from + length == end)
}

/// "bag 19 and 0.5 ml of vitamin d": so much of something else.
fn takes_medicine(message: &Message, at: usize) -> bool {
    let items = &message.items;
    let joint = items[at].sign() == Some('+')
        || items[at].is_word() && items[at].any(&[Tag::And, Tag::With, Tag::Then]);
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::Of, Tag::The, Tag::Article, Tag::Person]));
    let mut after = items[at + 1..].iter().filter(small);
    joint
        && after.next().is_some_and(|i| i.amount().is_some())
        && after.next().is_some_and(|i| i.has(Tag::Medicine))
}

/// "took 60 from bag 9 and put it in a bottle": where what was taken went.
fn into_a_vessel(items: &[Item], start: usize, from: usize) -> bool {
    let [verb, it, into, vessel, ..] = &items[from.min(items.len())..] else { return false };
    let coded = items[start..from].iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let put = verb.is(Verb::Put) || verb.is(Verb::Pour);
    let vessel = vessel.any(&[Tag::Bottle, Tag::Container]) || matches!(vessel.kind, Kind::Count(_));
    coded && put && it.has(Tag::It) && it.is_word() && into.any(&[Tag::In, Tag::Into]) && vessel
}

/// "late entry:", "sitter notes:": words before a colon that say nothing of milk themselves.
fn is_header(items: &[Item]) -> bool {
    let heavy = |i: &Item| {
        !matches!(i.kind, Kind::Word | Kind::Sign(_))
            || i.place().is_some()
            || i.any(&[
                Tag::ListHead,
                Tag::Session,
                Tag::FeedNoun,
                Tag::LeftSide,
                Tag::RightSide,
                Tag::Milk,
                Tag::Container,
            ])
    };
    heads(items).is_empty()
        && !items.iter().any(heavy)
        && items.iter().any(|i| i.to > i.from && i.is_word() && !i.initial && !is_name(i))
}

/// A word that nobody knows may be a child's name before an amount.
fn is_name(item: &Item) -> bool {
    item.unknown && item.to == item.from + 1
}

/// A verb, or a bottle with an amount, comes before the next stop.
fn opens_ahead(message: &Message, from: usize) -> bool {
    let rest = &message.items[from.min(message.items.len())..];
    let end = rest
        .iter()
        .position(|i| {
            i.sign().is_some_and(|s| ".,;!?()".contains(s))
                || message.tokens[i.from].line
                || (i.is_word() && i.any(&[Tag::And, Tag::But, Tag::Then]))
        })
        .unwrap_or(rest.len());
    let stretch = &rest[..end];
    let verb =
        !heads(stretch).is_empty() || stretch.iter().any(|i| i.has(Tag::LeftOver) && i.is(Verb::Leave));
    let amount = stretch.iter().any(|i| matches!(i.kind, Kind::Amount(_) | Kind::Multi(..)));
    let bottle = stretch.iter().any(|i| i.any(&[Tag::Bottle, Tag::Milk])) && amount;
    let subject = stretch.first().is_some_and(|i| i.is_word() && i.any(&[Tag::He, Tag::I, Tag::You]));
    verb || bottle || subject || stretch.iter().any(|i| i.is_word() && i.has(Tag::Formula))
}

/// "drank 80 tossed 20", "made 150 he drank 100": a second verb after a whole first event.
fn second_event(message: &Message, start: usize, at: usize) -> bool {
    let items = &message.items;
    let pronoun = |n: usize| items.get(n).is_some_and(|i| i.is_word() && i.any(&[Tag::He, Tag::I]));
    let verb_at = if pronoun(at) { at + 1 } else { at };
    let verb = items.get(verb_at).is_some_and(|i| {
        i.is_word()
            && !i.any(&[Tag::LeftOver, Tag::Frozen, Tag::LeftSide])
            && i.verbs().any(|(_, form)| form == Form::Done)
    });
    let other = !items.get(verb_at).is_some_and(|i| {
        i.is(Verb::Thaw)
            || i.is(Verb::Label)
            || i.is(Verb::ComeBack)
            || i.is(Verb::Open)
            || i.is(Verb::Hold)
            || i.senses.iter().any(|s| matches!(s, Sense::Site(_)))
    });
    let before = &items[start..at];
    let number = before
        .iter()
        .any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_)));
    let link = at > start && items[at - 1].any(&[Tag::Of, Tag::From, Tag::To, Tag::The]);
    let relative =
        at > start && message.marks[items[at - 1].from].iter().any(|(tag, _)| *tag == Tag::Relative);
    let vessel = at > start && items[at - 1].has(Tag::And) && into_a_vessel(items, start, at);
    let link = link || relative || vessel;
    if !(verb && other && !link && number) || (at > start && pronoun(at - 1)) {
        return false;
    }
    let heads = heads(before);
    // "fridge 120 freezer 90 tossed 30"
    let logged = heads.is_empty()
        && before.iter().any(|i| i.place().is_some())
        && before.iter().any(|i| i.amount().is_some())
        && items.get(verb_at + 1).is_some_and(|i| i.amount().is_some());
    (logged || heads.iter().any(|h| h.form == Form::Done)) && heads.iter().all(|h| h.verb != Verb::Pour)
}

fn says_something(items: &[Item]) -> bool {
    !heads(items).is_empty() || items.iter().any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_)))
}
