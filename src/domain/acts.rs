//! The acts of an entry: as they are, or as they were written. Of the thousands of a household nobody looks at any but the
//! newest, and text is a fraction of what an act takes in memory; whoever does look at them finds them all the same.

use std::ops::Deref;
use std::sync::OnceLock;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;

use super::act::Act;

#[derive(Debug, Clone, Default)]
pub struct Acts {
    /// Present where `read` may be missing.
    written: Option<Box<str>>,
    read: OnceLock<Vec<Act>>,
}

impl Acts {
    /// As they stand in an entry that was stored; nothing is looked at before somebody asks.
    pub fn written(text: &RawValue) -> Acts {
        Acts { written: Some(text.get().into()), read: OnceLock::new() }
    }

    /// From now on they are kept as text.
    pub fn put_away(&mut self) {
        if self.written.is_none() {
            self.written = serde_json::to_string(self).ok().map(Into::into);
        }
        if self.written.is_some() {
            self.read = OnceLock::new();
        }
    }
}

impl From<Vec<Act>> for Acts {
    fn from(acts: Vec<Act>) -> Acts {
        Acts { written: None, read: acts.into() }
    }
}

impl Deref for Acts {
    type Target = [Act];

    fn deref(&self) -> &[Act] {
        let read = || self.written.as_deref().and_then(|text| serde_json::from_str(text).ok());
        self.read.get_or_init(|| read().unwrap_or_default())
    }
}

impl PartialEq for Acts {
    fn eq(&self, other: &Acts) -> bool {
        **self == **other
    }
}

impl Serialize for Acts {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self[..].serialize(to)
    }
}

impl<'de> Deserialize<'de> for Acts {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Acts, D::Error> {
        Vec::deserialize(from).map(Acts::from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::act::Kind;

    #[test]
    fn what_was_put_away_is_found_as_it_was() {
        let before = Acts::from(vec![Act::new(Kind::Feed), Act::new(Kind::Pump)]);
        let mut after = before.clone();
        after.put_away();
        assert!(after.read.get().is_none(), "only text is kept");
        assert_eq!(after, before);
    }
}
