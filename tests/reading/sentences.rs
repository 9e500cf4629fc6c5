//! What is said plainly is read as it was meant: for acts with any values, the plain sentence of each language reads back as
//! the act. The sentences stand in `sentences.toml`.

use std::collections::BTreeMap;

use firstout::chat::read::{Context, Language, read};
use firstout::domain::act::{
    Act, Change, Found, Kind, Part, Pick, Reading, Side, Sides, Swap, ThawHow, Topic, What,
};
use firstout::domain::place::{Place, Site};
use firstout::domain::volume::{Unit, Volume};
use proptest::prelude::*;
use serde::Deserialize;

/// Tuesday, in the afternoon; every clock time below lies before it.
const SENT: &str = "2027-03-09T14:40:00";

#[derive(Deserialize)]
struct Plain {
    side: BTreeMap<String, String>,
    place: BTreeMap<String, String>,
    found: BTreeMap<String, String>,
    sentences: BTreeMap<String, String>,
}

fn languages() -> BTreeMap<String, Plain> {
    toml::from_str(include_str!("sentences.toml")).unwrap()
}

/// What the braces of a sentence stand for.
#[derive(Debug, Clone)]
struct Values {
    ml: u32,
    more: u32,
    code: u32,
    other: u32,
    count: u32,
    minutes: u32,
    clock: (u32, u32),
    place: Place,
    side: Side,
    found: Found,
}

fn name(value: impl serde::Serialize) -> String {
    serde_json::to_value(value).unwrap().as_str().unwrap().to_string()
}

fn said(plain: &Plain, kind: &str, v: &Values) -> String {
    let clock = format!("{:02}:{:02}", v.clock.0, v.clock.1);
    let pairs = [
        ("{ml}", v.ml.to_string()),
        ("{more}", v.more.to_string()),
        ("{code}", v.code.to_string()),
        ("{other}", v.other.to_string()),
        ("{count}", v.count.to_string()),
        ("{minutes}", v.minutes.to_string()),
        ("{clock}", clock),
        ("{place}", plain.place[&name(v.place)].clone()),
        ("{side}", plain.side[&name(v.side)].clone()),
        ("{found}", plain.found[&name(v.found)].clone()),
    ];
    pairs.iter().fold(plain.sentences[kind].clone(), |text, (brace, value)| text.replace(brace, value))
}

/// The act that a sentence of this kind tells.
fn meant(kind: &str, v: &Values) -> Act {
    let ml = |n: u32| Some(Volume::of(f64::from(n), Unit::Ml));
    let sent: chrono::NaiveDateTime = SENT.parse().unwrap();
    let at = |kind: Kind| Act { at: Some(sent), ..Act::new(kind) };
    let clock = sent.date().and_hms_opt(v.clock.0, v.clock.1, 0);
    let part = |n: u32, code: Option<u32>| Part { ml: ml(n), place: Some(v.place), site: None, code };
    let coded = |kind: Kind| Act { codes: vec![v.code], ..at(kind) };
    let change = |change: Change| Act { change: Some(Box::new(change)), ..Act::new(Kind::Correct) };
    match kind {
        "pump" => Act { ml: ml(v.ml), parts: Some(vec![part(v.ml, None)]), ..at(Kind::Pump) },
        "pump_at" => Act { at: clock, timed: true, ..meant("pump", v) },
        "sides" => Act {
            ml: ml(v.ml + v.more),
            parts: Some(vec![part(v.ml + v.more, None)]),
            sides: Some(Sides { left: ml(v.ml), right: ml(v.more) }),
            ..at(Kind::Pump)
        },
        "store" => Act { parts: Some(vec![part(v.ml, Some(v.code))]), ..Act::new(Kind::Store) },
        "feed" => Act { ml: ml(v.ml), ..at(Kind::Feed) },
        "feed_of" => Act { offered_ml: ml(v.more), ..meant("feed", v) },
        "feed_left" => Act { ml: ml(v.ml), left_ml: ml(v.more), ..coded(Kind::Feed) },
        "feed_begun" => Act { open: true, ..coded(Kind::Feed) },
        "nurse" => Act { side: Some(v.side), minutes: Some(v.minutes), ..at(Kind::Nurse) },
        "formula" => Act { ml: ml(v.ml), ..at(Kind::Formula) },
        "move" => Act { codes: vec![v.code, v.other], place: Some(v.place), ..at(Kind::Move) },
        "move_count" => Act { count: Some(v.count), place: Some(v.place), ..at(Kind::Move) },
        "thaw" => coded(Kind::Thaw),
        "thawed" => coded(Kind::Thawed),
        "warm" => coded(Kind::Warm),
        "combine" => Act { into: Some(v.other), ..coded(Kind::Combine) },
        "add" => Act { into: Some(v.code), add_ml: ml(v.ml), ..at(Kind::Combine) },
        "split" => Act { parts: Some(vec![Part { ml: ml(v.ml), ..Part::default() }]), ..coded(Kind::Split) },
        "discard" => coded(Kind::Discard),
        "discard_ml" => Act { ml: ml(v.ml), ..at(Kind::Discard) },
        "hold" => coded(Kind::Hold),
        "release" => coded(Kind::Release),
        "donate" => Act { count: Some(v.count), ..at(Kind::Donate) },
        "send" => Act { site: Some(Site::Daycare), ..coded(Kind::Send) },
        "return" => Act { site: Some(Site::Daycare), ..coded(Kind::Return) },
        "count" => Act { count: Some(v.count), place: Some(v.place), ..at(Kind::Count) },
        "check" => Act { found: Some(v.found), ..coded(Kind::Check) },
        "outage" => Act { what: Some(What::Power), since: clock, ..at(Kind::Outage) },
        "correct" => change(Change { ml: ml(v.ml), ..Change::default() }),
        "relabel" => {
            let codes = Some(Swap { from: vec![v.code], to: vec![v.other] });
            change(Change { codes, ..Change::default() })
        }
        "dated" => {
            let yesterday = sent.date().pred_opt().and_then(|d| d.and_hms_opt(0, 0, 0));
            Act { codes: vec![v.code], ..change(Change { at: yesterday, ..Change::default() }) }
        }
        "undo" => Act { entries: Some(v.count), ..Act::new(Kind::Undo) },
        "claim" => Act::new(Kind::Claim),
        "done" => Act::new(Kind::Done),
        "yes" => Act::new(Kind::Yes),
        "no" => Act::new(Kind::No),
        // The next such time to come; from 10 to 12 it may be the evening's.
        "pause" => {
            let hours = if (10..=12).contains(&v.clock.0) { 12 } else { 24 };
            let until = clock.map(|at| at + chrono::Duration::hours(hours));
            Act { until, ..Act::new(Kind::Pause) }
        }
        "resume" => Act::new(Kind::Resume),
        "stock" => Act { place: Some(v.place), ..Act::ask(Topic::Stock) },
        "status" => Act { codes: vec![v.code], ..Act::ask(Topic::Status) },
        "last_feed" => Act::ask(Topic::LastFeed),
        "next" => Act::ask(Topic::Next),
        _ => panic!("no act for {kind}"),
    }
}

/// What a sentence says beyond the act: where it thaws, that the labels were all.
fn bare(act: Act) -> Act {
    let how = act.how.filter(|how| *how != ThawHow::Fridge);
    Act { reason: None, how, pick: act.pick.filter(|p| *p != Pick::Last), ..act }
}

fn values() -> impl Strategy<Value = Values> {
    let place = prop::sample::select(vec![
        Place::Room,
        Place::Fridge,
        Place::Freezer,
        Place::DeepFreezer,
        Place::Cooler,
    ]);
    let side = prop::sample::select(vec![Side::Left, Side::Right]);
    let found = prop::sample::select(vec![Found::Hard, Found::Icy, Found::Liquid]);
    // Label 1 is left out: "a la 1" is one o'clock.
    let numbers = (15u32..=400, 1u32..=200, 2u32..=400, 2u32..=400, 2u32..=9, 1u32..=60);
    (numbers, 2u32..=14, 0u32..=39, place, side, found).prop_filter_map(
        "labels differ",
        |((ml, more, code, other, count, minutes), hour, minute, place, side, found)| {
            let clock = (hour, minute);
            let all = Values { ml, more: ml + more, code, other, count, minutes, clock, place, side, found };
            (code != other).then_some(all)
        },
    )
}

#[test]
fn every_language_can_say_every_kind() {
    let all = languages();
    let kinds: Vec<Vec<&String>> = all.values().map(|plain| plain.sentences.keys().collect()).collect();
    assert!(kinds.len() > 1 && kinds.windows(2).all(|two| two[0] == two[1]), "{kinds:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn plain_sentences_read_back_as_their_acts(v in values(), units in prop::sample::select(vec![Unit::Ml, Unit::Oz])) {
        for (tag, plain) in languages() {
            let ctx = Context {
                sent: SENT.parse().unwrap(),
                zone: chrono_tz::UTC,
                units,
                languages: vec![Language::from_tag(&tag).unwrap()],
            };
            for kind in plain.sentences.keys() {
                let text = said(&plain, kind, &v);
                let Reading { acts, unclear } = read(&text, &ctx);
                prop_assert_eq!(unclear, None, "{}", &text);
                let acts: Vec<Act> = acts.into_iter().map(bare).collect();
                prop_assert_eq!(acts, vec![meant(kind, &v)], "{}", &text);
            }
        }
    }
}
