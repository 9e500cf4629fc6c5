//! What several tests need to set up their world.

pub mod postgres;
