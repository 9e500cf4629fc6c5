//! Any bytes as a message: the first byte chooses the household, the rest is what was typed. Run by `fuzz/run.sh`.
#![no_main]

use firstout::chat::read::{read, steps};
use libfuzzer_sys::fuzz_target;

#[path = "../invariants.rs"]
mod invariants;

/// As the program itself has it; here it is a third of the time.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// The most work for a character. What costs most is a sentence that is read again after each correction before it.
const MOST_STEPS: u64 = 20_000;

fuzz_target!(init: {
    // The vocabularies are compiled once, at the first message; that is no work of an input's.
    let _ = read("pumped", &invariants::household(4));
}, |data: &[u8]| {
    let Some((household, typed)) = data.split_first() else { return };
    let text = String::from_utf8_lossy(typed);
    let ctx = invariants::household(*household);
    let _ = steps::taken();
    let reading = invariants::check(&text, &ctx);
    let (taken, most) = (steps::taken(), MOST_STEPS * (text.chars().count() as u64 + 1));
    assert!(taken <= most, "{taken} steps, at most {most}");
    // One input in eight is read twice: the same words mean the same.
    if typed.len() % 8 == 0 {
        assert_eq!(reading, read(&text, &ctx));
    }
});
