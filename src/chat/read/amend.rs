//! Values that a message takes back in the same breath: "pumped 90, sorry 100", "gave bag 12, I mean 13", "fridge, no wait,
//! freezer". The later value stands where the earlier one stood, as if it had been typed there.

use super::item::{Item, Kind, Message};
use super::senses::{Form, Tag};
use super::when::{Clock, When};
use crate::domain::act::Doubt;

/// More words than this between the slip and the right value tell something else.
const FEW: usize = 5;

/// The message as it was meant, if it takes something back; which value is meant may stay open.
pub fn amended(message: &Message) -> Result<Option<Message>, Doubt> {
    let mut meant: Option<Message> = None;
    for _ in 0..3 {
        let now = meant.as_ref().unwrap_or(message);
        let Some((old, fix, new)) = (1..now.items.len()).find_map(|at| slip(now, at)) else { break };
        if several(&now.items[old]) && !several(&now.items[new]) {
            return Err(Doubt::Which);
        }
        let hour = hour_between(now, old, new);
        if hour.is_some() && !is_hour(now, old, new) {
            return Err(Doubt::Amount);
        }
        meant = Some(without_slip(now, hour.unwrap_or(old), fix, new));
    }
    Ok(meant)
}

/// The earlier value, the words that take it back and the later value.
fn slip(message: &Message, at: usize) -> Option<(usize, usize, usize)> {
    let items = &message.items;
    let fix =
        |item: &Item| item.is_word() && message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::Fix);
    if !fix(&items[at]) {
        return None;
    }
    let soft = |i: &Item| {
        let small = [
            Tag::Filler,
            Tag::It,
            Tag::Be,
            Tag::About,
            Tag::The,
            Tag::In,
            Tag::At,
            Tag::Negative,
            Tag::Polite,
        ];
        i.sign() == Some(',') || fix(i) || i.is_word() && i.any(&small) && i.place().is_none()
    };
    let new = (at + 1..items.len().min(at + 1 + FEW)).find(|n| !soft(&items[*n]))?;
    let kind = value(&items[new])?;
    let tail = items.get(new + 1);
    if tail.is_some_and(|i| {
        i.is_word()
            && (i.unknown || i.any(&[Tag::LeftOver, Tag::More, Tag::Total]) || i.verbs().next().is_some())
    }) {
        return None;
    }
    let quiet = |i: &&Item| i.verbs().next().is_none() || i.place().is_some();
    let before = items[..at].iter().enumerate().rev().take_while(|(_, i)| quiet(i));
    let fits = |(n, i): (usize, &Item)| {
        let old = value(i)?;
        // "joined 2 and 3, it's 140" tells how much it is
        let label = matches!(i.kind, Kind::Codes(_))
            && kind == 0
            && !items[at].has(Tag::Be)
            && items[new].amount().is_some_and(|a| a.whole().is_some());
        (old == kind || label).then_some(n)
    };
    before.filter_map(fits).next().map(|old| (old, at, new))
}

/// What sort of value an item is.
fn value(item: &Item) -> Option<u8> {
    match &item.kind {
        Kind::Amount(_) => Some(0),
        Kind::Codes(_) | Kind::List(..) => Some(1),
        Kind::When(w) if w.clock.is_some() => Some(2),
        Kind::Word if item.place().is_some() => Some(3),
        _ => None,
    }
}

/// "12 and 13, sorry 14": one of them, or both.
fn several(item: &Item) -> bool {
    matches!(&item.kind, Kind::Codes(all) | Kind::List(all, _) if all.len() > 1)
}

/// Whether the message tells an event of its own before it takes something back.
pub fn tells_before(message: &Message) -> bool {
    let slip = (1..message.items.len()).find_map(|at| slip(message, at));
    slip.is_some_and(|(_, fix, _)| {
        let before = &message.items[..fix];
        let done = before.iter().any(|i| i.is_word() && i.verbs().any(|(_, form)| form != Form::Base));
        let place = before.iter().any(|i| i.place().is_some());
        let amount = before.iter().any(|i| i.amount().is_some());
        let it = before.first().is_some_and(|i| i.is_word() && i.any(&[Tag::It, Tag::This]));
        !it && (done || place && amount)
    })
}

/// "pumped 4 at 6, sorry 5": a clock time that a small number may stand for.
fn hour_between(message: &Message, old: usize, new: usize) -> Option<usize> {
    let small = message.items[new].amount().is_some_and(|a| a.unit.is_none() && a.value <= 12.0);
    (old + 1..new).filter(|_| small).find(|n| value(&message.items[*n]) == Some(2))
}

/// "pumped 120 at 6, sorry 7": too little to be the amount.
fn is_hour(message: &Message, old: usize, new: usize) -> bool {
    let amount = |n: usize| message.items[n].amount();
    amount(old).is_some_and(|a| a.unit.is_none() && a.value >= 25.0)
        && amount(new).is_some_and(|a| a.whole().is_some())
}

fn without_slip(message: &Message, old: usize, fix: usize, new: usize) -> Message {
    let mut meant = message.clone();
    let (before, after) = (&message.items[old], &message.items[new]);
    let item = &mut meant.items[old];
    match (&before.kind, &after.kind) {
        (Kind::Amount(a), Kind::Amount(b)) => {
            let mut amount = *b;
            amount.unit = b.unit.or(a.unit);
            item.kind = Kind::Amount(amount);
        }
        (Kind::When(when), Kind::Amount(b)) => {
            let hour = b.whole().unwrap_or_default();
            item.kind = Kind::When(When { clock: Some(Clock { hour, minute: 0, fixed: false }), ..*when });
        }
        (Kind::Codes(_), Kind::Amount(b)) => item.kind = Kind::Codes(b.whole().into_iter().collect()),
        (_, kind) => {
            item.kind = kind.clone();
            item.senses.clone_from(&after.senses);
        }
    }
    let comma = usize::from(fix > old + 1 && message.items[fix - 1].sign() == Some(','));
    meant.items.drain(fix - comma..=new);
    meant
}
