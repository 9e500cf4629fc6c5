//! The amounts of a clause that are milk, as far as their neighbours tell: no price, age, temperature, hour or order.

use super::clause::Clause;
use super::item::{Amount, Item};
use super::scene::is_foreign;
use super::senses::{Tag, Verb};

/// An amount in a clause that is milk, as far as its neighbours tell.
#[derive(Debug, Clone, Copy)]
pub struct Pour {
    pub at: usize,
    pub amount: Amount,
}

/// The amounts of a clause. After a strong verb ("pumped 120 yay") an unknown word beside the number does no harm.
pub fn pours(clause: &Clause, strong: bool) -> Vec<Pour> {
    let items = &clause.items;
    let denied = |at: usize| {
        // "x3 today"
        let times = |n: usize| items[n].has(Tag::Times) && (n == 0 || items[n - 1].amount().is_none());
        at > 0 && times(at - 1)
            || at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::Wasnt, Tag::InsteadOf])
            || at > 0
                && items[at - 1].is_word()
                && items[at - 1].any(&[Tag::Day, Tag::Week])
                && !of_the_day(items, at)
    };
    // "a temp of 38.5"
    let warm = clause.has(Tag::Temperature);
    let degrees = |at: usize| {
        let body = |v: f64| (35.0..43.0).contains(&v) || (95.0..110.0).contains(&v);
        warm && items[at].amount().is_some_and(|a| a.unit.is_none() && body(a.value))
    };
    // "14.99 now": a price or a weight
    let cents = |at: usize| {
        let hundredths = |v: f64| ((v * 100.0).round() as u64) % 25;
        items[at].amount().is_some_and(|a| {
            a.unit.is_none() && a.value > 1.0 && (a.value * 10.0).fract() > 0.01 && hundredths(a.value) != 0
        })
    };
    // "the 4oz bottle from 2"
    let hour = |at: usize| {
        let from = at > 1
            && items[at - 1].is_word()
            && items[at - 1].has(Tag::From)
            && items[at - 2].any(&[Tag::Bottle, Tag::One, Tag::Milk]);
        from && items[at].amount().is_some_and(|a| a.unit.is_none() && a.value <= 12.0)
    };
    // "up at 2, 3 and 4:30"
    let and_clock = |at: usize| {
        let and = items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::And));
        let clock = items.get(at + 2).and_then(Item::when).is_some_and(|w| w.clock.is_some());
        let last = items.get(at + 3).is_none_or(|i| i.sign().is_some() || i.amount().is_none());
        clause.heads.is_empty()
            && and
            && clock
            && last
            && items[at].amount().and_then(|a| a.whole()).is_some_and(|n| n <= 12)
    };
    let denied = |at: usize| denied(at) || degrees(at) || cents(at) || hour(at) || and_clock(at);
    let all = items
        .iter()
        .enumerate()
        .filter(|(at, _)| !denied(*at))
        .filter_map(|(at, i)| i.amount().map(|amount| Pour { at, amount }));
    all.filter(|p| {
        !is_index(items, p.at)
            && !items.get(p.at + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::Repeat, Tag::Times]))
            && !is_priced(items, p.at)
            && !is_mark_or_age(clause, p.at)
            && !items.get(p.at + 1).is_some_and(|i| i.has(Tag::Ordinal))
            && !counts_feeds(items, p.at)
            && (!is_foreign(items, p.at)
                || (strong
                    && !names_another(clause, p.at)
                    && p.amount.value >= 15.0
                    && !plural_follows(clause, p.at)))
    })
    .collect()
}

/// "pumped 120, Otis 90": what somebody else is said to have had.
fn names_another(clause: &Clause, at: usize) -> bool {
    let joint = |i: &Item| i.sign() == Some(',') || i.is_word() && i.has(Tag::And);
    let named = at > 1 && super::children::is_capitalised(clause, &clause.items[at - 1]);
    named && joint(&clause.items[at - 2]) && clause.item(Tag::Session).is_none() && clause.tells(Verb::Pump)
}

/// "first pump of the day 120": not the 120th day.
fn of_the_day(items: &[Item], at: usize) -> bool {
    at > 1 && items[at - 2].is_word() && items[at - 2].any(&[Tag::The, Tag::CodeArticle])
}

/// "pump 2: 95": the number of the session, not an amount.
fn is_index(items: &[Item], at: usize) -> bool {
    let noun = at > 0 && items[at - 1].any(&[Tag::Session, Tag::FeedNoun, Tag::NumberSign]);
    // "pump 1 4oz pump 2 3.5oz"
    let small =
        items[at].amount().is_some_and(|a| a.unit.is_none() && a.value <= 4.0 && a.value.fract() == 0.0);
    let next = items.get(at + 1).and_then(Item::amount).is_some_and(|a| a.unit.is_some() || a.value >= 15.0);
    if noun && small && next {
        return true;
    }
    noun && items.get(at + 1).and_then(Item::sign).is_some_and(|s| matches!(s, ':' | '-' | '=' | ')'))
        && items[at].amount().is_some_and(|a| a.unit.is_none())
}

/// "3 feeds today": how often, and not how much.
fn counts_feeds(items: &[Item], at: usize) -> bool {
    let few = items[at].amount().and_then(|a| a.whole()).is_some_and(|n| n <= 12);
    few && items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::FeedNoun) && i.has(Tag::Plural))
}

/// "got a 9 in the exam", "8 months today".
pub fn is_mark_or_age(clause: &Clause, at: usize) -> bool {
    let bare = clause.items[at].amount().is_some_and(|a| a.unit.is_none() && !a.about && a.value < 15.0);
    let article = at > 0 && clause.items[at - 1].is_word() && clause.items[at - 1].has(Tag::Article);
    let months = clause.items.get(at + 1).is_some_and(|i| clause.message.has(i.from, i.to, Tag::MonthWord));
    bare && article || months
}

fn is_priced(items: &[Item], at: usize) -> bool {
    let sign = |n: Option<usize>| n.and_then(|n| items.get(n)).and_then(Item::sign);
    matches!(sign(at.checked_sub(1)), Some('$' | '£' | '€'))
        || matches!(sign(Some(at + 1)), Some('%' | '°' | '$' | '€'))
}

fn plural_follows(clause: &Clause, at: usize) -> bool {
    clause.items.get(at + 1).is_some_and(|i| clause.message.tokens[i.from].plain.ends_with('s'))
}
