//! Times in words, beside what a general parser of dates makes of them: `reading/times/times.tsv`, written by `compare.py`
//! there, with that parser's version and a verdict on each difference. Here the reader is held to its own column.

use chrono::NaiveDateTime;
use firstout::chat::read::{Context, Language, read};
use firstout::domain::act::civil;
use firstout::domain::volume::Unit;

fn ours(language: &str, expression: &str, sent: &str, zone: &str) -> String {
    let carrier = if language == "es" { "me saqué 120 " } else { "pumped 120 " };
    let ctx = Context {
        sent: NaiveDateTime::parse_from_str(sent, civil::FORM).unwrap(),
        zone: zone.parse().unwrap(),
        units: Unit::Ml,
        languages: Language::from_tag(language).into_iter().collect(),
    };
    let reading = read(&format!("{carrier}{expression}"), &ctx);
    let form = |t: NaiveDateTime| t.format(civil::FORM).to_string();
    if let Some(unclear) = reading.unclear {
        let about = serde_json::to_value(unclear.about).unwrap();
        return format!("asks: {}", about.as_str().unwrap());
    }
    match reading.acts.as_slice() {
        [] => "-".into(),
        [act] => {
            let late = act.at_latest.map(|t| format!(" to {}", form(t))).unwrap_or_default();
            format!("{}{late}{}", form(act.at.unwrap()), if act.timed { "" } else { " (sent)" })
        }
        acts => format!("{} acts", acts.len()),
    }
}

#[test]
fn times_are_still_read_as_they_were_judged() {
    // Published: the behaviour of dateparser (PyPI), in the version that the head of the table names.
    let mut rows = 0;
    for row in include_str!("reading/times/times.tsv").lines().skip(2) {
        let [language, expression, sent, zone, judged, theirs, verdict] =
            row.split('\t').collect::<Vec<_>>().try_into().unwrap();
        assert_eq!(ours(language, expression, sent, zone), judged, "{expression}, sent {sent}");
        // Where theirs is right, ours says nothing at all, and no wrong time is recorded.
        let fits = match verdict.split(':').next().unwrap() {
            "same" => judged == theirs || verdict.starts_with("same: neither"),
            "ours right" | "neither" => judged != theirs,
            "theirs right" => judged == "-",
            _ => false,
        };
        assert!(fits, "{row}");
        rows += 1;
    }
    assert!(rows >= 150, "{rows} rows");
}
