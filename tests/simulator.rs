//! Weeks of whole households, with all that goes wrong in them. A failure names the command that shows it again.

use crate::support::simulator::{Options, simulate};

async fn weeks(options: Options) {
    let ran = simulate(options).await;
    let ran = ran.unwrap_or_else(|what| panic!("{what}\n{}", options.again()));
    assert!(
        ran.messages > 50 && ran.entries > 30 && ran.reminders > 0,
        "{options:?} did next to nothing: {ran:?}"
    );
}

#[tokio::test]
async fn a_household_lives_through_failing_writes_and_ends_of_the_program() {
    for seed in 1..=3 {
        weeks(Options { seed, days: 6, homes: 1, faults: 60 }).await;
    }
}

#[tokio::test]
async fn households_do_not_see_each_other() {
    weeks(Options { seed: 4, days: 6, homes: 3, faults: 30 }).await;
}

#[tokio::test]
async fn the_same_seed_is_the_same_life() {
    let options = Options { seed: 5, days: 4, homes: 1, faults: 60 };
    assert_eq!(simulate(options).await, simulate(options).await);
}
