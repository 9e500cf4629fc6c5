//! Finds amounts, labels and counts among the items. A unit, "#", a word for a container, or "x" beside a number tells
//! what it is; a number with none of them stays bare, and the act it belongs to decides.

use super::counting::counted;
use super::item::{Amount, Item, Kind, Message, built};
use super::senses::{Form, Sense, Tag, Verb};
use crate::domain::act::Code;
use crate::domain::place::Place;
use crate::domain::volume::Unit;

/// More labels than this in one range are no labels.
const LONGEST_RANGE: u32 = 200;

pub fn find(message: &mut Message, units: Unit) {
    message.rewrite(amount);
    mark_rough(message);
    message.rewrite(|items, at, _| counted(items, at, units));
    message.rewrite(|items, at, _| of_label(items, at));
    message.rewrite(|items, at, message| labels(items, at, message, units));
    message.rewrite(list);
}

pub fn has(items: &[Item], at: usize, tag: Tag) -> bool {
    items.get(at).is_some_and(|i| i.has(tag))
}

fn unit(items: &[Item], at: usize) -> Option<Unit> {
    items.get(at)?.senses.iter().find_map(|s| match s {
        Sense::Unit(unit) => Some(*unit),
        _ => None,
    })
}

pub fn number(items: &[Item], at: usize) -> Option<Amount> {
    items.get(at)?.amount()
}

/// A number and its unit.
fn amount(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let number = number(items, at)?;
    // a sign between the number and its unit is a dot or a bracket at most
    let dot = usize::from(
        items.get(at + 1).and_then(Item::sign) == Some('-') && !message.tokens[items[at + 1].from].gap,
    );
    let Some(unit) = unit(items, at + 1 + dot) else { return and_half(items, at, number) };
    let (more, used) = half_after(items, at + 2 + dot).filter(|_| unit == Unit::Oz).unwrap_or((0.0, 0));
    let amount = Amount { unit: Some(unit), value: number.value + more, ..number };
    Some(built(items, at, 2 + dot + used, Kind::Amount(amount)))
}

/// "tres y media": in whatever unit is meant.
fn and_half(items: &[Item], at: usize, number: Amount) -> Option<(Item, usize)> {
    let (more, used) = half_after(items, at + 1).filter(|_| number.value < 15.0)?;
    Some(built(items, at, 1 + used, Kind::Amount(Amount { value: number.value + more, ..number })))
}

/// "y media", "and a half" after a number or its unit.
fn half_after(items: &[Item], at: usize) -> Option<(f64, usize)> {
    let article = usize::from(has(items, at + 1, Tag::Article));
    let word = |tag: Tag| items.get(at + 1 + article).is_some_and(|i| i.is_word() && i.has(tag));
    let part = if word(Tag::Half) { 0.5 } else { 0.25 };
    let found = has(items, at, Tag::And) && (word(Tag::Half) || word(Tag::Quarter));
    // "2 y media bolsa" is none of the number's
    let noun = is_container(items, at + 2 + article) || has(items, at + 2 + article, Tag::Of);
    (found && !noun).then_some((part, 2 + article))
}

/// Words for "about" before or after a number make it rough.
fn mark_rough(message: &mut Message) {
    for at in 0..message.items.len() {
        if number(&message.items, at).is_none() {
            continue;
        }
        let before = at > 0
            && (has(&message.items, at - 1, Tag::About)
                || (at > 1 && is_soft(&message.items[at - 1]) && has(&message.items, at - 2, Tag::About)));
        let after = has(&message.items, at + 1, Tag::About) && is_tail(message, at + 1);
        if let Kind::Amount(amount) = &mut message.items[at].kind {
            amount.about |= before || after;
        }
    }
}

fn is_soft(item: &Item) -> bool {
    item.is_word() && item.any(&[Tag::About, Tag::Article])
}

/// "120ish", "120 or so", "120 maybe": the word for "about" ends what it belongs to.
fn is_tail(message: &Message, at: usize) -> bool {
    let glued = !message.tokens[message.items[at].from].gap;
    let next = message.items.get(at + 1);
    glued || next.is_none_or(|n| n.amount().is_none())
}

/// "20 ml of 13": more than it can have been out of, so that the number is a label; "the rest of 12", "half of 12".
fn of_label(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let of = items[at].is_word() && items[at].has(Tag::Of) && items[at].to - items[at].from == 1;
    let before = at.checked_sub(1).map(|n| &items[n]).filter(|_| of)?;
    let label = number(items, at + 1)?.whole().filter(|n| *n < 60)?;
    let less = before.amount().is_some_and(|taken| taken.value >= 15.0 && f64::from(label) < taken.value);
    let rest = before.is_word() && before.any(&[Tag::Rest, Tag::BottleRest]);
    // "half of 4" may be of so many ounces
    let share = label > 8 && before.is_word() && before.any(&[Tag::Half, Tag::All, Tag::LeftOver]);
    let (item, used) = built(items, at, 2, Kind::Codes(vec![label]));
    (less || rest || share).then_some((Item { senses: vec![Sense::Tag(Tag::From)], ..item }, used))
}

pub fn is_container(items: &[Item], at: usize) -> bool {
    items.get(at).is_some_and(|i| i.is_word() && i.any(&[Tag::Container, Tag::Bottle]))
}

/// Labels: "#12", "bag 12", "la 12 y la 13", "bags 50-64".
fn labels(items: &[Item], at: usize, message: &Message, units: Unit) -> Option<(Item, usize)> {
    let start = label_start(items, at, message, units)?;
    let single = is_container(items, at) && !items[at].has(Tag::Plural);
    let (codes, end) = label_run(items, start, message, single);
    let ways = [Sense::Tag(Tag::From), Sense::Tag(Tag::To), Sense::Tag(Tag::Into)];
    let senses = items[at].senses.iter().copied().filter(|s| ways.contains(s)).collect();
    (!codes.is_empty()).then(|| {
        let (item, used) = built(items, at, end - at, Kind::Codes(codes));
        (Item { senses, ..item }, used)
    })
}

/// Where the first number of labels stands, if labels begin here.
fn label_start(items: &[Item], at: usize, message: &Message, units: Unit) -> Option<usize> {
    let sign = |n: usize| usize::from(has(items, n, Tag::NumberSign));
    let dot = |n: usize| usize::from(sign(n) == 1 && items.get(n + 1).and_then(Item::sign) == Some('.'));
    // "bag no. 21"
    let short = |n: usize| {
        let phrase = items[n].to - items[n].from > 1 && items.get(n + 1).and_then(Item::sign) == Some('.');
        usize::from(phrase && number(items, n + 2).is_some())
    };
    if is_container(items, at) {
        let marked = sign(at + 1);
        let start = at + 1 + marked + dot(at + 1) + if marked == 0 { short(at) } else { 0 };
        let first = number(items, start)?.whole()?;
        let plain_bottle = items[at].has(Tag::Bottle) && !items[at].has(Tag::Container) && marked == 0;
        let small = units == Unit::Ml && first < 15;
        let amount_like = first >= 60
            && units == Unit::Ml
            && marked == 0
            && items.iter().filter(|i| i.amount().is_some()).count() == 1
            && !handles_containers(items);
        let taken = amount_like || next_is_unit_or_time(items, start + 1, message);
        return (!taken && (!plain_bottle || small)).then_some(start);
    }
    if sign(at) == 1 {
        let start = at + 1 + dot(at);
        let direct =
            items[at].sign().is_some() || !items[at].has(Tag::Negative) || items[at].to - items[at].from > 1;
        return number(items, start)?.whole().filter(|_| direct).map(|_| start);
    }
    if is_subject(items, at, message) {
        return Some(at);
    }
    // "etiqueté 50 y 51"
    let plain = |n: usize| number(items, n).is_some_and(|a| a.unit.is_none() && a.whole().is_some());
    let row = plain(at) && next_label(items, at + 1, message).is_some_and(plain);
    if row && at > 0 && items[at - 1].is(Verb::Label) && !next_is_unit_or_time(items, at + 1, message) {
        return Some(at);
    }
    if is_poured_from(items, at)
        && number(items, at + 1).and_then(|n| n.whole()).is_some()
        && !next_is_unit_or_time(items, at + 2, message)
    {
        return Some(at + 1);
    }
    let equals = items.get(at + 1).and_then(Item::sign) == Some('=') && number(items, at + 2).is_some();
    if equals && number(items, at).and_then(|n| n.whole()).is_some_and(|n| n < 1000) {
        return Some(at);
    }
    let hung = !message.tokens[items[at].from].gap && items[at].to - items[at].from == 1;
    let article = items[at].is_word() && has(items, at, Tag::CodeArticle) && !(hung && at > 0);
    let first = number(items, at + 1).filter(|_| article)?.whole()?;
    let several = has(items, at, Tag::PluralArticle) && next_label(items, at + 2, message).is_none();
    if several || items.get(at + 2).is_some_and(|i| i.any(&[Tag::Oldest, Tag::Newest])) {
        return None;
    }
    (first < 1000 && !next_is_unit_or_time(items, at + 2, message)).then_some(at + 1)
}

/// "60 from 12", "fed 2 from 12", "50 each from 11", "fed Mia from 12": what it was poured or fed out of.
fn is_poured_from(items: &[Item], at: usize) -> bool {
    let from = items[at].is_word() && has(items, at, Tag::From) && !has(items, at, Tag::Of);
    let Some(before) = at.checked_sub(1).map(|n| &items[n]).filter(|_| from) else { return false };
    let fed = [Verb::Feed, Verb::Give, Verb::Drink, Verb::Use];
    let fed = |i: &Item| i.verbs().any(|(v, form)| fed.contains(&v) && form != Form::Base);
    let child =
        |i: &Item| i.unknown || i.initial || i.is_word() && i.any(&[Tag::Him, Tag::He, Tag::GivenName]);
    let drank = fed(before) || at > 1 && child(before) && fed(&items[at - 2]);
    let each = at > 1 && before.has(Tag::Both) && number(items, at - 2).is_some();
    before.when().is_some_and(|w| w.now) || before.amount().is_some() || each || drank
}

/// "bag 70 warming now": what is done is done to a container, whatever is in it.
fn handles_containers(items: &[Item]) -> bool {
    let verbs = [Verb::Thaw, Verb::Warm, Verb::Hold, Verb::Release, Verb::Donate, Verb::Split];
    items.iter().any(|i| verbs.iter().any(|v| i.is(*v)))
}

/// "2 was fully thawed", "3 is back": one container, of which something is told.
fn is_subject(items: &[Item], at: usize, message: &Message) -> bool {
    let Some(be) = items.get(at + 1).filter(|i| i.is_word()) else { return false };
    let label = number(items, at).is_some_and(|n| n.whole().is_some_and(|n| n < 1000));
    let opens = at == 0
        || items[at - 1].any(&[Tag::And, Tag::Fix, Tag::Strong])
        || matches!(items[at - 1].sign(), Some('.' | ',' | '!'));
    let one = message.marks[be.from].iter().any(|(tag, _)| *tag == Tag::BeOne);
    let lone = at == 0 || items[at - 1].any(&[Tag::Fix, Tag::Strong]);
    let state = |i: &Item| {
        let found = [Tag::Cold, Tag::Lukewarm, Tag::Hard, Tag::Icy, Tag::Liquid];
        let marked = |n: usize| message.marks[n].iter().any(|(tag, _)| found.contains(tag));
        (i.from..i.to).any(marked) || i.place().is_some() || i.amount().is_some_and(|a| a.value >= 15.0)
    };
    let stated = lone
        && number(items, at).is_some_and(|n| n.value < 60.0)
        && items.get(at + 2..).is_some_and(|rest| rest.iter().take(3).any(state));
    let told = stated
        || items[at + 1..].iter().take(3).any(|i| {
            let verb =
                |v: Verb| matches!(v, Verb::Thaw | Verb::ComeBack | Verb::Leave | Verb::Pump | Verb::Freeze);
            i.is_word() && (i.any(&[Tag::Back, Tag::From, Tag::Called]) || i.verbs().any(|(v, _)| verb(v)))
                || i.place() == Some(Place::Room)
        });
    label && opens && one && told
}

fn next_is_unit_or_time(items: &[Item], at: usize, message: &Message) -> bool {
    let Some(next) = items.get(at) else { return false };
    let colon = next.sign() == Some(':') && items.get(at + 1).is_some_and(|i| !message.tokens[i.from].gap);
    let noun = is_container(items, at) && !has(items, at, Tag::CodeArticle);
    colon || noun || next.any(&[Tag::Times, Tag::Ordinal]) || matches!(next.kind, Kind::Lasting(_))
}

/// A run of labels joined by "and", commas, ranges.
fn label_run(items: &[Item], start: usize, message: &Message, single: bool) -> (Vec<Code>, usize) {
    let (mut codes, mut end) = (Vec::new(), start);
    let mut at = start;
    while let Some(code) = number(items, at).and_then(|n| n.whole()) {
        let range = codes
            .last()
            .copied()
            .filter(|_| is_range(items, at - 1, message) || is_range(items, at.saturating_sub(2), message));
        match range {
            // "change bag 12 to 100"
            Some(_) if changes_to(items, start, at, message) => break,
            Some(first) if first < code && code - first <= LONGEST_RANGE => codes.extend(first + 1..=code),
            _ => codes.push(code),
        }
        end = at + 1;
        // "bag 70 - 100": what is in it
        let gap = |n: usize| items.get(n).is_some_and(|i| message.tokens[i.from].gap);
        if single && items.get(end).and_then(Item::sign) == Some('-') && gap(end) && gap(end + 1) {
            break;
        }
        match next_label(items, end, message) {
            Some(next) => at = next,
            None => break,
        }
    }
    (codes, end)
}

/// What was wrong, and what it is to be: no range.
fn changes_to(items: &[Item], start: usize, at: usize, message: &Message) -> bool {
    let to = items[start..at].iter().rev().take(2).any(|i| i.is_word() && i.has(Tag::To));
    let several = start > 0 && items[start - 1].has(Tag::Plural);
    to && !several && message.has(0, items[start].from, Tag::Fix)
}

/// Where the next label of a run stands.
fn next_label(items: &[Item], at: usize, message: &Message) -> Option<usize> {
    let joint = items.get(at)?;
    let comma = matches!(joint.sign(), Some(',' | '/' | '+'));
    let word = joint.is_word() && joint.any(&[Tag::And]);
    if !(comma || word || joint.sign() == Some('&') || is_range(items, at, message)) {
        return None;
    }
    let mut next = at + 1;
    let oxford = usize::from(comma && has(items, next, Tag::And));
    next += oxford;
    let marked = items
        .get(next)
        .is_some_and(|i| i.any(&[Tag::NumberSign, Tag::CodeArticle]) || is_container(items, next));
    next += usize::from(marked);
    let amount = number(items, next)?;
    amount.whole()?;
    let tail = items.get(next + 1);
    // "bags 60, 61, 62: 4oz each"
    let rest = items.get(next + 2..).unwrap_or_default();
    let shared = rest.first().is_some_and(|i| i.amount().is_some())
        && rest.iter().take(3).any(|i| i.is_word() && i.any(&[Tag::Both, Tag::Each]));
    let holds = tail.is_some_and(|i| {
        i.sign() == Some('=')
            || i.sign() == Some(':') && !shared
            || i.any(&[Tag::Times, Tag::Both, Tag::LeftOver, Tag::Formula])
            || i.has(Tag::Total) && !is_range(items, at, message)
            || i.place().is_some() && comma && !marked && !follows(items, at, amount)
    });
    // "60 from 15 and 40 from 13": an amount, with a label of its own.
    let label = |n: usize| {
        let marked = |i: &Item| i.any(&[Tag::Hash, Tag::NumberSign]) || matches!(i.kind, Kind::Codes(_));
        number(items, n).is_some() || items.get(n).is_some_and(marked) || is_container(items, n)
    };
    let own = tail.is_some_and(|i| i.is_word() && i.has(Tag::From)) && label(next + 2);
    if own {
        return None;
    }
    // After a comma a bare number of this size is an amount: "bag 12, 120".
    let amount_like = comma
        && !marked
        && joint.sign() == Some(',')
        && amount.value >= 15.0
        && (amount.value > 4.0 * first_before(items, at) || is_filling(items, at, amount));
    (!holds && !amount_like || marked && tail.is_none_or(|i| i.sign() != Some('='))).then_some(next)
}

/// "31,32,33 fridge": one more of the row.
fn follows(items: &[Item], at: usize, amount: Amount) -> bool {
    let before = first_before(items, at);
    before > 0.0 && amount.value > before && amount.value - before <= 10.0 && amount.unit.is_none()
}

/// "bag 61, 150": one container and what is in it, for no label follows at such a distance.
fn is_filling(items: &[Item], at: usize, amount: Amount) -> bool {
    let single =
        at >= 2 && items[at - 2].is_word() && !items[at - 2].has(Tag::Plural) && is_container(items, at - 2);
    let ends = items.get(at + 2).is_none_or(|i| i.sign() == Some(',') && number(items, at + 3).is_none());
    single && ends && amount.value >= 60.0 && amount.value >= first_before(items, at) + 40.0
}

fn first_before(items: &[Item], at: usize) -> f64 {
    number(items, at.wrapping_sub(1)).map_or(0.0, |n| n.value)
}

/// "-", "to", "thru" between two numbers.
fn is_range(items: &[Item], at: usize, message: &Message) -> bool {
    let Some(item) = items.get(at) else { return false };
    let tight =
        items.get(at + 1).is_some_and(|i| !message.tokens[i.from].gap) || message.tokens[item.from].gap;
    // "topped bottle 3 up to 150"
    let filled = item.has(Tag::Until) && items[..at].iter().any(|i| i.is(Verb::Add));
    if filled {
        return false;
    }
    (item.sign() == Some('-') && tight)
        || (item.is_word() && item.any(&[Tag::To, Tag::Until]) && !item.has(Tag::Into))
}

/// Bare whole numbers joined by "and", "-" or "to": labels, amounts or counts, as their act will have it.
fn list(items: &[Item], at: usize, message: &Message) -> Option<(Item, usize)> {
    let plain =
        |n: usize| number(items, n).filter(|a| !a.about).and_then(|a| a.whole()).filter(|c| *c < 1000);
    plain(at)?;
    let (mut numbers, mut end, mut range, mut word) = (vec![plain(at)?], at + 1, false, false);
    while let Some(next) = list_joint(items, end, message).and_then(|n| plain(n).map(|code| (n, code))) {
        let ranged = is_range(items, next.0 - 1, message);
        let first = numbers.last().copied().unwrap_or(0);
        if ranged && !(first < next.1 && next.1 - first <= LONGEST_RANGE) {
            break;
        }
        // "10 & 11, 190": an amount, after the labels.
        let comma = items[next.0 - 1].sign() == Some(',');
        if comma && numbers.len() > 1 && word && next.1 >= 60 && next.1 > 4 * first {
            break;
        }
        if ranged {
            numbers.extend(first + 1..=next.1)
        } else {
            numbers.push(next.1)
        }
        range |= ranged;
        word |= ranged || items[next.0 - 1].sign() != Some(',');
        end = next.0 + 1;
    }
    let joined = numbers.len() > 1 && (word || numbers.len() > 2 || is_row(items, at, &numbers));
    let unit_after = unit(items, end).is_some()
        || items.get(end).is_some_and(|i| i.any(&[Tag::Plural, Tag::Times]) && i.is_word());
    (joined && !unit_after).then(|| built(items, at, end - at, Kind::List(numbers, range)))
}

/// "binned 11, 12": neighbours, after a verb that takes containers.
fn is_row(items: &[Item], at: usize, numbers: &[Code]) -> bool {
    let takes =
        [Verb::Toss, Verb::Thaw, Verb::Pull, Verb::Move, Verb::Send, Verb::Hold, Verb::Use, Verb::Freeze];
    let verb = at > 0 && items[at - 1].is_word() && takes.iter().any(|v| items[at - 1].is(*v));
    matches!(numbers, [first, second] if *first >= 7 && first < second && *second < 60 && second - first <= 3)
        && verb
}

/// "merged 18+19": after a verb that takes containers a plus joins them.
fn adds_labels(items: &[Item], at: usize) -> bool {
    let takes = [Verb::Combine, Verb::Thaw, Verb::Warm, Verb::Move, Verb::Send, Verb::Hold, Verb::Donate];
    let small = |at: usize| number(items, at).and_then(|n| n.whole()).is_some_and(|n| n < 60);
    items[at].sign() == Some('+')
        && small(at.wrapping_sub(1))
        && small(at + 1)
        && items[..at].iter().any(|i| takes.iter().any(|v| i.is(*v)))
}

fn list_joint(items: &[Item], at: usize, message: &Message) -> Option<usize> {
    let joint = items.get(at)?;
    let comma = joint.sign() == Some(',');
    let oxford = usize::from(comma && has(items, at + 1, Tag::And));
    let word = joint.is_word() && joint.has(Tag::And) || joint.sign() == Some('&') || adds_labels(items, at);
    if in_a_row(items, at) {
        return Some(at);
    }
    (comma || word || is_range(items, at, message)).then_some(at + 1 + oxford)
}

/// "2 3 and 4": three labels or more that follow one another, with nothing between some of them.
fn in_a_row(items: &[Item], at: usize) -> bool {
    let label = |n: usize| number(items, n).filter(|a| !a.about).and_then(|a| a.whole()).filter(|c| *c < 60);
    let follows = |a: usize, b: usize| label(a).zip(label(b)).is_some_and(|(a, b)| a < b && b - a <= 3);
    let joint =
        |n: usize| items.get(n).is_some_and(|i| i.is_word() && i.has(Tag::And) || i.sign() == Some('&'));
    let next = follows(at, at + 1) || joint(at + 1) && follows(at, at + 2);
    let before = at >= 2 && follows(at - 2, at - 1);
    at > 0 && follows(at - 1, at) && (next || before)
}
