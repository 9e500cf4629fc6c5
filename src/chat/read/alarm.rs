//! Messages after which people must act before anything is recorded: an unwell child, another child's milk, water in the
//! milk, a strange colour. What is negated, nearly happened, or is about somebody else is no alarm; a question is one.

use super::clause::Clause;
use super::cut::segments;
use super::item::{Item, Kind, Message};
use super::mood::is_question;
use super::senses::{Tag, Verb};
use crate::domain::act::What;
use crate::domain::place::Site;

/// Whether a segment, among all of the message, sounds an alarm of one kind.
type Test = fn(&Clause, &[Clause]) -> bool;

/// The first alarm in a message, by how grave it is.
pub fn read(message: &Message) -> Option<What> {
    let all: Vec<Clause> = segments(message).into_iter().map(uncompared).collect();
    let kinds: [(What, Test); 4] = [
        (What::Unwell, unwell),
        (What::WrongMilk, wrong_milk),
        (What::Colour, colour),
        (What::Dilution, dilution),
    ];
    kinds
        .into_iter()
        .find(|(_, test)| {
            let heard =
                |n: usize| !silenced(&all[n], n.checked_sub(1).map(|p| &all[p])) && test(&all[n], &all);
            (0..all.len()).any(heard)
        })
        .map(|(what, _)| what)
}

/// "he has a fever like my nephew last week": what is told of somebody else tells nothing of the child.
fn uncompared(segment: Clause) -> Clause {
    let like = |at: usize| {
        segment.message.marks[segment.items[at].from].iter().any(|(tag, _)| *tag == Tag::LikeOther)
    };
    let other = |i: &Item| {
        i.is_word() && i.has(Tag::Person)
            || segment.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::OtherPerson)
    };
    let his = |i: &Item| segment.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Childs);
    let near = |at: usize| {
        segment.items[at + 1..].iter().take(3).any(other) || segment.items.get(at + 1).is_some_and(his)
    };
    let child = |at: usize| segment.items[..at].iter().any(|i| i.is_word() && i.any(&[Tag::He, Tag::Him]));
    let cut = (1..segment.items.len()).find(|at| like(*at) && child(*at) && near(*at));
    match cut {
        Some(at) => Clause::of(segment.message, &segment.items[..at], segment.asked, segment.first),
        None => segment,
    }
}

/// Conditional, nearly happened, a joke, or about something else.
fn silenced(segment: &Clause, before: Option<&Clause>) -> bool {
    // "qué pasa si le echo agua"
    let asked = || before.is_some_and(|b| b.items.len() <= 3 && !segment.first && is_question(b));
    let conditional = segment.bare(Tag::Conditional).is_some() && !is_question(segment) && !asked();
    let asked_of_somebody = segment.bare(Tag::Conditional).is_some() && segment.has(Tag::Request);
    conditional || asked_of_somebody || almost(segment) || segment.any(&[Tag::Joke, Tag::Pet, Tag::PastStory])
}

/// "casi se ahoga"; but "casi no reacciona" is as bad.
fn almost(segment: &Clause) -> bool {
    let denied =
        |at: usize| segment.message.has(at + 1, (at + 2).min(segment.message.tokens.len()), Tag::Negative);
    segment.bare(Tag::Almost).is_some_and(|at| !denied(at))
}

/// A mark that no negation before it takes back.
fn told(segment: &Clause, tag: Tag) -> bool {
    let Some(at) = segment.bare(tag) else { return false };
    segment.bare(Tag::Negative).is_none_or(|no| no >= at)
}

/// The same of a state, which may be over by now.
fn stands(segment: &Clause, tag: Tag) -> bool {
    let over = segment.bare(tag).zip(segment.bare(Tag::Over)).is_some_and(|(at, over)| over >= at);
    told(segment, tag) && !over && !gone(segment, tag)
}

/// "se le fue la fiebre": the verb is said before what is over.
fn gone(segment: &Clause, tag: Tag) -> bool {
    let marks = &segment.message.marks;
    let ends = |from: usize, at: usize| {
        marks[from].iter().any(|(t, length)| *t == Tag::Over && from + length + 1 == at)
    };
    segment.bare(tag).is_some_and(|at| {
        let article = at > 0 && marks[at - 1].iter().any(|(t, _)| *t == Tag::The);
        article && (segment.spans[0].0..at).any(|from| ends(from, at))
    })
}

fn unwell(segment: &Clause, all: &[Clause]) -> bool {
    let other = segment
        .items
        .iter()
        .any(|i| i.is_word() && i.any(&[Tag::I, Tag::Person, Tag::OtherPerson]) && !i.has(Tag::He));
    let other = other || segment.has(Tag::OtherPerson);
    if of_another(segment) {
        return false;
    }
    let child = all.iter().any(|s| s.items.iter().any(|i| i.is_word() && i.any(&[Tag::He, Tag::Him])));
    let thing = segment.any(&[Tag::Milk, Tag::Bottle, Tag::Container, Tag::Water])
        || segment.items.iter().any(|i| i.is_word() && i.has(Tag::It));
    let vomits = stands(segment, Tag::Vomit) && (!segment.has(Tag::Some) || segment.has(Tag::All));
    // "la 21 ya está aguadita pero fría" is milk that has thawed
    let milk = segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let found = milk && segment.any(&[Tag::Liquid, Tag::Cold, Tag::Icy]);
    let sign = stands(segment, Tag::Limp) && !found || vomits || stands(segment, Tag::Dry);
    let hot = |i: &&Item| {
        i.amount().is_some_and(|a| {
            a.unit.is_none() && ((38.0..=43.0).contains(&a.value) || (100.4..=109.0).contains(&a.value))
        })
    };
    // "38 in the shade" is none of his; "mocos y 38.2" is
    let shade = segment.bare(Tag::OtherThing);
    let apart = |at: usize, hot: &Item| {
        segment.items.iter().any(|i| at < i.from && i.from < hot.from && i.is_word() && i.has(Tag::And))
    };
    let degrees = segment.items.iter().find(hot).is_some_and(|i| shade.is_none_or(|at| apart(at, i)));
    let measured =
        (degrees && segment.has(Tag::Temperature) || bare_degrees(segment, all)) && !segment.has_place();
    let fever = (measured || stands(segment, Tag::Fever)) && (child || !thing);
    let weak = all.iter().any(|s| s.has(Tag::OffFood)) && stands(segment, Tag::Hot);
    let hot = weak
        || stands(segment, Tag::Hot) && segment.items.iter().any(|i| i.is_word() && i.has(Tag::He)) && !thing;
    (sign && (!other || child))
        || ((fever || hot) && (!other || segment.items.iter().any(|i| i.has(Tag::He))))
}

/// "my coworker's kid has a fever": the first who is named is somebody else, or somebody else's child.
fn of_another(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::OtherPerson) else { return false };
    let ours = |i: &Item| i.is_word() && i.any(&[Tag::He, Tag::Him]);
    let before = segment.items.iter().any(|i| i.from < at && ours(i) && !kept_in(segment, i));
    let mut after = segment.items.iter().skip_while(|i| i.from < at).skip(1);
    // "my friend says she has a fever": of whom it is told is another question
    let told = after.find(|i| !(i.unknown || ours(i))).is_some_and(|i| i.is_word() && i.has(Tag::Says));
    !before && !told
}

/// "el hijo de mi compañera": named by whose it is.
fn kept_in(segment: &Clause, child: &Item) -> bool {
    let mut marked = (child.from..child.to + 3).filter(|at| {
        segment.message.marks.get(*at).is_some_and(|m| m.iter().any(|(tag, _)| *tag == Tag::OtherPerson))
    });
    let between = |to: usize| segment.items.iter().filter(move |i| i.from >= child.to && i.to <= to);
    marked.any(|at| between(at).all(|i| i.is_word() && i.verbs().next().is_none() && !i.has(Tag::And)))
}

/// "tiene 38.5": so many degrees and a fraction are neither milk nor a label.
fn bare_degrees(segment: &Clause, all: &[Clause]) -> bool {
    let body = |v: f64| v.fract() != 0.0 && ((38.0..=42.5).contains(&v) || (100.4..=108.0).contains(&v));
    // "tiene 39 y no quiere comer"
    let weak = all.iter().any(|s| s.any(&[Tag::OffFood, Tag::Hot, Tag::Temperature])) && all.len() < 5;
    let had = segment.heads.iter().any(|h| h.verb == Verb::Have);
    // "tiene 39 la niña"
    let he = |i: &Item| i.is_word() && i.has(Tag::He);
    let bare = |p: &[Item]| {
        p[0].is_word() && p[0].has(Tag::ThereAre) && p[1].amount().is_some_and(|a| a.unit.is_none())
    };
    let of_him = segment.items.windows(2).any(bare)
        && segment.items.iter().any(he)
        && segment.items.len() <= 4
        && segment.items.iter().all(|i| !i.unknown);
    let weak = weak || of_him;
    let whole = |v: f64| weak && !had && (38.0..=41.0).contains(&v) && segment.items.len() <= 8;
    let degrees = |v: f64| body(v) || whole(v);
    let shown = segment.items.iter().filter_map(|i| i.amount()).any(|a| a.unit.is_none() && degrees(a.value));
    let grown =
        |s: &Clause| s.items.iter().any(|i| i.is_word() && i.any(&[Tag::I, Tag::Person, Tag::OtherPerson]));
    shown
        && !all.iter().any(|s| grown(s) || s.has(Tag::OtherPerson))
        && segment
            .heads
            .iter()
            .all(|h| h.verb == Verb::Have || weak && matches!(h.verb, Verb::Want | Verb::Drink | Verb::Feed))
        && segment.bare(Tag::OtherThing).is_none()
        && segment.bare(Tag::Event).is_none()
}

fn fed(segment: &Clause) -> bool {
    let verbs =
        [Verb::Get, Verb::Give, Verb::Feed, Verb::Drink, Verb::Take, Verb::Have, Verb::Use, Verb::Finish];
    segment.tells_any(&verbs)
}

fn wrong_milk(segment: &Clause, all: &[Clause]) -> bool {
    let milk = segment.any(&[Tag::Bottle, Tag::Milk, Tag::Container]);
    let theirs = stands(segment, Tag::OtherChild)
        && !drank_an_amount(segment)
        && (fed(segment) || (milk && is_question(segment)));
    let theirs_to_give = super::scene::site(segment) == Some(Site::Daycare)
        && !segment.tells_any(&[Verb::Send, Verb::Put, Verb::Leave, Verb::Take]);
    // "mixed up the bottles, he had hers"
    let drunk = |s: &Clause| {
        fed(s) && s.bare(Tag::Negative).is_none() && s.items.iter().any(|i| i.is_word() && i.has(Tag::He))
    };
    let given = fed(segment) || theirs_to_give || all.iter().any(drunk);
    let wrong = stands(segment, Tag::Wrong) && segment.any(&[Tag::Bottle, Tag::Milk]) && given;
    theirs
        || wrong
        || others_milk(segment)
        || named_otherwise(segment)
        || meant_for_another(segment)
        || given_by_mistake(segment)
}

/// "she had 20 ml of another mum's milk", "gave him my sister's bottle".
fn others_milk(segment: &Clause) -> bool {
    let milk = |i: &&Item| i.any(&[Tag::Milk, Tag::Bottle]) && !i.has(Tag::Container);
    let named = |milk: &Item| {
        let before = &segment.message.marks[milk.from.saturating_sub(3)..milk.from];
        let ends = |(n, (tag, length)): (usize, &(Tag, usize))| {
            let to = milk.from.saturating_sub(3) + n + length;
            *tag == Tag::OtherPerson && (to == milk.from || to + 1 == milk.from && is_s(segment, to))
        };
        before.iter().enumerate().any(|(n, marks)| marks.iter().any(|mark| ends((n, mark))))
    };
    fed(segment)
        && segment.bare(Tag::Negative).is_none()
        && segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::He, Tag::Him]))
        && segment.items.iter().filter(milk).any(named)
}

/// The "s" of "mum's", where it stands for itself.
fn is_s(segment: &Clause, at: usize) -> bool {
    segment.message.tokens[at].plain.trim_matches('\'').len() == 1
}

/// "the other baby had 90": how much, and nothing of whose milk it was.
fn drank_an_amount(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::OtherChild) else { return false };
    let milk = [Tag::Milk, Tag::Bottle, Tag::Container, Tag::One, Tag::Him, Tag::It];
    let after = || segment.items.iter().filter(|i| i.from > at);
    let led = |i: &Item| i.is_word() && i.any(&[Tag::The, Tag::Article, Tag::CodeArticle]) && i.to == at;
    segment.items.first().is_some_and(|i| i.from == at || led(i))
        && after().any(|i| i.amount().is_some())
        && after().all(|i| {
            let named = matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_));
            !(named || i.is_word() && i.any(&milk))
        })
}

/// "gave Teddy the bottle that was meant for Isla".
fn meant_for_another(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::MeantFor).filter(|_| fed(segment)) else { return false };
    let name = |i: &Item| i.unknown && segment.message.tokens[i.from].is_name();
    let typed = |i: &Item| segment.message.typed(i.from, i.to);
    let (before, after): (Vec<&Item>, Vec<&Item>) = segment.items.iter().partition(|i| i.from <= at);
    let owner = after.into_iter().find(|i| name(i));
    let other = before.iter().any(|i| i.is_word() && (i.any(&[Tag::Him, Tag::He]) || name(i)));
    owner.is_some_and(|owner| other && before.iter().all(|i| !name(i) || typed(i) != typed(owner)))
}

/// "gave him Noah's bottle": somebody else's than the child's that was fed.
fn named_otherwise(segment: &Clause) -> bool {
    let items = &segment.items;
    let owned = |at: usize| {
        let token = &segment.message.tokens[items[at].from];
        let name = items[at].unknown && token.is_name() && token.typed.ends_with("'s");
        name && items.get(at + 1).is_some_and(|i| i.any(&[Tag::Bottle, Tag::Milk]))
    };
    let named = items.windows(2).any(|p| {
        let token = &segment.message.tokens[p[0].from];
        p[0].unknown && token.is_name() && !token.typed.ends_with("'s") && p[1].verbs().next().is_some()
    });
    let child = named || items.iter().any(|i| i.is_word() && i.any(&[Tag::Him, Tag::He]));
    child
        && fed(segment)
        && (told(segment, Tag::Bottle) || told(segment, Tag::Milk))
        && (0..items.len()).any(owned)
}

/// "gave him jacks bottle by mistake": whoever that is.
fn given_by_mistake(segment: &Clause) -> bool {
    let theirs = |pair: &[Item]| {
        pair[0].unknown
            && segment.message.tokens[pair[0].from].plain.ends_with('s')
            && pair[1].any(&[Tag::Bottle, Tag::Milk])
    };
    fed(segment) && told(segment, Tag::Mistake) && segment.items.windows(2).any(theirs)
}

/// "pumped 60 and it's got red streaks", "salieron 70 pero con sangre": the milk was told of before.
fn in_what_came(segment: &Clause, all: &[Clause]) -> bool {
    let came = |s: &Clause| {
        s.tells_any(&[Verb::Pump, Verb::Get]) && s.has_amount() && s.spans[0].0 < segment.spans[0].0
    };
    let grown = |i: &Item| {
        i.is_word() && i.any(&[Tag::I, Tag::Person, Tag::OtherPerson, Tag::He, Tag::Him, Tag::You])
    };
    all.iter().any(came) && segment.items.iter().all(|i| !i.unknown && !grown(i)) && segment.items.len() <= 9
}

fn colour(segment: &Clause, all: &[Clause]) -> bool {
    let looks = segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::Be, Tag::Looks]));
    let named = segment.items.iter().any(|i| {
        matches!(i.kind, Kind::Codes(_))
            || looks && (matches!(i.kind, Kind::Count(_)) || i.any(&[Tag::Container, Tag::Bottle]))
    });
    let milk = segment.any(&[Tag::Milk])
        || segment.heads.iter().any(|h| h.verb == Verb::Pump)
        || named && !colours_container(segment);
    let it = segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::It, Tag::This]))
        && segment.bare(Tag::WeakColour).is_none();
    stands(segment, Tag::Colour)
        && segment.bare(Tag::ColourThing).is_none()
        && (milk || it || is_in_milk(segment) || in_what_came(segment, all))
}

/// "the red bag", "pink bottles": how a container looks, not what is in it.
fn colours_container(segment: &Clause) -> bool {
    let Some(at) = segment.bare(Tag::Colour) else { return false };
    let noun = |i: &Item| i.any(&[Tag::Container, Tag::Bottle, Tag::One]) || matches!(i.kind, Kind::Codes(_));
    segment.items.iter().find(|i| i.from > at).is_some_and(noun)
}

/// "put a little water in her bottle".
fn watered(segment: &Clause, water: usize) -> bool {
    let put = segment.items.iter().any(|i| i.from < water && (i.is(Verb::Put) || i.is(Verb::Pour)));
    let mut after = segment.items.iter().skip_while(|i| i.from <= water);
    let inside = after.next().is_some_and(|i| i.is_word() && i.any(&[Tag::In, Tag::Into, Tag::To]));
    let mut goal = after.skip_while(|i| i.is_word() && i.any(&[Tag::The, Tag::Him, Tag::Article]));
    put && inside && goal.next().is_some_and(|i| i.any(&[Tag::Bottle, Tag::Milk]))
}

/// "a bit of blood in the bottle", "pink streaks in bag 12".
fn is_in_milk(segment: &Clause) -> bool {
    let Some(colour) = segment.bare(Tag::Colour) else { return false };
    // "the pink bottle is in the bag"
    let coloured = |i: &Item| i.from > colour && i.any(&[Tag::Bottle, Tag::Container, Tag::One, Tag::Milk]);
    if segment.items.iter().find(|i| i.from > colour).is_some_and(coloured) {
        return false;
    }
    let Some(at) = segment.items.iter().position(|i| i.from > colour && i.is_word() && i.has(Tag::In)) else {
        return false;
    };
    let vessel =
        |i: &Item| i.any(&[Tag::Bottle, Tag::Container]) || matches!(i.kind, Kind::Codes(_) | Kind::Count(_));
    segment.items[at + 1..].iter().take(3).any(vessel)
}

/// "stretched his 60 with some water".
fn stretched(segment: &Clause, water: usize) -> bool {
    let verb = segment.bare(Tag::WaterVerb);
    let with =
        segment.items.iter().rfind(|i| i.is_word() && i.has(Tag::With) && i.from < water).map(|i| i.from);
    let amount = segment.items.iter().find(|i| i.amount().is_some()).map(|i| i.from);
    matches!((verb, amount, with), (Some(verb), Some(amount), Some(with)) if verb < amount && amount < with)
}

fn dilution(segment: &Clause, all: &[Clause]) -> bool {
    if segment.has(Tag::Formula) && !segment.has(Tag::More) {
        return false;
    }
    let milk = all.iter().any(|s| {
        s.any(&[Tag::Milk, Tag::Bottle, Tag::MakeLast, Tag::Container])
            || s.items.iter().any(|i| i.is_word() && i.has(Tag::It))
    });
    if segment.has(Tag::Shopping) {
        return false;
    }
    let wish = segment.any(&[Tag::Plan, Tag::Request]) && !milk && !segment.has(Tag::MakeLast);
    let plain = segment.items.iter().all(|i| !i.unknown)
        && !wish
        && !segment.has(Tag::Shopping)
        && segment.bare(Tag::OtherThing).is_none_or(|at| segment.bare(Tag::Water) == Some(at));
    let water = told(segment, Tag::Water).then(|| segment.bare(Tag::Water)).flatten();
    // "puse la 60 a descongelar en agua"
    let around =
        |at: usize| segment.items.iter().rfind(|i| i.to <= at).is_some_and(|i| i.is_word() && i.has(Tag::In));
    // "puse la 12 en agua": the container, and not its milk
    let bag = segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let around = water.is_some_and(around)
        && (segment.heads.iter().any(|h| matches!(h.verb, Verb::Thaw | Verb::Warm)) || bag);
    let water = water.filter(|_| !around);
    let added = water.is_some_and(|at| segment.bare(Tag::WaterVerb).is_some_and(|verb| verb < at))
        && segment.bare(Tag::DrinkWater).is_none();
    let mixed = water.is_some()
        && segment.has(Tag::Milk)
        && segment.items.iter().any(|i| i.is_word() && i.has(Tag::Half));
    let mixed = mixed || water.is_some_and(|at| stretched(segment, at) || watered(segment, at));
    mixed || (told(segment, Tag::Dilute) && (milk || plain)) || (added && (milk || plain))
}
