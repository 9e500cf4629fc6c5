//! How long one container's milk keeps: its life and a rule set in, the moments and their reasons out. Every clock that
//! applies counts, the earliest decides, and no clock is ever started later by what is done to the milk.
//! What has passed stays past: that is the ledger's to see to, for this looks at one moment's life only.

use chrono::TimeDelta;
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::act::ThawHow;
use super::household::{FreezerKind, Household, Temperature};
use super::milk::{Life, Moment, State, Stay};
use super::place::{Place, Site};
use super::rules::{self, Figure, Milk, Rules, Situation, Span, Spot, Start};

/// How long before a feed's end it is taken to have begun, where only its end is known and the clock counts from its
/// beginning. Our own cautious choice, no source.
pub const FEED_LENGTH: TimeDelta = TimeDelta::minutes(30);

/// What keeping depends on besides the milk itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    pub zone: Tz,
    pub fridge: Option<Temperature>,
    pub room: Option<Temperature>,
    pub freezer: FreezerKind,
    /// The rules of the child care, for milk that is there.
    pub child_care: Option<&'static Rules>,
    /// The household declares very clean conditions.
    pub very_clean: bool,
    /// The household's own limits, by clock.
    pub limits: [Option<Span>; 7],
}

impl Conditions {
    pub fn of(household: &Household) -> Conditions {
        Conditions {
            zone: household.zone,
            fridge: household.fridge,
            room: household.room,
            freezer: household.freezer,
            child_care: household.child_care.as_deref().and_then(rules::find),
            very_clean: household.very_clean,
            limits: Clock::ALL.map(|clock| household.limits.get(clock.key()).copied()),
        }
    }

    /// Every site has its own fridge and its own room; what the household tells of is at home.
    fn temperature(&self, spot: Spot, site: Option<&Site>) -> Option<Temperature> {
        match (site, spot) {
            (None, Spot::Room) => self.room,
            (None, Spot::Fridge) => self.fridge,
            _ => None,
        }
    }

    /// The publishers' kind of place for one of the household's.
    pub fn spot(&self, place: Place) -> Spot {
        match place {
            Place::Room => Spot::Room,
            Place::Cooler => Spot::Cooler,
            Place::Fridge => Spot::Fridge,
            freezer => self.freezer_spot(freezer),
        }
    }

    fn freezer_spot(&self, place: Place) -> Spot {
        match (place, self.freezer) {
            (Place::DeepFreezer, _) => Spot::DeepFreezer,
            (_, FreezerKind::IceCompartment) => Spot::IceCompartment,
            (_, FreezerKind::OwnDoor) => Spot::Freezer,
        }
    }
}

/// The clocks that can run on milk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clock {
    Room,
    Cooler,
    Fridge,
    Freezer,
    Thawed,
    Warmed,
    Leftover,
}

impl Clock {
    pub const ALL: [Clock; 7] = [
        Clock::Room,
        Clock::Cooler,
        Clock::Fridge,
        Clock::Freezer,
        Clock::Thawed,
        Clock::Warmed,
        Clock::Leftover,
    ];

    /// The clock's name in settings.
    pub fn key(self) -> &'static str {
        match self {
            Clock::Room => "room",
            Clock::Cooler => "cooler",
            Clock::Fridge => "fridge",
            Clock::Freezer => "freezer",
            Clock::Thawed => "thawed",
            Clock::Warmed => "warmed",
            Clock::Leftover => "leftover",
        }
    }
}

impl Clock {
    fn covers(self, figure: &Figure) -> bool {
        let at = |spot| figure.places.contains(&spot);
        let of = |milk| figure.milk.contains(&milk);
        match self {
            Clock::Room => at(Spot::Room) && !of(Milk::Warmed),
            Clock::Cooler => at(Spot::Cooler),
            Clock::Fridge => of(Milk::Fresh) && at(Spot::Fridge),
            Clock::Freezer => of(Milk::Frozen),
            Clock::Thawed => of(Milk::Thawed) && at(Spot::Fridge),
            Clock::Warmed => of(Milk::Warmed),
            Clock::Leftover => of(Milk::Leftover),
        }
    }

    /// What the publisher allows at most, where a wished limit would be looser; `Some(None)`: the publisher has no figure
    /// to make stricter. Figures that the family enters themselves are theirs to choose.
    pub fn looser_than_published(self, wished: Span, rules: &Rules) -> Option<Option<Span>> {
        let after = |span: Span| span.after(Moment::UNIX_EPOCH, Tz::UTC);
        let most = rules.figures.iter().filter(|f| self.covers(f)).map(|f| f.limit).max_by_key(|s| after(*s));
        let looser = most.is_none_or(|most| after(wished) > after(most));
        (looser && !rules.entered).then_some(most)
    }
}

/// A clock that runs, and by whose figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Running {
    pub clock: Clock,
    pub start: Moment,
    /// How much of it was used up before that.
    pub spent: TimeDelta,
    pub by: Moment,
    pub best: Option<Moment>,
    /// `None`: the set has no figure for this, so the milk is used now.
    pub figure: Option<&'static Figure>,
    /// The set that it is from.
    pub rules: &'static Rules,
    /// The figure holds up to some temperature, and that is not known here.
    pub assumed: bool,
    /// It is the clock of what the milk is now and where, not one that it brought along.
    pub own: bool,
    /// The household's own limit, not the publisher's.
    pub entered: bool,
}

impl Running {
    /// No figure, "use at once" or "finish that feed": there is no time to keep the milk.
    pub fn use_now(&self) -> bool {
        !self.entered && self.figure.is_none_or(|f| f.limit.is_now())
    }
}

#[derive(Debug, Clone, PartialEq, Default)]
pub struct Keeping {
    pub best_by: Option<Moment>,
    /// `None`: what it counts from is unknown, and unknown history is never a yes.
    pub use_by: Option<Moment>,
    pub deciding: Option<Clock>,
    /// Every clock that applies, those of the present state and place first.
    pub running: Vec<Running>,
}

impl Keeping {
    fn by_these(mut running: Vec<Running>, unknown: bool) -> Keeping {
        running.sort_by_key(|r| !r.own);
        let use_by = running.iter().map(|r| r.by).min().filter(|_| !unknown);
        let best = running.iter().filter(|r| r.own).filter_map(|r| r.best).min();
        let deciding = use_by.and_then(|by| running.iter().find(|r| r.by == by)).map(|r| r.clock);
        Keeping { best_by: use_by.and_then(|by| best.map(|b| b.min(by))), use_by, deciding, running }
    }

    /// The same, where it would end later than a clock that goes on as it was.
    pub fn no_later_than(mut self, clock: Running) -> Keeping {
        if self.use_by.is_none_or(|by| by <= clock.by) {
            return self;
        }
        self.running.push(Running { own: false, ..clock });
        Keeping::by_these(self.running, false)
    }

    /// The clock that ends first, where the use-by is known.
    pub fn decisive(&self) -> Option<&Running> {
        self.use_by.and_then(|by| self.running.iter().find(|r| r.by == by))
    }

    /// The rules leave no time to keep this milk; its use-by is the moment when that began.
    pub fn use_now(&self) -> bool {
        self.decisive().is_some_and(Running::use_now)
    }
}

/// Best-by, use-by and why, by the household's rules; at the child care by the stricter of these and the child care's.
pub fn keep(life: &Life, rules: &'static Rules, conditions: &Conditions) -> Keeping {
    let mut sheet = Sheet::new(life, rules, conditions);
    sheet.fill();
    let mut running = sheet.running;
    let mut unknown = sheet.unknown;
    if let Some(theirs) = conditions.child_care.filter(|_| life.site == Some(Site::Daycare)) {
        let mut sheet = Sheet::new(life, theirs, conditions);
        sheet.fill();
        running.append(&mut sheet.running);
        unknown |= sheet.unknown;
    }
    Keeping::by_these(running, unknown)
}

/// From when a clock counts: not before `floor` can it be over, however much was spent before.
#[derive(Clone, Copy)]
struct Origin {
    from: Moment,
    floor: Moment,
}

impl Origin {
    fn at(moment: Moment) -> Origin {
        Origin { from: moment, floor: moment }
    }

    /// Time spent in a place is one budget over all visits (our own cautious choice, no source).
    fn of(stay: &Stay) -> Option<Origin> {
        stay.since().map(|since| Origin { from: since - stay.spent(), floor: since })
    }
}

/// The clocks of one life by one set, as they are found.
struct Sheet<'l> {
    life: &'l Life,
    rules: &'static Rules,
    conditions: &'l Conditions,
    running: Vec<Running>,
    unknown: bool,
}

impl<'l> Sheet<'l> {
    fn new(life: &'l Life, rules: &'static Rules, conditions: &'l Conditions) -> Sheet<'l> {
        Sheet { life, rules, conditions, running: Vec::new(), unknown: false }
    }

    fn fill(&mut self) {
        let life = self.life;
        match life.state {
            State::Fresh if !life.place.is_freezer() => self.fresh(true),
            State::Fresh => self.frozen(true),
            State::Frozen if life.place.is_freezer() => self.frozen(true),
            State::Frozen | State::Thawing | State::Thawed => self.thawed(true),
            State::Warmed => {
                self.warmed(true);
                self.before_warming();
            }
            State::Started => {
                self.leftover();
                self.warmed(false);
                self.before_warming();
            }
        }
        if matches!(life.state, State::Fresh | State::Frozen) && life.expressed.is_none() {
            self.unknown = true;
        }
    }

    /// Clocks that ran before the milk was warmed or drunk from go on as caps.
    fn before_warming(&mut self) {
        if self.life.was_frozen() { self.thawed(false) } else { self.fresh(false) }
    }

    /// Never frozen: the fridge limit from expression caps everything, wherever the milk is.
    fn fresh(&mut self, own: bool) {
        let life = self.life;
        match life.place {
            Place::Room => {
                self.room(own);
                self.after_cold(Milk::Chilled, false);
            }
            Place::Cooler => self.cooler(own),
            _ => {}
        }
        self.since_expressed(life.expressed, own && life.place == Place::Fridge);
    }

    fn since_expressed(&mut self, expressed: Option<Moment>, own: bool) {
        let asked = self.situation(Milk::Fresh, Spot::Fridge);
        let start = match self.rules.figure(&asked).map(|f| f.start) {
            Some(Start::Received) => self.life.received,
            _ => expressed,
        };
        self.found(Clock::Fridge, asked, start.map(Origin::at), own);
    }

    /// Counts from the first freezing; where that is unknown, from the earliest it can have been.
    fn frozen(&mut self, own: bool) {
        let spot = self.conditions.freezer_spot(self.life.place);
        self.frozen_in(spot, own);
    }

    fn frozen_in(&mut self, spot: Spot, own: bool) {
        let first = self.life.first_frozen.or(self.life.expressed);
        let asked = self.situation(Milk::Frozen, spot);
        let start = match self.rules.figure(&asked).map(|f| f.start) {
            Some(Start::Expressed) => self.life.expressed,
            Some(Start::Received) => self.life.received,
            _ => first,
        };
        self.clock(Clock::Freezer, Milk::Frozen, spot, start.map(Origin::at), own);
    }

    /// Out of the freezer: the thawed limit wherever it is, the hours in the room or cooler, and the frozen limit. No
    /// publisher tells of thawed milk in a cooler: both times count (our own cautious choice, no source).
    fn thawed(&mut self, own: bool) {
        match self.life.place {
            Place::Room => {
                self.after_cold(Milk::Thawed, own);
                self.room(false);
            }
            Place::Cooler => self.cooler(own),
            _ => {}
        }
        let own_here = own && self.life.place != Place::Room;
        self.thawed_in_fridge(own_here);
        self.frozen_before();
        if self.life.unfrozen.is_some() {
            self.since_expressed(self.life.unfrozen, false);
        }
    }

    fn thawed_in_fridge(&mut self, own: bool) {
        let life = self.life;
        let asked = self.situation(Milk::Thawed, Spot::Fridge);
        let start = match self.rules.figure(&asked).map(|f| f.start) {
            Some(Start::LeftFreezer) => life.left_freezer,
            Some(_) => life.fully_thawed.or(life.left_freezer),
            None => life.left_freezer.or(life.fully_thawed),
        };
        self.clock(Clock::Thawed, Milk::Thawed, Spot::Fridge, start.map(Origin::at), own);
    }

    /// The limit of the freezer it lay in goes on. Where that isn't known, the limit of the one that keeps longest is
    /// still a limit.
    fn frozen_before(&mut self) {
        if let Some(place) = self.life.frozen_in {
            return self.frozen_in(self.conditions.freezer_spot(place), false);
        }
        let kept = self.running.len();
        self.frozen_in(Spot::DeepFreezer, false);
        self.frozen_in(self.conditions.freezer_spot(Place::Freezer), false);
        let caps = self.running.split_off(kept);
        self.running.extend(caps.into_iter().max_by_key(|r| r.by));
    }

    fn warmed(&mut self, own: bool) {
        let start = self.life.warmed.map(Origin::at);
        let asked = Situation { place: None, ..self.situation(Milk::Warmed, Spot::Room) };
        self.found(Clock::Warmed, asked, start, own);
    }

    fn leftover(&mut self) {
        let life = self.life;
        let asked = Situation { place: None, ..self.situation(Milk::Leftover, Spot::Room) };
        let start = match self.rules.figure(&asked).map(|f| f.start) {
            Some(Start::FeedBegan) => life.feed_began.or(life.feed_ended.map(|end| end - FEED_LENGTH)),
            _ => life.feed_ended.or(life.feed_began),
        };
        self.found(Clock::Leftover, asked, start.map(Origin::at), true);
    }

    fn room(&mut self, own: bool) {
        self.clock(Clock::Room, Milk::Fresh, Spot::Room, Origin::of(&self.life.room), own);
    }

    /// The hours out of the cold. Milk that came out of it for the feed has the leftover's clock in their place.
    fn after_cold(&mut self, milk: Milk, own: bool) {
        let life = self.life;
        // Fresh milk that has never been cold has only the one room clock.
        if milk == Milk::Chilled && !life.chilled {
            return;
        }
        let origin = Origin::of(if life.chilled { &life.room_after_cold } else { &life.room });
        let feed = life.feed_began.or(life.feed_ended).filter(|_| life.state == State::Started);
        if feed.is_none_or(|feed| origin.is_none_or(|o| o.from < feed)) {
            self.clock(Clock::Room, milk, Spot::Room, origin, own);
        }
    }

    /// A publisher may give only milk that was cold before a time in the cooler.
    fn cooler(&mut self, own: bool) {
        let chilled = self.rules.figure(&self.situation(Milk::Chilled, Spot::Cooler)).is_some();
        let milk = if chilled && self.life.chilled { Milk::Chilled } else { Milk::Fresh };
        self.clock(Clock::Cooler, milk, Spot::Cooler, Origin::of(&self.life.cooler), own);
    }

    fn clock(&mut self, clock: Clock, milk: Milk, spot: Spot, start: Option<Origin>, own: bool) {
        self.found(clock, self.situation(milk, spot), start, own);
    }

    /// Writes a clock down. A clock of the present state and place must be known and have a figure, else the milk is of
    /// unknown keeping or used now; one that only caps it is left out.
    fn found(&mut self, clock: Clock, asked: Situation, start: Option<Origin>, own: bool) {
        let must = own && self.rules.is_for_families();
        let figure = self.figure(&asked, must);
        let Some(start) = start else {
            self.unknown |= must;
            return;
        };
        let after = |span: Span| span.after(start.from, self.conditions.zone).max(start.floor);
        let by = figure.map(|f| after(f.limit));
        let entered =
            self.entered(clock).map(after).filter(|own| self.rules.entered || by.is_some_and(|by| *own < by));
        if figure.is_none() && entered.is_none() && !must {
            return;
        }
        // Without a figure its time ends where it came to be without one: when it was put where it is.
        let here = self.life.placed.map_or(start.floor, |placed| placed.max(start.floor));
        let by = entered.or(by).unwrap_or(here);
        self.running.push(Running {
            clock,
            start: start.floor,
            spent: start.floor - start.from,
            by,
            best: figure.and_then(|f| f.best).map(|best| after(best).min(by)),
            figure,
            rules: self.rules,
            assumed: figure.is_some_and(|f| f.is_conditional() && !f.or_unknown)
                && asked.temperature.is_none(),
            own,
            entered: entered.is_some(),
        });
    }

    /// Where nobody knows how milk thawed, the strictest of the possible answers counts; for what it is now and where also
    /// that there is no figure.
    fn figure(&self, asked: &Situation, must: bool) -> Option<&'static Figure> {
        let so = |way: &ThawHow| self.rules.figure(&Situation { way: Some(*way), ..*asked });
        let open = must && asked.milk == Milk::Thawed && asked.way.is_none();
        let ways = [ThawHow::Fridge, ThawHow::WarmWater, ThawHow::Room];
        if open && ways.iter().any(|way| so(way).is_none()) { None } else { self.rules.figure(asked) }
    }

    /// The household's own limit: with a publisher's set only where it has a figure that this makes stricter.
    fn entered(&self, clock: Clock) -> Option<Span> {
        let limit = self.conditions.limits[clock as usize];
        limit.filter(|_| self.rules.is_for_families())
    }

    fn situation(&self, milk: Milk, spot: Spot) -> Situation {
        Situation {
            milk,
            place: Some(spot),
            way: thawed_how(self.life).filter(|_| milk == Milk::Thawed),
            temperature: self.conditions.temperature(spot, self.life.site.as_ref()),
            very_clean: self.conditions.very_clean,
        }
    }
}

/// As reported; milk that went from the freezer into the fridge thawed there.
pub fn thawed_how(life: &Life) -> Option<ThawHow> {
    let not_at_first = |stay: &Stay| {
        stay.spent().is_zero() && stay.since().is_none_or(|since| life.left_freezer < Some(since))
    };
    let fridge =
        life.left_freezer.is_some() && not_at_first(&life.room_after_cold) && not_at_first(&life.cooler);
    life.thawed_how.or(fridge.then_some(ThawHow::Fridge))
}

/// How milk thaws where it was put to thaw, where nobody said.
pub fn usual_way(place: Place) -> Option<ThawHow> {
    match place {
        Place::Fridge => Some(ThawHow::Fridge),
        Place::Room => Some(ThawHow::Room),
        _ => None,
    }
}
