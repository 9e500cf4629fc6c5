//! `firstout read`: one JSON object a line in, one a line out, in the same order. A line that is no valid input gets an
//! error, and the run goes on.

use std::io::{self, BufRead, Write};

use chrono::NaiveDateTime;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::chat::read::{Context, Language, read_explained};
use crate::domain::act::civil;
use crate::domain::volume::Unit;

#[derive(Deserialize)]
struct Line {
    text: String,
    sent: String,
    #[serde(default)]
    zone: Option<String>,
    #[serde(default)]
    units: Option<Unit>,
    #[serde(default)]
    languages: Option<Vec<String>>,
    #[serde(default)]
    id: Option<Value>,
}

/// Reads every line; whether all of them were valid.
pub fn run(input: impl BufRead, mut output: impl Write, explain: bool) -> io::Result<bool> {
    let mut all_valid = true;
    for line in input.split(b'\n') {
        let line = line?;
        if line.iter().all(u8::is_ascii_whitespace) {
            continue;
        }
        let answer = answer(&String::from_utf8_lossy(&line), explain);
        all_valid &= answer.is_ok();
        let answer = answer.unwrap_or_else(|error| json!({ "error": error }));
        writeln!(output, "{answer}")?;
    }
    output.flush()?;
    Ok(all_valid)
}

fn answer(line: &str, explain: bool) -> Result<Value, String> {
    let line: Line = serde_json::from_str(line).map_err(|e| e.to_string())?;
    let ctx = context(&line)?;
    let read = read_explained(&line.text, &ctx);
    let mut answer = Map::new();
    if let Some(id) = line.id {
        answer.insert("id".into(), id);
    }
    let reading = serde_json::to_value(read.reading).map_err(|e| e.to_string())?;
    if let Value::Object(fields) = reading {
        answer.extend(fields);
    }
    if explain {
        answer.insert("why".into(), json!(read.why));
    }
    Ok(Value::Object(answer))
}

fn context(line: &Line) -> Result<Context, String> {
    let sent = NaiveDateTime::parse_from_str(&line.sent, civil::FORM)
        .or_else(|_| NaiveDateTime::parse_from_str(&line.sent, "%Y-%m-%dT%H:%M:%S"))
        .map_err(|_| format!("sent {:?} is no time YYYY-MM-DDTHH:MM", line.sent))?;
    let zone = line.zone.as_deref().unwrap_or("UTC");
    let zone = zone.parse().map_err(|_| format!("zone {zone:?} is no time zone"))?;
    let languages = line.languages.as_deref().unwrap_or_default();
    let languages = languages.iter().filter_map(|tag| Language::from_tag(tag)).collect();
    Ok(Context { sent, zone, units: line.units.unwrap_or_default(), languages })
}
