//! One integration binary: every test of the project that needs more than one module.

mod layers;
mod ledger;
mod store;
mod support;
