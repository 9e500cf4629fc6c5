//! Containers that were looked for: "8 is missing", "can't find 3 and 7", "found #8". They are labels, and of all others
//! nothing is said.

use super::Context;
use super::clause::Clause;
use super::cut::segments;
use super::item::{Item, Kind, Message};
use super::mood::is_question;
use super::scene::spots;
use super::senses::{Tag, Verb};
use crate::domain::act::{Act, Code, Kind as ActKind};
use crate::domain::volume::Unit;

/// More words than these tell something else.
const SHORT: usize = 10;
/// A bare number from here on is an amount.
const AMOUNT: u32 = 60;

/// The containers that a message says are not there, or are there again.
pub fn read(message: &Message, ctx: &Context) -> Option<Act> {
    let all = segments(message);
    let first = all.first().filter(|_| !all.iter().any(is_question) && message.items.len() <= SHORT)?;
    let act = Act { at: Some(ctx.sent), seen: true, ..Act::new(ActKind::Count) };
    if first.bare(Tag::NotThere).is_some() && first.items.iter().all(is_plain) {
        let missing = labels(&first.items).filter(|_| all.len() == 1)?;
        return Some(Act { missing, ..act });
    }
    let codes = found(first, ctx).filter(|_| all.iter().all(tells_no_more))?;
    Some(Act { codes, ..act })
}

fn is_plain(item: &Item) -> bool {
    let small =
        [Tag::The, Tag::Be, Tag::I, Tag::And, Tag::NotThere, Tag::Polite, Tag::Filler, Tag::Container];
    label(item).is_some() || item.sign() == Some(',') || item.is_word() && item.any(&small) && !item.unknown
}

/// "Found #8", "found 3, it was behind the peas": what follows the labels tells where.
fn found(clause: &Clause, ctx: &Context) -> Option<Vec<Code>> {
    let at = clause.items.iter().position(|i| i.is(Verb::Find)).filter(|_| clause.tells(Verb::Find))?;
    let small = |i: &Item| i.is_word() && i.any(&[Tag::I, Tag::Polite, Tag::Just]);
    let rest = &clause.items[at + 1..];
    let end = rest.iter().position(|i| label(i).is_none()).unwrap_or(rest.len());
    let bare = rest[..end].iter().any(|i| !matches!(i.kind, Kind::Codes(_)));
    let stops = rest.get(end).is_some_and(|i| i.sign().is_some()) && end + 1 < rest.len();
    let told = clause.message.items.iter().filter(|i| label(i).is_some() || i.amount().is_some()).count();
    let told = told == end && rest[end..].iter().all(|i| label(i).is_none());
    let plain = !bare || stops && ctx.units == Unit::Ml;
    labels(&rest[..end]).filter(|_| clause.items[..at].iter().all(small) && told && plain)
}

/// Nothing is told of the milk besides: neither what was done with it nor where or how it lay but in a freezer.
fn tells_no_more(clause: &Clause) -> bool {
    let found = [Tag::Icy, Tag::Liquid, Tag::Hard, Tag::Cold, Tag::Lukewarm];
    clause.heads.iter().all(|h| h.verb == Verb::Find)
        && spots(clause).iter().all(|s| s.place.is_freezer())
        && super::scene::site(clause).is_none()
        && !clause.any(&found)
}

fn labels(items: &[Item]) -> Option<Vec<Code>> {
    let labels: Vec<Code> = items.iter().filter_map(label).flatten().collect();
    (!labels.is_empty()).then_some(labels)
}

fn label(item: &Item) -> Option<Vec<Code>> {
    match &item.kind {
        Kind::Codes(codes) => Some(codes.clone()),
        Kind::List(codes, _) => Some(codes.clone()).filter(|codes| codes.iter().all(|c| *c < AMOUNT)),
        Kind::Amount(amount) if amount.unit.is_none() => {
            amount.whole().filter(|n| *n < AMOUNT).map(|n| vec![n])
        }
        _ => None,
    }
}
