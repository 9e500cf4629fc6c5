//! Several feeds told at once: of each child, at each time, from each container.

use super::Context;
use super::children::{child_beside, children_joined};
use super::clause::Clause;
use super::drunk::{is_of, left_word};
use super::feed::{times, with_lists};
use super::item::{Amount, Item, Kind};
use super::pump::{Pour, entries, entry_moment};
use super::scene::{Built, act, timed, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use super::when::{Role, When};
use crate::domain::act::{Act, Code, Doubt, Kind as ActKind};
use crate::domain::volume::Volume;

/// A feed for each child ("A 80 B 95") or each clock time ("4oz at 9:10, 3oz at 12").
pub fn several_feeds(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Vec<Act>> {
    let unit = written_unit(&clause.items);
    let mut acts = Vec::new();
    let by_child: Vec<(Option<String>, &Pour)> =
        pours.iter().map(|p| (child_beside(clause, p.at), p)).collect();
    if pours.len() > 1 && by_child.iter().all(|(child, _)| child.is_some()) {
        for (child, pour) in by_child {
            let mut feed = act(ActKind::Feed, clause, ctx)?;
            (feed.child, feed.ml, feed.about) =
                (child, Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
            acts.push(feed);
        }
        return Ok(acts);
    }
    let joined = children_joined(clause);
    let mut each = with_lists(clause, pours.to_vec(), ctx);
    if let ([one], true) = (each.as_slice(), clause.any(&[Tag::Each, Tag::Both])) {
        each = vec![*one; joined.len().max(2)];
    }
    if joined.len() > 1 && !each.is_empty() {
        return of_each_child(joined, each, clause, ctx);
    }
    let untimed = entries(clause, pours).is_empty() && times(clause).len() < 2;
    // "had 3 bottles today: 90, 100, 80"
    let counted = |i: &Item| i.kind == Kind::Count(each.len() as u32) && i.any(&[Tag::Bottle, Tag::FeedNoun]);
    let often = super::pump::how_often(clause) == Some(each.len() as u32) || clause.items.iter().any(counted);
    let listed = untimed && (names_several(clause, Tag::FeedNoun) || often);
    if (clause.has(Tag::Twins) || listed || both_drank(clause))
        && each.len() > 1
        && clause.items.iter().all(|i| !i.any(&[Tag::Of, Tag::LeftOver]))
    {
        for pour in each {
            let mut feed = act(ActKind::Feed, clause, ctx)?;
            (feed.ml, feed.about) = (Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
            acts.push(feed);
        }
        return Ok(acts);
    }
    let labelled = each_label(clause, pours, ctx)?;
    if labelled.len() > 1 {
        return Ok(labelled);
    }
    if let Some(each) = from_each(clause, pours, ctx)? {
        return Ok(each);
    }
    let (left, drunk): (Vec<Pour>, Vec<Pour>) = pours.iter().partition(|p| left_word(clause, p.at));
    let bottles = each_bottle(clause, &drunk, ctx)?;
    if !bottles.is_empty() {
        return Ok(bottles);
    }
    for (when, pour) in timed_entries(clause, &drunk) {
        let mut feed = Act::new(ActKind::Feed);
        timed(&mut feed, entry_moment(clause, when, ctx), ctx);
        (feed.ml, feed.about) = (Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
        let next = drunk.iter().map(|p| p.at).find(|at| *at > pour.at).unwrap_or(usize::MAX);
        let own = left.iter().find(|l| pour.at < l.at && l.at < next);
        feed.left_ml = own.map(|l| volume(l.amount, unit.or(Some(ctx.units)), ctx)).transpose()?;
        acts.push(feed);
    }
    Ok(acts)
}

/// "otis and nell had 90 each", "otis and nell had 90 and 80". What of one amount was whose can't be told.
fn of_each_child(names: Vec<String>, each: Vec<Pour>, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    if names.len() != each.len() {
        return Err(Doubt::Amount);
    }
    let unit = written_unit(&clause.items);
    let made = names.into_iter().zip(each).map(|(child, pour)| {
        let mut feed = act(ActKind::Feed, clause, ctx)?;
        (feed.ml, feed.about) = (Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
        feed.child = Some(child);
        Ok(feed)
    });
    made.collect()
}

/// "both had 100 at 7".
fn both_drank(clause: &Clause) -> bool {
    let [both, verb, ..] = clause.items.as_slice() else { return false };
    let drank = [Verb::Have, Verb::Drink, Verb::Take, Verb::Finish];
    let done = |v: &Verb| verb.verbs().any(|(known, form)| known == *v && form == Form::Done);
    both.is_word() && both.has(Tag::Both) && drank.iter().any(done)
}

/// Clock times and amounts that belong together, also where the times stand joined before the amounts.
pub fn timed_entries(clause: &Clause, pours: &[Pour]) -> Vec<(When, Pour)> {
    let paired = entries(clause, pours);
    if paired.len() > 1 { paired } else { joined_times(clause, pours) }
}

/// "at 4am and 7am, 90 and 110": an amount for each of the times that are joined.
fn joined_times(clause: &Clause, pours: &[Pour]) -> Vec<(When, Pour)> {
    let times = times(clause);
    let clocks = clause.whens().filter(|(_, w)| w.clock.is_some()).count();
    let mut all = pours.to_vec();
    for (at, item) in clause.items.iter().enumerate() {
        if let Kind::List(numbers, false) = &item.kind {
            all.extend(numbers.iter().map(|n| Pour { at, amount: Amount::bare(f64::from(*n)) }));
        }
    }
    all.sort_by_key(|p| p.at);
    let sided = clause.any(&[Tag::LeftSide, Tag::RightSide, Tag::Total]);
    let paired = clocks == times.len() && all.len() == pours.len();
    if times.len() < 2 || paired || times.len() != all.len() || sided {
        return Vec::new();
    }
    times.into_iter().zip(all).collect()
}

/// "work pumps today were 4, 4 and 3.5", "feeds: 90, 100, 80": several, whatever was told of each.
pub fn names_several(clause: &Clause, noun: Tag) -> bool {
    let then = |i: &Item| i.is_word() && i.has(Tag::Be) || matches!(i.sign(), Some(':' | ','));
    let noun = clause.items.iter().position(|i| i.is_word() && i.has(noun) && i.has(Tag::Plural));
    noun.is_some_and(|at| {
        let next = |i: &Item| i.amount().is_some() || matches!(i.kind, Kind::List(..));
        let first = clause.items[at..].iter().position(next).map_or(at, |n| at + n);
        // "todays pumps 4.5, 3, 3.5 oz"
        let small = |i: &&Item| i.when().is_some_and(|w| w.clock.is_none());
        let row = clause.items[at + 1..].iter().skip_while(small);
        let amounts = row.map_while(|i| match &i.kind {
            Kind::Amount(_) => Some(1),
            Kind::List(all, false) if all.len() > 2 => Some(all.len()),
            Kind::Sign(',') => Some(0),
            _ => None,
        });
        clause.items[at..first].iter().any(then) || amounts.sum::<usize>() > 1
    }) && !clause.any(&[Tag::Total, Tag::LeftSide, Tag::RightSide])
}

/// "60 of 90 at 10, 80 of 90 at 1": what was drunk of each bottle. Where the times are not as many, nothing is sure.
fn each_bottle(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Vec<Act>> {
    let mut bottles: Vec<(Pour, Option<Pour>)> = Vec::new();
    for pour in pours {
        match bottles.last_mut() {
            Some((drunk, offered @ None)) if is_of(clause, drunk.at, pour.at) => *offered = Some(*pour),
            _ => bottles.push((*pour, None)),
        }
    }
    let drunk: Vec<Pour> = bottles.iter().map(|(drunk, _)| *drunk).collect();
    let offered = bottles.iter().filter(|(_, offered)| offered.is_some()).count();
    let each = offered > 0 && bottles.len() > 1 && entries(clause, &drunk).len() == bottles.len();
    if offered < 2 && !each {
        return Ok(vec![]);
    }
    let (times, clocks) =
        (entries(clause, &drunk), clause.whens().filter(|(_, w)| w.clock.is_some()).count());
    if times.is_empty() && clocks > 1 {
        return Err(Doubt::Amount);
    }
    let unit = written_unit(&clause.items);
    let made = bottles.into_iter().enumerate().map(|(n, (drunk, offered))| {
        let mut feed = act(ActKind::Feed, clause, ctx)?;
        if let Some((when, _)) = times.get(n) {
            timed(&mut feed, entry_moment(clause, *when, ctx), ctx);
        }
        (feed.ml, feed.about) = (Some(volume(drunk.amount, unit, ctx)?), drunk.amount.about);
        feed.offered_ml = offered.map(|o| volume(o.amount, unit, ctx)).transpose()?;
        Ok(feed)
    });
    made.collect()
}

/// "gave bag 61 at 4 and bag 62 at 7": each with its own time.
fn each_label(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Vec<Act>> {
    let told = |i: &Item| i.when().is_some_and(|w| w.clock.is_some() && w.role == super::when::Role::At);
    let label = |i: &Item| matches!(i.kind, Kind::Codes(_));
    let row: Vec<&Item> = clause.items.iter().filter(|i| told(i) || label(i)).collect();
    let paired =
        pours.is_empty() && row.len() > 2 && row.chunks(2).all(|p| p.len() == 2 && label(p[0]) && told(p[1]));
    let mut acts = Vec::new();
    for pair in row.chunks(2).filter(|_| paired) {
        let mut feed = act(ActKind::Feed, clause, ctx)?;
        if let (Kind::Codes(codes), Some(when)) = (&pair[0].kind, pair[1].when()) {
            feed.codes.clone_from(codes);
            timed(&mut feed, entry_moment(clause, *when, ctx), ctx);
        }
        acts.push(feed);
    }
    Ok(acts)
}

/// "60 from 15 and 40 from 13", "finished 15 and 20 ml of 13": a feed from each. An amount before them is their sum, or
/// nothing is sure.
fn from_each(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Option<Vec<Act>>> {
    let unit = written_unit(&clause.items);
    let taken: Vec<Option<Code>> = pours.iter().map(|p| source(clause, p)).collect();
    let known = taken.iter().flatten().count();
    let whole = |p: &Pour| p.amount.whole().filter(|n| *n < 60 && pours.len() == 2);
    let emptied = known == 1 && clause.tells_any(&[Verb::Finish, Verb::Use]);
    if known < 2 && !emptied {
        return Ok(None);
    }
    let (mut acts, mut sums) = (Vec::new(), Vec::new());
    for (pour, code) in pours.iter().zip(taken) {
        let mut feed = act(ActKind::Feed, clause, ctx)?;
        match (code, whole(pour)) {
            (Some(code), _) => {
                feed.codes = vec![code];
                (feed.ml, feed.about) = (Some(volume(pour.amount, unit, ctx)?), pour.amount.about);
            }
            (None, Some(label)) if emptied => feed.codes = vec![label],
            _ => {
                sums.push(volume(pour.amount, unit, ctx)?);
                continue;
            }
        }
        acts.push(feed);
    }
    let sum: Volume = acts.iter().filter_map(|a| a.ml).sum();
    let fits = sums.is_empty() || sums.len() == 1 && (sums[0].ml() - sum.ml()).abs() < 1.0;
    Ok((acts.len() > 1 && fits).then_some(acts))
}

/// "60 from 15": the label that an amount was taken from.
fn source(clause: &Clause, pour: &Pour) -> Option<Code> {
    let linked = |i: &Item| i.is_word() && i.any(&[Tag::From, Tag::Of]);
    let next = clause.items.get(pour.at + 1)?;
    let item = if linked(next) { clause.items.get(pour.at + 2)? } else { next };
    match &item.kind {
        Kind::Codes(codes) if codes.len() == 1 && (linked(next) || item.has(Tag::From)) => Some(codes[0]),
        _ => None,
    }
}

/// "gave 90 at 7, 10 and 1": bare hours after a clock time, which might be labels or amounts.
pub fn lists_hours(clause: &Clause) -> bool {
    let clock = |i: &Item| i.when().is_some_and(|w| w.role == Role::At && w.clock.is_some());
    let hours = |i: &Item| matches!(&i.kind, Kind::List(all, false) if all.iter().all(|n| *n <= 12));
    clause.items.windows(3).any(|p| clock(&p[0]) && p[1].sign() == Some(',') && hours(&p[2]))
}

/// "she left nursery at 4, had 120 there at 2": each time belongs to a verb of its own; that of the amount's verb.
pub fn told_between(clause: &Clause) -> Option<When> {
    let clock = |i: &Item| i.when().copied().filter(|w| w.role == Role::At && w.clock.is_some());
    let amount = clause.items.iter().position(|i| i.amount().is_some())?;
    let head = clause.heads.iter().rfind(|h| h.at < amount && h.form == Form::Done)?.at;
    let before = clause.items[..head].iter().any(|i| clock(i).is_some());
    // "left work at 1, …": something of its own, and not only another time
    let small = [Tag::At, Tag::About, Tag::AtMaybe, Tag::He, Tag::I, Tag::And, Tag::The, Tag::Bottle];
    let comma = clause.items[..head].iter().position(|i| i.sign() == Some(','));
    let told = |i: &Item| i.is_word() && !i.any(&small) || i.verbs().any(|(_, form)| form == Form::Done);
    let led = clause.items[..comma.unwrap_or(head)].iter().any(told) && comma.is_some();
    let own = clause.items[head..].iter().find_map(clock);
    own.filter(|_| before && led)
}

/// "had his 2 o'clock feed a bit early, 100 at quarter past 1": times with words and an amount between them are no row.
pub fn own_time(clause: &Clause) -> Option<When> {
    let clock = |i: &Item| i.when().copied().filter(|w| w.role == Role::At && w.clock.is_some());
    let first = clause.items.iter().position(|i| clock(i).is_some())?;
    let last = clause.items.iter().rposition(|i| clock(i).is_some())?;
    let between = &clause.items[first..last];
    let amount = between.iter().position(|i| i.amount().is_some());
    let noun = |i: &Item| i.is_word() && i.any(&[Tag::FeedNoun, Tag::Some]);
    let said = between[..amount.unwrap_or(between.len())].iter().any(noun);
    clock(&clause.items[last]).filter(|_| said)
}
