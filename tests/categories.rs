//! How well the reader reads each kind of message: the corpus by category, as a table. `cargo test --locked --test all
//! categories:: -- --nocapture` prints it; `READING_SETS` may name further files, parted by spaces.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::reading::{agrees, read_case};

const SETS: [(&str, &str); 3] = [
    ("build", include_str!("reading/build.jsonl")),
    ("build-2", include_str!("reading/build-2.jsonl")),
    ("build-wide", include_str!("reading/build-wide.jsonl")),
];
/// No category is much worse than the whole.
const LEAST: f64 = 0.85;

#[derive(Default, Clone, Copy)]
struct Score {
    lines: usize,
    exact: usize,
    /// Wanted something and got nothing.
    missed: usize,
    /// Wanted nothing and got something.
    talk: usize,
    /// Recorded something else.
    wrong: usize,
}

impl Score {
    fn add(&mut self, case: &Value) {
        let got = serde_json::to_value(read_case(&case["in"])).unwrap();
        let silent = |v: &Value| v["acts"] == Value::Array(vec![]) && v["unclear"].is_null();
        self.lines += 1;
        match agrees(&case["want"], &got) {
            true => self.exact += 1,
            false if silent(&got) => self.missed += 1,
            false if silent(&case["want"]) => self.talk += 1,
            false => self.wrong += 1,
        }
    }

    fn row(&self, name: &str) -> String {
        let share = 100.0 * self.exact as f64 / self.lines as f64;
        format!(
            "{name:<24} {:>5} {:>5} {share:>6.1} % {:>6} {:>4} {:>5}",
            self.lines, self.exact, self.missed, self.talk, self.wrong
        )
    }
}

/// The category is the middle of a line's id: "own-pump-001".
fn category(case: &Value) -> String {
    let id = case["id"].as_str().unwrap();
    let parts: Vec<&str> = id.split('-').collect();
    parts[1..parts.len() - 1].join("-")
}

fn scores(texts: &[&str]) -> BTreeMap<String, Score> {
    let mut all: BTreeMap<String, Score> = BTreeMap::new();
    for line in texts.iter().flat_map(|t| t.lines()).filter(|l| !l.trim().is_empty()) {
        let case: Value = serde_json::from_str(line).unwrap();
        all.entry(category(&case)).or_default().add(&case);
        all.entry("ALL".into()).or_default().add(&case);
    }
    all
}

fn print(name: &str, scores: &BTreeMap<String, Score>) {
    println!("{name:<24} lines exact   share  missed talk wrong");
    scores.iter().for_each(|(category, score)| println!("{}", score.row(category)));
}

#[test]
fn no_category_is_left_behind() {
    let texts: Vec<&str> = SETS.iter().map(|(_, text)| *text).collect();
    let all = scores(&texts);
    print(&SETS.map(|(name, _)| name).join(" "), &all);
    for file in std::env::var("READING_SETS").unwrap_or_default().split_whitespace() {
        let text = std::fs::read_to_string(file).unwrap();
        print(file, &scores(&[&text]));
    }
    assert!(all.len() >= 10, "{} categories", all.len());
    for (category, score) in all.iter().filter(|(_, s)| s.lines >= 10) {
        assert!(score.exact as f64 >= LEAST * score.lines as f64, "{}", score.row(category));
    }
}
