//! What a segment is that tells no event of its own: something else that happened, words ahead of a list, what is left.

use super::clause::Clause;
use super::item::Kind;
use super::joining::{has_amounts, has_clock};
use super::senses::{Form, Tag, Verb};

/// Something else happened; but "on the counter until he wakes" only tells how long.
pub fn happens(segment: &Clause) -> bool {
    let until = segment.items.iter().find(|i| i.is_word() && i.any(&[Tag::Until, Tag::Before]));
    let placed = segment.has_place();
    let ahead = |at: usize| until.is_some_and(|i| i.from < at) && placed;
    // "30 left over from breakfast"
    let from = |at: usize| {
        segment.items.iter().rfind(|i| i.to <= at).is_some_and(|i| i.is_word() && i.has(Tag::From))
    };
    // "120 at lunch" tells when
    let meal = |at: usize| {
        let led = segment.items.iter().rfind(|i| i.to <= at);
        segment.heads.is_empty() && has_amounts(segment) && led.is_some_and(|i| i.is_word() && i.has(Tag::At))
    };
    segment.bare(Tag::Event).is_some_and(|at| !ahead(at) && !from(at) && !meal(at))
}

/// "took the car to be fixed": nothing of milk, nor what follows in the sentence.
pub fn takes_a_place(segment: &Clause) -> bool {
    segment.heads.iter().any(|h| {
        let after = segment.items.get(h.at + 1..).unwrap_or_default();
        let object = matches!(after, [the, place, ..] if the.has(Tag::The) && place.place().is_some());
        h.verb == Verb::Take && h.form == Form::Done && object
    })
}

/// "Bottle down", "bibe entero (150)": a bottle, before what was in it.
pub fn is_bottle_alone(segment: &Clause) -> bool {
    segment.item(Tag::Bottle).is_some()
        && segment.heads.is_empty()
        && segment.items.len() <= 3
        && segment.items.iter().all(|i| !i.unknown)
}

/// "Feeds", alone on its line, leads a list.
pub fn is_list_head(segment: &Clause) -> bool {
    super::children::is_sheet_head(segment)
        || segment.first
            && segment.items.len() <= 3
            && !segment.has_number()
            && segment.items.first().is_some_and(|i| i.is_word() && i.has(Tag::ListHead))
}

/// "me desperté a las 3 a sacarme": when it was, before what came of it.
pub fn is_waking(segment: &Clause) -> bool {
    let pump = segment.heads.iter().all(|h| (h.verb, h.form) == (Verb::Pump, Form::Base))
        && !segment.heads.is_empty();
    let asked = segment.any(&[Tag::You, Tag::Request, Tag::Polite]);
    pump && !asked && has_clock(segment) && !segment.has_number()
}

/// Labels, or a time that names milk.
pub fn names_milk(segment: &Clause) -> bool {
    // "12 smells off, don't use it"
    let label = |i: &super::item::Item| i.amount().and_then(|a| a.whole()).is_some_and(|n| n < 60);
    let bare = segment.items.first().is_some_and(label) && segment.any(&[Tag::Smell, Tag::Looks]);
    bare || segment.names_time()
        || segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..)))
}

/// An amount that stayed in a bottle.
pub fn has_leftover(segment: &Clause) -> bool {
    segment.has_amount() && segment.items.iter().any(|i| i.is_word() && i.has(Tag::LeftOver))
}

pub fn is_leftover(segment: &Clause) -> bool {
    segment.has_number()
        && segment.items.iter().any(|i| {
            i.has(Tag::LeftOver) && i.has(Tag::Negative) || i.to - i.from > 1 && i.has(Tag::LeftOver)
        })
}
