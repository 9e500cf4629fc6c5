//! Milk that is set aside, that leaves or comes back, and milk that people looked at or counted.

use chrono::{NaiveDateTime, TimeDelta};

use crate::domain::act::{Act, Code, Doubt, Found, Kind, Pick, What};
use crate::domain::answer::{ChoiceLabel, Did, Looked, Piece, Wanted};
use crate::domain::fact::{Fact, Record};
use crate::domain::ledger::{Container, Ledger, MealKind, Said, Stock};
use crate::domain::milk::{Gone, State};
use crate::domain::place::{Place, Site};
use crate::domain::query;
use crate::domain::rules::{Fill, Spot};
use crate::domain::volume::Volume;

use super::choose::Otherwise;
use super::draft::{Draft, Trouble, moment};
use super::record::{at_home, at_site, codes_of, did, frozen_in_order, past_codes, warn_of, with};
use super::{Decision, Message, owner, put, question, record_and_answer};

pub fn hold(draft: &mut Draft, mut act: Act) {
    let since = act.named_from.filter(|_| act.codes.is_empty());
    let found = match since {
        Some(from) => Some(expressed_since(draft, &act, from)),
        None => {
            let site = act.site.clone();
            with(draft, &mut act, |_, stock| {
                (codes_of(&at_site(stock, site.as_ref(), |_| true)), Wanted::Any, Otherwise::Last)
            })
        }
    };
    let Some(codes) = found else { return };
    let there = |c: &Code| draft.stock.get(*c).is_some_and(Container::exists);
    let held: Vec<Code> = codes.iter().copied().filter(there).collect();
    let everything = act.pick == Some(Pick::All) && act.place.is_none() && act.tags.is_empty();
    if held.is_empty() && since.is_some() {
        draft.stick(Piece::NoneLike { kind: Wanted::Any });
        return;
    }
    // A hold begins when it is said: the milk may have been used before.
    let at = draft.message.sent;
    if since.is_some() {
        used_before(draft, &codes);
    }
    let told = std::mem::take(&mut draft.pieces);
    act.codes = held.clone();
    draft.note(at, Fact::Held { codes: held.clone() });
    let open = everything || since.is_some() && act.named_to.is_none();
    did(draft, if open { Did::HeldAll } else { Did::Held }, &held, &act);
    draft.pieces.extend(told);
    if let Some(until) = act.until {
        draft.say(Piece::HeldOn { until: moment(draft.ledger, until), code: held.first().copied() });
    }
    draft.heard(act);
}

/// Everything expressed in the span that was named, whether or not it is still there.
fn expressed_since(draft: &Draft, act: &Act, from: NaiveDateTime) -> Vec<Code> {
    let from = moment(draft.ledger, from);
    // "since Tuesday" has no end but the present.
    let to = act.named_to.map_or(draft.message.sent, |to| moment(draft.ledger, to));
    // Also what was poured to older milk.
    let within = |c: &&Container| c.parts.iter().any(|at| *at >= from && *at <= to);
    draft.stock.ever().into_iter().filter(within).map(|c| c.code).collect()
}

/// What was drunk of the milk and what was sent away before it was held.
fn used_before(draft: &mut Draft, codes: &[Code]) {
    let mut told: Vec<Piece> = Vec::new();
    for meal in &draft.stock.meals {
        if let MealKind::Bottle { drunk, codes: from, .. } = &meal.kind {
            let codes: Vec<Code> = from.iter().copied().filter(|c| codes.contains(c)).collect();
            if !codes.is_empty() {
                told.push(Piece::WasDrunk { codes, ml: *drunk, at: meal.at, by: meal.by.clone() });
            }
        }
    }
    for c in codes.iter().filter_map(|c| draft.stock.get(*c)).filter(|c| c.is_sent()) {
        let at = c.steps.last().map_or(draft.message.sent, |s| s.at);
        let by = c.logged_by.clone();
        told.push(Piece::WasSent { code: c.code, site: c.life.site.clone(), at, by });
    }
    told.into_iter().for_each(|piece| draft.say(piece));
}

/// How far back milk may be meant by a question about medicine that names none. Our own choice, no source.
const MEDICINE: TimeDelta = TimeDelta::hours(24);

/// No verdict on medicines; the milk asked about, else what was pumped in the last day, can be put on hold by a button.
pub fn medicine(ledger: &Ledger, message: &Message, act: &Act) -> Decision {
    let free = |c: &&Container| c.held_since.is_none();
    let recent = |c: &&Container| c.life.expressed.is_some_and(|at| message.sent - at <= MEDICINE);
    let meant = |c: &&Container| if act.codes.is_empty() { recent(c) } else { act.codes.contains(&c.code) };
    let all = ledger.stock().here();
    let codes: Vec<Code> = all.filter(free).filter(meant).map(|c| c.code).collect();
    if codes.is_empty() {
        return Decision::say(Piece::Medicine { hold: false });
    }
    let hold = vec![Act { codes, ..Act::new(Kind::Hold) }];
    let labels = vec![ChoiceLabel::Reading(hold.clone())];
    question::put(ledger, message, Doubt::Hold, Piece::Medicine { hold: true }, vec![hold], labels)
}

pub fn release(draft: &mut Draft, mut act: Act) {
    if !owner::may_release(draft, &[]) {
        return draft.stick(Piece::NotYours);
    }
    let found = with(draft, &mut act, |_, stock| {
        (codes_of(&at_home(stock, |c| c.held_since.is_some())), Wanted::Any, Otherwise::Last)
    });
    let Some(codes) = found else { return };
    if !owner::may_release(draft, &codes) {
        return draft.stick(Piece::NotYours);
    }
    let at = draft.message.sent;
    draft.note(at, Fact::Released { codes: codes.clone() });
    did(draft, Did::Released, &codes, &act);
    draft.heard(act);
}

pub fn donate(draft: &mut Draft, mut act: Act) {
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&frozen_in_order(draft, stock)), Wanted::Frozen, Otherwise::Last)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let drunk_from = |c: &&Code| draft.stock.get(**c).is_some_and(Container::is_started);
    let started: Vec<Code> = codes.iter().filter(drunk_from).copied().collect();
    warn_of(draft, &codes);
    if !started.is_empty() {
        draft.say(Piece::GivenAwayStarted { codes: started });
    }
    let told = std::mem::take(&mut draft.pieces);
    draft.note(at, Fact::Donated { codes: codes.clone() });
    did(draft, Did::Donated, &codes, &act);
    draft.pieces.extend(told);
    draft.heard(act);
}

pub fn send(draft: &mut Draft, mut act: Act) {
    let sent = draft.message.sent;
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&query::in_order_of_use(draft.ledger, stock, sent)), Wanted::Any, Otherwise::Last)
    });
    let Some(codes) = found else { return };
    let started: Vec<Code> =
        codes.iter().copied().filter(|c| draft.stock.get(*c).is_some_and(Container::is_started)).collect();
    if let Some(code) = started.first() {
        return draft.stick(Piece::NotForSending { codes: vec![*code] });
    }
    let at = draft.at(&act);
    let site = act.site.clone().unwrap_or(Site::Daycare);
    let past = past_codes(&draft.stock, &codes, at);
    draft.note(at, Fact::Sent { codes: codes.clone(), site: site.clone() });
    if let Some(place) = act.place {
        draft.note(at, Fact::Moved { codes: codes.clone(), place, site: Some(site) });
    }
    did(draft, Did::Sent, &codes, &act);
    warn_of(draft, &codes);
    for (code, by) in past {
        draft.say(Piece::GivenPast { code, by });
    }
    draft.heard(act);
}

fn sent_to(stock: &Stock, site: Option<&Site>) -> Vec<Code> {
    let there = |c: &&Container| c.is_sent() && (site.is_none() || c.life.site.as_ref() == site);
    let mut order: Vec<&Container> = stock.existing().filter(there).collect();
    order.sort_by_key(|c| (c.use_by(), c.code));
    codes_of(&order)
}

/// Most buttons that a question has.
const MOST_OPTIONS: usize = 6;

/// Which of several that were sent away came back is not to be guessed: each has its own hours out of the house.
fn which_came_back(act: &Act, away: &[Code]) -> Option<Trouble> {
    let many = act.count.unwrap_or(1).max(1) as usize;
    if !act.codes.is_empty() || act.pick.is_some() || away.len() <= many {
        return None;
    }
    if many > 1 || away.len() > MOST_OPTIONS {
        return Some(Trouble::Say(Piece::WhichOne));
    }
    let options = away.iter().map(|code| Act { codes: vec![*code], count: None, ..act.clone() }).collect();
    Some(Trouble::Ask(Doubt::Which, options))
}

/// Whether a child drank from what came back, and how much is left in it: also where less came back than was sent. Of
/// several, nobody knows in which how much is.
fn drunk_from_there(draft: &Draft, act: &Act, codes: &[Code]) -> (bool, Option<Volume>) {
    let only = codes.first().filter(|_| codes.len() == 1).and_then(|code| draft.stock.get(*code));
    let held = only.map(|c| c.ml);
    let half = held.filter(|_| act.half).map(|ml| Volume::from_microlitres(ml.microlitres() / 2));
    let less = act.ml.filter(|ml| held.is_some_and(|held| *ml < held));
    let left = act.left_ml.filter(|_| only.is_some()).or(half).or(less).filter(|left| !left.is_zero());
    (left.is_some() || act.half || act.open || act.left_ml.is_some(), left)
}

pub fn return_(draft: &mut Draft, mut act: Act) {
    let site = act.site.clone();
    let away = sent_to(&draft.stock_at(draft.at(&act)), site.as_ref());
    // "The leftover is back in the fridge": no word of any other house.
    let at_home = away.is_empty() || act.pick == Some(Pick::Rest);
    if act.place.is_some() && site.is_none() && at_home && act.codes.is_empty() && act.pick.is_some() {
        return put::relocate(draft, Act { kind: Kind::Move, ..act });
    }
    let told = act.ml.or(act.left_ml).is_some() || act.half || act.open;
    if told && !away.is_empty() {
        // How much came back chooses none: each has its own hours out of the house.
        act.pick = act.pick.filter(|p| *p != Pick::Last);
    }
    if let Some(trouble) = which_came_back(&act, &away) {
        return draft.trouble(trouble);
    }
    let found = with(draft, &mut act, |_, _| (away.clone(), Wanted::Sent, Otherwise::First));
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let (drunk_from, left) = drunk_from_there(draft, &act, &codes);
    draft.note(at, Fact::Returned { codes: codes.clone(), place: act.place, drunk_from, left });
    did(draft, Did::Returned, &codes, &Act { ml: None, ..act.clone() });
    if let ([code], true) = (codes.as_slice(), drunk_from)
        && let Some(ml) = draft.stock.get(*code).map(|c| c.ml)
    {
        draft.say(Piece::Leftover { code: *code, ml });
    }
    draft.heard(act);
}

pub fn outage(draft: &mut Draft, act: Act) {
    let at = draft.at(&act);
    let since = act.since.map_or(at, |since| moment(draft.ledger, since));
    let what = act.what.unwrap_or(What::Power);
    let start_unknown = act.since.is_none() && act.minutes.is_none() && !act.timed;
    let site = act.site.clone();
    let fact = Fact::Outage { what, place: act.place, since, site, start_unknown };
    draft.note(at, fact.clone());
    let told = told_outage(&draft.stock, &fact);
    told.into_iter().for_each(|piece| draft.say(piece));
    draft.heard(act);
}

/// What is said of an outage. Also what was to be looked at already: one that is told again, or dated earlier, concerns it
/// as well.
pub fn told_outage(stock: &Stock, fact: &Fact) -> Option<Piece> {
    let Fact::Outage { what, place, since, start_unknown, .. } = fact else { return None };
    let (what, place, since, start_unknown) = (*what, *place, *since, *start_unknown);
    Some(Piece::Outage { what, place, since, codes: suspects(stock), start_unknown })
}

/// "It was only 20 minutes": an outage that is over and was shorter than the publisher's time for a shut fridge or freezer
/// is taken back, whoever told it. Where the publisher has no time for it, the milk is still to be looked at.
pub fn outage_over(ledger: &Ledger, minutes: u32) -> Decision {
    let told = |s: &&Said| s.facts.iter().any(|d| matches!(d.fact, Fact::Outage { .. }));
    let suspect = suspects(ledger.stock());
    let Some(said) = ledger.newest_first().find(told).filter(|_| !suspect.is_empty()) else {
        return Decision::silent();
    };
    let lost = said.facts.iter().find_map(|d| match &d.fact {
        Fact::Outage { what, place, .. } => Some((*what, *place)),
        _ => None,
    });
    let (what, place) = lost.unwrap_or((What::Power, None));
    let spot = if place.is_some_and(Place::is_freezer) { Spot::Freezer } else { Spot::Fridge };
    let rules = ledger.rules();
    let limit = [Fill::Any, Fill::Half].into_iter().find_map(|fill| rules.outage(spot, fill));
    // The publishers' times are for one that stays shut.
    let stays_cold = limit.filter(|_| what == What::Power).and_then(|o| o.limit.elapsed());
    let short = stays_cold.is_some_and(|limit| TimeDelta::minutes(i64::from(minutes)) < limit);
    let piece = Piece::OutageOver { what, minutes, short, codes: suspect };
    if short { Decision::record(Record::TakenBack { entry: said.seq }, piece) } else { Decision::say(piece) }
}

/// Where milk was put and nobody has said whether the cold is back there: its times count as if it were. Our own
/// choice, no source.
pub fn cold_not_back(stock: &Stock, put: &[Code]) -> Option<Piece> {
    let there = |c: &&Container| c.gone.is_none() && c.suspect_since.is_none();
    let beside = |c: &Container, other: &Container| {
        other.cold_not_back() && (other.life.place, &other.life.site) == (c.life.place, &c.life.site)
    };
    let put = put.iter().filter_map(|code| stock.get(*code)).filter(there);
    let found = put.into_iter().find(|c| stock.current_here().any(|other| beside(c, other)))?;
    Some(Piece::ColdNotBack { place: found.life.place })
}

pub fn suspects(stock: &Stock) -> Vec<Code> {
    stock.existing().filter(|c| c.suspect_since.is_some()).map(|c| c.code).collect()
}

pub fn check(draft: &mut Draft, mut act: Act) {
    if act.codes.is_empty() && act.count.is_none() && act.pick.is_none() {
        act.pick = Some(Pick::All);
    }
    let place = act.place;
    // Hard and icy speak of what is or was frozen, where no labels say of what.
    let of_ice = matches!(act.found, Some(Found::Hard | Found::Icy));
    let found = with(draft, &mut act, |_, stock| {
        let order = at_home(stock, |c| {
            let meant = !of_ice || !c.life.never_frozen();
            c.suspect_since.is_some() && meant && place.is_none_or(|p| c.life.place == p)
        });
        (codes_of(&order), Wanted::Any, Otherwise::Nothing)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let was = draft.stock.clone();
    draft.note(at, Fact::Checked { codes: codes.clone(), found: act.found, cold: act.cold });
    did(draft, Did::Checked, &codes, &act);
    for (of, codes) in by_what_it_was(draft, &was, &act, &codes) {
        draft.say(Piece::Checked { found: act.found, cold: act.cold, codes, of });
    }
    draft.heard(act);
}

/// What was looked at, by what the books had it for.
fn by_what_it_was(draft: &Draft, was: &Stock, act: &Act, codes: &[Code]) -> Vec<(Looked, Vec<Code>)> {
    let mut groups: Vec<(Looked, Vec<Code>)> = Vec::new();
    for code in codes {
        let (Some(before), Some(after)) = (was.get(*code), draft.stock.get(*code)) else { continue };
        let of = looked(before, after, act);
        match groups.iter_mut().find(|(known, _)| *known == of) {
            Some((_, codes)) => codes.push(*code),
            None => groups.push((of, vec![*code])),
        }
    }
    groups
}

fn looked(before: &Container, after: &Container, act: &Act) -> Looked {
    let of_ice = matches!(act.found, Some(Found::Hard | Found::Icy));
    let soft_since_unknown = before.loss.start_unknown && act.found == Some(Found::Liquid) && !act.cold;
    match before.life.state {
        State::Frozen if before.suspect_since.is_none() || soft_since_unknown => Looked::SinceUnknown,
        State::Frozen => Looked::Frozen,
        State::Thawing if of_ice => Looked::Thawing,
        _ if before.suspect_since.is_none() => Looked::AsBefore,
        _ if after.suspect_since.is_some() => Looked::Open,
        _ => Looked::Unfrozen,
    }
}

/// A count as people told it, beside the books.
struct Beside {
    books: Vec<Code>,
    seen: u32,
    missing: Vec<Code>,
    extra: Vec<Code>,
}

/// Labels that were read out say exactly what is missing; a bare number only says how many, unless nothing was there.
fn beside(stock: &Stock, act: &Act) -> Beside {
    // Where milk lies in both kinds, "the freezer" is the one that isn't the deep freezer.
    let in_freezer = |c: &Container| c.life.place == Place::Freezer;
    let two_kinds = !at_site(stock, act.site.as_ref(), in_freezer).is_empty();
    let is_here = |c: &Container| match act.place {
        None => true,
        Some(Place::Freezer) if !two_kinds => c.life.place.is_freezer(),
        Some(place) => c.life.place == place,
    };
    let books: Vec<Code> = codes_of(&at_site(stock, act.site.as_ref(), is_here));
    let named = !act.codes.is_empty() || act.count == Some(0);
    Beside {
        seen: act.count.unwrap_or(act.codes.len() as u32),
        missing: books.iter().copied().filter(|c| named && !act.codes.contains(c)).collect(),
        extra: act.codes.iter().copied().filter(|c| !books.contains(c)).collect(),
        books,
    }
}

fn told_count(stock: &Stock, act: &Act) -> Piece {
    let Beside { books, seen, missing, extra } = beside(stock, act);
    Piece::Counted { place: act.place, seen, books: books.len() as u32, missing, extra, settled: false }
}

/// Labels that were read out and that an earlier count had missed: seen is there.
fn lost_before(stock: &Stock, act: &Act) -> Vec<Code> {
    let lost = |c: &&Code| stock.get(**c).is_some_and(|c| c.gone == Some(Gone::Missing));
    act.codes.iter().filter(lost).copied().collect()
}

/// A count by itself: it is told beside the books, and wins after one yes.
pub fn counted(ledger: &Ledger, message: &Message, act: Act) -> Decision {
    let stock = ledger.stock();
    match act.seen {
        true if act.missing.is_empty() => return seen(ledger, message, act),
        true => return not_there(ledger, message, act),
        false => {}
    }
    let missing = beside(stock, &act).missing;
    let piece = told_count(stock, &act);
    if missing.is_empty() {
        let seen_again = !lost_before(stock, &act).is_empty();
        return match seen_again {
            true => record_and_answer(ledger, message, vec![act], None),
            false => Decision { acts: vec![act], ..Decision::say(piece) },
        };
    }
    let confirmed = Act { missing, ..act.clone() };
    let mut decision =
        question::put(ledger, message, Doubt::Count, piece, vec![vec![confirmed]], vec![ChoiceLabel::Yes]);
    decision.acts = vec![act];
    decision
}

/// "Found #8": what a count had missed is there; how what was never missed stands is told.
fn seen(ledger: &Ledger, message: &Message, act: Act) -> Decision {
    let unknown: Vec<Code> = act.codes.iter().copied().filter(|c| ledger.stock().get(*c).is_none()).collect();
    match () {
        () if !unknown.is_empty() => Decision::say(Piece::NoSuch { codes: unknown }),
        () if lost_before(ledger.stock(), &act).is_empty() => {
            Decision { acts: vec![act.clone()], ..Decision::say(Piece::Stands { codes: act.codes }) }
        }
        () => record_and_answer(ledger, message, vec![act], None),
    }
}

/// "8 is missing": struck off after one yes.
fn not_there(ledger: &Ledger, message: &Message, act: Act) -> Decision {
    let there = |c: &Code| ledger.stock().get(*c).is_some_and(|c| c.gone.is_none());
    let missing: Vec<Code> = act.missing.iter().copied().filter(there).collect();
    if missing.is_empty() {
        return Decision::say(Piece::NoSuch { codes: act.missing });
    }
    let piece = Piece::NotThere { codes: missing.clone() };
    let confirmed = Act { missing, seen: false, ..act.clone() };
    let labels = vec![ChoiceLabel::Yes];
    let mut decision = question::put(ledger, message, Doubt::Count, piece, vec![vec![confirmed]], labels);
    decision.acts = vec![act];
    decision
}

/// A count that was said yes to is recorded; one among other things is only told.
pub fn count(draft: &mut Draft, act: Act) {
    let there = |c: &Code| draft.stock.get(*c).is_some_and(|c| c.gone.is_none());
    let missing: Vec<Code> = act.missing.iter().copied().filter(there).collect();
    if act.seen && !missing.is_empty() {
        return draft.stick(Piece::NotThere { codes: missing });
    }
    let back = lost_before(&draft.stock, &act);
    let at = draft.at(&act);
    if !back.is_empty() {
        draft.note(at, Fact::Counted { missing: Vec::new(), back: back.clone() });
        draft.say(Piece::SeenAgain { codes: back });
    }
    let mut piece = told_count(&draft.stock, &act);
    if !missing.is_empty() {
        draft.note(at, Fact::Counted { missing: missing.clone(), back: Vec::new() });
        if let Piece::Counted { settled, missing: told, .. } = &mut piece {
            (*settled, *told) = (true, missing);
        }
    }
    if !act.seen {
        draft.say(piece);
    }
    draft.heard(act);
}
