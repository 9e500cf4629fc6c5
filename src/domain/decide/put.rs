//! Milk that is put somewhere else or thaws: from one act to the facts it makes, and what is to be said beside them.

use crate::domain::act::{Act, Code, Kind, Pick, ThawHow};
use crate::domain::answer::{Choice, ChoiceLabel, Did, Piece, Press, Wanted};
use crate::domain::fact::Fact;
use crate::domain::household::Role;
use crate::domain::ledger::{Container, Stock};
use crate::domain::milk::{Gone, State};
use crate::domain::place::{Place, Site};
use crate::domain::volume::Volume;

use super::aside;
use super::choose::{Otherwise, which};
use super::draft::{Draft, Trouble, moment};
use super::record::{at_home, codes_of, did, frozen_in_order, warn_of, with};

/// Put somewhere else. What a count had missed is there after all; what was sent away is back, unless the one who has it
/// there put it somewhere there.
pub fn relocate(draft: &mut Draft, mut act: Act) {
    let Some(place) = act.place else {
        return match act.site.clone() {
            Some(_) => aside::send(draft, act),
            None => draft.stick(Piece::WhichOne),
        };
    };
    seen_again(draft, &act);
    since_put(draft, &mut act);
    act.site = act.site.clone().or_else(|| kept_there(draft, &act));
    if let Err(trouble) = holding(draft, &mut act, place) {
        return draft.trouble(trouble);
    }
    let meant = act.clone();
    let found = with(draft, &mut act, |_, stock| {
        (codes_of(&to_move(stock, &meant, place)), Wanted::Any, Otherwise::Last)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let back_again = put_back(draft, &mut act, &codes);
    let in_state = |fits: &dyn Fn(&Container) -> bool| -> Vec<Code> {
        let fits = |c: &&Code| draft.stock.get(**c).is_some_and(|c| place.is_freezer() && fits(c));
        codes.iter().filter(fits).copied().collect()
    };
    let refused = in_state(&|c| c.life.state >= State::Thawing && !c.is_started() && c.life.was_frozen());
    let warmed = in_state(&|c| c.life.state >= State::Thawing && !c.is_started() && !c.life.was_frozen());
    let drunk_from = in_state(&Container::is_started);
    let thaws = |c: &&Code| draft.stock.get(**c).is_some_and(|c| c.is_frozen() && !place.is_freezer());
    let thawing: Vec<Code> = codes.iter().filter(thaws).copied().collect();
    let away = |c: &&Code| act.site.is_none() && draft.stock.get(**c).is_some_and(Container::is_sent);
    let back: Vec<Code> = codes.iter().filter(away).copied().collect();
    draft.note(at, Fact::Moved { codes: codes.clone(), place, site: act.site.clone() });
    let others: Vec<Code> =
        codes.iter().copied().filter(|c| !thawing.contains(c) && !back.contains(c)).collect();
    if !others.is_empty() {
        // "Out for 3 hours, now back in the fridge": one line tells where it is now.
        let same = |p: &Piece| matches!(p, Piece::Did { what: Did::Moved, codes, .. } if *codes == others);
        draft.pieces.retain(|p| !same(p));
        did(draft, Did::Moved, &others, &act);
    }
    if !thawing.is_empty() {
        did(draft, Did::Thawing, &thawing, &act);
    }
    if !back.is_empty() {
        did(draft, Did::Returned, &back, &act);
        draft.say(Piece::HoursAway { codes: back });
    }
    if !refused.is_empty() {
        draft.say(Piece::NotRefrozen { codes: refused });
    }
    if !warmed.is_empty() {
        draft.say(Piece::NotFrozenNow { codes: warmed });
    }
    if !drunk_from.is_empty() {
        draft.say(Piece::NotFrozenStarted { codes: drunk_from });
    }
    draft.heard(act);
    back_again.into_iter().for_each(|back| relocate(draft, back));
}

/// "The 40 is in the fridge": the one container that holds so much, first of those that lay elsewhere. It is never new milk.
fn holding(draft: &Draft, act: &mut Act, place: Place) -> Result<(), Trouble> {
    let Some(ml) = act.ml.filter(|_| act.codes.is_empty() && act.named_from.is_none()) else { return Ok(()) };
    let stock = draft.stock_at(draft.at(act));
    let holds = |c: &Container| c.ml.less(ml) + ml.less(c.ml) <= ALIKE;
    let all = at_home(&stock, holds);
    let elsewhere: Vec<&Container> = all.iter().copied().filter(|c| c.life.place != place).collect();
    let found = codes_of(if elsewhere.is_empty() { &all } else { &elsewhere });
    (act.pick, act.count, act.ml, act.about) = (None, None, None, false);
    match found.as_slice() {
        [] => Err(Piece::NoneLike { kind: Wanted::Any }.into()),
        [_] => {
            act.codes = found;
            Ok(())
        }
        _ => Err(which(act, found.into_iter().map(|code| vec![code]))),
    }
}

/// Amounts that are read off one container differ by less. Our own choice, no source.
const ALIKE: Volume = Volume::from_microlitres(2_000);

/// What may be meant by words that name no label. Milk that isn't frozen goes first, whatever the place; the oldest first.
fn to_move<'s>(stock: &'s Stock, act: &Act, place: Place) -> Vec<&'s Container> {
    let fits = |c: &&Container| match place {
        p if p.is_freezer() => {
            c.life.place != p && (c.is_frozen() || c.life.state == State::Fresh || act.thawed)
        }
        p => c.life.place != p,
    };
    let mut order = at_home(stock, |c| fits(&c));
    let home = |c: &Container| c.life.site.is_none() && !c.is_sent();
    // A cooler travels, and who comes home from work brings what was there.
    if act.brought || act.from == Some(Place::Cooler) {
        order.extend(stock.existing().filter(|c| c.life.site == Some(Site::Work)));
    }
    order.sort_by_key(|c| (c.is_frozen(), act.brought && home(c), c.use_by(), c.code));
    // "Home, everything in the fridge": nobody thaws the freezer along with it, whatever else there is.
    let everything = act.pick == Some(Pick::All) && act.from.is_none() && act.tags.is_empty();
    if act.brought || everything && !place.is_freezer() {
        order.retain(|c| !c.is_frozen() || place.is_freezer() && !home(c));
    }
    order
}

/// "On the counter from 8 to 9": by then it was where it had lain before.
fn put_back(draft: &Draft, act: &mut Act, codes: &[Code]) -> Vec<Act> {
    let then = draft.stock_at(draft.at(act));
    let until = act.until.take().filter(|until| moment(draft.ledger, *until) <= draft.message.sent);
    let Some(until) = until else { return Vec::new() };
    let lay = |code: &Code| then.get(*code).map(|c| (c.life.place, c.life.site.clone(), *code));
    let mut lay: Vec<_> =
        codes.iter().filter_map(lay).filter(|(place, ..)| Some(*place) != act.place).collect();
    lay.sort();
    lay.chunk_by(|a, b| (a.0, &a.1) == (b.0, &b.1))
        .map(|same| Act {
            codes: same.iter().map(|(_, _, code)| *code).collect(),
            place: Some(same[0].0),
            site: same[0].1.clone(),
            at: Some(until),
            timed: true,
            ..Act::new(Kind::Move)
        })
        .collect()
}

/// "Out for 9 hours", of milk that is on the books for 6: from when it was put where it lay. Without this the hours would be
/// those of milk that wasn't there yet, and lost.
fn since_put(draft: &Draft, act: &mut Act) {
    let then = draft.stock_at(draft.at(act));
    let later = |code: &Code| draft.stock.get(*code).filter(|_| then.get(*code).is_none())?.life.placed;
    let Some(placed) = act.codes.iter().filter_map(later).max() else { return };
    let civil = placed.with_timezone(&draft.ledger.household().zone).naive_local();
    (act.at, act.at_latest, act.timed) = (Some(civil), None, true);
}

/// What was counted as missing and is spoken of with its place is on the books again.
pub fn seen_again(draft: &mut Draft, act: &Act) {
    let missing = |c: &&Code| draft.stock.get(**c).is_some_and(|c| c.gone == Some(Gone::Missing));
    let back: Vec<Code> = act.codes.iter().filter(missing).copied().collect();
    if !back.is_empty() {
        let at = draft.at(act);
        draft.note(at, Fact::Counted { missing: Vec::new(), back: back.clone() });
        draft.say(Piece::SeenAgain { codes: back });
    }
}

/// A child-care worker speaks of the places there.
fn kept_there(draft: &Draft, act: &Act) -> Option<Site> {
    let by = draft.message.by.and_then(|by| draft.ledger.household().person(by))?;
    let first = act.codes.first().and_then(|code| draft.stock.get(*code)).filter(|c| c.is_sent())?;
    first.life.site.clone().filter(|site| by.role == Role::ChildCare && *site == Site::Daycare)
}

pub fn thaw(draft: &mut Draft, mut act: Act) {
    since_put(draft, &mut act);
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&frozen_in_order(draft, stock)), Wanted::Frozen, Otherwise::First)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let never = never_frozen(draft, &codes);
    draft.note(at, Fact::Thaw { codes: codes.clone(), how: act.how });
    did(draft, Did::Thawing, &codes, &act);
    warn_of(draft, &codes);
    never.into_iter().for_each(|piece| draft.say(piece));
    if act.how.is_none() {
        ask_how(draft, codes);
    }
    draft.heard(act);
}

/// How it thaws is asked under the receipt; until then the hours in the room count.
pub fn ask_how(draft: &mut Draft, codes: Vec<Code>) {
    let entry = draft.entry();
    draft.say(Piece::AskThawHow { codes });
    for how in [ThawHow::Fridge, ThawHow::WarmWater, ThawHow::Room] {
        draft.buttons.push(Choice { label: ChoiceLabel::How(how), press: Press::How { entry, how } });
    }
}

/// A label may be mistyped: what by the books never was in a freezer can't thaw.
fn never_frozen(draft: &Draft, codes: &[Code]) -> Option<Piece> {
    let never = |c: &&Code| draft.stock.get(**c).is_some_and(|c| c.life.never_frozen());
    let codes: Vec<Code> = codes.iter().filter(never).copied().collect();
    (!codes.is_empty()).then_some(Piece::NeverFrozen { codes })
}

/// Milk that by the books still lay in the freezer left it to a place that nobody told.
pub fn thawed(draft: &mut Draft, mut act: Act) {
    let found = with(draft, &mut act, |_, stock| {
        let order = at_home(stock, |c| c.life.state == State::Thawing);
        let otherwise = if order.len() == 1 { Otherwise::First } else { Otherwise::Last };
        (codes_of(&order), Wanted::Frozen, otherwise)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let never = never_frozen(draft, &codes);
    let still = |code: &Code| draft.stock.get(*code).is_some_and(Container::is_frozen);
    let frozen: Vec<Code> = codes.iter().copied().filter(still).collect();
    if !frozen.is_empty() {
        draft.note(at, Fact::Thaw { codes: frozen.clone(), how: act.how });
    }
    draft.note(at, Fact::Thawed { codes: codes.clone(), just_now: act.timed });
    did(draft, Did::Thawed, &codes, &act);
    never.into_iter().for_each(|piece| draft.say(piece));
    if !frozen.is_empty() && act.how.is_none() {
        ask_how(draft, frozen);
    }
    draft.heard(act);
}
