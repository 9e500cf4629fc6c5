//! Feeds: the commonest entry, and the one with the most ways to be told. The rest of a bottle is started milk, no stock.

use chrono::TimeDelta;

use crate::domain::act::{Act, Code, Kind, Pick, ThawHow};
use crate::domain::answer::{Choice, ChoiceLabel, Piece, Press, Wanted};
use crate::domain::fact::{Fact, Feed};
use crate::domain::household::Role;
use crate::domain::ledger::{Container, JUG, Ledger, MealKind, Stock};
use crate::domain::milk::Moment;
use crate::domain::place::Site;
use crate::domain::query;
use crate::domain::volume::Volume;

use super::choose::{Otherwise, Search, choose, without_wrong_labels};
use super::draft::{Draft, Trouble, moment};
use super::owner;
use super::put;
use super::record::past_codes;

/// A feed that began longer ago was never told to have ended. Our own choice, no source.
const LONGEST_FEED: TimeDelta = TimeDelta::hours(3);

pub fn feed(draft: &mut Draft, mut act: Act) {
    match owner::child(draft, &act) {
        Ok(child) => act.child = child,
        Err(trouble) => return draft.trouble(trouble),
    }
    rest_or_next(draft, &mut act);
    let at = draft.at(&act);
    let named = !act.codes.is_empty() || act.pick.is_some() || act.count.is_some();
    let stock = draft.stock_at(at);
    let (good, left_out) = without_wrong_labels(&stock, &act.codes);
    act.codes = good;
    draft.leave_out(left_out);
    let codes = match source(draft, &act, &stock, at) {
        Ok(codes) => codes,
        Err(trouble) => return draft.trouble(trouble),
    };
    half_of_them(&mut act, &stock, &codes);
    if codes.is_empty() && act.ml.is_none() && act.offered_ml.is_none() && !act.open {
        return draft.stick(Piece::AmountMissing);
    }
    let past = past_codes(&stock, &codes, at);
    let feed = told(draft, &act, &codes, at);
    act.codes = codes.clone();
    let over = feed.open && feed.ended.is_some() && !codes.is_empty();
    if over {
        // How much is left is said once the books have it.
    } else if feed.open {
        draft.say(Piece::FeedBegan { codes: codes.clone(), at });
    } else {
        let (drunk, child) = (feed.drunk.or(act.offered_ml), feed.child.clone());
        draft.say(Piece::Fed { codes: codes.clone(), drunk, chosen: !named, child, at });
    }
    warn(draft, &codes, &past);
    owner::warn_of_wrong_milk(draft, &codes, act.child.as_deref());
    let bottle = feed.bottle;
    let before = draft.stock.totals.found;
    let ice = poured_from_ice(draft, &feed);
    if !ice.is_empty() {
        draft.note(at, Fact::Thaw { codes: ice.clone(), how: act.how });
    }
    draft.note(at, Fact::Fed(feed));
    rest(draft, &act, &codes, bottle);
    if ice.iter().any(|c| draft.stock.get(*c).is_some_and(Container::exists)) && act.how.is_none() {
        put::ask_how(draft, ice);
    }
    if !named && !act.open {
        draft.offer_others(&codes);
    }
    if act.more
        && let Some(ml) = so_far(&draft.stock)
    {
        draft.say(Piece::SoFar { ml });
    }
    let beyond = draft.stock.totals.found - before;
    if beyond > Volume::ZERO {
        draft.say(Piece::MoreThanThere { code: codes.last().copied(), beyond });
    }
    draft.heard(act);
}

/// "Gave #17, left half": of what the books say it held, so that the other half is started milk.
fn half_of_them(act: &mut Act, stock: &Stock, codes: &[Code]) {
    if !act.half || codes.is_empty() || act.ml.or(act.left_ml).is_some() {
        return;
    }
    let whole: Volume = codes.iter().filter_map(|code| stock.get(*code)).map(|c| c.ml).sum();
    let half = Volume::from_microlitres(whole.microlitres() / 2);
    (act.ml, act.about) = (Some(half), true);
    act.left_ml = Some(whole.less(half)).filter(|_| !act.poured);
}

/// Frozen by the books, but nobody pours from ice: it had been taken out, and nobody said so. It thaws from now on at the
/// latest.
fn poured_from_ice(draft: &Draft, feed: &Feed) -> Vec<Code> {
    let last = feed.codes.last().and_then(|code| draft.stock.get(*code));
    let poured = |c: &&Container| c.is_frozen() && (feed.poured || c.ml > JUG) && !feed.open;
    last.filter(poured).map(|c| c.code).into_iter().collect()
}

fn so_far(stock: &Stock) -> Option<Volume> {
    let last = stock.meals.last()?;
    match last.kind {
        MealKind::Bottle { drunk, .. } => Some(drunk),
        _ => None,
    }
}

/// "Finished the bottle" is the started one, if there is one; and what the message got ready just before was drunk, where
/// it names nothing else.
fn rest_or_next(draft: &Draft, act: &mut Act) {
    let any = draft.stock.current().any(|c| at_hand(draft, c) && c.is_started());
    if act.pick == Some(Pick::Rest) && !any {
        act.pick = None;
    }
    let ready = |a: &Act| {
        matches!(a.kind, Kind::Warm | Kind::Split)
            || a.kind == Kind::Thaw && a.how == Some(ThawHow::WarmWater)
    };
    if act.codes.is_empty()
        && act.pick.is_none()
        && act.count.is_none()
        && draft.last_act().is_some_and(ready)
    {
        act.pick = Some(Pick::Last);
    }
}

/// From which containers, in the order in which they are emptied.
fn source(draft: &Draft, act: &Act, stock: &Stock, at: Moment) -> Result<Vec<Code>, Trouble> {
    let order = candidates(draft, act, stock, at);
    let named = !act.codes.is_empty() || act.pick.is_some() || act.count.is_some();
    let search = Search { order, kind: Wanted::Unfrozen, otherwise: Otherwise::First };
    match choose(draft, act, stock, search) {
        // What was drunk was drunk, whether or not the books have any milk for it.
        Err(Trouble::Say(Piece::NoneLike { .. } | Piece::SetAside { .. })) if !named => Ok(Vec::new()),
        // Also if the books say that the container named is empty, or know none: it is kept as said, for people to count.
        Err(Trouble::Say(Piece::NoSuch { .. } | Piece::AlreadyGone { .. })) if act.ml.is_some() => {
            Ok(act.codes.clone())
        }
        other => other,
    }
}

/// What may have been in the bottle, likeliest first: a started bottle in its time that holds enough, what should go next,
/// and, since it has been drunk already, milk that should not have been.
fn candidates<'a>(draft: &Draft, act: &Act, stock: &'a Stock, at: Moment) -> Vec<&'a Container> {
    let amount = act.ml.unwrap_or_default() + act.left_ml.unwrap_or_default();
    // Told of the child care: from what is there, if the books have anything there.
    let there = |c: &&Container| act.site.is_some() && c.life.site == act.site;
    let mut here: Vec<&Container> = stock.current().filter(there).collect();
    if here.is_empty() {
        here.extend(stock.current().filter(|c| at_hand(draft, c)));
    }
    let rest = matches!(act.pick, Some(Pick::Rest | Pick::Phrase(_)));
    let child = act.child.as_deref().and_then(|words| draft.ledger.household().child_called(words));
    let started = |c: &&Container| {
        let fits = !c.is_past(at) && !amount.is_zero() && c.ml >= amount && c.held_since.is_none();
        let other = child.is_some_and(|child| query::is_of_another(stock, c, &child.name));
        c.is_started() && !other && (fits || rest)
    };
    let mut order: Vec<&Container> = here.iter().copied().filter(started).collect();
    order.sort_by_key(|c| (c.use_by(), c.code));
    let mut next: Vec<&Container> = here.iter().copied().filter(|c| fit_for_use(c, at)).collect();
    next.sort_by_key(|c| (c.is_frozen(), c.use_by(), c.code));
    let mut late: Vec<&Container> =
        here.iter().copied().filter(|c| c.is_past(at) && !c.is_started() && c.held_since.is_none()).collect();
    late.sort_by_key(|c| (c.is_frozen(), std::cmp::Reverse(c.use_by()), c.code));
    order.extend(next);
    order.extend(late);
    order
}

/// At home, or where a child-care worker is: with them.
fn at_hand(draft: &Draft, c: &Container) -> bool {
    let role = draft.message.by.and_then(|by| draft.ledger.household().person(by)).map(|p| p.role);
    match role {
        Some(Role::ChildCare) => c.is_sent() && c.life.site == Some(Site::Daycare),
        _ => c.gone.is_none() && c.life.site.is_none(),
    }
}

fn fit_for_use(c: &Container, at: Moment) -> bool {
    c.age_known() && !c.is_started() && !c.is_past(at) && c.held_since.is_none() && c.suspect_since.is_none()
}

fn told(draft: &mut Draft, act: &Act, codes: &[Code], at: Moment) -> Feed {
    let left = act.left_ml;
    let jug = codes.last().and_then(|c| draft.stock.get(*c)).is_some_and(|c| c.ml > JUG);
    let bottle = match left {
        Some(left) if !left.is_zero() && (jug || act.poured || codes.is_empty()) => Some(draft.label(None)),
        _ => None,
    };
    let began_told = act.timed || act.open;
    let ended = act.ended.map(|ended| moment(draft.ledger, ended));
    Feed {
        by: owner::giver(draft, act),
        child: act.child.clone(),
        codes: codes.to_vec(),
        drunk: act.ml,
        about: act.about,
        offered: act.offered_ml,
        left,
        left_place: act.left_place,
        began: began_told.then_some(at),
        ended: ended.or((!began_told).then_some(at)),
        poured: act.poured,
        bottle,
        open: act.open,
        more: act.more,
    }
}

fn warn(draft: &mut Draft, codes: &[Code], past: &[(Code, Moment)]) {
    for (code, by) in past {
        draft.say(Piece::GivenPast { code: *code, by: *by });
    }
    for code in codes {
        let Some(c) = draft.stock.get(*code) else { continue };
        let (held, suspect) = (c.held_since.is_some(), c.suspect_since.is_some());
        let unknown = !c.age_known();
        if unknown {
            draft.say(Piece::GivenUnknown { code: *code });
        }
        if held {
            draft.say(Piece::GivenHeld { code: *code });
        }
        if suspect {
            draft.say(Piece::GivenSuspect { code: *code });
        }
    }
}

/// Says what became of what was not drunk; one tap corrects the guess that all of it was in the bottle.
fn rest(draft: &mut Draft, act: &Act, codes: &[Code], bottle: Option<Code>) {
    if act.open && act.ended.is_none() {
        return;
    }
    if let Some(c) = bottle.and_then(|code| draft.stock.get(code)) {
        let piece = Piece::Leftover { code: c.code, ml: c.ml };
        draft.say(piece);
    }
    let Some(last) = codes.last().and_then(|code| draft.stock.get(*code)).filter(|c| c.exists()) else {
        return;
    };
    let (code, ml, started) = (last.code, last.ml, last.is_started());
    if !started {
        return draft.say(Piece::Rest { code });
    }
    draft.say(Piece::Leftover { code, ml });
    // What is more than was said to be left was not spoken of at all.
    if !act.open && act.left_ml.is_none_or(|left| ml > left) {
        let entry = draft.entry();
        draft.buttons.push(Choice { label: ChoiceLabel::PouredFirst, press: Press::Poured { entry } });
    }
}

/// A feed that ends one that was told to have begun: the entry it completes, and the act as it is then.
pub fn completes(ledger: &Ledger, sent: Moment, act: &Act) -> Option<(i64, Act)> {
    if act.open || !act.codes.is_empty() || act.pick.as_ref().is_some_and(|p| *p != Pick::Rest) || act.timed {
        return None;
    }
    let recent = ledger.newest_first().take_while(|s| sent - s.sent < LONGEST_FEED);
    let mut open = recent.filter(|s| {
        s.acts.len() == 1 && s.acts[0].kind == Kind::Feed && s.acts[0].open && s.acts[0].ended.is_none()
    });
    let said = open.next()?;
    let begun = &said.acts[0];
    let zone = ledger.household().zone;
    let whole = Act {
        at: begun.at,
        timed: true,
        ended: Some(sent.with_timezone(&zone).naive_local()),
        codes: begun.codes.clone(),
        pick: None,
        child: act.child.clone().or(begun.child.clone()),
        ..act.clone()
    };
    Some((said.seq, whole))
}
