//! Orders that only the bot can carry out: containers set apart ("don't give 12", "keep 17 back") and given free again.

use super::clause::Clause;
use super::item::{Item, Kind};
use super::mood::is_question;
use super::senses::{Tag, Verb};
use super::when::{Role, When};

/// "don't give 12", "mark 30-33 do not use", "no le des la del lunes".
pub fn is_hold(segment: &Clause) -> bool {
    let named = segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..)))
        || segment.names_time()
        || has_days(segment)
        || pumped_then(segment).is_some()
        || segment.item(Tag::Called).is_some()
        || super::stays::lying(segment).is_some() && segment.item(Tag::Milk).is_some();
    // "no le den más de 120" sets no container apart
    let limit = |at: usize| segment.items[..at].iter().rev().take(2).any(|i| i.is_word() && i.has(Tag::More));
    let whole = |at: usize| segment.items[at].amount().is_some_and(|a| a.whole().is_some());
    let bare = (0..segment.items.len()).any(|at| whole(at) && !limit(at));
    let marked = segment.tells(Verb::Hold)
        || (segment
            .head(Verb::Hold)
            .is_some_and(|h| segment.items[..h.at].iter().all(|i| i.any(&[Tag::Polite, Tag::Request])))
            && !segment.items.iter().any(|i| i.has(Tag::You)))
        || keeps_back(segment);
    let other = segment.any(&[Tag::Conditional, Tag::Almost])
        || is_question(segment)
        || segment.bare(Tag::Plan).is_some_and(|at| at < segment.spans[0].0 + 2);
    let forbidden = segment.bare(Tag::DoNotUse).is_some();
    !other
        && ((forbidden && (named || bare))
            || (marked && (named || bare || segment.has(Tag::All)) && !segment.has(Tag::He)))
}

/// "keep 17 back", "set 3 and 4 aside".
fn keeps_back(segment: &Clause) -> bool {
    let small =
        |i: &&Item| !(i.is_word() && i.any(&[Tag::Polite, Tag::Request, Tag::I]) || i.sign().is_some());
    let Some(first) = segment.items.iter().find(small) else { return false };
    let label = segment.items.iter().find(|i| i.from >= first.to).is_some_and(|i| !i.is_word());
    let end = segment.spans[0].1;
    let small = |i: &Item| {
        i.is_word() && (i.any(&[Tag::Polite, Tag::Request, Tag::For]) || i.has(Tag::Filler)) && !i.unknown
    };
    let rest = |to: usize| segment.items.iter().filter(move |i| i.from >= to && i.from < end);
    let aside = |at: usize| {
        let marks = segment.message.marks[at].iter().filter(|(tag, _)| *tag == Tag::Aside);
        marks.into_iter().any(|(_, length)| {
            let until = rest(at + length).next().is_some_and(|i| i.any(&[Tag::Until]));
            until || rest(at + length).all(|i| small(i) || i.when().is_some_and(|w| w.now))
        })
    };
    // "put 13 back" is where it was before
    let back = first.is(Verb::Put) && segment.items.iter().any(|i| i.is_word() && i.has(Tag::Back));
    let kept = segment.message.has(first.from, first.to, Tag::KeepOnly) && !back;
    kept && label && (first.to..end).any(aside) && !segment.has_place()
}

/// "release 22", "use all again": an order that only the bot can carry out.
pub fn is_release_order(segment: &Clause) -> bool {
    let opens = |v: Verb| segment.heads.first().is_some_and(|h| h.verb == v && h.at == 0);
    let named =
        opens(Verb::Release) && (segment.has_number() || segment.items.len() == 2 && segment.has(Tag::All));
    (named || permits(segment) || opens(Verb::Use) && super::family::all_again(segment))
        && !is_question(segment)
}

/// "you may use bottle 12 again": what was not to be used may be.
fn permits(segment: &Clause) -> bool {
    let label = segment.items.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..))
            || i.amount().and_then(|a| a.whole()).is_some_and(|n| n < 60)
    });
    let again = segment.items.iter().any(|i| i.is_word() && i.has(Tag::Another));
    label
        && again
        && segment.bare(Tag::Permitted).is_some()
        && segment.has(Tag::Usable)
        && !segment.any(&[Tag::Negative, Tag::Until])
        && segment.whens().all(|(_, w)| w.now)
        && !segment.message.has(0, segment.message.tokens.len(), Tag::Conditional)
}

/// "anything pumped after 6 last night": milk named by when it came; the items that tell when.
pub fn pumped_then(segment: &Clause) -> Option<(usize, usize)> {
    let which = segment.any(&[Tag::Anything, Tag::All, Tag::Milk, Tag::What]);
    let pumped = segment.heads.iter().find(|h| h.verb == Verb::Pump).map(|h| h.at);
    // "from before 6 last night"
    let beside = |i: &Item| i.when().is_some_and(|w| w.role == Role::Beside);
    let from =
        || segment.items.windows(2).position(|p| p[0].is_word() && p[0].has(Tag::From) && beside(&p[1]));
    let head = pumped.or_else(from).filter(|_| which)?;
    let told = |at: usize| segment.items.get(at).and_then(Item::when);
    let first = (head + 1..segment.items.len()).find(|at| told(*at).is_some())?;
    let last = (first..segment.items.len()).take_while(|at| told(*at).is_some()).last()?;
    let ahead = told(first).is_some_and(|w| w.role == Role::Purpose);
    (!ahead && segment.items[head + 1..first].iter().all(|i| i.is_word() && !i.unknown))
        .then_some((first, last))
}

fn has_days(segment: &Clause) -> bool {
    let spans = |w: &When| matches!(w.role, Role::Since | Role::Until);
    segment.any(&[Tag::All, Tag::Anything]) && segment.whens().any(|(_, w)| spans(w))
}
