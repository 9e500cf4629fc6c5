//! `firstout plan`: a stock and a need in as JSON, what to use and what to thaw out as JSON, by the same code that answers
//! in the group. A line that can't be read gets its error in place of an answer and never stops the others.

use std::io::{self, Write};

use chrono::{NaiveDateTime, TimeDelta};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::domain::act::{Code, civil};
use crate::domain::household::{Household, Temperature};
use crate::domain::keeping::{Clock, Conditions, keep, usual_way};
use crate::domain::milk::{Life, Moment, State, Stay};
use crate::domain::place::Place;
use crate::domain::plan::{PlanItem, Wanted, thaw};
use crate::domain::rules::{self, Rules, span};
use crate::domain::volume::Volume;

/// One case. What it does not say is unknown, as in a household that has told nothing.
#[derive(Deserialize)]
struct Case {
    #[serde(default, with = "civil")]
    now: Option<NaiveDateTime>,
    zone: String,
    #[serde(default = "default_rules")]
    rules: String,
    need: Need,
    stock: Vec<Entry>,
    fridge_c: Option<f64>,
    freezer: Option<String>,
}

fn default_rules() -> String {
    Household::default().rules
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Need {
    #[serde(default, with = "civil")]
    from: Option<NaiveDateTime>,
    #[serde(default, with = "civil")]
    to: Option<NaiveDateTime>,
    ml: Volume,
}

/// One container. A field that isn't known is an error: `helt` for `held` must not put held milk into a plan.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    code: Code,
    ml: Volume,
    milk: State,
    place: Place,
    #[serde(default, with = "civil")]
    expressed: Option<NaiveDateTime>,
    #[serde(default, with = "civil")]
    frozen: Option<NaiveDateTime>,
    #[serde(default, with = "civil")]
    left_freezer: Option<NaiveDateTime>,
    #[serde(default, with = "civil")]
    thawed: Option<NaiveDateTime>,
    #[serde(default)]
    room_minutes: u32,
    #[serde(default)]
    held: bool,
    #[serde(default)]
    suspect: bool,
}

#[derive(Serialize)]
struct Answer {
    #[serde(rename = "use")]
    used: Vec<Code>,
    thaw: Vec<Code>,
    use_ml: Volume,
    thaw_ml: Volume,
    over_ml: Volume,
    short_ml: Volume,
    /// In the case's zone.
    #[serde(with = "civil")]
    take_out_from: Option<NaiveDateTime>,
}

#[derive(Serialize)]
struct Refusal {
    error: String,
}

/// Answers the whole input as one case, or each of its lines; says whether all could be read.
pub fn run(input: &str, lines: bool, out: &mut impl Write) -> io::Result<bool> {
    let cases: Vec<&str> =
        if lines { input.lines().filter(|line| !line.trim().is_empty()).collect() } else { vec![input] };
    let mut all_read = true;
    for case in cases {
        match answer(case) {
            Ok(answer) => serde_json::to_writer(&mut *out, &answer)?,
            Err(error) => {
                all_read = false;
                serde_json::to_writer(&mut *out, &Refusal { error })?;
            }
        }
        writeln!(out)?;
    }
    Ok(all_read)
}

fn answer(case: &str) -> Result<Answer, String> {
    let case: Case = serde_json::from_str(case).map_err(|e| e.to_string())?;
    let house = household(&case)?;
    let rules = rules::find(&house.rules).ok_or("there are no such rules")?;
    let book = Book { zone: house.zone, rules, conditions: Conditions::of(&house) };
    let now = book.required("now", case.now)?;
    let wanted = book.wanted(&case.need)?;
    let stock = case.stock.iter().map(|entry| book.item(entry, now)).collect::<Result<Vec<_>, _>>()?;
    let thaw = thaw(&stock, &wanted, now, rules, &book.conditions);
    Ok(Answer {
        used: thaw.use_codes,
        thaw: thaw.thaw_codes,
        use_ml: thaw.use_ml,
        thaw_ml: thaw.thaw_ml,
        over_ml: thaw.over_ml,
        short_ml: thaw.short_ml,
        take_out_from: thaw.take_out_from.map(|at| book.civil(at)),
    })
}

/// The case's settings as a household's, read and refused in the same way.
fn household(case: &Case) -> Result<Household, String> {
    let mut house = Household::default();
    let known = |key: &str| rules::find(key).is_some_and(Rules::is_for_families);
    let freezer = case.freezer.as_deref().map(|kind| ("freezer", kind));
    let settings = [("zone", case.zone.as_str()), ("rules", case.rules.as_str())];
    for (key, value) in settings.into_iter().chain(freezer) {
        house.set(key, value, &known).map_err(|e| e.to_string())?;
    }
    house.fridge = case.fridge_c.map(Temperature::Celsius);
    Ok(house)
}

/// No clock is put back by more, in minutes.
const MOST_REPEATED: usize = 24 * 60;

/// What the entries of one case are read with.
struct Book {
    zone: Tz,
    rules: &'static Rules,
    conditions: Conditions,
}

impl Book {
    fn moment(&self, civil: Option<NaiveDateTime>) -> Result<Option<Moment>, String> {
        civil
            .map(|at| {
                span::existing(at, self.zone).ok_or_else(|| format!("{at}: {} skips this time", self.zone))
            })
            .transpose()
    }

    /// The civil time by which a moment is told. One that comes twice is read as the earlier: of the second, the first
    /// time that can't be misread.
    fn civil(&self, at: Moment) -> NaiveDateTime {
        let told =
            (0..).map(|minutes| (at + TimeDelta::minutes(minutes)).with_timezone(&self.zone).naive_local());
        let clear = |civil: &NaiveDateTime| span::moment(*civil, self.zone).is_none_or(|read| read >= at);
        told.take(MOST_REPEATED).find(clear).unwrap_or_else(|| at.with_timezone(&self.zone).naive_local())
    }

    fn required(&self, name: &str, civil: Option<NaiveDateTime>) -> Result<Moment, String> {
        self.moment(civil)?.ok_or_else(|| format!("{name} is missing"))
    }

    fn wanted(&self, need: &Need) -> Result<Wanted, String> {
        let from = self.required("need.from", need.from)?;
        let to = self.required("need.to", need.to)?;
        if to < from {
            return Err("need.to is before need.from".into());
        }
        Ok(Wanted { from, to, ml: amount(need.ml)? })
    }

    fn item(&self, entry: &Entry, now: Moment) -> Result<PlanItem, String> {
        let life = self.life(entry, now)?;
        let by = keep(&life, self.rules, &self.conditions).use_by;
        let by = if self.room_is_used_up(&life, now) { by.map(|by| by.min(now)) } else { by };
        let item = PlanItem::of(entry.code, amount(entry.ml)?, &life, by);
        Ok(PlanItem { held: entry.held, suspect: entry.suspect, ..item })
    }

    fn life(&self, entry: &Entry, now: Moment) -> Result<Life, String> {
        let mut life = Life {
            state: entry.milk,
            place: entry.place,
            site: None,
            placed: None,
            expressed: self.moment(entry.expressed)?,
            first_frozen: self.moment(entry.frozen)?,
            frozen_in: Some(entry.place).filter(|p| p.is_freezer()),
            received: None,
            left_freezer: self.moment(entry.left_freezer)?,
            fully_thawed: self.moment(entry.thawed)?,
            thawed_how: usual_way(entry.place),
            unfrozen: None,
            warmed: None,
            feed_began: None,
            feed_ended: None,
            chilled: entry.place != Place::Room,
            room: Stay::of(TimeDelta::minutes(entry.room_minutes.into())),
            room_after_cold: Stay::default(),
            cooler: Stay::default(),
        };
        match entry.place {
            Place::Room => life.room.enter(now),
            Place::Cooler => life.cooler.enter(now),
            _ => {}
        }
        Ok(life)
    }

    /// Hours in the room are never given back: milk that has had all of them is past in the cold as well. Those of milk
    /// that has thawed count as if they came after thawing (when they were isn't told).
    fn room_is_used_up(&self, life: &Life, now: Moment) -> bool {
        let mut out = Life { place: Place::Room, ..life.clone() };
        out.room.enter(now);
        if matches!(life.state, State::Thawing | State::Thawed) {
            out.room_after_cold = out.room;
        } else {
            out = Life { state: State::Fresh, chilled: false, ..out };
        }
        let room = keep(&out, self.rules, &self.conditions).running;
        !life.room.spent().is_zero() && room.iter().any(|r| r.clock == Clock::Room && r.by <= now)
    }
}

fn amount(ml: Volume) -> Result<Volume, String> {
    if ml < Volume::ZERO { Err(format!("{ml} is no amount of milk")) } else { Ok(ml) }
}
