//! Where the app meets the outside. An edge carries things over; it holds no rule, no wording of the bot's and no SQL.

pub mod room;
pub mod standin;
pub mod telegram;
