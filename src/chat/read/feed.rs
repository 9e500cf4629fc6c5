//! Feeds: what a child drank, of how much, what stayed in the bottle and where. What is left in a bottle is started milk
//! and never a new container.

use super::Context;
use super::children::{child, gave_by_name, of_children, taken_by_child};
use super::clause::Clause;
use super::drunk::{Amounts, drank_half, half_of_one, left_half, near};
use super::item::{Amount, Item, Kind};
use super::pump::{Pour, doubtful_pair, entry_moment, pours};
use super::scene::{Bare, Built, act, moment, refs, spots, timed, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use super::several::several_feeds;
use super::stays;
use super::when::{Role, When};
use crate::domain::act::{Act, Code, Doubt, Kind as ActKind, Pick};
use crate::domain::place::Site;
use crate::domain::volume::{Unit, Volume};

/// Verbs after which a bare number from 7 to 15 may be a label, a count, ounces or millilitres.
const LOOSE: [Verb; 3] = [Verb::Give, Verb::Use, Verb::Take];

/// The feed or feeds that a clause tells; none where it says nothing of milk.
pub fn feed(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let strong = clause.tells_any(&[Verb::Feed, Verb::Drink]) || clause.head(Verb::Feed).is_some();
    let strong = strong || taken_by_child(clause) || gave_by_name(clause, ctx);
    let children = of_children(clause);
    let mut pours = if children.len() > 1 { children } else { pours(clause, strong) };
    pours.retain(|p| !was_there(clause, p));
    let label = label_before(&mut pours, ctx);
    doubtful_pair(clause, &pours)?;
    loose_number(clause, &pours)?;
    let refs = refs(clause, &clause.items, Bare::Never)?;
    if super::several::lists_hours(clause) {
        return Err(Doubt::Time);
    }
    if given_to_another(clause) && (!refs.is_empty() || clause.has_number()) {
        return Err(Doubt::Kind);
    }
    let several = several_feeds(clause, &pours, ctx)?;
    if !several.is_empty() {
        return Ok(several);
    }
    // "80, 13hs 100, 16:30 90": which was drunk when is open, and a sum at each time is surely wrong
    let clocks = clause.whens().filter(|(_, w)| w.role == Role::At && w.clock.is_some()).count();
    if clocks > 1 && pours.len() > clocks {
        return Err(Doubt::Time);
    }
    let ranged = |i: &Item| matches!(&i.kind, Kind::List(all, true) if all.iter().all(|n| *n >= 15));
    if clause.items.iter().any(ranged) && !clause.heads.iter().any(|h| LOOSE.contains(&h.verb)) {
        return Err(Doubt::Amount);
    }
    let told: Vec<Verb> = clause.heads.iter().filter(|h| h.form != Form::Base).map(|h| h.verb).collect();
    if !told.is_empty()
        && told.iter().all(|v| matches!(v, Verb::Make | Verb::Offer))
        && !clause.items.iter().any(|i| i.has(Tag::LeftOver))
    {
        return Ok(vec![]);
    }
    if is_refused(clause, &told, &pours) {
        return Ok(vec![]);
    }
    let mut feed = act(ActKind::Feed, clause, ctx)?;
    // "bottle of 5 am: 130": told without a verb, it names no other milk
    let entry = clause.heads.is_empty() && !feed.timed && !pours.is_empty() && refs.codes.is_empty();
    if entry {
        timed(&mut feed, moment(&clause.items, ctx, true)?, ctx);
    }
    let amounts = Amounts::of(clause, pours, ctx)?;
    let bottle = clause.any(&[Tag::Bottle, Tag::Container, Tag::Milk]);
    let known = !refs.codes.is_empty()
        || label.is_some()
        || refs.count.is_some()
        || !listed_codes(clause, ctx).is_empty()
        || refs.pick.as_ref().is_some_and(|p| *p != Pick::All || says_it(clause));
    // "started a feed diary 10 days ago"
    let ends = |i: &Item| !i.is_word() || i.verbs().next().is_some() || i.any(&[Tag::Just, Tag::He]);
    let after = clause.item(Tag::FeedNoun).map(|at| clause.items.get(at + 1));
    let noun = after.is_some_and(|i| i.is_none_or(ends)) && !clause.items.iter().any(is_stranger);
    let begun = clause.tells(Verb::Start) && (clause.head(Verb::Drink).is_some() || noun);
    let tasted = !amounts.any() && tasted(clause);
    let halved = !amounts.any() && gave_half(clause);
    if !(amounts.any() || known || bottle || begun || tasted || halved || clause.tells(Verb::Feed)) {
        return Ok(vec![]);
    }
    let only_it = refs.pick == Some(Pick::Last) && refs.codes.is_empty() && refs.count.is_none();
    if only_it && !amounts.any() && !bottle && clause.items.iter().any(is_stranger) {
        return Ok(vec![]);
    }
    refs.put(&mut feed);
    if entry && feed.timed {
        (feed.count, feed.pick) = (None, None);
    }
    feed.codes.extend(listed_codes(clause, ctx));
    feed.codes.extend(label);
    let named = !feed.codes.is_empty();
    let lying = stays::lying(clause);
    if of_it(clause) && !matches!(feed.pick, Some(Pick::Oldest | Pick::Newest | Pick::Phrase(_))) {
        feed.pick = Some(Pick::Last);
    }
    // "used the rest": of the bottle that was begun
    let rest = clause.tells(Verb::Use) && !amounts.any() && !clause.has_place();
    feed.pick = feed.pick.filter(|p| match p {
        Pick::Rest => rest && !named,
        Pick::All => !named && lying.is_some() && !amounts.any(),
        Pick::Last => !named && !told_before(clause),
        _ => true,
    });
    if !named && feed.pick.is_none() && feed.count.is_none() && finished(clause, &amounts) {
        feed.pick = Some(Pick::Rest);
    }
    if feed.pick == Some(Pick::All) {
        feed.place = lying;
    } else if let Some(from) = spots(clause).into_iter().find(|s| {
        s.at > 0 && clause.items[..s.at].iter().rev().take(2).any(|i| i.is_word() && i.has(Tag::From))
    }) {
        feed.place = Some(from.place);
        feed.site = from.site;
    }
    if feed.codes.is_empty() && feed.site.is_none() {
        feed.site = super::scene::site(clause).filter(|site| *site == Site::Daycare);
    }
    feed.child = child(clause);
    let poured = clause.has(Tag::PouredRest) || super::pouring::fills_a_bottle(clause);
    feed.poured = poured && (!feed.codes.is_empty() || feed.pick.is_some());
    let poured = half_of_one(clause) && clause.tells_any(&[Verb::Give, Verb::Use]);
    feed.half = !amounts.any() && (drank_half(clause) || left_half(clause) || poured) || halved;
    feed.poured |= poured && feed.half;
    amounts.put(&mut feed, clause);
    feed.open = is_open(clause, &feed) || tasted;
    if tasted {
        // No later feed is the end of it.
        feed.ended = feed.at;
        feed.left_place = feed.left_place.or(spots(clause).last().map(|s| s.place));
    }
    // "used bag 22 and half of bag 23"
    if feed.half && feed.codes.len() > 1 && half_of_one(clause) {
        let last = feed.codes.split_off(feed.codes.len() - 1);
        let half = Act { codes: last, ..feed.clone() };
        return Ok(vec![Act { half: false, poured: false, ..feed }, half]);
    }
    let plain = feed.ml.is_some() && feed.left_ml.is_none() && feed.codes.is_empty();
    Ok(if plain { at_each_time(vec![feed], clause, ctx) } else { vec![feed] })
}

/// "topped up his 60 with 30": what was in the bottle before.
fn was_there(clause: &Clause, pour: &Pour) -> bool {
    let his = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Childs);
    clause.tells(Verb::Add) && pour.at > 0 && his(&clause.items[pour.at - 1])
}

/// "took it to the vet": a word that is no name and that nobody here knows.
fn is_stranger(item: &Item) -> bool {
    item.unknown && !item.initial
}

/// "bottle of 120, drank it all": the bottle was spoken of just now, and is no container of its own.
fn told_before(clause: &Clause) -> bool {
    let it = clause.items.iter().position(|i| i.is_word() && i.has(Tag::It));
    !of_it(clause) && it.is_some_and(|at| clause.items[..at].iter().any(|i| i.amount().is_some()))
}

/// "se la tomó toda": the milk was spoken of.
fn says_it(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.is_word() && i.has(Tag::It)) && clause.items.iter().all(|i| !i.unknown)
}

/// "gave him 60 of it".
fn of_it(clause: &Clause) -> bool {
    let word = |i: &Item, tag: Tag| i.is_word() && i.has(tag);
    clause.items.windows(3).any(|p| p[0].amount().is_some() && word(&p[1], Tag::Of) && word(&p[2], Tag::It))
}

/// "finished the bottle", "gave him the rest": one that was drunk from before.
fn finished(clause: &Clause, amounts: &Amounts) -> bool {
    let names = |tags: &[Tag]| clause.items.iter().any(|i| i.is_word() && i.any(tags));
    let rest = [Tag::Rest, Tag::BottleRest];
    let given = clause.tells_any(&[Verb::Give, Verb::Feed, Verb::Drink, Verb::Have, Verb::Take]);
    !amounts.any()
        && (clause.tells(Verb::Finish) && names(&[Tag::Bottle, Tag::Rest]) || given && names(&rest))
}

/// "gave 2 bags to my sister", "gave my sister 11 and 12": for her, or for her to feed.
fn given_to_another(clause: &Clause) -> bool {
    let Some(give) = clause.heads.iter().find(|h| h.verb == Verb::Give && h.form != Form::Base) else {
        return false;
    };
    let other = |i: Option<&Item>| i.is_some_and(|i| i.is_word() && i.has(Tag::OtherPerson));
    let to = clause.items.iter().rposition(|i| i.is_word() && i.has(Tag::To));
    other(clause.items.get(give.at + 1)) || to.is_some_and(|at| other(clause.items.get(at + 1)))
}

/// "offered 80 but he refused it": nothing was drunk.
fn is_refused(clause: &Clause, told: &[Verb], pours: &[Pour]) -> bool {
    let kept = |v: &Verb| matches!(v, Verb::Make | Verb::Offer | Verb::Warm | Verb::Refuse);
    told.contains(&Verb::Refuse)
        && told.iter().all(kept)
        && pours.len() < 2
        && !clause.any(&[Tag::Rest, Tag::LeftOver])
}

/// "fed 13 (120 ml)": a number that can't be an amount, before one that surely is.
fn label_before(pours: &mut Vec<Pour>, ctx: &Context) -> Option<Code> {
    let [first, second] = pours.as_slice() else { return None };
    let sure = second.amount.unit == Some(Unit::Ml) && second.amount.value >= 15.0;
    let label = first.amount.whole().filter(|_| sure && volume(first.amount, None, ctx).is_err())?;
    pours.remove(0);
    Some(label)
}

/// "gave 12": label, count, ounces or millilitres.
fn loose_number(clause: &Clause, pours: &[Pour]) -> Built<()> {
    let verb = clause.heads.iter().find(|h| h.form != Form::Base).is_some_and(|h| LOOSE.contains(&h.verb));
    let [only] = pours else { return Ok(()) };
    let loose = only.amount.whole().is_some_and(|n| (7..=15).contains(&n));
    let left = near(clause, only.at, Tag::LeftOver) && !left_half(clause);
    // "gave 17, left half": the half of a container rather than of 17 ml
    let halved = left_half(clause) || drank_half(clause);
    let loose = loose || halved && only.amount.whole().is_some_and(|n| (7..=45).contains(&n));
    if verb && loose && !left { Err(Doubt::Kind) } else { Ok(()) }
}

/// Bare numbers joined by "and" are labels after "gave" or "used", and where one of them can't be an amount.
fn listed_codes(clause: &Clause, ctx: &Context) -> Vec<Code> {
    let small = |code: &Code| volume(Amount::bare(f64::from(*code)), None, ctx).is_err();
    let unbelievable = |i: &Item| matches!(&i.kind, Kind::List(codes, false) if codes.iter().any(small));
    let bare = written_unit(&clause.items).is_none() || !clause.items.iter().any(|i| i.has(Tag::Formula));
    let loose = clause.heads.iter().any(|h| LOOSE.contains(&h.verb))
        || bare && clause.tells(Verb::Feed) && clause.items.iter().any(unbelievable);
    clause
        .items
        .iter()
        .filter_map(|i| match &i.kind {
            Kind::List(codes, range) if (loose || *range) && codes.iter().all(|c| *c < 60 || *range) => {
                Some(codes.clone())
            }
            _ => None,
        })
        .flatten()
        .collect()
}

/// Bare numbers joined by "and" that are no labels are amounts.
pub fn with_lists(clause: &Clause, mut pours: Vec<Pour>, ctx: &Context) -> Vec<Pour> {
    if !listed_codes(clause, ctx).is_empty() {
        return pours;
    }
    for (at, item) in clause.items.iter().enumerate() {
        if let Kind::List(numbers, false) = &item.kind {
            pours.extend(numbers.iter().map(|n| Pour { at, amount: Amount::bare(f64::from(*n)) }));
        }
    }
    pours.sort_by_key(|p| p.at);
    pours
}

/// "she only took a few sips", "she didn't finish it": how much it was isn't told, and the bottle was drunk from.
fn tasted(clause: &Clause) -> bool {
    let child = |i: &Item| i.is_word() && i.any(&[Tag::He, Tag::Him, Tag::Bottle, Tag::Only, Tag::Just]);
    let named = |i: &Item| child(i) || matches!(i.kind, Kind::Codes(_));
    let i_did = clause.items.first().is_some_and(|i| i.is_word() && i.has(Tag::I) && !i.has(Tag::He));
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Just, Tag::Only]));
    // "she didn't finish her dinner"
    let bottle = clause.has(Tag::Bottle) || clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    let some = |h: &super::clause::Head| {
        let next = clause.items[h.at + 1..].iter().find(small);
        let vague = next.is_some_and(|i| i.is_word() && i.any(&[Tag::Some, Tag::Sips]));
        let drunk = matches!(h.verb, Verb::Drink | Verb::Take | Verb::Have);
        h.form == Form::Done && (drunk && vague || clause.items[h.at].has(Tag::Sips) && bottle)
    };
    clause.heads.iter().any(some)
        && !i_did
        && clause.items.iter().any(named)
        && !clause.items.iter().any(is_stranger)
}

/// "gave her about half", "gave half the bottle".
fn gave_half(clause: &Clause) -> bool {
    let soft =
        [Tag::About, Tag::Just, Tag::Only, Tag::Him, Tag::He, Tag::The, Tag::CodeArticle, Tag::Article];
    let given = |h: &&super::clause::Head| h.form == Form::Done && matches!(h.verb, Verb::Give | Verb::Feed);
    let half = |h: &super::clause::Head| {
        let mut next = clause.items[h.at + 1..].iter();
        next.find(|i| !i.is_word() || i.has(Tag::Half) || !i.any(&soft))
            .is_some_and(|i| i.is_word() && i.has(Tag::Half))
    };
    clause.heads.iter().filter(given).any(half)
        && !half_of_one(clause)
        && !clause.items.iter().any(is_stranger)
}

/// Begun and not ended: "feeding now", "just started the bottle".
fn is_open(clause: &Clause, feed: &Act) -> bool {
    let now = clause.heads.iter().any(|h| {
        h.form == Form::Now
            && matches!(h.verb, Verb::Feed | Verb::Give | Verb::Drink | Verb::Have | Verb::Take)
    });
    feed.ml.is_none() && feed.left_ml.is_none() && (now || clause.tells(Verb::Start))
}

/// "at 7, 8 and 10" is three times, "at 7 or 10" a vague one.
pub fn times(clause: &Clause) -> Vec<When> {
    let between = |i: &Item| {
        let marks = &clause.message.marks[i.from.saturating_sub(1)..=i.from];
        marks.iter().flatten().any(|(tag, _)| *tag == Tag::Between)
    };
    let joined =
        |i: &Item| !between(i) && (i.from..i.to).any(|at| clause.message.has(at, at + 1, Tag::AndOnly));
    let clocks = clause.items.iter().filter_map(|i| i.when().map(|w| (*w, joined(i))));
    let told = clocks.filter(|(w, _)| w.role == Role::At && w.clock.is_some());
    told.flat_map(|(when, joined)| {
        let later = when.clock_latest.filter(|_| joined);
        let first = When { clock_latest: when.clock_latest.filter(|_| !joined), ..when };
        let second = later.map(|clock| When { clock: Some(clock), ..first });
        std::iter::once(first).chain(second)
    })
    .collect()
}

/// The same at each of several times.
pub fn at_each_time(one: Vec<Act>, clause: &Clause, ctx: &Context) -> Vec<Act> {
    let times = times(clause);
    if times.len() < 2 {
        return one;
    }
    if let Some(own) = super::several::told_between(clause).or_else(|| super::several::own_time(clause)) {
        let at = |mut act: Act| {
            timed(&mut act, entry_moment(clause, own, ctx), ctx);
            act
        };
        return one.into_iter().map(at).collect();
    }
    let many = times.len() as u32;
    let at = |when: When| {
        one.iter().cloned().map(move |mut act| {
            // "2 bottles of 120, 10:15 and 13:40": one at each time
            if act.count == Some(many) {
                act.ml = act.ml.map(|ml| Volume::from_microlitres(ml.microlitres() / i64::from(many)));
                act.count = None;
            }
            timed(&mut act, entry_moment(clause, when, ctx), ctx);
            act
        })
    };
    times.into_iter().flat_map(at).collect()
}
