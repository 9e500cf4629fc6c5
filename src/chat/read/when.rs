//! Times as they stand in a message, before the clock of the household settles them.

use super::senses::Part;

/// A clock time. Without `fixed`, morning or evening is open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    pub hour: u32,
    pub minute: u32,
    /// Morning or evening is settled.
    pub fixed: bool,
}

/// A day as named.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DayName {
    /// So many days before today; negative is to come.
    Back(i64),
    /// The most recent past one; 0 is Monday.
    Weekday(u32),
    /// A day of the month, with the month and year if named.
    Date(u32, Option<u32>, Option<i32>),
    /// Two numbers that may be day and month or month and day.
    Either(u32, u32),
    Month(u32),
    LastWeek,
}

/// What a time is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Role {
    /// When it happened.
    #[default]
    At,
    /// It names milk: "the 2pm one", "from monday".
    Names,
    /// Since when.
    Since,
    Until,
    /// What it is for: "for tomorrow".
    Purpose,
    /// Before or after something else.
    Beside,
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct When {
    pub day: Option<DayName>,
    pub part: Option<Part>,
    pub clock: Option<Clock>,
    /// The later of two clock times: "2 or 3".
    pub clock_latest: Option<Clock>,
    /// So many minutes ago.
    pub ago: Option<f64>,
    pub now: bool,
    pub role: Role,
}

impl When {
    pub fn clock(clock: Clock) -> When {
        When { clock: Some(clock), ..When::default() }
    }

    pub fn day(day: DayName) -> When {
        When { day: Some(day), ..When::default() }
    }

    pub fn part(part: Part) -> When {
        When { part: Some(part), ..When::default() }
    }

    pub fn ago(minutes: f64) -> When {
        When { ago: Some(minutes), ..When::default() }
    }

    /// Both said together: "yesterday" and "at 7".
    pub fn and(self, other: When) -> When {
        When {
            day: self.day.or(other.day),
            part: self.part.or(other.part),
            clock: self.clock.or(other.clock),
            clock_latest: self.clock_latest.or(other.clock_latest),
            ago: self.ago.or(other.ago),
            now: self.now || other.now,
            role: self.role,
        }
    }
}
