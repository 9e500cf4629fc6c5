//! Where the app meets the outside. An edge carries things over; it holds no rule and no wording of the bot's.

pub mod room;
pub mod standin;
