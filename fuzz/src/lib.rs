//! The reader and what it stands on, out of the main package's own sources, and nothing else: it is pure, so it builds
//! without the store and the network, and only the reader is watched while inputs are made up.
#![allow(dead_code, reason = "whoever else uses the domain isn't here")]

#[path = "../../src/domain"]
pub mod domain {
    pub mod act;
    pub mod place;
    pub mod volume;
}

#[path = "../../src/chat"]
pub mod chat {
    pub mod read;
}
