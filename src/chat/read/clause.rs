//! Clauses: stretches of a message that tell one thing. A message is cut into segments at stops, commas and joining words;
//! a segment that begins a new event opens a clause, and one that only adds to it ("fridge", "30 left") joins it.

use super::item::{Item, Kind, Message};
use super::senses::{Form, Sense, Tag, Verb};
use super::steps::take;
use super::when::{Role, When};
use crate::domain::place::Place;

/// A verb that may be what the clause is about, and the item where it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    pub verb: Verb,
    pub form: Form,
    pub at: usize,
}

#[derive(Debug, Clone)]
pub struct Clause<'m> {
    pub message: &'m Message,
    pub items: Vec<Item>,
    pub heads: Vec<Head>,
    /// The tokens it stands for.
    pub spans: Vec<(usize, usize)>,
    /// It ends with a question mark.
    pub asked: bool,
    /// It begins a sentence.
    pub first: bool,
}

impl<'m> Clause<'m> {
    pub fn of(message: &'m Message, items: &[Item], asked: bool, first: bool) -> Clause<'m> {
        let span = (items.first().map_or(0, |i| i.from), items.last().map_or(0, |i| i.to));
        let heads = main_heads(message, items);
        take(items.len());
        Clause { message, items: items.to_vec(), heads, spans: vec![span], asked, first }
    }

    /// A word or phrase with this tag stands in it.
    pub fn has(&self, tag: Tag) -> bool {
        self.spans.iter().any(|(from, to)| self.message.has(*from, *to, tag))
    }

    pub fn any(&self, tags: &[Tag]) -> bool {
        tags.iter().any(|t| self.has(*t))
    }

    /// The same, but not where the word is part of a longer phrase that means something else.
    pub fn bare(&self, tag: Tag) -> Option<usize> {
        self.spans.iter().find_map(|(from, to)| self.bare_from(*from, *to, tag))
    }

    fn bare_from(&self, from: usize, to: usize, tag: Tag) -> Option<usize> {
        let mut start = from;
        while let Some((at, length)) = self.message.find(start, to, tag) {
            let hidden =
                self.items.iter().any(|i| i.from <= at && at < i.to && i.to - i.from > length && !i.has(tag));
            if !(hidden || tag == Tag::OtherThing && self.means_state(at, length)) {
                return Some(at);
            }
            start = at + 1;
        }
        None
    }

    /// "ice crystals", "no power to the tank": part of a longer phrase that tells how milk or a freezer was found.
    fn means_state(&self, at: usize, length: usize) -> bool {
        let state = |tag: Tag| matches!(tag, Tag::Icy | Tag::Hard | Tag::Liquid | Tag::Outage | Tag::IceGone);
        let covers = |from: usize| {
            self.message.marks[from]
                .iter()
                .any(|(t, long)| state(*t) && *long > length && from + long >= at + length)
        };
        (at.saturating_sub(5)..=at).any(covers)
    }

    pub fn head(&self, verb: Verb) -> Option<Head> {
        self.heads.iter().copied().find(|h| h.verb == verb)
    }

    /// The verb stands in it as something that has happened or is happening.
    pub fn tells(&self, verb: Verb) -> bool {
        self.heads.iter().any(|h| h.verb == verb && h.form != Form::Base)
    }

    pub fn tells_any(&self, verbs: &[Verb]) -> bool {
        verbs.iter().any(|v| self.tells(*v))
    }

    pub fn item(&self, tag: Tag) -> Option<usize> {
        self.items.iter().position(|i| i.has(tag))
    }

    pub fn whens(&self) -> impl Iterator<Item = (usize, &When)> {
        self.items.iter().enumerate().filter_map(|(at, i)| i.when().map(|w| (at, w)))
    }

    pub fn names_time(&self) -> bool {
        self.whens().any(|(_, w)| w.role == Role::Names)
    }

    pub fn has_number(&self) -> bool {
        self.items
            .iter()
            .any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_)))
    }

    pub fn has_amount(&self) -> bool {
        self.items.iter().any(|i| matches!(i.kind, Kind::Amount(_) | Kind::Multi(..) | Kind::List(..)))
    }

    pub fn has_place(&self) -> bool {
        self.items.iter().any(|i| i.place().is_some())
    }

    pub fn typed(&self) -> String {
        let all: Vec<String> = self.spans.iter().map(|(from, to)| self.message.typed(*from, *to)).collect();
        all.join(", ")
    }

    /// Adds a segment that says more about the same event.
    pub fn join(&mut self, segment: Clause<'m>) {
        let seam = self.items.len() + 1;
        let at = segment.spans[0].0;
        self.items.push(Item {
            kind: Kind::Sign(','),
            senses: vec![],
            from: at,
            to: at,
            unknown: false,
            initial: false,
        });
        self.items.extend(segment.items);
        self.heads.extend(segment.heads.into_iter().map(|h| Head { at: h.at + seam, ..h }));
        self.spans.extend(segment.spans);
    }
}

pub fn heads(items: &[Item]) -> Vec<Head> {
    let all = items.iter().enumerate().filter(|(at, item)| {
        let verb = item.is_word() && item.verbs().next().is_some();
        verb && !is_adjective(items, *at) && !is_until(items, *at) && !is_spoken_of(items, *at)
    });
    all.flat_map(|(at, item)| {
        // "had to bin 90" has happened
        let forced = at > 0 && items[at - 1].has(Tag::HadTo);
        // "lo he sacado": fetched, and not expressed
        let fetched = forced && item.is(Verb::Pull);
        let forced = forced || is_done_already(items, at);
        let verbs = item.verbs().filter(move |(verb, _)| !(fetched && *verb == Verb::Pump));
        verbs.map(move |(verb, form)| Head { verb, form: if forced { Form::Done } else { form }, at })
    })
    .collect()
}

/// "scared of thawing it wrong", "tired of pumping": nothing that happens.
fn is_spoken_of(items: &[Item], at: usize) -> bool {
    let now = items[at].verbs().all(|(_, form)| form == Form::Now);
    let of = |i: &Item| i.is_word() && i.to - i.from == 1 && i.any(&[Tag::Of, Tag::With]);
    now && at > 0 && of(&items[at - 1])
}

/// "I warm bag 8 already", "100ml finish": said without the form for what has happened.
fn is_done_already(items: &[Item], at: usize) -> bool {
    let before = at.checked_sub(1).map(|n| &items[n]);
    let subject = before.is_some_and(|i| i.is_word() && i.any(&[Tag::I, Tag::He]))
        && (at < 2 || items[at - 2].any(&[Tag::Polite, Tag::And]) || items[at - 2].sign().is_some());
    let already = items[at + 1..].iter().any(|i| i.is_word() && i.has(Tag::Already));
    let emptied = items[at].is(Verb::Finish) && before.is_some_and(|i| i.amount().is_some());
    subject && already || emptied
}

/// "in the cool box till I get home": how long, not what was done.
fn is_until(items: &[Item], at: usize) -> bool {
    let subject = |i: &Item| i.is_word() && i.any(&[Tag::I, Tag::He, Tag::Person, Tag::You, Tag::It]);
    let before = items[..at].iter().rev().take(3);
    let near: Vec<&Item> = before.take_while(|i| i.is_word()).collect();
    let until = near.iter().position(|i| i.any(&[Tag::Until]) && !i.any(&[Tag::To]));
    until.is_some_and(|n| n > 0 && near[..n].iter().any(|i| subject(i)))
}

/// The verbs without those of "3 bags that had thawed", where another verb tells what was done with the bags.
fn main_heads(message: &Message, items: &[Item]) -> Vec<Head> {
    let all = heads(items);
    let relative = |h: &Head| {
        let small =
            |at: &usize| items[*at].is_word() && !items[*at].verbs().any(|(_, form)| form != Form::Base);
        let said = (0..h.at)
            .rev()
            .take(4)
            .take_while(small)
            .find(|at| message.marks[items[*at].from].iter().any(|(tag, _)| *tag == Tag::Relative));
        said.and_then(|at| at.checked_sub(1)).is_some_and(|at| names_milk(&items[at]))
    };
    // "the bag I thawed yesterday is still here"
    let elided = |h: &Head| {
        let [.., the, noun, who] = &items[..h.at] else { return false };
        let named = noun.is_word() && noun.any(&[Tag::Container, Tag::Bottle, Tag::Milk, Tag::One]);
        let led = the.is_word() && the.any(&[Tag::The, Tag::This, Tag::CodeArticle]);
        named
            && led
            && who.is_word()
            && who.any(&[Tag::I, Tag::He, Tag::You, Tag::Person])
            && h.form == Form::Done
    };
    let state = |h: &Head| items[h.at + 1..].iter().any(|i| i.is_word() && i.has(Tag::Be) && !i.has(Tag::It));
    // "the milk I thawed yesterday, can he have it?"
    let only_names = |h: &Head| h.at == 3 && items.iter().all(|i| i.is_word() || i.when().is_some());
    let relative = |h: &Head| relative(h) || elided(h);
    // "saquen la 8 que ya se descongeló" asks for something, whatever is told of it
    let asks = |h: &Head| h.form == Form::Base && h.at == 0;
    let is_told = |h: &Head| (h.form != Form::Base || asks(h)) && !relative(h);
    if all.iter().any(is_told) || all.iter().any(|h| elided(h) && (state(h) || only_names(h))) {
        all.into_iter().filter(|h| !relative(h)).collect()
    } else {
        all
    }
}

/// Containers or an amount, of which more may be told.
fn names_milk(item: &Item) -> bool {
    matches!(item.kind, Kind::Codes(_) | Kind::Count(_) | Kind::Multi(..) | Kind::Amount(_))
        || item.is_word() && item.any(&[Tag::Container, Tag::Bottle, Tag::Milk])
}

/// Words that are verbs elsewhere: "frozen" milk, the "left" side, "30 left".
fn is_adjective(items: &[Item], at: usize) -> bool {
    let item = &items[at];
    if item.has(Tag::Frozen) || names_state(items, at) || names_site(items, at) || is_subject(items, at) {
        return true;
    }
    let near = |n: Option<usize>| n.and_then(|n| items.get(n));
    // "it had been out"
    if item.is(Verb::Have)
        && near(Some(at + 1)).is_some_and(|i| i.is_word() && i.has(Tag::Be) || i.place() == Some(Place::Room))
    {
        return true;
    }
    // "la 12 lleva 2 horas fuera": how long it has been there
    let span = |i: &Item| matches!(i.kind, Kind::Lasting(_));
    if item.is(Verb::Take) && item.has(Tag::Stayed) && items[at + 1..].iter().any(span) {
        return true;
    }
    // "la 12 trae 90": what is in it
    let holds = |v: Verb| matches!(v, Verb::Buy | Verb::Take | Verb::Have | Verb::ComeBack);
    let coded = || near(at.checked_sub(1)).is_some_and(|i| matches!(i.kind, Kind::Codes(_)));
    let much = || {
        near(Some(at + 1)).is_some_and(|i| i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0))
    };
    if coded()
        && much()
        && item.verbs().next().is_some()
        && item.verbs().all(|(v, form)| holds(v) && form == Form::Base)
    {
        return true;
    }
    // "pecho izq 60" is where it came from
    let side = near(Some(at + 1)).is_some_and(|i| i.is_word() && i.any(&[Tag::LeftSide, Tag::RightSide]));
    let poured = |i: &Item| i.amount().is_some_and(|a| a.unit.is_some() || a.value > 40.0);
    if item.is(Verb::Nurse) && item.has(Tag::SideWord) && side && items.iter().any(poured) {
        return true;
    }
    if item.has(Tag::Container) {
        // "bote de 120" is a jar, "bote 2 bolsas" threw two away
        let noun = near(at.checked_sub(1))
            .is_some_and(|i| i.amount().is_some() || i.any(&[Tag::The, Tag::Article, Tag::Into]));
        let dated = |i: &Item| i.when().is_some_and(|w| w.role == super::when::Role::Names);
        return noun
            || near(Some(at + 1))
                .is_none_or(|i| dated(i) || i.is_word() && i.any(&[Tag::Of, Tag::With, Tag::NumberSign]));
    }
    if !item.any(&[Tag::LeftSide, Tag::LeftOver]) || !item.is(Verb::Leave) {
        return false;
    }
    let (before, after) = (near(at.checked_sub(1)), near(Some(at + 1)));
    let side = after.is_some_and(|i| i.has(Tag::SideWord)) || items.iter().any(|i| i.has(Tag::RightSide));
    let counted = after.is_some_and(|i| matches!(i.kind, Kind::Count(_) | Kind::Multi(..) | Kind::Codes(_)));
    let sited = |i: &Item| i.senses.iter().any(|s| matches!(s, Sense::Site(_)));
    let theirs = |pair: &[Item]| pair[0].any(&[Tag::At, Tag::In]) && pair[1].has(Tag::Person);
    let elsewhere = items.iter().any(sited) || items.windows(2).any(theirs);
    // "daycare fridge has 1 bottle left"
    let few = before.is_some_and(|i| matches!(i.kind, Kind::Count(_))) && after.is_none();
    let amount = few || before.is_some_and(|i| i.amount().is_some());
    side || amount || !(counted || elsewhere)
}

/// "bottle feeding is hard": the verb names what is spoken of.
fn is_subject(items: &[Item], at: usize) -> bool {
    let now = items[at].verbs().any(|(_, form)| form == Form::Now)
        && items[at].verbs().all(|(_, form)| form != Form::Done);
    let be = items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::Be) && !i.has(Tag::It));
    now && be && at == 0
}

/// "en la guarde": a word for a place with an article before it.
fn names_site(items: &[Item], at: usize) -> bool {
    let site = items[at].senses.iter().any(|s| matches!(s, Sense::Site(_)));
    let led = [Tag::In, Tag::At, Tag::To, Tag::For, Tag::The, Tag::From, Tag::CodeArticle];
    site && at > 0 && items[at - 1].is_word() && items[at - 1].any(&led)
}

/// "the thawed one", "the pumped milk": which milk, not what was done.
fn names_state(items: &[Item], at: usize) -> bool {
    let state = items[at].verbs().any(|v| matches!(v, (Verb::Thaw | Verb::Warm | Verb::Pump, Form::Done)));
    let led =
        at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::The, Tag::This, Tag::CodeArticle]);
    let noun = items
        .get(at + 1)
        .is_some_and(|i| i.is_word() && i.any(&[Tag::One, Tag::Container, Tag::Bottle, Tag::Milk]));
    let article =
        at > 0 && items[at - 1].is_word() && items[at - 1].has(Tag::Article) && !items[at - 1].initial;
    let counted = items.get(at + 1).is_some_and(|i| i.amount().is_some()) || noun;
    let done = items[at].verbs().any(|(_, form)| form == Form::Done);
    // "gave thawed milk 100"
    let fed = [Verb::Give, Verb::Feed, Verb::Use, Verb::Drink, Verb::Have, Verb::Take, Verb::Finish];
    let given = items[..at].iter().any(|i| i.is_word() && fed.iter().any(|v| i.is(*v)));
    (state && (led || given) && noun) || (done && article && counted)
}
