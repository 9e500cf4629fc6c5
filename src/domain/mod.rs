//! What milk is, how long it keeps, what a household has, and what to do next. Pure: no I/O, no clock, no wording.

pub mod act;
pub mod acts;
pub mod answer;
pub mod decide;
pub mod fact;
pub mod household;
pub mod keeping;
pub mod ledger;
pub mod milk;
pub mod place;
pub mod plan;
pub mod query;
pub mod reminders;
pub mod rules;
pub mod volume;
