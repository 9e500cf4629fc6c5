//! What milk is, how long it keeps, what a household has, and what to do next. Pure: no I/O, no clock, no wording.

pub mod act;
pub mod household;
pub mod milk;
pub mod place;
pub mod volume;
