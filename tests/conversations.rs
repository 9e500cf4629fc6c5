//! Whole conversations, as people read them: every script in `tests/conversations/` and the demo's fortnight, run through
//! the same code as a real group. What the group saw is held beside the script; anything else that is said fails.
//! After a wanted change: `INSTA_UPDATE=always cargo test conversations`, and read every difference.

use std::fs;
use std::path::{Path, PathBuf};

use firstout::cli::replay::{self, Form};
use serde_json::Value;

fn replayed(path: &Path, form: Form) -> String {
    let text = fs::read_to_string(path).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let mut out = Vec::new();
    let run = replay::run(&text, "sqlite::memory:", form, &mut out);
    runtime.block_on(run).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    String::from_utf8(out).unwrap()
}

fn scripts() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let listed = fs::read_dir(root.join("tests/conversations")).unwrap().map(|entry| entry.unwrap().path());
    let mut scripts: Vec<PathBuf> =
        listed.filter(|path| path.extension().is_some_and(|e| e == "txt")).collect();
    scripts.push(root.join("demo/household.txt"));
    scripts.sort();
    scripts
}

#[test]
fn every_conversation_reads_as_it_is_written() {
    insta::glob!("conversations/*.txt", |path| {
        let script = fs::read_to_string(path).unwrap();
        let shows = script.lines().next().unwrap().trim_start_matches("# ").to_owned();
        insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "conversations", description => shows, omit_expression => true }, {
            insta::assert_snapshot!("seen", replayed(path, Form::People));
        });
    });
}

#[test]
fn the_demo_reads_as_it_is_written() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/household.txt");
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "conversations", omit_expression => true }, {
        insta::assert_snapshot!("demo", replayed(&demo, Form::People));
    });
}

#[test]
fn a_script_prints_the_same_bytes_each_time_and_loses_no_milk() {
    let scripts = scripts();
    assert!(scripts.len() > 40, "only {} scripts were found", scripts.len());
    for script in scripts {
        let first = replayed(&script, Form::Json);
        assert_eq!(first, replayed(&script, Form::Json), "{}", script.display());
        assert_conserved(&script, &first);
    }
}

/// Pumped + stored + found = fed + discarded + donated + missing + what is left, to the microlitre.
fn assert_conserved(script: &Path, printed: &str) {
    let stock: Value = serde_json::from_str(printed.lines().last().unwrap()).unwrap();
    assert_eq!(stock["type"], "stock", "{}", script.display());
    let sum = |keys: &[&str]| -> i64 {
        let microlitres = |key: &&str| {
            let ml = stock[format!("{key}_ml")].as_f64();
            (ml.unwrap_or_else(|| panic!("{key}_ml is missing")) * 1000.0).round() as i64
        };
        keys.iter().map(microlitres).sum()
    };
    let came = sum(&["pumped", "stored", "found"]);
    let went = sum(&["fed", "discarded", "donated", "missing"]);
    let cold = sum(&["fridge", "freezer", "deep_freezer", "cooler", "room"]);
    let aside = sum(&["started", "held", "suspect", "past", "unknown", "sent"]);
    assert_eq!(came, went + cold + aside, "{}: {stock}", script.display());
    let held: f64 = printed.lines().filter_map(left_in).sum();
    assert_eq!((held * 1000.0).round() as i64, cold + aside, "{}", script.display());
}

/// What a container that isn't gone still holds.
fn left_in(line: &str) -> Option<f64> {
    let object: Value = serde_json::from_str(line).unwrap();
    let left = object["gone"].is_null() || object["gone"] == "sent";
    object["ml"].as_f64().filter(|_| object["type"] == "container" && left)
}
