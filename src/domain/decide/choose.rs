//! Which containers an act is about: those named, or those that the words and the stock point to. Where they point to
//! none, or nothing in particular, the trouble is said instead of guessed.

use chrono::TimeDelta;

use crate::domain::act::{Act, Code, Doubt, Kind, Pick};
use crate::domain::answer::{Piece, Wanted};
use crate::domain::fact::Dated;
use crate::domain::ledger::{Container, Said, Stock, codes_made};
use crate::domain::milk::{Gone, Moment};
use crate::domain::place::Place;

use super::draft::{Draft, Trouble, moment};
use super::{About, owner};

/// What to take when the act names nothing.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Otherwise {
    /// The one that was just spoken of.
    Last,
    /// The first in order.
    First,
    /// Ask.
    Nothing,
    /// All that was called so.
    All,
}

/// Where an act looks for its containers.
pub struct Search<'a> {
    /// In the order in which they should be taken.
    pub order: Vec<&'a Container>,
    pub kind: Wanted,
    pub otherwise: Otherwise,
}

/// The labels meant, or what to say instead.
pub fn choose(draft: &Draft, act: &Act, stock: &Stock, search: Search) -> Result<Vec<Code>, Trouble> {
    if !act.codes.is_empty() {
        return Ok(named(stock, &act.codes)?);
    }
    let mut search = search;
    search.order.retain(|c| has_tags(c, act));
    narrow_to_place(&mut search, act);
    if act.thawed {
        search.order.retain(|c| c.life.was_frozen() && !c.is_frozen());
    }
    if act.past {
        search.order.retain(|c| c.is_past(draft.message.sent));
    }
    let tagged = !act.tags.is_empty() && act.count.is_none() && act.pick.is_none();
    if tagged && search.otherwise != Otherwise::First {
        search.otherwise = Otherwise::All;
    }
    if picks_some(act, &search) {
        search.order = owner::narrowed(draft, act, search.order)?;
    }
    let all: Vec<Code> = search.order.iter().map(|c| c.code).collect();
    if let Some(pick) = &act.pick {
        return picked(draft, act, pick, &search, all);
    }
    if let Some(count) = act.count {
        let count = count as usize;
        return if all.len() < count.max(1) {
            Err(too_few(stock, &search).into())
        } else {
            Ok(all[..count.max(1)].to_vec())
        };
    }
    match search.otherwise {
        Otherwise::Last if after_feed(draft) => Ok(rest_of_feed(draft, &draft.last_codes(), all)),
        Otherwise::First => all.first().map(|c| vec![*c]).ok_or_else(|| too_few(stock, &search).into()),
        Otherwise::All if all.is_empty() => Err(Piece::NoneLike { kind: search.kind }.into()),
        Otherwise::All => Ok(all),
        Otherwise::Last => just_spoken_of(draft, stock).ok_or(Piece::WhichOne.into()),
        Otherwise::Nothing => Err(Piece::WhichOne.into()),
    }
}

/// Called what the act calls it.
fn has_tags(c: &Container, act: &Act) -> bool {
    act.tags.iter().all(|tag| c.marks.tags.contains(tag))
}

/// Where the containers that are meant lie, as the act tells: for many acts its place is where they go.
fn lying_in(act: &Act) -> Option<Place> {
    let here = matches!(act.kind, Kind::Feed | Kind::Discard | Kind::Hold | Kind::Release | Kind::Donate);
    act.from.or(act.place.filter(|_| here))
}

/// A feed is a fact, wherever the books have the milk: there the place only helps to choose.
fn narrow_to_place(search: &mut Search, act: &Act) {
    let Some(place) = lying_in(act) else { return };
    let lies = |c: &&Container| c.life.place == place || place == Place::Freezer && c.life.place.is_freezer();
    let there: Vec<&Container> = search.order.iter().copied().filter(lies).collect();
    if act.kind != Kind::Feed || act.pick.is_some() || !there.is_empty() {
        search.order = there;
    }
}

/// Takes some of several: then it matters whose they are.
fn picks_some(act: &Act, search: &Search) -> bool {
    match &act.pick {
        Some(pick) => matches!(pick, Pick::Oldest | Pick::Newest),
        None => act.count.is_some() || search.otherwise == Otherwise::First || act.person.is_some(),
    }
}

/// There is not so much milk that may be taken; where some is set aside, that is said, for it is the reason.
fn too_few(stock: &Stock, search: &Search) -> Piece {
    let kind = search.kind;
    let fits = |c: &&Container| match kind {
        Wanted::Frozen => c.is_frozen(),
        Wanted::Unfrozen => !c.is_frozen(),
        Wanted::Any => true,
        Wanted::Sent => false,
    };
    let here = stock.here().filter(|c| c.life.site.is_none());
    let aside = here.filter(fits).filter(|c| {
        !c.is_started() && (c.held_since.is_some() || c.suspect_since.is_some() || !c.age_known())
    });
    let codes: Vec<Code> = aside.map(|c| c.code).collect();
    if codes.is_empty() { Piece::NoneLike { kind } } else { Piece::SetAside { codes } }
}

/// The labels that can be acted on, and those that the act goes on without: it was said of the others all the same.
pub fn without_wrong_labels(stock: &Stock, codes: &[Code]) -> (Vec<Code>, Vec<(Code, Option<Gone>)>) {
    let wrong = |code: &Code| match stock.get(*code) {
        None => Some((*code, None)),
        Some(c) if !c.exists() => Some((*code, c.gone)),
        Some(_) => None,
    };
    let left_out: Vec<(Code, Option<Gone>)> = codes.iter().filter_map(wrong).collect();
    let good: Vec<Code> = codes.iter().copied().filter(|c| wrong(c).is_none()).collect();
    if good.is_empty() { (codes.to_vec(), Vec::new()) } else { (good, left_out) }
}

fn named(stock: &Stock, codes: &[Code]) -> Result<Vec<Code>, Piece> {
    let unknown: Vec<Code> = codes.iter().copied().filter(|c| stock.get(*c).is_none()).collect();
    if !unknown.is_empty() {
        return Err(Piece::NoSuch { codes: unknown });
    }
    let gone = codes.iter().find_map(|c| {
        stock.get(*c).and_then(|c| c.gone.filter(|g| *g != Gone::Sent).map(|gone| (c.code, gone)))
    });
    match gone {
        Some((code, gone)) => Err(Piece::AlreadyGone { code, gone }),
        None => Ok(codes.to_vec()),
    }
}

fn picked(
    draft: &Draft,
    act: &Act,
    pick: &Pick,
    search: &Search,
    all: Vec<Code>,
) -> Result<Vec<Code>, Trouble> {
    let count = act.count.unwrap_or(1).max(1) as usize;
    let found: Vec<Code> = match pick {
        Pick::Oldest => by_age(&search.order).into_iter().take(count).collect(),
        Pick::Newest => by_age(&search.order).into_iter().rev().take(count).collect(),
        Pick::All if uses_up(act) && !says_which(act) => return all_of_it(draft, act, all),
        Pick::All => all,
        Pick::Rest => return rest(draft, act, search, all),
        Pick::Last => just_spoken_of(draft, &draft.stock).unwrap_or_default(),
        Pick::Phrase(_) if act.past => all,
        Pick::Phrase(_) => return named_by_time(act, from_then(draft, act, &search.order), search),
    };
    none_is_trouble(found, search)
}

fn none_is_trouble(found: Vec<Code>, search: &Search) -> Result<Vec<Code>, Trouble> {
    if found.is_empty() { Err(Piece::NoneLike { kind: search.kind }.into()) } else { Ok(found) }
}

/// What can't be taken back from the bin or the child.
fn uses_up(act: &Act) -> bool {
    matches!(act.kind, Kind::Discard | Kind::Feed)
}

/// The act tells which of all containers it means.
fn says_which(act: &Act) -> bool {
    lying_in(act).is_some() || act.past || act.site.is_some() || !act.tags.is_empty()
}

/// "All of it": of what the message was about, or answers to. Never the whole stock on a guess.
fn all_of_it(draft: &Draft, act: &Act, all: Vec<Code>) -> Result<Vec<Code>, Trouble> {
    let answers = draft.message.about.is_some() || draft.message.replies_to.is_some();
    if (answers || !draft.last_codes().is_empty())
        && let Some(codes) = just_spoken_of(draft, &draft.stock)
    {
        return Ok(codes);
    }
    match all.as_slice() {
        [] | [_] => Ok(all),
        _ => {
            let last = just_spoken_of(draft, &draft.stock).filter(|last| *last != all);
            Err(which(act, last.into_iter().chain([all])))
        }
    }
}

/// "The one from yesterday" is one container, and none is fed on a guess.
fn named_by_time(act: &Act, found: Vec<Code>, search: &Search) -> Result<Vec<Code>, Trouble> {
    let one = act.count == Some(1) || act.kind == Kind::Feed && act.count.is_none();
    if one && found.len() > MOST_OPTIONS {
        return Err(Piece::WhichOne.into());
    }
    if one && found.len() > 1 {
        return Err(which(act, found.into_iter().map(|code| vec![code])));
    }
    none_is_trouble(found.into_iter().take(act.count.map_or(usize::MAX, |n| n as usize)).collect(), search)
}

/// Most buttons that a question has.
const MOST_OPTIONS: usize = 6;

/// Asks which containers are meant, with what each answer makes of the act.
pub fn which(act: &Act, options: impl Iterator<Item = Vec<Code>>) -> Trouble {
    let named = |codes| Act { codes, pick: None, count: None, past: false, ..act.clone() };
    Trouble::Ask(Doubt::Which, options.map(named).collect())
}

/// "The rest": of the bottle, where the message told of a feed; else all but those that it named, which nobody throws
/// away on a guess.
fn rest(draft: &Draft, act: &Act, search: &Search, all: Vec<Code>) -> Result<Vec<Code>, Trouble> {
    let spoken = draft.last_codes();
    if spoken.is_empty() || act.kind == Kind::Feed && !after_feed(draft) {
        // Where a leftover must not go, it is still the one that is meant, and it is told why.
        let here: Vec<&Container> = draft.stock.current_here().filter(|c| c.life.site.is_none()).collect();
        let found = if search.kind == Wanted::Any { leftover(&here) } else { leftover(&search.order) };
        return none_is_trouble(found, search);
    }
    if after_feed(draft) {
        return none_is_trouble(rest_of_feed(draft, &spoken, all), search);
    }
    let others: Vec<Code> = all.into_iter().filter(|c| !spoken.contains(c)).collect();
    if uses_up(act) && !others.is_empty() {
        return Err(which(act, [others].into_iter()));
    }
    none_is_trouble(others, search)
}

fn rest_of_feed(draft: &Draft, spoken: &[Code], all: Vec<Code>) -> Vec<Code> {
    match draft.bottle() {
        Some(bottle) => vec![bottle],
        None => all.into_iter().filter(|c| spoken.contains(c)).collect(),
    }
}

fn after_feed(draft: &Draft) -> bool {
    draft.last_act().is_some_and(|act| act.kind == Kind::Feed)
}

/// "The rest", where nothing was named before: of the bottle that was drunk from last.
fn leftover(order: &[&Container]) -> Vec<Code> {
    let started = order.iter().filter(|c| c.is_started());
    started
        .max_by_key(|c| (c.life.feed_ended.or(c.life.feed_began), c.code))
        .map(|c| c.code)
        .into_iter()
        .collect()
}

/// Of equally old milk what isn't frozen comes first: nobody feeds ice.
fn by_age(order: &[&Container]) -> Vec<Code> {
    let mut order = order.to_vec();
    order.sort_by_key(|c| (c.life.expressed, c.is_frozen(), c.code));
    order.into_iter().map(|c| c.code).collect()
}

/// What this message named before, else what the reminder that it replies to was about, else this person's last entry or
/// question.
pub fn just_spoken_of(draft: &Draft, stock: &Stock) -> Option<Vec<Code>> {
    let here = draft.last_codes();
    if !here.is_empty() {
        return Some(here);
    }
    let mut codes = spoken_of_before(draft)?;
    codes.retain(|code| stock.get(*code).is_some_and(Container::exists));
    (!codes.is_empty()).then_some(codes)
}

fn spoken_of_before(draft: &Draft) -> Option<Vec<Code>> {
    let talk = draft.ledger.talk();
    if let Some(About::Reminder(seq)) = draft.message.about {
        return Some(talk.reminder(seq)?.reminder.codes.iter().map(|(code, _)| *code).collect());
    }
    let by = draft.message.by?;
    let replied = draft.message.replies_to;
    let mut said = replied.and_then(|seq| draft.ledger.said(seq));
    let mut asked = replied.and_then(|seq| talk.spoken(seq));
    if said.is_none() && asked.is_none() {
        said = draft.ledger.said_by(by).next();
        asked = talk.spoken_by(by).filter(|asked| said.is_none_or(|said| said.seq < asked.seq));
    }
    match asked {
        Some(asked) => Some(asked.codes.clone()),
        None => said.map(codes_of),
    }
}

/// The containers that an entry named or made.
fn codes_of(said: &Said) -> Vec<Code> {
    let named = said.acts.iter().flat_map(|a| a.codes.iter().copied());
    named.chain(said.facts.iter().flat_map(|d| codes_made(&d.fact))).collect()
}

/// The containers that were expressed, or drunk from, in the span of time that a phrase names.
fn from_then(draft: &Draft, act: &Act, order: &[&Container]) -> Vec<Code> {
    let Some(from) = act.named_from else { return Vec::new() };
    let to = moment(draft.ledger, act.named_to.unwrap_or(from));
    let from = moment(draft.ledger, from);
    let fed = |c: &Container| c.life.feed_began.or(c.life.feed_ended);
    let near = |at: Option<Moment>| at.is_some_and(|at| at >= from && at <= to);
    let within: Vec<Code> =
        order.iter().filter(|c| near(c.life.expressed) || near(fed(c))).map(|c| c.code).collect();
    if !within.is_empty() || to - from > TimeDelta::hours(1) {
        return within;
    }
    // A clock time is remembered roughly.
    let close = |at: Option<Moment>| at.is_some_and(|at| (at - from).abs() <= TimeDelta::minutes(30));
    order.iter().filter(|c| close(c.life.expressed) || close(fed(c))).map(|c| c.code).collect()
}

/// A vague time ("this morning") begins no earlier than the containers of which it is told.
pub fn not_before_it_was_there(draft: &Draft, act: &mut Act) {
    let (Some(_), Some(latest)) = (act.at, act.at_latest) else { return };
    let made = |d: &&Dated| codes_made(&d.fact).iter().any(|code| act.codes.contains(code));
    let facts = draft.ledger.newest_first().flat_map(|said| &said.facts);
    let Some(from) = facts.filter(made).map(|d| d.at).max() else { return };
    let civil = from.with_timezone(&draft.ledger.household().zone).naive_local();
    if from > draft.at(act) && civil <= latest {
        act.at = Some(civil);
    }
}
