//! Folding: one fact after the other applied to the stock. Every way in which milk changes is here and nowhere else.
//! Volume is conserved to the microlitre; states only move down; no start of a clock moves later except by a report of
//! full thaw; a use-by that has passed stays passed.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::domain::act::{Code, What};
use crate::domain::fact::{Fact, Feed, Kept, Marks};
use crate::domain::keeping::{Conditions, keep};
use crate::domain::milk::{Gone, Life, Moment};
use crate::domain::place::Place;
use crate::domain::rules::Rules;
use crate::domain::volume::Volume;

use super::change::{earlier, moved, started, thaw, thawed, warmed};
use super::cold::Loss;
use super::stock::{Container, Meal, MealKind, Session, ShortClock, Step, Stock};

/// Only a container that held more is taken for a jug that was poured from. Our own choice, no source.
pub const JUG: Volume = Volume::from_microlitres(300_000);

/// By whose rules, and who wrote the facts that are being folded.
pub struct Fold<'a> {
    pub rules: &'static Rules,
    pub conditions: &'a Conditions,
    pub recorded: Moment,
    pub by: Option<&'a str>,
    /// The dates that people told of containers by label: these hold from the start, whatever was said before.
    pub dates: &'a BTreeMap<Code, Moment>,
    /// The facts are only looked at: dates that they tell aren't among `dates`.
    pub tried: bool,
}

impl Fold<'_> {
    pub fn apply(&self, stock: &mut Stock, at: Moment, fact: &Fact) {
        match fact {
            Fact::Pumped { ml, about, sides, kept } => {
                stock.sessions.push_back(Session { at, ml: *ml, about: *about, sides: *sides });
                self.pumped(stock, at, *ml, kept);
            }
            Fact::Stored { expressed, kept } => self.stored(stock, at, *expressed, kept),
            Fact::Fed(feed) => self.fed(stock, at, feed),
            Fact::Nursed { side, minutes, child } => {
                self.meal(stock, at, child, MealKind::Breast { side: *side, minutes: *minutes });
            }
            Fact::Formula { ml, child } => self.meal(stock, at, child, MealKind::Formula { ml: *ml }),
            Fact::Moved { codes, place, site } => {
                self.each(stock, at, codes, |c| {
                    // Put somewhere at home, what was sent away is back.
                    c.gone = c.gone.filter(|_| site.is_some());
                    moved(&mut c.life, at, *place, site.clone());
                });
            }
            Fact::Thaw { codes, how } => self.each(stock, at, codes, |c| thaw(&mut c.life, at, *how)),
            Fact::Thawed { codes, just_now } => {
                self.each(stock, at, codes, |c| thawed(&mut c.life, at, *just_now));
            }
            Fact::Warmed { codes } => self.each(stock, at, codes, |c| warmed(&mut c.life, at)),
            Fact::Combined { into, from, result, added, place } => {
                self.combined(stock, at, *into, from, *result, *added, *place);
            }
            Fact::Split { from, kept } => self.split(stock, at, from, kept),
            Fact::Discarded { codes, ml } => self.discarded(stock, at, codes, *ml),
            Fact::Held { codes } => self.each(stock, at, codes, |c| {
                c.held_since.get_or_insert(at);
            }),
            Fact::Released { codes } => self.each(stock, at, codes, |c| c.held_since = None),
            Fact::Donated { codes } => self.donated(stock, at, codes),
            Fact::Sent { codes, site } => self.each(stock, at, codes, |c| {
                c.gone = Some(Gone::Sent);
                c.life.site = Some(site.clone());
                c.life.arrive(at);
            }),
            Fact::Returned { codes, place, drunk_from, left } => {
                self.came_back(stock, at, codes, *place, drunk_from.then_some(*left));
            }
            Fact::Outage { what, place, since, site, start_unknown } => {
                let door = *what == What::Door;
                let loss = Loss { door, start_unknown: *start_unknown, seen: false };
                self.outage(stock, at, *place, *since, site.as_ref(), loss);
            }
            Fact::Checked { codes, found, cold } => self.looked_at(stock, at, codes, *found, *cold),
            Fact::Labelled { codes, expressed, marks } => self.labelled(stock, at, codes, *expressed, marks),
            Fact::Counted { missing, back } => {
                self.missing(stock, at, missing);
                self.seen_again(stock, at, back);
            }
        }
    }

    /// Changes containers that exist, one by one, and sets their clocks anew.
    pub(super) fn each(
        &self,
        stock: &mut Stock,
        at: Moment,
        codes: &[Code],
        change: impl Fn(&mut Container),
    ) {
        for code in codes {
            stock.change(*code, |c| self.change(c, at, &change));
        }
    }

    pub(super) fn change(&self, container: &mut Container, at: Moment, change: impl FnOnce(&mut Container)) {
        if container.is_past(at) && !passes_through(container, at) {
            container.expired = container.use_by();
        }
        let short = container.short_clock();
        change(container);
        self.touch(container, at, short);
    }

    /// Sets the clocks of a container that was changed, and notes the step.
    fn touch(&self, container: &mut Container, at: Moment, short: Option<ShortClock>) {
        container.keeping = keep(&container.life, self.rules, self.conditions);
        container.goes_on(short);
        if !container.exists() {
            // Thousands of them are kept, and nobody asks why any more.
            container.keeping.running = Vec::new();
        }
        container.logged = self.recorded.max(container.logged);
        container.logged_by = self.by.map(str::to_owned);
        container.steps.push(Step {
            at,
            state: container.life.state,
            place: container.life.place,
            clock: container.keeping.deciding,
            use_by: container.use_by(),
        });
    }

    /// A date that is only tried on is set here; one in force was there when the container came on the books, and one that
    /// another has replaced counts no more.
    fn labelled(
        &self,
        stock: &mut Stock,
        at: Moment,
        codes: &[Code],
        expressed: Option<Moment>,
        marks: &Marks,
    ) {
        for code in codes {
            stock.change(*code, |c| {
                let tried = expressed.filter(|_| self.tried);
                let short = c.short_clock().filter(|_| tried.is_none());
                c.marks.tell(marks);
                if let Some(expressed) = tried {
                    c.life.redate(expressed);
                    c.expired = None;
                }
                self.touch(c, at, short);
            });
        }
    }

    fn add(&self, stock: &mut Stock, at: Moment, code: Code, ml: Volume, mut life: Life) {
        if let Some(date) = self.dates.get(&code) {
            life.redate(*date);
        }
        let keeping = keep(&life, self.rules, self.conditions);
        let mut container = Container {
            code,
            ml,
            marks: Marks::default(),
            parts: life.expressed.into_iter().collect(),
            life,
            held_since: None,
            suspect_since: None,
            loss: Loss::default(),
            gone: None,
            missed: Volume::ZERO,
            odd: false,
            expired: None,
            keeping,
            logged: self.recorded,
            logged_by: None,
            steps: Vec::new(),
        };
        self.touch(&mut container, at, None);
        stock.add(container);
    }

    fn pumped(&self, stock: &mut Stock, at: Moment, ml: Volume, kept: &[Kept]) {
        let held: Volume = kept.iter().map(|k| k.ml).sum();
        let all = ml.max(held);
        stock.totals.pumped += all;
        stock.totals.discarded += all - held;
        for k in kept {
            let since = self.dates.get(&k.code).map_or(at, |date| at.min(*date));
            self.add(stock, at, k.code, k.ml, Life::begun(Some(at), k.place, k.site.clone(), since));
        }
    }

    fn stored(&self, stock: &mut Stock, at: Moment, expressed: Option<Moment>, kept: &[Kept]) {
        for k in kept {
            let expressed = self.dates.get(&k.code).copied().or(expressed);
            stock.totals.stored += k.ml;
            let life = Life::begun(expressed, k.place, k.site.clone(), expressed.unwrap_or(at));
            self.add(stock, at, k.code, k.ml, life);
        }
    }

    fn meal(&self, stock: &mut Stock, at: Moment, child: &Option<String>, kind: MealKind) {
        let meal = Meal { at, by: self.by.map(str::to_owned), child: child.clone(), kind };
        stock.meals.push_back(Arc::new(meal));
    }

    fn fed(&self, stock: &mut Stock, at: Moment, feed: &Feed) {
        let codes = there(stock, &feed.codes);
        if feed.open {
            // How much will be known when it has ended; the containers count as drunk from.
            return self.each(stock, at, &codes, |c| c.life = started(c.life.clone(), at, feed));
        }
        let there: Volume = codes.iter().filter_map(|c| stock.get(*c)).map(|c| c.ml).sum();
        let left = feed.left.unwrap_or_default();
        let drunk = feed.drunk.unwrap_or_else(|| feed.offered.unwrap_or(there).less(left));
        stock.totals.fed += drunk;
        stock.totals.found += (drunk + left).less(there);
        self.take_out(stock, at, feed, &codes, drunk + left, there);
        if drunk + left > there {
            // Also where the container named held nothing any more.
            feed.codes.last().into_iter().for_each(|code| stock.mark_odd(*code));
        }
        if codes.is_empty() && !left.is_zero() {
            self.bottle_from_nowhere(stock, at, feed, left);
        }
        if !(feed.more && added_to_last(stock, at, drunk, left, &codes)) {
            let by = feed.by.clone().or(self.by.map(str::to_owned));
            let kind = MealKind::Bottle { drunk, left, about: feed.about, codes };
            stock.meals.push_back(Arc::new(Meal { at, by, child: feed.child.clone(), kind }));
        }
    }

    /// Empties the containers one after the other; what stayed in the bottle is of the last.
    fn take_out(
        &self,
        stock: &mut Stock,
        at: Moment,
        feed: &Feed,
        codes: &[Code],
        all: Volume,
        there: Volume,
    ) {
        let mut to_take = all;
        for (i, code) in codes.iter().enumerate() {
            let last = i + 1 == codes.len();
            let left = feed.left.filter(|_| last).unwrap_or_default();
            let bottle = stock.change(*code, |container| {
                let taken = if last { to_take } else { to_take.min(container.ml) };
                to_take = to_take.less(taken);
                let bottle = self.drunk_from(container, at, feed, taken, left, last && all > there)?;
                Some((bottle, container.marks.clone(), container.parts.clone(), container.gone))
            });
            if let Some(((code, life), marks, parts, gone)) = bottle.flatten().filter(|_| !left.is_zero()) {
                self.add(stock, at, code, left, life);
                self.as_was(stock, code, marks, parts);
                let sent = gone.filter(|gone| *gone == Gone::Sent);
                stock.change(code, |c| c.gone = sent);
            }
        }
    }

    /// Takes `taken` out of a container, of which `left` stayed in the bottle. Gives the bottle's own label and life
    /// where the rest of the container was never drunk from.
    fn drunk_from(
        &self,
        container: &mut Container,
        at: Moment,
        feed: &Feed,
        taken: Volume,
        left: Volume,
        odd: bool,
    ) -> Option<(Code, Life)> {
        // What stayed in the bottle needs a label of its own; without one all of it counts as drunk from.
        let labelled = left.is_zero() || feed.bottle.is_some();
        let poured = (feed.poured || container.ml > JUG) && labelled;
        let rest = container.ml.less(taken);
        let mut bottle = None;
        self.change(container, at, |c| {
            c.odd |= odd;
            if poured && !rest.is_zero() {
                c.ml = rest;
                bottle = feed.bottle.map(|code| (code, started(c.life.clone(), at, feed)));
                if c.is_frozen() {
                    // Nobody pours from ice: it had been taken out, and nobody said so.
                    thaw(&mut c.life, at, None);
                }
            } else {
                c.ml = rest + left;
                c.life = started(c.life.clone(), at, feed);
                // A rest that was sent away is still there, where it was sent.
                c.gone = if c.ml.is_zero() { Some(Gone::Fed) } else { c.gone };
            }
        });
        bottle
    }

    /// What was poured out of a container is the same milk still.
    fn as_was(&self, stock: &mut Stock, code: Code, marks: Marks, parts: BTreeSet<Moment>) {
        stock.change(code, |c| (c.marks, c.parts) = (marks, parts));
    }

    /// A bottle that was on no books and of which something is left.
    fn bottle_from_nowhere(&self, stock: &mut Stock, at: Moment, feed: &Feed, left: Volume) {
        if let Some(code) = feed.bottle {
            let life = Life::begun(None, feed.left_place.unwrap_or(Place::Room), None, at);
            self.add(stock, at, code, left, started(life, at, feed));
        } else {
            // No label was given to it: it can't be kept account of, and counts as thrown away.
            stock.totals.discarded += left;
        }
    }

    #[allow(clippy::too_many_arguments)] // the parts of one fact
    fn combined(
        &self,
        stock: &mut Stock,
        at: Moment,
        into: Code,
        from: &[Code],
        result: Option<Volume>,
        added: Option<Volume>,
        place: Option<Place>,
    ) {
        let Some(target) = stock.get(into).filter(|c| c.exists()) else { return };
        let mut life = target.life.clone();
        let (mut marks, mut parts) = (target.marks.clone(), target.parts.clone());
        let mut poured = added.unwrap_or_default();
        stock.totals.found += poured;
        let (mut held, mut suspect, mut expired) = (None, None, None);
        let mut loss = Loss::default();
        for code in from.iter().filter(|c| **c != into) {
            let mut pour = |c: &mut Container| {
                poured += c.ml;
                c.ml = Volume::ZERO;
                c.gone = Some(Gone::Combined);
                expired = earlier(expired, self.over_there(&c.life, at, &life));
                life = life.mixed_with(&c.life, at);
                // Milk of two parents, or for two children, is on hold from then on.
                held = earlier(held, marks.conflicts(&c.marks).then_some(at));
                marks = marks.and(&c.marks);
                parts.extend(&c.parts);
                (held, suspect) = (earlier(held, c.held_since), earlier(suspect, c.suspect_since));
                loss = loss.and(c.loss);
                expired = earlier(expired, c.expired);
            };
            stock.change(*code, |part| self.change(part, at, &mut pour));
        }
        let (mut found, mut lost) = (Volume::ZERO, Volume::ZERO);
        stock.change(into, |container| {
            self.change(container, at, |c| {
                c.ml += poured;
                let holds = result.unwrap_or(c.ml);
                (found, lost) = (holds.less(c.ml), c.ml.less(holds));
                c.ml = holds;
                c.life = life;
                (c.marks, c.parts) = (marks, parts);
                c.held_since = earlier(c.held_since, held);
                c.suspect_since = earlier(c.suspect_since, suspect);
                c.loss = c.loss.and(loss);
                c.expired = earlier(c.expired, expired);
                if let Some(place) = place {
                    moved(&mut c.life, at, place, None);
                }
            });
        });
        stock.totals.found += found;
        stock.totals.missing += lost;
    }

    /// When the time of milk is over that is put where other milk lies, if that is at once.
    fn over_there(&self, life: &Life, at: Moment, other: &Life) -> Option<Moment> {
        let mut there = life.clone();
        if there.place != other.place {
            moved(&mut there, at, other.place, other.site.clone());
        }
        keep(&there, self.rules, self.conditions).use_by.filter(|by| *by <= at)
    }

    fn split(&self, stock: &mut Stock, at: Moment, from: &[Code], kept: &[Kept]) {
        let sources: Vec<Container> =
            there(stock, from).iter().filter_map(|c| stock.get(*c)).cloned().collect();
        let Some(first) = sources.first() else { return };
        let life = sources.iter().skip(1).fold(first.life.clone(), |life, c| life.mixed_with(&c.life, at));
        let mut marks = first.marks.clone();
        let conflict = sources.iter().any(|s| marks.conflicts(&s.marks));
        sources.iter().for_each(|s| marks = marks.and(&s.marks));
        let parts: BTreeSet<Moment> = sources.iter().flat_map(|s| s.parts.iter().copied()).collect();
        let mut to_pour: Volume = kept.iter().map(|k| k.ml).sum();
        for source in &sources {
            let taken = to_pour.min(source.ml);
            to_pour -= taken;
            let pour = |c: &mut Container| {
                c.ml -= taken;
                c.gone = if c.ml.is_zero() { Some(Gone::Combined) } else { c.gone };
            };
            stock.change(source.code, |container| self.change(container, at, pour));
        }
        stock.totals.found += to_pour;
        for k in kept {
            let mut life = life.clone();
            let sent = first.is_sent() && (k.untold || k.site == first.life.site);
            if !k.untold {
                moved(&mut life, at, k.place, k.site.clone());
            }
            self.add(stock, at, k.code, k.ml, life);
            self.as_was(stock, k.code, marks.clone(), parts.clone());
            stock.change(k.code, |container| {
                let held = sources.iter().fold(None, |e, s| earlier(e, s.held_since));
                container.gone = sent.then_some(Gone::Sent);
                container.held_since = earlier(held, conflict.then_some(at));
                container.loss = sources.iter().fold(Loss::default(), |l, s| l.and(s.loss));
                container.suspect_since = sources.iter().fold(None, |e, s| earlier(e, s.suspect_since));
                container.expired = sources
                    .iter()
                    .fold(None, |e, s| earlier(e, s.expired.or(s.use_by().filter(|by| *by <= at))));
            });
        }
    }

    fn discarded(&self, stock: &mut Stock, at: Moment, codes: &[Code], ml: Option<Volume>) {
        let mut wanted = ml;
        let mut total = Volume::ZERO;
        for code in codes {
            let mut pour_away = |c: &mut Container| {
                let taken = wanted.map_or(c.ml, |w| w.min(c.ml));
                wanted = wanted.map(|w| w - taken);
                total += taken;
                c.ml -= taken;
                c.gone = if c.ml.is_zero() { Some(Gone::Discarded) } else { c.gone };
            };
            stock.change(*code, |container| self.change(container, at, &mut pour_away));
        }
        let beyond = wanted.unwrap_or_default();
        stock.totals.found += beyond;
        stock.totals.discarded += total + beyond;
    }

    fn donated(&self, stock: &mut Stock, at: Moment, codes: &[Code]) {
        let given = self.take_away(stock, at, codes, Gone::Donated);
        stock.totals.donated += given;
    }

    fn missing(&self, stock: &mut Stock, at: Moment, codes: &[Code]) {
        let lost = self.take_away(stock, at, codes, Gone::Missing);
        stock.totals.missing += lost;
    }

    /// Milk that a count had missed; what it holds was on no books since.
    fn seen_again(&self, stock: &mut Stock, at: Moment, codes: &[Code]) {
        for code in codes {
            let Some(missed) = stock.seen_again(*code) else { continue };
            stock.totals.found += missed;
            stock.change(*code, |c| self.change(c, at, |c| (c.gone, c.ml) = (None, c.missed)));
        }
    }

    fn take_away(&self, stock: &mut Stock, at: Moment, codes: &[Code], gone: Gone) -> Volume {
        let mut total = Volume::ZERO;
        for code in codes {
            let mut take = |c: &mut Container| {
                total += c.ml;
                c.missed = c.ml;
                c.ml = Volume::ZERO;
                c.gone = Some(gone);
            };
            stock.change(*code, |container| self.change(container, at, &mut take));
        }
        total
    }
}

/// "Thawed in warm water, in the fridge now": no time went by where the rules give milk none.
fn passes_through(container: &Container, at: Moment) -> bool {
    let came = container.steps.last().map(|step| step.at);
    came == Some(at) && container.expired.is_none() && container.keeping.use_now()
}

/// Counts what was given on top as part of the last bottle before it; false where there is none.
fn added_to_last(stock: &mut Stock, at: Moment, more: Volume, rest: Volume, from: &[Code]) -> bool {
    let last = stock.meals.back_mut().filter(|m| m.at <= at).map(Arc::make_mut);
    let Some(Meal { kind: MealKind::Bottle { drunk, left, codes, .. }, .. }) = last else { return false };
    *drunk += more;
    *left = rest;
    codes.extend(from);
    true
}

/// Those that exist, each once.
pub(super) fn there(stock: &Stock, codes: &[Code]) -> Vec<Code> {
    let mut there: Vec<Code> = Vec::new();
    for code in codes {
        if !there.contains(code) && stock.get(*code).is_some_and(Container::exists) {
            there.push(*code);
        }
    }
    there
}
