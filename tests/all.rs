//! One integration binary: every test of the project that needs more than one module.

mod keeping;
mod layers;
mod ledger;
mod plan;
mod store;
mod support;
