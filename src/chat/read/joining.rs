//! Which segments add to the event told before them ("fridge", "30 left"), by the family of that event and of their own.

use super::children::{child, in_a_row};
use super::clause::Clause;
use super::family::Family;
use super::item::{Item, Kind};
use super::senses::{Form, Tag, Verb};
use super::when::Role;
use crate::domain::place::Place;

/// Whether a segment says more about the event before it.
pub fn joins(last: Family, clause: &Clause, family: Option<Family>, segment: &Clause) -> bool {
    if last == Family::LeftOut && (family.is_none() || super::left_out::goes_on(segment)) {
        return super::left_out::goes_on(segment);
    }
    let Some(family) = family else {
        let entry =
            segment.first && has_clock(segment) && has_clock(clause) && segment.item(Tag::Bottle).is_none();
        // "le di 80 y guardé 20"
        let kept = last == Family::Feed && segment.tells(Verb::Put) && has_amounts(segment);
        let other = last == Family::Check && segment.has_number() || kept;
        return adds_nothing_new(segment) && !entry && !other;
    };
    // "pumped 120, Otis 90, Nell 70"
    let row = !matches!(last, Family::Loose | Family::Feed) && in_a_row(segment, 0);
    if parts_ways(clause, segment) || row {
        return false;
    }
    match (last, family) {
        (Family::Loose, Family::Loose) => loose_goes_on(clause, segment),
        (Family::Labels, Family::Loose | Family::Pump) => is_its_amount(segment),
        (Family::Loose, Family::Split) => true,
        (Family::Loose, Family::Feed) if drank_of_it(clause, segment) => true,
        (Family::Loose, _) => !counts(segment) && !own_subject(family, clause),
        (Family::Pump, _) => pump_goes_on(clause, family, segment),
        (Family::Feed, _) => feed_goes_on(clause, family, segment),
        (Family::Store, Family::Loose) => !segment.first || segment.has_place(),
        (Family::Store, Family::Move | Family::Pump) => !segment.has_number(),
        (Family::Thaw, Family::Move | Family::Thaw) => !segment.has_number() && !segment.names_time(),
        (Family::Move, Family::Loose) if is_filled(clause, segment) => true,
        (Family::Return, Family::Feed | Family::Loose) if is_still_in(clause, segment) => true,
        (Family::Move | Family::Send | Family::Return, Family::Loose) => {
            // "sent 3 to nursery, 120 each"
            let each = last == Family::Send && !segment.first && segment.any(&[Tag::Each, Tag::Both]);
            segment.has_place() && !segment.first && !has_amounts(segment) || is_list_only(segment) || each
        }
        // "mezclé la 1 y la 2, dio 170"
        (Family::Combine, Family::Feed | Family::Pump) => {
            let yields = |v: Verb| matches!(v, Verb::Give | Verb::Get | Verb::Pump);
            let whose = segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::He, Tag::Him, Tag::I]));
            !segment.first && !whose && !has_clock(segment) && segment.heads.iter().all(|h| yields(h.verb))
        }
        (Family::Combine, Family::Loose) => segment.has(Tag::Total) || !segment.first,
        // "le di pecho a las 3, 10 min cada lado"
        (Family::Nurse, Family::Nurse) => {
            let lasts = clause.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
            segment.heads.is_empty() && !segment.first && !has_clock(segment) && !lasts
        }
        (Family::Formula, Family::Feed) => {
            clause.tells_any(&[Verb::Make, Verb::Offer]) && !segment.any(&[Tag::Bottle, Tag::Milk])
        }
        (Family::Combine, Family::Combine) => !clause.has_amount() || !segment.has_number(),
        (Family::Discard, Family::Loose) if is_how_much(clause, segment) => true,
        (Family::Discard, Family::Loose) if holds_so_much(clause, segment) => true,
        (Family::Discard, Family::Discard | Family::Split | Family::Feed) if is_reason(clause, segment) => {
            true
        }
        (Family::Formula | Family::Count, Family::Loose) => {
            !segment.has_place() && !segment.any(&[Tag::Bottle, Tag::Milk]) || last == Family::Count
        }
        (
            Family::Thaw
            | Family::Warm
            | Family::Thawed
            | Family::Donate
            | Family::Discard
            | Family::Hold
            | Family::Release
            | Family::Split,
            Family::Loose,
        ) => is_list_only(segment) || (last == Family::Split && !segment.first),
        (Family::Hold, Family::Hold) => false,
        // "bag 33 split, lost all 120 of it"
        (Family::Split, Family::Discard) => !clause.has_amount() && has_codes(clause) && !has_codes(segment),
        (Family::Discard, Family::Discard) => {
            let whole = segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::All, Tag::It]));
            names_only_it(segment)
                // "la 30 se reventó, se tiró todo"
                || has_codes(clause) && whole && !segment.has_number() && !segment.names_time() && !segment.first || !clause.has_number() && !segment.first && !has_codes(segment)
        }
        // "dropped bag 5, it broke"
        (Family::Move, Family::Discard) => {
            has_codes(clause) && !clause.has_place() && !segment.has_number() && !segment.first
        }
        (Family::Store | Family::LeftOut, Family::Discard) => {
            names_only_it(segment) && (!has_amounts(clause) || is_one_amount(clause))
        }
        (Family::Combine, Family::Move) => !segment.has_number(),
        _ => false,
    }
}

/// "bag 50 pumped at 1pm, 4oz": what is in the container that was just named.
fn is_its_amount(segment: &Clause) -> bool {
    segment.items.iter().filter(|i| i.amount().is_some()).count() == 1
        && !segment.first
        && !has_codes(segment)
        && !has_clock(segment)
}

/// "la 12 a la guarde, la 13 al refri": labels of their own, one away and the other at home.
fn parts_ways(clause: &Clause, segment: &Clause) -> bool {
    let away = |c: &Clause| super::moves::is_away(super::scene::site(c).as_ref()) && !c.has_place();
    let home = |c: &Clause| c.has_place() && super::scene::site(c).is_none();
    has_codes(clause)
        && has_codes(segment)
        && (away(clause) && home(segment) || home(clause) && away(segment))
}

/// "etiqueté 50 y 51, 120 cada una": labels, and what is in each.
pub fn is_filled(clause: &Clause, segment: &Clause) -> bool {
    let labelled = clause.heads.iter().all(|h| h.verb == Verb::Label) && !clause.heads.is_empty();
    let each = segment.any(&[Tag::Each, Tag::Both]) && has_amounts(segment);
    labelled && each && !segment.first && !has_amounts(clause) && !has_codes(segment)
}

/// "120 in the bottle, he drank 90": what was in it, and what of that was drunk.
fn drank_of_it(clause: &Clause, segment: &Clause) -> bool {
    let amounts = |c: &Clause| c.items.iter().filter(|i| i.amount().is_some()).count();
    clause.item(Tag::Bottle).is_some()
        && !segment.first
        && amounts(clause) == 1
        && amounts(segment) == 1
        && segment.tells_any(&[Verb::Drink, Verb::Take, Verb::Have, Verb::Finish])
        && !has_clock(segment)
        && !has_codes(clause)
}

/// "nursery sent back 1, 40 ml left in it": of what came back, and no feed.
fn is_still_in(clause: &Clause, segment: &Clause) -> bool {
    let drunk = segment.tells_any(&[Verb::Drink, Verb::Feed, Verb::Give, Verb::Take]);
    let left = segment.items.iter().any(|i| i.has(Tag::LeftOver) || i.is(Verb::Leave));
    left && !drunk && !segment.first && !has_amounts(clause) && has_amounts(segment) && !has_clock(segment)
}

/// "Discarded #18 (70 ml)": how much was in it.
fn holds_so_much(clause: &Clause, segment: &Clause) -> bool {
    let start = segment.spans[0].0;
    let bracket = start > 0 && segment.message.tokens[start - 1].sign() == Some('(');
    let amount = |i: &Item| i.amount().is_some() || i.is_word() && i.any(&[Tag::About, Tag::Filler]);
    let named =
        clause.items.iter().filter(|i| matches!(&i.kind, Kind::Codes(codes) if codes.len() == 1)).count();
    named == 1
        && !has_amounts(clause)
        && has_amounts(segment)
        && segment.items.iter().all(amount)
        && (bracket || !segment.first)
}

/// "binned 3 bags, they leaked", "chucked 17, seam split", "binned 50, he'd had it over an hour": why it was thrown away.
fn is_reason(clause: &Clause, segment: &Clause) -> bool {
    let named = clause.has_number() && clause.tells_any(&[Verb::Toss, Verb::Dump]);
    let lasts = segment.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
    let it = segment.items.iter().any(|i| i.is_word() && i.has(Tag::It));
    let had = segment.tells(Verb::Have) && it && lasts;
    let broke = segment.heads.iter().all(|h| matches!(h.verb, Verb::Spill | Verb::Split))
        && segment.tells_any(&[Verb::Spill, Verb::Split]);
    named && !segment.first && !segment.has_number() && !segment.has(Tag::Rest) && (had || broke)
}

/// "poured away what she left, about 20ml".
fn is_how_much(clause: &Clause, segment: &Clause) -> bool {
    !clause.has_number()
        && !segment.first
        && has_amounts(segment)
        && !segment.has_place()
        && !has_clock(segment)
}

/// It has a number of its own, also "one".
fn counts(segment: &Clause) -> bool {
    let one = segment.items.first().is_some_and(|i| i.is_word() && i.has(Tag::One));
    // "kept it in a syringe"
    let held = |at: usize| {
        at > 0 && segment.items[at - 1].any(&[Tag::In, Tag::Into]) && segment.items[at].kind == Kind::Count(1)
    };
    let counted = |at: usize| match segment.items[at].kind {
        Kind::Word | Kind::Sign(_) | Kind::When(_) | Kind::Lasting(_) => false,
        _ => !held(at),
    };
    (0..segment.items.len()).any(counted) || one
}

/// Numbers without a verb belong to a feed or session that follows without numbers.
fn own_subject(family: Family, clause: &Clause) -> bool {
    match family {
        Family::Nurse | Family::Formula => true,
        Family::Discard => clause.has_place() && !(lay(clause) && is_one_amount(clause)),
        Family::Feed => clause.has_place(),
        _ => false,
    }
}

/// "80 ml was in my bag all day": it lay there, and wasn't put there.
fn lay(clause: &Clause) -> bool {
    clause.any(&[Tag::Stayed, Tag::LongOut])
        || clause.items.iter().any(|i| i.is(Verb::Leave) && i.verbs().any(|(_, form)| form == Form::Done))
}

fn is_one_amount(clause: &Clause) -> bool {
    let numbers = clause.items.iter().filter(|i| !i.is_word() && i.sign().is_none() && i.when().is_none());
    let numbers: Vec<_> = numbers.filter(|i| !matches!(i.kind, Kind::Lasting(_))).collect();
    matches!(numbers.as_slice(), [only] if only.amount().is_some())
}

fn adds_nothing_new(segment: &Clause) -> bool {
    !segment.heads.iter().any(|h| h.form == Form::Now) || !segment.has_number()
}

pub fn has_amounts(segment: &Clause) -> bool {
    segment.items.iter().any(|i| i.amount().is_some_and(|a| a.unit.is_some() || a.value >= 15.0))
}

fn is_list_only(segment: &Clause) -> bool {
    segment.items.iter().all(|i| {
        matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Sign(_) | Kind::Count(_))
            || i.amount().is_some_and(|a| a.unit.is_none())
            || (i.is_word() && i.has(Tag::Filler))
            || i.any(&[Tag::Container, Tag::Bottle])
    })
}

pub fn has_clock(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| w.role == Role::At && w.clock.is_some())
}

/// "9am 110, 12:30 95", "90ml, fridge", "pumps:\n7am 110".
fn loose_goes_on(clause: &Clause, segment: &Clause) -> bool {
    let head = clause.items.first().is_some_and(|i| i.has(Tag::ListHead) && i.is_word());
    let new_line = segment.first && has_clock(segment) && segment.has_number() && !head;
    let another_bottle = segment.items.first().is_some_and(|i| i.has(Tag::Bottle)) && clause.has(Tag::Bottle);
    // "150 this am, 120 at lunch"
    let another_bottle = another_bottle || segment.bare(Tag::Event).is_some() && has_amounts(segment);
    let complete = clause.has_number() && clause.has_place() && segment.has_number() && segment.first;
    !new_line && !complete && (!another_bottle || has_codes(clause))
}

fn has_codes(clause: &Clause) -> bool {
    clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)))
}

fn pump_goes_on(clause: &Clause, family: Family, segment: &Clause) -> bool {
    let numberless = !segment.has_number();
    let open = !clause.has_amount();
    match family {
        Family::Loose => {
            let more = (open && !segment.has(Tag::Bottle))
                || !segment.first
                || (!has_clock(segment) && !segment.has_place())
                || is_share(clause, segment);
            // "80 + 65, two bottles, fridge", "6, 3 in each bottle"
            let counts = segment.items.iter().any(|i| matches!(i.kind, Kind::Count(2..)))
                && !segment.has_amount()
                || segment.has(Tag::Each);
            let vessel = !segment.has(Tag::Bottle) || segment.has_place() || counts && !segment.first;
            vessel && (open || more)
        }
        Family::Pump => {
            (open && !(has_clock(clause) && has_clock(segment)))
                || (numberless && !has_clock(segment))
                || adds_up(clause, segment)
                || !segment.tells(Verb::Pump)
                    && !segment.first
                    && segment.tells_any(&[Verb::Put, Verb::Freeze, Verb::Leave, Verb::Label])
        }
        Family::Discard => {
            !has_codes(segment) && !segment.names_time() && (numberless || open || segment.tells(Verb::Spill))
        }
        Family::Move | Family::Store => {
            !segment.items.iter().any(|i| matches!(i.kind, Kind::Count(_) | Kind::List(..)))
                && (segment.tells(Verb::Label) || !has_codes(segment))
                && !segment.names_time()
        }
        Family::Split => !has_codes(segment) || open,
        Family::Combine => is_one_vessel(segment) || is_put_together(segment),
        Family::Release => false,
        _ => false,
    }
}

/// "expressed 180, did two bags of 90": the containers it went into.
fn adds_up(clause: &Clause, segment: &Clause) -> bool {
    let multi = segment.items.iter().filter_map(|i| match i.kind {
        Kind::Multi(count, each) => Some(f64::from(count) * each.value),
        _ => None,
    });
    let whole: Vec<f64> = clause.items.iter().filter_map(|i| i.amount()).map(|a| a.value).collect();
    let sum: f64 = multi.sum();
    !segment.first && !has_clock(segment) && sum > 0.0 && whole.len() == 1 && (whole[0] - sum).abs() < 0.1
}

/// "Pumped 170. 120 in the freezer, rest in the fridge": what follows is how the whole was shared out.
fn is_share(clause: &Clause, segment: &Clause) -> bool {
    let amounts =
        |items: &[Item]| -> Vec<f64> { items.iter().filter_map(|i| i.amount()).map(|a| a.value).collect() };
    let [whole] = amounts(&clause.items)[..] else { return false };
    let start = segment.spans[0].0;
    let message = segment.message;
    let after: Vec<Item> = message.items.iter().filter(|i| i.from >= start).cloned().collect();
    let rest = message.has(start, message.tokens.len(), Tag::Rest);
    let shares = amounts(&after);
    let first = shares.first().is_some_and(|share| *share < whole);
    !clause.has_place() && first && (rest || (shares.iter().sum::<f64>() - whole).abs() < 0.1)
}

fn feed_goes_on(clause: &Clause, family: Family, segment: &Clause) -> bool {
    let open = !clause.has_amount();
    let rest = segment
        .items
        .iter()
        .any(|i| i.is_word() && i.any(&[Tag::Rest, Tag::LeftOver, Tag::Back, Tag::OtherOne]));
    let drunk =
        segment.tells_any(&[Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Want, Verb::Feed]);
    let poured = clause.tells_any(&[Verb::Make, Verb::Offer, Verb::Give, Verb::Use, Verb::Warm, Verb::Take])
        || clause.heads.is_empty();
    match family {
        Family::Loose if segment.has(Tag::Bottle) && !rest => open && !has_clock(clause),
        Family::Loose => {
            open || rest
                || clause.items.first().is_some_and(|i| i.is_word() && i.has(Tag::ListHead))
                || !segment.first
                || (!segment.has_place() && !has_clock(segment))
        }
        Family::Feed if has_clock(clause) && has_clock(segment) => false,
        // "drank 70, put the other 50 in the fridge"
        Family::Feed if rest && !drunk && segment.has_place() && segment.tells(Verb::Put) => true,
        Family::Feed if child(segment).is_some_and(|named| child(clause).is_some_and(|c| c != named)) => {
            false
        }
        Family::Feed if segment.tells(Verb::Use) && has_codes(segment) && !segment.has_amount() => {
            !has_codes(clause)
        }
        Family::Feed => !segment.has_number() || (drunk && (open || poured)) || made_after(segment),
        Family::Return if segment.items.iter().any(|i| matches!(i.kind, Kind::Count(_))) => false,
        // "quedaron 30, los dejé en la mesa"
        Family::Move if !segment.first && !segment.has_number() && segment.has_place() => {
            let left = clause.items.iter().any(|i| i.is_word() && i.has(Tag::LeftOver));
            rest || left && segment.items.iter().any(|i| i.is_word() && i.has(Tag::It))
        }
        Family::Move | Family::Pump | Family::Return => {
            rest && !has_codes(segment) && !segment.tells(Verb::Pump)
        }
        _ => false,
    }
}

fn made_after(segment: &Clause) -> bool {
    segment.tells_any(&[Verb::Make, Verb::Offer]) && !segment.tells_any(&[Verb::Drink, Verb::Feed])
}

/// "just finished, 110 fridge": who finished isn't said, and what came of it was put away or came from a side.
pub fn is_session_end(clause: &Clause, segment: &Clause) -> bool {
    let of_a_feed = [Tag::He, Tag::Him, Tag::Bottle, Tag::It, Tag::FeedNoun, Tag::Rest, Tag::Person];
    let word = |i: &Item| i.is_word() && i.any(&of_a_feed);
    let ends = clause.heads.iter().all(|h| h.verb == Verb::Finish) && !clause.heads.is_empty();
    let cold = segment.items.iter().any(|i| i.place().is_some_and(|p| p != Place::Room));
    let side =
        segment.has(Tag::SideWord) || segment.items.iter().any(|i| i.any(&[Tag::LeftSide, Tag::RightSide]));
    ends && !clause.has_number()
        && clause.items.iter().all(|i| !i.unknown && !word(i))
        && segment.has_amount()
        && (cold || side)
        && segment.item(Tag::LeftOver).is_none()
}

/// "quedaba un poco en la mamila": how much is told after it.
pub fn is_left_in_words(segment: &Clause) -> bool {
    let word = |tags: &[Tag]| segment.items.iter().any(|i| i.is_word() && i.any(tags));
    word(&[Tag::LeftOver])
        && word(&[Tag::Bottle, Tag::Half])
        && segment.heads.iter().all(|h| h.verb == Verb::Leave)
}

/// "25 in her bottle, popped it back in the fridge".
pub fn is_put_back(clause: &Clause, segment: &Clause) -> bool {
    let word = |c: &Clause, tag: Tag| c.items.iter().any(|i| i.is_word() && i.has(tag));
    let bottle = clause.has(Tag::Bottle) || clause.has_amount() && clause.item(Tag::LeftOver).is_some();
    // "he left 20, I put it in the fridge"
    let left =
        clause.item(Tag::LeftOver).is_some() && clause.items.iter().any(|i| i.is_word() && i.has(Tag::He));
    let it = word(segment, Tag::It) || word(segment, Tag::Bottle);
    // "le sobraron 20 y los guardé": a word that is nothing else
    let over = |i: &Item| i.is_word() && i.has(Tag::LeftOver) && !i.is(Verb::Leave) && !i.has(Tag::Be);
    let over = clause.has_amount() && clause.items.iter().any(over);
    (bottle && word(segment, Tag::Back) || left || over) && it
}

/// "then I sent them": what is meant was said before.
pub fn names_only_it(segment: &Clause) -> bool {
    let it = segment.items.iter().any(|i| i.is_word() && i.has(Tag::It));
    it && !segment.has_number()
        && !segment.any(&[Tag::Milk, Tag::Container, Tag::Bottle])
        && !segment.has_place()
}

/// "60 y 70, todo junto en un frasco"
fn is_put_together(segment: &Clause) -> bool {
    let vessel = segment.items.iter().all(|i| match i.kind {
        Kind::Count(n) => n == 1,
        _ => i.is_word() || i.sign().is_some(),
    });
    !segment.first && vessel && segment.has(Tag::Together)
}

/// "combined in one bottle": both sides of a session, and nothing that was there before.
pub fn is_one_vessel(segment: &Clause) -> bool {
    let numbers = segment.items.iter().filter(|i| !i.is_word() && i.sign().is_none() && i.when().is_none());
    segment.tells(Verb::Combine) && numbers.into_iter().all(|i| i.kind == Kind::Count(1))
}

/// An amount that can't be a label, and no container that is there already.
pub fn is_new_milk(clause: &Clause) -> bool {
    let known =
        clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_)));
    !known && has_amounts(clause)
}

/// "bags 4-6 expired, tossed all three": of those that were named.
pub fn throws_them(named: &Clause, segment: &Clause) -> bool {
    let codes: usize = named
        .items
        .iter()
        .map(|i| match &i.kind {
            Kind::Codes(codes) | Kind::List(codes, _) => codes.len(),
            _ => 0,
        })
        .sum();
    let many = segment.items.iter().find_map(|i| match i.kind {
        Kind::Count(n) => Some(n as usize),
        _ => i.amount().and_then(|a| a.whole()).map(|n| n as usize),
    });
    let them =
        segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::All, Tag::Both, Tag::It, Tag::Total]));
    codes > 0
        && named.heads.is_empty()
        && segment.tells(Verb::Toss)
        && them
        && many.is_none_or(|n| n == codes)
        && !segment.any(&[Tag::Container, Tag::Bottle, Tag::Milk, Tag::Rest])
}

/// "how long can a bottle sit out after she drank from it": the question goes on.
pub fn asks_on(segment: &Clause) -> bool {
    let start = segment.spans[0].0;
    let after = |at: usize| segment.message.marks[at].iter().any(|(tag, _)| *tag == Tag::After);
    let led = after(start) || start > 0 && after(start - 1);
    led && !segment.first && !segment.has_number()
}

/// "up at 2, 3 and 4:30": bare hours among times.
pub fn only_hours(segment: &Clause) -> bool {
    let hour = |i: &Item| i.amount().and_then(|a| a.whole()).is_some_and(|n| n <= 12);
    let small = |i: &Item| i.is_word() && !i.unknown && i.place().is_none() && i.verbs().next().is_none();
    segment
        .items
        .iter()
        .all(|i| hour(i) || i.when().is_some() || small(i) || i.sign().is_some() || i.unknown && !i.is_word())
}
