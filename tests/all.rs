//! One integration binary: every test of the project that needs more than one module.
#![allow(clippy::unwrap_used)] // a test that can't go on has failed

mod browser;
mod categories;
mod conversations;
mod copies;
mod dependencies;
mod evening;
mod faults;
mod fuzzed;
mod isolation;
mod keeping;
mod kills;
mod layers;
mod ledger;
mod machine;
mod migrations;
mod mishaps;
mod plan;
mod processes;
mod reading;
mod room;
mod simulator;
mod standin;
mod store;
mod support;
mod telegram;
mod times;
