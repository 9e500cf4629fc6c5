//! In what mood a clause is said. Only what is told as a fact about this child's milk may be recorded: what is planned,
//! asked of somebody, conditional, negated, nearly happened, a joke, a habit or about something else is none of it.

use serde::Deserialize;

use super::clause::{Clause, Head};
use super::item::{Item, Kind};
use super::senses::{Form, Tag, Verb};
use super::when::{DayName, Role};
use crate::domain::place::Place;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mood {
    Told,
    Asked,
    Planned,
    Requested,
    Conditional,
    Negated,
    Almost,
    Joke,
    Habit,
    OtherSubject,
}

/// The mood of a segment, by its words and where they stand about its verb.
pub fn of(clause: &Clause) -> Mood {
    let head = live_head(clause);
    // What stands after the verb and its amounts no longer bears on it.
    let reach = head.map_or(usize::MAX, |h| clause.items[h.at].from);
    let before = |tag: Tag| clause.bare(tag).is_some_and(|at| at <= reach);
    // "put 3 in the fridge before bed": what may be an order is one, where something is still to come.
    let open = |tag: Tag| may_be_an_order(clause, head) && clause.bare(tag).is_some();
    match () {
        () if clause.has(Tag::Joke) => Mood::Joke,
        () if is_habit(clause) => Mood::Habit,
        () if is_question(clause) => Mood::Asked,
        () if before(Tag::Conditional) && !tells_when(clause) => Mood::Conditional,
        () if negated(clause, head, reach) => Mood::Negated,
        () if almost(clause, reach) => Mood::Almost,
        () if before(Tag::Plan) && !is_now(clause, head)
            || open(Tag::Plan)
            || to_come(clause)
            || is_next_step(clause)
            || is_later(clause) =>
        {
            Mood::Planned
        }
        () if requested(clause, head, reach) || open(Tag::Request) => Mood::Requested,
        () if other_subject(clause) => Mood::OtherSubject,
        () => Mood::Told,
    }
}

/// "the freezer was off when I got up": when it was found, and no condition.
fn tells_when(clause: &Clause) -> bool {
    let past = |at: usize| clause.message.marks[at].iter().any(|(tag, _)| *tag == Tag::PastWhen);
    clause.bare(Tag::Conditional).is_some_and(past)
}

/// "ahorita le estoy dando": it has begun.
fn is_now(clause: &Clause, head: Option<Head>) -> bool {
    let word = |at: usize| clause.message.marks[at].iter().any(|(tag, _)| *tag == Tag::RightNow);
    head.is_some_and(|h| h.form == Form::Now) && clause.bare(Tag::Plan).is_some_and(word)
}

/// "put", "split": nobody before the verb, and its form is that of an order as well.
fn may_be_an_order(clause: &Clause, head: Option<Head>) -> bool {
    let Some(head) = head.filter(|h| h.form == Form::Done) else { return false };
    let base = clause.heads.iter().any(|h| (h.at, h.verb, h.form) == (head.at, head.verb, Form::Base));
    let small = |i: &Item| {
        i.is_word() && i.any(&[Tag::Polite, Tag::Request, Tag::And, Tag::Then]) || i.sign().is_some()
    };
    base && clause.items[..head.at].iter().all(small)
}

/// The first verb that tells a fact.
fn live_head(clause: &Clause) -> Option<Head> {
    let told = clause.heads.iter().find(|h| h.form != Form::Base);
    told.or(clause.heads.first()).copied()
}

/// "every day"; but "4 oz each time" is how much each was.
fn is_habit(clause: &Clause) -> bool {
    let each = |at: usize| {
        let amount = clause.items.iter().rfind(|i| i.to <= at).is_some_and(|i| i.amount().is_some());
        amount && clause.items.iter().any(|i| i.from == at && i.has(Tag::Both))
    };
    clause.bare(Tag::Habit).is_some_and(|at| !each(at))
}

/// It ends with a question mark, or begins like a question.
pub fn is_question(clause: &Clause) -> bool {
    let skipped = clause.items.iter().position(|i| {
        let small = [Tag::Polite, Tag::And, Tag::So, Tag::AsksToTell];
        let polite = clause.message.within(i.from, Tag::Polite);
        !(i.is_word() && (i.any(&small) || polite) || matches!(i.kind, Kind::Sign(_)))
    });
    let Some(first) = skipped.map(|at| &clause.items[at]) else { return clause.asked };
    let (from, to) = (first.from, clause.spans.first().map_or(first.to, |s| s.1));
    // "did a count": the question word is part of what was done.
    let left = first.has(Tag::LeftOver) && !first.has(Tag::Rest);
    let done = first.verbs().any(|(_, form)| form == Form::Done);
    let told = if done || left { first.to - first.from } else { 1 };
    let next = clause.items.iter().find(|i| i.from >= first.to);
    // "did not sleep"
    let denied =
        next.is_some_and(|i| i.is_word() && i.any(&[Tag::Negative, Tag::Wasnt]) && i.to - i.from == 1);
    let opens = (from..to.min(from + 1)).any(|at| {
        let asks = |(tag, length): &(Tag, usize)| {
            *tag == Tag::Question && at + length <= to && (*length >= told && !denied)
        };
        clause.message.marks[at].iter().any(asks)
    });
    // "como 85" is a rough amount
    let rough =
        first.has(Tag::About) && clause.items.iter().any(|i| i.from == first.to && i.amount().is_some());
    // "que sean 2 de 75", "que alguien saque la 15"
    let orders = |(tag, long): &(Tag, usize)| *tag == Tag::MakeIt || *tag == Tag::Request && *long > 1;
    let makes = clause.message.marks[from].iter().any(orders);
    let opens = opens && !rough && !makes;
    let conditional = clause.message.marks[from]
        .iter()
        .any(|(tag, length)| *tag == Tag::Conditional && from + length <= to);
    // "…, has a hole in it": what is spoken of was named before.
    let elided = !clause.first
        && clause.items.iter().any(|i| i.from == from + 1 && i.is_word() && i.has(Tag::Article));
    // "85 ml, queda en la heladera", "quedan 12 bolsas": what is there, unless it is asked
    let frozen = clause.items.iter().any(|i| i.place().is_some_and(Place::is_freezer));
    let counted = next.is_some_and(|i| {
        matches!(i.kind, Kind::Count(_) | Kind::Codes(_) | Kind::Multi(..)) || i.amount().is_some() && frozen
    });
    let stays =
        first.has(Tag::LeftOver) && !clause.first || first.any(&[Tag::LeftOver, Tag::ThereAre]) && counted;
    // "remind me when he last ate"
    let wants = clause.items.iter().any(|i| i.is_word() && i.has(Tag::AsksToTell));
    let last = wants && clause.any(&[Tag::LastFed, Tag::Last]);
    let opens = opens && (!conditional || last) && !elided && !stays || wants && conditional;
    let converts = clause.has(Tag::UnitAsk) && clause.has(Tag::HowMuch);
    clause.asked || converts || opens || ends_asking(clause) || is_asking_noun(clause, from)
}

/// "thawed milk back in the freezer ok or no".
fn ends_asking(clause: &Clause) -> bool {
    let to = clause.spans.last().map_or(0, |s| s.1);
    let from = clause.spans.first().map_or(0, |s| s.0);
    (from..to).any(|at| {
        clause.message.marks[at].iter().any(|(tag, length)| *tag == Tag::AskEnd && at + length == to)
    })
}

/// "date on bag 26", "bottles needed for tomorrow": what is wanted to be known, and nothing told of it.
fn is_asking_noun(clause: &Clause, from: usize) -> bool {
    let to = clause.spans.first().map_or(0, |s| s.1);
    let opens =
        clause.message.marks[from].iter().any(|(tag, length)| *tag == Tag::AskHead && from + length <= to);
    let counted =
        |i: &Item| matches!(i.kind, Kind::Amount(_) | Kind::Multi(..) | Kind::Count(_) | Kind::List(..));
    let told = |h: &Head| h.form != Form::Base && !clause.items[h.at].any(&[Tag::Frozen, Tag::LeftOver]);
    let says = clause.items.iter().any(|i| i.is_word() && i.has(Tag::Be) && !i.has(Tag::It));
    // "total pumped yesterday": the sum of it.
    let head =
        clause.message.marks[from].iter().filter(|(tag, _)| *tag == Tag::AskHead).map(|(_, n)| *n).max();
    let sum = clause.message.has(from, from + head.unwrap_or(0), Tag::HowMuch) && !clause.has_place();
    let known = clause.items.iter().all(|i| !i.unknown);
    opens && known && !says && !clause.items.iter().any(counted) && (sum || !clause.heads.iter().any(told))
}

fn negated(clause: &Clause, head: Option<Head>, reach: usize) -> bool {
    let Some(at) = clause.bare(Tag::Negative) else { return false };
    // "forgot to put in my 11 o'clock pump": it happened, and wasn't told
    let noun = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::Session, Tag::FeedNoun]));
    if noun && !clause.has_place() && clause.message.within(at, Tag::Excuse) {
        return false;
    }
    if at <= reach {
        return true;
    }
    // "took nothing", "drank no milk"
    head.is_some_and(|h| at == clause.items[h.at].to)
}

/// "nearly threw out"; but "almost 4 oz" is a rough amount, and "almost full" tells of a bottle.
pub fn almost(clause: &Clause, reach: usize) -> bool {
    let Some(at) = clause.bare(Tag::Almost).filter(|at| *at <= reach) else { return false };
    if clause.has(Tag::PartDrunk) {
        return false;
    }
    let amount_next = clause.items.iter().any(|i| i.from == at + 1 && i.amount().is_some());
    !amount_next
}

/// "took 2 out for the minder tomorrow": the day belongs to what something is for.
pub fn is_aim(clause: &Clause, at: usize) -> bool {
    let site = |i: &Item| i.senses.iter().any(|s| matches!(s, super::senses::Sense::Site(_)));
    let plain = |i: &&Item| i.is_word() && (site(i) || i.verbs().next().is_none());
    let mut near = clause.items[..at].iter().rev().take(4).take_while(plain);
    near.any(|i| i.has(Tag::For))
}

/// A day to come, if it isn't what something is for.
fn to_come(clause: &Clause) -> bool {
    clause.whens().any(|(at, w)| {
        w.role == Role::At && !is_aim(clause, at) && matches!(w.day, Some(DayName::Back(days)) if days < 0)
    })
}

/// "moving 3 to the fridge later": what seems to be happening is still to come.
fn is_later(clause: &Clause) -> bool {
    let now = |h: &Head| h.form == Form::Now;
    let end = clause.spans[0].1;
    let ends = |at: usize| {
        clause.message.marks[at].iter().any(|(tag, length)| *tag == Tag::Later && at + length == end)
    };
    clause.heads.iter().any(now)
        && clause.heads.iter().all(|h| h.form != Form::Done)
        && (clause.spans[0].0..end).any(ends)
}

/// "luego se las mando": "then" before a verb that may stand for the present makes it a plan.
fn is_next_step(clause: &Clause) -> bool {
    let then = clause.items.first().is_some_and(|i| i.is_word() && i.has(Tag::Then));
    let open = |h: &Head| clause.heads.iter().any(|o| (o.at, o.form) == (h.at, Form::Base));
    then && clause.heads.iter().any(|h| h.form == Form::Done && open(h))
}

fn requested(clause: &Clause, head: Option<Head>, reach: usize) -> bool {
    let dates = clause.item(Tag::Dated).is_some() && clause.whens().next().is_some();
    let Some(head) = head else { return clause.has(Tag::Request) && !clause.has_number() && !dates };
    // "yall i pumped 8oz": called out to
    let called = |at: usize| {
        at == 0
            && clause
                .items
                .get(1)
                .is_some_and(|i| i.is_word() && i.any(&[Tag::I, Tag::He]) && !i.has(Tag::You))
    };
    let you = |(at, i): (usize, &Item)| i.is_word() && i.has(Tag::You) && i.from < reach && !called(at);
    let you = clause.items.iter().enumerate().any(you);
    let dated = |at: usize| {
        clause.items.iter().any(|i| i.from == at + 1 && (i.when().is_some() || i.amount().is_some()))
    };
    let asked = clause
        .bare(Tag::Request)
        .filter(|at| !reports(clause, *at, head))
        .is_some_and(|at| !dated(at) && (at <= reach || head.form == Form::Base));
    let sum = clause.items[head.at].has(Tag::Total);
    you || asked || (head.form == Form::Base && !sum && !is_noun(clause, head))
}

/// "sitter says he took 90": what somebody tells.
fn reports(clause: &Clause, at: usize, head: Head) -> bool {
    let next = clause.items.iter().find(|i| i.from > at);
    let subject = next.is_some_and(|i| {
        i.is_word()
            && (i.any(&[Tag::He, Tag::Person, Tag::I])
                || i.unknown && clause.message.tokens[i.from].is_name())
            || matches!(i.kind, Kind::Codes(_) | Kind::List(..))
    });
    // "dicen que tomó 60": nobody is named, and the form is none of an order
    let order = clause.heads.iter().any(|h| h.at == head.at && h.form == Form::Base);
    let mut between = clause.items[..head.at].iter().filter(|i| i.from > at);
    let small = [Tag::Just, Tag::It, Tag::Him, Tag::Only, Tag::Filler, Tag::Relative];
    let plain = !order && clause.has(Tag::Says) && between.all(|i| i.is_word() && i.any(&small));
    (subject || plain) && head.form == Form::Done && clause.items[head.at].from > at
}

/// "pump 160", "feed 90": the base form names a session or a feed, if no object like "him" follows.
pub fn is_noun(clause: &Clause, head: Head) -> bool {
    let noun = clause.items[head.at].any(&[Tag::Session, Tag::FeedNoun]);
    let object = clause
        .items
        .get(head.at + 1)
        .is_some_and(|i| i.is_word() && i.any(&[Tag::Him, Tag::He, Tag::The, Tag::It]));
    let counted = head.verb == Verb::Count && clause.has_place() && clause.has_number();
    counted || noun && !object && matches!(head.verb, Verb::Pump | Verb::Feed | Verb::Nurse)
}

/// About medicine, shopping, food, pets, weight, or somebody else's milk.
fn other_subject(clause: &Clause) -> bool {
    let other = [Tag::OtherThing, Tag::Medicine, Tag::Shopping, Tag::Tin]
        .iter()
        .filter_map(|t| clause.bare(*t))
        .filter(|at| clause.heads.iter().all(|h| clause.items[h.at].from != *at))
        .filter(|at| !describes_session(clause, *at) && !tells_what_it_holds(clause, *at))
        .min();
    let apart = other.is_some_and(|at| !is_aside(clause, at) && !is_where(clause, at));
    let yields = |h: &Head| {
        matches!(h.verb, Verb::Pump | Verb::Get | Verb::Dump | Verb::Toss | Verb::Spill | Verb::Freeze)
    };
    let coded = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let theirs = clause.has(Tag::OtherPerson) && !coded && clause.heads.iter().any(yields);
    let gives = |h: &Head| {
        let doer = clause.bare(Tag::OtherPerson).is_some_and(|at| at < clause.items[h.at].from);
        h.verb == Verb::Donate && doer && !coded
    };
    let theirs = theirs || clause.heads.iter().any(gives) || others_drink(clause);
    // "we had to throw out 60" is no old story
    let forced = |at: usize| {
        let did = |i: &Item| i.has(Tag::HadTo) || i.verbs().any(|(_, form)| form == Form::Done);
        clause.items.iter().any(|i| did(i) && i.to - i.from > 1 && i.from <= at + 1 && at < i.to)
    };
    let story = clause.bare(Tag::PastStory).is_some_and(|at| !forced(at));
    apart || theirs || story || clause.has(Tag::ThereWas)
}

/// "her cousin drank 180": somebody else's child.
fn others_drink(clause: &Clause) -> bool {
    let drinks = |h: &&Head| {
        matches!(h.verb, Verb::Drink | Verb::Have | Verb::Finish | Verb::Feed) && h.form == Form::Done
    };
    // "other baby had 90": of two, where nothing was told before it
    let other = clause.bare(Tag::OtherChild).filter(|_| clause.spans[0].0 == 0);
    let other = clause.bare(Tag::OtherPerson).or(other);
    let (Some(head), Some(at)) = (clause.heads.iter().find(drinks), other) else { return false };
    let before = clause.items[..head.at].iter();
    let ours = |i: &Item| i.is_word() && i.any(&[Tag::He, Tag::I]) && i.to <= at;
    let after = clause.items[head.at + 1..].iter();
    let object = |i: &Item| {
        i.is_word() && i.any(&[Tag::Him, Tag::He]) || matches!(i.kind, Kind::Codes(_) | Kind::List(..))
    };
    at < clause.items[head.at].from && !before.clone().any(ours) && !after.clone().any(object)
}

/// "la 12 trae 90".
fn tells_what_it_holds(clause: &Clause, at: usize) -> bool {
    let coded = |i: &Item| matches!(i.kind, Kind::Codes(_));
    clause.items.windows(3).any(|p| p[1].from == at && coded(&p[0]) && p[2].amount().is_some())
}

/// "rubbish session": how it went.
fn describes_session(clause: &Clause, at: usize) -> bool {
    let next = clause.items.iter().find(|i| i.from > at);
    next.is_some_and(|i| i.is_word() && i.any(&[Tag::Session]) && !i.has(Tag::Bottle))
}

/// "dumped 80 that was forgotten in the pram", "found #4 behind the peas": where milk was, not what it is about.
fn is_where(clause: &Clause, at: usize) -> bool {
    let before: Vec<&Item> = clause.items.iter().take_while(|i| i.from < at).collect();
    let milk = before.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::Multi(..))
            || i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0)
    });
    let near = before.iter().rev().take(4).take_while(|i| i.is_word() && i.verbs().next().is_none());
    let inside = near
        .take_while(|i| {
            i.unknown
                || i.any(&[Tag::The, Tag::Article, Tag::Person, Tag::In, Tag::NextTo, Tag::At, Tag::Before])
        })
        .find(|i| i.any(&[Tag::In, Tag::NextTo, Tag::At, Tag::Before]));
    let done = clause.heads.iter().any(|h| {
        h.form != Form::Base
            && matches!(
                h.verb,
                Verb::Pump | Verb::Feed | Verb::Drink | Verb::Nurse | Verb::Dump | Verb::Spill
            )
    });
    let at = |i: &&&Item| i.any(&[Tag::In, Tag::NextTo, Tag::Before]) || done;
    // "its in the fridge next to the eggs"
    let it = before.first().is_some_and(|i| i.is_word() && i.has(Tag::It));
    let lies = it && before.iter().any(|i| i.place().is_some()) && clause.heads.is_empty();
    (milk || lies || clause.tells_any(&[Verb::Pump, Verb::Nurse])) && inside.filter(at).is_some()
}

/// "fed 90 with vitamin d": what was said before it stands.
fn is_aside(clause: &Clause, at: usize) -> bool {
    let before = clause.items.iter().take_while(|i| i.from < at);
    let amount = before.clone().any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_)));
    let link =
        before.last().is_some_and(|i| i.any(&[Tag::With, Tag::And, Tag::Then]) || i.sign() == Some('+'));
    amount && link
}
