//! Which child drank or was fed, where a message names it: "A 90, B 80", "Mateo 90 y Lucía 110".

use super::Context;
use super::clause::Clause;
use super::item::Item;
use super::pump::Pour;
use super::scene::volume;
use super::senses::{Form, Tag, Verb};

/// Less than this after a name may be medicine.
const ENOUGH_ML: f64 = 25.0;

/// "Mateo 90 y Lucía 110": amounts right after the names of children.
pub fn of_children(clause: &Clause) -> Vec<Pour> {
    let all =
        clause.items.iter().enumerate().filter_map(|(at, i)| i.amount().map(|amount| Pour { at, amount }));
    let named = all.filter(|p| child_beside(clause, p.at).is_some());
    named.collect()
}

/// The child that an amount belongs to: "Ana 60", "60 a Ana", "a Ana le di 60".
pub fn child_beside(clause: &Clause, at: usize) -> Option<String> {
    let first = || clause.items[..at].iter().all(|i| i.amount().is_none());
    let ahead = || given_at(clause, 0).filter(|_| first());
    child_before(clause, at).or_else(|| given_at(clause, at + 1)).or_else(ahead)
}

/// "le di 60 a Ana": the child is named twice, by a pronoun and by name, and nothing follows it.
pub fn given_to(clause: &Clause) -> Option<String> {
    let give = clause.heads.iter().find(|h| matches!(h.verb, Verb::Give | Verb::Feed))?.at;
    let him = |i: &Item| i.is_word() && i.has(Tag::Him);
    give.checked_sub(1).filter(|at| him(&clause.items[*at]))?;
    let last = clause.items[..give].iter().take(2).find(|i| i.has(Tag::To));
    let ahead = last.and_then(|i| clause.items.iter().position(|o| o.from == i.from));
    ahead.into_iter().chain(give + 1..clause.items.len()).find_map(|at| given_at(clause, at))
}

/// "a Ana", before a stop, a time or what another one got.
fn given_at(clause: &Clause, at: usize) -> Option<String> {
    let to = clause.items.get(at).filter(|i| i.is_word() && i.any(&[Tag::To, Tag::For]))?;
    let name = clause.items.get(at + 1).filter(|i| i.from == to.to && is_child_name(clause, i))?;
    let ends = clause.items.get(at + 2).is_none_or(|i| {
        i.sign().is_some() || i.when().is_some() || i.any(&[Tag::And, Tag::Him]) || i.verbs().next().is_some()
    });
    ends.then(|| clause.message.typed(name.from, name.to))
}

/// A letter or name right before an amount.
fn child_before(clause: &Clause, at: usize) -> Option<String> {
    let sign = usize::from(at > 1 && matches!(clause.items[at - 1].sign(), Some(':' | '-' | '=')));
    let drank = |i: &Item| i.verbs().any(|(v, _)| matches!(v, Verb::Drink | Verb::Take | Verb::Have));
    let soft = |i: &&Item| i.is_word() && (i.any(&[Tag::Just, Tag::All, Tag::About]) || drank(i));
    let skipped = clause.items[..at - sign].iter().rev().take_while(soft).count();
    let item = clause.items.get(at.checked_sub(1 + sign + skipped)?)?;
    is_child_name(clause, item).then(|| clause.message.typed(item.from, item.to))
}

/// A single capital, or a word that no vocabulary knows: families write names small as often as not.
fn is_child_name(clause: &Clause, item: &Item) -> bool {
    let typed = &clause.message.tokens[item.from].typed;
    let letter = typed.len() == 1
        && typed.chars().all(|c| c.is_ascii_uppercase())
        && !item.any(&[Tag::LeftSide, Tag::RightSide, Tag::I]);
    let word = item.unknown && typed.chars().count() > 1 && typed.chars().all(char::is_alphabetic);
    item.is_word() && item.to - item.from == 1 && (letter || word)
}

/// A word with a capital that no vocabulary knows.
pub fn is_capitalised(clause: &Clause, item: &Item) -> bool {
    is_child_name(clause, item) && clause.message.tokens[item.from].is_name()
}

/// The child that is named as the one who drank or was fed, at the head of a sheet or as whose bottles they were.
pub fn child(clause: &Clause) -> Option<String> {
    let drinks = [Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Start, Verb::Nurse];
    let mut drank = clause.heads.iter().filter(|h| drinks.contains(&h.verb) && h.form != Form::Base);
    let mut fed = clause.heads.iter().filter(|h| matches!(h.verb, Verb::Feed | Verb::Give | Verb::Nurse));
    let subject = drank.find_map(|h| subject(clause, h.at));
    let object = || fed.find_map(|h| clause.items.get(h.at + 1).filter(|i| is_child_name(clause, i)));
    let named = || subject.or_else(object).map(|i| clause.message.typed(i.from, i.to));
    named().or_else(|| given_to(clause)).or_else(|| whose(clause)).or_else(|| heading(clause)).or_else(|| {
        let whom = clause.items.get(2).filter(|i| is_for(clause, 2) && is_child_name(clause, i))?;
        Some(clause.message.typed(whom.from, whom.to))
    })
}

/// "Theo just started", "luca se tomó".
fn subject<'a>(clause: &'a Clause, at: usize) -> Option<&'a Item> {
    let small = |i: &&Item| i.is_word() && !i.unknown && i.any(&[Tag::Just, Tag::Him, Tag::Already, Tag::Be]);
    let before = clause.items[..at].iter().rev().find(|i| !small(i))?;
    is_child_name(clause, before).then_some(before)
}

/// "Zoe's bottles: …", "los biberones de Bruno": whose bottle it was. Whose milk it is is told of milk and containers.
fn whose(clause: &Clause) -> Option<String> {
    let fed = |i: &Item| i.is_word() && i.any(&[Tag::Bottle, Tag::FeedNoun]) && !i.any(&[Tag::Milk]);
    let owner = |i: &Item| {
        let typed = clause.message.typed(i.from, i.to);
        typed.strip_suffix("'s").filter(|_| i.unknown).map(str::to_string)
    };
    clause.items.windows(3).find_map(|three| {
        let own = owner(&three[0]).filter(|_| fed(&three[1]) || three[1].when().is_some() && fed(&three[2]));
        let of = fed(&three[0]) && three[1].is_word() && three[1].has(Tag::Of);
        own.or_else(|| {
            (of && is_child_name(clause, &three[2])).then(|| clause.message.typed(three[2].from, three[2].to))
        })
    })
}

/// "Archie today: bottles 9:15 100", "Theo: 9:10 110": a name that leads a sheet.
fn heading(clause: &Clause) -> Option<String> {
    let first = clause.items.first().filter(|i| i.unknown && i.to - i.from == 1)?;
    let typed = clause.message.typed(first.from, first.to);
    let name = typed.strip_suffix("'s").unwrap_or(&typed);
    let owner = name.len() < typed.len();
    if !owner && !is_child_name(clause, first) {
        return None;
    }
    let day = usize::from(clause.items.get(1).is_some_and(|i| i.when().is_some_and(|w| w.clock.is_none())));
    let next = clause.items.get(1 + day)?;
    let list = |i: &Item| i.is_word() && i.any(&[Tag::ListHead, Tag::Bottle, Tag::FeedNoun]);
    // a name alone on its line, joined to what follows
    let seam = |i: &Item| i.sign() == Some(',') && i.from == i.to && is_head_line(clause);
    let apart = next.sign() == Some(',') && clause.items.get(2 + day).is_some_and(list);
    let own = owner && next.is_word() && next.any(&[Tag::Day, Tag::Session]);
    let leads = matches!(next.sign(), Some(':' | '-')) || apart || list(next) || seam(next) || own;
    leads.then(|| name.to_string())
}

/// A line of its own that leads a sheet: "Nell", "Nell's day", "Nell today:", "Nell's bottles today".
pub fn is_sheet_head(segment: &Clause) -> bool {
    let owner = |i: &Item| i.unknown && segment.message.tokens[i.from].typed.ends_with("'s");
    let named = segment.items.first().is_some_and(|i| is_capitalised(segment, i) || owner(i));
    let small = |i: &Item| {
        i.sign().is_some()
            || i.when().is_some_and(|w| w.clock.is_none())
            || i.is_word() && i.any(&[Tag::Day, Tag::ListHead, Tag::FeedNoun])
    };
    segment.first && segment.items.len() <= 4 && named && segment.items[1..].iter().all(small)
}

/// The clause opens with such a line.
fn is_head_line(clause: &Clause) -> bool {
    clause.spans.len() > 1 && clause.message.tokens.get(clause.spans[0].1).is_some_and(|t| t.line)
}

/// "bottle for Theo 90".
fn is_for(clause: &Clause, at: usize) -> bool {
    let fed = |i: &Item| i.is_word() && i.any(&[Tag::Bottle, Tag::FeedNoun]);
    at == 2 && fed(&clause.items[0]) && clause.items[1].is_word() && clause.items[1].has(Tag::For)
}

/// "Theo bottle 90": a name with a capital before a word for a feed.
pub fn is_bottle_of(clause: &Clause, at: usize) -> bool {
    let fed = |i: &Item| i.is_word() && i.any(&[Tag::Bottle, Tag::FeedNoun]);
    let led = at == 0 && clause.items.get(1).is_some_and(fed);
    is_capitalised(clause, &clause.items[at]) && (led || is_for(clause, at))
}

/// The child that a question is about: a name, or a word nobody knows where a child stands ("has otis eaten").
pub fn child_asked(clause: &Clause) -> Option<String> {
    let fed = [Verb::Drink, Verb::Feed, Verb::Have, Verb::Take, Verb::Finish, Verb::Nurse];
    let feeds = |i: &Item| i.is_word() && (i.has(Tag::LastFed) || i.verbs().any(|(v, _)| fed.contains(&v)));
    let small =
        |i: &&Item| i.is_word() && !i.unknown && i.any(&[Tag::Last, Tag::Just, Tag::Already, Tag::Be]);
    let before = |at: usize| clause.items[at + 1..].iter().find(|i| !small(i)).is_some_and(feeds);
    let stands = |at: usize| before(at) || at > 0 && feeds(&clause.items[at - 1]);
    let capital = clause.items.iter().position(|i| {
        let token = &clause.message.tokens[i.from];
        i.is_word() && i.unknown && i.to - i.from == 1 && token.is_name() && token.typed.chars().count() > 1
    });
    let at = capital.or_else(|| {
        (0..clause.items.len()).find(|at| is_child_name(clause, &clause.items[*at]) && stands(*at))
    })?;
    let typed = clause.message.typed(clause.items[at].from, clause.items[at].to);
    Some(typed.strip_suffix("'s").unwrap_or(&typed).to_owned())
}

/// "otis and nell had 90 each", "fed Otis, Nell and Ivo 90 each": all of them, where more than one is named.
pub fn children_joined(clause: &Clause) -> Vec<String> {
    let items = &clause.items;
    let joint = |i: &Item| matches!(i.sign(), Some(',' | '&')) || i.is_word() && i.has(Tag::And);
    let name = |at: usize| items.get(at).is_some_and(|i| is_child_name(clause, i));
    let Some(from) =
        (0..items.len()).find(|at| name(*at) && items.get(at + 1).is_some_and(joint) && name(at + 2))
    else {
        return Vec::new();
    };
    let mut last = from;
    while items.get(last + 1).is_some_and(joint) && name(last + 2) {
        last += 2;
    }
    let both = |i: &&Item| i.is_word() && i.any(&[Tag::Both, Tag::All, Tag::Just]);
    let drinks = [Verb::Drink, Verb::Take, Verb::Have, Verb::Finish];
    let drank = |i: &Item| i.verbs().any(|(v, f)| f == Form::Done && drinks.contains(&v));
    let fed = |i: &Item| i.verbs().any(|(v, f)| f == Form::Done && matches!(v, Verb::Feed | Verb::Give));
    let told = items[last + 1..].iter().find(|i| !both(i)).is_some_and(drank)
        || items[..from].iter().rev().find(|i| !both(i)).is_some_and(fed);
    let typed = |at: usize| clause.message.typed(items[at].from, items[at].to);
    if told { (from..=last).step_by(2).map(typed).collect() } else { Vec::new() }
}

/// "gave otis 90": enough to be milk, right after whom it was given to.
pub fn gave_by_name(clause: &Clause, ctx: &Context) -> bool {
    let gave = clause.heads.iter().filter(|h| h.verb == Verb::Give && h.form == Form::Done);
    gave.filter_map(|h| Some((clause.items.get(h.at + 1)?, clause.items.get(h.at + 2)?.amount()?))).any(
        |(who, amount)| {
            let ml = volume(amount, None, ctx).map_or(0.0, |v| v.ml());
            is_child_name(clause, who) && ml >= ENOUGH_ML
        },
    )
}

/// "Wren 70, Otto 85": a name with a capital before an amount, beside another such pair.
pub fn in_a_row(clause: &Clause, at: usize) -> bool {
    let message = clause.message;
    let Some(item) = clause.items.get(at).filter(|i| is_capitalised(clause, i)) else { return false };
    let Some(here) = message.items.iter().position(|i| i.from == item.from) else { return false };
    let all = &message.items;
    let amount = |i: &Item| i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 2.0);
    let pair = |at: usize| {
        all.get(at).is_some_and(|i| is_capitalised(clause, i)) && all.get(at + 1).is_some_and(amount)
    };
    let joint = |i: &Item| i.sign() == Some(',') || i.is_word() && i.has(Tag::And);
    let before = |n: usize| here.checked_sub(n).is_some_and(pair);
    let after = pair(here + 2) || all.get(here + 2).is_some_and(joint) && pair(here + 3);
    let led = before(2) || here > 2 && joint(&all[here - 1]) && before(3);
    pair(here) && (after || led)
}

/// "bairn took 100 nae bother": whoever knows the words after it.
pub fn taken_by_child(clause: &Clause) -> bool {
    let took =
        clause.heads.iter().find(|h| matches!(h.verb, Verb::Take | Verb::Have) && h.form == Form::Done);
    took.is_some_and(|h| clause.items[..h.at].iter().any(|i| i.is_word() && i.has(Tag::He)))
}
