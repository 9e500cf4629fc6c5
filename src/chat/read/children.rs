//! Which child drank or was fed, where a message names it: "A 90, B 80", "Mateo 90 y Lucía 110".

use super::clause::Clause;
use super::item::Item;
use super::pump::Pour;
use super::senses::{Form, Tag, Verb};

/// "Mateo 90 y Lucía 110": amounts right after the names of children.
pub fn of_children(clause: &Clause) -> Vec<Pour> {
    let all =
        clause.items.iter().enumerate().filter_map(|(at, i)| i.amount().map(|amount| Pour { at, amount }));
    let named = all.filter(|p| child_before(clause, p.at).is_some());
    named.collect()
}

/// A letter or name right before an amount.
pub fn child_before(clause: &Clause, at: usize) -> Option<String> {
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
    let subject =
        drank.find_map(|h| clause.items.get(h.at.checked_sub(1)?).filter(|i| is_child_name(clause, i)));
    let object = fed.and_then(|h| clause.items.get(h.at + 1));
    let named = [subject, object].into_iter().flatten().find(|i| is_child_name(clause, i))?;
    Some(clause.message.typed(named.from, named.to))
}

/// "bairn took 100 nae bother": whoever knows the words after it.
pub fn taken_by_child(clause: &Clause) -> bool {
    let took =
        clause.heads.iter().find(|h| matches!(h.verb, Verb::Take | Verb::Have) && h.form == Form::Done);
    took.is_some_and(|h| clause.items[..h.at].iter().any(|i| i.is_word() && i.has(Tag::He)))
}
