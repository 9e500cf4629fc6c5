//! From one act to the facts it makes: a small function an act.

use crate::domain::act::{Act, Code, Kind, Part};
use crate::domain::answer::{Choice, ChoiceLabel, Did, Piece, Press, Wanted};
use crate::domain::fact::{Fact, Kept, Marks};
use crate::domain::ledger::{Container, Stock};
use crate::domain::milk::Moment;
use crate::domain::place::{Place, Site};
use crate::domain::query;
use crate::domain::volume::Volume;

use super::aside;
use super::choose::{Otherwise, Search, choose, not_before_it_was_there, without_wrong_labels};
use super::draft::{Draft, moment};
use super::{feed, owner, put};

/// Records one act in the draft, or says why it can't be.
pub fn record(draft: &mut Draft, mut act: Act) {
    not_before_it_was_there(draft, &mut act);
    match act.kind {
        Kind::Pump => pump(draft, act),
        Kind::Store => store(draft, act),
        Kind::Feed => feed::feed(draft, act),
        Kind::Nurse => nurse(draft, act),
        Kind::Formula => formula(draft, act),
        Kind::Move => put::relocate(draft, act),
        Kind::Thaw => put::thaw(draft, act),
        Kind::Thawed => put::thawed(draft, act),
        Kind::Warm => warm(draft, act),
        Kind::Combine => combine(draft, act),
        Kind::Split => split(draft, act),
        Kind::Discard => discard(draft, act),
        Kind::Hold => aside::hold(draft, act),
        Kind::Release => aside::release(draft, act),
        Kind::Donate => aside::donate(draft, act),
        Kind::Send => aside::send(draft, act),
        Kind::Return => aside::return_(draft, act),
        Kind::Outage => aside::outage(draft, act),
        Kind::Check => aside::check(draft, act),
        Kind::Count => aside::count(draft, act),
        Kind::Correct => relabel(draft, act),
        // Not about milk, or handled before: a message that mixes them is read as its recordable part.
        _ => draft.heard(act),
    }
}

fn pump(draft: &mut Draft, mut act: Act) {
    let at = draft.at(&act);
    let marks = match owner::marks(draft, &act) {
        Ok(marks) => marks,
        Err(trouble) => return draft.trouble(trouble),
    };
    let kept = match &act.parts {
        Some(parts) => match parts_kept(draft, parts, act.ml) {
            Some(kept) => kept,
            None => return draft.stick(Piece::AmountMissing),
        },
        None => {
            let Some(ml) = act.ml else { return draft.stick(Piece::AmountMissing) };
            let code = draft.label(act.codes.first().copied());
            let (place, site) = (act.place.unwrap_or(Place::Room), act.site.clone());
            vec![Kept { code, ml, place, site, untold: act.place.is_none() }]
        }
    };
    let held: Volume = kept.iter().map(|k| k.ml).sum();
    let ml = act.ml.unwrap_or(held).max(held);
    if kept.is_empty() {
        draft.say(Piece::NothingKept { ml });
    }
    for k in &kept {
        draft.say(Piece::Label { code: k.code });
    }
    offer_places(draft, &kept);
    fill_parts(&mut act, &kept);
    let codes = kept.iter().map(|k| k.code).collect();
    draft.note(at, Fact::Pumped { ml, about: act.about, sides: act.sides, kept });
    owner::mark(draft, at, codes, marks);
    draft.heard(act);
}

/// Where nothing was said of the place, the milk lies in the room until somebody says otherwise.
fn offer_places(draft: &mut Draft, kept: &[Kept]) {
    if kept.is_empty() || kept.iter().any(|k| !k.untold) {
        return;
    }
    let entry = draft.entry();
    draft.say(Piece::PlaceOpen { code: kept[0].code });
    for place in [Place::Fridge, Place::Freezer] {
        draft.buttons.push(Choice { label: ChoiceLabel::Place(place), press: Press::Place { entry, place } });
    }
}

/// A label for each part, and the amount of the one part that leaves it open.
fn parts_kept(draft: &mut Draft, parts: &[Part], whole: Option<Volume>) -> Option<Vec<Kept>> {
    let known: Volume = parts.iter().filter_map(|p| p.ml).sum();
    let open = parts.iter().filter(|p| p.ml.is_none()).count();
    let rest = match (open, whole) {
        (0, _) => Volume::ZERO,
        (1, Some(whole)) if whole > known => whole - known,
        _ => return None,
    };
    Some(
        parts
            .iter()
            .map(|p| Kept {
                code: draft.label(p.code),
                ml: p.ml.unwrap_or(rest),
                place: p.place.unwrap_or(Place::Room),
                site: p.site.clone(),
                untold: untold(draft, p),
            })
            .collect(),
    )
}

/// Nothing was said of the place.
fn untold(draft: &Draft, part: &Part) -> bool {
    part.place.is_none() || as_before(draft, part)
}

/// Nothing had been said of the place before a correction, and what was settled then still stands.
fn as_before(draft: &Draft, part: &Part) -> bool {
    let before = part.code.and_then(|code| draft.amended(code));
    before.is_some_and(|k| k.untold && part.place == Some(k.place) && part.site == k.site)
}

/// The act as settled carries the labels that its containers got.
fn fill_parts(act: &mut Act, kept: &[Kept]) {
    act.parts = Some(
        kept.iter()
            .map(|k| Part { ml: Some(k.ml), place: Some(k.place), site: k.site.clone(), code: Some(k.code) })
            .collect(),
    );
}

fn store(draft: &mut Draft, mut act: Act) {
    let parts = act.parts.clone().unwrap_or_default();
    let parts: Vec<Part> = parts
        .into_iter()
        .map(|p| Part { place: p.place.or(act.place), site: p.site.or(act.site.clone()), ..p })
        .collect();
    let Some(kept) = parts_kept(draft, &parts, act.ml).filter(|k| !k.is_empty()) else {
        return draft.stick(Piece::AmountMissing);
    };
    let marks = match owner::marks(draft, &act) {
        Ok(marks) => marks,
        Err(trouble) => return draft.trouble(trouble),
    };
    let expressed = act.at.map(|at| moment(draft.ledger, at));
    for k in &kept {
        draft.say(Piece::Label { code: k.code });
    }
    if expressed.is_none() {
        draft.say(Piece::AskAge { codes: kept.iter().map(|k| k.code).collect() });
    }
    offer_places(draft, &kept);
    fill_parts(&mut act, &kept);
    let at = draft.message.sent;
    let codes = kept.iter().map(|k| k.code).collect();
    draft.note(at, Fact::Stored { expressed, kept });
    owner::mark(draft, at, codes, marks);
    draft.heard(act);
}

/// What is true of containers from the start, as if it had stood on the label: when the milk was expressed, whose it is,
/// for which child, what it is called.
fn relabel(draft: &mut Draft, mut act: Act) {
    let found = with(draft, &mut act, |_, _| (Vec::new(), Wanted::Any, Otherwise::Last));
    let Some(codes) = found else { return };
    let household = draft.ledger.household();
    let whose = act.person.as_deref().filter(|_| household.several_owners());
    let child = match act.child.as_deref().map(|words| (words, household.child_called(words))) {
        Some((words, None)) if !household.several_children() => {
            return draft.stick(Piece::NoSuchChild { child: words.to_owned() });
        }
        child => child.and_then(|(_, child)| child),
    };
    let marks = Marks {
        whose: whose.and_then(|name| household.pumping_called(name)).map(str::to_owned),
        child: child.map(|c| c.name.clone()),
        tags: act.tags.clone(),
    };
    let expressed = act.change.as_ref().and_then(|c| c.at).map(|at| moment(draft.ledger, at));
    if expressed.is_none() && marks.is_empty() {
        return draft.stick(Piece::NothingToCorrect);
    }
    let at = draft.message.sent;
    draft.note(at, Fact::Labelled { codes: codes.clone(), expressed, marks });
    codes.iter().for_each(|code| draft.say(Piece::Label { code: *code }));
    draft.heard(act);
}

fn nurse(draft: &mut Draft, mut act: Act) {
    match owner::child(draft, &act) {
        Ok(child) => act.child = child,
        Err(trouble) => return draft.trouble(trouble),
    }
    let at = draft.at(&act);
    let child = act.child.clone();
    draft.say(Piece::Nursed { side: act.side, minutes: act.minutes, at, child });
    draft.note(at, Fact::Nursed { side: act.side, minutes: act.minutes, child: act.child.clone() });
    draft.heard(act);
}

fn formula(draft: &mut Draft, mut act: Act) {
    match owner::child(draft, &act) {
        Ok(child) => act.child = child,
        Err(trouble) => return draft.trouble(trouble),
    }
    let at = draft.at(&act);
    draft.say(Piece::Formula { ml: act.ml, at, child: act.child.clone() });
    draft.note(at, Fact::Formula { ml: act.ml, child: act.child.clone() });
    draft.heard(act);
}

/// Containers at home in an order, by what may be done to them.
pub fn at_home(stock: &Stock, fits: impl Fn(&Container) -> bool) -> Vec<&Container> {
    at_site(stock, None, fits)
}

/// The same where a message says that it was elsewhere.
pub fn at_site<'s>(
    stock: &'s Stock,
    site: Option<&Site>,
    fits: impl Fn(&Container) -> bool,
) -> Vec<&'s Container> {
    let there = |c: &&Container| c.life.site.as_ref() == site && fits(c);
    let mut found: Vec<&Container> = stock.here().filter(there).collect();
    found.sort_by_key(|c| (c.use_by(), c.code));
    found
}

/// Frozen milk in the order in which it is thawed: by the day it was first frozen, then expressed, then label.
pub fn frozen_in_order<'a>(draft: &Draft, stock: &'a Stock) -> Vec<&'a Container> {
    let zone = draft.ledger.household().zone;
    let mut found = at_home(stock, |c| {
        c.is_frozen() && c.age_known() && c.held_since.is_none() && c.suspect_since.is_none()
    });
    found.sort_by_key(|c| {
        let day = c.life.first_frozen.map(|f| f.with_timezone(&zone).date_naive());
        (day.is_none(), day, c.life.expressed, c.code)
    });
    found
}

/// Finds the containers, and goes on with them; or sticks.
pub fn with(
    draft: &mut Draft,
    act: &mut Act,
    search: impl Fn(&Draft, &Stock) -> (Vec<Code>, Wanted, Otherwise),
) -> Option<Vec<Code>> {
    let stock = draft.stock_at(draft.at(act));
    let (order, kind, otherwise) = search(draft, &stock);
    let order = order.iter().filter_map(|c| stock.get(*c)).collect();
    let (good, left_out) = without_wrong_labels(&stock, &act.codes);
    act.codes = good;
    draft.leave_out(left_out);
    match choose(draft, act, &stock, Search { order, kind, otherwise }) {
        Ok(codes) => {
            act.codes = codes.clone();
            Some(codes)
        }
        Err(trouble) => {
            draft.trouble(trouble);
            None
        }
    }
}

pub fn codes_of(order: &[&Container]) -> Vec<Code> {
    order.iter().map(|c| c.code).collect()
}

pub fn did(draft: &mut Draft, what: Did, codes: &[Code], act: &Act) {
    draft.say(Piece::Did {
        what,
        codes: codes.to_vec(),
        ml: act.ml,
        place: act.place,
        site: act.site.clone(),
    });
}

/// Milk that must not be used is said to be so when somebody gets it ready.
pub fn warn_of(draft: &mut Draft, codes: &[Code]) {
    for code in codes {
        let Some(container) = draft.stock.get(*code) else { continue };
        let (held, suspect) = (container.held_since.is_some(), container.suspect_since.is_some());
        if held {
            draft.say(Piece::GivenHeld { code: *code });
        }
        if suspect {
            draft.say(Piece::GivenSuspect { code: *code });
        }
    }
}

fn warm(draft: &mut Draft, mut act: Act) {
    let sent = draft.message.sent;
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&query::in_order_of_use(draft.ledger, stock, sent)), Wanted::Any, Otherwise::First)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let past: Vec<(Code, Moment)> = past_codes(&draft.stock, &codes, at);
    draft.note(at, Fact::Warmed { codes: codes.clone() });
    did(draft, Did::Warmed, &codes, &act);
    warn_of(draft, &codes);
    for (code, by) in past {
        draft.say(Piece::GivenPast { code, by });
    }
    draft.heard(act);
}

pub fn past_codes(stock: &Stock, codes: &[Code], at: Moment) -> Vec<(Code, Moment)> {
    codes
        .iter()
        .filter_map(|c| stock.get(*c))
        .filter(|c| c.is_past(at) && !c.used_at_once(at))
        .filter_map(|c| Some((c.code, c.use_by()?)))
        .collect()
}

fn combine(draft: &mut Draft, mut act: Act) {
    if nothing_to_pour(draft, &act) {
        return draft.stick(Piece::WhichOne);
    }
    let found = with(draft, &mut act, |_, stock| {
        let mut order = at_home(stock, |c| !c.is_frozen() && !c.is_started());
        order.sort_by_key(|c| (c.life.expressed, c.code));
        (codes_of(&order), Wanted::Unfrozen, Otherwise::Last)
    });
    let Some(codes) = found else { return };
    // Poured together: into the one named, else into the one that is named first.
    let into = act.into.unwrap_or(codes[0]);
    if draft.stock.get(into).is_none_or(|c| !c.exists()) {
        return draft.stick(Piece::NoSuch { codes: vec![into] });
    }
    let from: Vec<Code> = codes.iter().copied().filter(|c| *c != into).collect();
    if from.is_empty() && act.add_ml.is_none() {
        return draft.stick(Piece::WhichOne);
    }
    let at = draft.at(&act);
    let all: Vec<Code> = [&[into], from.as_slice()].concat();
    let was = draft.stock.clone();
    let result = act.ml;
    let added = act.add_ml.filter(|_| from.is_empty());
    draft.note(at, Fact::Combined { into, from, result, added, place: act.place });
    act.into = Some(into);
    did(draft, Did::Combined, &[into], &act);
    owner::warn_of_mixing(draft, &was, &all);
    let drunk_from = |code: &Code| was.get(*code).is_some_and(Container::is_started);
    let drunk_from: Vec<Code> = all.iter().copied().filter(drunk_from).collect();
    if !drunk_from.is_empty() {
        draft.say(Piece::StartedMixed { codes: drunk_from });
    }
    draft.say(Piece::CombiningRule);
    draft.heard(act);
}

/// "Added 40 to 13": from where, where the message made nothing before. What somebody spoke of last is not it: that may
/// be a bottle that was drunk from.
fn nothing_to_pour(draft: &Draft, act: &Act) -> bool {
    let named = !act.codes.is_empty() || act.pick.is_some() || act.count.is_some() || !act.tags.is_empty();
    act.add_ml.is_some() && act.into.is_some() && !named && draft.last_codes().is_empty()
}

fn split(draft: &mut Draft, mut act: Act) {
    let sent = draft.message.sent;
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&query::in_order_of_use(draft.ledger, stock, sent)), Wanted::Unfrozen, Otherwise::First)
    });
    let Some(codes) = found else { return };
    let Some(first) = draft.stock.get(codes[0]) else { return };
    let (place, site) = (first.life.place, first.life.site.clone());
    let told = act.parts.clone().unwrap_or_else(|| vec![Part { ml: act.ml, ..Part::default() }]);
    let stays =
        |p: &Part| act.place.is_none() && p.site.is_none() && p.place.is_none() || as_before(draft, p);
    let stays: Vec<bool> = told.iter().map(stays).collect();
    let parts: Vec<Part> = told
        .into_iter()
        .map(|p| Part { place: p.place.or(act.place).or(Some(place)), site: p.site.or(site.clone()), ..p })
        .collect();
    let Some(mut kept) = parts_kept(draft, &parts, None) else { return draft.stick(Piece::AmountMissing) };
    kept.iter_mut().zip(stays).for_each(|(k, stays)| k.untold = stays);
    let at = draft.at(&act);
    fill_parts(&mut act, &kept);
    let labels: Vec<Code> = kept.iter().map(|k| k.code).collect();
    let was = draft.stock.clone();
    draft.note(at, Fact::Split { from: codes.clone(), kept });
    for code in labels {
        draft.say(Piece::Label { code });
    }
    owner::warn_of_mixing(draft, &was, &codes);
    draft.heard(act);
}

fn discard(draft: &mut Draft, mut act: Act) {
    let sent = draft.message.sent;
    let ml = act.ml;
    let answers = draft.message.about.is_some() || draft.message.replies_to.is_some();
    let spoken = answers || !draft.last_codes().is_empty();
    let site = act.site.clone();
    let found = with(draft, &mut act, |_, stock| {
        let mut order = at_site(stock, site.as_ref(), |c| ml.is_none_or(|ml| c.ml >= ml));
        // What people throw away is most likely past, started, warm, or just as much as they say.
        order.sort_by_key(|c| {
            (!c.is_past(sent), !c.is_started(), ml != Some(c.ml), c.is_frozen(), c.use_by(), c.code)
        });
        // Without a label nothing is thrown away but what is no good any more, or in so small a part of the books.
        let spent = order.iter().filter(|c| c.is_past(sent) || c.is_started()).count();
        let otherwise = match ml {
            Some(_) if !spoken && (spent > 0 || order.len() == 1) => Otherwise::First,
            Some(_) if !spoken => Otherwise::Nothing,
            _ => Otherwise::Last,
        };
        (codes_of(&order), Wanted::Any, otherwise)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    draft.note(at, Fact::Discarded { codes: codes.clone(), ml });
    did(draft, Did::Discarded, &codes, &act);
    draft.heard(act);
}
