//! Milk that is set aside, that leaves or comes back, and milk that people looked at or counted.

use crate::domain::act::{Act, Code, Pick, What};
use crate::domain::answer::{Did, Piece, Wanted};
use crate::domain::fact::Fact;
use crate::domain::ledger::{Container, Stock};
use crate::domain::place::Site;

use super::choose::Otherwise;
use super::draft::{Draft, moment};
use super::record::{at_home, codes_of, did, frozen_in_order, past_codes, warn_of, with};

fn any_at_home(_: &Draft, stock: &Stock) -> (Vec<Code>, Wanted, Otherwise) {
    (codes_of(&at_home(stock, |_| true)), Wanted::Any, Otherwise::Last)
}

pub fn hold(draft: &mut Draft, mut act: Act) {
    let Some(codes) = with(draft, &mut act, any_at_home) else { return };
    // A hold begins when it is said: the milk may have been used before.
    let at = draft.message.sent;
    draft.note(at, Fact::Held { codes: codes.clone() });
    did(draft, Did::Held, &codes, &act);
    draft.heard(act);
}

pub fn release(draft: &mut Draft, mut act: Act) {
    let may = draft.ledger.household().who_pumps().is_none_or(|who| Some(who) == draft.message.by);
    if !may {
        return draft.stick(Piece::NotYours);
    }
    let found = with(draft, &mut act, |_, stock| {
        (codes_of(&at_home(stock, |c| c.held_since.is_some())), Wanted::Any, Otherwise::Last)
    });
    let Some(codes) = found else { return };
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
    draft.note(at, Fact::Donated { codes: codes.clone() });
    did(draft, Did::Donated, &codes, &act);
    draft.heard(act);
}

pub fn send(draft: &mut Draft, mut act: Act) {
    let sent = draft.message.sent;
    let found = with(draft, &mut act, |_, stock| {
        (codes_of(&stock.in_order_of_use(sent)), Wanted::Any, Otherwise::Last)
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
    draft.note(at, Fact::Sent { codes: codes.clone(), site });
    did(draft, Did::Sent, &codes, &act);
    warn_of(draft, &codes);
    for (code, by) in past {
        draft.say(Piece::GivenPast { code, by });
    }
    draft.heard(act);
}

pub fn return_(draft: &mut Draft, mut act: Act) {
    let site = act.site.clone();
    let found = with(draft, &mut act, |_, stock| {
        let mut order: Vec<&Container> = stock
            .containers
            .values()
            .filter(|c| c.is_sent() && (site.is_none() || c.life.site == site))
            .collect();
        order.sort_by_key(|c| (c.use_by(), c.code));
        (codes_of(&order), Wanted::Sent, Otherwise::First)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    draft.note(at, Fact::Returned { codes: codes.clone(), place: act.place });
    did(draft, Did::Returned, &codes, &act);
    draft.heard(act);
}

pub fn outage(draft: &mut Draft, act: Act) {
    let at = draft.at(&act);
    let since = act.since.map_or(at, |since| moment(draft.ledger, since));
    let before: Vec<Code> = suspects(&draft.stock);
    let what = act.what.unwrap_or(What::Power);
    draft.note(at, Fact::Outage { what, place: act.place, since });
    let codes = suspects(&draft.stock).into_iter().filter(|c| !before.contains(c)).collect();
    draft.say(Piece::Outage { what, place: act.place, since, codes });
    draft.heard(act);
}

fn suspects(stock: &Stock) -> Vec<Code> {
    stock.existing().filter(|c| c.suspect_since.is_some()).map(|c| c.code).collect()
}

pub fn check(draft: &mut Draft, mut act: Act) {
    if act.codes.is_empty() && act.count.is_none() && act.pick.is_none() {
        act.pick = Some(Pick::All);
    }
    let place = act.place;
    let found = with(draft, &mut act, |_, stock| {
        let order = at_home(stock, |c| c.suspect_since.is_some() && place.is_none_or(|p| c.life.place == p));
        (codes_of(&order), Wanted::Any, Otherwise::Nothing)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    draft.note(at, Fact::Checked { codes: codes.clone(), found: act.found, cold: act.cold });
    did(draft, Did::Checked, &codes, &act);
    draft.heard(act);
}

/// People's count is told beside the books. Labels that were read out say exactly what is missing, and that is recorded;
/// a bare number only says how many.
pub fn count(draft: &mut Draft, act: Act) {
    let place = act.place;
    let here = at_home(&draft.stock, |c| place.is_none_or(|p| c.life.place == p));
    let books: Vec<Code> = codes_of(&here);
    let seen = act.count.unwrap_or(act.codes.len() as u32);
    let missing: Vec<Code> = if act.codes.is_empty() {
        Vec::new()
    } else {
        books.iter().copied().filter(|c| !act.codes.contains(c)).collect()
    };
    let at = draft.at(&act);
    if !missing.is_empty() {
        draft.note(at, Fact::Counted { missing: missing.clone() });
    }
    draft.say(Piece::Counted { place, seen, books: books.len() as u32, missing });
    draft.heard(act);
}
