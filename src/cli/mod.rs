//! The commands: what is typed at a terminal, and what it prints.

pub mod plan;
pub mod replay;
