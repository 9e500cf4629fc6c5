//! Acts on containers that exist: moved, thawed, warmed, poured, sent, thrown away, held, counted, looked at. Each needs
//! some word for which containers are meant; where there is none the clause says nothing that could be recorded.

use super::Context;
use super::clause::{Clause, Head};
use super::item::{Item, Kind};
use super::pump::pours;
use super::scene::{
    Bare, Built, Refs, Spot, act, is_named_by, names_the_milk, place, refs, spots, volume, written_unit,
};
use super::senses::{Form, Tag, Verb};
use super::stays;
use super::when::Role;
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick, ThawHow};
use crate::domain::place::{Place, Site};

/// Containers put elsewhere; several places are several moves ("20-24 in the chest freezer, rest in the kitchen one").
pub fn moved(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    place(clause)?;
    two_lists(&clause.items)?;
    let all = spots(clause);
    if let Some(stay) = stays::find(clause, &all, ctx)? {
        return stays::moves(clause, &all, stay, ctx);
    }
    let lay = stays::origin(clause, &all);
    let (mut acts, mut from, mut by_time): (Vec<Act>, usize, bool) = (Vec::new(), 0, false);
    let mut holding = None;
    let ends: Vec<usize> = all.iter().map(|s| s.at + 1).collect();
    for (spot, end) in all.iter().zip(ends) {
        let mut found = refs(clause, &clause.items[from..end], bare(clause))?;
        if found.is_empty() && lay.is_some() && names_the_milk(clause) {
            found.pick = Some(Pick::All);
        }
        if let Some(at) = stays::known_amount(clause).filter(|at| (from..end).contains(at)) {
            found.codes.clear();
            let led = |n: usize| clause.items[n].when().is_some() || clause.items[n].has(Tag::The);
            let first = at.checked_sub(1).filter(|n| led(*n)).unwrap_or(at);
            let typed = clause.message.typed(clause.items[first].from, clause.items[at].to);
            found.pick = found.pick.or(Some(Pick::Phrase(typed)));
            by_time |= clause.items[first].when().is_some();
            let amount = clause.items[at].amount();
            holding = amount.and_then(|a| volume(a, written_unit(&clause.items), ctx).ok());
        }
        if is_origin(clause, spot) || is_named_by(clause, spot) {
            continue;
        }
        let typed = matches!(found.pick, Some(Pick::Phrase(_)));
        match acts.last_mut() {
            Some(last) if found.is_empty() || only_it(&found) => last.place = Some(spot.place),
            _ => acts.push(move_to(clause, ctx, found, from, spot)?),
        }
        if let Some(act) = acts.last_mut().filter(|a| typed && a.kind == ActKind::Move) {
            act.ml = act.ml.or(holding.take());
        }
        from = end;
    }
    trailing_refs(clause, &mut acts, from)?;
    let brought = super::travel::arrived(clause);
    acts.iter_mut().for_each(|a| (a.from, a.brought) = (lay, brought && a.codes.is_empty()));
    acts.iter_mut().for_each(|a| only_thawed(clause, a));
    // "last nights 120" was moved now
    for act in acts.iter_mut().filter(|_| by_time) {
        (act.at, act.at_latest, act.timed) = (Some(ctx.sent), None, false);
    }
    taken_out(clause, &mut acts, lay, ctx)?;
    acts.retain(|a| a.pick != Some(Pick::Rest) || !any_leftovers(clause));
    acts.retain(|a| a.pick != Some(Pick::Last) || a.place != Some(Place::Room));
    acts.retain(|a| !a.codes.is_empty() || a.count.is_some() || a.pick.is_some());
    Ok(acts)
}

/// "put the two thawed back in the freezer", "sent 2 thawed": the word for thawing tells which, and nothing is thawed now.
pub fn names_the_thawed(clause: &Clause) -> Option<usize> {
    let at = clause.items.iter().position(|i| i.verbs().any(|v| v == (Verb::Thaw, Form::Done)))?;
    let done = |h: &Head| {
        h.form != Form::Base && matches!(h.verb, Verb::Put | Verb::Move | Verb::Freeze | Verb::Send)
    };
    let small = |i: &Item| {
        let word =
            i.is_word() && i.any(&[Tag::The, Tag::CodeArticle, Tag::PluralArticle, Tag::All, Tag::Back]);
        let noun = i.is_word() && i.any(&[Tag::Container, Tag::Bottle, Tag::One, Tag::Milk]);
        word || noun || matches!(i.kind, Kind::Count(_)) || i.amount().is_some()
    };
    let verb = clause.heads.iter().find(|h| h.at < at && done(h))?.at;
    (at > verb + 1 && clause.items[verb + 1..at].iter().all(small)).then_some(at)
}

/// Which of them, where only that is told. A number beside the word counts them.
pub fn only_thawed(clause: &Clause, act: &mut Act) {
    let Some(at) = names_the_thawed(clause) else { return };
    let number = |i: &Item| match i.kind {
        Kind::Count(n) => Some(n),
        _ => i.amount().and_then(|a| a.whole()),
    };
    let several = clause.items.get(at + 1).is_none_or(|i| !i.has(Tag::One) || i.has(Tag::Plural));
    let count = clause.items[..at].iter().rev().find_map(number).or((!several).then_some(1));
    (act.thawed, act.ml) = (true, None);
    (act.codes, act.count, act.pick) = (Vec::new(), count, count.is_none().then_some(Pick::All));
}

/// "put 1 back in the freezer", "froze 3": a label. It counts where it stands for several ("4 of them", "las 3 del refri"), in a
/// row with counted containers, and where they were left at somebody's.
pub fn bare(clause: &Clause) -> Bare {
    let counted = |i: &Item| matches!(i.kind, Kind::Count(_) | Kind::Multi(..));
    let several = |at: usize| {
        let led = at > 0 && clause.items[at - 1].is_word() && clause.items[at - 1].has(Tag::PluralArticle);
        let of =
            clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::Of, Tag::More, Tag::Fresh]));
        clause.items[at].amount().is_some() && (led || of)
    };
    let left = clause.tells(Verb::Leave) && super::scene::site(clause).is_some();
    let row = clause.message.items.iter().any(counted) || (0..clause.items.len()).any(several);
    if left || row || clause.tells(Verb::Send) { Bare::Count } else { Bare::Label }
}

/// "put the leftovers in the fridge": of a bottle or of dinner, where nothing else tells.
fn any_leftovers(clause: &Clause) -> bool {
    let message = clause.message;
    let word = message.has(0, message.tokens.len(), Tag::LeftOver);
    let milk = [Tag::Milk, Tag::Bottle, Tag::Container, Tag::He, Tag::Him, Tag::Back];
    word && !message.items.iter().any(|i| i.is_word() && i.any(&milk) || i.amount().is_some())
}

/// "froze 2 bags: 100 and 120": their labels, or what is in them.
fn two_lists(items: &[Item]) -> Built<()> {
    let bags = items.iter().find_map(|i| match i.kind {
        Kind::Count(n) if i.has(Tag::Container) => Some(n as usize),
        _ => None,
    });
    let big = |i: &Item| matches!(&i.kind, Kind::List(all, false) if Some(all.len()) == bags && all.iter().all(|n| *n >= 60));
    if items.iter().any(big) { Err(Doubt::Kind) } else { Ok(()) }
}

/// "Took #13 out of the fridge": it lies in the room, until somebody says where.
fn taken_out(clause: &Clause, acts: &mut Vec<Act>, lay: Option<Place>, ctx: &Context) -> Built<()> {
    let out = clause.tells_any(&[Verb::Take, Verb::Pull, Verb::Get]);
    if lay.is_none_or(Place::is_freezer) || !acts.is_empty() || !out {
        return Ok(());
    }
    if is_label_or_count(clause) {
        return Err(Doubt::Kind);
    }
    let mut act = act(ActKind::Move, clause, ctx)?;
    refs(clause, &clause.items, Bare::Count)?.put(&mut act);
    (act.place, act.from) = (Some(Place::Room), lay);
    acts.push(act);
    Ok(())
}

fn move_to(clause: &Clause, ctx: &Context, found: Refs, from: usize, spot: &Spot) -> Built<Act> {
    let frozen = clause.items[from..spot.at].iter().any(|i| i.has(Tag::Frozen));
    if frozen && spot.place == Place::Fridge {
        let mut thaw = act(ActKind::Thaw, clause, ctx)?;
        thaw.how = Some(ThawHow::Fridge);
        found.put(&mut thaw);
        return Ok(thaw);
    }
    let mut act = act(ActKind::Move, clause, ctx)?;
    found.put(&mut act);
    (act.place, act.site) = (Some(spot.place), spot.site.clone());
    Ok(act)
}

fn only_it(refs: &Refs) -> bool {
    refs.codes.is_empty() && refs.count.is_none() && refs.pick == Some(Pick::Last)
}

/// "to the freezer: 12, 13": labels after the only place.
fn trailing_refs(clause: &Clause, acts: &mut [Act], from: usize) -> Built<()> {
    let [only] = acts else { return Ok(()) };
    if only.codes.is_empty() && only.count.is_none() && only.pick.is_none() {
        refs(clause, &clause.items[from..], bare(clause))?.put(only);
    }
    // "la pasé al freezer, la 51"
    if only.pick == Some(Pick::Last) && only.codes.is_empty() && only.count.is_none() {
        let named = refs(clause, &clause.items[from..], Bare::Never)?;
        if !named.codes.is_empty() {
            (only.codes, only.pick) = (named.codes, None);
        }
    }
    Ok(())
}

/// "from the freezer", "out of the fridge".
pub fn is_origin(clause: &Clause, spot: &Spot) -> bool {
    let near: Vec<&Item> = clause.items[..spot.at].iter().rev().take(2).filter(|i| i.is_word()).collect();
    let small = near.first().is_some_and(|i| i.any(&[Tag::The, Tag::Of, Tag::CodeArticle]));
    // "out to thaw on the side" is no place that it came from
    let goes = |i: &Item| i.sign().is_some() || i.is_word() && i.has(Tag::To);
    let to = clause.items[..spot.at].iter().rev().take(2).any(goes);
    let out = !to && near.iter().take(if small { 2 } else { 1 }).any(|i| i.has(Tag::OutWord));
    // "31 came out of the freezer": the word for out is part of the verb
    let pulled = small
        && near.iter().any(|i| i.has(Tag::Of))
        && clause.heads.iter().any(|h| h.verb == Verb::Pull && h.at < spot.at);
    out || pulled || near.iter().any(|i| i.any(&[Tag::From, Tag::OutOf]))
}

/// Whether containers came out of a freezer, by the words for thawing or for where they come from and go to.
pub fn is_thaw(clause: &Clause) -> bool {
    let all = spots(clause);
    let cold_origin = all
        .iter()
        .any(|s| s.place.is_freezer() && (is_origin(clause, s) || leads_to_fridge(clause, s, &all)));
    let moving = clause.heads.is_empty() || clause.heads.iter().any(|h| h.form != Form::Base);
    let frozen = clause.items.iter().position(|i| i.has(Tag::Frozen)).is_some_and(|at| {
        let counted = at > 0 && matches!(clause.items[at - 1].kind, Kind::Count(_));
        let apart =
            |to: usize| at < to && clause.items[at..to].iter().any(|i| i.is_word() && i.has(Tag::Rest));
        all.iter().any(|s| s.place == Place::Fridge && (s.at > at || counted) && !apart(s.at))
    });
    let out = clause.item(Tag::OutOf).or(clause.item(Tag::OutWord));
    // "took 2.5oz then konked out"
    let taken = clause.heads.iter().find(|h| matches!(h.verb, Verb::Take | Verb::Get)).map_or(0, |h| h.at);
    let apart = |i: &Item| i.unknown || i.is_word() && i.any(&[Tag::Then, Tag::And, Tag::But]);
    let other = out.is_some_and(|at| {
        at > taken
            && clause.items[at].has(Tag::OutWord)
            && clause.items[taken..at].iter().rev().take(2).any(apart)
    });
    // "took 60 out of 90", "took 2 oz from the bottle"
    let amount = |i: &Item| i.amount().is_some();
    let bottle = |at: usize| {
        let near = clause.items[at + 1..].iter().take(2);
        near.into_iter().any(|i| i.has(Tag::Bottle) && !i.has(Tag::Plural)) && all.is_empty()
    };
    let share = out.is_some_and(|at| {
        let of = clause.items.get(at + 1).is_some_and(amount) || bottle(at);
        at > 0 && amount(&clause.items[at - 1]) && of
    });
    // "got 45 total from both"
    let sum = clause.tells(Verb::Get) && clause.has(Tag::Total) && !super::family::counted(clause);
    let taken_out = clause.tells(Verb::Pull)
        || (clause.tells_any(&[Verb::Take, Verb::Get])
            && !clause.has(Tag::SideWord)
            && out.is_some()
            && !other
            && !share
            && !sum);
    if clause.heads.iter().any(|h| h.verb == Verb::Thaw && is_partly(clause, *h))
        || names_the_thawed(clause).is_some()
    {
        return false;
    }
    let to_freezer = all.last().is_some_and(|s| s.place.is_freezer() && !is_origin(clause, s));
    // "she brought up a little milk"
    let spits = clause.head(Verb::Pull).is_some_and(|h| {
        let up = clause.message.find(clause.items[h.at].from, clause.items[h.at].to, Tag::SpitUp).is_some();
        up && clause.items[..h.at].iter().any(|i| i.is_word() && i.has(Tag::He))
            && !super::family::counted(clause)
    });
    let taken_out = taken_out && !spits && !out_of_the_fridge(clause) && !super::pouring::takes_some(clause);
    // "gave 100 from the freezer stash"
    let fed = clause.tells_any(&[Verb::Give, Verb::Feed, Verb::Drink, Verb::Use, Verb::Finish, Verb::Have]);
    let fed = fed && !super::family::counted(clause) && clause.has_amount();
    // "bajé 2 para mañana": from where is understood
    let meant = clause.whens().any(|(_, w)| w.role == Role::Purpose) && clause.has_number();
    let down = clause.tells(Verb::Move) && meant && all.is_empty() && super::scene::site(clause).is_none();
    clause.tells(Verb::Thaw)
        || down
        || (moving && !to_freezer && !fed && (cold_origin || frozen))
        || (taken_out && !to_freezer)
}

/// "took #13 out of the fridge": it never lay in the freezer.
pub fn out_of_the_fridge(clause: &Clause) -> bool {
    stays::origin(clause, &spots(clause)).is_some_and(|place| !place.is_freezer())
        && !clause.tells(Verb::Thaw)
}

/// "freezer to fridge", "freezer -> fridge".
fn leads_to_fridge(clause: &Clause, spot: &Spot, all: &[Spot]) -> bool {
    let next = all.iter().find(|s| s.at > spot.at && s.place == Place::Fridge);
    // "120 to the freezer and the rest to the fridge"
    let goal = spot.at > 0
        && clause.items[spot.at - 1].is_word()
        && clause.items[spot.at - 1].any(&[Tag::To, Tag::Into]);
    !goal
        && next.is_some_and(|n| {
            let between = &clause.items[spot.at + 1..n.at];
            between.iter().any(|i| i.any(&[Tag::To, Tag::Into]) || i.sign() == Some('→'))
                && between.iter().all(|i| i.amount().is_none() && !i.has(Tag::Rest))
        })
}

/// "#14 is fully thawed": a state, told of containers named before it.
pub fn is_thawed_state(clause: &Clause) -> bool {
    let Some(verb) = clause.heads.iter().find(|h| h.verb == Verb::Thaw && h.form == Form::Done) else {
        return false;
    };
    let before = &clause.items[..verb.at];
    let named = before.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_))
            || i.amount().is_some()
            || i.any(&[Tag::One, Tag::It, Tag::This, Tag::Oldest])
            || i.when().is_some_and(|w| w.role == Role::Names)
    });
    if stays::thawed_there(clause) || clause.has(Tag::Wrap) {
        return false;
    }
    let wholly = before.last().is_some_and(|i| i.has(Tag::Wholly));
    let state =
        wholly || before.iter().any(|i| i.has(Tag::Be) || matches!(i.kind, Kind::Codes(_) | Kind::List(..)));
    let named_after =
        clause.items[verb.at..].iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..)));
    let turned = clause.items[verb.at].has(Tag::Be) || before.iter().any(|i| i.is_word() && i.has(Tag::Be));
    let (named, state) = (named || named_after && turned, state || named_after && turned);
    named && state && !is_partly(clause, *verb) && !before.iter().any(|i| i.has(Tag::I))
}

/// "half thawed", "almost thawed".
fn is_partly(clause: &Clause, verb: Head) -> bool {
    let before = verb.at.checked_sub(1).map(|at| &clause.items[at]);
    verb.form == Form::Done && before.is_some_and(|i| i.any(&[Tag::Half, Tag::About]))
}

pub fn thaw(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut thaw = act(ActKind::Thaw, clause, ctx)?;
    if let Some(since) = stays::since(clause, ctx).filter(|_| !thaw.timed) {
        (thaw.at, thaw.timed) = (Some(since), true);
    }
    // "saqué 3 para la guarde de mañana"
    if clause.whens().next().is_some() && clause.whens().all(|(at, _)| super::mood::is_aim(clause, at)) {
        (thaw.at, thaw.at_latest, thaw.timed) = (Some(ctx.sent), None, false);
    }
    let found = refs(clause, &clause.items, Bare::Count)?;
    let milk = clause.any(&[Tag::Milk, Tag::Container, Tag::Bottle]);
    if found.is_empty() && !(milk && clause.tells(Verb::Thaw)) {
        return Ok(vec![]);
    }
    if is_label_or_count(clause) {
        let strange = clause.items.iter().any(|i| i.unknown) && !milk && !clause.has_place();
        return if strange { Ok(vec![]) } else { Err(Doubt::Kind) };
    }
    found.put(&mut thaw);
    thaw.how = how(clause);
    let then = then_cooled(clause, &thaw, ctx)?;
    Ok(std::iter::once(thaw).chain(then).collect())
}

/// "thawed 12 in warm water and put it in the fridge": where it went then, told in words of its own.
fn then_cooled(clause: &Clause, thaw: &Act, ctx: &Context) -> Built<Option<Act>> {
    let cold = |s: &Spot| matches!(s.place, Place::Fridge | Place::Cooler) && !is_origin(clause, s);
    let warm = clause.items.iter().position(|i| clause.message.has(i.from, i.to, Tag::Wrap));
    let spot = spots(clause).into_iter().rfind(cold).zip(warm).filter(|(s, warm)| *warm < s.at);
    let Some((spot, warm)) = spot else { return Ok(None) };
    let between = &clause.items[warm + 1..spot.at];
    let joint =
        between.iter().any(|i| i.sign().is_some() || i.is_word() && i.any(&[Tag::And, Tag::Then, Tag::But]));
    let own = clause.heads.iter().any(|h| h.at > warm && matches!(h.verb, Verb::Put | Verb::Move))
        || between.iter().any(|i| i.is_word() && i.any(&[Tag::It, Tag::Be, Tag::Total, Tag::Back]));
    if !joint || !own {
        return Ok(None);
    }
    let mut then = act(ActKind::Move, clause, ctx)?;
    (then.place, then.site) = (Some(spot.place), spot.site);
    (then.codes, then.count) = (thaw.codes.clone(), thaw.count);
    then.pick = thaw.pick.clone().or((thaw.codes.is_empty() && thaw.count.is_none()).then_some(Pick::Last));
    Ok(Some(then))
}

/// "took 11 out of the freezer": number 11, or eleven of them.
fn is_label_or_count(clause: &Clause) -> bool {
    let taken = clause.tells_any(&[Verb::Take, Verb::Pull, Verb::Get]) && !clause.tells(Verb::Thaw);
    let numbers: Vec<_> =
        clause.items.iter().filter(|i| !i.is_word() && i.sign().is_none() && i.when().is_none()).collect();
    let [only] = numbers.as_slice() else { return false };
    taken && only.amount().and_then(|a| a.whole()).is_some_and(|n| (7..=15).contains(&n) || n >= 60)
}

fn how(clause: &Clause) -> Option<ThawHow> {
    if clause.has(Tag::Wrap) {
        return Some(ThawHow::WarmWater);
    }
    let goal = spots(clause).into_iter().rfind(|s| !s.place.is_freezer() && !is_origin(clause, s))?;
    match goal.place {
        Place::Fridge => Some(ThawHow::Fridge),
        Place::Room => Some(ThawHow::Room),
        _ => None,
    }
}

/// An act that only needs to know which containers.
pub fn plain(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    if let Some(since) = stays::since(clause, ctx).filter(|_| !act.timed) {
        (act.at, act.timed) = (Some(since), true);
    }
    let bare = if kind == ActKind::Warm { bare(clause) } else { Bare::Count };
    let found = refs(clause, &clause.items, bare)?;
    let amounts = pours(clause, false);
    let with_unit = amounts.iter().find(|p| p.amount.unit.is_some() || p.amount.value >= 15.0);
    if kind == ActKind::Warm
        && let Some(pour) = with_unit
    {
        act.ml = Some(volume(pour.amount, written_unit(&clause.items), ctx)?);
        return Ok(vec![act]);
    }
    let milk = clause.any(&[Tag::Container, Tag::Bottle, Tag::Milk]);
    if found.is_empty() && !(kind == ActKind::Warm && milk) {
        return Ok(vec![]);
    }
    found.put(&mut act);
    let back = if kind == ActKind::Warm { put_back(clause, &act, ctx)? } else { None };
    Ok(std::iter::once(act).chain(back).collect())
}

/// "warmed 13 but he didn't want it, back in the fridge".
fn put_back(clause: &Clause, warmed: &Act, ctx: &Context) -> Built<Option<Act>> {
    let cold = |s: &Spot| matches!(s.place, Place::Fridge | Place::Cooler) && !is_origin(clause, s);
    let spot = spots(clause).into_iter().rfind(cold);
    let back = clause.items.iter().any(|i| i.is_word() && i.has(Tag::Back));
    let Some(spot) = spot.filter(|_| back) else { return Ok(None) };
    let mut then = act(ActKind::Move, clause, ctx)?;
    (then.place, then.site) = (Some(spot.place), spot.site);
    then.codes.clone_from(&warmed.codes);
    then.pick = warmed.codes.is_empty().then_some(Pick::Last);
    Ok(Some(then))
}

/// Held or released, with the reason as typed.
pub fn held(kind: ActKind, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut act = act(kind, clause, ctx)?;
    let mut found = match super::holding::pumped_then(clause) {
        Some((first, last)) => {
            (act.at, act.at_latest, act.timed) = (Some(ctx.sent), None, false);
            let words = clause.message.typed(clause.items[first].from, clause.items[last].to);
            Refs { pick: Some(Pick::Phrase(words)), ..Refs::default() }
        }
        None => refs(clause, &clause.items, Bare::Label)?,
    };
    let until = clause.whens().map(|(_, w)| *w).find(|w| w.role == Role::Until);
    if found.is_empty() && until.is_some() && clause.has(Tag::Anything) {
        // "don't use anything until tomorrow"
        found.pick = Some(Pick::All);
    }
    if found.is_empty() {
        return Ok(vec![]);
    }
    found.put(&mut act);
    act.named_from = stays::since(clause, ctx).filter(|_| clause.any(&[Tag::All, Tag::Anything]));
    if act.codes.is_empty() {
        act.place = stays::lying(clause);
    }
    if kind == ActKind::Hold {
        act.until = until.map(|w| super::whole::next(w, ctx));
        let after = clause.spans.get(1).map(|(from, _)| *from).zip(clause.spans.last().map(|(_, to)| *to));
        act.reason = after.map(|(from, to)| clause.message.typed(from, to)).filter(|t| !t.is_empty());
    }
    Ok(vec![act])
}

/// A site is where milk is sent to and comes back from.
pub fn is_away(site: Option<&Site>) -> bool {
    matches!(site, Some(Site::Work | Site::Daycare))
}
