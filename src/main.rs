//! Settings, store, edges, signal.

fn main() {}
