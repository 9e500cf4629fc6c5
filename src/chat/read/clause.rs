//! Clauses: stretches of a message that tell one thing. A message is cut into segments at stops, commas and joining words;
//! a segment that begins a new event opens a clause, and one that only adds to it ("fridge", "30 left") joins it.

use super::item::{Item, Kind, Message};
use super::senses::{Form, Sense, SiteWord, Tag, Verb};
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
        let state = |tag: Tag| matches!(tag, Tag::Icy | Tag::Hard | Tag::Liquid | Tag::Outage);
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

fn heads(items: &[Item]) -> Vec<Head> {
    let all = items.iter().enumerate().filter(|(at, item)| {
        item.is_word() && item.verbs().next().is_some() && !is_adjective(items, *at) && !is_until(items, *at)
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
    // "saquen la 8 que ya se descongeló" asks for something, whatever is told of it
    let asks = |h: &Head| h.form == Form::Base && h.at == 0;
    if all.iter().any(|h| (h.form != Form::Base || asks(h)) && !relative(h)) {
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
    let amount = before.is_some_and(|i| i.amount().is_some());
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
    (state && led && noun) || (done && article && counted)
}

/// Cuts a message into segments.
pub fn segments(message: &Message) -> Vec<Clause<'_>> {
    let items = &message.items;
    let (mut all, mut start, mut first) = (Vec::new(), 0, true);
    let mut at = 0;
    while at <= items.len() {
        let end = at == items.len();
        let stop = items
            .get(at)
            .and_then(Item::sign)
            .is_some_and(|s| matches!(s, '.' | '!' | '?' | ';' | '¿' | '¡' | '(' | ')' | '"'));
        let line = items.get(at).is_some_and(|i| message.tokens[i.from].line) && at > start;
        let weak = !end && is_joint(message, start, at);
        if end || stop || line || weak {
            let asked = items.get(at).and_then(Item::sign) == Some('?');
            if at > start {
                all.push(Clause::of(message, &items[start..at], asked, first));
            } else if asked && let Some(last) = all.last_mut() {
                let last: &mut Clause = last;
                last.asked = true;
            }
            // "9am 120 (all), 12pm 100": the sentence goes on
            let sign = |n: usize| items.get(n).and_then(Item::sign);
            let aside = sign(at) == Some(')') && sign(at + 1) == Some(',');
            first = (first && at == start) || stop && !aside || line;
            let kept = line || (weak && !is_separator(&items[at]));
            start = if kept { at } else { at + 1 };
        }
        at += 1;
    }
    all
}

fn is_separator(item: &Item) -> bool {
    matches!(item.sign(), Some(',' | ':'))
        || item.any(&[Tag::And, Tag::But, Tag::Then])
        || item.sign() == Some('-')
}

/// "la 12 está bien": told of it, and not asked.
fn only_named(message: &Message, items: &[Item]) -> bool {
    let named = |i: &Item| {
        matches!(i.kind, Kind::Codes(_)) || i.when().is_some_and(|w| w.role == super::when::Role::Names)
    };
    let small = [
        Tag::The,
        Tag::CodeArticle,
        Tag::Milk,
        Tag::Container,
        Tag::Bottle,
        Tag::And,
        Tag::It,
        Tag::Polite,
        Tag::Filler,
    ];
    items.iter().any(named)
        && items.iter().all(|i| {
            named(i)
                || i.is_word()
                    && (i.any(&small) && i.verbs().next().is_none() || message.within(i.from, Tag::Polite))
        })
}

/// A comma, or a word that begins something new.
fn is_joint(message: &Message, start: usize, at: usize) -> bool {
    let (items, item) = (&message.items, &message.items[at]);
    if at == start {
        return item.sign() == Some(',');
    }
    match () {
        () if item.sign() == Some(',') => !only_asks(message, at + 1) && !is_lone_noun(items, start, at),
        () if takes_medicine(message, at) => true,
        () if item.sign() == Some(':') => is_header(&items[start..at]),
        () if item.sign() == Some('-') => message.tokens[item.from].gap && opens_ahead(message, at + 1),
        () if matches!(item.kind, Kind::Codes(_)) => {
            message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::And) && other_goal(items, start, at)
        }
        () if !item.is_word() && item.sign() != Some('&') => false,
        () if item.has(Tag::But) => true,
        () if item.any(&[Tag::And, Tag::Then]) => {
            opens_ahead(message, at + 1) && !into_a_vessel(items, start, at + 1)
                || other_goal(items, start, at)
        }
        () if item.has(Tag::So)
            && items[start..at].iter().any(|i| i.is_word() && i.any(&[Tag::Negative, Tag::OtherThing])) =>
        {
            true
        }
        () if item.any(&[Tag::Plan, Tag::Conditional, Tag::So]) => says_something(&items[start..at]),
        () if message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::Upon) => {
            says_something(&items[start..at])
        }
        () if second_event(message, start, at) => true,
        () if message.marks[item.from].iter().any(|(tag, _)| *tag == Tag::AskTail) => {
            let named =
                only_named(message, &items[start..at]) && !items.iter().any(|i| i.sign() == Some('?'));
            !named && says_something(&items[start..at])
                || message.has(items[start].from, item.from, Tag::Smell)
        }
        () => false,
    }
}

/// "la 12 a la guarde y la 13 al refri": some leave the house and others stay.
fn other_goal(items: &[Item], start: usize, at: usize) -> bool {
    let coded = |i: &Item| matches!(i.kind, Kind::Codes(_));
    let away =
        |i: &Item| i.senses.iter().any(|s| matches!(s, Sense::Site(SiteWord::Work | SiteWord::Daycare)));
    let placed = |i: &Item| i.place().is_some();
    // "y la" is part of the label
    let label = if coded(&items[at]) { at } else { at + 1 };
    let before = &items[start..at];
    let rest = items.get(label + 1..).unwrap_or_default();
    let stop = rest.iter().position(|i| !i.is_word()).unwrap_or(rest.len()).min(4);
    let after = &rest[..stop];
    let sent = before.iter().any(away) && !before.iter().any(placed) && after.iter().any(placed);
    let kept = before.iter().any(placed) && !before.iter().any(away) && after.iter().any(away);
    items.get(label).is_some_and(coded)
        && before.iter().any(coded)
        && (sent && !after.iter().any(away) || kept && !after.iter().any(placed))
}

/// "jar, 140": what the amount is in.
fn is_lone_noun(items: &[Item], start: usize, at: usize) -> bool {
    let noun = at == start + 1 && items[start].is_word() && items[start].has(Tag::Container);
    noun && items.get(at + 1).is_some_and(|i| i.amount().is_some())
}

/// ", ok or not": belongs to what it asks about.
fn only_asks(message: &Message, at: usize) -> bool {
    let Some(first) = message.items.get(at) else { return false };
    let end =
        message.items[at..].iter().find(|i| i.sign().is_some()).map_or(message.tokens.len(), |i| i.from);
    message.marks[first.from].iter().any(|(tag, length)| *tag == Tag::AskEnd && first.from + length == end)
}

/// "bag 19 and 0.5 ml of vitamin d": so much of something else.
fn takes_medicine(message: &Message, at: usize) -> bool {
    let items = &message.items;
    let joint = items[at].sign() == Some('+')
        || items[at].is_word() && items[at].any(&[Tag::And, Tag::With, Tag::Then]);
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::Of, Tag::The, Tag::Article, Tag::Person]));
    let mut after = items[at + 1..].iter().filter(small);
    joint
        && after.next().is_some_and(|i| i.amount().is_some())
        && after.next().is_some_and(|i| i.has(Tag::Medicine))
}

/// "took 60 from bag 9 and put it in a bottle": where what was taken went.
fn into_a_vessel(items: &[Item], start: usize, from: usize) -> bool {
    let [verb, it, into, vessel, ..] = &items[from.min(items.len())..] else { return false };
    let coded = items[start..from].iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let put = verb.is(Verb::Put) || verb.is(Verb::Pour);
    let vessel = vessel.any(&[Tag::Bottle, Tag::Container]) || matches!(vessel.kind, Kind::Count(_));
    coded && put && it.has(Tag::It) && it.is_word() && into.any(&[Tag::In, Tag::Into]) && vessel
}

/// "late entry:", "sitter notes:": words before a colon that say nothing of milk themselves.
fn is_header(items: &[Item]) -> bool {
    let heavy = |i: &Item| {
        !matches!(i.kind, Kind::Word | Kind::Sign(_))
            || i.place().is_some()
            || i.any(&[
                Tag::ListHead,
                Tag::Session,
                Tag::FeedNoun,
                Tag::LeftSide,
                Tag::RightSide,
                Tag::Milk,
                Tag::Container,
            ])
    };
    heads(items).is_empty()
        && !items.iter().any(heavy)
        && items.iter().any(|i| i.to > i.from && i.is_word() && !i.initial && !is_name(i))
}

/// A word that nobody knows may be a child's name before an amount.
fn is_name(item: &Item) -> bool {
    item.unknown && item.to == item.from + 1
}

/// A verb, or a bottle with an amount, comes before the next stop.
fn opens_ahead(message: &Message, from: usize) -> bool {
    let rest = &message.items[from.min(message.items.len())..];
    let end = rest
        .iter()
        .position(|i| {
            i.sign().is_some_and(|s| ".,;!?()".contains(s))
                || message.tokens[i.from].line
                || (i.is_word() && i.any(&[Tag::And, Tag::But, Tag::Then]))
        })
        .unwrap_or(rest.len());
    let stretch = &rest[..end];
    let verb =
        !heads(stretch).is_empty() || stretch.iter().any(|i| i.has(Tag::LeftOver) && i.is(Verb::Leave));
    let amount = stretch.iter().any(|i| matches!(i.kind, Kind::Amount(_) | Kind::Multi(..)));
    let bottle = stretch.iter().any(|i| i.any(&[Tag::Bottle, Tag::Milk])) && amount;
    let subject = stretch.first().is_some_and(|i| i.is_word() && i.any(&[Tag::He, Tag::I, Tag::You]));
    verb || bottle || subject || stretch.iter().any(|i| i.is_word() && i.has(Tag::Formula))
}

/// "drank 80 tossed 20", "made 150 he drank 100": a second verb after a whole first event.
fn second_event(message: &Message, start: usize, at: usize) -> bool {
    let items = &message.items;
    let pronoun = |n: usize| items.get(n).is_some_and(|i| i.is_word() && i.any(&[Tag::He, Tag::I]));
    let verb_at = if pronoun(at) { at + 1 } else { at };
    let verb = items.get(verb_at).is_some_and(|i| {
        i.is_word()
            && !i.any(&[Tag::LeftOver, Tag::Frozen, Tag::LeftSide])
            && i.verbs().any(|(_, form)| form == Form::Done)
    });
    let other = !items.get(verb_at).is_some_and(|i| {
        i.is(Verb::Thaw)
            || i.is(Verb::Label)
            || i.is(Verb::ComeBack)
            || i.is(Verb::Open)
            || i.is(Verb::Hold)
            || i.senses.iter().any(|s| matches!(s, Sense::Site(_)))
    });
    let before = &items[start..at];
    let number = before
        .iter()
        .any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_)));
    let link = at > start && items[at - 1].any(&[Tag::Of, Tag::From, Tag::To, Tag::The]);
    let relative =
        at > start && message.marks[items[at - 1].from].iter().any(|(tag, _)| *tag == Tag::Relative);
    let vessel = at > start && items[at - 1].has(Tag::And) && into_a_vessel(items, start, at);
    let link = link || relative || vessel;
    if !(verb && other && !link && number) || (at > start && pronoun(at - 1)) {
        return false;
    }
    let heads = heads(before);
    heads.iter().any(|h| h.form == Form::Done) && heads.iter().all(|h| h.verb != Verb::Pour)
}

fn says_something(items: &[Item]) -> bool {
    !heads(items).is_empty() || items.iter().any(|i| !matches!(i.kind, Kind::Word | Kind::Sign(_)))
}
