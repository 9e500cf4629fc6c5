//! Mishaps of a household, each a written conversation that people can read, and what the group saw of it. Looks for what
//! the program says; that the books add up is checked by the run itself.

#![allow(clippy::unwrap_used, reason = "what can't be had ends the test")]

use firstout::cli::replay::{Form, run};

fn seen(script: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    let database = format!("sqlite:{}", folder.path().join("mishap.db").display());
    let mut out = Vec::new();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(run(script, &database, Form::People, &mut out)).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn each_mishap_is_met_as_written() {
    insta::glob!("mishaps/*.txt", |path| {
        let script = std::fs::read_to_string(path).unwrap();
        insta::assert_snapshot!(seen(&script));
    });
}
