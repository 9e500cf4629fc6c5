//! Milk that leaves the house: gone to daycare or work, come back from there, or given to a milk bank.

use super::Context;
use super::clause::Clause;
use super::item::{Item, Kind};
use super::moves::{is_away, is_origin};
use super::scene::{Bare, Built, Refs, act, refs, site, spots, volume, written_unit};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
use super::stays;
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick};
use crate::domain::place::{Place, Site};
use crate::domain::volume::{Unit, Volume};

/// Gone to daycare or work, come back from there, or given to a milk bank.
pub fn travelled(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let left = if kind == ActKind::Return { still_in(clause, ctx) } else { None };
    let items = without_each(clause, left);
    let mut found = refs(clause, &items, Bare::Count)?;
    if kind == ActKind::Donate && clause.has(Tag::NextWeeks) {
        return Ok(vec![]);
    }
    if kind == ActKind::Send && packed_for_a_trip(clause) {
        return Ok(vec![]);
    }
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
        act.ml = donated(clause)?;
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
        // "nursery sent back 60"
        if let ([only], ActKind::Return) = (found.codes.as_slice(), kind)
            && *only >= 60
            && clause.items.iter().any(|i| i.amount().and_then(|a| a.whole()) == Some(*only))
        {
            act.ml = Some(crate::domain::volume::Volume::of(f64::from(*only), Unit::Ml));
            (found.codes, found.pick) = (vec![], Some(Pick::Last));
        }
        drunk_from(&mut act, &mut found, clause, left, ctx)?;
        let told = act.ml.is_some() || act.half || act.open;
        if found.is_empty() && told && clause.any(&[Tag::Bottle, Tag::Container, Tag::Milk]) {
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
    super::moves::only_thawed(clause, &mut act);
    let counts = clause.items.iter().filter(|i| matches!(i.kind, Kind::Count(_)) || i.amount().is_some());
    // "sent 2 thawed and 1 fresh"
    if act.thawed && counts.count() > 1 { Err(Doubt::Which) } else { Ok(vec![act]) }
}

/// "packed 2 bags for the weekend": bags of anything, for no child and nowhere.
fn packed_for_a_trip(clause: &Clause) -> bool {
    let bags = |i: &Item| matches!(i.kind, Kind::Count(_)) && i.has(Tag::Container) && !i.has(Tag::Bottle);
    let milk = [Tag::Milk, Tag::Him, Tag::He, Tag::Frozen, Tag::Oldest];
    let named = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)) || i.is_word() && i.any(&milk));
    let aim = clause.items.iter().any(|i| i.is_word() && i.has(Tag::For));
    let day = clause.whens().any(|(_, w)| w.role == super::when::Role::Purpose);
    clause.items.iter().any(bags) && aim && !day && !named && site(clause).is_none()
}

/// What a bank was given may be all that a freezer holds, and is no more than that.
const MOST_GIVEN: f64 = 50_000.0;

fn donated(clause: &Clause) -> Built<Option<Volume>> {
    let amount = clause.items.iter().filter_map(Item::amount).find(|a| a.unit.is_some());
    let Some(amount) = amount else { return Ok(None) };
    let given = Volume::of(amount.value.min(MOST_GIVEN * 2.0), amount.unit.unwrap_or(Unit::Ml));
    if given.ml() > MOST_GIVEN { Err(Doubt::Amount) } else { Ok(Some(given)) }
}

/// "12 came back with 50 ml left in it", "#11 came back, he left 60": the amount that is still in a bottle that somebody
/// drank from, which is no label.
fn still_in(clause: &Clause, ctx: &Context) -> Option<usize> {
    let word = |at: usize, tags: &[Tag]| clause.items.get(at).is_some_and(|i| i.is_word() && i.any(tags));
    let small = [Tag::About, Tag::Just, Tag::Only];
    let led = |at: usize| {
        let before = clause.items[..at].iter().rev().find(|i| !(i.is_word() && i.any(&small)));
        before.is_some_and(|i| {
            i.is_word() && (i.any(&[Tag::With, Tag::LeftOver]) || i.is(Verb::Leave) || i.is(Verb::Have))
        })
    };
    let inside = |at: usize| {
        let ends = clause.items.get(at + 2).is_none_or(|i| i.sign().is_some());
        word(at + 1, &[Tag::LeftOver]) || word(at + 1, &[Tag::In]) && (ends || word(at + 2, &[Tag::It]))
    };
    let some = |at: usize| {
        let amount = clause.items[at].amount();
        amount.is_some_and(|a| a.unit.is_some() || a.value >= 15.0 || ctx.units == Unit::Oz && a.value <= 8.0)
    };
    (0..clause.items.len()).find(|at| some(*at) && (led(*at) || inside(*at)))
}

/// How much came back in a bottle that was drunk from. It is one bottle, so that a bare number is its label.
fn drunk_from(
    act: &mut Act,
    found: &mut Refs,
    clause: &Clause,
    left: Option<usize>,
    ctx: &Context,
) -> Built<()> {
    if act.kind != ActKind::Return {
        return Ok(());
    }
    if let Some(amount) = left.and_then(|at| clause.items[at].amount()) {
        let ml = volume(amount, written_unit(&clause.items), ctx)?;
        (act.ml, act.left_ml, act.about) = (Some(ml), Some(ml), amount.about);
        let bare = |i: &Item| i.amount().and_then(|a| a.whole()) == found.count;
        let label = found.count.filter(|n| *n > 1 && clause.items.iter().any(bare));
        if let Some(label) = label {
            (found.codes, found.count) = (vec![label], None);
        }
    }
    act.half = act.ml.is_none() && clause.any(&[Tag::HalfDrunk, Tag::HalfHalf]);
    act.open = !act.half && act.left_ml.is_none() && clause.has(Tag::PartDrunk);
    Ok(())
}

/// "sent 3 to nursery, 120 each": how much is in each counts none of them, nor does what is left in one.
fn without_each(clause: &Clause, left: Option<usize>) -> Vec<Item> {
    let each = |at: usize| clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Both));
    let kept = |(at, item): &(usize, &Item)| {
        Some(*at) != left && (item.amount().is_none_or(|a| a.value < 15.0) || !each(*at))
    };
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

/// "mom brought 5 bags of 90, in our freezer": nothing that had been sent.
pub fn brings_new(clause: &Clause) -> bool {
    if !clause.tells(Verb::ComeBack) {
        return false;
    }
    let multi = clause.items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
    let home = |i: &Item| {
        (i.from..i.to).any(|at| {
            clause.message.has(at, at + 1, Tag::Back) || clause.message.has(at, at + 1, Tag::Arrived)
        })
    };
    let away = is_away(site(clause).as_ref());
    let placed = clause.message.items.iter().any(|i| i.place().is_some());
    multi && placed && !away && !clause.message.items.iter().any(home)
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
    let home = arrived(clause);
    let put = |h: &super::clause::Head| home && matches!(h.verb, Verb::Put | Verb::ComeBack | Verb::Get);
    let kept = clause.has(Tag::ThereAre) || clause.items.iter().any(|i| i.is_word() && i.has(Tag::For));
    let told =
        !kept && clause.heads.iter().all(put) && strange <= usize::from(cooler) && !clause.has_number();
    told && goal && if home { what || cooler } else { what && cooler && strange == 0 }
}

/// Nothing but that somebody is home comes before it.
pub fn arrived(clause: &Clause) -> bool {
    let message = clause.message;
    let home = |i: &Item| {
        let came = message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Arrived);
        let back = i.verbs().any(|v| v == (Verb::ComeBack, Form::Done));
        i.is_word() && (came || back || i.senses.contains(&Sense::Site(SiteWord::Home)))
    };
    let small = |i: &Item| {
        let word =
            i.is_word() && (i.any(&[Tag::I, Tag::Be, Tag::Filler, Tag::Just, Tag::Milk]) || i.is(Verb::Get));
        let from = i.is_word() && (i.has(Tag::From) || i.senses.iter().any(|s| matches!(s, Sense::Site(_))));
        word || from || i.when().is_some_and(|w| w.now)
    };
    let end = message.items.iter().position(|i| i.sign().is_some() || i.is_word() && i.has(Tag::And));
    let before = &message.items[..end.unwrap_or(0)];
    let told = before.last().is_some_and(|i| !message.has(0, i.to, Tag::Negative));
    told && before.iter().any(home) && before.iter().all(|i| home(i) || small(i))
}

/// The milk that was brought along, where it is now.
pub fn put_away(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let all = spots(clause);
    let mut moved = act(ActKind::Move, clause, ctx)?;
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    moved.place = all.last().map(|s| s.place);
    moved.from = all.iter().map(|s| s.place).find(|p| *p == Place::Cooler);
    moved.brought = arrived(clause);
    (moved.count, moved.pick) = match () {
        () if word(Tag::Both) && !word(Tag::All) => (Some(2), None),
        () if word(Tag::It) && !word(Tag::All) && !word(Tag::Milk) && moved.from.is_none() => {
            (None, Some(Pick::Last))
        }
        () => (None, Some(Pick::All)),
    };
    Ok(vec![moved])
}
