//! Which child drank or was fed, where a message names it: "A 90, B 80", "Mateo 90 y Lucía 110".

use super::clause::Clause;
use super::item::Item;
use super::pump::Pour;
use super::senses::{Form, Tag, Verb};

/// "Mateo 90 y Lucía 110": amounts right after the names of children.
pub fn of_children(clause: &Clause) -> Vec<Pour> {
    let all =
        clause.items.iter().enumerate().filter_map(|(at, i)| i.amount().map(|amount| Pour { at, amount }));
    let named = all.filter(|p| child_beside(clause, p.at).is_some());
    named.collect()
}

/// The child that an amount belongs to: "Ana 60", "60 a Ana", "a Ana le di 60".
pub fn child_beside(clause: &Clause, at: usize) -> Option<String> {
    let first = || clause.items[..at].iter().all(|i| i.amount().is_none());
    let ahead = || given_at(clause, 0).filter(|_| first());
    child_before(clause, at).or_else(|| given_at(clause, at + 1)).or_else(ahead)
}

/// "le di 60 a Ana": the child is named twice, by a pronoun and by name, and nothing follows it.
pub fn given_to(clause: &Clause) -> Option<String> {
    let give = clause.heads.iter().find(|h| matches!(h.verb, Verb::Give | Verb::Feed))?.at;
    let him = |i: &Item| i.is_word() && i.has(Tag::Him);
    give.checked_sub(1).filter(|at| him(&clause.items[*at]))?;
    let last = clause.items[..give].iter().take(2).find(|i| i.has(Tag::To));
    let ahead = last.and_then(|i| clause.items.iter().position(|o| o.from == i.from));
    ahead.into_iter().chain(give + 1..clause.items.len()).find_map(|at| given_at(clause, at))
}

/// "a Ana", before a stop, a time or what another one got.
fn given_at(clause: &Clause, at: usize) -> Option<String> {
    let to = clause.items.get(at).filter(|i| i.is_word() && i.any(&[Tag::To, Tag::For]))?;
    let name = clause.items.get(at + 1).filter(|i| i.from == to.to && is_child_name(clause, i))?;
    let ends = clause.items.get(at + 2).is_none_or(|i| {
        i.sign().is_some() || i.when().is_some() || i.any(&[Tag::And, Tag::Him]) || i.verbs().next().is_some()
    });
    ends.then(|| clause.message.typed(name.from, name.to))
}

/// A letter or name right before an amount.
fn child_before(clause: &Clause, at: usize) -> Option<String> {
    let sign = usize::from(at > 1 && matches!(clause.items[at - 1].sign(), Some(':' | '-' | '=')));
    let drank = |i: &Item| i.verbs().any(|(v, _)| matches!(v, Verb::Drink | Verb::Take | Verb::Have));
    let soft = |i: &&Item| i.is_word() && (i.any(&[Tag::Just, Tag::All, Tag::About]) || drank(i));
    let skipped = clause.items[..at - sign].iter().rev().take_while(soft).count();
    let item = clause.items.get(at.checked_sub(1 + sign + skipped)?)?;
    is_child_name(clause, item).then(|| clause.message.typed(item.from, item.to))
}

/// A single capital, or a capitalised word that no vocabulary knows.
fn is_child_name(clause: &Clause, item: &Item) -> bool {
    let token = &clause.message.tokens[item.from];
    let letter = token.typed.len() == 1
        && token.typed.chars().all(|c| c.is_ascii_uppercase())
        && !item.any(&[Tag::LeftSide, Tag::RightSide, Tag::I]);
    let owner = token.typed.ends_with("'s");
    item.is_word() && item.to - item.from == 1 && !owner && (letter || (item.unknown && token.is_name()))
}

/// The child that is named as the one who drank or was fed.
pub fn child(clause: &Clause) -> Option<String> {
    let mut drank = clause
        .heads
        .iter()
        .filter(|h| matches!(h.verb, Verb::Drink | Verb::Take | Verb::Have | Verb::Finish));
    let fed = clause.heads.iter().find(|h| matches!(h.verb, Verb::Feed | Verb::Give));
    let given = given_to(clause);
    let subject =
        drank.find_map(|h| clause.items.get(h.at.checked_sub(1)?).filter(|i| is_child_name(clause, i)));
    let object = fed.and_then(|h| clause.items.get(h.at + 1));
    let Some(named) = [subject, object].into_iter().flatten().find(|i| is_child_name(clause, i)) else {
        return given;
    };
    Some(clause.message.typed(named.from, named.to))
}

/// "bairn took 100 nae bother": whoever knows the words after it.
pub fn taken_by_child(clause: &Clause) -> bool {
    let took =
        clause.heads.iter().find(|h| matches!(h.verb, Verb::Take | Verb::Have) && h.form == Form::Done);
    took.is_some_and(|h| clause.items[..h.at].iter().any(|i| i.is_word() && i.has(Tag::He)))
}
