//! Questions about what is left of a bottle: "can he still have the rest?", "is the rest ok for tonight?". A rule answers them,
//! whatever the bottle was.

use super::clause::Clause;
use super::item::{Item, Kind};
use super::senses::{Form, Tag, Verb};

const DONE_WITH_IT: [Verb; 11] = [
    Verb::Drink,
    Verb::Have,
    Verb::Take,
    Verb::Give,
    Verb::Feed,
    Verb::Use,
    Verb::Finish,
    Verb::Put,
    Verb::Toss,
    Verb::Dump,
    Verb::Offer,
];

/// Whether a clause asks what may be done with what is left.
pub fn asked(clause: &Clause) -> bool {
    let about = [Tag::OkWord, Tag::Keep, Tag::StillGood, Tag::HowLong, Tag::MayI];
    let opens = |i: &Item| {
        let asks = [Tag::MayI, Tag::RuleAsk, Tag::Question];
        clause.message.marks[i.from].iter().any(|(tag, _)| asks.contains(tag))
    };
    let deed =
        clause.items.iter().any(|i| i.verbs().any(|(v, f)| DONE_WITH_IT.contains(&v) && f == Form::Base));
    let may = clause.items.iter().find(|i| i.is_word() && !i.has(Tag::Polite)).is_some_and(opens);
    // "can he have the rest?"
    let he = clause.heads.is_empty() && clause.items.iter().any(|i| i.is_word() && i.has(Tag::He));
    let asks = clause.any(&about) || (may || clause.asked) && deed || may && he;
    let happened = |h: &super::clause::Head| h.form != Form::Base && h.verb != Verb::Release;
    let told = clause.heads.iter().any(|h| happened(h) && !clause.items[h.at].has(Tag::LeftOver));
    let other = clause.any(&[Tag::StockStrong, Tag::Who, Tag::Expire])
        || clause.has(Tag::HowMuch) && !clause.has(Tag::HowLong);
    let placed = clause.has_place() || super::scene::site(clause).is_some();
    let strangers = clause.items.iter().filter(|i| i.unknown).count();
    names_rest(clause) && asks && !told && !other && !placed && strangers < 2 && !names_milk(clause)
}

/// "the rest", "the leftover", "what he left", "the 30 ml".
fn names_rest(clause: &Clause) -> bool {
    let items = &clause.items;
    let rest = |at: usize| {
        let of = items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Of));
        let thing = items[at + 1..]
            .iter()
            .take(4)
            .any(|i| i.is_word() && i.any(&[Tag::Bottle, Tag::Milk, Tag::It, Tag::This, Tag::Container]));
        items[at].is_word() && items[at].any(&[Tag::Rest, Tag::LeftOver]) && (!of || thing)
    };
    let the = |at: usize| {
        let led = at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::The, Tag::CodeArticle]);
        led && items[at].amount().is_some_and(|a| a.unit.is_some())
    };
    (0..items.len()).any(|at| rest(at) || the(at)) || clause.has(Tag::BottleRest)
}

/// Labels, or a time that names milk: those are asked about as milk of their own.
fn names_milk(clause: &Clause) -> bool {
    clause.names_time() || clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..)))
}
