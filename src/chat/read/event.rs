//! From segments to events: which segments tell something of their own, which add to the one before, and which are no
//! facts at all. Events keep the order of the message.

use super::children::{child, is_sheet_head};
use super::clause::Clause;
use super::cut::segments;
use super::explain::{self, Step};
use super::family::{Family, of};
use super::holding::{is_hold, is_release_order};
use super::item::{Kind, Message};
use super::joining::{
    asks_on, has_amounts, has_clock, is_filled, is_left_in_words, is_new_milk, is_one_vessel, is_put_back,
    is_session_end, joins, names_only_it, only_hours, throws_them,
};
use super::mood::{Mood, is_question, of as mood_of};
use super::segment::{
    happens, has_leftover, is_bottle_alone, is_leftover, is_list_head, is_waking, names_milk, takes_a_place,
};
use super::senses::{Form, Tag, Verb};
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
    /// Something besides milk was eaten or drunk.
    ate: bool,
    /// Medicine was given.
    medicine: bool,
    /// It was told that not all was drunk.
    unfinished: bool,
    /// The last words with labels or a time that names milk.
    named: Option<Clause<'m>>,
    /// What follows in this sentence belongs to something that isn't recorded.
    dropped: bool,
    /// This sentence began with a condition.
    on_condition: bool,
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
    fn note(&mut self, segment: &Clause, what: Step) {
        self.why.note(|| explain::of_words(what, &segment.typed()));
    }

    fn take(&mut self, segment: Clause<'m>) {
        if segment.first {
            (self.dropped, self.ate, self.unfinished, self.medicine) = (false, false, false, false);
            self.on_condition = segment.bare(Tag::Conditional) == Some(segment.spans[0].0);
        }
        let named = if names_milk(&segment) { None } else { self.told_of_named(&segment) };
        if let Some((family, clause)) = named {
            self.why.note(|| explain::family(family, &clause.typed()));
            self.all.push(Event::Told(family, clause));
            return;
        }
        if names_milk(&segment) {
            self.named = Some(segment.clone());
        }
        if is_hold(&segment) {
            self.note(&segment, Step::Hold);
            self.open(Family::Hold, segment);
            return;
        }
        if is_release_order(&segment) {
            self.note(&segment, Step::Release);
            self.open(Family::Release, segment);
            return;
        }
        if matches!(self.all.last(), Some(Event::Asked(_))) && asks_on(&segment) {
            self.note(&segment, Step::Question);
            self.ask(segment);
            return;
        }
        match mood_of(&segment) {
            Mood::Told => self.told(segment),
            Mood::Asked => {
                self.note(&segment, Step::Question);
                self.ask(segment);
            }
            Mood::Negated if is_leftover(&segment) => self.told(segment),
            Mood::OtherSubject if self.is_reason(&segment) => {
                self.note(&segment, Step::Reason);
                self.join(None, segment);
            }
            Mood::Requested if is_waking(&segment) => self.ahead = Some(segment),
            mood => {
                self.why.note(|| explain::mood(mood, &segment.typed()));
                self.not_yet(&segment);
                let headless = segment.heads.is_empty();
                let heavy = !headless || segment.has_number() || segment.has(Tag::Shopping);
                let leftover = segment.items.iter().any(|i| i.has(Tag::LeftOver) && i.to - i.from > 1);
                self.dropped = heavy && !(headless && mood == Mood::Negated) && !leftover;
                let drinks = [Verb::Drink, Verb::Finish, Verb::Feed, Verb::Take, Verb::Want];
                // "knocked it over but nothing spilled"
                let nothing = |c: &Clause| c.heads.iter().any(|h| h.verb == Verb::Spill);
                if mood == Mood::Negated && nothing(&segment) && !segment.first {
                    self.all.pop_if(|e| matches!(e, Event::Told(Family::Discard, c) if !c.has_amount()));
                }
                self.unfinished = mood == Mood::Negated && segment.tells_any(&drinks);
                self.medicine = mood == Mood::OtherSubject && segment.bare(Tag::Medicine).is_some();
                self.ate =
                    mood == Mood::OtherSubject && segment.tells_any(&[Verb::Feed, Verb::Drink, Verb::Give]);
            }
        }
    }

    /// "la 12 no sé si está buena, mejor no la uses": held or released is what was named before.
    fn told_of_named(&mut self, segment: &Clause<'m>) -> Option<(Family, Clause<'m>)> {
        let other =
            segment.any(&[Tag::Conditional, Tag::Almost]) || is_question(segment) || segment.has_number();
        let thrown = self.named.as_ref().is_some_and(|named| throws_them(named, segment));
        let told = |c: &Clause| self.named.as_ref().is_some_and(|named| named.spans[0] == c.spans[0]);
        let open = !matches!(self.all.last(), Some(Event::Told(f, c)) if *f != Family::Loose && told(c));
        let family = match () {
            () if thrown && open && mood_of(segment) == Mood::Told => Family::Discard,
            () if other || self.named.is_none() => return None,
            () if segment.bare(Tag::DoNotUse).is_some() => Family::Hold,
            () if segment.tells(Verb::Release) && mood_of(segment) == Mood::Told => Family::Release,
            () => return None,
        };
        let told = matches!(self.all.last(), Some(Event::Told(Family::Hold | Family::Release, _)));
        if told {
            return None;
        }
        self.all.pop_if(|e| matches!(e, Event::Told(Family::Loose, c) if names_milk(c)));
        let mut clause = self.named.take()?;
        clause.join(segment.clone());
        Some((family, clause))
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
        let segment =
            match self.ahead.take_if(|a| (a.names_time() || a.has(Tag::LastFed)) && a.heads.is_empty()) {
                Some(mut ahead) if !segment.has_number() => {
                    ahead.asked = true;
                    ahead.join(segment);
                    ahead
                }
                _ => segment,
            };
        match self.all.last_mut() {
            Some(Event::Asked(last)) if !segment.first => last.join(segment),
            _ => self.all.push(Event::Asked(segment)),
        }
    }

    fn told(&mut self, segment: Clause<'m>) {
        let of = |segment: &Clause| of(segment).filter(|f| !(self.on_condition && *f == Family::Release));
        let found = of(&segment).or_else(|| self.went_home(&segment));
        let found = found.or_else(|| super::travel::unpacked(&segment).then_some(Family::Move));
        let family = self.after_a_feed(found, &segment);
        let family = self.same_again(family, &segment);
        let event = happens(&segment);
        let bystander =
            event && (family.is_none() || family == Some(Family::Loose) && !segment.has(Tag::Bottle));
        let hours = family.is_none() && !segment.has_number() && segment.whens().next().is_some();
        let hours = hours || family == Some(Family::Loose) && only_hours(&segment);
        if std::mem::take(&mut self.aside) && hours && !segment.first {
            self.note(&segment, Step::Elsewhere);
            self.aside = true;
            return;
        }
        let vague = matches!(family, None | Some(Family::Loose)) || names_only_it(&segment);
        let left = self.unfinished && has_leftover(&segment);
        // "paracetamol 2.5ml at 3, then bottle 110 at 3:20"
        let vague = vague && !(self.medicine && segment.has(Tag::Bottle) && has_amounts(&segment));
        if bystander || (self.dropped && vague && !left) {
            self.note(&segment, Step::Elsewhere);
            self.aside = bystander;
            return;
        }
        self.spread(family, &segment);
        if self.joins(family, &segment) && !is_sheet_head(&segment) {
            self.note(&segment, Step::Belongs);
            self.join(family, segment);
        } else if let Some(family) = family {
            self.why.note(|| explain::family(family, &segment.typed()));
            let segment = self.of_another_child(family, segment);
            let ahead = self.ahead.as_ref().is_none_or(|a| has_clock(a) && has_clock(&segment));
            if family == Family::Loose && segment.first && ahead && self.heading.is_some() {
                self.ahead.clone_from(&self.heading);
            } else if family != Family::Loose {
                self.heading = None;
            }
            self.open(family, segment);
        } else if is_list_head(&segment)
            || segment.whens().next().is_some()
            || segment.has_place() && !takes_a_place(&segment)
            || super::scene::site(&segment).is_some()
            || is_bottle_alone(&segment)
            || is_left_in_words(&segment) && !segment.has_number()
        {
            self.note(&segment, Step::Ahead);
            if is_list_head(&segment) {
                self.heading = Some(segment.clone());
            }
            self.ahead = Some(segment);
        } else {
            self.note(&segment, Step::Nothing);
            let lasts = segment.items.iter().any(|i| matches!(i.kind, Kind::Lasting(_)));
            self.dropped = segment.item(Tag::Idiom).is_some() && !lasts || takes_a_place(&segment);
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
        // "pecho y luego 40 de la 12"
        let coded = segment.items.iter().any(|i| i.has(Tag::From) && matches!(i.kind, Kind::Codes(_)));
        let milk = segment.any(&[Tag::Milk, Tag::Bottle]) || coded;
        let milk = milk && segment.has_amount() && !segment.has_place();
        // "comió puré y 90 de leche"
        let mine = segment.items.iter().all(|i| !i.has(Tag::Milk) || i.to - i.from == 1);
        if self.ate && milk && mine && family == Some(Family::Loose) {
            return Some(Family::Feed);
        }
        let topped = segment.tells(Verb::Add) && segment.has_amount() && !segment.has_place();
        // "gave 60 then topped up with 30 from #8"
        let from = |at: usize| {
            let led = at > 0 && segment.items[at - 1].is_word() && segment.items[at - 1].has(Tag::From);
            led || segment.items[at].has(Tag::From)
        };
        let label = |at: &usize| matches!(segment.items[*at].kind, Kind::Codes(_) | Kind::List(..));
        let known = (0..segment.items.len()).filter(label).any(|at| !from(at));
        if after && topped && !known && matches!(family, None | Some(Family::Combine)) {
            return Some(Family::Feed);
        }
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

    /// "2pm feed: Otis had 110, Wilf had 90": a time ahead of one child's feed is that of the next one's as well.
    fn of_another_child(&self, family: Family, segment: Clause<'m>) -> Clause<'m> {
        let last = match self.all.last() {
            Some(Event::Told(Family::Feed, last)) if family == Family::Feed && !segment.first => last,
            _ => return segment,
        };
        let own = segment.whens().next().is_some();
        let (Some(one), Some(other)) = (child(last), child(&segment)) else { return segment };
        let drank = last.heads.first().map_or(0, |h| h.at);
        match last.whens().find(|(at, w)| *at < drank && w.clock.is_some()) {
            Some((at, _)) if one != other && !own => {
                let mut timed = Clause::of(last.message, &last.items[at..=at], segment.asked, false);
                timed.join(segment);
                timed
            }
            _ => segment,
        }
    }

    /// "1 bottle not used, gone home with her".
    fn went_home(&self, segment: &Clause) -> Option<Family> {
        let counted = |c: &Clause| c.items.iter().any(|i| matches!(i.kind, Kind::Count(_) | Kind::Codes(_)));
        let loose = matches!(self.all.last(), Some(Event::Told(Family::Loose, clause)) if counted(clause));
        (loose && !segment.first && segment.tells(Verb::ComeBack)).then_some(Family::Return)
    }

    /// "thawing 20 in the fridge, 21 on the side": the verb is not said again.
    fn same_again(&self, family: Option<Family>, segment: &Clause) -> Option<Family> {
        let [number, link, ..] = segment.items.as_slice() else { return family };
        let label = number.amount().and_then(|a| a.whole()).is_some_and(|n| n < 60);
        let led =
            link.any(&[Tag::In, Tag::To, Tag::Into]) || link.place().is_some() && link.to - link.from > 1;
        let placed = label && link.is_word() && led && segment.has_place();
        match self.all.last() {
            Some(Event::Told(last @ (Family::Thaw | Family::Move), before))
                if placed && !segment.first && family == Some(Family::Loose) && before.has_place() =>
            {
                Some(*last)
            }
            // "3 bags in the freezer, 2 in the fridge"
            Some(Event::Told(Family::Loose, before))
                if placed
                    && !segment.first
                    && before.has_place()
                    && before
                        .items
                        .iter()
                        .any(|i| matches!(i.kind, Kind::Count(_)) && i.has(Tag::Container))
                    && !has_amounts(before) =>
            {
                Some(Family::Move)
            }
            _ => family,
        }
    }

    fn open(&mut self, family: Family, segment: Clause<'m>) {
        self.dropped = false;
        // "quedó media mema, unos 60"
        let mut left = false;
        // "11:45 - refused", then a line with its own time.
        let of_this = |ahead: &Clause| !(segment.first && has_clock(&segment) && has_clock(ahead));
        let segment = match self.ahead.take().filter(of_this) {
            Some(mut ahead) => {
                left |= !ahead.has_number() && is_left_in_words(&ahead);
                ahead.join(segment);
                ahead
            }
            None => segment,
        };
        let family = if left && family == Family::Loose { Family::Feed } else { family };
        // "50 de leche y 40 de fórmula": what was given beside formula was drunk as well
        if family == Family::Formula
            && let Some(Event::Told(last, clause)) = self.all.last_mut()
            && *last == Family::Loose
            && clause.any(&[Tag::Milk, Tag::Bottle])
            && clause.has_amount()
            && !clause.has_place()
        {
            *last = Family::Feed;
        }
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
                    Family::Combine if is_new_milk(clause) && is_one_vessel(&segment) => Family::Pump,
                    Family::Move if rest || is_put_back(clause, &segment) => Family::Feed,
                    Family::Move if is_new_milk(clause) => Family::Pump,
                    family => family,
                };
            }
            // "bag 50 pumped at 1pm, 4oz"
            if *last == Family::Labels {
                *last = if clause.tells(Verb::Pump) { Family::Pump } else { Family::Store };
            }
            if *last == Family::Move && family == Some(Family::Loose) && is_filled(clause, &segment) {
                *last = Family::Store;
            }
            // "acabo de terminar, 110 entre los dos lados"
            if *last == Family::Feed && family == Some(Family::Loose) && is_session_end(clause, &segment) {
                *last = Family::Pump;
            }
            // "found #20 on the side, chucked it"
            let put = matches!(*last, Family::Store | Family::Split | Family::LeftOut | Family::Move);
            if put && family == Some(Family::Discard) {
                *last = Family::Discard;
            }
            clause.join(segment);
        }
    }

    /// Words ahead of nothing say more about the last event after all.
    fn finish(&mut self) {
        if let Some(ahead) = self.ahead.take() {
            match self.all.last_mut() {
                Some(Event::Told(_, clause)) => clause.join(ahead),
                _ => self.why.note(|| explain::step(Step::NothingAfter, "")),
            }
        }
    }
}
