//! Amounts asked for in the other unit.

use super::Context;
use super::ask::{FED_VERBS, verb};
use super::clause::Clause;
use super::item::{Item, Message};
use super::senses::{Sense, Tag, Verb};
use crate::domain::act::{Act, Topic};
use crate::domain::volume::{Unit, Volume};

/// "6oz in ml": an amount and the other unit, and nothing else.
pub fn conversion(message: &Message) -> Option<Act> {
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::Polite, Tag::Be]) || i.sign().is_some());
    let convert = |i: &&Item| i.is_word() && i.any(&[Tag::UnitAsk]);
    let marked =
        |i: &&Item| message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::UnitAsk) && i.amount().is_none();
    let items: Vec<&Item> = message.items.iter().filter(small).collect();
    let verb = items.first().is_some_and(|i| i.is_word() && (convert(i) || marked(i)));
    let items = &items[usize::from(verb && items.len() == 4)..];
    let [first, link, last] = items else { return None };
    // "ml in 3.5 oz?"
    let (amount, unit) = if first.amount().is_some() { (first, last) } else { (last, first) };
    let from = amount.amount().filter(|a| a.unit.is_some())?;
    let to = unit.senses.iter().find_map(|s| match s {
        Sense::Unit(unit) => Some(*unit),
        _ => None,
    });
    let asked = unit.is_word()
        && link.any(&[Tag::In, Tag::To, Tag::Into])
        && to.is_some_and(|to| Some(to) != from.unit);
    let mut ask = Act::ask(Topic::Convert);
    ask.ml = Some(Volume::of(from.value.min(1e6), from.unit?));
    asked.then_some(ask)
}

/// "how many oz is 150", "120 ml in oz?"
pub fn is_convert(clause: &Clause) -> bool {
    let amount = clause.items.iter().any(|i| i.amount().is_some());
    clause.has(Tag::UnitAsk)
        && amount
        && asked_unit(clause).is_some()
        && !verb(clause, &FED_VERBS[..5])
        && !verb(clause, &[Verb::Pump])
}

/// The unit named without a number.
fn asked_unit(clause: &Clause) -> Option<Unit> {
    clause.items.iter().filter(|i| i.is_word()).find_map(|i| {
        i.senses.iter().find_map(|s| match s {
            Sense::Unit(unit) => Some(*unit),
            _ => None,
        })
    })
}

/// The amount asked about; a bare number has the other unit than the one asked for.
pub fn converted(clause: &Clause, ctx: &Context) -> Option<Volume> {
    let amount = clause.items.iter().find_map(|i| i.amount())?;
    let other = match asked_unit(clause) {
        Some(Unit::Oz) => Unit::Ml,
        Some(Unit::Ml) => Unit::Oz,
        None => ctx.units,
    };
    Some(Volume::of(amount.value.min(1e6), amount.unit.unwrap_or(other)))
}
