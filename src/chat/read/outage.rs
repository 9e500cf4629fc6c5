//! A fridge or freezer that lost its cold: the power failed or a door stood open. It takes the questions about it along. How the milk was
//! found afterwards is told by labels or places.

use chrono::NaiveDateTime;

use super::Context;
use super::clause::Clause;
use super::cut::segments;
use super::item::{Item, Kind, Message};
use super::moment::{elapsed_before, settle};
use super::mood::{Mood, is_question, of as mood_of};
use super::scene::{Bare, Built, act, refs, site, spots};
use super::senses::{Tag, Verb};
use super::when::{DayName, Role, When};
use crate::domain::act::{Act, Found, Kind as ActKind, Pick, RuleOn, Topic, What};
use crate::domain::place::Place;

/// The outage that a message tells of.
pub fn read(message: &Message, ctx: &Context) -> Option<Act> {
    let all = segments(message);
    let near = all.iter().find_map(cold_place);
    let (segment, kind) = all.iter().find_map(|s| kind(s, near).map(|k| (s, k)))?;
    if message.has(0, message.tokens.len(), Tag::BackOn) {
        return None;
    }
    let mut outage = Act::new(ActKind::Outage);
    outage.what = Some(kind);
    let lost = |s: &&Clause| self::kind(s, near) == Some(kind);
    outage.place = all.iter().filter(lost).find_map(cold_place).or(near.filter(|_| kind == What::Door));
    outage.site = site(segment);
    outage.since = since(&all, ctx).filter(|_| !dates_finding(&all, segment));
    outage.at = Some(ctx.sent);
    Some(outage)
}

/// "Found the freezer door open at 6", "when I came down this morning, the door was standing open": when it was found, and
/// since when it stood open nobody knows.
fn dates_finding(all: &[Clause], segment: &Clause) -> bool {
    let since = |w: &When| w.role == Role::Since || w.ago.is_some();
    let dated = |s: &Clause| s.whens().any(|(_, w)| !w.now);
    let told = all.iter().any(|s| s.whens().any(|(_, w)| since(w)));
    let lasts = all.iter().flat_map(|s| &s.items).any(|i| matches!(i.kind, Kind::Lasting(_)));
    let elsewhere = !dated(segment) && all.iter().any(|s| dated(s) && s.bare(Tag::When).is_some());
    !told && !lasts && (segment.tells(Verb::Find) || elsewhere)
}

/// "Power's back": what to look for now is what the rules say of it.
pub fn restored(message: &Message) -> Option<Act> {
    let all = segments(message);
    let told = |s: &Clause| s.bare(Tag::Restored).is_some() && mood_of(s) == Mood::Told;
    let short = message.items.len() <= 10 && message.items.iter().filter(|i| i.unknown).count() <= 1;
    let mut ask = Act::ask(Topic::Rule);
    ask.rule = Some(RuleOn::Outage);
    (short && all.iter().any(told)).then_some(ask)
}

/// "It was only 20 minutes", alone or with the power back: how long the cold was lost, now that it is over.
pub fn over(message: &Message) -> Option<Act> {
    let mut lasting = message.items.iter().filter_map(|i| match i.kind {
        Kind::Lasting(minutes) => Some(minutes),
        _ => None,
    });
    let minutes = lasting.next().filter(|_| lasting.next().is_none())?;
    let plain = message.items.iter().all(|i| {
        !i.unknown && i.place().is_none() && matches!(i.kind, Kind::Word | Kind::Sign(_) | Kind::Lasting(_))
    });
    let all = segments(message);
    let short = all.iter().any(|s| s.has(Tag::Just)) && all.iter().any(|s| s.has(Tag::Be) || s.has(Tag::It));
    let back = all.iter().any(|s| s.bare(Tag::Restored).is_some() && mood_of(s) == Mood::Told);
    let told = !all.iter().any(is_question) && message.items.len() <= 10;
    let mut outage = Act::new(ActKind::Outage);
    outage.minutes = Some(minutes.round() as u32);
    (plain && told && (short || back)).then_some(outage)
}

fn cold_place(segment: &Clause) -> Option<Place> {
    segment
        .items
        .iter()
        .filter(|i| !i.has(Tag::Frozen))
        .filter_map(|i| i.place())
        .find(|p| matches!(p, Place::Fridge | Place::Freezer | Place::DeepFreezer))
}

fn kind(segment: &Clause, near: Option<Place>) -> Option<What> {
    let mood = mood_of(segment);
    let lasts = |i: &Item| matches!(i.kind, Kind::Lasting(_)) || i.when().is_some_and(is_recent);
    // "we had a power cut from 1pm" is no old story.
    let recent = segment.bare(Tag::Outage).is_some() && segment.items.iter().any(lasts);
    if segment.has(Tag::LongAgo) || names_year(segment) {
        return None;
    }
    let told = matches!(mood, Mood::Told | Mood::Negated)
        || mood == Mood::OtherSubject && (has_doer(segment) || recent);
    let fact = told && !is_question(segment);
    // "alguien dejó el refri abierto": whoever it was, it stood open
    let who = segment.has(Tag::Who) && segment.heads.iter().any(|h| h.verb == Verb::Open);
    if !fact && !who {
        return None;
    }
    if is_theirs(segment) {
        return None;
    }
    let denied = |tag: Tag| {
        let at = segment.bare(tag);
        let no = segment.bare(Tag::Negative).filter(|no| !answers_no(segment, *no));
        no.zip(at).is_some_and(|(no, at)| no < at && !covered(segment, no, tag))
    };
    let cold = cold_place(segment).is_some();
    let door = cold || near.is_some() && segment.has(Tag::Door);
    let containers =
        segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::Count(_) | Kind::Multi(..)));
    let open = segment.heads.iter().find(|h| h.verb == Verb::Open);
    match () {
        () if segment.bare(Tag::Outage).is_some()
            && !is_over(segment)
            && !denied(Tag::Outage)
            && !is_things(segment) =>
        {
            Some(What::Power)
        }
        () if door
            && open.is_some_and(|h| !is_opening(segment, h.at))
            && !containers
            && !negated_open(segment) =>
        {
            Some(What::Door)
        }
        () if cold
            && segment.bare(Tag::Broke).is_some()
            && !denied(Tag::Broke)
            && !containers
            && !segment.has_amount() =>
        {
            Some(What::Power)
        }
        () => None,
    }
}

/// A clock time, or today or yesterday or a part of them.
fn is_recent(when: &When) -> bool {
    when.clock.is_some()
        || when.ago.is_some()
        || matches!(when.day, Some(DayName::Back(0 | 1)))
        || when.day.is_none() && when.part.is_some()
}

/// "we had no power back in 2019": a year, and no clock time.
fn names_year(segment: &Clause) -> bool {
    let (from, to) = segment.spans[0];
    let year = |at: &usize| {
        let typed = &segment.message.tokens[*at].typed;
        typed.len() == 4 && typed.parse::<u32>().is_ok_and(|year| (1980..2060).contains(&year))
    };
    let led = |at: usize| at > from && segment.message.has(at - 1, at, Tag::In);
    (from..to).filter(year).any(led)
}

/// "no the power was out since 1": the answer, and nothing denied.
fn answers_no(segment: &Clause, at: usize) -> bool {
    let word = |n: usize, tags: &[Tag]| segment.message.marks[n].iter().any(|(tag, _)| tags.contains(tag));
    let small = segment.items.iter().take_while(|i| i.from < at).all(|i| i.verbs().next().is_none());
    let led = at + 1 < segment.spans[0].1 && word(at + 1, &[Tag::The, Tag::It, Tag::This]);
    small && at < segment.spans[0].0 + 3 && word(at, &[Tag::No]) && led
}

/// "the cleaner left the freezer open": who did it is no other subject.
fn has_doer(segment: &Clause) -> bool {
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::The, Tag::Article]));
    let mut items = segment.items.iter().filter(small);
    let other = items.next().is_some_and(|i| segment.bare(Tag::OtherThing) == Some(i.from));
    other && items.next().is_some_and(|i| i.verbs().next().is_some())
}

/// "my cousin's freezer died": none of ours.
fn is_theirs(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::OtherPerson) else { return false };
    let near = segment.items.iter().filter(|i| i.from > at).take(4);
    let owns = segment.message.tokens[at..segment.spans[0].1].iter().take(3).any(|t| t.typed.ends_with('s'));
    owns && near.into_iter().any(|i| i.place().is_some() || segment.bare(Tag::Outage) == Some(i.from))
}

/// "my cousin's freezer died and she lost 200 oz": all of it is theirs.
pub fn is_broken_elsewhere(segment: &Clause) -> bool {
    is_theirs(segment) && (segment.bare(Tag::Broke).is_some() || segment.bare(Tag::Outage).is_some())
}

/// "my phone had no power": nothing that keeps milk.
fn is_things(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::Outage) else { return false };
    let mut before = segment.items.iter().take_while(|i| i.from < at);
    let marked = |i: &Item, tag: Tag| segment.message.marks[i.from].iter().any(|(t, _)| *t == tag);
    let had = |i: &Item| i.is_word() && (i.has(Tag::Be) || i.is(Verb::Have) || marked(i, Tag::Looks));
    let small = |i: &Item| i.is_word() && i.any(&[Tag::The, Tag::Article]) || had(i);
    let other = |i: &Item| marked(i, Tag::OtherThing);
    before.clone().any(other) && before.clone().any(had) && before.all(|i| small(i) || other(i))
}

/// "opened the freezer": what somebody did, and not how the door stood.
fn is_opening(segment: &Clause, at: usize) -> bool {
    // "dejaron abierto el congelador"
    if at > 0 && segment.items[at - 1].is(Verb::Leave) {
        return false;
    }
    let [verb, the, place, ..] = &segment.items[at..] else { return false };
    verb.to - verb.from == 1 && the.is_word() && the.any(&[Tag::The, Tag::Article]) && place.place().is_some()
}

/// "after the blackout": it is past.
fn is_over(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::Outage) else { return false };
    let before = segment.items.iter().take_while(|i| i.from < at).collect::<Vec<_>>();
    let small = |i: &&&Item| !(i.is_word() && i.any(&[Tag::The, Tag::Article, Tag::Of, Tag::This]));
    let after = |i: &&Item| i.is_word() && i.any(&[Tag::Before, Tag::Past, Tag::Then]);
    before.iter().rev().find(small).is_some_and(after) || before.first().is_some_and(after)
}

fn negated_open(segment: &Clause) -> bool {
    let Some(open) = segment.heads.iter().find(|h| h.verb == Verb::Open) else { return false };
    let item = &segment.items[open.at];
    segment.bare(Tag::Negative).is_some_and(|no| no < item.from)
}

/// Whether a negation is part of the phrase itself ("no power").
fn covered(segment: &Clause, at: usize, tag: Tag) -> bool {
    segment.message.marks[at].iter().any(|(t, length)| *t == tag && *length > 1)
}

/// Since when: a time or part of a day, or so long ago; of a vague time the early end.
fn since(all: &[Clause], ctx: &Context) -> Option<NaiveDateTime> {
    let told = all.iter().filter(|s| !is_question(s) || !s.first);
    let items = told.flat_map(|s| s.items.iter());
    let whens = items
        .clone()
        .filter_map(|i| i.when().copied())
        .filter(|w| matches!(w.role, Role::At | Role::Since | Role::Names) && !w.now);
    let when = whens.reduce(When::and);
    if let Some(moment) = when.and_then(|w| settle(&w, ctx.sent, ctx.zone)) {
        return Some(moment.at);
    }
    items
        .filter_map(|i| match i.kind {
            Kind::Lasting(minutes) => Some(elapsed_before(ctx.sent, minutes, ctx.zone)),
            _ => None,
        })
        .next()
}

/// How milk was found after an outage: "all hard", "12 is icy", "14 soft but cold".
pub fn check(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut all = Vec::new();
    for part in each_state(clause) {
        all.extend(found(&part, ctx)?);
    }
    Ok(all)
}

/// "20 and 21 are hard and 22 is soft": a part for each state, cut where the next containers are named.
fn each_state<'m>(clause: &Clause<'m>) -> Vec<Clause<'m>> {
    let state = |i: &Item| {
        let marked = |tag: &Tag| clause.message.marks[i.from].iter().any(|(t, _)| t == tag);
        [Tag::Icy, Tag::Liquid, Tag::Hard, Tag::Lukewarm, Tag::Cold].into_iter().find(marked)
    };
    let all = |i: &Item| i.is_word() && i.any(&[Tag::All, Tag::Rest]);
    let named = |i: &Item| all(i) || !i.is_word() && i.sign().is_none() && i.when().is_none();
    let (mut cuts, mut last, mut told) = (vec![0], None, true);
    for (at, item) in clause.items.iter().enumerate() {
        let next = clause.items[at..].iter().find_map(state);
        if named(item) && last.is_some() && told && next.is_some() && next != last {
            (last, told) = (None, false);
            cuts.push(at);
        } else if let Some(found) = state(item) {
            (last, told) = (last.or(Some(found)), true);
        }
    }
    if cuts.len() < 2 {
        return vec![clause.clone()];
    }
    let ends = cuts.iter().skip(1).copied().chain([clause.items.len()]);
    cuts.iter()
        .zip(ends)
        .map(|(from, to)| Clause::of(clause.message, &clause.items[*from..to], false, false))
        .collect()
}

/// "5 still cold", "12 feels warm", "43 44 cold": numbers that nothing else follows.
fn opens_with_labels(clause: &Clause) -> bool {
    let label = |i: &Item| i.amount().and_then(|a| a.whole()).is_some_and(|n| n < 60);
    let states = [Tag::Cold, Tag::Lukewarm, Tag::Hard, Tag::Icy, Tag::Liquid];
    let small = |i: &Item| {
        let marks = &clause.message.marks[i.from];
        let feels = marks.iter().any(|(tag, _)| *tag == Tag::Feels || states.contains(tag));
        feels || i.is_word() && i.any(&[Tag::Be, Tag::And, Tag::Filler, Tag::But, Tag::About])
    };
    let rest = clause.items.iter().skip_while(|i| label(i) || i.is_word() && i.has(Tag::And));
    clause.items.first().is_some_and(label)
        && clause.items.len() <= 8
        && rest.into_iter().all(|i| small(i) || i.sign() == Some(','))
        && clause.bare(Tag::Feels).is_some()
}

/// "fridge milk is still cold", "the fridge is still cold": all that lies there.
fn still_cold(clause: &Clause) -> bool {
    let still = clause.bare(Tag::Cold).is_some_and(|at| {
        let long = clause.message.marks[at].iter().any(|(tag, long)| *tag == Tag::Cold && *long > 1);
        let kept = |i: &Item| matches!(i.place(), Some(Place::Fridge | Place::Cooler)) && i.to <= at;
        long && clause.items.iter().any(kept)
    });
    let known = clause.items.iter().all(|i| !i.unknown && i.is_word());
    still && known && clause.items.len() <= 6 && mood_of(clause) == Mood::Told
}

fn found(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let mut check = act(ActKind::Check, clause, ctx)?;
    let mut found = refs(clause, &clause.items, Bare::Label)?;
    if found.pick == Some(Pick::Last) && !clause.any(&[Tag::Container, Tag::Bottle]) {
        found.pick = None;
    }
    if found.is_empty() && (super::pouring::names_all(clause) || still_cold(clause)) {
        found.pick = Some(Pick::All);
    }
    check.found = match () {
        () if clause.bare(Tag::Icy).is_some() => Some(Found::Icy),
        () if clause.bare(Tag::Liquid).is_some() => Some(Found::Liquid),
        () if clause.bare(Tag::Hard).is_some() => Some(Found::Hard),
        () => None,
    };
    if found.is_empty() || check.found.is_none() && !clause.any(&[Tag::Cold, Tag::Lukewarm]) {
        return Ok(vec![]);
    }
    found.put(&mut check);
    check.cold = clause.has(Tag::Cold) && !clause.has(Tag::Lukewarm);
    check.place = spots(clause).iter().rfind(|s| !clause.items[s.at].has(Tag::Frozen)).map(|s| s.place);
    Ok(vec![check])
}

/// Whether somebody tells how containers were found.
pub fn is_check(clause: &Clause) -> bool {
    let state = [Tag::Hard, Tag::Icy, Tag::Liquid].iter().any(|t| clause.bare(*t).is_some());
    let named = clause.items.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_))
            || i.amount().is_some_and(|a| a.unit.is_none())
            || (i.is_word() && i.any(&[Tag::All, Tag::Rest, Tag::Oldest]))
    }) || super::pouring::names_all(clause);
    let cold = clause.bare(Tag::Cold).or(clause.bare(Tag::Lukewarm)).is_some();
    let felt = clause.bare(Tag::Feels).is_some();
    let cold = cold && (felt || clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::Be, Tag::Cold])));
    let listed = |i: &Item| {
        matches!(i.kind, Kind::Codes(_) | Kind::Count(_) | Kind::List(..)) || i.is_word() && i.has(Tag::All)
    };
    let cold = cold && (clause.items.iter().any(listed) || opens_with_labels(clause));
    let lies = still_cold(clause);
    ((state || cold) && named || lies)
        && site(clause).is_none()
        && clause.items.iter().all(|i| !i.unknown)
        && clause.heads.iter().all(|h| matches!(h.verb, Verb::Thaw | Verb::Freeze | Verb::Have | Verb::Get))
        && clause.items.len() <= 12
}
