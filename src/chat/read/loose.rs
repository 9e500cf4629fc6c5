//! Clauses without a verb: "150 freezer", "bag 12 = 120", "bottle 100", "12-15 down to the fridge". What they may be is
//! settled by labels, amounts, places and times; where these leave a choice, it is asked for.

use super::Context;
use super::bottles::{
    about_a_bottle, bottle_head, describes, heads_list, left_by, leftover, more, of_a_bottle,
    stayed_in_bottle,
};
use super::children::in_a_row;
use super::clause::Clause;
use super::family::Family;
use super::item::Kind;
use super::moves::is_thaw;
use super::pump::{Pour, doubtful_pair, pours};
use super::scene::{Bare, Built, refs, spots};
use super::senses::{Sense, SiteWord, Tag};
use super::when::Role;
use crate::domain::act::Doubt;
use crate::domain::place::{Place, Site};
use crate::domain::volume::Unit;

/// What a clause without a verb holds.
#[derive(Clone, Copy)]
struct Seen {
    codes: bool,
    list: bool,
    joined: bool,
    multi: bool,
    counted: bool,
    place: bool,
    plausible: bool,
    sides: bool,
    session: bool,
    bottle: bool,
    container: bool,
    timed: bool,
}

impl Seen {
    fn of(clause: &Clause, ctx: &Context, amounts: &[Pour]) -> Seen {
        let items = &clause.items;
        let codes = items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
        let list = items.iter().any(|i| matches!(i.kind, Kind::List(_, true)));
        let joined = items.iter().any(|i| matches!(i.kind, Kind::List(_, false)));
        let multi = items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
        let counted = items.iter().any(|i| matches!(i.kind, Kind::Count(_)));
        let place = !spots(clause).is_empty() || clause.bare(Tag::AmbiguousPlace).is_some();
        let plausible = amounts.iter().any(|p| {
            p.amount.unit.is_some()
                || p.amount.value >= 15.0
                || (ctx.units == Unit::Oz && p.amount.value <= 8.0)
        });
        let sides = sides(clause);
        let session = items.iter().any(|i| i.any(&[Tag::Session, Tag::PumpNoun]));
        let bottle = items.iter().any(|i| i.has(Tag::Bottle));
        let container = items.iter().any(|i| i.has(Tag::Container));
        let timed = clause.whens().any(|(_, w)| {
            matches!(w.role, Role::At | Role::Names)
                && (w.clock.is_some() || w.part.is_some() || w.ago.is_some() || w.now || w.day.is_some())
        });
        Seen {
            codes,
            list,
            joined,
            multi,
            counted,
            place,
            plausible,
            sides,
            session,
            bottle,
            container,
            timed,
        }
    }
}

/// The family of a verbless clause, if it is a log at all.
pub fn family(clause: &Clause, ctx: &Context) -> Built<Option<Family>> {
    let items = &clause.items;
    let amounts = pours(clause, fed_by_name(clause));
    let seen = Seen::of(clause, ctx, &amounts);
    let Seen { codes, list, counted, place, plausible, sides, session, bottle, container, timed, .. } = seen;
    if clause.has(Tag::Temperature) && !items.iter().any(|i| i.amount().is_some_and(|a| a.unit.is_some())) {
        return Ok(None);
    }
    if is_thaw(clause) && place && (codes || counted || list) {
        return Ok(Some(Family::Thaw));
    }
    if codes {
        refs(clause, items, Bare::Never)?;
    }
    if plausible && (container || bottle) {
        doubtful_pair(clause, &amounts)?;
    }
    let lone =
        amounts.len() == 1 && amounts[0].amount.whole().is_some_and(|n| n == 15) && !amounts[0].amount.about;
    let nothing_else = !timed && !session && !sides && !codes && !container && !bottle;
    if lone && place && nothing_else || of_an_hour(clause, &amounts) || left_there(clause, &amounts) {
        return Err(Doubt::Kind);
    }
    if counted && two_counts(clause, &amounts) {
        return Ok(Some(Family::Count));
    }
    if only_left_in_a_freezer(clause, &amounts) {
        return Ok(Some(Family::Count));
    }
    if !amounts.is_empty() && !plausible && place && !codes && !sides {
        return small_number(clause, ctx);
    }
    Ok(shaped(clause, &seen, &amounts).filter(|_| explained(clause, &seen, &amounts)))
}

/// "the 2pm one was 90": expressed, drunk, or to be put right.
fn of_an_hour(clause: &Clause, amounts: &[Pour]) -> bool {
    let named = clause.whens().find(|(_, w)| w.role == Role::Names && w.clock.is_some());
    let [only] = amounts else { return false };
    named.is_some_and(|(at, _)| {
        let between = clause.items.get(at + 1..only.at).unwrap_or_default();
        let word = |tag: Tag| between.iter().any(|i| i.is_word() && i.has(tag));
        word(Tag::One) && word(Tag::Be) && between.len() <= 3
    })
}

/// "left 20 on the counter": a label that lies there, or what stayed in a bottle.
fn left_there(clause: &Clause, amounts: &[Pour]) -> bool {
    let left = |i: &super::item::Item| i.has(Tag::LeftOver) && i.is(super::senses::Verb::Leave);
    let who = [Tag::Person, Tag::He, Tag::Him, Tag::You, Tag::For, Tag::OtherPerson];
    let small = |i: &super::item::Item| i.is_word() && !i.unknown && !i.any(&who) || i.amount().is_some();
    let out = spots(clause).iter().any(|s| matches!(s.place, Place::Room | Place::Fridge));
    let first = clause.items.iter().find(|i| !(i.is_word() && i.any(&[Tag::Polite, Tag::Just])));
    let whole = clause.message.items.len() == clause.items.len();
    whole
        && first.is_some_and(left)
        && out
        && matches!(amounts, [only] if only.amount.unit.is_some() || only.amount.value >= 15.0)
        && clause.items.iter().all(small)
        && !about_a_bottle(clause)
}

/// Without a verb, a bare number tells something only where the words around it are known ones: "up at 2, 4 and 5:30" and
/// "late again, 15" are no logs. A written unit, a place or a label is evidence enough.
fn explained(clause: &Clause, seen: &Seen, amounts: &[Pour]) -> bool {
    let evident = seen.place
        || seen.codes
        || seen.sides
        || seen.multi
        || seen.session
        || seen.bottle
        || seen.container
        || amounts.iter().any(|p| p.amount.unit.is_some());
    evident
        || fed_by_name(clause)
        || heads_list(clause) && clocked(clause)
        || (0..clause.items.len()).all(|at| !clause.items[at].unknown || left_by(clause, at))
}

/// "Otis 90ml, Nell 70ml", "2pm: Otis 90, Nell 70": what children had, where a unit, a time or a word for feeds tells that.
fn fed_by_name(clause: &Clause) -> bool {
    let told = clocked(clause)
        || clause.items.iter().any(|i| i.has(Tag::FeedNoun) || i.amount().is_some_and(|a| a.unit.is_some()));
    told && (0..clause.items.len()).any(|at| in_a_row(clause, at))
}

/// The family by what the clause holds and where it stands.
fn shaped(clause: &Clause, seen: &Seen, amounts: &[Pour]) -> Option<Family> {
    let items = &clause.items;
    let Seen {
        codes,
        list,
        joined,
        multi,
        counted,
        place,
        plausible,
        sides,
        session,
        bottle,
        container,
        timed,
    } = *seen;
    match () {
        () if clause.has(Tag::Total)
            && amounts.len() == 1
            && !place
            && !sides
            && !session
            && whole_day(clause) =>
        {
            None
        }
        () if leftover(clause) => about_a_bottle(clause).then_some(Family::Feed),
        () if plausible && !place && more(clause) => Some(Family::Feed),
        () if of_a_bottle(amounts, items) => Some(Family::Feed),
        () if sides && amounts.len() >= 2 => Some(Family::Pump),
        () if clause.has(Tag::SideWord) && clause.has(Tag::Each) && amounts.len() == 1 => Some(Family::Pump),
        () if clause.message.has(0, clause.message.tokens.len(), Tag::PumpNoun)
            && !codes
            && (plausible || multi) =>
        {
            Some(Family::Pump)
        }
        () if multi && !codes && super::store::dates(clause).len() > 1 => Some(Family::Store),
        () if multi && !amounts.is_empty() && !codes => Some(Family::Pump),
        () if (codes && (plausible || multi)) || (multi && (container || bottle && place)) => {
            Some(Family::Store)
        }
        () if is_thaw(clause) && place => Some(Family::Thaw),
        // "two bags in her bag for nursery" may hold anything
        () if (codes || list || counted && bottle || few(amounts)) && carried_away(clause) => {
            Some(Family::Send)
        }
        () if (codes || list || joined && small_list(clause)) && place && only(clause) => Some(Family::Count),
        () if (codes || list || (joined && small_list(clause))) && place => Some(Family::Move),
        () if plausible
            && !place
            && !items.iter().any(|i| i.is_word() && i.has(Tag::For))
            && super::scene::site(clause) == Some(Site::Daycare) =>
        {
            Some(Family::Feed)
        }
        () if bottle && plausible && !place && describes(clause) => None,
        () if bottle && plausible && !place => Some(Family::Feed),
        () if items.iter().any(|i| i.has(Tag::FeedNoun)) && plausible && !place => Some(Family::Feed),
        () if (plausible || multi || joined) && bottle_head(clause) => Some(Family::Feed),
        () if container && plausible && !clocked(clause) && container_first(clause) => Some(Family::Store),
        () if plausible
            && !place
            && !session
            && (heads_list(clause) || clause.has(Tag::Twins) || fed_by_name(clause)) =>
        {
            Some(Family::Feed)
        }
        () if (container || bottle) && plausible && place && container_first(clause) => Some(Family::Store),
        () if (plausible || multi || joined) && (place || session || sides || timed) => Some(Family::Pump),
        () if (codes || list || joined || counted)
            && !place
            && clause.item(Tag::OutWord).is_some()
            && clause.whens().any(|(_, w)| w.role == Role::Purpose) =>
        {
            Some(Family::Thaw)
        }
        () if counted && (place_first(clause) || place && ends_left(clause)) => Some(Family::Count),
        () if counted && place && only_room(clause) => None,
        () if counted
            && place
            && clause.has(Tag::ThereAre)
            && clause.items.iter().any(|i| matches!(i.kind, Kind::Count(1))) =>
        {
            None
        }
        // "la abuela tiene 3 bolsas en su congelador"
        () if counted
            && place
            && clause.has(Tag::ThereAre)
            && clause.any(&[Tag::Person, Tag::OtherPerson]) =>
        {
            None
        }
        () if counted && place && clause.has(Tag::ThereAre) => Some(Family::Count),
        () if counted && place && (!bottle_head(clause) || goes(clause)) => Some(Family::Move),
        () if names_what_goes(clause) && amounts.is_empty() => Some(Family::Move),
        () => None,
    }
}

/// "only 1, 2 and 3 in the freezer": what is there, and nothing besides.
fn only(clause: &Clause) -> bool {
    let first = clause.items.iter().find(|i| i.is_word());
    first.is_some_and(|i| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Only))
}

/// "12 a la guarde": a label, a count or ounces.
fn few(amounts: &[Pour]) -> bool {
    matches!(amounts, [only] if only.amount.whole().is_some_and(|n| n < 15))
}

/// "there are 9 bags in the fridge and 20 in the freezer".
fn two_counts(clause: &Clause, amounts: &[Pour]) -> bool {
    let counts = clause.items.iter().filter(|i| matches!(i.kind, Kind::Count(_))).count();
    let bare = amounts.iter().all(|p| p.amount.unit.is_none());
    clause.has(Tag::ThereAre) && bare && spots(clause).len() == 2 && counts + amounts.len() == 2
}

/// "quedan 5 en el freezer", "6 left in the chest": nobody leaves a few millilitres there.
fn only_left_in_a_freezer(clause: &Clause, amounts: &[Pour]) -> bool {
    let few = matches!(amounts, [only] if only.amount.unit.is_none() && only.amount.whole().is_some_and(|n| n < 60));
    let frozen = matches!(spots(clause).as_slice(), [only] if only.place.is_freezer() && only.site.is_none());
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    let there = clause.has(Tag::ThereAre) && word(Tag::LeftOver);
    few && frozen
        && there
        && clause.items.iter().all(|i| !i.unknown)
        && !clause.any(&[Tag::Bottle, Tag::Negative])
}

/// "4 bottles in the bag for daycare".
fn carried_away(clause: &Clause) -> bool {
    let items = &clause.items;
    let away = |i: &super::item::Item| {
        i.senses.iter().any(|s| matches!(s, Sense::Site(SiteWord::Work | SiteWord::Daycare)))
    };
    let goal = |at: usize| {
        items[at.saturating_sub(2)..at].iter().any(|i| i.is_word() && i.any(&[Tag::For, Tag::To]))
    };
    let bag = spots(clause).iter().all(|s| matches!(s.place, Place::Room | Place::Cooler));
    bag && (0..items.len()).any(|at| away(&items[at]) && goal(at))
}

/// "450 total today": a sum of what was told before.
fn whole_day(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| w.day.is_some() && w.clock.is_none() && w.part.is_none())
}

/// "2 bags in the car" may be anything.
fn only_room(clause: &Clause) -> bool {
    spots(clause).iter().all(|s| s.place == Place::Room)
}

/// "daycare fridge has 1 bottle left".
fn ends_left(clause: &Clause) -> bool {
    clause.items.last().is_some_and(|i| i.is_word() && i.has(Tag::LeftOver))
        && clause.items.len() > 1
        && matches!(clause.items[clause.items.len() - 2].kind, Kind::Count(_))
}

/// "freezer: 22 bags": what is in a place.
fn place_first(clause: &Clause) -> bool {
    let colon = clause.items.iter().position(|i| matches!(i.sign(), Some(':' | '=')));
    colon.is_some_and(|at| clause.items[..at].iter().any(|i| i.place().is_some()))
}

/// A clock time or part of a day, as sessions have.
fn clocked(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| w.clock.is_some() || w.part.is_some() || w.ago.is_some() || w.now)
}

/// "bottle of 120", but not "95 fridge (bottle with the blue lid)".
fn container_first(clause: &Clause) -> bool {
    let noun = clause.items.iter().position(|i| i.any(&[Tag::Container, Tag::Bottle]));
    let amount = clause.items.iter().position(|i| i.amount().is_some());
    noun.zip(amount).is_none_or(|(noun, amount)| noun < amount + 2)
}

fn sides(clause: &Clause) -> bool {
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    if stayed_in_bottle(clause) {
        return false;
    }
    (word(Tag::LeftSide) && word(Tag::RightSide))
        || ((word(Tag::LeftSide) || word(Tag::RightSide)) && word(Tag::SideWord))
}

/// "7pm one > freezer", "oldest to the fridge": milk by its time or age, and where it goes.
pub fn names_what_goes(clause: &Clause) -> bool {
    let to = clause.items.iter().position(|i| i.any(&[Tag::To, Tag::Into]));
    let named = |i: &super::item::Item| i.when().is_some_and(|w| w.role == Role::Names) || i.has(Tag::Oldest);
    to.is_some_and(|at| {
        clause.items[..at].iter().any(named) && clause.items[at + 1..].iter().any(|i| i.place().is_some())
    }) && clause.heads.is_empty()
}

/// "3 bottles into the cooler".
fn goes(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.is_word() && i.has(Tag::Into))
}

fn small_list(clause: &Clause) -> bool {
    // "90 (45 y 45)": the same twice is no label
    let apart = |codes: &[u32]| codes.windows(2).all(|pair| pair[0] != pair[1]);
    let small = |codes: &[u32]| codes.iter().all(|c| *c < 60) && apart(codes) || in_order(codes);
    clause.items.iter().any(|i| matches!(&i.kind, Kind::List(codes, _) if small(codes)))
}

/// "60, 61 and 62": labels that follow one another, however large.
fn in_order(codes: &[u32]) -> bool {
    codes.len() > 2 && codes.windows(2).all(|pair| pair[0] + 1 == pair[1])
}

/// "12 fridge": a label, ounces or millilitres. Below 7 only the unit is open.
fn small_number(clause: &Clause, ctx: &Context) -> Built<Option<Family>> {
    let amount = clause.items.iter().filter_map(super::item::Item::amount).next();
    let whole = amount.and_then(|a| a.whole());
    let down =
        clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::To, Tag::Into]) || i.sign() == Some('→'));
    match whole {
        Some(n) if (7..=15).contains(&n) || (ctx.units == Unit::Oz && n < 60) || down => Err(Doubt::Kind),
        _ => Err(Doubt::Unit),
    }
}

/// Nothing but amounts: which of feed and session is meant can't be told.
pub fn is_bare_amount(clause: &Clause) -> bool {
    let amounts = clause.items.iter().any(|i| i.amount().is_some_and(|a| a.unit.is_some()));
    let only = clause.items.iter().all(|i| {
        i.amount().is_some()
            || i.sign().is_some()
            || (i.is_word()
                && i.any(&[Tag::About, Tag::Milk, Tag::Polite, Tag::Total, Tag::More, Tag::Another]))
    });
    let place = clause.items.iter().any(|i| i.senses.iter().any(|s| matches!(s, Sense::Place(_))));
    amounts && only && !place
}
