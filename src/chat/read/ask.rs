//! Questions for the bot, by topic. A question to a person ("did you feed him?") is none, nor is one that isn't about
//! this child's milk.

use super::Context;
use super::clause::Clause;
use super::convert::{converted, is_convert};
use super::item::{Item, Kind, Message};
use super::leftover;
use super::scene::{Bare, Refs, refs, spots};
use super::senses::{Form, Tag, Verb};
use super::when::{DayName, Role};
use crate::domain::act::{Act, Code, Pick, RuleOn, Topic};

const MILK_VERBS: [Verb; 12] = [
    Verb::Thaw,
    Verb::Freeze,
    Verb::Warm,
    Verb::Combine,
    Verb::Pour,
    Verb::Pump,
    Verb::Nurse,
    Verb::Toss,
    Verb::Dump,
    Verb::Use,
    Verb::Feed,
    Verb::Add,
];
pub const FED_VERBS: [Verb; 8] =
    [Verb::Feed, Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Give, Verb::Nurse, Verb::Use];

/// What a question asks the bot, if it does. `after_fact`: something was told right before it.
pub fn ask(clause: &Clause, after_fact: bool, ctx: &Context) -> Option<Act> {
    let topic = topic(clause, after_fact)?;
    let mut ask = Act::ask(topic);
    let found = named(clause);
    match topic {
        Topic::Convert => ask.ml = converted(clause, ctx),
        Topic::Status => found.put(&mut ask),
        Topic::Rule => {
            about_rule(&mut ask, found, clause);
            if let Some(label) = label_used(clause).filter(|_| ask.codes.is_empty() && ask.rule.is_none()) {
                (ask.topic, ask.codes) = (Some(Topic::Status), vec![label]);
            }
        }
        Topic::Why => ask.codes = found.codes,
        _ => {}
    }
    super::naming::put(std::slice::from_mut(&mut ask), clause);
    if matches!(topic, Topic::Fed | Topic::LastFeed | Topic::Next) {
        ask.child = super::children::child_asked(clause);
    }
    if matches!(topic, Topic::Stock | Topic::DaysLeft | Topic::Expiring | Topic::Next) {
        ask.place = spots(clause).last().map(|s| s.place);
        ask.site = super::scene::site(clause);
    }
    Some(ask)
}

/// "Can we use 3?": the one number of the question, with no unit.
fn label_used(clause: &Clause) -> Option<Code> {
    let mut numbers = clause.items.iter().filter_map(|i| i.amount());
    let only = numbers.next().filter(|n| numbers.next().is_none() && n.unit.is_none())?;
    let plain = verb(clause, &[Verb::Use]) && spots(clause).is_empty() && clause.whens().next().is_none();
    only.whole().filter(|_| plain && clause.items.iter().all(|i| !i.unknown))
}

/// Which rule, by the place or the state of the milk that the question names.
fn about_rule(ask: &mut Act, found: Refs, clause: &Clause) {
    ask.codes = found.codes;
    if ask.codes.is_empty() && clause.has(Tag::Smell) {
        // "3 smells sour": a bare number is no amount there.
        let numbers = clause.message.items.iter().filter_map(|i| i.amount());
        ask.codes = numbers.filter(|n| n.unit.is_none()).filter_map(|n| n.whole()).collect();
        ask.codes.extend(super::naming::labels(&clause.message.items));
    }
    ask.place = spots(clause).last().map(|s| s.place);
    let said = |tag: Tag| clause.message.has(0, clause.message.tokens.len(), tag);
    ask.rule = match () {
        () if said(Tag::Medicine) => Some(RuleOn::Medicine),
        () if said(Tag::Refreezing) => Some(RuleOn::Refreezing),
        () if said(Tag::Mixing) => Some(RuleOn::Mixing),
        () if said(Tag::BottleRest) || leftover::asked(clause) => Some(RuleOn::Leftover),
        () if said(Tag::Outage) => Some(RuleOn::Outage),
        () if clause.heads.iter().any(|h| h.verb == Verb::Warm) => Some(RuleOn::Warmed),
        () if clause.heads.iter().any(|h| (h.verb, h.form) == (Verb::Thaw, Form::Done)) => {
            Some(RuleOn::Thawed)
        }
        () if said(Tag::Smell) => Some(RuleOn::Smell),
        () => None,
    };
}

/// "summary for dr pls, last 7 days": a question in the form of a wish.
pub fn summary(message: &Message) -> Option<Act> {
    let end = message.tokens.len();
    let (at, _) = message.find(0, end, Tag::SummaryWord)?;
    let named = at == 0 && !message.items.iter().any(|i| i.is_word() && i.has(Tag::Be));
    let asked = named || message.has(0, end, Tag::Request) || message.has(0, end, Tag::Summary);
    // "report took 40 min"
    let told = message
        .items
        .iter()
        .any(|i| i.is_word() && i.verbs().any(|(v, f)| v == Verb::Take && f == Form::Done));
    let asked = asked && !told;
    (asked && end <= 16 && !message.has(0, end, Tag::OtherThing)).then(|| Act::ask(Topic::Summary))
}

fn word(clause: &Clause, tag: Tag) -> bool {
    clause.items.iter().any(|i| i.is_word() && i.has(tag))
}

pub fn verb(clause: &Clause, verbs: &[Verb]) -> bool {
    clause.items.iter().any(|i| i.verbs().any(|(v, _)| verbs.contains(&v)))
}

/// A day to come, or what something is for.
fn ahead(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| w.role == Role::Purpose || matches!(w.day, Some(DayName::Back(d)) if d < 0))
}

fn topic(clause: &Clause, after_fact: bool) -> Option<Topic> {
    if clause.has(Tag::Help) {
        return Some(Topic::Help);
    }
    if is_why(clause) {
        return Some(Topic::Why);
    }
    if word(clause, Tag::You)
        || clause
            .bare(Tag::OtherThing)
            .is_some_and(|at| clause.bare(Tag::MonthWord) != Some(at) && !is_degrees(clause, at))
        || clause.any(&[Tag::Pet, Tag::Shopping])
    {
        return None;
    }
    // "who left the milk out", "why is there a bag in the sink"
    let blames = opens_with(clause, Tag::Who) && verb(clause, &[Verb::Leave]) && !clause.has(Tag::HowMuch);
    let wonders = opens_with(clause, Tag::Why)
        && !word(clause, Tag::Milk)
        && !clause.any(&[Tag::Smell, Tag::RuleWord])
        && named(clause).is_empty();
    if clause.has(Tag::AskSomeone) || is_order(clause) || blames || wonders {
        return None;
    }
    let much = clause.has(Tag::HowMuch);
    let named = !named(clause).is_empty();
    let rule = is_rule(clause, after_fact);
    match () {
        () if is_convert(clause) => Some(Topic::Convert),
        () if throws_after_medicine(clause) => Some(Topic::Rule),
        () if !named && leftover::asked(clause) => Some(Topic::Rule),
        () if clause.has(Tag::SummaryWord) => Some(Topic::Summary),
        () if clause.has(Tag::HowTo) || clause.has(Tag::RuleWord) => rule.then_some(Topic::Rule),
        () if is_thaw(clause, named) => Some(Topic::Thaw),
        () if is_last_feed(clause) => Some(Topic::LastFeed),
        () if is_expiring(clause) && !clause.any(&[Tag::Enough, Tag::DaysLeft]) => Some(Topic::Expiring),
        () if clause.has(Tag::DaysLeft) => Some(Topic::DaysLeft),
        () if is_fed(clause, much) => Some(Topic::Fed),
        () if (clause.has(Tag::HowLong) || lies_since(clause)) && rule && !named => Some(Topic::Rule),
        () if (verb(clause, &[Verb::Pump])
            || (verb(clause, &[Verb::Get])
                && word(clause, Tag::I)
                && clause.has(Tag::HowMuch)
                && clause.whens().any(|(_, w)| !w.now)))
            && (much
                || clause.has(Tag::Enough)
                || clause.has(Tag::What)
                    && !opens_with(clause, Tag::MayI)
                    && clause.whens().next().is_some()) =>
        {
            Some(Topic::Pumped)
        }
        () if named && is_status(clause) => Some(Topic::Status),
        () if is_plan(clause, much) => Some(Topic::Plan),
        () if is_next(clause) => Some(Topic::Next),
        () if (clause.has(Tag::HowLong) || lies_since(clause)) && rule => Some(Topic::Rule),

        () if is_stock(clause, much) => Some(Topic::Stock),
        () if rule => Some(Topic::Rule),
        () => None,
    }
}

/// "grab 2 bags out for tomorrow?": somebody is asked to do it.
fn is_order(clause: &Clause) -> bool {
    let small = |i: &&Item| !(i.is_word() && i.has(Tag::Polite) || i.sign().is_some());
    let deed = [Verb::Thaw, Verb::Pull, Verb::Move, Verb::Take, Verb::Send, Verb::Give, Verb::Put];
    let order = |i: &Item| i.is_word() && i.verbs().any(|(v, form)| form == Form::Base && deed.contains(&v));
    let open = [Tag::What, Tag::Which, Tag::HowMuch, Tag::OkWord, Tag::When, Tag::HowLong];
    let many = |i: &Item| matches!(i.kind, Kind::Count(_) | Kind::Amount(_) | Kind::Multi(..));
    clause.items.iter().find(small).is_some_and(order)
        && clause.items.iter().any(many)
        && !clause.any(&open)
        && clause.items.iter().all(|i| i.sign() != Some(','))
}

fn opens_with(clause: &Clause, tag: Tag) -> bool {
    clause.message.marks[clause.spans[0].0].iter().any(|(t, _)| *t == tag)
}

/// "is 77 degrees too warm for milk": how warm it is where the milk stands.
fn is_degrees(clause: &Clause, at: usize) -> bool {
    let degrees =
        clause.message.marks[at].iter().any(|(tag, _)| matches!(tag, Tag::Celsius | Tag::Fahrenheit));
    degrees && (word(clause, Tag::Milk) || clause.has_place())
}

/// "milk that has been out for 5 hours": how long it lay is told with it.
fn lies_since(clause: &Clause) -> bool {
    let spans = clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    spans && clause.has(Tag::RuleAsk) && !clause.has(Tag::HowMuch)
}

/// "why 12?", or "why?" alone: what decides until when it keeps.
fn is_why(clause: &Clause) -> bool {
    let plain = |i: &Item| {
        matches!(i.kind, Kind::Codes(_) | Kind::Sign(_)) || i.amount().is_some() || i.has(Tag::Why)
    };
    clause.items.first().is_some_and(|i| i.is_word() && i.has(Tag::Why))
        && clause.asked
        && clause.items.len() <= 4
        && clause.items.iter().all(plain)
}

/// "took ibuprofen, do i have to dump the next one".
fn throws_after_medicine(clause: &Clause) -> bool {
    let start = clause.spans[0].0;
    let taken = clause.message.has(0, start, Tag::Medicine) || clause.bare(Tag::Medicine).is_some();
    taken
        && clause.has(Tag::RuleAsk)
        && verb(clause, &[Verb::Toss, Verb::Dump, Verb::Use, Verb::Give, Verb::Feed, Verb::Nurse])
}

/// What runs out; but "how long until it expires" asks for a rule, and a label for that container.
fn is_expiring(clause: &Clause) -> bool {
    // "what have we got that needs using"
    let relative = |at: usize| {
        clause.message.marks.get(at).is_some_and(|marks| marks.iter().any(|(tag, _)| *tag == Tag::Expire))
    };
    let this = clause.items.iter().any(|i| i.is_word() && i.has(Tag::This) && !relative(i.to));
    // "which of them goes off first"
    let it = (0..clause.items.len()).any(|at| {
        let of = at > 0 && clause.items[at - 1].is_word() && clause.items[at - 1].has(Tag::Of);
        clause.items[at].is_word() && clause.items[at].has(Tag::It) && !of
    });
    let other = clause.any(&[Tag::HowLong, Tag::HowTo]) || it || this;
    let other = other || clause.bare(Tag::Conditional).is_some();
    clause.has(Tag::Expire) && !other && named(clause).codes.is_empty()
}

fn is_thaw(clause: &Clause, named: bool) -> bool {
    let frozen = spots(clause).iter().any(|s| s.place.is_freezer());
    let out = verb(clause, &[Verb::Get, Verb::Take])
        && (clause.has(Tag::OutWord) && is_milk(clause) || word(clause, Tag::OutOf) && frozen);
    // "did anyone take bags down for tomorrow"
    let down = clause.any(&[Tag::Who, Tag::HowMuch])
        && verb(clause, &[Verb::Move])
        && is_milk(clause)
        && (frozen || ahead(clause));
    // "which bag do I grab next"
    let next = clause.has(Tag::Which) && clause.bare(Tag::NextWord).is_some() && !frozen;
    let pulled = clause.heads.iter().any(|h| h.verb == Verb::Pull) && !next;
    let thaw = out || down || verb(clause, &[Verb::Thaw]) || pulled;
    let state = clause.items.iter().any(|i| i.verbs().any(|v| v == (Verb::Thaw, Form::Done)))
        && word(clause, Tag::Be)
        && named;
    let may = clause.has(Tag::MayI);
    let spans = clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    let whole = clause.any(&[Tag::Who, Tag::What, Tag::Which, Tag::HowMuch]) || named;
    // "any thawed milk left?"
    let kind = clause.items.windows(2).any(|p| {
        p[0].verbs().any(|v| v == (Verb::Thaw, Form::Done)) && p[1].is_word() && p[1].has(Tag::Milk)
    });
    let asks_for_rule = clause.any(&[Tag::HowLong, Tag::OkWord])
        || kind && clause.has(Tag::Stock) && !clause.has(Tag::Who)
        || spans && !whole
        || (word(clause, Tag::Milk) && clause.bare(Tag::Keep).is_some());
    let amount = !may || clause.has(Tag::HowMuch);
    thaw && amount && !state && !asks_for_rule
}

fn is_milk(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.any(&[Tag::Milk, Tag::Container, Tag::Bottle]))
}

fn is_last_feed(clause: &Clause) -> bool {
    let feed = verb(clause, &[Verb::Feed, Verb::Drink, Verb::Nurse])
        || word(clause, Tag::FeedNoun)
        || (clause.has(Tag::Last)
            && (clause.item(Tag::Bottle).is_some()
                || ((word(clause, Tag::He) || word(clause, Tag::Him)) && verb(clause, &FED_VERBS))));
    let feed = feed && clause.bare(Tag::Medicine).is_none();
    let asks = clause.any(&[Tag::When, Tag::Who]) || (clause.has(Tag::HowMuch) && clause.has(Tag::Last));
    let over_time = (clause.has(Tag::HowMuch) && clause.whens().next().is_some() && !clause.has(Tag::Last))
        || clause.has(Tag::Much);
    has_been_fed(clause)
        || (clause.has(Tag::LastFed) && !over_time)
        || (feed && asks && !ahead(clause) && !clause.has(Tag::Plan))
}

/// "has granny given her the noon bottle?": a yes or a no is asked for.
fn has_been_fed(clause: &Clause) -> bool {
    let fed = |h: &super::clause::Head| matches!(h.verb, Verb::Give | Verb::Feed) && h.form == Form::Done;
    let open = [
        Tag::What,
        Tag::Which,
        Tag::HowMuch,
        Tag::HowLong,
        Tag::When,
        Tag::MayI,
        Tag::OkWord,
        Tag::Keep,
        Tag::Why,
    ];
    let opens = clause.message.marks[clause.spans[0].0].iter().any(|(tag, _)| *tag == Tag::Question);
    let eaten = |h: &super::clause::Head| matches!(h.verb, Verb::Drink | Verb::Feed);
    let already = clause.has(Tag::Last) && word(clause, Tag::He) && clause.heads.iter().any(eaten);
    if opens && already && !clause.any(&open) {
        return true;
    }
    opens && clause.heads.iter().any(fed) && word(clause, Tag::Him) && !clause.any(&open)
}

/// How much was drunk over a time.
fn is_fed(clause: &Clause, much: bool) -> bool {
    let drank = verb(clause, &FED_VERBS[..4]) || verb(clause, &[Verb::Finish]);
    let child =
        word(clause, Tag::He) || word(clause, Tag::Him) || super::children::child_asked(clause).is_some();
    let eaten = verb(clause, &[Verb::Drink, Verb::Feed]);
    // "how much did he have yesterday"
    let had = clause.has(Tag::HadHowMuch);
    (much && had && !word(clause, Tag::I) && !ahead(clause) && !clause.has_place())
        || (much && drank && (child || eaten) && !word(clause, Tag::I) && !clause.has(Tag::Plan))
        || (eaten && clause.any(&[Tag::Much, Tag::Enough]) && !clause.has(Tag::Plan))
}

fn is_status(clause: &Clause) -> bool {
    let about =
        [Tag::Keep, Tag::OkWord, Tag::Expire, Tag::HowLong, Tag::HowOld, Tag::Where, Tag::RuleAsk, Tag::When];
    // "can you pass me the 55 of the cleaner": of something else
    if clause.items.iter().filter(|i| i.unknown).count() > 1 && !clause.any(&about) && !is_milk(clause) {
        return false;
    }
    let ok = clause.any(&[Tag::OkWord, Tag::MayI]) && !named(clause).codes.is_empty();
    !verb(clause, &[Verb::Combine, Verb::Add]) && (!ahead(clause) || ok)
}

/// Containers that a question names.
fn named(clause: &Clause) -> Refs {
    let looks = clause.any(&[Tag::Why, Tag::HowOld, Tag::OkWord, Tag::Expire, Tag::Keep, Tag::Where])
        || verb(clause, &[Verb::Thaw, Verb::Release, Verb::Hold, Verb::Toss, Verb::Dump])
        || clause.has(Tag::When) && verb(clause, &[Verb::Use]);
    let other_number = clause.items.iter().filter(|i| i.amount().is_some()).count() != 1;
    let bare = if looks && !other_number && !clause.has(Tag::HowMuch) { Bare::Label } else { Bare::Never };
    let mut found = refs(clause, &clause.items, bare).unwrap_or_default();
    found.count = None;
    found.called &= !clause.any(&[Tag::Which, Tag::What, Tag::HowMuch, Tag::Stock]);
    if !matches!(found.pick, Some(Pick::Phrase(_) | Pick::Oldest | Pick::Newest)) {
        found.pick = from_hour(clause);
    }
    if !matches!(found.pick, Some(Pick::Phrase(_))) && clause.any(&[Tag::Which, Tag::What, Tag::HowMuch]) {
        found.pick = None;
    }
    found
}

/// "what's left from 5": a bare hour after "from".
fn from_hour(clause: &Clause) -> Option<Pick> {
    let at = clause.items.iter().position(|i| i.is_word() && i.has(Tag::From))?;
    let hour = clause.items.get(at + 1)?.amount()?.whole().filter(|h| *h <= 12)?;
    Some(Pick::Phrase(hour.to_string()))
}

/// What is to be sent or needed on a day to come.
fn is_plan(clause: &Clause, much: bool) -> bool {
    let away = super::moves::is_away(super::scene::site(clause).as_ref());
    let held = clause.has(Tag::Stock) && clause.has_amount() && ahead(clause);
    let asks =
        much || held || clause.any(&[Tag::Enough, Tag::What, Tag::PlanWord]) || verb(clause, &[Verb::Send]);
    let need = clause.has(Tag::PlanAsk) || verb(clause, &[Verb::Send]);
    let to_send = clause.heads.iter().any(|h| (h.verb, h.form) == (Verb::Send, Form::Base));
    ((ahead(clause) || away || to_send) && asks && need && !clause.has(Tag::StockStrong))
        || (clause.has(Tag::Enough) && word(clause, Tag::For))
}

/// Which container comes next.
fn is_next(clause: &Clause) -> bool {
    let use_it =
        verb(clause, &[Verb::Use, Verb::Give, Verb::Feed, Verb::Warm, Verb::Pull, Verb::Take, Verb::Open])
            || clause.any(&[Tag::NextWord]);
    let oldest = word(clause, Tag::Oldest);
    clause.has(Tag::Which) && (use_it || oldest)
        || clause.has(Tag::What) && oldest
        || clause.has(Tag::NextWord)
}

fn is_stock(clause: &Clause, much: bool) -> bool {
    let have = clause.has(Tag::Stock);
    let nouns = [Tag::Milk, Tag::PumpNoun, Tag::Container, Tag::Bottle];
    let milk = nouns.iter().any(|tag| word(clause, *tag));
    let place = clause.has_place();
    let called = word(clause, Tag::Called) && (have || clause.any(&[Tag::Which, Tag::What]));
    // "any pumped milk"
    let noun = |i: &Item| i.is_word() && i.any(&[Tag::Milk, Tag::Container, Tag::Bottle]);
    let state =
        |h: &super::clause::Head| h.form == Form::Done && clause.items.get(h.at + 1).is_some_and(noun);
    let done = |h: &super::clause::Head| MILK_VERBS.contains(&h.verb) && h.verb != Verb::Freeze && !state(h);
    let deed = clause.heads.iter().any(done);
    let first = clause.items.iter().find(|i| i.is_word());
    let may = first.is_some_and(|i| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::MayI));
    clause.has(Tag::StockWord)
        || first.is_some_and(|i| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::AskHead))
            && place
            && milk
            && !deed
        || (!deed
            && (!may || much)
            && ((much && (have || place || milk))
                || called
                || (clause.has(Tag::What) && place)
                || (clause.has(Tag::Stock)
                    && (word(clause, Tag::Milk) || word(clause, Tag::PumpNoun))
                    && !clause.has(Tag::OkWord))))
}

/// May I, how long, is it normal: questions that a rule answers.
fn is_rule(clause: &Clause, after_fact: bool) -> bool {
    let asks = clause.any(&[Tag::RuleAsk, Tag::RuleWord, Tag::HowLong, Tag::HowTo, Tag::MayI, Tag::Keep]);
    let thing = word(clause, Tag::Milk)
        || word(clause, Tag::Bottle)
        || word(clause, Tag::Container)
        || clause.items.iter().any(|i| i.kind == Kind::Count(1) && i.any(&[Tag::Container, Tag::Bottle]))
        || word(clause, Tag::One);
    let pronoun = word(clause, Tag::It) || word(clause, Tag::This);
    let deed = verb(clause, &MILK_VERBS);
    let kept = clause.has_place() || word(clause, Tag::Back) || clause.any(&[Tag::Smell, Tag::RuleWord]);
    // "can she have calpol?" is about the medicine.
    let asked = clause.has(Tag::RuleAsk) && !word(clause, Tag::He);
    let medicine = clause.bare(Tag::Medicine).is_some() && (asked || thing || deed);
    let bare_toss = clause.asked && clause.items.len() <= 3 && verb(clause, &[Verb::Toss, Verb::Dump]);
    let follows = after_fact && (asks || pronoun || kept);
    let spans = clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    let lasting = spans || clause.whens().next().is_some();
    let good = clause.has(Tag::StillGood) && clause.items.iter().all(|i| !i.unknown);
    let mixing = clause.has(Tag::Mixing) && clause.asked && clause.items.iter().all(|i| !i.unknown);
    bare_toss
        || good
        || (mixing && clause.items.len() <= 7 && !word(clause, Tag::Water))
        || (clause.has(Tag::HowLong) && spans)
        || follows
        || medicine
        || (asks && (thing || kept))
        || (asks && pronoun && (deed || lasting))
        || (asks && deed && !word(clause, Tag::Him))
        || (kept && word(clause, Tag::Back))
}
