//! The commands, each over the same app that serves a group.

pub mod read;
