//! How long to wait after failures in a row: a second, doubled each time, a minute at most.

use chrono::TimeDelta;

#[derive(Debug, Default, Clone, Copy)]
pub struct Backoff {
    failures: u32,
}

impl Backoff {
    pub fn next(&mut self) -> TimeDelta {
        let wait = TimeDelta::seconds((1_i64 << self.failures.min(6)).min(60));
        self.failures += 1;
        wait
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_up_to_a_minute() {
        let mut backoff = Backoff::default();
        let waits: Vec<i64> = (0..8).map(|_| backoff.next().num_seconds()).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60]);
    }
}
