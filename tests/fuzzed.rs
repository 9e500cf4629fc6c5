//! Messages that were made up to find faults (`fuzz/`): each is read without a panic, and what is always true of a reading
//! is true of theirs.

use serde_json::Value;

#[path = "../fuzz/invariants.rs"]
mod invariants;

#[test]
fn made_up_messages_keep_the_promises_of_a_reading() {
    let mut read = 0;
    for line in include_str!("../fuzz/corpus.jsonl").lines() {
        let kept: Value = serde_json::from_str(line).unwrap();
        let household = kept["household"].as_u64().unwrap() as u8;
        let reading = invariants::check(kept["text"].as_str().unwrap(), &invariants::household(household));
        let again = invariants::check(kept["text"].as_str().unwrap(), &invariants::household(household));
        assert_eq!(reading, again, "{line}");
        read += 1;
    }
    assert!(read >= 100, "{read} messages");
}
