//! Milk that came, told with a word that may also be for containers that were fetched: "got 3 oz", "saqué 110".

use super::clause::Clause;
use super::family::{counted, has_unit};
use super::item::Kind;
use super::moves::is_origin;
use super::pump::pours;
use super::scene::spots;
use super::senses::{Form, Tag, Verb};
use super::when::Role;

/// "got 3 oz out of that one", "got 60 from the left", "saqué leche": milk that came, not containers that were fetched.
pub fn is_yield(clause: &Clause) -> bool {
    let side =
        clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::LeftSide, Tag::RightSide, Tag::SideWord]));
    let amount = (has_unit(clause) || (clause.has_amount() && side)) && !clause.any(&[Tag::Bottle, Tag::He]);
    let milk = clause.item(Tag::Milk).is_some() || clause.item(Tag::Some).is_some();
    let milk = milk && !clause.has_place() && !counted(clause);
    clause.tells(Verb::Get) && (amount || milk)
}

/// "saqué 110, refri": where one word is for both, what can only be an amount was expressed and not taken out.
pub fn expressed(clause: &Clause) -> bool {
    let both = |i: &super::item::Item| {
        let done = |verb| i.verbs().any(|v| v == (verb, Form::Done));
        i.is_word() && done(Verb::Get) && done(Verb::Pull)
    };
    let out = clause.any(&[Tag::OutOf, Tag::OutWord]) || spots(clause).iter().any(|s| is_origin(clause, s));
    let ahead = clause.whens().any(|(_, w)| w.role == Role::Purpose);
    let milk = pours(clause, false).iter().any(|p| p.amount.unit.is_none() && p.amount.value >= 15.0);
    // "saqué 180 en dos bolsas"
    let filled = clause.items.iter().position(|i| matches!(i.kind, Kind::Count(_))).is_some_and(|at| {
        let much = |i: &super::item::Item| i.amount().is_some_and(|a| a.value >= 60.0);
        clause.items[..at].iter().any(much)
            && clause.items[at - 1].is_word()
            && clause.items[at - 1].any(&[Tag::In, Tag::Into])
    });
    let row = clause.items.iter().any(|i| matches!(&i.kind, Kind::List(all, false) if are_amounts(all)));
    let coded = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::Count(_)));
    clause.items.iter().any(both) && !out && !ahead && (milk && (filled || !counted(clause)) || row && !coded)
}

/// "saqué 120 y 100": too large for labels, and none that follow one another.
fn are_amounts(all: &[u32]) -> bool {
    all.iter().all(|n| *n >= 60) && !all.windows(2).all(|p| p[0] < p[1] && p[1] - p[0] <= 3)
}

/// "got 120 on the speeding ticket": after the verb comes something that nobody here knows.
pub fn strange_yield(clause: &Clause) -> bool {
    let verb = clause.heads.iter().find(|h| h.verb == Verb::Get).map_or(0, |h| h.at);
    clause.items[verb..].iter().any(|i| i.unknown)
}
