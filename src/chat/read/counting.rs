//! How many containers there are and what each of them holds: "2x90", "3 bags of 4 oz", "the oldest two".

use super::amount::{has, is_container, number};
use super::item::{Amount, Item, Kind, built};
use super::senses::{Tag, Verb};
use super::when::Role;
use crate::domain::volume::Unit;

/// "2x90", "3 bags of 4 oz", "120ml x 3", "3 4oz bottles", "3 bags", "a bag".
pub fn counted(items: &[Item], at: usize, units: Unit) -> Option<(Item, usize)> {
    multiplied(items, at, units)
        .or_else(|| some_of(items, at, units))
        .or_else(|| containers(items, at, units))
        .or_else(|| shares(items, at, units))
        .or_else(|| another_of(items, at))
        .or_else(|| more_of_them(items, at))
        .or_else(|| beside_a_pick(items, at))
}

/// "divided 8 into 2, 50 ml each": so many, though of what is not said.
fn shares(items: &[Item], at: usize, units: Unit) -> Option<(Item, usize)> {
    let into = at > 0 && items[at - 1].is_word() && items[at - 1].has(Tag::Into);
    let count = number(items, at)?.whole().filter(|n| into && (2..=12).contains(n))?;
    let (each, used) = each(items, at + 1, units)?;
    Some(built(items, at, 1 + used, Kind::Multi(count, each)))
}

/// "dos de 90", "tres de 80 y una de 60": fewer than anybody drinks, so that it is how many there are.
fn some_of(items: &[Item], at: usize, units: Unit) -> Option<(Item, usize)> {
    let plain = |n: usize| items.get(n).is_some_and(|i| i.is_word() && i.has(Tag::Of) && i.to - i.from == 1);
    let each = number(items, at + 2).filter(|a| a.unit != Some(Unit::Oz) && a.value >= 30.0)?;
    let one = items[at].is_word() && items[at].any(&[Tag::One, Tag::Article]) && at > 2 && plain(at - 3);
    let few = number(items, at).filter(|a| a.unit.is_none() && !a.about).and_then(|a| a.whole());
    let count = few.or(one.then_some(1)).filter(|n| (1..=6).contains(n) && plain(at + 1))?;
    (units == Unit::Ml).then(|| built(items, at, 3, Kind::Multi(count, each)))
}

/// "a bag of 90 and another of 60": one more of what was told before.
fn another_of(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let each = number(items, at + 2).filter(|a| a.unit.is_some() || a.value >= 15.0)?;
    let another = items[at].is_word() && items[at].has(Tag::Another) && has(items, at + 1, Tag::Of);
    let noun = items[..at].iter().find(|i| i.is_word() && i.has(Tag::Container)).filter(|_| another)?;
    let (item, used) = built(items, at, 3, Kind::Multi(1, each));
    Some((Item { senses: noun.senses.clone(), ..item }, used))
}

/// "5 bags of 120 from May and 3 of 90": the word for the containers is not said again.
fn more_of_them(items: &[Item], at: usize) -> Option<(Item, usize)> {
    let each = number(items, at + 2).filter(|a| a.unit.is_some() || a.value >= 15.0)?;
    let count = number(items, at).filter(|a| a.unit.is_none())?.whole().filter(|n| (1..15).contains(n))?;
    let plain = |n: usize| items[n].is_word() && items[n].has(Tag::Of) && items[n].to - items[n].from == 1;
    let row = |n: &usize| {
        let first = n.checked_sub(1).and_then(|n| number(items, n)).is_some();
        first && is_container(items, *n) && has(items, *n, Tag::Plural) && number(items, n + 2).is_some()
    };
    let noun = (0..at.saturating_sub(2)).rfind(row).filter(|n| plain(n + 1) && plain(at + 1))?;
    let told = items[noun..at].iter().any(|i| i.verbs().next().is_some());
    let (item, used) = built(items, at, 3, Kind::Multi(count, each));
    (!told).then(|| (Item { senses: items[noun].senses.clone(), ..item }, used))
}

/// "the oldest two", "two oldest", "labelled two more": so many of them.
fn beside_a_pick(items: &[Item], at: usize) -> Option<(Item, usize)> {
    // "las dos de hoy"; but "120 each from today" is how much
    let named = |i: &Item| i.when().is_some_and(|w| w.role == Role::Names);
    let each = items[at].has(Tag::Each) || at > 0 && number(items, at - 1).is_some();
    let both = items[at].is_word() && items[at].has(Tag::Both);
    if both
        && items.get(at + 1).is_some_and(|i| {
            i.is_word() && i.any(&[Tag::Oldest, Tag::Newest, Tag::Relative]) || named(i) && !each
        })
    {
        return Some(built(items, at, 1, Kind::Count(2)));
    }
    let count = number(items, at)?.whole().filter(|n| *n <= 12)?;
    let before = at.checked_sub(1).map(|n| &items[n]);
    let oldest = |i: &Item| i.is_word() && i.any(&[Tag::Oldest, Tag::Newest]);
    // "this morning's two"
    let whose = before.is_some_and(named)
        && count <= 6
        && items.get(at + 1).is_some_and(|i| i.is_word() && !i.has(Tag::Session));
    let picked = whose || before.is_some_and(oldest) || items.get(at + 1).is_some_and(oldest);
    let more = before.is_some_and(|i| i.is(Verb::Label)) && has(items, at + 1, Tag::More);
    (picked || more).then(|| built(items, at, 1, Kind::Count(count)))
}

fn multiplied(items: &[Item], at: usize, units: Unit) -> Option<(Item, usize)> {
    let first = number(items, at)?;
    let noun = usize::from(is_container(items, at + 1));
    let sign = at + 1 + noun;
    if !has(items, sign, Tag::Times) {
        return None;
    }
    let second = number(items, sign + 1)?;
    let (count, each) = if counts(first, second, units) { (first, second) } else { (second, first) };
    let count = count.whole().filter(|n| *n <= 60)?;
    let (mut item, used) = built(items, at, sign + 2 - at, Kind::Multi(count, each));
    item.senses = if noun == 1 { items[at + 1].senses.clone() } else { Vec::new() };
    Some((item, used))
}

/// Whether the first of two multiplied numbers is the count.
fn counts(first: Amount, second: Amount, units: Unit) -> bool {
    match (first.unit, second.unit, units) {
        (None, Some(_), _) => true,
        (Some(_), _, _) => false,
        (None, None, Unit::Oz) => true,
        (None, None, Unit::Ml) => first.value <= second.value,
    }
}

/// A count before a word for a container, with what each holds.
fn containers(items: &[Item], at: usize, units: Unit) -> Option<(Item, usize)> {
    // "bag 27 4oz, bag 28 4oz": a label counts nothing
    let label = |i: &Item| {
        i.is_word() && (i.has(Tag::Container) && !i.has(Tag::Plural))
            || i.has(Tag::NumberSign) && i.verbs().next().is_none()
    };
    if at > 0 && number(items, at).is_some() && label(&items[at - 1]) {
        return None;
    }
    let article = items[at].is_word() && items[at].any(&[Tag::Article, Tag::One]);
    if items[at].is_word() && items[at].has(Tag::Both) && is_container(items, at + 1) {
        return Some(built(items, at, 2, Kind::Count(2)));
    }
    let count = number(items, at).and_then(|n| n.whole()).or(article.then_some(1)).filter(|n| *n <= 300)?;
    let mut next = at + 1;
    while items.get(next).is_some_and(|i| {
        i.is_word()
            && (i.any(&[Tag::Fresh, Tag::Frozen, Tag::More, Tag::Milk, Tag::Of, Tag::Size, Tag::Called])
                || i.any(&[Tag::The, Tag::This]) && items[next - 1].has(Tag::Of))
            && !is_container(items, next)
    }) && next < at + 3
    {
        next += 1;
    }
    // "3 4oz bottles"
    let bag = items.get(next + 1).is_some_and(|i| i.is_word() && i.has(Tag::Container));
    if let Some(each) = number(items, next).filter(|n| n.unit.is_some() && (!article || bag))
        && is_container(items, next + 1)
    {
        let (mut item, used) = built(items, at, next + 2 - at, Kind::Multi(count, each));
        item.senses.clone_from(&items[next + 1].senses);
        return Some((item, used));
    }
    if !is_container(items, next) {
        return fresh_or_frozen(items, at, next, count);
    }
    // "14:00 90 bottles": how much came of a time
    let timed = at > 0 && items[at - 1].when().is_some_and(|w| w.clock.is_some());
    if count >= 15 && (timed || !items[next].has(Tag::Plural)) {
        return None;
    }
    if let Some((each, used)) = each(items, next + 1, units) {
        let (mut item, used) = built(items, at, next + 1 + used - at, Kind::Multi(count, each));
        item.senses.clone_from(&items[next].senses);
        return Some((item, used));
    }
    let (mut item, used) = built(items, at, next + 1 - at, Kind::Count(count));
    item.senses.extend(items[at..=next].iter().flat_map(|i| i.senses.clone()));
    Some((item, used))
}

/// "3 frozen from last week", "2 fresh -> freezer": a count without its noun.
fn fresh_or_frozen(items: &[Item], at: usize, next: usize, count: u32) -> Option<(Item, usize)> {
    let adjective = next == at + 1 + usize::from(next > at + 1)
        && items[next - 1].any(&[Tag::Fresh, Tag::Frozen])
        && next > at + 1;
    let goes = items.get(next).is_some_and(|i| {
        i.any(&[Tag::To, Tag::From, Tag::Into]) || i.when().is_some() || i.sign() == Some('→')
    });
    (adjective && goes && count <= 12).then(|| {
        let (mut item, used) = built(items, at, next - at, Kind::Count(count));
        item.senses.extend(items[at..next].iter().flat_map(|i| i.senses.clone()));
        (item, used)
    })
}

/// "of 120 each", "120ml each", "with 4oz".
fn each(items: &[Item], at: usize, units: Unit) -> Option<(Amount, usize)> {
    let milk =
        usize::from(items.get(at).is_some_and(|i| i.has(Tag::Of)) && has(items, at + 1, Tag::Milk)) * 2;
    if milk > 0 && number(items, at + milk).is_some_and(|n| n.unit.is_some()) {
        return number(items, at + milk)
            .map(|n| (n, milk + 1 + usize::from(has(items, at + milk + 1, Tag::Both))));
    }
    let linked = |i: &Item| i.is_word() && i.any(&[Tag::Of, Tag::With, Tag::At]) || i.sign() == Some('@');
    let link = usize::from(items.get(at).is_some_and(linked));
    let comma =
        usize::from(link == 0 && items.get(at).and_then(Item::sign).is_some_and(|s| matches!(s, ',' | '(')));
    let about = usize::from(has(items, at + link + comma, Tag::About));
    let amount = number(items, at + link + comma + about)?;
    let both = usize::from(has(items, at + link + comma + about + 1, Tag::Both));
    let plausible = amount.unit.is_some() || amount.value >= 15.0 || units == Unit::Oz;
    // "5 bags 120ml"
    let beside = amount.unit.is_some() && link + comma + about == 0 && has(items, at - 1, Tag::Plural);
    if beside && !has(items, at + 1, Tag::Total) {
        return Some((amount, 1 + both));
    }
    ((link == 1 || both == 1) && plausible).then_some((amount, link + comma + about + 1 + both))
}
