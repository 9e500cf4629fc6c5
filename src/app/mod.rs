//! The one path through the house: `handle` for what people do, `tick` for what time does.

pub mod wire;
