//! What was said before, and by whom, settles what a message leaves open: "90 more" of what, "same again" as what, whose
//! milk it was; and whether two people wrote of one thing. Where it can't settle that, one question is asked.

use chrono::TimeDelta;

use crate::domain::act::{Act, Doubt, Kind};
use crate::domain::answer::{ChoiceLabel, Piece};
use crate::domain::fact::{Fact, Record};
use crate::domain::household::Household;
use crate::domain::ledger::{Ledger, Said};
use crate::domain::milk::Moment;
use crate::domain::place::Place;
use crate::domain::volume::Volume;

use super::{Decision, Message, draft, question};

/// Two people who write of a feed or a session this close to each other may mean the same one. Our own choice, no source.
const SAME: TimeDelta = TimeDelta::minutes(15);
/// Twins are looked for among so many of the newest entries, however long the ledger is.
const NEWEST: usize = 60;
/// What is added so soon after a feed belongs to that feed. Our own choice, no source.
const MORE: TimeDelta = TimeDelta::minutes(30);
/// What is said "again" was said on the same day or in the night before. Our own choice, no source.
const AGAIN: TimeDelta = TimeDelta::hours(12);
/// Amounts that two people read off one bottle differ by less. Our own choice, no source.
const ALIKE: Volume = Volume::from_microlitres(5_000);

/// The acts with what was said before filled in, or the question that must be answered first.
pub fn settle(ledger: &Ledger, message: &Message, acts: Vec<Act>) -> Result<Vec<Act>, Box<Decision>> {
    let acts: Result<Vec<Act>, Box<Decision>> =
        acts.into_iter().map(|act| followed(ledger, message, act)).collect();
    let acts: Vec<Act> = acts?.into_iter().map(|act| whose(ledger, message, act)).collect();
    match ask_same(ledger, message, &acts) {
        Some(asked) => Err(Box::new(asked)),
        None => Ok(acts),
    }
}

/// "90 more", "another 100", "same again": the kind is that of what was said before, or it is asked.
fn followed(ledger: &Ledger, message: &Message, act: Act) -> Result<Act, Box<Decision>> {
    if !(act.more || act.again) {
        return Ok(act);
    }
    follows(ledger, message, &act).ok_or_else(|| {
        let plain = Act { more: false, again: false, ..act };
        let kinds = [Kind::Pump, Kind::Feed].map(|kind| vec![Act { kind, ..plain.clone() }]);
        let options = if plain.ml.is_some() { kinds.to_vec() } else { Vec::new() };
        Box::new(question::ask(ledger, message, Doubt::Kind, options, None))
    })
}

/// The act as what was said before makes it; none where that says nothing of it.
pub fn follows(ledger: &Ledger, message: &Message, act: &Act) -> Option<Act> {
    if act.again { again(ledger, message, act) } else { more(ledger, message, act) }
}

/// The entry that a message follows: the one it replies to, else the newest of those that fit.
fn entry<'a>(ledger: &'a Ledger, message: &Message, fits: impl Fn(&Said) -> bool) -> Option<&'a Said> {
    match message.replies_to {
        Some(seq) => ledger.said(seq).filter(|s| !s.taken_back),
        None => ledger.newest_first().next().filter(|s| fits(s)),
    }
}

/// More of the feed that was just told of, or one more container of the sender's own session.
fn more(ledger: &Ledger, message: &Message, act: &Act) -> Option<Act> {
    let before = entry(ledger, message, |s| message.sent - s.recorded < MORE)?;
    match before.acts.iter().find(|a| matches!(a.kind, Kind::Feed | Kind::Pump))? {
        Act { kind: Kind::Feed, child, .. } => {
            Some(Act { kind: Kind::Feed, child: act.child.clone().or(child.clone()), ..act.clone() })
        }
        pumped if before.by.as_deref() == message.by => {
            let person = act.person.clone().or(pumped.person.clone());
            Some(Act { kind: Kind::Pump, more: false, person, ..act.clone() })
        }
        _ => None,
    }
}

/// The sender's last entry once more, now; what is said of it differs.
fn again(ledger: &Ledger, message: &Message, act: &Act) -> Option<Act> {
    let before = match message.replies_to {
        Some(_) => entry(ledger, message, |_| true)?,
        None => ledger.said_by(message.by?).next().filter(|s| message.sent - s.recorded < AGAIN)?,
    };
    let [last] = &before.acts[..] else { return None };
    if !matches!(last.kind, Kind::Pump | Kind::Feed | Kind::Nurse | Kind::Formula | Kind::Store) {
        return None;
    }
    let mut next = Act {
        again: false,
        at: act.at,
        at_latest: act.at_latest,
        timed: act.timed,
        ended: None,
        codes: act.codes.clone(),
        more: false,
        ..last.clone()
    };
    for part in next.parts.iter_mut().flatten() {
        part.code = None;
        // Most likely nothing was said of the place: it is asked for again.
        part.place = part.place.filter(|place| *place != Place::Room);
    }
    if let Some(place) = act.place {
        super::correct::set_place(&mut next, place);
    }
    if let Some(ml) = act.ml {
        super::correct::set_amount(&mut next, ml);
    }
    Some(next)
}

/// Whose milk was pumped, as far as it is settled: the one named, the sender who pumps, the only one who does.
fn pumped_by<'a>(household: &'a Household, act: &Act, by: Option<&str>) -> Option<&'a str> {
    let named = act.person.as_deref().and_then(|name| household.pumping_called(name));
    let own = || household.pumping().find(|p| Some(*p) == by && act.person.is_none());
    let only = || household.pumping().next().filter(|_| !household.several_owners());
    named.or_else(own).or_else(only)
}

/// A session is put down to the parent who pumps, whoever wrote of it.
fn whose(ledger: &Ledger, message: &Message, mut act: Act) -> Act {
    if act.kind == Kind::Pump
        && let Some(name) = pumped_by(ledger.household(), &act, message.by)
        && Some(name) != message.by
    {
        act.person = Some(name.to_owned());
    }
    act
}

/// Somebody else wrote of the same a moment ago, it seems: neither merged nor counted twice without asking.
fn ask_same(ledger: &Ledger, message: &Message, acts: &[Act]) -> Option<Decision> {
    let found = acts.iter().enumerate().find_map(|(i, act)| Some((i, twin(ledger, message, act)?)));
    let (at, said) = found?;
    let mut others = acts.to_vec();
    let act = others.remove(at);
    let piece = Piece::AskSame {
        kind: act.kind,
        by: said.by.clone().unwrap_or_default(),
        ml: said.acts.iter().find(|a| a.kind == act.kind).and_then(|a| a.ml),
        at: times(said, act.kind)?.0,
    };
    let options = vec![others, acts.to_vec()];
    let labels = vec![ChoiceLabel::Same, ChoiceLabel::Another];
    let mut asked = question::put(ledger, message, Doubt::Same, piece, options, labels);
    if let Some(Record::Asked(question)) = asked.records.first_mut() {
        question.joined = joined(said, &act).map(|acts| (said.seq, acts));
    }
    Some(asked)
}

/// What was said first, with what the second knows besides: where the milk lies, how much it was, what is left.
fn joined(said: &Said, new: &Act) -> Option<Vec<Act>> {
    let mut acts = said.acts.to_vec();
    let old = acts.iter_mut().find(|a| a.kind == new.kind)?;
    let place = |a: &Act| a.place.or(a.parts.iter().flatten().find_map(|p| p.place));
    // Milk of which nothing was said lies in the room, by the books.
    let unsaid = matches!(place(old), None | Some(Place::Room));
    if let Some(place) = place(new).filter(|_| unsaid && old.kind == Kind::Pump) {
        super::correct::set_place(old, place);
    }
    if let Some(ml) = new.ml.filter(|_| old.ml.is_none()) {
        super::correct::set_amount(old, ml);
    }
    old.left_ml = old.left_ml.or(new.left_ml);
    (acts[..] != said.acts[..]).then_some(acts)
}

fn twin<'a>(ledger: &'a Ledger, message: &Message, act: &Act) -> Option<&'a Said> {
    if act.more || !matches!(act.kind, Kind::Feed | Kind::Formula | Kind::Pump) {
        return None;
    }
    let at = draft::at(ledger, message, act);
    let near = |s: &&Said| times(s, act.kind).is_some_and(|(from, to)| from - SAME <= at && at <= to + SAME);
    // What lies so near in time was written near in time, or the later one said its time.
    let newest = ledger.newest_first().take(NEWEST);
    let others = newest.filter(|s| s.by.is_some() && s.by.as_deref() != message.by);
    others.take(24).filter(near).find(|s| s.acts.iter().any(|a| alike(ledger, message, act, a, s)))
}

/// Nothing that was said tells the two apart.
fn alike(ledger: &Ledger, message: &Message, new: &Act, old: &Act, said: &Said) -> bool {
    if new.kind != old.kind {
        return false;
    }
    let differs = |a: &Option<String>, b: &Option<String>| a.is_some() && b.is_some() && a != b;
    if new.kind != Kind::Pump {
        // Milk out of another container is another feed: unnoted it would be offered again.
        let elsewhere = !new.codes.is_empty() && !new.codes.iter().any(|code| old.codes.contains(code));
        return !elsewhere && !differs(&new.child, &old.child);
    }
    let household = ledger.household();
    let whose = |act: &Act, by: Option<&str>| pumped_by(household, act, by).map(str::to_owned);
    let amounts = new.ml.zip(old.ml).is_none_or(|(a, b)| a.less(b) + b.less(a) <= ALIKE);
    amounts && !differs(&whose(new, message.by), &whose(old, said.by.as_deref()))
}

/// From when to when something of a kind went on, as an entry tells it.
fn times(said: &Said, kind: Kind) -> Option<(Moment, Moment)> {
    said.facts.iter().find_map(|dated| match (&dated.fact, kind) {
        (Fact::Fed(feed), Kind::Feed) => {
            Some((feed.began.unwrap_or(dated.at), feed.ended.unwrap_or(dated.at)))
        }
        (Fact::Pumped { .. }, Kind::Pump) | (Fact::Formula { .. }, Kind::Formula) => {
            Some((dated.at, dated.at))
        }
        _ => None,
    })
}
