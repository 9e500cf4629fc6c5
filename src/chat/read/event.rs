//! From segments to events: which segments tell something of their own, which add to the one before, and which are no
//! facts at all. Events keep the order of the message.

use std::fmt::Display;

use super::clause::{Clause, segments};
use super::family::{Family, of};
use super::item::{Item, Kind, Message};
use super::mood::{Mood, is_question, of as mood_of};
use super::senses::{Form, Tag, Verb};
use super::when::Role;
use super::why::Why;

/// Something a message tells or asks.
#[derive(Debug, Clone)]
pub enum Event<'m> {
    Told(Family, Clause<'m>),
    Asked(Clause<'m>),
}

/// The events of a message, and a line for each segment that tells why it was taken as it was.
#[derive(Default)]
pub struct Events<'m> {
    pub all: Vec<Event<'m>>,
    pub why: Why,
    /// Words before the first event that belong to it: "this morning, …".
    ahead: Option<Clause<'m>>,
    /// What was told last was about something else, and times after it are as well.
    aside: bool,
    /// Stands over the lines that follow: "Bottles", alone on its line.
    heading: Option<Clause<'m>>,
    /// What follows in this sentence belongs to something that isn't recorded.
    dropped: bool,
}

pub fn events(message: &Message) -> Events<'_> {
    events_told(message, Why::Untold)
}

/// The same, and why.
pub fn events_told(message: &Message, why: Why) -> Events<'_> {
    let mut events = Events { why, ..Events::default() };
    let mut all = segments(message);
    questions_reach_back(&mut all);
    for segment in all {
        events.take(segment);
    }
    events.finish();
    events
}

/// A sentence that begins like a question is one up to its question mark.
fn questions_reach_back(all: &mut [Clause]) {
    for at in 0..all.len() {
        if !is_question(&all[at]) {
            continue;
        }
        let mut next = at + 1;
        while next < all.len()
            && !all[next].first
            && all[next..].iter().take_while(|s| !s.first || s.asked).any(|s| s.asked)
        {
            all[next].asked = true;
            next += 1;
        }
    }
}

impl<'m> Events<'m> {
    fn note(&mut self, segment: &Clause, what: impl Display) {
        self.why.note(|| format!("“{}”: {what}", segment.typed()));
    }

    fn take(&mut self, segment: Clause<'m>) {
        if segment.first {
            self.dropped = false;
        }
        if is_hold(&segment) {
            self.note(&segment, "not to be used");
            self.open(Family::Hold, segment);
            return;
        }
        if is_release_order(&segment) {
            self.note(&segment, "may be used again");
            self.open(Family::Release, segment);
            return;
        }
        match mood_of(&segment) {
            Mood::Told => self.told(segment),
            Mood::Asked => {
                self.note(&segment, "a question");
                self.ask(segment);
            }
            Mood::Negated if is_leftover(&segment) => self.told(segment),
            Mood::OtherSubject if self.is_reason(&segment) => {
                self.note(&segment, "the reason");
                self.join(None, segment);
            }
            mood => {
                self.note(&segment, format_args!("no fact: {mood:?}"));
                self.not_yet(&segment);
                let headless = segment.heads.is_empty();
                let heavy = !headless || segment.has_number() || segment.has(Tag::Shopping);
                let leftover = segment.items.iter().any(|i| i.has(Tag::LeftOver) && i.to - i.from > 1);
                self.dropped = heavy && !(headless && mood == Mood::Negated) && !leftover;
            }
        }
    }

    /// "17 on hold, antibiotics": why milk is held.
    fn is_reason(&self, segment: &Clause) -> bool {
        let held = matches!(self.all.last(), Some(Event::Told(Family::Hold, _)));
        held && !segment.first && !segment.has_number()
    }

    /// "putting 2 in the fridge as soon as I get in": what seemed to be happening is still to come.
    fn not_yet(&mut self, segment: &Clause) {
        let upon = segment.bare(Tag::Upon) == Some(segment.spans[0].0) && !segment.first;
        let now = |c: &Clause| {
            c.heads.iter().any(|h| h.form == Form::Now) && c.heads.iter().all(|h| h.form != Form::Done)
        };
        if upon && matches!(self.all.last(), Some(Event::Told(_, clause)) if now(clause)) {
            self.all.pop();
        }
    }

    fn ask(&mut self, segment: Clause<'m>) {
        self.dropped = false;
        match self.all.last_mut() {
            Some(Event::Asked(last)) if !segment.first => last.join(segment),
            _ => self.all.push(Event::Asked(segment)),
        }
    }

    fn told(&mut self, segment: Clause<'m>) {
        let family = self.after_a_feed(of(&segment), &segment);
        let bystander = family.is_none() && segment.bare(Tag::Event).is_some()
            || (family == Some(Family::Loose)
                && segment.bare(Tag::Event).is_some()
                && !segment.has(Tag::Bottle));
        let hours = family.is_none() && !segment.has_number() && segment.whens().next().is_some();
        if std::mem::take(&mut self.aside) && hours && !segment.first {
            self.note(&segment, "about something else");
            self.aside = true;
            return;
        }
        let vague = matches!(family, None | Some(Family::Loose)) || names_only_it(&segment);
        if bystander || (self.dropped && vague) {
            self.note(&segment, "about something else");
            self.aside = bystander;
            return;
        }
        self.spread(family, &segment);
        if self.joins(family, &segment) {
            self.note(&segment, "belongs to what was said before");
            self.join(family, segment);
        } else if let Some(family) = family {
            self.note(&segment, format_args!("{family:?}"));
            let ahead = self.ahead.as_ref().is_none_or(|a| has_clock(a) && has_clock(&segment));
            if family == Family::Loose && segment.first && ahead && self.heading.is_some() {
                self.ahead.clone_from(&self.heading);
            } else if family != Family::Loose {
                self.heading = None;
            }
            self.open(family, segment);
        } else if is_list_head(&segment)
            || segment.whens().next().is_some()
            || segment.has_place()
            || super::scene::site(&segment).is_some()
        {
            self.note(&segment, "belongs to what follows");
            if is_list_head(&segment) {
                self.heading = Some(segment.clone());
            }
            self.ahead = Some(segment);
        } else {
            self.note(&segment, "nothing of milk");
            let lasts = segment.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
            self.dropped = segment.item(Tag::Idiom).is_some() && !lasts;
        }
    }

    /// "all in the work fridge": a place for every session of the list before it.
    fn spread(&mut self, family: Option<Family>, segment: &Clause<'m>) {
        let place_of_all = family.is_none()
            && segment.has_place()
            && segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::All, Tag::Both]));
        if !place_of_all {
            return;
        }
        let last = self.all.len().saturating_sub(1);
        for event in self.all[..last].iter_mut().rev() {
            match event {
                Event::Told(Family::Loose | Family::Pump, clause) if !clause.has_place() => {
                    clause.join(segment.clone())
                }
                _ => break,
            }
        }
    }

    /// "formula, then 60 of breast milk": after a feed, milk without a place was drunk.
    fn after_a_feed(&self, family: Option<Family>, segment: &Clause) -> Option<Family> {
        let after =
            matches!(self.all.last(), Some(Event::Told(Family::Formula | Family::Nurse | Family::Feed, _)));
        let milk = segment.any(&[Tag::Milk, Tag::Bottle]) && segment.has_amount() && !segment.has_place();
        let drunk = after
            && milk
            && family == Some(Family::Loose)
            && !segment.items.iter().any(|i| i.has(Tag::LeftOver));
        if drunk && !matches!(self.all.last(), Some(Event::Told(Family::Feed, _))) {
            Some(Family::Feed)
        } else {
            family
        }
    }

    fn open(&mut self, family: Family, segment: Clause<'m>) {
        // "11:45 - refused", then a line with its own time.
        let of_this = |ahead: &Clause| !(segment.first && has_clock(&segment) && has_clock(ahead));
        let segment = match self.ahead.take().filter(of_this) {
            Some(mut ahead) => {
                ahead.join(segment);
                ahead
            }
            None => segment,
        };
        self.all.push(Event::Told(family, segment));
    }

    fn joins(&self, family: Option<Family>, segment: &Clause) -> bool {
        let Some(Event::Told(last, clause)) = self.all.last() else { return false };
        if self.ahead.is_some() {
            return false;
        }
        joins(*last, clause, family, segment)
    }

    fn join(&mut self, family: Option<Family>, segment: Clause<'m>) {
        if let Some(Event::Told(last, clause)) = self.all.last_mut() {
            if *last == Family::Loose
                && let Some(family) = family
            {
                let rest =
                    family == Family::Move && segment.items.iter().any(|i| i.is_word() && i.has(Tag::Rest));
                *last = match family {
                    Family::Split if clause.has_amount() => Family::Pump,
                    Family::Move if rest || is_put_back(clause, &segment) => Family::Feed,
                    Family::Move if is_new_milk(clause) => Family::Pump,
                    family => family,
                };
            }
            clause.join(segment);
        }
    }

    /// Words ahead of nothing say more about the last event after all.
    fn finish(&mut self) {
        if let Some(ahead) = self.ahead.take() {
            match self.all.last_mut() {
                Some(Event::Told(_, clause)) => clause.join(ahead),
                _ => self.why.note(|| "and nothing to record".into()),
            }
        }
    }
}

/// "25 in her bottle, popped it back in the fridge".
fn is_put_back(clause: &Clause, segment: &Clause) -> bool {
    let word = |c: &Clause, tag: Tag| c.items.iter().any(|i| i.is_word() && i.has(tag));
    let bottle = clause.has(Tag::Bottle) || clause.has_amount() && clause.item(Tag::LeftOver).is_some();
    bottle && word(segment, Tag::Back) && word(segment, Tag::It)
}

/// "then I sent them": what is meant was said before.
fn names_only_it(segment: &Clause) -> bool {
    let it = segment.items.iter().any(|i| i.is_word() && i.has(Tag::It));
    it && !segment.has_number()
        && !segment.any(&[Tag::Milk, Tag::Container, Tag::Bottle])
        && !segment.has_place()
}

/// An amount that can't be a label, and no container that is there already.
fn is_new_milk(clause: &Clause) -> bool {
    let known =
        clause.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..) | Kind::Count(_)));
    !known && has_amounts(clause)
}

/// "Feeds", alone on its line, leads a list.
fn is_list_head(segment: &Clause) -> bool {
    segment.first
        && segment.items.len() <= 3
        && !segment.has_number()
        && segment.items.first().is_some_and(|i| i.is_word() && i.has(Tag::ListHead))
}

/// "don't give 12", "mark 30-33 do not use", "no le des la del lunes".
fn is_hold(segment: &Clause) -> bool {
    let named = segment.items.iter().any(|i| matches!(i.kind, Kind::Codes(_) | Kind::List(..)))
        || segment.names_time()
        || has_days(segment)
        || segment.item(Tag::Called).is_some();
    let bare = segment.items.iter().any(|i| i.amount().is_some_and(|a| a.whole().is_some()));
    let marked = segment.tells(Verb::Hold)
        || (segment
            .head(Verb::Hold)
            .is_some_and(|h| segment.items[..h.at].iter().all(|i| i.any(&[Tag::Polite, Tag::Request])))
            && !segment.items.iter().any(|i| i.has(Tag::You)));
    let other = segment.any(&[Tag::Conditional, Tag::Almost])
        || is_question(segment)
        || segment.bare(Tag::Plan).is_some_and(|at| at < segment.spans[0].0 + 2);
    let forbidden = segment.bare(Tag::DoNotUse).is_some();
    !other
        && ((forbidden && (named || bare))
            || (marked && (named || bare || segment.has(Tag::All)) && !segment.has(Tag::He)))
}

/// "release 22": an order that only the bot can carry out.
fn is_release_order(segment: &Clause) -> bool {
    let first = segment.heads.first().is_some_and(|h| h.verb == Verb::Release && h.at == 0);
    first && segment.has_number() && !is_question(segment)
}

fn has_days(segment: &Clause) -> bool {
    segment.has(Tag::All) && segment.whens().any(|(_, w)| w.role == Role::Since)
}

fn is_leftover(segment: &Clause) -> bool {
    segment.has_number()
        && segment.items.iter().any(|i| {
            i.has(Tag::LeftOver) && i.has(Tag::Negative) || i.to - i.from > 1 && i.has(Tag::LeftOver)
        })
}

/// Whether a segment says more about the event before it.
fn joins(last: Family, clause: &Clause, family: Option<Family>, segment: &Clause) -> bool {
    let Some(family) = family else {
        let entry =
            segment.first && has_clock(segment) && has_clock(clause) && segment.item(Tag::Bottle).is_none();
        return adds_nothing_new(segment) && !entry;
    };
    match (last, family) {
        (Family::Loose, Family::Loose) => loose_goes_on(clause, segment),
        (Family::Loose, Family::Split) => true,
        (Family::Loose, _) => !counts(segment) && !own_subject(family, clause),
        (Family::Pump, _) => pump_goes_on(clause, family, segment),
        (Family::Feed, _) => feed_goes_on(clause, family, segment),
        (Family::Store, Family::Loose) => !segment.first || segment.has_place(),
        (Family::Store, Family::Move) => !segment.has_number(),
        (Family::Thaw, Family::Move | Family::Thaw) => !segment.has_number() && !segment.names_time(),
        (Family::Move | Family::Send | Family::Return, Family::Loose) => {
            segment.has_place() && !segment.first && !has_amounts(segment) || is_list_only(segment)
        }
        (Family::Combine, Family::Loose) => segment.has(Tag::Total) || !segment.first,
        (Family::Formula, Family::Feed) => {
            clause.tells_any(&[Verb::Make, Verb::Offer]) && !segment.any(&[Tag::Bottle, Tag::Milk])
        }
        (Family::Combine, Family::Combine) => !clause.has_amount() || !segment.has_number(),
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
        (Family::Discard, Family::Discard) => names_only_it(segment),
        (Family::Combine, Family::Move) => !segment.has_number(),
        _ => false,
    }
}

/// It has a number of its own, also "one".
fn counts(segment: &Clause) -> bool {
    let one = segment.items.first().is_some_and(|i| i.is_word() && i.has(Tag::One));
    segment.has_number() || one
}

/// Numbers without a verb belong to a feed or session that follows without numbers.
fn own_subject(family: Family, clause: &Clause) -> bool {
    match family {
        Family::Nurse | Family::Formula => true,
        Family::Discard => clause.has_place(),
        Family::Feed => clause.has_place(),
        _ => false,
    }
}

fn adds_nothing_new(segment: &Clause) -> bool {
    !segment.heads.iter().any(|h| h.form == super::senses::Form::Now) || !segment.has_number()
}

fn has_amounts(segment: &Clause) -> bool {
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

fn has_clock(clause: &Clause) -> bool {
    clause.whens().any(|(_, w)| w.role == Role::At && w.clock.is_some())
}

/// "9am 110, 12:30 95", "90ml, fridge", "pumps:\n7am 110".
fn loose_goes_on(clause: &Clause, segment: &Clause) -> bool {
    let head = clause.items.first().is_some_and(|i| i.has(Tag::ListHead) && i.is_word());
    let new_line = segment.first && has_clock(segment) && segment.has_number() && !head;
    let another_bottle = segment.items.first().is_some_and(|i| i.has(Tag::Bottle)) && clause.has(Tag::Bottle);
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
            (!segment.has(Tag::Bottle) || segment.has_place()) && (open || more)
        }
        Family::Pump => {
            (open && !(has_clock(clause) && has_clock(segment)))
                || (numberless && !has_clock(segment))
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
        Family::Release => false,
        _ => false,
    }
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
    let rest = segment.items.iter().any(|i| i.is_word() && i.any(&[Tag::Rest, Tag::LeftOver, Tag::Back]));
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
        Family::Feed if segment.tells(Verb::Use) && has_codes(segment) && !segment.has_amount() => {
            !has_codes(clause)
        }
        Family::Feed => !segment.has_number() || (drunk && (open || poured)) || made_after(segment),
        Family::Return if segment.items.iter().any(|i| matches!(i.kind, Kind::Count(_))) => false,
        Family::Move | Family::Pump | Family::Return => {
            rest && !has_codes(segment) && !segment.tells(Verb::Pump)
        }
        _ => false,
    }
}

fn made_after(segment: &Clause) -> bool {
    segment.tells_any(&[Verb::Make, Verb::Offer]) && !segment.tells_any(&[Verb::Drink, Verb::Feed])
}
