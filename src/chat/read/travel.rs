//! Milk that leaves the house: gone to daycare or work, come back from there, or given to a milk bank.

use super::Context;
use super::clause::Clause;
use super::item::Item;
use super::moves::is_origin;
use super::scene::{Bare, Built, Refs, act, refs, site, spots, volume, written_unit};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
use super::stays;
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick};
use crate::domain::place::{Place, Site};
use crate::domain::volume::Unit;

/// Gone to daycare or work, come back from there, or given to a milk bank.
pub fn travelled(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let items = without_each(clause);
    let mut found = refs(clause, &items, Bare::Count)?;
    let strange = clause.items.iter().any(|i| i.unknown)
        && clause.has_amount()
        && !super::family::has_containers(clause);
    if strange && kind == ActKind::Send {
        return Ok(vec![]);
    }
    let loose = items.iter().filter_map(Item::amount).filter_map(|a| a.whole()).any(|n| n >= 7);
    if loose && kind == ActKind::Send {
        return Err(Doubt::Kind);
    }
    if kind == ActKind::Donate {
        found
            .codes
            .retain(|code| !clause.items.iter().filter_map(Item::amount).any(|a| a.whole() == Some(*code)));
        act.ml = donated(clause);
        act.place = stays::lying(clause).filter(|_| found.codes.is_empty());
    } else {
        act.site = site(clause);
        let unit = written_unit(&clause.items);
        act.ml = clause
            .items
            .iter()
            .filter_map(Item::amount)
            .find(|a| a.unit.is_some())
            .map(|a| volume(a, unit, ctx))
            .transpose()?;
        if found.is_empty() && act.ml.is_some() && clause.any(&[Tag::Bottle, Tag::Container, Tag::Milk]) {
            found.pick = Some(Pick::Last);
        }
    }
    // "I sent it twice", "sent it to the wrong chat": of a message, not of milk
    let vague = found == Refs { pick: Some(Pick::Last), ..Refs::default() } && kind == ActKind::Send;
    let along =
        clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::Him, Tag::He, Tag::Milk]) && !i.has(Tag::It));
    let milk = along || act.site.is_some() || act.ml.is_some() || super::family::has_containers(clause);
    if found.is_empty() && act.ml.is_none() || vague && !milk {
        return Ok(vec![]);
    }
    // "lo dejé en la guarde con 2 bibes": the child, and not the milk
    found.pick = found.pick.filter(|p| *p != Pick::Last || found.count.is_none());
    found.put(&mut act);
    let goal = spots(clause).into_iter().rfind(|s| !is_origin(clause, s));
    let goal = goal.filter(|s| s.place == Place::Cooler || kind == ActKind::Return).map(|s| s.place);
    act.place = goal.or(act.place);
    Ok(vec![act])
}

/// What a bank was given may be more than one container holds.
fn donated(clause: &Clause) -> Option<crate::domain::volume::Volume> {
    let amount = clause.items.iter().filter_map(Item::amount).find(|a| a.unit.is_some())?;
    Some(crate::domain::volume::Volume::of(amount.value.min(100_000.0), amount.unit.unwrap_or(Unit::Ml)))
}

/// "sent 3 to nursery, 120 each": how much is in each counts none of them.
fn without_each(clause: &Clause) -> Vec<Item> {
    let each = |at: usize| clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Both));
    let kept = |(at, item): &(usize, &Item)| item.amount().is_none_or(|a| a.value < 15.0) || !each(*at);
    clause.items.iter().enumerate().filter(kept).map(|(_, item)| item.clone()).collect()
}

/// "took bags 8 and 9 round to grandma": carried, and not drunk.
pub fn brought_to_somebody(clause: &Clause) -> bool {
    let taken = clause
        .heads
        .iter()
        .find(|h| matches!(h.verb, Verb::Take | Verb::Get | Verb::ComeBack) && h.form == Form::Done);
    let to = |at: usize| clause.items[at].is_word() && clause.items[at].any(&[Tag::To, Tag::Into, Tag::At]);
    let person = |i: &Item| {
        i.is_word() && i.any(&[Tag::Person, Tag::OtherPerson]) || matches!(site(clause), Some(Site::Named(_)))
    };
    taken.is_some_and(|h| {
        let goal = (h.at + 1..clause.items.len()).find(|at| to(*at));
        goal.is_some_and(|at| clause.items[at + 1..].iter().take(3).any(person))
    }) && super::family::counted(clause)
}

/// "home, both in the fridge", "everything from the cooler is in the fridge": what was brought along is put away.
pub fn unpacked(clause: &Clause) -> bool {
    let all = spots(clause);
    let cooler = all.iter().any(|s| s.place == Place::Cooler);
    let goal = all.last().is_some_and(|s| s.place != Place::Cooler && s.place != Place::Room);
    let tags = [Tag::All, Tag::Both, Tag::Milk, Tag::It, Tag::Bottle, Tag::Container];
    let what = clause.items.iter().any(|i| i.is_word() && i.any(&tags));
    // "cooler stuff"
    let strange = clause.items.iter().filter(|i| i.unknown).count();
    let told = clause.heads.is_empty() && strange <= usize::from(cooler) && !clause.has_number();
    told && goal && if arrived(clause) { what || cooler } else { what && cooler && strange == 0 }
}

/// Nothing but that somebody is home comes before it.
fn arrived(clause: &Clause) -> bool {
    let before: Vec<&Item> = clause.message.items.iter().take_while(|i| i.from < clause.spans[0].0).collect();
    let home = |i: &Item| {
        i.senses.contains(&Sense::Site(SiteWord::Home)) || i.is(Verb::ComeBack) || i.has(Tag::Arrived)
    };
    let small = |i: &Item| {
        let word = i.is_word() && (i.any(&[Tag::I, Tag::Be, Tag::Filler, Tag::Just]) || i.is(Verb::Get));
        word || i.sign().is_some() || i.when().is_some_and(|w| w.now)
    };
    before.iter().any(|i| home(i)) && before.iter().all(|i| home(i) || small(i))
}

/// The milk that was brought along, where it is now.
pub fn put_away(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let all = spots(clause);
    let mut moved = act(ActKind::Move, clause, ctx)?;
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    moved.place = all.last().map(|s| s.place);
    moved.from = all.iter().map(|s| s.place).find(|p| *p == Place::Cooler);
    (moved.count, moved.pick) = match () {
        () if word(Tag::Both) && !word(Tag::All) => (Some(2), None),
        () if word(Tag::It) && !word(Tag::All) && moved.from.is_none() => (None, Some(Pick::Last)),
        () => (None, Some(Pick::All)),
    };
    Ok(vec![moved])
}
