//! Corrections of the sender's last entry: "sorry 130 not 150", "*fridge", "that was yesterday", "not 12, 21". Whatever
//! tells a new event of its own is no correction, unless it puts one value against another.

use super::Context;
use super::clause::Clause;
use super::drunk::left_word;
use super::item::{Amount, Item, Kind, Message};
use super::moment::settle;
use super::mood::is_question;
use super::pairs::{contradicted, pair, side_by_side, value};
use super::pump;
use super::scene::{Built, place, spots, volume, written_unit};
use super::senses::{Form, Sense, Tag, Verb};
use super::when::{DayName, Role, When};
use crate::domain::act::{Act, Change, Code, Doubt, Kind as ActKind, Side, Swap};
use crate::domain::volume::Unit;

/// The correction that a message is, if it is one.
pub fn read(message: &Message, ctx: &Context) -> Built<Option<Act>> {
    let clause = Clause::of(message, &message.items, false, true);
    if message.items.is_empty() || message.items.len() > 24 || asks(message) {
        return Ok(None);
    }
    if super::naming::tells_of_labels(&clause) || super::amend::tells_before(message) {
        return Ok(None);
    }
    // "meant to write 95" is no near miss
    let meant = clause.bare(Tag::Strong).is_some_and(|at| clause.bare(Tag::Almost) == Some(at));
    if super::mood::almost(&clause, usize::MAX) && !meant {
        return Ok(None);
    }
    if clause.bare(Tag::OtherThing).is_some() || clause.bare(Tag::Medicine).is_some() {
        return Ok(None);
    }
    let entered = contradicted(&clause);
    let pair = pair(&clause).or(entered);
    let units = two_units(&clause);
    let plain = clause.items.iter().all(|i| !i.unknown) && clause.bare(Tag::Event).is_none();
    let against = pair.is_some()
        && plain
        && (!tells_more(&clause) || is_cleft(&clause, pair) || is_elsewhere(&clause, pair));
    if !(is_marked(&clause)
        || right_one(&clause).is_some()
        || super::named::renamed_hour(&clause)
        || swapped(&clause).is_some()
        || units
        || side_by_side(&clause, pair)
        || against
        || entered.is_some())
    {
        return Ok(None);
    }
    if pair.is_none() && (tells_where(&clause) || lay_since(&clause)) {
        return Ok(None);
    }
    if pair.is_none() && either_label(&clause) {
        return Err(Doubt::Which);
    }
    let change = change(&clause, pair, ctx)?;
    let planned = change.at.is_some() && clause.has(Tag::MakeIt);
    if change == Change::default() || planned {
        return Ok(None);
    }
    let mut act = Act::new(ActKind::Correct);
    if change.ml.is_some() && change.codes.is_none() {
        act.codes = pump::codes(&clause);
    }
    // "Out since 4 not 2": since when something was so.
    let since = clause.whens().any(|(_, w)| w.role == Role::Since && !w.now);
    act.since = change.at.filter(|_| since || clause.bare(Tag::Outage).is_some());
    act.change = Some(Box::new(change));
    Ok(Some(act))
}

/// "it was out since 5: still good?" asks about milk, and tells no other time of what was said last.
fn lay_since(clause: &Clause) -> bool {
    let asked = clause.items.iter().any(|i| i.sign() == Some('?'));
    asked && clause.has_place() && clause.whens().any(|(_, w)| w.role == Role::Since && !w.now)
}

/// "actually 15 is in the fridge": of a container, whatever the last entry was about.
fn tells_where(clause: &Clause) -> bool {
    let subject = clause
        .items
        .windows(2)
        .any(|p| matches!(p[0].kind, Kind::Codes(_)) && p[1].is_word() && p[1].has(Tag::Be));
    subject && !spots(clause).is_empty() && clause.bare(Tag::ThatWas).is_none()
}

/// "it went in the fridge, not the freezer": of what was told last, for nothing else is named.
fn is_elsewhere(clause: &Clause, pair: Option<(usize, usize)>) -> bool {
    let places =
        pair.is_some_and(|(new, old)| [new, old].iter().all(|at| clause.items[*at].place().is_some()));
    let put = [Verb::Put, Verb::Leave, Verb::Move, Verb::Pump, Verb::Freeze];
    let own = clause.heads.iter().all(|h| put.contains(&h.verb));
    places
        && own
        && !is_order(clause)
        && !clause.has_number()
        && !clause.any(&[Tag::Plan, Tag::Request, Tag::Conditional])
}

/// "ponla en la nevera y no en la mesa": asked of somebody.
fn is_order(clause: &Clause) -> bool {
    let put = [Verb::Put, Verb::Move, Verb::Leave];
    clause.bare(Tag::Fix).is_none()
        && clause.heads.iter().any(|h| h.form == Form::Base && put.contains(&h.verb))
        && !clause.tells_any(&put)
}

/// "it was #31 i used, not #13": the verb only says again what was done.
fn is_cleft(clause: &Clause, pair: Option<(usize, usize)>) -> bool {
    let Some((new, _)) = pair else { return false };
    let be = new
        .checked_sub(1)
        .is_some_and(|at| clause.bare(Tag::ThatWas).is_some_and(|was| was <= clause.items[at].from));
    let i = clause.items.get(new + 1).is_some_and(|i| i.is_word() && i.any(&[Tag::I, Tag::He]));
    be && i && clause.items.get(new + 2).is_some_and(|i| i.verbs().next().is_some())
}

/// "no, 12 was right": the value that was meant after all.
fn right_one(clause: &Clause) -> Option<usize> {
    let right = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::RightOne);
    let items = &clause.items;
    let at = (1..items.len()).find(|at| right(&items[*at]) && value(&items[at - 1]).is_some())?;
    let small = [Tag::Fix, Tag::No, Tag::Polite, Tag::The, Tag::CodeArticle, Tag::At, Tag::Negative, Tag::In];
    let marked = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| small.contains(tag));
    let plain = |i: &Item| i.is_word() && (i.any(&small) || marked(i)) || i.sign().is_some();
    items[..at - 1].iter().chain(&items[at + 1..]).all(plain).then_some(at - 1)
}

/// A bare number that is too small to be an amount here is a label.
fn right_label(clause: &Clause, at: usize, ctx: &Context) -> Option<Swap> {
    let small = if ctx.units == Unit::Ml { 0.0..15.0 } else { 8.5..60.0 };
    let bare = clause.items[at].amount().filter(|a| small.contains(&a.value)).and_then(|a| a.whole());
    let codes = match &clause.items[at].kind {
        Kind::Codes(codes) | Kind::List(codes, _) => codes.clone(),
        _ => bare.into_iter().collect(),
    };
    (!codes.is_empty()).then(|| Swap { from: vec![], to: codes })
}

/// "it was bag 8 or bag 9".
fn either_label(clause: &Clause) -> bool {
    let label = |i: &Item| matches!(i.kind, Kind::Codes(_));
    let or = |i: &Item| i.is_word() && i.has(Tag::OrOnly);
    clause.items.windows(3).any(|p| label(&p[0]) && or(&p[1]) && label(&p[2]))
}

/// "ml not oz".
fn two_units(clause: &Clause) -> bool {
    let alone = |i: &Item| i.is_word() && i.senses.iter().any(|s| matches!(s, Sense::Unit(_)));
    let units = clause.items.iter().filter(|i| alone(i)).count();
    units == 2 && clause.item(Tag::Wasnt).is_some() && !clause.has_number() && clause.items.len() <= 6
}

fn asks(message: &Message) -> bool {
    let convert = message.has(0, message.tokens.len(), Tag::UnitAsk);
    convert || super::cut::segments(message).iter().any(|s| is_question(s) && !s.has(Tag::ThatWas))
}

/// A star, or words that say something was wrong, and no event of its own.
fn is_marked(clause: &Clause) -> bool {
    let star =
        [clause.items.first(), clause.items.last()].into_iter().flatten().any(|i| i.sign() == Some('*'))
            && clause.items.len() <= 6;
    let headed = clause.items.len() > 1
        && clause.items[1].sign() == Some(':')
        && clause.message.has(0, clause.items[0].to, Tag::Strong);
    if headed {
        return true;
    }
    let words = is_meant(clause) || clause.bare(Tag::ThatWas).is_some_and(|at| opens(clause, at));
    let unknown = clause.items.iter().filter(|i| i.unknown).count();
    star || (words && !tells_more(clause) && unknown <= 2)
}

/// "scratch that, 130".
fn is_replaced(clause: &Clause) -> bool {
    let [.., comma, value] = clause.items.as_slice() else { return false };
    let undone = clause.message.find(0, comma.from, Tag::UndoStrong).is_some_and(|(at, _)| at == 0);
    undone && comma.sign() == Some(',') && value.amount().is_some() && clause.items.len() <= 5
}

/// A word for a mistake; but "(sorry, never logged it)" after a whole event only excuses its lateness.
fn is_meant(clause: &Clause) -> bool {
    if is_replaced(clause) {
        return true;
    }
    let Some(at) = clause.bare(Tag::Fix) else { return false };
    // "dont wait up", "can't wait"
    let denied = clause.items.iter().rfind(|i| i.to <= at).is_some_and(|i| {
        let one = i.is_word() && i.to - i.from == 1;
        one && i.has(Tag::Negative) && !i.has(Tag::Wasnt)
    });
    if denied || only_late(clause, at) {
        return false;
    }
    let all = super::cut::segments(clause.message);
    let Some(own) = all.iter().find(|s| s.spans[0].0 <= at && at < s.spans[0].1) else { return true };
    let valued = own.items.iter().any(|i| value(i).is_some() || matches!(i.kind, Kind::Multi(..)));
    let excuse = own.first
        && own.spans[0].0 > 0
        && own.items.iter().any(|i| {
            i.unknown || !i.is_word() || i.has(Tag::Negative) || i.to - i.from > 2 && i.has(Tag::Filler)
        });
    valued || !excuse
}

/// "yesterday 130, freezer, sorry forgot to log it": sorry for being late, and not for a mistake.
fn only_late(clause: &Clause, sorry: usize) -> bool {
    let late = {
        let end = clause.message.tokens.len();
        let from = sorry.saturating_sub(5);
        clause.message.find(from, end, Tag::Excuse).is_some_and(|(at, _)| at <= sorry + 4)
    };
    late && clause.has_amount() && clause.item(Tag::Wasnt).is_none() && clause.bare(Tag::ThatWas).is_none()
}

/// Nothing but small words stand before "that was".
fn opens(clause: &Clause, at: usize) -> bool {
    at <= 3
        && clause
            .items
            .iter()
            .take_while(|i| i.from < at)
            .all(|i| !i.unknown && (i.is_word() || i.sign().is_some()))
}

/// Verbs that tell an event, past what a correction itself may say ("that pump was …", "labelled it 12").
fn tells_more(clause: &Clause) -> bool {
    let own = |verb: Verb| {
        matches!(
            verb,
            Verb::Label
                | Verb::Make
                | Verb::Put
                | Verb::Release
                | Verb::Leave
                | Verb::Have
                | Verb::Move
                | Verb::Get
        )
    };
    let moved = clause.tells_any(&[Verb::Put, Verb::Leave, Verb::Move, Verb::Get, Verb::Have])
        && clause.bare(Tag::ThatWas).is_none()
        && clause.bare(Tag::Strong).is_none();
    // "saca la 8, digo la 9"
    let asked = [Verb::Pull, Verb::Thaw, Verb::Give, Verb::Use, Verb::Toss, Verb::Warm];
    let order = clause.heads.iter().all(|h| h.form == Form::Base)
        && clause.heads.first().is_some_and(|h| h.at == 0 && asked.contains(&h.verb));
    moved
        || order
        || is_order(clause)
        || clause.head(Verb::Want).is_some()
        || clause.heads.iter().any(|h| h.form != Form::Base && !own(h.verb))
        || (clause.has(Tag::Plan) && !clause.has(Tag::Strong))
        || clause.has(Tag::Conditional)
        || super::family::is_base_noun(clause, Verb::Pump) && clause.bare(Tag::ThatWas).is_none()
}

fn change(clause: &Clause, pair: Option<(usize, usize)>, ctx: &Context) -> Built<Change> {
    let mut change = Change::default();
    if let Some((new, old)) = pair {
        swap(&mut change, clause, new, old, ctx)?;
        return Ok(change);
    }
    if let Some(swap) = right_one(clause).and_then(|at| right_label(clause, at, ctx)) {
        change.codes = Some(swap);
        return Ok(change);
    }
    if let Some(swap) = relabelled(clause).or_else(|| swapped(clause)) {
        change.codes = Some(swap);
        return Ok(change);
    }
    if let Some(parts) = super::fixed_parts::parts(clause, ctx)? {
        change.parts = Some(parts);
        return Ok(change);
    }
    single(&mut change, clause, ctx)?;
    if right_one(clause).is_some() {
        change.side = None;
    }
    Ok(change)
}

/// A value in place of another.
fn swap(change: &mut Change, clause: &Clause, new: usize, old: usize, ctx: &Context) -> Built<()> {
    let (a, b) = (&clause.items[new], &clause.items[old]);
    match (&a.kind, &b.kind) {
        (Kind::Codes(to), Kind::Codes(from)) | (Kind::List(to, _), Kind::List(from, _)) => {
            change.codes = Some(Swap { from: from.clone(), to: to.clone() })
        }
        (Kind::Codes(to), Kind::Amount(from)) => {
            change.codes = Some(Swap { from: from.whole().into_iter().collect(), to: to.clone() })
        }
        (Kind::Amount(to), Kind::Codes(from)) => {
            change.codes = Some(Swap { from: from.clone(), to: to.whole().into_iter().collect() })
        }
        (Kind::Amount(to), Kind::Amount(from)) => match labels(*to, *from, clause, ctx) {
            Some(swap) => change.codes = Some(swap),
            None => {
                change.ml = Some(volume(*to, written_unit(&clause.items), ctx)?);
                change.side = side(clause);
            }
        },
        (Kind::When(to), Kind::Amount(_)) => change.at = settle(to, ctx.sent, ctx.zone).map(|m| m.at),
        (Kind::When(to), Kind::When(from)) => times(change, to, from, ctx),
        (Kind::Word, Kind::Word) => change.place = a.place(),
        _ => {}
    }
    Ok(())
}

/// Two bare numbers that can't both be amounts in this household are labels.
fn labels(to: Amount, from: Amount, clause: &Clause, ctx: &Context) -> Option<Swap> {
    let (new, old) = (to.whole()?, from.whole()?);
    let contained = clause.any(&[Tag::Container, Tag::Hash, Tag::Label]) || clause.tells(Verb::Label);
    let small = match ctx.units {
        Unit::Ml => new.min(old) <= 15 && new.max(old) < 100,
        Unit::Oz => new.max(old) > 8 && new.max(old) < 60,
    };
    let sided = side(clause).is_some();
    // "bag 12 is 100 not 120"
    let named = clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_)));
    if named && new.min(old) >= 15 {
        return None;
    }
    (contained || small && !sided).then(|| Swap { from: vec![old], to: vec![new] })
}

fn times(change: &mut Change, to: &When, from: &When, ctx: &Context) {
    let at = |when: &When| settle(when, ctx.sent, ctx.zone).map(|m| m.at);
    match (to.day, from.day) {
        (Some(DayName::Date(new, ..)), Some(DayName::Date(old, ..))) => {
            change.days = Some(i64::from(new) - i64::from(old))
        }
        (Some(DayName::Back(new)), Some(DayName::Back(old))) => change.days = Some(old - new),
        (Some(DayName::Weekday(new)), Some(DayName::Weekday(old))) => {
            change.days = Some((i64::from(new) - i64::from(old) + 10) % 7 - 3);
        }
        (Some(_), Some(_)) => {
            change.days = at(to).zip(at(from)).map(|(a, b)| (a.date() - b.date()).num_days())
        }
        _ => change.at = at(to),
    }
}

fn side(clause: &Clause) -> Option<Side> {
    let word = |tag: Tag| clause.items.iter().any(|i| i.is_word() && i.has(tag));
    match (word(Tag::LeftSide), word(Tag::RightSide)) {
        (true, false) => Some(Side::Left),
        (false, true) => Some(Side::Right),
        _ => None,
    }
}

/// "bag 12 should be bag 21".
fn relabelled(clause: &Clause) -> Option<Swap> {
    let labels: Vec<&Vec<Code>> = clause
        .items
        .iter()
        .filter_map(|i| match &i.kind {
            Kind::Codes(codes) => Some(codes),
            _ => None,
        })
        .collect();
    match labels.as_slice() {
        [from, to] if clause.bare(Tag::Strong).is_some() || clause.item(Tag::To).is_some() => {
            Some(Swap { from: from.to_vec(), to: to.to_vec() })
        }
        _ => None,
    }
}

/// "no la 13, la 31": the wrong label and the right one, and nothing else.
fn swapped(clause: &Clause) -> Option<Swap> {
    let [not, codes] = clause.items.as_slice() else { return None };
    let denied = not.is_word() && not.has(Tag::Wasnt);
    match &codes.kind {
        Kind::Codes(pair) if denied && pair.len() == 2 => {
            Some(Swap { from: vec![pair[0]], to: vec![pair[1]] })
        }
        _ => None,
    }
}

/// One value that stands for what was recorded.
fn single(change: &mut Change, clause: &Clause, ctx: &Context) -> Built<()> {
    change.place = place(clause)?.map(|s| s.place);
    let whens: Vec<When> = clause
        .whens()
        .map(|(_, w)| *w)
        .filter(|w| {
            !w.now && matches!(w.role, Role::At | Role::Names | Role::Since)
                || (w.role == Role::Purpose && clause.bare(Tag::ThatWas).is_some())
        })
        .collect();
    // "change the 7am to 100": what was changed is told after it
    let to = clause.items.windows(2).any(|p| p[0].is_word() && p[0].has(Tag::To) && p[1].amount().is_some());
    let whens = if to && clause.bare(Tag::ThatWas).is_none() { vec![] } else { whens };
    // "the 10 o'clock one was actually half 9"
    let new: Vec<When> = whens.iter().filter(|w| w.role == Role::At && w.clock.is_some()).copied().collect();
    let named = whens.iter().any(|w| w.role == Role::Names && w.clock.is_some());
    let whens = match new.last() {
        Some(last) if named || new.len() > 1 => vec![*last],
        _ => whens,
    };
    if let Some(when) = whens.into_iter().reduce(When::and) {
        match (when.day, when.clock) {
            (Some(DayName::Back(days)), None) if days > 0 && when.part.is_none() => change.days = Some(-days),
            (Some(DayName::Back(0)), None) if when.part.is_none() => {}
            _ => change.at = settle(&when, ctx.sent, ctx.zone).map(|m| m.at),
        }
    }
    change.unit = unit_alone(clause).filter(|_| written_unit(&clause.items).is_none());
    let codes = pump::codes(clause);
    let named = clause.items.iter().position(|i| i.amount().is_some()).is_some_and(|at| {
        let to = at > 0 && clause.items[at - 1].is_word() && clause.items[at - 1].has(Tag::To);
        (clause.bare(Tag::Strong).is_some_and(|strong| strong < clause.items[at].from) || to)
            && clause.items[..at].iter().any(|i| matches!(i.kind, Kind::Codes(_)))
    });
    if named {
        return of_a_label(change, clause, codes, ctx);
    }
    if !codes.is_empty() {
        change.codes = Some(Swap { from: vec![], to: codes });
    }
    let amounts: Vec<Amount> = clause
        .items
        .iter()
        .enumerate()
        .filter(|(at, _)| !super::scene::is_foreign(&clause.items, *at))
        .filter(|(at, _)| !pump::is_mark_or_age(clause, *at))
        .filter_map(|(_, i)| i.amount())
        .collect();
    let last = match amounts.as_slice() {
        [one] => Some(one),
        [_, last] if clause.bare(Tag::Strong).is_some() || clause.bare(Tag::But).is_some() => Some(last),
        _ => None,
    };
    // "wrong bag, it was 13"
    let bag = clause.has(Tag::Wrong) && clause.items.iter().any(|i| i.is_word() && i.has(Tag::Container));
    let label = last.and_then(|a| a.whole());
    let label = label.filter(|n| *n < 1000 && clause.has(Tag::Label) || *n < 60 && bag);
    if let Some(label) = label.filter(|_| change.codes.is_none()) {
        change.codes = Some(Swap { from: vec![], to: vec![label] });
    } else if let Some(amount) = last {
        change.ml = Some(volume(*amount, written_unit(&clause.items), ctx)?);
    }
    if clause.any(&[Tag::ThatWas, Tag::Strong, Tag::SideWord]) || change.ml.is_some() {
        change.side = side(clause);
    }
    // "me equivoqué, dejó 30"
    let kept = clause.items.iter().rposition(|i| i.amount().is_some()).filter(|at| left_word(clause, *at));
    change.left_ml = change.ml.filter(|_| kept.is_some() && change.side.is_none());
    Ok(())
}

/// "bag 12 should be 21", "bag 12 should be 120 ml": another label, or what is in it.
fn of_a_label(change: &mut Change, clause: &Clause, codes: Vec<Code>, ctx: &Context) -> Built<()> {
    let Some(amount) = clause.items.iter().find_map(Item::amount) else { return Ok(()) };
    match amount.whole().filter(|n| *n < 60 && written_unit(&clause.items).is_none()) {
        Some(label) => change.codes = Some(Swap { from: codes, to: vec![label] }),
        None => change.ml = Some(volume(amount, written_unit(&clause.items), ctx)?),
    }
    Ok(())
}

/// "that was oz": a unit without a number.
fn unit_alone(clause: &Clause) -> Option<Unit> {
    let unit = |i: &Item| {
        i.senses.iter().find_map(|s| match s {
            Sense::Unit(unit) => Some(*unit),
            _ => None,
        })
    };
    clause.items.iter().filter(|i| i.is_word()).find_map(unit)
}
