//! Where milk goes that verbs of giving, adding, throwing and placing speak of: to the child, to somebody else, into the sink, to
//! what is there already, or to a place.

use super::children::given_to;
use super::clause::Clause;
use super::family::{counted, has_unit};
use super::item::{Item, Kind};
use super::pouring::fills_a_bottle;
use super::scene::{site, spots};
use super::senses::{Form, Tag, Verb};
use super::when::Role;
use crate::domain::place::Place;

/// "chucked 2 bags out of the freezer": nothing thaws.
pub fn throws_away(clause: &Clause) -> bool {
    clause.tells_any(&[Verb::Toss, Verb::Dump])
        && !clause.tells_any(&[Verb::Thaw, Verb::Pull, Verb::Take, Verb::Get])
}

/// "gave 30 to the charity run": to something that nobody here knows.
pub fn is_given_elsewhere(clause: &Clause) -> bool {
    let to = clause.items.iter().position(|i| i.is_word() && i.has(Tag::To));
    let stranger = to.is_some_and(|at| {
        clause.items[at + 1..].iter().take(3).any(|i| i.unknown || i.has(Tag::OtherPerson))
    });
    let stranger = stranger && given_to(clause).is_none();
    let back = clause.items.iter().any(|i| i.is_word() && i.has(Tag::Back));
    let handed = back && !clause.has_amount() && !clause.has_place();
    clause.tells(Verb::Give) && (stranger && !has_unit(clause) && !counted(clause) || handed)
}

/// "leaked 30 into the cup": caught, not lost.
pub fn caught(clause: &Clause) -> bool {
    let into = clause.items.iter().position(|i| i.is_word() && i.has(Tag::Into));
    into.is_some_and(|at| clause.items[at + 1..].iter().all(|i| i.place().is_none()))
}

/// "added 5 bags to the freezer": put there.
pub fn adds_to_place(clause: &Clause) -> bool {
    let to = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::To, Tag::Into]));
    let small = |i: &Item| i.is_word() && i.any(&[Tag::The, Tag::CodeArticle]);
    let mut rest = clause.items[to.map_or(clause.items.len(), |at| at + 1)..].iter().skip_while(|i| small(i));
    let goal = rest.next().is_some_and(|i| i.place().is_some());
    // "the fridge bottle" is one of them
    let vessel = rest
        .next()
        .is_some_and(|i| i.is_word() && i.any(&[Tag::Bottle, Tag::Container, Tag::One, Tag::Milk]));
    clause.tells(Verb::Add) && goal && !vessel
}

/// "froze the leftover 60": what was left of a bottle.
pub fn keeps_leftover(clause: &Clause) -> bool {
    let items = &clause.items;
    let left = |at: usize| {
        items.get(at).is_some_and(|i| i.is_word() && i.has(Tag::LeftOver) && !i.has(Tag::LeftSide))
    };
    let rest = |at: usize| left(at) || items[at].is_word() && items[at].has(Tag::Rest);
    (0..items.len()).any(|at| items[at].amount().is_some() && (left(at + 1) || at > 0 && rest(at - 1)))
}

/// "topped her off with 60", "topped up his bottle with 30 from 2": drunk, and not poured to other stock.
pub fn tops_up_child(clause: &Clause) -> bool {
    let Some(head) = clause.heads.iter().find(|h| h.verb == Verb::Add && h.form == Form::Done) else {
        return false;
    };
    let next = clause.items.get(head.at + 1);
    let child =
        next.is_some_and(|i| i.is_word() && i.any(&[Tag::Him, Tag::He]) && !i.any(&[Tag::It, Tag::The]));
    // "le completé con 30 de la 2"
    let him = head.at > 0 && clause.items[head.at - 1].is_word() && clause.items[head.at - 1].has(Tag::Him);
    let poured = |i: &Item| matches!(i.kind, Kind::Codes(_)) && i.has(Tag::From) && !i.has(Tag::To);
    let his = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Childs);
    let had = clause.items.windows(2).any(|p| his(&p[0]) && p[1].amount().is_some());
    child || had || him && clause.items.iter().any(poured) || fills_a_bottle(clause)
}

/// "le dieron 90 en la guarde": drunk there, and not sent.
pub fn given_to_him(clause: &Clause) -> bool {
    let give = clause.heads.iter().find(|h| h.verb == Verb::Give && h.form == Form::Done);
    let him = |h: &super::clause::Head| {
        h.at > 0 && clause.items[h.at - 1].is_word() && clause.items[h.at - 1].has(Tag::Him)
    };
    give.is_some_and(him) && clause.has_amount()
}

/// "took 2 oz from a bottle": drunk, and not taken out.
pub fn drank_from_bottle(clause: &Clause) -> bool {
    let items = &clause.items;
    let took =
        clause.heads.iter().find(|h| matches!(h.verb, Verb::Take | Verb::Have) && h.form == Form::Done);
    let amount = took.and_then(|h| items.get(h.at + 1)).is_some_and(|i| i.amount().is_some());
    let from = took.and_then(|h| items.get(h.at + 2)).is_some_and(|i| i.is_word() && i.has(Tag::From));
    let bottle = took.is_some_and(|h| items[h.at..].iter().take(5).any(|i| i.has(Tag::Bottle)));
    amount && from && bottle && !clause.has_place()
}

/// "packed 3 bottles in the cool box": not gone anywhere yet.
pub fn is_packed_cold(clause: &Clause) -> bool {
    let cooler = spots(clause).iter().any(|s| s.place == Place::Cooler);
    let aim = clause.items.iter().any(|i| i.is_word() && i.has(Tag::For));
    let aim = aim || clause.whens().any(|(_, w)| w.role == Role::Purpose);
    clause.bare(Tag::Packs).is_some() && cooler && !aim && site(clause).is_none()
}

/// "adding my stash: #5 110, #6 95": to the books, and each with its own amount.
pub fn is_added_list(clause: &Clause) -> bool {
    let own = |pair: &[Item]| {
        matches!(&pair[0].kind, Kind::Codes(codes) if codes.len() == 1) && pair[1].amount().is_some()
    };
    let items: Vec<Item> = clause.message.items.iter().filter(|i| i.sign() != Some(',')).cloned().collect();
    clause.tells(Verb::Add) && items.windows(2).filter(|pair| own(pair)).count() > 1
}
