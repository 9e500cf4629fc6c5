//! What is always true of a reading, whatever was typed; nothing here asks whether the reading is right. The fuzz target
//! and the tests check the same.

use chrono::{NaiveDate, NaiveDateTime};
use firstout::chat::read::{Context, Language, read};
use firstout::domain::act::{Act, Kind, Reading};
use firstout::domain::volume::{Unit, Volume};

/// Households that read the same text in different ways: units, languages, zones, and moments at which calendars are odd.
type Home = (Unit, &'static [&'static str], &'static str, (i32, u32, u32, u32, u32));

const HOUSEHOLDS: [Home; 8] = [
    (Unit::Ml, &["en"], "Europe/London", (2027, 3, 9, 14, 40)),
    (Unit::Oz, &["en"], "America/Chicago", (2027, 1, 1, 0, 5)),
    (Unit::Ml, &["es"], "America/Mexico_City", (2027, 2, 28, 23, 55)),
    (Unit::Oz, &["es"], "America/New_York", (2028, 2, 29, 7, 0)),
    (Unit::Ml, &["en", "es"], "UTC", (2026, 12, 31, 23, 59)),
    (Unit::Oz, &["en", "es"], "America/Los_Angeles", (2027, 5, 31, 4, 59)),
    // The clocks were put forward, and back, an hour before.
    (Unit::Ml, &["en", "es"], "Europe/Madrid", (2027, 3, 28, 3, 30)),
    (Unit::Oz, &["en", "es"], "America/New_York", (2026, 11, 1, 1, 30)),
];

/// The household that a number stands for.
pub fn household(number: u8) -> Context {
    let (units, languages, zone, (year, month, day, hour, minute)) =
        HOUSEHOLDS[usize::from(number) % HOUSEHOLDS.len()];
    let date = NaiveDate::from_ymd_opt(year, month, day).and_then(|d| d.and_hms_opt(hour, minute, 0));
    Context {
        sent: date.expect("a day of the calendar"),
        zone: zone.parse().expect("a zone"),
        units,
        languages: languages.iter().filter_map(|tag| Language::from_tag(tag)).collect(),
    }
}

/// Reads the text and panics where the reading breaks a promise.
pub fn check(text: &str, ctx: &Context) -> Reading {
    let reading = read(text, ctx);
    // A word, a number or a sign is at least one character.
    let words = text.chars().filter(|c| !c.is_whitespace()).count();
    assert!(reading.acts.len() <= words, "{} acts of {words} characters", reading.acts.len());
    if let Some(unclear) = &reading.unclear {
        assert!(reading.acts.is_empty(), "recorded before the answer: {reading:?}");
        assert!(unclear.acts.len() <= 4, "too many to choose from: {reading:?}");
    }
    let open = reading.unclear.iter().flat_map(|u| u.first.iter().chain(&u.acts));
    for act in reading.acts.iter().chain(open) {
        check_times(act, ctx.sent);
        check_volumes(act, words);
        check_labels(act, words);
    }
    reading
}

fn check_times(act: &Act, sent: NaiveDateTime) {
    let ends = act.at_latest.or(act.at);
    assert!(act.at <= ends, "late before early: {act:?}");
    let change = act.change.as_ref().and_then(|c| c.at);
    for time in [act.at, act.at_latest, act.since, act.ended, change].into_iter().flatten() {
        assert!(time <= sent, "{time} is to come: {act:?}");
    }
    // A stay that has an end has ended; a pause hasn't.
    let fits = |until: NaiveDateTime| match act.kind {
        Kind::Move => act.at.is_some_and(|at| at <= until) && until <= sent,
        _ => until >= sent,
    };
    assert!(act.until.is_none_or(fits), "an end that can't be: {act:?}");
}

/// More is asked about, whatever unit it has.
const MOST_IN_ONE: Volume = Volume::from_microlitres(1_000_000);

fn check_volumes(act: &Act, words: usize) {
    let sides = act.sides.unwrap_or_default();
    let change = act.change.as_deref();
    let parts = act.parts.iter().chain(change.and_then(|c| c.parts.as_ref())).flatten();
    let mut single: Vec<Volume> = parts.filter_map(|p| p.ml).collect();
    single.extend([sides.left, sides.right, act.add_ml, act.left_ml].into_iter().flatten());
    single.extend(change.and_then(|c| c.ml));
    assert!(single.iter().all(|v| (Volume::ZERO..=MOST_IN_ONE).contains(v)), "{act:?}");
    let whole = [act.ml, act.offered_ml].into_iter().flatten();
    let containers = act.parts.as_ref().map_or(1, Vec::len).max(1).max(words);
    let most = MOST_IN_ONE.microlitres() * containers as i64;
    // What is asked about or given away may be all there is.
    let most = if matches!(act.kind, Kind::Ask | Kind::Donate) { i64::MAX } else { most };
    assert!(whole.into_iter().all(|v| v >= Volume::ZERO && v.microlitres() <= most), "{act:?}");
}

/// The longest range that is spelled out has so many labels more than it has characters.
const RANGE: usize = 201;

fn check_labels(act: &Act, words: usize) {
    let change = act.change.as_deref();
    let swap = change.and_then(|c| c.codes.as_ref());
    let parts = act.parts.iter().chain(change.and_then(|c| c.parts.as_ref())).flatten();
    let in_parts = parts.filter_map(|p| p.code);
    let swapped = swap.into_iter().flat_map(|s| s.from.iter().chain(&s.to)).copied();
    let named = act.codes.iter().copied().chain(in_parts).chain(swapped).chain(act.into);
    let all: Vec<u32> = named.collect();
    assert!(all.iter().all(|code| (1..10_000).contains(code)), "{act:?}");
    assert!(all.len() <= RANGE * words, "{} labels: {act:?}", all.len());
    let parts = act.parts.as_ref().map_or(0, Vec::len);
    assert!(parts <= RANGE * words, "{parts} parts: {act:?}");
    assert!(act.count != Some(0), "{act:?}");
    assert!(act.entries != Some(0), "{act:?}");
}
