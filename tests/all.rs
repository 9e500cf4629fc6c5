//! One integration binary: every test of the project that needs more than one module.

mod reading;
