//! The reader against messages as families write them. Tables hold one case a line; the corpus in `tests/reading/` is
//! compared as a whole: a share of lines must be read exactly, and none may record something wrong.

#![allow(clippy::unwrap_used)]

#[path = "reading/sentences.rs"]
mod sentences;
#[path = "reading/words.rs"]
mod words;

use std::io::BufReader;

use chrono::NaiveDateTime;
use firstout::chat::read::{Context, Language, read};
use firstout::domain::act::{Act, Doubt, Kind, Reading, civil};
use firstout::domain::volume::Unit;
use serde_json::{Value, json};

/// Tuesday, in the afternoon.
const SENT: &str = "2027-03-09T14:40";

fn context(units: Unit) -> Context {
    let sent = NaiveDateTime::parse_from_str(SENT, civil::FORM).unwrap();
    let languages = ["en", "es"].iter().filter_map(|tag| Language::from_tag(tag)).collect();
    Context { sent, zone: chrono_tz::UTC, units, languages }
}

fn only_act(text: &str, units: Unit) -> Act {
    let reading = read(text, &context(units));
    assert_eq!(reading.acts.len(), 1, "{text}: {reading:?}");
    reading.acts.into_iter().next().unwrap()
}

#[test]
fn times_are_the_nearest_past_ones() {
    // From the conventions of the household's own clock; no source outside.
    let table = [
        ("pumped 120 at 7", "2027-03-09T07:00", None),
        ("pumped 120 at 3", "2027-03-09T03:00", None),
        ("pumped 120 at 3pm", "2027-03-08T15:00", None),
        ("0730 110 fridge", "2027-03-09T07:30", None),
        ("pumped 120 at half 7", "2027-03-09T07:30", None),
        ("pumped 120 at quarter to 2", "2027-03-09T13:45", None),
        ("pumped at 10 to 2, 120", "2027-03-09T13:50", None),
        ("me saqué 120 a las 7 y media", "2027-03-09T07:30", None),
        ("me saqué 120 a las 8 menos cuarto", "2027-03-09T07:45", None),
        ("19h30 120 freezer", "2027-03-08T19:30", None),
        ("pumped 120 at noon", "2027-03-09T12:00", None),
        ("pumped 120 an hour ago", "2027-03-09T13:40", None),
        ("hace media hora 120, nevera", "2027-03-09T14:10", None),
        ("this morning 120, fridge", "2027-03-09T05:00", Some("2027-03-09T12:00")),
        ("this arvo 120, fridge", "2027-03-09T12:00", Some("2027-03-09T14:40")),
        ("last night 120, fridge", "2027-03-08T18:00", Some("2027-03-09T05:00")),
        ("last night at 2, 120 fridge", "2027-03-09T02:00", None),
        ("de madrugada 120, nevera", "2027-03-09T00:00", Some("2027-03-09T05:00")),
        ("pumped 120 yesterday", "2027-03-08T00:00", Some("2027-03-08T23:59")),
        ("pumped 120 yesterday at 7", "2027-03-08T07:00", Some("2027-03-08T19:00")),
        ("pumped 120 yesterday morning", "2027-03-08T05:00", Some("2027-03-08T12:00")),
        ("pumped 120 on tuesday", "2027-03-02T00:00", Some("2027-03-02T23:59")),
        ("pumped 120 around 2 or 3", "2027-03-09T02:00", Some("2027-03-09T03:00")),
        ("pumped 120 for an hour", SENT, None),
    ];
    for (text, at, latest) in table {
        let act = only_act(text, Unit::Ml);
        let shown = |t: Option<NaiveDateTime>| t.map(|t| t.format(civil::FORM).to_string());
        assert_eq!(act.kind, Kind::Pump, "{text}");
        assert_eq!(shown(act.at).as_deref(), Some(at), "{text}");
        assert_eq!(shown(act.at_latest).as_deref(), latest, "{text}");
    }
}

#[test]
fn amounts_are_read_in_the_unit_that_is_meant() {
    // Published: NIST Handbook 44, appendix C: 1 US fl oz = 29.573 529 562 5 ml.
    let table = [
        ("pumped 120", Unit::Ml, Ok(120.0)),
        ("pumped 120 cc", Unit::Oz, Ok(120.0)),
        ("pumped 15", Unit::Ml, Ok(15.0)),
        ("pumped 14", Unit::Ml, Err(Doubt::Unit)),
        ("pumped 8", Unit::Oz, Ok(236.588)),
        ("pumped 9", Unit::Oz, Err(Doubt::Unit)),
        ("pumped 4,5 oz", Unit::Ml, Ok(133.081)),
        ("pumped 4 1/2 oz", Unit::Ml, Ok(133.081)),
        ("pumped four and a half ounces", Unit::Ml, Ok(133.081)),
        ("me saqué ciento veinte", Unit::Ml, Ok(120.0)),
        ("2x90 freezer", Unit::Ml, Ok(180.0)),
        ("L60 R85", Unit::Ml, Ok(145.0)),
        ("pumped 1000 ml", Unit::Ml, Ok(1000.0)),
        ("pumped 99999 ml", Unit::Ml, Err(Doubt::Amount)),
        ("pumped 80 or 100", Unit::Ml, Err(Doubt::Amount)),
        ("pumped 4-5 oz", Unit::Oz, Err(Doubt::Amount)),
    ];
    for (text, units, want) in table {
        let reading = read(text, &context(units));
        let got = match &reading.unclear {
            Some(unclear) => Err(unclear.about),
            None => Ok(reading.acts[0].ml.map_or(0.0, |ml| ml.ml())),
        };
        match (want, got) {
            (Ok(a), Ok(b)) => assert!((a - b).abs() < 0.6, "{text}: {b}"),
            (want, got) => assert_eq!(want, got, "{text}"),
        }
    }
}

#[test]
fn labels_are_told_from_amounts_and_counts() {
    let table: [(&str, &[u32], Option<u32>); 14] = [
        ("thawing 14 and 15", &[14, 15], None),
        ("thawing 12-15", &[12, 13, 14, 15], None),
        ("thawed #12, #14", &[12, 14], None),
        ("descongelé la 12 y la 13", &[12, 13], None),
        ("descongelé las 3", &[], Some(3)),
        ("took 3 out", &[], Some(3)),
        ("took bag 3 out", &[3], None),
        ("tossed bags 27 to 29", &[27, 28, 29], None),
        ("threw out 2", &[], Some(2)),
        ("don't give 12", &[12], None),
        ("moved the oldest two to the freezer", &[], Some(2)),
        ("sent 3 x 4oz to daycare", &[], Some(3)),
        ("12 thru 14 out of the freezer", &[12, 13, 14], None),
        ("saqué un par de bolsas", &[], Some(2)),
    ];
    for (text, codes, count) in table {
        let act = only_act(text, Unit::Ml);
        assert_eq!((act.codes.as_slice(), act.count), (codes, count), "{text}: {act:?}");
    }
}

#[test]
fn what_is_no_fact_is_not_recorded() {
    let table = [
        "will pump at 9",
        "can you thaw 2 for tomorrow",
        "if he wakes give him 90",
        "haven't pumped",
        "nearly tossed bag 12",
        "my sister pumps 300",
        "he usually takes 120",
        "gave him 2.5 ml of the fever med",
        "took the dog out",
        "4 bags of ice",
        "room 120 at 3",
        "voy a sacarme leche",
        "no tomó nada",
        "hay que tirar la 3",
        "tomé ibuprofeno",
        "si llora dale 60",
        "we need 2 bags of rice",
        "he weighs 12 lb 4 oz",
        "120 likes on the pic",
        "just kidding, 500 oz",
    ];
    for text in table {
        assert_eq!(read(text, &context(Unit::Ml)), Reading::default(), "{text}");
    }
}

#[test]
fn settings_have_the_form_of_a_script_header() {
    let table = [
        ("use the NHS times", "rules", "uk-nhs"),
        ("we use ounces", "units", "oz"),
        ("quiet 22 to 6", "quiet", "22:00-06:00"),
        ("time zone Chicago", "zone", "America/Chicago"),
        ("we need 3 bottles of 120", "need", "3 x 120"),
        ("we write English and Spanish", "languages", "en,es"),
        ("plan at 20:00", "plan at", "20:00"),
        ("workdays mon-fri", "workdays", "mon-fri"),
        ("away 8 to 5", "away", "08:00-17:00"),
        ("fridge is 4 C", "fridge", "4 C"),
        ("freezer ice compartment", "freezer", "ice compartment"),
        ("Lio born 2027-01-05", "child", "Lio 2027-01-05"),
    ];
    for (text, setting, value) in table {
        let act = only_act(text, Unit::Ml);
        assert_eq!((act.setting.as_deref(), act.value.as_deref()), (Some(setting), Some(value)), "{text}");
    }
}

#[test]
fn anything_at_all_gets_an_answer_or_silence() {
    let long = [
        "👩‍🍼🍼❄️",
        "9",
        "a ",
        "12-",
        "and ",
        "#1,",
        "\u{202e}مرحبا ",
        "?",
        "fed ",
        "half ",
        ".\n",
        "pumped 90, ",
    ]
    .map(|piece| piece.chars().cycle().take(4096).collect::<String>());
    let odd = [
        "",
        " ",
        "\0",
        "31/2",
        "pumped 99999 ml",
        "bag from 31 feb 90 fridge",
        "at at at 7",
        "1/0",
        "12-12",
        "#0",
        "5-1",
        "00:00",
        "24:00",
        "99:99 120 fridge",
        "½",
        "x",
        "2x",
        "-",
        "->",
        "'",
        "oz",
        "12/13/14/15",
        "4/4/4/4",
        "2027-13-45",
    ];
    for text in long.iter().map(String::as_str).chain(odd) {
        let _ = read(text, &context(Unit::Ml));
        let _ = read(text, &context(Unit::Oz));
    }
}

#[test]
fn a_bad_line_does_not_stop_the_run() {
    let input = "nonsense\n{\"text\":\"fed 90\",\"sent\":\"2027-03-16T12:00\",\"id\":7}\n{\"text\":\"x\",\"sent\":\"noon\"}\n";
    let mut output = Vec::new();
    let valid = firstout::cli::read::run(BufReader::new(input.as_bytes()), &mut output, false).unwrap();
    let lines: Vec<Value> =
        String::from_utf8(output).unwrap().lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert!(!valid);
    assert!(lines[0]["error"].is_string() && lines[2]["error"].is_string());
    let feed = json!({"act": "feed", "at": "2027-03-16T12:00", "ml": 90});
    assert_eq!(lines[1], json!({"id": 7, "acts": [feed], "unclear": null}));
}

/// The corpus of invented messages, which words were written after: all of it exactly.
const EXACT: f64 = 1.0;

#[test]
fn the_corpus_is_read_exactly_and_without_danger() {
    let (mut lines, mut exact, mut wrong, mut harm) = (0, 0, Vec::new(), Vec::new());
    let files = [
        include_str!("reading/build.jsonl"),
        include_str!("reading/build-wide.jsonl"),
        include_str!("reading/build-oracle.jsonl"),
        include_str!("reading/build-2.jsonl"),
        include_str!("reading/build-3.jsonl"),
        include_str!("reading/build-4.jsonl"),
        include_str!("reading/build-6.jsonl"),
        include_str!("reading/build-7.jsonl"),
        include_str!("reading/build-5.jsonl"),
        include_str!("reading/build-8.jsonl"),
        include_str!("reading/build-9.jsonl"),
        include_str!("reading/build-10.jsonl"),
        include_str!("reading/build-11.jsonl"),
        include_str!("reading/build-12.jsonl"),
        include_str!("reading/build-13.jsonl"),
    ];
    for file in files {
        for line in file.lines().filter(|l| !l.trim().is_empty()) {
            let case: Value = serde_json::from_str(line).unwrap();
            let got = serde_json::to_value(read_case(&case["in"])).unwrap();
            let same = agrees(&case["want"], &got);
            lines += 1;
            exact += usize::from(same);
            if !same {
                wrong.push(format!("{} {} {got}", case["id"], case["in"]["text"]));
                let records = !got["acts"].as_array().unwrap().is_empty();
                harm.extend((case["danger"] == json!(true) && records).then(|| case["id"].clone()));
            }
        }
    }
    assert!(lines > 500, "{lines} lines");
    assert!(exact as f64 >= EXACT * lines as f64, "{exact} of {lines} exact:\n{}", wrong.join("\n"));
    assert!(harm.is_empty(), "dangerous: {harm:?}");
}

pub fn read_case(given: &Value) -> Reading {
    let text = given["text"].as_str().unwrap();
    let sent = NaiveDateTime::parse_from_str(given["sent"].as_str().unwrap(), civil::FORM).unwrap();
    let tags = given["languages"].as_array().unwrap().iter().filter_map(Value::as_str);
    let ctx = Context {
        sent,
        zone: given["zone"].as_str().unwrap().parse().unwrap(),
        units: serde_json::from_value(given["units"].clone()).unwrap(),
        languages: tags.filter_map(Language::from_tag).collect(),
    };
    read(text, &ctx)
}

/// Acts as many and in the same order; of each only the wanted fields are compared, and of a doubt what it is about.
pub fn agrees(want: &Value, got: &Value) -> bool {
    let about = |v: &Value| v["unclear"]["about"].clone();
    let (wanted, given) = (want["acts"].as_array().unwrap(), got["acts"].as_array().unwrap());
    let same_acts = wanted.len() == given.len() && wanted.iter().zip(given).all(|(w, g)| same_fields(w, g));
    about(want) == about(got) && same_acts
}

fn same_fields(want: &Value, got: &Value) -> bool {
    want.as_object().unwrap().iter().all(|(key, value)| same(key, value, &got[key]))
}

fn same(key: &str, want: &Value, got: &Value) -> bool {
    match (want, got) {
        (Value::Null, got) => got.is_null(),
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            (a - b).abs() <= if key.ends_with("ml") || key == "left" || key == "right" { 0.6 } else { 1e-9 }
        }
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && paired(key, a, b),
        (Value::Object(a), Value::Object(b)) => {
            let further = key == "change"
                && b.keys().any(|k| !a.contains_key(k) && (k != "ml" || !a.contains_key("parts")));
            same_fields(want, got) && !further
        }
        (Value::String(a), Value::String(b)) if matches!(key, "pick" | "site" | "reason") => {
            plain(b).contains(&plain(a))
        }
        (want, got) => want == got,
    }
}

/// Every wanted item has an item of its own, in any order.
fn paired(key: &str, want: &[Value], got: &[Value]) -> bool {
    let mut left: Vec<&Value> = got.iter().collect();
    want.iter().all(|w| left.iter().position(|g| same(key, w, g)).map(|at| left.remove(at)).is_some())
}

/// Lower case without signs, for `contains`.
fn plain(text: &str) -> String {
    let words: String =
        text.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
    format!(" {} ", words.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn acts(text: &str) -> Vec<Value> {
    let reading = read(text, &context(Unit::Ml));
    assert_eq!(reading.unclear, None, "{text}");
    reading.acts.iter().map(|act| serde_json::to_value(act).unwrap()).collect()
}

fn kinds(text: &str) -> Vec<Kind> {
    read(text, &context(Unit::Ml)).acts.iter().map(|a| a.kind).collect()
}

#[test]
fn what_never_was_is_asked_for() {
    // Common practice, no source: no year has a 30 or 31 February, and no amount is below zero.
    let table = [
        ("pumped 120 on february 31", Doubt::Time),
        ("put 3 bags of 100 from 30 february in the freezer", Doubt::Time),
        ("pumped -5 ml fridge", Doubt::Amount),
        ("1 to the freezer", Doubt::Kind),
    ];
    for (text, about) in table {
        let reading = read(text, &context(Unit::Ml));
        assert_eq!(reading.acts, [], "{text}");
        assert_eq!(reading.unclear.map(|u| u.about), Some(about), "{text}");
    }
}

#[test]
fn several_feeds_are_never_one() {
    let twins = acts("twins fed: 80 and 90");
    assert_eq!(twins.iter().map(|a| a["ml"].as_f64()).collect::<Vec<_>>(), [Some(80.0), Some(90.0)]);
    let nursed = acts("breastfed at 7 and 10");
    let times: Vec<&str> = nursed.iter().filter_map(|a| a["at"].as_str()).collect();
    assert_eq!(times, ["2027-03-09T07:00", "2027-03-09T10:00"]);
    assert_eq!(acts("breastfed at 7 or 10").len(), 1);
}

#[test]
fn medicine_animals_and_refused_bottles_are_no_feeds() {
    for text in [
        "He took her vitamins, 2.5 ml",
        "She took 2.5 ml of her vitamins",
        "feeding the rabbits at 5",
        "offered 80 but he refused it",
        "bf is coming over at 7",
        "we are in room 204",
    ] {
        assert_eq!(read(text, &context(Unit::Ml)), Reading::default(), "{text}");
    }
}

#[test]
fn what_is_said_of_an_entry_stands_beside_a_fact() {
    assert_eq!(kinds("undo. pumped 130 fridge"), [Kind::Undo, Kind::Pump]);
    assert_eq!(kinds("sorry 130. fed 90 from #1"), [Kind::Correct, Kind::Feed]);
    assert_eq!(kinds("done. pumped 90 freezer"), [Kind::Done, Kind::Pump]);
    assert_eq!(kinds("done, 110"), [Kind::Feed]);
    assert_eq!(kinds("done"), [Kind::Done]);
    assert_eq!(kinds("sorry. fed 90"), [Kind::Feed]);
}

#[test]
fn labels_and_places_are_what_the_words_around_them_say() {
    assert_eq!(acts("fed 60 from 1")[0]["codes"], json!([1]));
    assert_eq!(acts("feeding now from 1")[0]["codes"], json!([1]));
    assert_eq!(acts("2 was fully thawed at 6")[0]["codes"], json!([2]));
    assert_eq!(acts("3 is back")[0]["codes"], json!([3]));
    assert_eq!(acts("counted the freezer: 11, 13")[0]["codes"], json!([11, 13]));
    assert_eq!(acts("I see 4 bags in the freezer")[0]["count"], json!(4));
    assert_eq!(acts("#3 came back, in the fridge")[0]["place"], json!("fridge"));
    assert_eq!(acts("pumped 100 room")[0]["parts"], json!([{ "ml": 100, "place": "room" }]));
    assert_eq!(acts("split 1 into 100 and 50")[0]["parts"], json!([{ "ml": 100 }, { "ml": 50 }]));
    let held = &acts("hold everything since tuesday")[0];
    assert_eq!((&held["named_from"], held.get("named_to")), (&json!("2027-03-02T00:00"), None));
    assert_eq!(acts("power is out since 7")[0]["since"], json!("2027-03-09T07:00"));
}

#[test]
fn limits_are_settings() {
    let table = [
        ("our fridge limit is 48 h", "fridge limit", "48 h"),
        ("freezer limit: 3 months", "freezer limit", "3 months"),
        ("cooler limit 12 hours", "cooler limit", "12 h"),
        ("fridge limit is 4 days", "fridge limit", "4 days"),
        ("thawed limit none", "thawed limit", "none"),
        ("room limit 3 h", "room limit", "3 h"),
        ("leftover limit 1 h", "leftover limit", "1 h"),
        ("warmed limit 1 h", "warmed limit", "1 h"),
        ("very clean: yes", "very clean", "yes"),
    ];
    for (text, key, value) in table {
        let act = &acts(text)[0];
        assert_eq!((&act["setting"], &act["value"]), (&json!(key), &json!(value)), "{text}");
    }
    let need = only_act("we need 3 bottles of 120 ml", Unit::Oz);
    assert_eq!(need.value.as_deref(), Some("3 x 120 ml"));
}

#[test]
fn questions_name_their_rule() {
    let table = [
        ("how long in a cooler?", "place", "cooler"),
        ("how long once thawed?", "rule", "thawed"),
        ("can I refreeze?", "rule", "refreezing"),
        ("mix warm with cold?", "rule", "mixing"),
        ("leftover bottle, how long?", "rule", "leftover"),
        ("what are the rules for the fridge?", "place", "fridge"),
        ("what runs out?", "topic", "expiring"),
        ("what runs out first?", "topic", "expiring"),
        ("why 12?", "topic", "why"),
    ];
    for (text, field, value) in table {
        assert_eq!(acts(text)[0][field], json!(value), "{text}");
    }
}
