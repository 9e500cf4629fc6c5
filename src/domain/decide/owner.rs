//! Whose milk it is and which child is meant, where there are several of them. With one parent who pumps and one child
//! nothing is asked and nothing is marked. Milk of two parents is never taken for one stock: a choice that would fall on
//! either is asked.

use crate::domain::act::{Act, Code, Doubt, Kind};
use crate::domain::answer::Piece;
use crate::domain::fact::{Fact, Marks};
use crate::domain::household::{Household, Role};
use crate::domain::ledger::{Container, Stock};
use crate::domain::milk::Moment;

use super::draft::{Draft, Trouble};

fn household<'a>(draft: &Draft<'a>) -> &'a Household {
    draft.ledger.household()
}

/// The parent whose milk an act names, where there are several. Who is named beside a feed gave it, whosever milk it was.
fn person(draft: &Draft, act: &Act) -> Option<String> {
    let named = act.person.as_deref().filter(|_| act.kind != Kind::Feed || !act.codes.is_empty())?;
    let household = household(draft);
    household.pumping_called(named).filter(|_| household.several_owners()).map(str::to_owned)
}

/// Who gave a bottle, where somebody is named of whom it isn't the milk.
pub fn giver(draft: &Draft, act: &Act) -> Option<String> {
    let named = act.person.as_deref()?;
    let people = &household(draft).people;
    let known = people.iter().find(|p| p.name.eq_ignore_ascii_case(named)).map(|p| p.name.clone());
    known.or(Some(named.to_owned())).filter(|name| {
        // A parent named beside containers is named for whose milk it is.
        !household(draft).several_owners() || household(draft).pumping_called(name).is_none()
    })
}

/// The sender, where they are one of several parents who pump.
fn sender(draft: &Draft) -> Option<String> {
    let household = household(draft);
    let by = household.person(draft.message.by?)?;
    (by.role == Role::Pumps && household.several_owners()).then(|| by.name.clone())
}

fn ask_whose(names: impl Iterator<Item = String>, act: &Act, of: impl Fn(&str) -> Vec<Code>) -> Trouble {
    let option = |name: String| Act { codes: of(&name), person: Some(name), ..act.clone() };
    Trouble::Ask(Doubt::Whose, names.map(option).collect())
}

/// What is written on milk that comes on the books: its owner, the child it is for, and what it was called.
pub fn marks(draft: &Draft, act: &Act) -> Result<Marks, Trouble> {
    let household = household(draft);
    let whose = match (person(draft, act).or_else(|| sender(draft).filter(|_| act.person.is_none())), act) {
        (None, _) if household.several_owners() => {
            let names = household.pumping().map(str::to_owned);
            return Err(ask_whose(names, act, |_| act.codes.clone()));
        }
        (whose, _) => whose,
    };
    let child = act.child.as_deref().filter(|_| household.several_children());
    let child = child.and_then(|words| household.child_called(words)).map(|c| c.name.clone());
    Ok(Marks { whose, child, tags: act.tags.clone() })
}

/// Notes what is written on milk that has just come on the books.
pub fn mark(draft: &mut Draft, at: Moment, codes: Vec<Code>, marks: Marks) {
    if !marks.is_empty() && !codes.is_empty() {
        draft.note(at, Fact::Labelled { codes, expressed: None, marks });
    }
}

/// Which child was fed: it must be named where there are several.
pub fn child(draft: &Draft, act: &Act) -> Result<Option<String>, Trouble> {
    let household = household(draft);
    if !household.several_children() {
        return Ok(act.child.clone());
    }
    match act.child.as_deref().and_then(|words| household.child_called(words)) {
        Some(child) => Ok(Some(child.name.clone())),
        None => {
            let named = |name: &String| Act { child: Some(name.clone()), ..act.clone() };
            let options = household.children.iter().map(|c| named(&c.name)).collect();
            Err(Trouble::Ask(Doubt::Child, options))
        }
    }
}

/// From what may be taken without a label: the milk of the parent named, of the child's parent, or (but for a feed, which
/// anyone may give) of the sender. Where it would still fall on the milk of several: ask whose.
pub fn narrowed<'c>(
    draft: &Draft,
    act: &Act,
    order: Vec<&'c Container>,
) -> Result<Vec<&'c Container>, Trouble> {
    let household = household(draft);
    let child = act.child.as_deref().filter(|_| household.several_children());
    let child = child.and_then(|words| household.child_called(words));
    let meant = |c: &&Container| child.is_none_or(|child| household.is_meant_for(&c.marks, child));
    let order: Vec<&Container> = order.into_iter().filter(meant).collect();
    if !household.several_owners() {
        return Ok(order);
    }
    let owner = person(draft, act).or_else(|| sender(draft).filter(|_| act.kind != Kind::Feed));
    if let Some(owner) = owner {
        return Ok(order.into_iter().filter(|c| c.marks.whose.as_ref() == Some(&owner)).collect());
    }
    let mut names: Vec<String> = order.iter().filter_map(|c| c.marks.whose.clone()).collect();
    names.sort();
    names.dedup();
    // "60 of Mia's milk", or Mia gave it: where it could be of several, it is hers.
    let named = act.person.as_deref().and_then(|name| household.pumping_called(name));
    if let Some(named) = named.filter(|n| names.len() > 1 && names.iter().any(|name| name == n)) {
        return Ok(order.into_iter().filter(|c| c.marks.whose.as_deref() == Some(named)).collect());
    }
    let unmarked = order.iter().any(|c| c.marks.whose.is_none());
    match names.len() {
        0 => Ok(order),
        1 if !unmarked => Ok(order),
        _ => {
            let many = act.count.unwrap_or(1).max(1) as usize;
            let of = |name: &str| -> Vec<Code> {
                let own = order.iter().filter(|c| c.marks.whose.as_deref() == Some(name)).map(|c| c.code);
                own.take(if act.kind == Kind::Feed { many } else { 0 }).collect()
            };
            Err(ask_whose(names.into_iter(), act, of))
        }
    }
}

/// Said before everything else: milk that is another child's was given.
pub fn warn_of_wrong_milk(draft: &mut Draft, codes: &[Code], child: Option<&str>) {
    let household = household(draft);
    let child = child.filter(|_| household.several_children()).and_then(|c| household.child_called(c));
    let Some(child) = child else { return };
    let wrong =
        |code: &&Code| draft.stock.get(**code).is_some_and(|c| !household.is_meant_for(&c.marks, child));
    let codes: Vec<Code> = codes.iter().filter(wrong).copied().collect();
    if !codes.is_empty() {
        draft.pieces.insert(0, Piece::WrongMilk { codes, child: child.name.clone() });
    }
}

/// Milk of two parents, or for two children, was poured together.
pub fn warn_of_mixing(draft: &mut Draft, before: &Stock, codes: &[Code]) {
    let containers: Vec<&Container> = codes.iter().filter_map(|code| before.get(*code)).collect();
    let marks = |c: &&Container| c.marks.clone();
    let Some(first) = containers.first().map(marks) else { return };
    if containers.iter().any(|c| first.conflicts(&c.marks)) {
        let all = containers.iter().fold(first, |all, c| all.and(&c.marks));
        draft.say(Piece::MixedOwners { marks: all });
    }
}

/// Who may release milk from hold: a parent who pumps, and where it is marked, one whose milk it is.
pub fn may_release(draft: &Draft, codes: &[Code]) -> bool {
    let household = household(draft);
    let Some(by) = draft.message.by else { return household.who_pumps().is_none() };
    if household.who_pumps().is_none() {
        return true;
    }
    let own = |c: &Container| c.marks.whose.is_none() || c.marks.is_of(by);
    household.pumping().any(|name| name == by)
        && codes.iter().filter_map(|code| draft.stock.get(*code)).all(own)
}
