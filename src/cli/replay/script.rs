//! A written conversation: settings, `---`, then lines in order of time. Everything wrong with a script is found before
//! anything of it runs, and named with its line.

use std::collections::HashSet;

use chrono::{DateTime, NaiveDateTime, Utc};

use crate::domain::household::Household;
use crate::domain::ledger::known_rules;
use crate::domain::rules::span;

#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    pub household: Household,
    pub lines: Vec<Line>,
}

#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its line in the file, for errors.
    pub row: usize,
    pub at: DateTime<Utc>,
    pub what: What,
}

#[derive(Debug, Clone, PartialEq)]
pub enum What {
    Pass,
    Does { by: String, deed: Deed },
}

#[derive(Debug, Clone, PartialEq)]
pub enum Deed {
    Says {
        text: String,
    },
    Edits {
        n: usize,
        text: String,
    },
    Replies {
        n: usize,
        text: String,
    },
    RepliesToBot {
        n: usize,
        text: String,
    },
    /// `n`: the bot's n-th message; else the newest that has the button.
    Taps {
        n: Option<usize>,
        label: String,
    },
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {row}: {what}")]
pub struct ScriptError {
    pub row: usize,
    pub what: String,
}

fn error(row: usize, what: impl Into<String>) -> ScriptError {
    ScriptError { row, what: what.into() }
}

pub fn parse(text: &str) -> Result<Script, ScriptError> {
    let rows: Vec<(usize, &str)> = text.lines().enumerate().map(|(i, l)| (i + 1, l)).collect();
    let Some(split) = rows.iter().position(|(_, l)| l.trim_end() == "---") else {
        return Err(error(rows.len().max(1), "no line --- between the settings and the conversation"));
    };
    let household = settings(&rows[..split])?;
    let lines = conversation(&rows[split + 1..], &household)?;
    Ok(Script { household, lines })
}

/// The settings alone, as in a seed file without a conversation.
fn settings(rows: &[(usize, &str)]) -> Result<Household, ScriptError> {
    let mut household = Household::default();
    let mut seen = HashSet::new();
    for (row, line) in rows {
        let line = line.split("  #").next().unwrap_or_default().trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (key, value) = line
            .split_once(':')
            .ok_or_else(|| error(*row, format!("\"{line}\" is no setting key: value")))?;
        let key = key.trim().to_lowercase();
        if key != "child" && !seen.insert(key.clone()) {
            return Err(error(*row, format!("{key} is set twice")));
        }
        household.set(&key, value, &known_rules).map_err(|e| error(*row, e.to_string()))?;
    }
    Ok(household)
}

fn conversation(rows: &[(usize, &str)], household: &Household) -> Result<Vec<Line>, ScriptError> {
    let mut lines: Vec<Line> = Vec::new();
    let mut said = 0;
    for (row, text) in rows {
        if text.trim().is_empty() || text.starts_with('#') {
            continue;
        }
        let line = line(*row, text, household)?;
        if lines.last().is_some_and(|last| last.at > line.at) {
            return Err(error(*row, "is earlier than the line before it"));
        }
        if let What::Does { deed, .. } = &line.what {
            said += 1;
            if let Deed::Edits { n, .. } | Deed::Replies { n, .. } = deed
                && (*n == 0 || *n >= said)
            {
                return Err(error(*row, format!("there is no message {n} before it")));
            }
        }
        lines.push(line);
    }
    Ok(lines)
}

fn line(row: usize, text: &str, household: &Household) -> Result<Line, ScriptError> {
    let stamp = text.get(..16).ok_or_else(|| error(row, "does not begin with a time YYYY-MM-DD HH:MM"))?;
    let civil = NaiveDateTime::parse_from_str(stamp, "%Y-%m-%d %H:%M")
        .map_err(|_| error(row, format!("\"{stamp}\" is no time YYYY-MM-DD HH:MM")))?;
    let at = span::existing(civil, household.zone).ok_or_else(|| {
        error(row, format!("{stamp} does not exist in {}: the clocks go forward", household.zone))
    })?;
    let rest = text[16..].trim_start();
    let what = if rest.trim_end() == "-" { What::Pass } else { does(row, rest, household)? };
    Ok(Line { row, at, what })
}

fn does(row: usize, rest: &str, household: &Household) -> Result<What, ScriptError> {
    let unknown = || error(row, format!("\"{rest}\" is no message \"Name: text\", edit, reply or tap"));
    let end = rest.find(|c: char| c == ':' || c.is_whitespace()).ok_or_else(unknown)?;
    let (by, rest_of) = rest.split_at(end);
    if !household.people.is_empty() && household.person(by).is_none() {
        return Err(error(row, format!("{by} is not among the people")));
    }
    let deed = match rest_of.strip_prefix(':') {
        Some(text) => Deed::Says { text: text.trim_start().to_owned() },
        None => deed(rest_of.trim_start()).ok_or_else(unknown)?,
    };
    Ok(What::Does { by: by.to_owned(), deed })
}

fn deed(words: &str) -> Option<Deed> {
    let (verb, rest) = words.split_once(' ')?;
    let rest = rest.trim_start();
    match verb {
        "taps" => taps(rest),
        "edits" => {
            let (n, text) = numbered(rest)?;
            Some(Deed::Edits { n, text })
        }
        "replies" => match rest.strip_prefix("bot ") {
            Some(rest) => {
                let (n, text) = numbered(rest)?;
                Some(Deed::RepliesToBot { n, text })
            }
            None => {
                let (n, text) = numbered(rest)?;
                Some(Deed::Replies { n, text })
            }
        },
        _ => None,
    }
}

fn numbered(words: &str) -> Option<(usize, String)> {
    let (n, text) = words.split_once(':')?;
    Some((n.trim().parse().ok()?, text.trim_start().to_owned()))
}

fn taps(words: &str) -> Option<Deed> {
    let (n, label) = match words.split_once('"')? {
        ("", label) => (None, label),
        (n, label) => (Some(n.trim().parse().ok()?), label),
    };
    let label = label.trim_end().strip_suffix('"')?.to_owned();
    Some(Deed::Taps { n, label })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(text: &str) -> String {
        parse(text).map(|_| String::new()).unwrap_or_else(|e| e.to_string())
    }

    #[test]
    fn a_bad_script_is_named_with_its_line() {
        assert_eq!(says("zone: UTC\n"), "line 1: no line --- between the settings and the conversation");
        assert_eq!(says("colour: red\n---\n"), "line 1: there is no setting \"colour\"");
        assert_eq!(says("---\nnonsense\n"), "line 2: does not begin with a time YYYY-MM-DD HH:MM");
        assert_eq!(
            says("---\n2027-03-09 09:00  Ana: hi\n2027-03-09 08:00  Ana: hi\n"),
            "line 3: is earlier than the line before it"
        );
        assert_eq!(
            says("zone: America/Chicago\n---\n2027-03-14 02:30  -\n"),
            "line 3: 2027-03-14 02:30 does not exist in America/Chicago: the clocks go forward"
        );
        assert_eq!(
            says("people: Ana pumps\n---\n2027-03-09 09:00  Bob: hi\n"),
            "line 3: Bob is not among the people"
        );
        assert_eq!(
            says("---\n2027-03-09 09:00  Ana edits 1: hi\n"),
            "line 2: there is no message 1 before it"
        );
        assert_eq!(
            says("---\n2027-02-31 09:00  Ana: hi\n"),
            "line 2: \"2027-02-31 09:00\" is no time YYYY-MM-DD HH:MM"
        );
    }

    #[test]
    fn every_kind_of_line_is_read() {
        let script = "units: oz  # a comment\n---\n# one\n2027-03-09 08:40  Ana: pumped #12  # 120\n\
            2027-03-09 08:41  Ana edits 1: x: y\n2027-03-09 08:42  Ben replies 1: that\n\
            2027-03-09 08:43  Ben replies bot 2: yes\n2027-03-09 08:44  Ben taps \"On it\"\n\
            2027-03-09 08:45  Ben taps 3 \"Done\"\n2027-03-10 09:00  -\n";
        let deeds: Vec<What> = parse(script).unwrap().lines.into_iter().map(|l| l.what).collect();
        let does = |by: &str, deed| What::Does { by: by.into(), deed };
        assert_eq!(
            deeds,
            [
                does("Ana", Deed::Says { text: "pumped #12  # 120".into() }),
                does("Ana", Deed::Edits { n: 1, text: "x: y".into() }),
                does("Ben", Deed::Replies { n: 1, text: "that".into() }),
                does("Ben", Deed::RepliesToBot { n: 2, text: "yes".into() }),
                does("Ben", Deed::Taps { n: None, label: "On it".into() }),
                does("Ben", Deed::Taps { n: Some(3), label: "Done".into() }),
                What::Pass,
            ]
        );
    }
}
