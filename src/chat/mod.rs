//! Text to meaning and meaning to text. Pure: no I/O, no clock; words of a language stand in data files only.

pub mod read;
pub mod say;
