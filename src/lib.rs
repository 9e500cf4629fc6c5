//! Firstout keeps a family's expressed breast milk in order. The map of the house is in DEVELOPERS.md.

pub mod app;
pub mod chat;
pub mod cli;
pub mod clock;
pub mod domain;
pub mod edge;
pub mod scheduler;
pub mod store;

/// Reading and answering a message allocates many small things and frees them at once.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;
