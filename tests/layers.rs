//! The layers of the house: each imports only from those to its right, and the pure ones touch nothing of the world.

use std::fs;
use std::path::{Path, PathBuf};

/// From left to right; a layer may import from itself and what follows it, as far as the second list allows.
const LAYERS: [(&str, &[&str]); 9] = [
    ("cli", &["app", "chat", "domain", "edge", "scheduler", "store", "clock"]),
    ("edge", &["app", "clock", "scheduler"]),
    ("scheduler", &["app", "clock"]),
    ("app", &["domain", "chat", "render", "store"]),
    ("store", &["domain"]),
    ("render", &["domain"]),
    ("chat", &["domain"]),
    ("domain", &[]),
    ("clock", &[]),
];

const PURE: [&str; 3] = ["domain", "chat", "render"];
const WORLDLY: [&str; 10] =
    ["tokio", "sqlx", "teloxide", "axum", "std::fs", "std::env", "std::net", "rand", "reqwest", "async "];

fn sources(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The first folder or file below `src`.
fn layer_of(path: &Path) -> String {
    let first = path.strip_prefix("src").unwrap().components().next().unwrap();
    first.as_os_str().to_str().unwrap().trim_end_matches(".rs").to_owned()
}

/// The code of a file without its tests and comments, each line with its number.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .take_while(|(_, line)| !line.starts_with("#[cfg(test)]"))
        .map(|(i, line)| (i + 1, line.split("//").next().unwrap_or_default()))
}

fn imported(line: &str) -> impl Iterator<Item = &str> {
    line.match_indices("crate::").map(|(i, m)| {
        let rest = &line[i + m.len()..];
        &rest[..rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len())]
    })
}

#[test]
fn a_layer_imports_only_from_layers_to_its_right() {
    let mut files = Vec::new();
    sources(Path::new("src"), &mut files);
    let mut wrong = Vec::new();
    for path in &files {
        let text = fs::read_to_string(path).unwrap();
        let layer = layer_of(path);
        let Some((_, allowed)) = LAYERS.iter().find(|(name, _)| *name == layer) else { continue };
        for (number, line) in code(&text) {
            for other in imported(line) {
                let known = LAYERS.iter().any(|(name, _)| *name == other);
                if known && other != layer && !allowed.contains(&other) {
                    wrong.push(format!("{}:{number}: {layer} imports {other}", path.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn pure_layers_touch_nothing_of_the_world() {
    let mut files = Vec::new();
    sources(Path::new("src"), &mut files);
    let mut wrong = Vec::new();
    for path in files.iter().filter(|p| PURE.contains(&layer_of(p).as_str())) {
        let text = fs::read_to_string(path).unwrap();
        for (number, line) in code(&text) {
            for word in WORLDLY.iter().filter(|w| line.contains(*w)) {
                wrong.push(format!("{}:{number}: {word}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_says_what_it_is_for_and_stays_small() {
    let mut files = Vec::new();
    sources(Path::new("src"), &mut files);
    let mut wrong = Vec::new();
    for path in &files {
        let text = fs::read_to_string(path).unwrap();
        if !text.starts_with("//!") {
            wrong.push(format!("{}:1: does not open with //!", path.display()));
        }
        let lines = code(&text).count();
        if lines > 500 {
            wrong.push(format!("{}: {lines} lines before its tests", path.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
