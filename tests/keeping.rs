//! Published keeping times, held against the program in both directions, each at its edge; the ways in which clocks are
//! put together; and civil time across clock changes, held against another library and published transitions.

#![allow(clippy::unwrap_used, reason = "what can't be had ends the test")]

use chrono::{DateTime, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use firstout::domain::act::ThawHow;
use firstout::domain::household::{FreezerKind, Household, Temperature};
use firstout::domain::keeping::{Clock, Conditions, Keeping, keep};
use firstout::domain::milk::{Life, Moment, State, Stay};
use firstout::domain::place::{Place, Site};
use firstout::domain::rules::{
    self, Figure, Fill, Milk, Rules, Span, Spot, Start, Topic, Verdict, Way, span,
};
use proptest::prelude::*;

const PUBLISHED: &str = include_str!("published/times.txt");

const PUBLISHED_BESIDE: &str = include_str!("published/beside.txt");

fn lines(table: &str) -> Vec<String> {
    let mut lines: Vec<String> =
        table.lines().filter(|l| !l.is_empty() && !l.starts_with('#')).map(str::to_owned).collect();
    lines.sort();
    lines
}

fn snake(word: &impl std::fmt::Debug) -> String {
    let mut out = String::new();
    for c in format!("{word:?}").chars() {
        if c.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.push(c.to_ascii_lowercase());
    }
    out
}

fn or_dash(parts: Vec<String>) -> String {
    if parts.is_empty() { "-".into() } else { parts.join(", ") }
}

fn condition(figure: &Figure) -> String {
    let mut parts = Vec::new();
    parts.extend(figure.max_c.map(|c| format!("{c} C")));
    parts.extend(figure.max_f.map(|f| format!("{f} F")));
    parts.extend(figure.or_unknown.then(|| "unknown".into()));
    parts.extend(figure.very_clean.then(|| "very clean".into()));
    let ways: Vec<&str> = figure
        .ways
        .iter()
        .map(|way| match way {
            Way::Fridge => "in fridge",
            Way::WarmWater => "in warm water",
            Way::OnTheWay => "on the way",
        })
        .collect();
    parts.extend((!ways.is_empty()).then(|| ways.join(" or ")));
    or_dash(parts)
}

/// Every figure of the program with the kinds of milk and place that it covers, one by one.
fn cells() -> Vec<(&'static Rules, &'static Figure, Milk, Option<Spot>)> {
    let mut cells = Vec::new();
    for rules in rules::all() {
        for figure in &rules.figures {
            for milk in &figure.milk {
                let spots: Vec<Option<Spot>> = match figure.places.len() {
                    0 => vec![None],
                    _ => figure.places.iter().copied().map(Some).collect(),
                };
                cells.extend(spots.into_iter().map(|spot| (rules, figure, *milk, spot)));
            }
        }
    }
    cells
}

fn line((rules, figure, milk, spot): &(&Rules, &Figure, Milk, Option<Spot>)) -> String {
    let known = snake(&figure.known);
    [
        rules.key.clone(),
        snake(milk),
        spot.map_or("anywhere".into(), |s| snake(&s)),
        figure.best.map_or("-".into(), |b| b.to_string()),
        figure.limit.to_string(),
        snake(&figure.start),
        condition(figure),
        format!("{}, {}", figure.source.publisher, figure.source.title),
        known,
    ]
    .join(" | ")
}

#[test]
fn every_published_figure_is_in_the_program_and_no_other() {
    let mut program: Vec<String> = cells().iter().map(line).collect();
    program.sort();
    let published = lines(PUBLISHED);
    let absent: Vec<_> = published.iter().filter(|l| !program.contains(l)).collect();
    let unheard: Vec<_> = program.iter().filter(|l| !published.contains(l)).collect();
    assert!(absent.is_empty() && unheard.is_empty(), "absent: {absent:#?}\nunheard of: {unheard:#?}");
    assert_eq!(program.len(), published.len(), "a figure stands twice");
}

#[test]
fn every_published_rule_beside_the_times_is_in_the_program_and_no_other() {
    let mut program = Vec::new();
    for rules in rules::all() {
        for note in &rules.notes {
            let verdict = note.verdict.map_or("-".into(), |v| format!("{v:?}"));
            program.push(format!(
                "{} | {} | {verdict} | {}",
                rules.key,
                snake(&note.topic),
                snake(&note.known)
            ));
            assert!(!note.text.text.is_empty() && !note.source.publisher.is_empty());
        }
        for cut in &rules.outages {
            let fill = if cut.fill == Fill::Any { "shut".into() } else { snake(&cut.fill) };
            let place = snake(&cut.place);
            program.push(format!(
                "{} | power cut, {place} {fill} | {} | {}",
                rules.key,
                cut.limit,
                snake(&cut.known)
            ));
        }
    }
    program.sort();
    assert_eq!(program, lines(PUBLISHED_BESIDE));
}

#[test]
fn years_are_given_where_they_are_known() {
    let year = |key: &str| rules::find(key).unwrap().figures[0].source.year;
    assert_eq!(year("abm-2017"), Some(2017)); // Published: Clinical Protocol 8, revised 2017.
    assert_eq!(year("au-nhmrc"), Some(2012)); // Published: Infant Feeding Guidelines 2012.
    assert_eq!(year("us-cdc"), None);
}

#[test]
fn a_printed_range_counts_with_its_lower_end() {
    // Our own cautious choice, no source; the CDC's thawed milk in the room is the one exception, as printed there.
    for (rules, figure, ..) in cells() {
        let Some(printed) = &figure.printed else { continue };
        let lower = printed.split('–').next().unwrap();
        let counted = figure.best.unwrap_or(figure.limit).to_string();
        assert_eq!(counted.split(' ').next(), Some(lower), "{}: {printed}", rules.key);
    }
}

#[test]
fn an_unknown_way_of_thawing_gets_the_stricter_figure() {
    // Our own cautious choice, no source.
    for rules in rules::all() {
        for spot in [Spot::Fridge, Spot::Room] {
            let ask = |way| {
                rules.figure(&rules::Situation { way, ..rules::Situation::of(Milk::Thawed, Some(spot)) })
            };
            let unknown = ask(None).and_then(|f| f.limit.elapsed());
            let known = [ThawHow::Fridge, ThawHow::WarmWater, ThawHow::Room].map(|w| ask(Some(w)));
            assert_eq!(
                unknown,
                known.iter().flatten().filter_map(|f| f.limit.elapsed()).min(),
                "{}",
                rules.key
            );
        }
    }
}

#[test]
fn budgets_of_hours_have_the_same_length_from_every_start() {
    for (rules, figure, _, spot) in cells() {
        if matches!(spot, Some(Spot::Room | Spot::Cooler)) {
            assert!(figure.limit.elapsed().is_some(), "{}", rules.key);
        }
    }
}

// ---- each figure at its edge ----

fn at(text: &str) -> Moment {
    NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap().and_utc()
}

fn hours(hours: i64) -> TimeDelta {
    TimeDelta::hours(hours)
}

fn minutes(minutes: i64) -> TimeDelta {
    TimeDelta::minutes(minutes)
}

fn staying(since: Moment) -> Stay {
    let mut stay = Stay::default();
    stay.enter(since);
    stay
}

fn spent(spent: TimeDelta, since: Moment) -> Stay {
    let mut stay = Stay::of(spent);
    stay.enter(since);
    stay
}

fn conditions() -> Conditions {
    Conditions::of(&Household::default())
}

fn fresh(place: Place, expressed: Moment) -> Life {
    Life {
        state: State::Fresh,
        place,
        site: None,
        placed: None,
        expressed: Some(expressed),
        first_frozen: None,
        frozen_in: Some(place).filter(|p| p.is_freezer()),
        received: None,
        left_freezer: None,
        fully_thawed: None,
        thawed_how: None,
        unfrozen: None,
        warmed: None,
        feed_began: None,
        feed_ended: None,
        chilled: place != Place::Room,
        room: if place == Place::Room { staying(expressed) } else { Stay::default() },
        room_after_cold: Stay::default(),
        cooler: if place == Place::Cooler { staying(expressed) } else { Stay::default() },
    }
}

fn frozen(place: Place, first_frozen: Moment) -> Life {
    Life { state: State::Frozen, first_frozen: Some(first_frozen), ..fresh(place, first_frozen - hours(1)) }
}

fn thawed(place: Place, left_freezer: Moment) -> Life {
    let room = if place == Place::Room { staying(left_freezer) } else { Stay::default() };
    Life {
        state: State::Thawed,
        place,
        left_freezer: Some(left_freezer),
        room,
        room_after_cold: room,
        cooler: if place == Place::Cooler { staying(left_freezer) } else { Stay::default() },
        ..frozen(Place::Freezer, left_freezer - hours(240))
    }
}

fn in_room(life: Life, since: Moment) -> Life {
    Life { place: Place::Room, room: staying(since), room_after_cold: staying(since), ..life }
}

/// Milk on which the clock of one published line starts at `start` and nothing else ends sooner.
fn example(figure: &Figure, milk: Milk, spot: Option<Spot>, start: Moment) -> Life {
    let long_ago = start - hours(2);
    let life = match (milk, spot) {
        (Milk::Fresh, Some(Spot::Room)) => fresh(Place::Room, start),
        (Milk::Fresh, Some(Spot::Cooler)) => fresh(Place::Cooler, start),
        (Milk::Fresh, _) => fresh(Place::Fridge, start),
        (Milk::Chilled, Some(Spot::Cooler)) => fresh(Place::Cooler, start),
        (Milk::Chilled, _) => in_room(fresh(Place::Fridge, long_ago), start),
        (Milk::Frozen, Some(Spot::DeepFreezer)) => frozen(Place::DeepFreezer, start),
        (Milk::Frozen, _) => frozen(Place::Freezer, start),
        (Milk::Thawed, Some(Spot::Room)) => in_room(thawed(Place::Fridge, long_ago), start),
        (Milk::Thawed, _) if figure.start == Start::FullyThawed => {
            Life { fully_thawed: Some(start), ..thawed(Place::Fridge, start - hours(5)) }
        }
        (Milk::Thawed, _) => thawed(Place::Fridge, start),
        (Milk::Warmed, _) => Life {
            state: State::Warmed,
            warmed: Some(start),
            ..in_room(fresh(Place::Fridge, long_ago), start)
        },
        (Milk::Leftover, _) => {
            let ended = if figure.start == Start::FeedBegan { start + minutes(20) } else { start };
            let began = if figure.start == Start::FeedBegan { start } else { start - minutes(20) };
            Life {
                state: State::Started,
                feed_began: Some(began),
                feed_ended: Some(ended),
                ..fresh(Place::Fridge, long_ago)
            }
        }
    };
    let thawed_how = figure.ways.first().map(|way| match way {
        Way::Fridge => ThawHow::Fridge,
        Way::WarmWater | Way::OnTheWay => ThawHow::WarmWater,
    });
    let expressed = if figure.start == Start::Expressed { Some(start) } else { life.expressed };
    Life { thawed_how, expressed, ..life }
}

/// The kind of freezer, and a temperature that the line allows and, where it can, no other line of the set does.
fn fitting(figure: &Figure, spot: Option<Spot>) -> Conditions {
    let coldest = figure.max_c.map(Temperature::Celsius).filter(|_| !figure.or_unknown);
    Conditions {
        freezer: if spot == Some(Spot::IceCompartment) {
            FreezerKind::IceCompartment
        } else {
            FreezerKind::OwnDoor
        },
        fridge: coldest.filter(|_| spot == Some(Spot::Fridge)),
        room: coldest.filter(|_| spot == Some(Spot::Room)),
        very_clean: figure.very_clean,
        ..conditions()
    }
}

/// Months by jiff, hours and days by seconds.
fn ends(limit: Span, start: Moment) -> Moment {
    match limit {
        Span::Months(n) => jiff_months(start, n, "UTC"),
        Span::Days(n) => start + TimeDelta::seconds(86_400 * i64::from(n)),
        Span::Hours(n) => start + TimeDelta::seconds(3_600 * i64::from(n)),
        Span::AtOnce | Span::EndOfFeed => start,
        // The examples are in UTC.
        Span::EndOfDay => (start.date_naive() + chrono::Days::new(1)).and_time(NaiveTime::MIN).and_utc(),
    }
}

#[test]
fn every_figure_holds_to_the_minute() {
    let start = at("2027-03-09 12:00");
    let mut checked = 0;
    for cell in cells() {
        let (rules, figure, milk, spot) = cell;
        let mut life = example(figure, milk, spot, start);
        life.received = Some(start).filter(|_| figure.start == Start::Received);
        let mut conditions = fitting(figure, spot);
        let family = if rules.is_for_families() {
            rules
        } else {
            life.site = Some(Site::Daycare);
            conditions.child_care = Some(rules);
            rules::find("us-cdc").unwrap()
        };
        let keeping = keep(&life, family, &conditions);
        let by = keeping.use_by.unwrap_or_else(|| panic!("no use-by: {}", line(&cell)));
        let end = ends(figure.limit, start);
        let past = |moment: Moment| by <= moment;
        assert!(!past(end - minutes(1)), "over too early, {by}: {}", line(&cell));
        assert!(past(end) && past(end + minutes(1)), "over too late, {by}: {}", line(&cell));
        let decides =
            keeping.running.iter().any(|r| r.by == end && r.figure.is_some_and(|f| std::ptr::eq(f, figure)));
        assert!(decides, "another figure decided: {}", line(&cell));
        if rules.is_for_families() {
            assert_eq!(keeping.best_by, figure.best.map(|b| ends(b, start)), "{}", line(&cell));
        }
        checked += 1;
    }
    assert_eq!(checked, lines(PUBLISHED).len());
}

// ---- how clocks are put together ----

fn use_by(rules: &str, life: &Life, conditions: &Conditions) -> Keeping {
    keep(life, rules::find(rules).unwrap(), conditions)
}

fn by(rules: &str, life: &Life) -> Option<Moment> {
    use_by(rules, life, &conditions()).use_by
}

const NOON: &str = "2027-03-09 12:00";

#[test]
fn hours_in_the_room_are_one_budget() {
    // Our own cautious choice, no source: no publisher seen says how partial times add up.
    let noon = at(NOON);
    let life = Life { room: spent(hours(3), noon), chilled: false, ..fresh(Place::Room, noon - hours(3)) };
    assert_eq!(by("us-cdc", &life), Some(noon + hours(1)));
    let over = Life { room: spent(hours(5), noon), ..life };
    assert_eq!(by("us-cdc", &over), Some(noon), "not before it came back into the room");
}

#[test]
fn milk_from_the_fridge_has_two_hours_in_the_room_and_never_more_than_the_rest_of_the_four() {
    let noon = at(NOON);
    let life = |in_all, after_cold| Life {
        room: spent(in_all, noon),
        room_after_cold: spent(after_cold, noon),
        ..in_room(fresh(Place::Fridge, noon - hours(20)), noon)
    };
    assert_eq!(by("us-cdc", &life(hours(0), hours(0))), Some(noon + hours(2)));
    assert_eq!(by("us-cdc", &life(hours(1), hours(1))), Some(noon + hours(1)));
    assert_eq!(by("us-cdc", &life(hours(3), hours(0))), Some(noon + hours(1)));
    // The NHS has no figure for milk out of the cold: its six hours in the room are the budget.
    assert_eq!(by("uk-nhs", &life(hours(3), hours(0))), Some(noon + hours(3)));
}

#[test]
fn the_fridge_limit_counts_from_expression_in_the_cooler_and_in_the_room_too() {
    let noon = at(NOON);
    let expressed = noon - hours(95);
    let cooler = Life { cooler: staying(noon), ..fresh(Place::Cooler, expressed) };
    let keeping = use_by("us-cdc", &cooler, &conditions());
    assert_eq!((keeping.use_by, keeping.deciding), (Some(noon + hours(1)), Some(Clock::Fridge)));
    let room = in_room(fresh(Place::Fridge, expressed), noon);
    assert_eq!(by("us-cdc", &room), Some(noon + hours(1)));
    let back = fresh(Place::Fridge, expressed);
    let keeping = use_by("us-cdc", &back, &conditions());
    assert_eq!(keeping.running.len(), 1, "no room clock runs in the fridge");
}

#[test]
fn hours_in_the_cooler_add_up() {
    let noon = at(NOON);
    let life = Life { cooler: spent(hours(20), noon), ..fresh(Place::Cooler, noon - hours(30)) };
    assert_eq!(by("us-cdc", &life), Some(noon + hours(4)));
}

#[test]
fn a_known_temperature_picks_the_figure_and_an_unknown_one_is_told() {
    let noon = at(NOON);
    let life = fresh(Place::Fridge, noon);
    let at_fridge = |rules, fridge| use_by(rules, &life, &Conditions { fridge, ..conditions() });
    let celsius = |c| Some(Temperature::Celsius(c));
    let fahrenheit = |f| Some(Temperature::Fahrenheit(f));
    // Published: Breastfeeding Network (own): 8 days at 4 °C or colder; 3 days if warmer or unknown.
    assert_eq!(at_fridge("uk-nhs", celsius(4.0)).use_by, Some(noon + hours(24 * 8)));
    assert_eq!(at_fridge("uk-nhs", celsius(4.5)).use_by, Some(noon + hours(24 * 3)));
    assert_eq!(at_fridge("uk-nhs", fahrenheit(39.0)).use_by, Some(noon + hours(24 * 8)));
    assert_eq!(at_fridge("uk-nhs", None).use_by, Some(noon + hours(24 * 3)));
    assert!(at_fridge("uk-nhs", celsius(11.0)).use_now());
    // Published: CDC (copy): 4 °C / 40 °F, a rounded pair.
    assert_eq!(at_fridge("us-cdc", fahrenheit(40.0)).use_by, Some(noon + hours(96)));
    assert!(at_fridge("us-cdc", fahrenheit(41.0)).use_now() && at_fridge("us-cdc", celsius(5.0)).use_now());
    let assumed = |keeping: Keeping| keeping.decisive().unwrap().assumed;
    assert!(assumed(at_fridge("us-cdc", None)));
    assert!(!assumed(at_fridge("us-cdc", celsius(4.0))) && !assumed(at_fridge("uk-nhs", None)));
    let hot = Conditions { room: celsius(25.1), ..conditions() };
    let room = use_by("us-cdc", &fresh(Place::Room, noon), &hot);
    assert_eq!((room.use_by, room.use_now()), (Some(noon), true));
}

#[test]
fn what_the_household_measured_holds_at_home_only() {
    let noon = at(NOON);
    let cold = Conditions { fridge: Some(Temperature::Celsius(4.0)), ..conditions() };
    let away = Life { site: Some(Site::Work), ..fresh(Place::Fridge, noon) };
    assert_eq!(use_by("uk-nhs", &away, &cold).use_by, Some(noon + hours(72)));
}

#[test]
fn unknown_history_is_never_a_yes() {
    let noon = at(NOON);
    for life in [fresh(Place::Fridge, noon), fresh(Place::Room, noon), frozen(Place::Freezer, noon)] {
        let unknown = Life { expressed: None, ..life };
        assert_eq!(by("us-cdc", &unknown), None);
    }
    let thawed = Life { expressed: None, first_frozen: None, ..thawed(Place::Fridge, noon) };
    assert_eq!(by("us-cdc", &thawed), Some(noon + hours(24)), "a clock that is known still counts");
    assert_eq!(by("us-cdc", &Life { left_freezer: None, ..thawed }), None);
    let warmed = Life { state: State::Warmed, ..fresh(Place::Fridge, noon) };
    assert_eq!(by("us-cdc", &warmed), None);
    // Frozen at an unknown time: from the earliest that it can have been.
    let store = Life { first_frozen: None, ..frozen(Place::Freezer, at("2027-03-09 12:00")) };
    assert_eq!(by("us-cdc", &store), Some(at("2028-03-09 11:00")));
}

#[test]
fn the_kind_of_freezer_decides_and_no_figure_means_use_now() {
    let first = at("2027-01-31 10:00");
    let ice = Conditions { freezer: FreezerKind::IceCompartment, ..conditions() };
    let months =
        |rules, place, conditions: &Conditions| use_by(rules, &frozen(place, first), conditions).use_by;
    assert_eq!(months("au-nhmrc", Place::Freezer, &ice), Some(at("2027-02-14 10:00")));
    assert_eq!(months("au-nhmrc", Place::Freezer, &conditions()), Some(at("2027-04-30 10:00")));
    assert_eq!(months("au-nhmrc", Place::DeepFreezer, &ice), Some(at("2028-01-31 10:00")));
    assert_eq!(months("ca-bc", Place::Freezer, &ice), Some(at("2027-02-28 10:00")));
    let none = use_by("us-cdc", &frozen(Place::Freezer, first), &ice);
    assert_eq!((none.use_by, none.use_now()), (Some(first), true));
}

#[test]
fn full_thaw_starts_the_clock_only_where_the_publisher_counts_from_it() {
    let out = at(NOON);
    let reported = Life { fully_thawed: Some(out + hours(8)), ..thawed(Place::Fridge, out) };
    assert_eq!(by("us-cdc", &reported), Some(out + hours(32)));
    // Our own cautious choice, no source: without a report it counts from leaving the freezer.
    assert_eq!(by("us-cdc", &thawed(Place::Fridge, out)), Some(out + hours(24)));
    assert_eq!(by("uk-nhs", &reported), Some(out + hours(12)));
    assert_eq!(use_by("uk-nhs", &reported, &conditions()).best_by, Some(out));
}

#[test]
fn thawed_milk_keeps_its_clocks_wherever_it_goes() {
    let out = at(NOON);
    let room = in_room(thawed(Place::Fridge, out), out + hours(23));
    assert_eq!(by("us-cdc", &room), Some(out + hours(24)), "the 24 hours go on in the room");
    let cooler = Life { place: Place::Cooler, cooler: staying(out + hours(1)), ..thawed(Place::Fridge, out) };
    assert_eq!(by("us-cdc", &cooler), Some(out + hours(24)));
    let again = Life { place: Place::Freezer, ..thawed(Place::Fridge, out) };
    assert_eq!(by("us-cdc", &again), Some(out + hours(24)), "the freezer does not help it");
    let old = Life { first_frozen: Some(at("2026-03-09 20:00")), ..thawed(Place::Fridge, out) };
    assert_eq!(by("us-cdc", &old), Some(at("2027-03-09 20:00")), "the frozen limit goes on");
    let nhs = use_by("uk-nhs", &in_room(thawed(Place::Fridge, out), out + hours(1)), &conditions());
    assert_eq!((nhs.use_by, nhs.use_now()), (Some(out + hours(1)), true));
    assert!(use_by("ca-bc", &thawed(Place::Fridge, out), &conditions()).use_now());
}

#[test]
fn how_it_thawed_decides_where_a_publisher_tells_the_ways_apart() {
    let out = at(NOON);
    let so = |how, place| by("au-nhmrc", &Life { thawed_how: how, ..thawed(place, out) });
    assert_eq!(so(Some(ThawHow::Fridge), Place::Fridge), Some(out + hours(24)));
    assert_eq!(so(Some(ThawHow::WarmWater), Place::Fridge), Some(out + hours(4)));
    assert_eq!(so(None, Place::Fridge), Some(out + hours(24)), "it has been nowhere but in the fridge");
    let warm_again = Life { room_after_cold: Stay::of(minutes(10)), ..thawed(Place::Fridge, out) };
    assert_eq!(by("au-nhmrc", &warm_again), Some(out), "unknown: of the possible answers one has no figure");
    let overnight = in_room(thawed(Place::Fridge, out), out + hours(12));
    assert_eq!(by("au-nhmrc", &overnight), Some(out + hours(16)));
    assert_eq!(so(Some(ThawHow::Room), Place::Fridge), Some(out), "no figure: now");
    assert_eq!(so(Some(ThawHow::Fridge), Place::Room), Some(out + hours(4)));
    assert_eq!(so(Some(ThawHow::WarmWater), Place::Room), Some(out), "no figure: now");
}

#[test]
fn warmed_milk_is_used_now_where_a_publisher_has_no_figure() {
    let noon = at(NOON);
    let warmed = Life { state: State::Warmed, warmed: Some(noon), ..fresh(Place::Fridge, noon - hours(9)) };
    for rules in ["abm-2017", "uk-nhs", "au-nhmrc", "ca-bc", "care-team"] {
        let keeping = use_by(rules, &warmed, &conditions());
        assert_eq!((keeping.use_by, keeping.use_now()), (Some(noon), true), "{rules}");
    }
    let late = Life { expressed: Some(noon - hours(95)), ..warmed };
    assert_eq!(by("us-cdc", &late), Some(noon + hours(1)), "the fridge limit goes on");
}

#[test]
fn a_leftover_counts_from_the_end_or_the_beginning_and_never_outlasts_what_went_before() {
    let noon = at(NOON);
    let left = |began, ended| Life {
        state: State::Started,
        feed_began: began,
        feed_ended: ended,
        ..fresh(Place::Fridge, noon - hours(9))
    };
    let (began, ended) = (Some(noon), Some(noon + minutes(25)));
    assert_eq!(by("us-cdc", &left(began, ended)), Some(noon + minutes(145)));
    assert_eq!(by("us-cdc", &left(began, None)), Some(noon + minutes(120)));
    assert_eq!(by("uk-nhs", &left(began, ended)), Some(noon + minutes(60)));
    // Our own cautious choice, no source: 30 minutes before the end that was told.
    assert_eq!(by("uk-nhs", &left(None, ended)), Some(noon + minutes(55)));
    assert_eq!(by("au-nhmrc", &left(began, ended)), ended);
    assert_eq!(by("au-nhmrc", &left(began, None)), began);
    assert_eq!(by("ca-bc", &left(began, ended)), ended, "no figure: now");
    // Milk that came out of the cold for the feed counts from the feed, milk that had lain in the room before does not.
    let for_the_feed = in_room(left(began, ended), noon);
    assert_eq!(by("us-cdc", &for_the_feed), Some(noon + minutes(145)));
    let out_before = in_room(left(began, ended), noon - hours(1));
    assert_eq!(by("us-cdc", &out_before), Some(noon + hours(1)));
    let warmed = Life { warmed: Some(noon - minutes(10)), ..left(began, ended) };
    assert_eq!(by("us-cdc", &warmed), Some(noon + minutes(110)));
    let old = Life { expressed: Some(noon - hours(95)), ..left(began, ended) };
    assert_eq!(by("us-cdc", &old), Some(noon + hours(1)));
    let thawed = Life {
        state: State::Started,
        feed_began: began,
        feed_ended: ended,
        ..thawed(Place::Fridge, noon - hours(23))
    };
    assert_eq!(by("us-cdc", &thawed), Some(noon + hours(1)));
}

#[test]
fn the_child_cares_rules_count_only_there_and_only_where_they_are_stricter() {
    let noon = at(NOON);
    let child_care = rules::find("us-aap");
    let conditions = Conditions { child_care, ..conditions() };
    let home = fresh(Place::Fridge, noon);
    let there = Life { site: Some(Site::Daycare), ..home.clone() };
    assert_eq!(use_by("us-cdc", &home, &conditions).use_by, Some(noon + hours(96)));
    let keeping = use_by("us-cdc", &there, &conditions);
    assert_eq!(keeping.use_by, Some(noon + hours(48)));
    assert_eq!(keeping.decisive().unwrap().rules.key, "us-aap");
    let room = Life { site: Some(Site::Daycare), ..fresh(Place::Room, noon) };
    assert_eq!(
        use_by("us-cdc", &room, &conditions).use_by,
        Some(noon + hours(4)),
        "no figure of theirs: the family's"
    );
    assert_eq!(use_by("care-team", &there, &conditions).use_by, Some(noon + hours(48)));
}

#[test]
fn a_household_that_declares_very_clean_conditions_gets_the_longer_figure_of_the_protocol() {
    // From memory: ABM protocol 8.
    let noon = at(NOON);
    let clean = Conditions { very_clean: true, ..conditions() };
    assert_eq!(use_by("abm-2017", &fresh(Place::Room, noon), &clean).use_by, Some(noon + hours(6)));
    assert_eq!(use_by("abm-2017", &fresh(Place::Fridge, noon), &clean).use_by, Some(noon + hours(120)));
    assert_eq!(by("abm-2017", &fresh(Place::Room, noon)), Some(noon + hours(4)));
}

#[test]
fn a_limit_of_the_households_own_is_stricter_or_nothing() {
    let noon = at(NOON);
    let own = |rules: &str, key: &str, limit: &str| {
        let mut household = Household { rules: rules.into(), ..Household::default() };
        household.set(key, limit, &|_| true).unwrap();
        Conditions::of(&household)
    };
    let life = fresh(Place::Fridge, noon);
    let stricter = use_by("us-cdc", &life, &own("us-cdc", "fridge limit", "48 h"));
    assert_eq!(stricter.use_by, Some(noon + hours(48)));
    assert!(stricter.decisive().unwrap().entered);
    let looser = use_by("us-cdc", &life, &own("us-cdc", "fridge limit", "6 days"));
    assert_eq!((looser.use_by, looser.decisive().unwrap().entered), (Some(noon + hours(96)), false));
    // A figure that the publisher doesn't give can't be made stricter: it is still used now.
    let none = use_by(
        "us-cdc",
        &Life { place: Place::Freezer, ..frozen(Place::Freezer, noon) },
        &Conditions { freezer: FreezerKind::IceCompartment, ..own("us-cdc", "freezer limit", "1 month") },
    );
    assert!(none.use_now());
    // The care team's figures are the family's own, longer or shorter.
    let team = use_by("care-team", &life, &own("care-team", "fridge limit", "96 h"));
    assert_eq!(team.use_by, Some(noon + hours(96)));
    let room = fresh(Place::Room, noon);
    assert!(use_by("care-team", &room, &conditions()).use_now());
    let entered = use_by("care-team", &room, &own("care-team", "room limit", "2 h"));
    assert_eq!((entered.use_by, entered.use_now()), (Some(noon + hours(2)), false));
}

#[test]
fn a_wish_for_more_than_the_publisher_allows_is_recognised() {
    let cdc = rules::find("us-cdc").unwrap();
    let looser = |clock: Clock, span| clock.looser_than_published(span, cdc);
    assert_eq!(looser(Clock::Fridge, Span::Days(5)), Some(Some(Span::Days(4))));
    assert_eq!(looser(Clock::Fridge, Span::Hours(96)), None);
    let canada = rules::find("ca-bc").unwrap();
    assert_eq!(Clock::Leftover.looser_than_published(Span::Hours(1), canada), Some(None));
    assert_eq!(Clock::Fridge.looser_than_published(Span::Days(9), rules::find("care-team").unwrap()), None);
}

#[test]
fn rule_questions_find_their_figure_and_their_source() {
    let cdc = rules::find("us-cdc").unwrap();
    assert_eq!(cdc.note(Topic::Refreezing).unwrap().verdict, Some(Verdict::WhileIcy));
    assert_eq!(cdc.outage(Spot::Freezer, Fill::Half).unwrap().limit, Span::Hours(24));
    assert_eq!(cdc.outage(Spot::Fridge, Fill::Full).unwrap().limit, Span::Hours(4));
    let cooler = cdc.figure(&rules::Situation::of(Milk::Fresh, Some(Spot::Cooler))).unwrap();
    assert_eq!(cooler.limit, Span::Hours(24));
    assert!(rules::find("ca-bc").unwrap().note(Topic::Refreezing).is_none(), "nothing is borrowed");
    assert!(rules::find("nobody").is_none());
}

// ---- civil time ----

const ZONES: [&str; 10] = [
    "UTC",
    "America/New_York",
    "America/St_Johns",
    "Europe/London",
    "Australia/Sydney",
    "Australia/Lord_Howe",
    "Asia/Hong_Kong",
    "America/Phoenix",
    "Pacific/Chatham",
    "Pacific/Apia",
];

fn to_jiff(moment: Moment) -> jiff::Timestamp {
    jiff::Timestamp::from_second(moment.timestamp()).unwrap()
}

fn from_jiff(stamp: jiff::Timestamp) -> Moment {
    DateTime::<Utc>::from_timestamp(stamp.as_second(), 0).unwrap()
}

/// So many calendar months later by jiff: the earlier of two, and where there is none the moment of the change.
fn jiff_months(start: Moment, months: u32, zone: &str) -> Moment {
    let zone = jiff::tz::TimeZone::get(zone).unwrap();
    let civil = to_jiff(start).to_zoned(zone.clone()).datetime();
    let there = civil.checked_add(jiff::Span::new().months(i64::from(months))).unwrap();
    let ambiguous = zone.to_ambiguous_timestamp(there);
    let earlier = ambiguous.earlier().unwrap();
    match ambiguous.offset() {
        jiff::tz::AmbiguousOffset::Gap { .. } => {
            from_jiff(zone.following(earlier).next().unwrap().timestamp())
        }
        _ => from_jiff(earlier),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]
    #[test]
    fn calendar_months_agree_with_jiff(
        minute in 0i64..(12 * 365 * 24 * 60),
        months in prop::sample::select(vec![1u32, 3, 6, 9, 12, 24]),
        zone in prop::sample::select(ZONES.to_vec()),
    ) {
        let start = at("2024-01-01 00:00") + minutes(minute);
        let ours = Span::Months(months).after(start, zone.parse().unwrap());
        prop_assert_eq!(ours, jiff_months(start, months, zone), "{} + {} months in {}", start, months, zone);
    }
}

#[test]
fn months_into_every_hour_around_a_clock_change_agree_with_jiff() {
    for zone in ZONES {
        let tz: Tz = zone.parse().unwrap();
        let stamps = jiff::tz::TimeZone::get(zone).unwrap();
        let changes = stamps.following(to_jiff(at("2026-01-01 00:00"))).take(6);
        for change in changes.map(|c| from_jiff(c.timestamp())) {
            for months in [1, 6, 12] {
                let civil = change.with_timezone(&tz).naive_local();
                let before = civil.checked_sub_months(chrono::Months::new(months)).unwrap();
                for quarter in -16..=16 {
                    let Some(start) = tz.from_local_datetime(&(before + minutes(15 * quarter))).earliest()
                    else {
                        continue;
                    };
                    let start = start.to_utc();
                    let ours = Span::Months(months).after(start, tz);
                    assert_eq!(ours, jiff_months(start, months, zone), "{start} + {months} in {zone}");
                }
            }
        }
    }
}

/// Published: IANA time zone database. civil start | zone | months | the end in UTC.
#[test]
fn months_end_at_a_valid_moment_when_the_clocks_change() {
    for (civil, zone, months, end) in [
        ("2026-09-14 02:30", "America/New_York", 6, "2027-03-14 07:00"), // skipped: 03:00 EDT
        ("2027-05-07 01:30", "America/New_York", 6, "2027-11-07 05:30"), // twice: the earlier, EDT
        ("2026-09-28 01:30", "Europe/London", 6, "2027-03-28 01:00"),    // skipped: 02:00 BST
        ("2027-04-03 02:30", "Australia/Sydney", 6, "2027-10-02 16:00"), // skipped: 03:00 AEDT
        ("2027-04-03 02:15", "Australia/Lord_Howe", 6, "2027-10-02 15:30"), // half an hour skipped
        ("2027-08-31 09:00", "Asia/Hong_Kong", 6, "2028-02-29 01:00"),   // leap year, no clock change
        ("2026-08-31 09:00", "Asia/Hong_Kong", 6, "2027-02-28 01:00"),
    ] {
        let tz: Tz = zone.parse().unwrap();
        let start = span::moment(at(civil).naive_utc(), tz).unwrap();
        assert_eq!(Span::Months(months).after(start, tz), at(end), "{civil} {zone}");
    }
}

#[test]
fn hours_are_elapsed_time_when_the_clocks_change() {
    let zones = [
        ("America/New_York", "2027-03-13 20:00", "2027-03-14 21:00"), // an hour is skipped in between
        ("America/New_York", "2027-11-06 20:00", "2027-11-07 19:00"), // an hour comes twice
        ("Australia/Lord_Howe", "2027-04-03 20:00", "2027-04-04 19:30"),
        ("America/Phoenix", "2027-03-13 20:00", "2027-03-14 20:00"),
    ];
    for (zone, start, end) in zones {
        let tz: Tz = zone.parse().unwrap();
        let out = span::moment(at(start).naive_utc(), tz).unwrap();
        let by =
            use_by("us-cdc", &thawed(Place::Fridge, out), &Conditions { zone: tz, ..conditions() }).use_by;
        assert_eq!(by.unwrap().with_timezone(&tz).naive_local(), at(end).naive_utc(), "{zone}");
    }
}

// ---- what holds for any life ----

prop_compose! {
    fn any_life()(
        state in prop::sample::select(vec![
            State::Fresh, State::Frozen, State::Thawing, State::Thawed, State::Warmed, State::Started,
        ]),
        place in prop::sample::select(Place::ALL.to_vec()),
        offsets in prop::collection::vec(prop::option::of(0i64..60 * 24 * 20), 7),
        stays in prop::collection::vec(0i64..60 * 30, 3),
        how in prop::sample::select(vec![None, Some(ThawHow::Fridge), Some(ThawHow::WarmWater), Some(ThawHow::Room)]),
        chilled in any::<bool>(),
    ) -> Life {
        let start = at(NOON);
        let moment = |n: usize| offsets[n].map(|m| start + minutes(m));
        let stay = |n: usize| spent(minutes(stays[n]), start + hours(24 * 20));
        Life {
            state,
            place,
            site: None,
            placed: None,
            expressed: moment(0),
            first_frozen: moment(1),
            frozen_in: None,
            received: None,
            left_freezer: moment(2),
            fully_thawed: moment(3),
            thawed_how: how,
            unfrozen: None,
            warmed: moment(4),
            feed_began: moment(5),
            feed_ended: moment(6),
            chilled,
            room: stay(0),
            room_after_cold: stay(1),
            cooler: stay(2),
        }
    }
}

proptest! {
    #[test]
    fn the_earliest_clock_decides(life in any_life(), n in 0usize..7) {
        let rules = rules::all().iter().filter(|r| r.is_for_families()).nth(n).unwrap();
        let keeping = keep(&life, rules, &conditions());
        if let Some(by) = keeping.use_by {
            prop_assert_eq!(Some(by), keeping.running.iter().map(|r| r.by).min());
            prop_assert_eq!(keeping.decisive().map(|r| r.clock), keeping.deciding);
            prop_assert!(keeping.best_by.is_none_or(|best| best <= by));
        } else {
            prop_assert!(keeping.deciding.is_none() && keeping.best_by.is_none());
        }
        prop_assert!(keeping.running.iter().all(|r| r.by >= r.start));
    }

    /// More time out, an earlier expression, a child care's rules: none of them makes milk keep longer.
    #[test]
    fn nothing_known_to_be_worse_keeps_longer(life in any_life(), n in 0usize..7, more in 1i64..600, c in 7usize..12) {
        let rules = rules::all().iter().filter(|r| r.is_for_families()).nth(n).unwrap();
        let kept = keep(&life, rules, &conditions()).use_by;
        let since = at(NOON) + hours(24 * 20);
        let stay = |s: &Stay| spent(s.spent() + minutes(more), since);
        let worse = [
            Life { room: stay(&life.room), ..life.clone() },
            Life { room_after_cold: stay(&life.room_after_cold), ..life.clone() },
            Life { cooler: stay(&life.cooler), ..life.clone() },
            Life { expressed: life.expressed.map(|at| at - minutes(more)), ..life.clone() },
        ];
        for worse in worse {
            prop_assert!(keep(&worse, rules, &conditions()).use_by <= kept);
        }
        let there = Life { site: Some(Site::Daycare), ..life };
        let alone = keep(&there, rules, &conditions()).use_by;
        let child_care = Some(&rules::all()[c]);
        let stricter = keep(&there, rules, &Conditions { child_care, ..conditions() }).use_by;
        prop_assert!(stricter <= alone);
    }
}
