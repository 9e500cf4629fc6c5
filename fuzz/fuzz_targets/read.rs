//! Any bytes as a message: the first byte chooses the household, the rest is what was typed. Run by `fuzz/run.sh`.
#![no_main]

use libfuzzer_sys::fuzz_target;

#[path = "../invariants.rs"]
mod invariants;

fuzz_target!(|data: &[u8]| {
    let Some((household, typed)) = data.split_first() else { return };
    let text = String::from_utf8_lossy(typed);
    let ctx = invariants::household(*household);
    let reading = invariants::check(&text, &ctx);
    // One input in eight is read twice: the same words mean the same.
    if typed.len() % 8 == 0 {
        assert_eq!(reading, firstout::chat::read::read(&text, &ctx));
    }
});
