//! Firstout keeps a family's expressed breast milk in order. The map of the house is in DEVELOPERS.md.

pub mod app;
pub mod chat;
pub mod cli;
pub mod clock;
pub mod domain;
pub mod edge;
pub mod scheduler;
pub mod store;
