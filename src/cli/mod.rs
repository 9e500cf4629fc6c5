//! The commands: what is typed at a terminal, and what it prints.

mod logging;
pub mod plan;
pub mod replay;
pub mod serve;
pub mod settings;
