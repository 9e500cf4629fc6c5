//! Whoever's milk runs out is told in time, and whoever asks is answered, whatever else is to be said in that second.

use std::collections::HashMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::support::evening::{Size, evening_of};

// The limits are those of the Bot API's "My bot is hitting limits" (published): 30 a second in all, one a second in a chat.
#[tokio::test]
async fn what_is_urgent_goes_before_plans_and_answers_are_not_held_up() {
    let size = Size { plans: 150, urgent: 90, asked: (4, 5) };
    let told = evening_of(&size).await;
    let longest = |spans: &[TimeDelta]| spans.iter().max().copied().unwrap();
    assert_eq!((told.plans.len(), told.urgent.len(), told.answers.len()), (150, 90, 20));
    assert!(longest(&told.urgent) <= TimeDelta::seconds(5), "{:?}", longest(&told.urgent));
    assert!(longest(&told.answers) <= TimeDelta::seconds(2), "{:?}", longest(&told.answers));
    // At the platform's pace, and not before what is urgent.
    assert!(longest(&told.plans) <= TimeDelta::seconds(260 / 30 + 1), "{:?}", longest(&told.plans));
    let last_urgent = told.urgent.iter().max();
    assert!(told.plans.iter().all(|plan| Some(plan) >= last_urgent));
    let mut seconds: HashMap<DateTime<Utc>, usize> = HashMap::new();
    for (at, _) in &told.sent {
        for begun in [*at, *at - TimeDelta::milliseconds(999)] {
            *seconds.entry(begun).or_default() += 0;
        }
    }
    for (begun, count) in &mut seconds {
        *count =
            told.sent.iter().filter(|(at, _)| at >= begun && *at < *begun + TimeDelta::seconds(1)).count();
        assert!(*count <= 30, "{count} in the second from {begun}");
    }
}
