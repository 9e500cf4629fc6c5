//! Where the house meets the world. An edge translates and carries; it holds no rule, no wording and no SQL.

pub mod telegram;
