//! What is done from the command line, without a network.

pub mod plan;
