//! Times that name milk or head a list: "the 2pm one", "monday's", "tomas de hoy". They tell which milk is meant or which
//! day a list is of, and never when something happened.

use super::clause::Clause;
use super::item::{Item, Kind, Message};
use super::senses::{Part, Tag, Verb};
use super::when::{Role, When};

/// "tomas de hoy 6:00 100, 9:00 110": the day of a list, and not of milk.
pub fn heads_list(items: &[Item], at: usize, when: &When) -> bool {
    let head = at.checked_sub(1).map(|n| &items[n]).filter(|i| i.is_word() && i.has(Tag::ListHead));
    head.is_some_and(|i| !i.any(&[Tag::Bottle, Tag::Milk]) || when.day.is_some() && when.clock.is_some())
}

/// "the 2pm one", "monday's", "the morning bottle": times that stand beside the milk they name.
pub fn mark_names(message: &mut Message) {
    for at in 0..message.items.len() {
        purpose_of_a_feed(message, at);
        let Some(when) = message.items[at].when().copied().filter(|w| w.role == Role::At && !w.now) else {
            continue;
        };
        if is_subject(&message.items, at) {
            message.items[at].kind = Kind::When(When { role: Role::Beside, ..when });
            continue;
        }
        let owner = is_owner(message, at) || is_on_label(&message.items, at);
        if owner || names_what_follows(&message.items, at, &when) {
            message.items[at].kind = Kind::When(When { role: Role::Names, ..when });
        }
    }
}

/// "today is a rough one": a day that something is told of.
fn is_subject(items: &[Item], at: usize) -> bool {
    let open = items[at].when().is_some_and(|w| w.clock.is_none() && w.ago.is_none());
    let word = |n: usize, tag: Tag| items.get(n).is_some_and(|i| i.is_word() && i.has(tag));
    open && word(at + 1, Tag::Be) && word(at + 2, Tag::Article)
}

/// "monday's", "tonights milk".
fn is_owner(message: &Message, at: usize) -> bool {
    let token = &message.tokens[message.items[at].to - 1];
    let noun = message
        .items
        .get(at + 1)
        .is_some_and(|i| i.is_word() && i.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]));
    token.typed.ends_with("'s")
        || noun && token.plain.ends_with('s') && message.items[at].when().is_some_and(|w| w.clock.is_none())
}

/// "the bottle labelled monday".
fn is_on_label(items: &[Item], at: usize) -> bool {
    let noun = |i: &Item| i.is_word() && i.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]);
    at > 1 && items[at - 1].any(&[Tag::Label, Tag::Dated]) && noun(&items[at - 2])
}

/// "for the 1pm feed": what it was for is when it was.
fn purpose_of_a_feed(message: &mut Message, at: usize) {
    let Some(when) = message.items[at].when().copied() else { return };
    let feed =
        message.items.get(at + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::FeedNoun, Tag::Session]));
    let known = when.clock.is_some() && when.role == Role::Purpose;
    // "took 24 out for the 6pm feed": what is to come
    let other = [Verb::Thaw, Verb::Pull, Verb::Move, Verb::Put, Verb::Send, Verb::Freeze];
    let taken = |i: &Item| i.is_word() && i.any(&[Tag::OutWord, Tag::OutOf]) && !i.has(Tag::Of);
    let ready = message.items[..at].iter().any(|i| other.iter().any(|v| i.is(*v)) || taken(i));
    if feed && known && !ready {
        message.items[at].kind = Kind::When(When { role: Role::At, ..when });
    }
}

fn names_what_follows(items: &[Item], at: usize, when: &When) -> bool {
    let joined = items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::And));
    let other = items.iter().skip(at + 2).take(2).position(|i| i.when().is_some());
    let last = if joined { other.map_or(at, |n| at + 2 + n) } else { at };
    let Some(next) = items.get(last + 1) else { return false };
    let noun = next.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]) && next.is_word();
    let month = matches!(when.day, Some(super::when::DayName::Month(_)));
    if month && noun {
        return true;
    }
    let said_at = items[at].has(Tag::At);
    let open_part = matches!(when.part, Some(Part::Morning | Part::Afternoon | Part::Evening | Part::Night));
    let led = at > 0 && items[at - 1].any(&[Tag::The, Tag::This, Tag::CodeArticle]);
    noun && !said_at && (led || open_part || next.has(Tag::One))
}

/// "the noon one was at 11:30": of what was told before.
pub fn renamed_hour(clause: &Clause) -> bool {
    let small = |i: &&Item| {
        !(i.is_word()
            && i.any(&[
                Tag::Polite,
                Tag::And,
                Tag::The,
                Tag::One,
                Tag::Bottle,
                Tag::At,
                Tag::CodeArticle,
                Tag::Just,
            ]))
    };
    let own: Vec<&Item> = clause.items.iter().filter(small).collect();
    let clock = |i: &Item, role: Role| i.when().is_some_and(|w| w.role == role && w.clock.is_some());
    matches!(own.as_slice(), [named, be, new] if clock(named, Role::Names) && be.has(Tag::Be) && clock(new, Role::At))
}
