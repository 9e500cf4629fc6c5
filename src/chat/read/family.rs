//! What kind of event a clause tells, by its verbs and, where it has none, by its numbers and places.

use serde::Deserialize;

use super::children::{in_a_row, is_bottle_of};
use super::clause::Clause;
use super::goals::{
    adds_to_place, caught, drank_from_bottle, is_added_list, is_given_elsewhere, is_packed_cold,
    keeps_leftover, throws_away, tops_up_child,
};
use super::item::Kind;
use super::left_out;
use super::loose;
use super::mood::is_noun;
use super::moves::{is_away, is_thaw, is_thawed_state, out_of_the_fridge};
use super::naming;
use super::nursing::{at_a_breast, is_nursing_noun, lasts_each_side, nurses_something_else};
use super::pouring::{fetched_by_a_bank, into_several, is_split, takes_some, thrown_together};
use super::pump::pours;
use super::scene::{site, spots};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
use super::stays;
use super::when::Role;
use super::yields::{expressed, is_yield, strange_yield};
use crate::domain::place::Site;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    Pump,
    Store,
    Feed,
    Nurse,
    Formula,
    Move,
    Thaw,
    Thawed,
    Warm,
    Combine,
    Split,
    Discard,
    Hold,
    Release,
    Donate,
    Send,
    Return,
    Count,
    Check,
    /// Labels and what is told of their milk.
    Labels,
    /// Out of the cold for some time.
    LeftOut,
    /// Numbers and places without a verb.
    Loose,
}

const FEEDING: [Verb; 9] = [
    Verb::Feed,
    Verb::Drink,
    Verb::Take,
    Verb::Have,
    Verb::Finish,
    Verb::Use,
    Verb::Give,
    Verb::Offer,
    Verb::Make,
];
const PLACING: [Verb; 5] = [Verb::Move, Verb::Put, Verb::Freeze, Verb::Leave, Verb::Label];
const CARRYING: [Verb; 6] = [Verb::Leave, Verb::Take, Verb::Put, Verb::Move, Verb::Give, Verb::Pull];

/// The family of a clause that is told as a fact.
pub fn of(clause: &Clause) -> Option<Family> {
    let looked =
        [Tag::Hard, Tag::Icy, Tag::Liquid].iter().any(|t| clause.bare(*t).is_some()) && counted(clause);
    // how milk was found moves nothing, whatever else is said
    let loose = || (is_loose(clause) && !looked).then_some(Family::Loose);
    if counts_other_things(clause) {
        return None;
    }
    by_words(clause).or_else(|| by_verb(clause)).or_else(loose)
}

/// "3 jars of jam", "2 bottles of wine": so many of something else.
fn counts_other_things(clause: &Clause) -> bool {
    clause.items.windows(3).any(|p| {
        let counted = matches!(p[0].kind, Kind::Count(_)) && p[0].has(Tag::Container);
        counted && p[1].is_word() && p[1].has(Tag::Of) && p[2].unknown && !p[2].initial
    })
}

/// Families that words other than the verb give away.
fn by_words(clause: &Clause) -> Option<Family> {
    let given = clause.tells_any(&FEEDING) || !pours(clause, false).is_empty();
    match () {
        () if naming::tells_of_labels(clause) => Some(Family::Labels),
        () if left_out::told(clause) => Some(Family::LeftOut),
        () if clause.item(Tag::Formula).is_some()
            && !clause.has(Tag::Tin)
            && given
            && !clause.tells(Verb::Buy) =>
        {
            Some(Family::Formula)
        }
        () if clause.tells(Verb::Nurse) && !nurses_something_else(clause) || is_nursing_noun(clause) => {
            Some(Family::Nurse)
        }
        () if at_a_breast(clause) || lasts_each_side(clause) => Some(Family::Nurse),
        () if is_release(clause) => Some(Family::Release),
        () if clause.tells(Verb::Donate)
            || fetched_by_a_bank(clause)
            || (clause.item(Tag::MilkBank).is_some()
                && (clause.tells_any(&CARRYING) || clause.tells_any(&[Verb::Send, Verb::Buy]))) =>
        {
            Some(Family::Donate)
        }
        () if clause.tells(Verb::Count) || is_base_noun(clause, Verb::Count) => Some(Family::Count),
        () if super::outage::is_check(clause) => Some(Family::Check),
        () if is_added_list(clause) => Some(Family::Store),
        () if is_combine(clause) => Some(Family::Combine),
        () if is_split(clause) => Some(Family::Split),
        () if is_return(clause) => Some(Family::Return),
        () => None,
    }
}

fn by_verb(clause: &Clause) -> Option<Family> {
    let containers = has_containers(clause);
    let away = is_away(site(clause).as_ref());
    let pumping = clause.tells(Verb::Pump) || (is_base_noun(clause, Verb::Pump) && clause.has_number());
    match () {
        () if is_thawed_state(clause) => Some(Family::Thawed),
        () if pumping => Some(Family::Pump),
        () if is_yield(clause) || expressed(clause) => Some(Family::Pump),
        () if drank_from_bottle(clause) => Some(Family::Feed),
        () if is_thaw(clause)
            && !throws_away(clause)
            && (containers
                || clause.has_amount()
                || clause.tells(Verb::Thaw)
                || clause.item(Tag::One).is_some()) =>
        {
            Some(Family::Thaw)
        }
        () if clause.tells(Verb::Warm) && !clause.tells(Verb::Spill) => Some(Family::Warm),
        () if clause.tells(Verb::Spill) && caught(clause) => None,
        () if clause.tells_any(&[Verb::Toss, Verb::Dump, Verb::Spill]) => Some(Family::Discard),
        () if is_given_elsewhere(clause) => None,
        () if is_packed_cold(clause) => Some(Family::Move),
        () if clause.tells(Verb::Send) => Some(Family::Send),
        () if away
            && clause.tells_any(&CARRYING)
            && (containers || clause.has_amount() || clause.item(Tag::One).is_some())
            && !kept_there(clause)
            && !super::goals::given_to_him(clause) =>
        {
            Some(Family::Send)
        }
        () if clause.tells(Verb::Find)
            && clause.has_number()
            && (has_containers(clause)
                || clause.items.iter().all(|i| !i.unknown) && !counts_things(clause)) =>
        {
            Some(Family::Store)
        }
        () if tops_up_child(clause) && (containers || clause.has_amount()) => Some(Family::Feed),
        () if clause.tells(Verb::Add) && clause.items.iter().any(|i| matches!(i.kind, Kind::Multi(..))) => {
            Some(Family::Store)
        }
        () if clause.tells(Verb::Start) && clause.any(&[Tag::Bottle, Tag::FeedNoun])
            || clause.heads.iter().any(|h| h.verb == Verb::Start) && clause.tells(Verb::Feed)
            || starts_to_drink(clause) =>
        {
            Some(Family::Feed)
        }
        () if clause.tells(Verb::Get) && !has_unit(clause) && strange_yield(clause) => None,
        () if clause.tells(Verb::Get) && clause.has_amount() && !clause.any(&[Tag::Bottle, Tag::He]) => {
            Some(Family::Pump)
        }
        () if clause.tells(Verb::Take)
            && counted(clause)
            && clause.has_place()
            && clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::To, Tag::Into])) =>
        {
            Some(Family::Move)
        }
        () if makes_several(clause) => Some(Family::Store),
        () if super::travel::brought_to_somebody(clause) => Some(Family::Move),
        () if super::travel::brings_new(clause) => Some(Family::Store),
        () if clause.tells(Verb::ComeBack) && clause.has_place() && has_containers(clause) => {
            Some(Family::Move)
        }
        () if out_of_the_fridge(clause) && clause.tells_any(&[Verb::Take, Verb::Pull, Verb::Get]) => {
            Some(Family::Move)
        }
        () if is_feeding(clause) => Some(Family::Feed),
        () if clause.tells_any(&PLACING) && clause.has(Tag::Wrap) && counted(clause) => {
            let bottle = clause.items.iter().any(|i| i.has(Tag::Bottle) && !i.has(Tag::Container));
            Some(if bottle { Family::Warm } else { Family::Thaw })
        }
        () if clause.tells_any(&PLACING) && keeps_leftover(clause) => Some(Family::Feed),
        // "4oz bottle gone in 5 min"
        () if clause.tells(Verb::Put)
            && clause.item(Tag::Bottle).is_some()
            && clause.has_amount()
            && !clause.has_place()
            && clause.items.last().is_some_and(|i| matches!(i.kind, Kind::Lasting(_))) =>
        {
            Some(Family::Feed)
        }
        () if clause.tells_any(&PLACING) || adds_to_place(clause) => placed(clause),
        () if clause.tells(Verb::Want) && clause.has_amount() => Some(Family::Feed),
        () => None,
    }
}

/// "made 3 bags of 100", "took 2 bags of 90 to the freezer".
fn makes_several(clause: &Clause) -> bool {
    let to = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::To, Tag::Into]));
    let taken = clause.tells(Verb::Take) && to;
    clause.items.iter().filter(|i| matches!(i.kind, Kind::Multi(..))).any(|i| match clause.has_place() {
        true => taken || clause.tells(Verb::Make),
        false => clause.tells(Verb::Make) && i.has(Tag::Container),
    })
}

pub fn is_base_noun(clause: &Clause, verb: Verb) -> bool {
    clause.head(verb).is_some_and(|h| h.form == Form::Base && is_noun(clause, h))
}

/// "3 shoes found": a number of something that isn't milk.
fn counts_things(clause: &Clause) -> bool {
    let bare = |i: &super::item::Item| i.amount().is_some_and(|a| a.unit.is_none());
    clause.items.windows(2).any(|p| bare(&p[0]) && p[1].is_word() && p[1].has(Tag::ColourThing))
}

/// "empezó a tomar", and nothing else.
fn starts_to_drink(clause: &Clause) -> bool {
    let drink = clause.heads.iter().any(|h| h.verb == Verb::Drink && h.form == Form::Base);
    clause.tells(Verb::Start) && drink && clause.items.iter().all(|i| !i.unknown)
}

/// Labels, counts, or milk named by its time or age.
pub fn has_containers(clause: &Clause) -> bool {
    let numbered = clause
        .items
        .iter()
        .any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_) | Kind::Multi(..)));
    numbered
        || clause.names_time()
        || clause.items.iter().any(|i| {
            i.is_word()
                && i.any(&[Tag::Oldest, Tag::Newest, Tag::Bottle, Tag::Container, Tag::Rest, Tag::Milk])
        })
}

/// "put 120 in the work fridge" stays there; it isn't sent to anybody.
fn kept_there(clause: &Clause) -> bool {
    clause.has_place() && clause.has_amount() && clause.tells_any(&[Verb::Put, Verb::Move, Verb::Leave])
}

/// Drinking and giving; the one who writes and says "I had" speaks of something else.
fn is_feeding(clause: &Clause) -> bool {
    let live =
        |h: &super::clause::Head| h.form != Form::Base || (h.verb == Verb::Feed && is_noun(clause, *h));
    let Some(head) = clause.heads.iter().find(|h| FEEDING.contains(&h.verb) && live(h)) else { return false };
    // "lo llevé a la guarde": the child itself
    let home = clause.items.iter().any(|i| i.senses.contains(&Sense::Site(SiteWord::Home)));
    let carried = head.verb == Verb::Take && (site(clause).is_some() || home) && !clause.has_amount();
    // "took bag 30 to my moms"
    let to = clause.items[head.at..].iter().position(|i| i.is_word() && i.has(Tag::To) && i.to - i.from == 1);
    let goal = to.and_then(|n| clause.items.get(head.at + n + 1));
    let away =
        goal.is_some_and(|i| i.unknown || i.is_word() && i.any(&[Tag::The, Tag::Person, Tag::OtherPerson]));
    // "took it out"
    let out = clause
        .items
        .get(head.at + 2)
        .is_some_and(|i| i.is_word() && i.has(Tag::OutWord) && i.to - i.from == 1);
    let out = out && clause.items[head.at + 1].is_word() && clause.items[head.at + 1].has(Tag::It);
    let carried = carried || head.verb == Verb::Take && (counted(clause) && away || out);
    // "she had it logged already"
    let booked = head.verb == Verb::Have && clause.bare(Tag::Booked).is_some() && !clause.has_number();
    if carried || booked || feeds_something_else(clause, head) {
        return false;
    }
    // "it had maybe 2 oz": the bottle
    let it = head.at > 0 && clause.items[head.at - 1].is_word() && clause.items[head.at - 1].has(Tag::It);
    if head.verb == Verb::Have && it && head.at == 1 && !clause.items[0].has(Tag::He) {
        return false;
    }
    let drinks = matches!(head.verb, Verb::Drink | Verb::Take | Verb::Have | Verb::Finish | Verb::Offer);
    // "me dijo que comió 90"
    let told = |i: &super::item::Item| i.is_word() && i.has(Tag::Relative);
    let from = clause.items[..head.at].iter().rposition(told).filter(|_| clause.has(Tag::Says)).unwrap_or(0);
    let mine = clause.items[from..head.at].iter().any(|i| i.is_word() && i.has(Tag::I))
        || clause.items[head.at].has(Tag::I);
    !(drinks && mine && !clause.items[..head.at].iter().any(|i| i.has(Tag::He)))
}

/// "feeding the rabbits", "feeding ducks": an object that nobody here knows.
fn feeds_something_else(clause: &Clause, head: &super::clause::Head) -> bool {
    let stranger = |at: usize| {
        let item = clause.items.get(at);
        item.is_some_and(|i| i.unknown && !i.initial && !clause.message.tokens[i.from].is_name())
    };
    let led = clause.items.get(head.at + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::The, Tag::Article]));
    let had = matches!(head.verb, Verb::Have | Verb::Take);
    let lasts = |i: &&super::item::Item| i.is_word() || matches!(i.kind, Kind::Lasting(_));
    let slept = clause.items[head.at + 1..].iter().take_while(lasts).any(|i| i.has(Tag::Event));
    // "took the car to be fixed"
    let placed = had && clause.items.get(head.at + 2).is_some_and(|i| i.place().is_some());
    (had && slept)
        || (head.form == Form::Now && stranger(head.at + 1))
        || led && (stranger(head.at + 2) || placed)
}

pub fn has_unit(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.amount().is_some_and(|a| a.unit.is_some()))
}

pub fn counted(clause: &Clause) -> bool {
    clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_)))
}

/// Put somewhere: existing containers move, amounts are new milk.
fn placed(clause: &Clause) -> Option<Family> {
    let items = &clause.items;
    let multi = items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
    let coded = items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let counted = items.iter().any(|i| matches!(i.kind, Kind::Count(_) | Kind::List(..)));
    let amounts = pours(clause, false);
    let milk = amounts.iter().any(|p| p.amount.unit.is_some() || p.amount.value >= 15.0);
    let frozen = clause.tells(Verb::Freeze);
    match () {
        () if stays::known_amount(clause).is_some() && !multi && !coded && clause.has_place() => {
            Some(Family::Move)
        }
        () if multi || (coded && milk) => Some(Family::Store),
        // "froze 2 bags today, 150ml each"
        () if counted && !coded && amounts.len() == 1 && milk && clause.has(Tag::Both) => Some(Family::Store),
        () if counted && clause.heads.iter().all(|h| h.verb == Verb::Label) => {
            items.iter().any(|i| matches!(i.kind, Kind::List(..))).then_some(Family::Move)
        }
        () if coded || counted => Some(Family::Move),
        () if matches!(site(clause), Some(Site::Named(_))) && clause.has_number() && !milk => {
            Some(Family::Move)
        }
        () if milk && (clause.has_place() || frozen) => Some(Family::Pump),
        () if clause.has_place() || frozen => Some(Family::Move),
        () => None,
    }
}

fn is_release(clause: &Clause) -> bool {
    // "no sé si la 12 está buena"
    if clause.any(&[Tag::Conditional, Tag::About]) {
        return false;
    }
    let named = clause.items.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..))
            || i.any(&[Tag::Oldest])
            || i.when().is_some_and(|w| w.role == Role::Names)
    });
    let label = named || clause.items.iter().any(|i| i.amount().is_some_and(|a| a.whole().is_some()));
    // "la 20 sigue bien congelada" is how it was found
    let found = [Tag::Frozen, Tag::Hard, Tag::Icy, Tag::Liquid, Tag::Cold, Tag::Lukewarm];
    let state = |i: &super::item::Item| i.is_word() && (i.any(&found) || i.verbs().next().is_some());
    let fine = || clause.items.windows(2).any(|p| p[0].has(Tag::OkWord) && state(&p[1]));
    let ok = clause.has(Tag::OkWord) && clause.items.iter().any(|i| i.has(Tag::Be)) && !fine();
    let released = clause.heads.iter().any(|h| h.verb == Verb::Release && h.form == Form::Done);
    (released && (label || all_again(clause)))
        || (ok && named && clause.heads.iter().all(|h| h.verb == Verb::Release))
}

/// "everything is ok to use again": all that was held.
pub fn all_again(clause: &Clause) -> bool {
    let all = clause.items.iter().any(|i| i.is_word() && i.has(Tag::All));
    let again = clause.any(&[Tag::Another, Tag::Back]) && clause.has(Tag::Usable);
    all && again
        && clause.items.iter().all(|i| !i.unknown)
        && !clause.any(&[Tag::Negative, Tag::He, Tag::Temperature])
}

fn is_combine(clause: &Clause) -> bool {
    let together = clause.bare(Tag::Together).is_some();
    let poured = clause.tells_any(&[Verb::Pour, Verb::Add])
        && clause.items.iter().any(|i| i.any(&[Tag::Into, Tag::To, Tag::With]));
    let into_new = clause.tells(Verb::Pour) && (clause.item(Tag::From).is_some() || takes_some(clause));
    let milk = has_containers(clause)
        || clause.has_number()
        || clause.items.iter().any(|i| i.any(&[Tag::One, Tag::Session, Tag::FeedNoun]))
        // "the 7am and the 9am"
        || together && clause.whens().filter(|(_, w)| w.clock.is_some()).count() > 1;
    // "junté 3 onzas": where one word is for both, an amount alone was expressed
    let gathered =
        clause.tells(Verb::Get) && clause.has_amount() && !has_containers(clause) && !clause.has(Tag::With);
    let milk = milk && !gathered;
    let multi = clause.items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
    let topped = clause.tells(Verb::Add) && has_containers(clause) && !multi;
    let poured = poured || topped;
    milk && !into_new
        && !adds_to_place(clause)
        && !tops_up_child(clause)
        && !into_several(clause)
        && (clause.tells(Verb::Combine)
            || poured
            || (together && clause.heads.is_empty() && super::naming::labels(&clause.items).len() > 1)
            || (together && (clause.tells_any(&[Verb::Put, Verb::Pour]) || thrown_together(clause))))
}

fn is_return(clause: &Clause) -> bool {
    // "a casa de mi mamá" is hers
    let theirs = |at: usize| clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Of));
    let home = |at: usize| clause.items[at].senses.contains(&Sense::Site(SiteWord::Home)) && !theirs(at);
    let home = (0..clause.items.len()).any(home);
    let counted = has_containers(clause) || clause.has_number();
    // "la abuela se llevó 2 a su casa" is hers
    let person = |i: &super::item::Item| i.is_word() && i.has(Tag::Person);
    let took = |h: &super::clause::Head| h.verb == Verb::Take && clause.items[..h.at].iter().any(person);
    let home = home && !clause.heads.iter().any(took);
    if home && clause.tells_any(&[Verb::Send, Verb::Take]) && counted && !clause.has_place() {
        return true;
    }
    // "brought bag 12 up from the garage freezer"
    let up = spots(clause).iter().any(|s| s.place.is_freezer() && super::moves::is_origin(clause, s));
    if up && !home && site(clause).is_none() {
        return false;
    }
    let milk = has_containers(clause) || clause.has_number() || clause.item(Tag::One).is_some();
    let back = clause.items.iter().any(|i| i.is_word() && i.has(Tag::Back));
    // "devolvió un poquito": a child that spits up
    if clause.has(Tag::Some) && !clause.has_number() && site(clause).is_none() {
        return false;
    }
    let onward = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::To, Tag::Into]));
    // "la 93 de vuelta al congelador"
    let put = |h: &super::clause::Head| h.verb == Verb::ComeBack && clause.items[h.at].has(Tag::Back);
    if clause.heads.iter().all(put) && onward && clause.has_place() && site(clause).is_none() {
        return false;
    }
    if milk && back && !onward && clause.tells(Verb::Send) && !clause.has_place() {
        return true;
    }
    let from_there = is_away(site(clause).as_ref())
        && clause.items.iter().any(|i| i.has(Tag::From))
        && clause.items.iter().any(|i| i.has(Tag::Back));
    if (milk && from_there || stays::fetched(clause)) && !clause.has_place() {
        return true;
    }
    let theirs = matches!(site(clause), Some(Site::Named(_))) && onward;
    let all = spots(clause);
    let between =
        all.len() > 1 && site(clause).is_none() && all.iter().any(|s| super::moves::is_origin(clause, s));
    clause.tells(Verb::ComeBack)
        && milk
        && !super::travel::brings_new(clause)
        && !theirs
        && !between
        && !(spots(clause).iter().any(|s| !s.place.is_freezer())
            && clause.has(Tag::Back)
            && site(clause).is_none()
            && !clause.has(Tag::Untouched)
            && clause.head(Verb::ComeBack).is_none())
}

/// A stretch without a verb that may be a log: it has numbers and nothing unknown that they might count.
fn is_loose(clause: &Clause) -> bool {
    let written = clause.items.iter().filter_map(super::item::Item::amount).any(|a| a.unit.is_some());
    let unknown = (0..clause.items.len())
        .filter(|at| {
            clause.items[*at].unknown
                && !super::bottles::left_by(clause, *at)
                && !in_a_row(clause, *at)
                && !is_bottle_of(clause, *at)
        })
        .count();
    let goes = clause.has_place() && clause.items.iter().any(|i| i.is_word() && i.has(Tag::Into));
    let named = clause.items.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::Multi(..)) || goes && matches!(i.kind, Kind::Count(_))
    });
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    let sided = word(Tag::LeftSide) && word(Tag::RightSide);
    let quiet = unknown == 0 || ((written || named || sided) && unknown <= 2);
    let live = clause.heads.iter().any(|h| {
        h.form != Form::Base
            && !matches!(
                h.verb,
                Verb::Leave | Verb::Have | Verb::Take | Verb::Thaw | Verb::Release | Verb::Open | Verb::Hold
            )
    });
    (clause.has_number() || loose::names_what_goes(clause)) && quiet && !live
}
