//! What several tests need to set up their world.

#![allow(clippy::unwrap_used, reason = "a test that can't go on should stop there")]

pub mod evening;
pub mod kills;
pub mod postgres;
pub mod proxy;
pub mod simulator;
