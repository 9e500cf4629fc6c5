//! Sessions: how much was expressed, from which side, into which containers, and when.

use super::Context;
use super::clause::Clause;
use super::item::{Amount, Item, Kind};
pub use super::pours::{Pour, is_mark_or_age, pours};
use super::scene::{Built, Spot, joined_by_or, moment, place, spots, timed, volume, written_unit};
use super::senses::{Tag, Verb};
use super::sides::{sides, with_sides};
use super::when::{Role, When};
use crate::domain::act::{Act, Code, Doubt, Kind as ActKind, Part};
use crate::domain::place::Place;
use crate::domain::volume::{Unit, Volume};

/// The session or sessions that a clause tells.
pub fn pump(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    place(clause)?;
    if clause.items.iter().any(|i| matches!(&i.kind, Kind::List(all, true) if all.iter().all(|n| *n >= 15))) {
        return Err(Doubt::Amount);
    }
    if let Some(acts) = super::stays::put_away_later(clause, ctx)? {
        return Ok(acts);
    }
    let strong = clause.tells_any(&[Verb::Pump, Verb::Get]);
    let pours = pours(clause, strong);
    doubtful_pair(clause, &pours)?;
    // "moved 18 to the fridge": a label, most likely
    let only = matches!(pours.as_slice(), [one] if one.amount.unit.is_none() && one.amount.value < 60.0 && !one.amount.about);
    if only && ctx.units == Unit::Ml && clause.tells(Verb::Move) && !strong {
        return Err(Doubt::Kind);
    }
    if let Some(acts) = sessions(clause, &pours, ctx)? {
        return Ok(acts);
    }
    let mut act = Act::new(ActKind::Pump);
    timed(&mut act, moment(&clause.items, ctx, true)?, ctx);
    act.about = pours.iter().any(|p| p.amount.about);
    match sides(clause, &pours, ctx)? {
        Some(sides) => with_sides(&mut act, sides, clause),
        None => with_amounts(&mut act, clause, &pours, ctx)?,
    }
    lost(&mut act, clause, &pours, ctx)?;
    act.site = super::scene::site(clause);
    let one = pours.len() == 1 && act.ml.is_some();
    Ok(if one { super::feed::at_each_time(vec![act], clause, ctx) } else { vec![act] })
}

/// "80 or 100": only one can be right.
pub fn doubtful_pair(clause: &Clause, pours: &[Pour]) -> Built<()> {
    let ranged = clause.items.windows(2).any(|pair| {
        let many = pours.len() == 2 || matches!(pair[1].kind, Kind::List(..));
        pair[0].has(Tag::Between) && many && !pair[1].is_word()
    });
    let guesses = pours.windows(2).any(|p| {
        p[0].amount.about
            && p[1].amount.about
            && clause.items.get(p[0].at + 1).is_some_and(|i| i.sign() == Some(','))
            && p[1].at <= p[0].at + 3
    }) && pours.len() == 2;
    if ranged || guesses {
        return Err(Doubt::Amount);
    }
    let dash = |p: &[Pour]| {
        p[1].at == p[0].at + 2
            && clause.items[p[0].at + 1].sign() == Some('-')
            && p[0].amount.value < p[1].amount.value
            && p[0].amount.unit.is_none()
    };
    if pours.len() == 2 && pours.windows(2).any(dash) {
        return Err(Doubt::Amount);
    }
    let doubt = pours.windows(2).any(|pair| joined_by_or(clause, pair[0].at, pair[1].at));
    // "took 70 or 80 PO": also where a word after the second is unknown
    let or = |n: usize| clause.items.get(n).is_some_and(|i| i.is_word() && i.has(Tag::OrOnly));
    let another = |p: &Pour| or(p.at + 1) && clause.items.get(p.at + 2).is_some_and(|i| i.amount().is_some());
    let doubt = doubt || pours.iter().any(another);
    if doubt { Err(Doubt::Amount) } else { Ok(()) }
}

/// Several sessions, each with its clock time: "9:15 - 4oz, 12:30 - 3.5".
fn sessions(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Option<Vec<Act>>> {
    let timed_pours = super::several::timed_entries(clause, pours);
    if timed_pours.len() < 2 {
        return repeated(clause, pours, ctx);
    }
    let (unit, spots) = (written_unit(&clause.items), spots(clause));
    let mut acts = Vec::new();
    for (n, (when, pour)) in timed_pours.iter().enumerate() {
        let mut act = Act::new(ActKind::Pump);
        timed(&mut act, entry_moment(clause, *when, ctx), ctx);
        let ml = volume(pour.amount, unit, ctx)?;
        let spot = if spots.len() == timed_pours.len() { spots.get(n) } else { spots.last() };
        act.about = pour.amount.about;
        act.ml = Some(ml);
        act.parts = spot.map(|s| vec![part(ml, Some(s), None)]);
        acts.push(act);
    }
    Ok(Some(acts))
}

/// So many times, "3x today".
pub fn how_often(clause: &Clause) -> Option<u32> {
    let items = &clause.items;
    items.iter().enumerate().find_map(|(at, i)| {
        let word = items.get(at + 1).is_some_and(|n| n.is_word() && n.any(&[Tag::Repeat, Tag::Times]));
        i.amount().filter(|_| word).and_then(|a| a.whole()).filter(|n| *n <= 12)
    })
}

/// "3 times today: 90, 100 and 80": a session for each amount.
fn one_each(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Option<Vec<Act>>> {
    let mut amounts: Vec<(usize, Amount)> = pours.iter().map(|p| (p.at, p.amount)).collect();
    for (at, item) in clause.items.iter().enumerate() {
        if let Kind::List(numbers, false) = &item.kind {
            amounts.extend(numbers.iter().map(|n| (at, Amount::bare(f64::from(*n)))));
        }
    }
    amounts.sort_by_key(|(at, _)| *at);
    if amounts.len() < 2
        || entries(clause, pours).len() > 1
        || how_often(clause) != Some(amounts.len() as u32)
            && !super::several::names_several(clause, Tag::Session)
    {
        return Ok(None);
    }
    let (unit, day, spots) = (written_unit(&clause.items), moment(&clause.items, ctx, true)?, spots(clause));
    let mut acts = Vec::new();
    for (_, amount) in amounts {
        let mut act = Act::new(ActKind::Pump);
        timed(&mut act, day, ctx);
        let ml = volume(amount, unit, ctx)?;
        (act.ml, act.about) = (Some(ml), amount.about);
        act.parts = spots.last().map(|s| vec![part(ml, Some(s), None)]);
        acts.push(act);
    }
    Ok(Some(acts))
}

/// "at 10:30 and 2, 4oz each", "2x today, 90 each": sessions of one amount.
fn repeated(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Option<Vec<Act>>> {
    if let Some(acts) = one_each(clause, pours, ctx)? {
        return Ok(Some(acts));
    }
    // "entre las dos y las tres" is a time
    let both = clause.items.iter().any(|i| i.when().is_none() && clause.message.has(i.from, i.to, Tag::Both));
    let ([pour], true) = (pours, both) else { return Ok(None) };
    let items = &clause.items;
    let pair = |w: &When| w.clock.zip(w.clock_latest).map(|(a, b)| vec![When::clock(a), When::clock(b)]);
    let told = super::feed::times(clause);
    let clocks = if told.len() > 1 { Some(told) } else { clause.whens().find_map(|(_, w)| pair(w)) };
    let times = how_often(clause);
    let whens: Vec<Option<When>> = match (clocks, times) {
        (Some(clocks), _) => clocks.into_iter().map(Some).collect(),
        (None, Some(times)) => vec![None; times as usize],
        (None, None) => return Ok(None),
    };
    let ml = volume(pour.amount, written_unit(items), ctx)?;
    let spots = spots(clause);
    let day = moment(items, ctx, true)?;
    let made = whens.into_iter().map(|when| {
        let mut act = Act::new(ActKind::Pump);
        timed(&mut act, when.map_or(day, |w| entry_moment(clause, w, ctx)), ctx);
        act.ml = Some(ml);
        act.parts = spots.last().map(|s| vec![part(ml, Some(s), None)]);
        act
    });
    Ok(Some(made.collect()))
}

/// Clock times and amounts that belong together, one after the other.
pub fn entries(clause: &Clause, pours: &[Pour]) -> Vec<(When, Pour)> {
    let clocks: Vec<When> = clause
        .whens()
        .filter(|(_, w)| w.role == Role::At && (w.clock.is_some() || w.ago.is_some()))
        .map(|(_, w)| *w)
        .collect();
    // "ayer en la mañana 105 y en la noche 90"
    let part = |(_, w): &(usize, &When)| w.role == Role::At && w.part.is_some();
    let parts = || clause.whens().filter(part).map(|(_, w)| *w).collect();
    let clocks: Vec<When> = if clocks.is_empty() { parts() } else { clocks };
    // "fed 90 in the morning and 100 at noon"
    let told = |(_, w): &(usize, &When)| w.role == Role::At && (w.clock.is_some() || w.part.is_some());
    let mixed: Vec<When> = clause.whens().filter(told).map(|(_, w)| *w).collect();
    let clocks = if clocks.len() < pours.len() && mixed.len() == pours.len() { mixed } else { clocks };
    if clocks.len() < 2 || clocks.len() != pours.len() {
        return Vec::new();
    }
    clocks.into_iter().zip(pours.iter().copied()).collect()
}

/// The clock time of one entry on the day that the clause names.
pub fn entry_moment(clause: &Clause, when: When, ctx: &Context) -> Option<super::moment::Moment> {
    let day = clause
        .whens()
        .map(|(_, w)| w)
        .find(|w| w.clock.is_none() && w.ago.is_none() && matches!(w.role, Role::At | Role::Names));
    let named = clause.whens().map(|(_, w)| w).find(|w| w.day.is_some() && w.part.is_some());
    // "this morning" has its own day
    let open = when.part.is_some_and(super::senses::Part::is_of_any_day);
    let named = named.filter(|_| open);
    let whole = match (when.day, when.part) {
        (None, None) => day.map_or(when, |d| when.and(*d)),
        (None, Some(_)) => named.map_or(when, |d| When { day: d.day, ..when }),
        _ => when,
    };
    super::moment::settle(&whole, ctx.sent, ctx.zone)
}

pub fn part(ml: Volume, spot: Option<&Spot>, code: Option<Code>) -> Part {
    Part { ml: Some(ml), place: spot.map(|s| s.place), site: spot.and_then(|s| s.site.clone()), code }
}

/// The labels that a clause names.
pub fn codes(clause: &Clause) -> Vec<Code> {
    clause
        .items
        .iter()
        .filter_map(|i| match &i.kind {
            Kind::Codes(codes) => Some(codes.clone()),
            _ => None,
        })
        .flatten()
        .collect()
}

/// The whole of a session and the containers it went into.
fn with_amounts(act: &mut Act, clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<()> {
    let unit = written_unit(&clause.items);
    let mut amounts = Vec::new();
    for pour in pours {
        amounts.push(volume(pour.amount, unit, ctx)?);
    }
    let mut several = Vec::new();
    for item in &clause.items {
        match &item.kind {
            Kind::Multi(count, each) => several.extend(vec![volume(*each, unit, ctx)?; *count as usize]),
            Kind::List(numbers, false) => {
                for n in numbers {
                    several.push(volume(Amount::bare(f64::from(*n)), unit, ctx)?);
                }
            }
            _ => {}
        }
    }
    let division = divide(clause, &amounts, several);
    act.ml = division.total;
    let spots = spots(clause);
    let codes = codes(clause);
    // "bags 70-74, 150 each"
    let mut division = division;
    if let ([each], true) = (division.parts.as_slice(), codes.len() > 1 && clause.has(Tag::Both)) {
        division.parts = vec![*each; codes.len()];
        division.total = Some(division.parts.iter().copied().sum());
        act.ml = division.total;
    }
    if division.parts.len() > 1 || !spots.is_empty() || !codes.is_empty() {
        let many = division.parts.len();
        let made = division.parts.iter().enumerate().map(|(n, ml)| {
            let spot =
                spot_for(&spots, n, many, clause, pours).filter(|_| !is_set_apart(clause, pours, n, many));
            part(*ml, spot, codes.get(n).copied())
        });
        act.parts = Some(made.collect()).filter(|parts: &Vec<Part>| !parts.is_empty() || act.ml.is_some());
    }
    // "pumped but didn't measure, it's in the fridge"
    let counted = clause.items.iter().any(|i| matches!(i.kind, Kind::Count(_) | Kind::List(..)));
    if act.ml.is_none() && act.parts.is_none() && !counted && codes.len() < 2 {
        let spot = spots.last();
        act.parts =
            spot.map(|s| vec![Part { ml: None, ..part(Volume::ZERO, Some(s), codes.first().copied()) }]);
    }
    Ok(())
}

struct Division {
    total: Option<Volume>,
    parts: Vec<Volume>,
}

/// Which of the amounts is the whole, and which are its parts.
fn divide(clause: &Clause, amounts: &[Volume], several: Vec<Volume>) -> Division {
    let sum = |all: &[Volume]| all.iter().copied().sum::<Volume>();
    let near = |a: Volume, b: Volume| (a.ml() - b.ml()).abs() < 1.0;
    if !several.is_empty() {
        let listed: Volume = sum(&several);
        return match amounts {
            [] => together_or_apart(clause, several),
            [total] if near(*total, listed) || total.ml() > listed.ml() => whole_and(*total, several, clause),
            more => Division {
                total: Some(listed + sum(more)),
                parts: several.into_iter().chain(more.iter().copied()).collect(),
            },
        };
    }
    match amounts {
        [] => Division { total: None, parts: vec![] },
        [one] if clause.head(Verb::Split).is_some() && clause.has(Tag::Half) || clause.has(Tag::HalfHalf) => {
            let half = Volume::from_microlitres(one.microlitres() / 2);
            Division { total: Some(*one), parts: vec![half, *one - half] }
        }
        [one] if equal_parts(clause) > 1 => {
            let many = i64::from(equal_parts(clause));
            let share = Volume::from_microlitres(one.microlitres() / many);
            let last = one.less(Volume::from_microlitres(share.microlitres() * (many - 1)));
            Division { total: Some(*one), parts: (1..many).map(|_| share).chain([last]).collect() }
        }
        [one] => Division { total: Some(*one), parts: vec![*one] },
        // "6 at work, 3 in each bottle"
        [total, each] if clause.has(Tag::Each) && shares(*total, *each) > 1 => {
            Division { total: Some(*total), parts: vec![*each; shares(*total, *each)] }
        }
        // "80 + 65, two bottles"
        both if both.len() > 1 && counted(clause) == both.len() => {
            Division { total: Some(sum(both)), parts: both.to_vec() }
        }
        [total, rest @ ..]
            if clause.has(Tag::Rest) || (near(*total, sum(rest)) && whole_first(clause, rest.len())) =>
        {
            whole_and(*total, rest.to_vec(), clause)
        }
        [parts @ .., total] if near(*total, sum(parts)) && whole_first(clause, parts.len()) => {
            whole_and(*total, parts.to_vec(), clause)
        }
        more => together_or_apart(clause, more.to_vec()),
    }
}

/// How many equal parts make up the whole; none where they don't.
fn shares(total: Volume, each: Volume) -> usize {
    let many = (total.ml() / each.ml().max(1.0)).round();
    let fits = (total.ml() - many * each.ml()).abs() < 1.0 && (2.0..=12.0).contains(&many);
    if fits { many as usize } else { 0 }
}

/// So many containers.
fn counted(clause: &Clause) -> usize {
    let count = |i: &Item| match i.kind {
        Kind::Count(n) => Some(n as usize),
        _ => None,
    };
    clause.items.iter().find_map(count).unwrap_or(0)
}

/// Two equal amounts are a whole and its only part just where the words say so.
fn whole_first(clause: &Clause, parts: usize) -> bool {
    parts > 1 || clause.has(Tag::Total) || clause.head(Verb::Split).is_some()
}

/// "240 in 3 bags", "half in the fridge, half in the freezer".
pub fn equal_parts(clause: &Clause) -> u32 {
    let halves = clause.items.iter().filter(|i| i.is_word() && i.has(Tag::Half)).count();
    let bags = clause.items.iter().find_map(|i| match i.kind {
        Kind::Count(n) if (2..=20).contains(&n) => Some(n),
        _ => None,
    });
    bags.unwrap_or(if halves == 2 { 2 } else { 1 })
}

/// The whole, its named parts, and the rest of it as one more part.
fn whole_and(total: Volume, mut parts: Vec<Volume>, clause: &Clause) -> Division {
    let rest = total.less(parts.iter().copied().sum());
    if rest.ml() >= 1.0 && clause.has(Tag::Rest) {
        parts.push(rest);
    } else if rest.ml() >= 1.0 {
        parts = vec![total];
    }
    Division { total: Some(total), parts }
}

/// Two amounts are two containers if the words say so ("both", "each", bags, two places), else one of their sum.
fn together_or_apart(clause: &Clause, amounts: Vec<Volume>) -> Division {
    let total: Volume = amounts.iter().copied().sum();
    let multi = clause.items.iter().any(|i| matches!(i.kind, Kind::Multi(..)));
    let apart = multi
        || clause.any(&[Tag::Both, Tag::Container, Tag::All]) && !clause.has(Tag::Together)
        || clause.head(Verb::Split).is_some()
        || spots(clause).len() == amounts.len();
    Division { total: Some(total), parts: if apart { amounts } else { vec![total] } }
}

/// The place of the n-th part: its own where each has one, the nearest after its amount, else the last named.
fn spot_for<'a>(
    spots: &'a [Spot],
    n: usize,
    many: usize,
    clause: &Clause,
    pours: &[Pour],
) -> Option<&'a Spot> {
    if spots.len() == many {
        return spots.get(n);
    }
    if many == 1 {
        let kept = pours.last().map_or(0, |p| p.at);
        let corrected = spots.iter().find(|s| s.at > kept).filter(|s| !is_stopover(clause, s, spots));
        return if clause.tells_any(&[Verb::Move, Verb::Put]) {
            spots.last()
        } else {
            corrected.or(spots.last())
        };
    }
    spots.last()
}

/// "100 total, 60 for tonight, 40 to the freezer": a share that is for something goes where nobody has said.
fn is_set_apart(clause: &Clause, pours: &[Pour], n: usize, many: usize) -> bool {
    let shares = pours.len().checked_sub(many).map_or(pours, |skip| &pours[skip..]);
    let (Some(own), Some(next)) = (shares.get(n), shares.get(n + 1)) else { return false };
    clause.items[own.at + 1..next.at].iter().any(|i| i.when().is_some_and(|w| w.role == Role::Purpose))
}

/// "at my desk just now, in the work fridge": where it was expressed, before where it is.
fn is_stopover(clause: &Clause, spot: &Spot, spots: &[Spot]) -> bool {
    let led = clause.items[..spot.at].iter().rev().take(3).any(|i| i.is_word() && i.has(Tag::At));
    let lasts = clause
        .items
        .iter()
        .any(|i| matches!(i.kind, Kind::Lasting(_)) || i.when().is_some_and(|w| w.role == Role::Since));
    let later = spots.iter().filter(|s| s.at > spot.at && s.place != Place::Room).any(|s| {
        let between = &clause.items[spot.at..s.at];
        let it = between.iter().any(|i| i.is_word() && i.has(Tag::It));
        // "en el carro, está en la hielera"
        let be = between.iter().rev().take(3).any(|i| i.is_word() && i.has(Tag::Be));
        between.iter().any(|i| i.sign() == Some(',')) && (led || it || be)
    });
    spot.place == Place::Room && later && !lasts
}

/// "30 left", "only saved 2 oz".
fn is_saved(clause: &Clause, at: usize) -> bool {
    let left = |i: &Item| i.has(Tag::LeftOver) || clause.message.has(i.from, i.to, Tag::Saved);
    let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::Just, Tag::About, Tag::Article, Tag::Of, Tag::Him]));
    let before = clause.items[..at].iter().rev().take(4).find(soft).is_some_and(|i| i.is_word() && left(i));
    before || clause.items.get(at + 1).is_some_and(|i| i.has(Tag::LeftOver))
}

/// What of a session was thrown away or spilled at once was never kept.
fn lost(act: &mut Act, clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<()> {
    if clause.tells_any(&[Verb::Toss, Verb::Dump]) {
        act.parts = Some(vec![]);
        return Ok(());
    }
    let left = pours.iter().find(|p| clause.tells(Verb::Spill) && is_saved(clause, p.at));
    if !clause.tells(Verb::Spill) || clause.has(Tag::Some) && left.is_none() {
        return Ok(());
    }
    let unit = written_unit(&clause.items);
    match (left, pours) {
        (Some(left), _) => {
            let kept = volume(left.amount, unit, ctx)?;
            act.ml =
                pours.iter().find(|p| p.at != left.at).map(|p| volume(p.amount, unit, ctx)).transpose()?;
            act.parts = Some(vec![part(kept, spots(clause).last(), None)]);
        }
        (None, [whole, spilled]) => {
            let kept = volume(whole.amount, unit, ctx)?.less(volume(spilled.amount, unit, ctx)?);
            act.ml = Some(volume(whole.amount, unit, ctx)?);
            act.parts = Some(vec![part(kept, spots(clause).last(), None)]);
        }
        _ if clause.has(Tag::Half) => act.parts = None,
        _ => act.parts = Some(vec![]),
    }
    Ok(())
}
