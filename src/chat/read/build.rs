//! From events to acts, and from what stopped one to the question that must be asked first.

use super::Context;
use super::clause::{Clause, Head};
use super::event::Event;
use super::family::Family;
use super::item::Kind as ItemKind;
use super::moment::settle;
use super::scene::{Built, MOST_ML, spots, volume};
use super::senses::{Form, Part, Tag, Verb};
use super::when::{Role, When};
use super::{
    ask, feed, formula, left_out, loose, moves, naming, nursing, outage, pouring, pump, store, tally, travel,
};
use crate::domain::act::{Act, Doubt, Kind, Pick, Topic};
use crate::domain::place::Place;
use crate::domain::volume::Volume;

/// The acts that events tell, in their order.
pub fn acts(events: &[Event], ctx: &Context) -> Built<Vec<Act>> {
    let asks = events.iter().any(|e| matches!(e, Event::Asked(_)));
    let mut acts: Vec<Act> = Vec::new();
    for (index, event) in events.iter().enumerate() {
        match event {
            Event::Told(family, clause) => {
                let lay = *family == Family::Move
                    && clause.tells(Verb::Leave)
                    && (clause.whens().any(|(_, w)| w.role == Role::Since)
                        || clause.items.iter().any(|i| matches!(i.kind, ItemKind::Lasting(_))));
                if asks && lay {
                    continue;
                }
                if *family == Family::Warm && comes_after(clause) && warmed_before(&mut acts) {
                    continue;
                }
                if is_to_come(clause, ctx) {
                    continue;
                }
                let mut made = told(*family, clause, ctx)?;
                naming::put(&mut made, clause);
                rest_of_bottle(&mut acts, made, clause);
            }
            Event::Asked(clause) => {
                let made = ask::ask(clause, !acts.is_empty() || index > 0 || milk_before(clause), ctx);
                if let (Some(asked), Some(last)) = (&made, acts.last_mut()) {
                    put_rest(last, asked, clause, ctx);
                }
                let again = made
                    .as_ref()
                    .is_some_and(|m| acts.iter().any(|a| a.kind == Kind::Ask && a.topic == m.topic));
                acts.extend(made.filter(|_| !again));
            }
        }
    }
    if asks && acts.iter().any(|a| a.kind == Kind::Ask) {
        acts.retain(|a| !is_background(a));
    }
    acts.dedup_by(|again, first| is_told_again(first, again));
    if acts.iter().any(overflows) { Err(Doubt::Amount) } else { Ok(acts) }
}

/// "just fed 60, can the other 30 go back in the fridge?": how much of the bottle is left is told with the question.
fn put_rest(feed: &mut Act, asked: &Act, clause: &Clause, ctx: &Context) {
    let open = feed.kind == Kind::Feed && feed.left_ml.is_none() && feed.ml.is_some();
    if !open || asked.topic != Some(Topic::Rule) {
        return;
    }
    let rest = |at: usize| {
        at > 0
            && clause.items[at - 1].is_word()
            && clause.items[at - 1].any(&[Tag::OtherOne, Tag::Rest, Tag::LeftOver])
    };
    let amount = clause.items.iter().enumerate().find_map(|(at, i)| i.amount().filter(|_| rest(at)));
    feed.left_ml = amount.and_then(|a| volume(a, None, ctx).ok());
}

/// "packing 4 bottles in the morning", sent in the evening: what is happening now doesn't happen then.
fn is_to_come(clause: &Clause, ctx: &Context) -> bool {
    // "mando 3 por la mañana": a form that may be either is no fact of a time that is over
    let open = |h: &Head| {
        h.form == Form::Now
            || h.form == Form::Base
            || clause.heads.iter().any(|o| (o.at, o.form) == (h.at, Form::Base))
    };
    if clause.heads.is_empty() || !clause.heads.iter().all(open) || clause.head(Verb::Pump).is_some() {
        return false;
    }
    let told = |at: usize, w: &When| {
        let from = clause.items[at].from;
        w.role == Role::At || clause.message.has(from, from + 1, Tag::In)
    };
    let own = |w: &When| w.day.is_none() && w.clock.is_none();
    let night = |w: &When| matches!(w.part, Some(Part::LastNight | Part::SmallHours | Part::Earlier));
    let part = clause.whens().find(|(at, w)| w.part.is_some() && own(w) && told(*at, w) && !night(w));
    let moment = part.and_then(|(_, w)| settle(&When { role: Role::At, ..*w }, ctx.sent, ctx.zone));
    moment.is_some_and(|m| m.latest.is_some_and(|latest| latest < ctx.sent))
}

/// "forgot bag 27 on the side, binned it": thrown away is what lay there.
fn thrown_from_room(acts: &mut Vec<Act>, act: &mut Act) {
    let it = act.kind == Kind::Discard && act.pick == Some(Pick::Last) && act.ml.is_none() && !act.timed;
    let lay = |a: &mut Act| a.kind == Kind::Move && a.place == Some(Place::Room) && !a.timed;
    if it && let Some(lay) = acts.pop_if(lay) {
        (act.codes, act.count, act.pick) = (lay.codes, lay.count, lay.pick);
    }
}

/// "tossed bag 23, it broke": why, not another.
fn is_told_again(first: &Act, again: &Act) -> bool {
    let own = !again.codes.is_empty() || again.count.is_some() || again.ml.is_some();
    let it = again.pick.is_none() || again.pick == Some(Pick::Last);
    first.kind == Kind::Discard && again.kind == Kind::Discard && !own && it
}

/// More than one container holds, or a child drinks, once what was told apart is added up.
fn overflows(act: &Act) -> bool {
    let fed = [act.ml, act.offered_ml].into_iter().filter(|_| act.kind == Kind::Feed);
    let parts = act.parts.iter().flatten().map(|p| p.ml);
    parts.chain(fed).flatten().any(|v| v.ml() > MOST_ML)
}

/// "after warming": it happened before what was told first.
fn comes_after(clause: &Clause) -> bool {
    let before = clause.message.items.iter().rfind(|i| i.to <= clause.spans[0].0);
    before.is_some_and(|i| i.is_word() && i.has(Tag::Then) && i.has(Tag::Past))
}

/// "put 13 back in the fridge after warming": warmed first, then moved.
fn warmed_before(acts: &mut Vec<Act>) -> bool {
    let Some(last) = acts.pop_if(|a| a.kind == Kind::Move) else { return false };
    let mut warm = Act { kind: Kind::Warm, place: None, site: None, from: None, ..last.clone() };
    warm.since = None;
    let pick = if last.codes.is_empty() { Some(Pick::Last) } else { None };
    acts.extend([warm, Act { pick, count: None, ..last }]);
    true
}

/// Something of milk was said before the question, though nothing that is recorded.
fn milk_before(clause: &Clause) -> bool {
    let start = clause.spans[0].0;
    let tags = [Tag::Milk, Tag::Smell, Tag::Medicine, Tag::RuleWord, Tag::Bottle, Tag::Container];
    let placed = clause.message.items.iter().any(|i| i.to <= start && i.place().is_some());
    placed || tags.iter().any(|tag| clause.message.has(0, start, *tag))
}

/// What lies where, told beside a question, belongs to the question.
fn is_background(act: &Act) -> bool {
    let lies = act.kind == Kind::Move && act.place == Some(Place::Room);
    let drunk = act.kind == Kind::Feed && act.ml.or(act.offered_ml).or(act.left_ml).is_none();
    let drunk = drunk && act.pick.is_none() && !act.open;
    act.codes.is_empty() && act.count.is_none() && (lies || drunk || act.kind == Kind::Thawed)
}

fn told(family: Family, clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    if clause.items.iter().any(|i| i.amount().is_some_and(|a| a.value == 0.0)) {
        return Ok(vec![]);
    }
    match family {
        Family::Pump if super::stays::on_the_books(clause).is_some() => super::stays::of_amount(clause, ctx),
        Family::Pump => Ok(pump::pump(clause, ctx)?.into_iter().filter(|a| says_enough(a, clause)).collect()),
        Family::Store => store::store(clause, ctx).map(some_parts),
        Family::Feed => feed::feed(clause, ctx),
        Family::Nurse => nursing::nurse(clause, ctx),
        Family::Formula => formula::formula(clause, ctx),
        Family::LeftOut => left_out::acts(clause, ctx),
        Family::Labels => naming::of_labels(clause, ctx),
        Family::Move if travel::unpacked(clause) => travel::put_away(clause, ctx),
        Family::Move => move_or_thaw(clause, ctx),
        Family::Thaw => moves::thaw(clause, ctx),
        Family::Thawed => moves::plain(Kind::Thawed, clause, ctx),
        Family::Warm => moves::plain(Kind::Warm, clause, ctx),
        Family::Combine => pouring::combine(clause, ctx),
        Family::Split => pouring::split(clause, ctx),
        Family::Discard => super::discards::discard(clause, ctx),
        Family::Hold => moves::held(Kind::Hold, clause, ctx),
        Family::Release => moves::held(Kind::Release, clause, ctx),
        Family::Donate => travel::travelled(Kind::Donate, clause, ctx),
        Family::Send => travel::travelled(Kind::Send, clause, ctx),
        Family::Return => travel::travelled(Kind::Return, clause, ctx),
        Family::Count => tally::count(clause, ctx),
        Family::Check => outage::check(clause, ctx),
        Family::Loose => match loose::family(clause, ctx)? {
            Some(family) if family != Family::Loose => {
                let mut made = told(family, clause, ctx)?;
                let more = family == Family::Feed && super::bottles::more(clause) && clause.heads.is_empty();
                made.iter_mut().for_each(|a| a.more = more);
                Ok(made)
            }
            _ if loose::is_bare_amount(clause) => Err(Doubt::Kind),
            _ => Ok(vec![]),
        },
    }
}

fn some_parts(acts: Vec<Act>) -> Vec<Act> {
    acts.into_iter().filter(|a| a.parts.as_ref().is_some_and(|p| !p.is_empty())).collect()
}

/// A session without an amount is one only if the words say more than that: a time, a place, how long.
fn says_enough(act: &Act, clause: &Clause) -> bool {
    let told = act.timed
        || act.parts.is_some()
        || clause
            .items
            .iter()
            .any(|i| matches!(i.kind, super::item::Kind::Lasting(_) | super::item::Kind::Count(_)));
    let ended = clause.heads.iter().any(|h| h.verb == Verb::Pump && h.form == Form::Done)
        || clause.heads.iter().all(|h| h.verb != Verb::Pump);
    let told = told && (ended || !spots(clause).is_empty());
    let measured = act.parts.iter().flatten().any(|p| p.ml.is_some());
    let vague = clause.has(Tag::Much) && act.ml.is_none() && !measured;
    act.ml.is_some()
        || is_whole_message(clause)
        || (told && !vague && !clause.items.iter().any(|i| i.unknown))
        || !spots(clause).is_empty() && !vague
}

/// "Pumped", and nothing else: how much may follow in a message of its own.
fn is_whole_message(clause: &Clause) -> bool {
    let done = |i: &super::item::Item| i.verbs().any(|v| v == (Verb::Pump, Form::Done));
    let small = |i: &super::item::Item| {
        i.is_word() && i.any(&[Tag::Just, Tag::Polite, Tag::I, Tag::Milk]) || i.sign().is_some()
    };
    let items = &clause.message.items;
    items.iter().any(done) && items.iter().all(|i| done(i) || small(i) || i.when().is_some_and(|w| w.now))
}

/// From one freezer to another is a move, from a freezer to a fridge a thaw.
fn move_or_thaw(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    if clause.tells(Verb::Freeze) && spots(clause).is_empty() {
        let mut acts = moves::plain(Kind::Move, clause, ctx)?;
        acts.iter_mut().for_each(|a| a.place = Some(Place::Freezer));
        return Ok(acts);
    }
    if moves::is_thaw(clause) { moves::thaw(clause, ctx) } else { moves::moved(clause, ctx) }
}

/// "5 bags liquid, 6 icy": after a count, a bare number is one as well.
fn count_on(acts: &[Act], act: &mut Act, clause: &Clause) {
    let counted =
        act.kind == Kind::Check && acts.last().is_some_and(|a| a.kind == Kind::Check && a.count.is_some());
    let bare = |code: &u32| clause.items.iter().any(|i| i.amount().and_then(|a| a.whole()) == Some(*code));
    if let ([code], true) = (act.codes.as_slice(), counted)
        && bare(code)
    {
        (act.count, act.codes) = (Some(*code), vec![]);
    }
}

/// "gave her the bottle. She only had a few sips": more of the same feed.
fn left_unfinished(acts: &mut [Act], act: &Act) -> bool {
    let names = !act.codes.is_empty() || act.timed || act.pick.as_ref().is_some_and(|p| *p != Pick::Last);
    let Some(feed) = acts.last_mut().filter(|last| {
        last.kind == Kind::Feed && act.kind == Kind::Feed && act.open && act.ml.is_none() && !names
    }) else {
        return false;
    };
    feed.open |= feed.ml.or(feed.left_ml).is_none() && !feed.half;
    feed.left_place = feed.left_place.or(act.left_place);
    true
}

/// "drank 100 of 120, tossed the rest": the rest is what wasn't drunk.
fn rest_of_bottle(acts: &mut Vec<Act>, made: Vec<Act>, clause: &Clause) {
    for mut act in made {
        count_on(acts, &mut act, clause);
        thrown_from_room(acts, &mut act);
        let after_feed = acts.last().filter(|last| last.kind == Kind::Feed);
        if act.kind == Kind::Discard
            && act.pick == Some(Pick::Rest)
            && let Some(feed) = after_feed
        {
            let rest: Option<Volume> = feed.left_ml.or_else(|| Some(feed.offered_ml?.less(feed.ml?)));
            act.ml = act.ml.or(rest);
            act.pick = act.pick.filter(|_| act.ml.is_none());
        }
        // "warmed up 90, she had 65, binned the rest"
        let warmed = acts.last().filter(|a| a.kind == Kind::Warm).and_then(|a| a.ml);
        if act.kind == Kind::Feed && act.offered_ml.is_none() && act.ml.is_some() && act.left_ml.is_none() {
            act.offered_ml = warmed.filter(|warmed| Some(*warmed) > act.ml);
        }
        if left_unfinished(acts, &act) {
            continue;
        }
        let new = acts.last().is_some_and(|a| a.kind == Kind::Pump);
        if act.kind == Kind::Combine && new && act.add_ml.is_none() && act.codes.is_empty() {
            act.pick = act.pick.or(Some(Pick::Last));
        }
        if act.kind == Kind::Discard && clause.has(Tag::Rest) && act.ml.is_some() {
            act.count = None;
        }
        acts.push(act);
    }
}
