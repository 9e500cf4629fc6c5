//! Milk that was left out of the cold: "I left #1 out for 3 hours, it's back in the fridge". Its hours there count whatever
//! becomes of it, so they are never lost over where it is now; where nobody knows how long it was, they count from the
//! earliest that the words allow.

use chrono::NaiveDateTime;

use super::Context;
use super::clause::{Clause, Head};
use super::item::{Item, Kind};
use super::moment::{Moment, elapsed_before, settle};
use super::moves::is_origin;
use super::scene::{Bare, Built, Refs, act, is_foreign, refs, spots};
use super::senses::{Form, Part, Tag, Verb};
use super::stays::is_left;
use super::when::{Role, When};
use crate::domain::act::{Act, Doubt, Kind as ActKind, Pick, ThawHow};
use crate::domain::place::Place;

/// A bare number from here on may be an amount as well as a label.
const AMOUNT: f64 = 60.0;

/// Whether a clause tells that containers were out of the cold.
pub fn told(clause: &Clause) -> bool {
    let Some(out) = out_at(clause) else { return false };
    let verbs = [Verb::Leave, Verb::Find, Verb::Put, Verb::Thaw];
    let kept = |h: &Head| verbs.contains(&h.verb) || comes_back(clause, h);
    let other = clause.heads.iter().any(|h| h.form != Form::Base && !kept(h));
    let unit = clause.items.iter().any(|i| match i.kind {
        Kind::Amount(a) => a.unit.is_some(),
        Kind::Multi(..) => true,
        _ => false,
    });
    let child = is_childs(clause);
    let strange = strangers(clause) > 1;
    let thaws = clause.tells(Verb::Thaw);
    let lay = match label_at(clause, out) {
        Some(_) if thaws => is_long(clause),
        Some(at) => lay(clause, at, out),
        None => named_before(clause, out),
    };
    let thing = label_at(clause, out).is_some_and(|at| counts_others(clause, at));
    lay && !thing && !other && !unit && !child && !strange && !clause.any(&[Tag::Plan, Tag::Conditional])
}

/// Words that nobody knows, but for who it was: "ben left 14 out".
fn strangers(clause: &Clause) -> usize {
    let name = |at: usize| at == 0 && clause.items.get(1).is_some_and(|i| i.is(Verb::Leave));
    (0..clause.items.len()).filter(|at| clause.items[*at].unknown && !name(*at)).count()
}

/// "found 2 kittens in the car", "2 were out sick": a bare number of something else, or of several.
fn counts_others(clause: &Clause, at: usize) -> bool {
    if clause.items[at].amount().is_none() {
        return false;
    }
    let one = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::BeOne);
    let several = clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Be) && !one(i));
    several || strangers(clause) > 0 || is_foreign(&clause.items, at)
}

/// "he left 30 on the counter": of a bottle.
fn is_childs(clause: &Clause) -> bool {
    let word = |i: &Item, tags: &[Tag]| i.is_word() && i.any(tags) && !i.has(Tag::It);
    let child = clause.items.iter().any(|i| word(i, &[Tag::He]));
    let leaves = left(clause).is_some_and(|h| clause.items[h.at].is(Verb::Leave));
    child && leaves || clause.items.iter().any(|i| word(i, &[Tag::Him]))
}

/// Where it is said that they were out: in the room, or just "out".
fn out_at(clause: &Clause) -> Option<usize> {
    let items = &clause.items;
    let cold = |at: usize| {
        let near = items[at + 1..].iter().take(3);
        near.take_while(|i| i.is_word()).any(|i| i.place().is_some_and(|p| p != Place::Room))
    };
    let out = |at: usize| {
        let item = &items[at];
        let of = item.is_word() && item.has(Tag::OutOf) && item.to - item.from > 1 && cold(at);
        let word = item.is_word() && item.has(Tag::OutWord);
        of || word && left(clause).is_some_and(|h| h.at < at)
    };
    let room = |s: &super::scene::Spot| s.place == Place::Room && !is_origin(clause, s);
    let spot = spots(clause).into_iter().find(room).map(|s| s.at);
    let pulled = |h: &&Head| h.verb == Verb::Pull && comes_back(clause, h);
    let word = spot.or_else(|| (0..items.len()).find(|at| out(*at))).or_else(|| strange_place(clause));
    word.or_else(|| clause.heads.iter().find(pulled).map(|h| h.at))
}

/// "la 17 se quedó en la sala 2 horas": where nobody knows, and so not in the cold.
fn strange_place(clause: &Clause) -> Option<usize> {
    let items = &clause.items;
    let lasts = items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    if !lasts || !clause.has(Tag::Stayed) {
        return None;
    }
    let stay = (0..items.len()).find(|at| items[*at].is_word() && is_stay(clause, *at))?;
    let coded = items[..stay].iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let known = super::scene::site(clause).is_some();
    let led =
        |at: usize| at > stay && at < stay + 4 && items[at].is_word() && items[at].any(&[Tag::In, Tag::Into]);
    let inside = (0..items.len()).find(|at| led(*at)).filter(|_| lasts && coded && !known)?;
    let stop = items[inside..].iter().position(|i| !i.is_word()).map_or(items.len(), |n| inside + n);
    let cold = items[inside..stop].iter().any(|i| i.place().is_some());
    (inside + 1..stop).find(|at| items[*at].unknown).filter(|_| !cold)
}

/// "left", "forgot": who did it tells nothing of a child that left some.
fn left(clause: &Clause) -> Option<Head> {
    let left = |h: &Head| matches!(h.verb, Verb::Leave | Verb::Find) && h.form == Form::Done;
    let verb = |h: &Head| left(h) || comes_back(clause, h);
    let word = |at: &usize| clause.items[*at].is_word() && is_stay(clause, *at);
    clause.heads.iter().copied().find(verb).or_else(|| {
        let at = (0..clause.items.len()).find(|at| word(at) || clause.items[*at].is(Verb::Leave))?;
        Some(Head { verb: Verb::Leave, form: Form::Done, at })
    })
}

/// "took 4 out for an hour, back in the fridge", "had 7 out since 2, put it back": nothing was taken out to thaw.
fn comes_back(clause: &Clause, head: &Head) -> bool {
    let taken = matches!(head.verb, Verb::Take | Verb::Pull | Verb::Get | Verb::Have);
    if !taken || head.form != Form::Done || !is_long(clause) {
        return false;
    }
    let after: Vec<&Item> =
        clause.message.items.iter().filter(|i| i.from > clause.items[head.at].from).collect();
    let Some(back) = after.iter().position(|i| i.is_word() && i.has(Tag::Back)) else { return false };
    let cold = |i: &&Item| i.is_word() && i.place().is_some_and(|p| p != Place::Room);
    let near = &after[back..after.len().min(back + 4)];
    near.iter().any(cold) || after[..back].iter().rev().take(2).any(|i| i.is_word() && i.has(Tag::It))
}

fn is_stay(clause: &Clause, at: usize) -> bool {
    let item = &clause.items[at];
    (item.from..item.to).any(|n| clause.message.marks[n].iter().any(|(tag, _)| *tag == Tag::Stayed))
}

/// The label, or the only bare number, which then is one: "left 8 out", "5 was on the counter".
fn label_at(clause: &Clause, out: usize) -> Option<usize> {
    let items = &clause.items;
    let named = |i: &Item| matches!(i.kind, Kind::Codes(_) | Kind::List(..));
    let bare = |i: &Item| i.amount().is_some_and(|a| !a.about && a.whole().is_some_and(|n| n > 0));
    let numbers = items.iter().filter(|i| i.amount().is_some()).count();
    items[..out].iter().position(named).or_else(|| items.iter().position(named)).or_else(|| {
        let at = items.iter().position(bare).filter(|_| numbers == 1)?;
        let thaws = clause.heads.iter().find(|h| h.verb == Verb::Thaw).copied();
        let verb = thaws.or_else(|| left(clause))?.at;
        let small = |i: &Item| {
            i.is_word()
                && (i.is(Verb::Have) || i.any(&[Tag::CodeArticle, Tag::NumberSign, Tag::Be, Tag::Just]))
        };
        let between = &items[at.min(verb) + 1..at.max(verb)];
        (between.iter().all(small) && at.checked_sub(1).is_none_or(|n| may_lead(&items[n]))).then_some(at)
    })
}

/// What may stand before a bare label: "I left 8", "la 8", "sorry, 8"; but "the other 40" is an amount.
fn may_lead(item: &Item) -> bool {
    let small = [Tag::CodeArticle, Tag::NumberSign, Tag::I, Tag::Person, Tag::And, Tag::Be, Tag::Just];
    let word =
        item.verbs().next().is_some() || item.any(&small) || item.has(Tag::Filler) && !item.has(Tag::The);
    item.sign().is_some() || item.is_word() && word
}

/// "left it out", "left the 2pm one out": milk that was spoken of, or named by its time.
fn named_before(clause: &Clause, out: usize) -> bool {
    if is_it(clause, out) && is_long(clause) {
        return !clause.has_number();
    }
    let bottle = clause.items[..out].iter().any(is_one_bottle) && !clause.has_number() && is_long(clause);
    let Some(head) = left(clause).filter(|h| h.at < out && is_long(clause)) else {
        return bottle && clause.heads.is_empty() && clause.has(Tag::Be);
    };
    let named = |i: &Item| i.is_word() && i.has(Tag::It) || i.when().is_some_and(|w| w.role == Role::Names);
    let named = clause.items[head.at + 1..out].iter().any(named);
    !clause.has_number() && named || bottle
}

/// "left the bottle out": one of them, told of no other.
fn is_one_bottle(item: &Item) -> bool {
    item.is_word() && item.has(Tag::Bottle) && !item.has(Tag::Plural)
}

/// "left it out" is one phrase.
fn is_it(clause: &Clause, out: usize) -> bool {
    let item = &clause.items[out];
    (item.from..item.to).any(|n| clause.message.marks[n].iter().any(|(tag, _)| *tag == Tag::It))
}

/// Something says that they lay there, and that it wasn't a child who left some of a bottle.
fn lay(clause: &Clause, label: usize, out: usize) -> bool {
    let Some(head) = left(clause) else { return false };
    let mine = clause.items[..head.at].iter().any(|i| i.is_word() && i.any(&[Tag::I, Tag::Person]));
    let written = !matches!(clause.items[label].kind, Kind::Amount(_));
    let word = clause.items[out].has(Tag::OutWord) || clause.items[out].has(Tag::OutOf);
    let forgotten = is_stay(clause, head.at) && !clause.items[head.at].has(Tag::LeftOver);
    if clause.items[label].amount().is_some_and(|a| a.value >= AMOUNT) {
        return word && is_long(clause) && head.at < label;
    }
    written || mine || word || forgotten || is_long(clause)
}

fn is_long(clause: &Clause) -> bool {
    clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)))
        || clause.whens().any(|(_, w)| matches!(w.role, Role::At | Role::Since) && !w.now)
        || unknown_how_long(clause)
}

/// "for hours", "no idea how long", also in words after it.
fn unknown_how_long(clause: &Clause) -> bool {
    let end = clause.message.tokens.len();
    clause.message.has(clause.spans[0].0, end, Tag::LongOut)
}

/// Whether a segment says more of it: how long, or where it is now.
pub fn goes_on(segment: &Clause) -> bool {
    let word = |tags: &[Tag]| segment.items.iter().any(|i| i.is_word() && i.any(tags));
    let now = segment.whens().any(|(_, w)| w.now);
    let cold = segment.items.iter().any(|i| i.place().is_some_and(|p| p != Place::Room));
    let verbs = [Verb::Put, Verb::Move, Verb::ComeBack, Verb::Freeze];
    let other = segment.heads.iter().any(|h| h.form != Form::Base && !verbs.contains(&h.verb));
    // "unas 4 horas"
    let long = segment.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    let small = |i: &Item| {
        matches!(i.kind, Kind::Lasting(_)) || i.is_word() && i.any(&[Tag::About, Tag::Article, Tag::For])
    };
    let lasts = long && !segment.first && segment.items.iter().all(small);
    let again = word(&[Tag::It]) && word(&[Tag::Back]);
    let told = cold && (word(&[Tag::It, Tag::Back]) || now || !segment.first) || again;
    lasts || !segment.has_number() && !other && told
}

/// The hours out of the cold, and where the milk was put after them.
pub fn acts(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let Some(out) = out_at(clause) else { return Ok(vec![]) };
    let found = containers(clause, out)?;
    let thaws = clause.tells(Verb::Thaw);
    let mut lay = act(if thaws { ActKind::Thaw } else { ActKind::Move }, clause, ctx)?;
    (lay.place, lay.how) = if thaws { (None, Some(ThawHow::Room)) } else { (Some(Place::Room), None) };
    let all = spots(clause);
    lay.site = all.iter().find(|s| s.place == Place::Room).and_then(|s| s.site.clone());
    found.clone().put(&mut lay);
    let cold = |s: &&super::scene::Spot| s.at > out && s.place != Place::Room && !is_left(clause, s);
    let again = clause.items[out..].iter().any(|i| i.is_word() && i.has(Tag::Back));
    let again = all.iter().find(|s| again && is_left(clause, s));
    let goal = all.iter().rfind(cold).or(again).map(|s| {
        // "back in the fridge at 9"
        let after = clause.whens().find(|(at, w)| *at > s.at && w.role == Role::At && w.clock.is_some());
        let back = after.map(|(_, w)| *w).or_else(|| second_clock(clause));
        let put = back.and_then(|w| settle(&w, ctx.sent, ctx.zone)).map(|put| put.at);
        let at = Some(put.unwrap_or(ctx.sent));
        let mut then = Act { at, timed: put.is_some(), place: Some(s.place), ..Act::new(ActKind::Move) };
        then.site = s.site.clone();
        then.codes.clone_from(&found.codes);
        then.pick = found.codes.is_empty().then_some(Pick::Last);
        then
    });
    if let Some(from) = since(clause, ctx, goal.as_ref().and_then(|then| then.at)) {
        (lay.at, lay.at_latest, lay.timed) = (Some(from.at), from.latest, true);
        lay.until = until(clause, &from, ctx).filter(|until| goal.is_none() && *until > from.at);
    }
    // "left it out": which milk is told only where it went somewhere after that.
    let it = lay.codes.is_empty() && lay.pick == Some(Pick::Last) && goal.is_none();
    let it = it && !clause.items[..out].iter().any(is_one_bottle);
    Ok(if it { vec![] } else { std::iter::once(lay).chain(goal).collect() })
}

/// "From 8 to 9", "since 8 until 9"; "between 8 and 9" leaves open when it began.
fn until(clause: &Clause, from: &Moment, ctx: &Context) -> Option<NaiveDateTime> {
    let end = clause.whens().map(|(_, w)| *w).find(|w| w.role == Role::Until && w.clock.is_some());
    if let Some(end) = end {
        return settle(&end, ctx.sent, ctx.zone).map(|end| end.at);
    }
    let range = |i: &&Item| i.when().is_some_and(|w| w.clock_latest.is_some());
    let to = |tag: &Tag| matches!(tag, Tag::To | Tag::Until);
    let joint = |n: usize| {
        clause.message.tokens[n].typed == "-" || clause.message.marks[n].iter().any(|(tag, _)| to(tag))
    };
    let closed = |i: &Item| (i.from..i.to).any(joint);
    from.latest.filter(|_| clause.items.iter().find(range).is_some_and(closed))
}

/// "out at 2, back in the fridge at 3": when it went back.
fn second_clock(clause: &Clause) -> Option<When> {
    let mut told = clause.whens().map(|(_, w)| *w).filter(|w| w.role == Role::At && w.clock.is_some());
    told.next().and(told.last())
}

/// A bare number is a label here, unless several are spoken of; one that was taken out may be how many.
fn containers(clause: &Clause, out: usize) -> Built<Refs> {
    let label = label_at(clause, out);
    let only: Vec<Item> = match label {
        // "dejé la 15 y la 16 fuera"
        Some(at) if matches!(clause.items[at].kind, Kind::Codes(_)) => {
            let row = |i: &&Item| matches!(i.kind, Kind::Codes(_)) || i.is_word() && i.has(Tag::And);
            clause.items[at..].iter().take_while(row).cloned().collect()
        }
        Some(at) => vec![clause.items[at].clone()],
        None => clause.items[..out].to_vec(),
    };
    if only.iter().any(|i| i.amount().is_some_and(|a| a.value >= AMOUNT)) {
        return Err(Doubt::Kind);
    }
    let taken = left(clause).is_some_and(|h| comes_back(clause, &h));
    let mut found = refs(clause, &only, if taken { Bare::Count } else { Bare::Label })?;
    if found.is_empty() && (is_it(clause, out) || clause.items[..out].iter().any(is_one_bottle)) {
        found.pick = Some(Pick::Last);
    }
    Ok(found)
}

/// From when on they were out, the earliest where that is open; `put`: when they were put somewhere after that.
fn since(clause: &Clause, ctx: &Context, put: Option<NaiveDateTime>) -> Option<Moment> {
    let lasting = clause.items.iter().find_map(|i| match i.kind {
        Kind::Lasting(minutes) => Some(minutes),
        _ => None,
    });
    let of =
        |role: Role| clause.whens().map(|(_, w)| *w).filter(|w| w.role == role && !w.now).reduce(When::and);
    if let Some(when) = of(Role::Since) {
        return settle(&when, ctx.sent, ctx.zone);
    }
    if let Some(minutes) = lasting {
        return Some(Moment { at: elapsed_before(put.unwrap_or(ctx.sent), minutes, ctx.zone), latest: None });
    }
    // "from 8 to 9 yesterday": the day stands apart.
    let from = of(Role::Names).filter(|w| w.clock.is_some() && clause.has_number());
    let when = of(Role::At).map(|at| from.map_or(at, |from| at.and(from))).or(from);
    if let Some(moment) = when.and_then(|w| settle(&w, ctx.sent, ctx.zone)) {
        return Some(moment);
    }
    let unknown = unknown_how_long(clause) || put.is_some() || clause.tells(Verb::Find);
    let early = When::part(Part::Earlier);
    unknown.then(|| settle(&early, ctx.sent, ctx.zone)).flatten()
}
