//! Where milk is: what kind of place, and at which site. Every place has its own clock; every site its own fridge.

use serde::{Deserialize, Serialize};

/// The kinds of place that milk lies in, from the shortest keeping to the longest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    Room,
    Cooler,
    Fridge,
    Freezer,
    DeepFreezer,
}

impl Place {
    pub const ALL: [Place; 5] =
        [Place::Room, Place::Cooler, Place::Fridge, Place::Freezer, Place::DeepFreezer];

    pub fn is_freezer(self) -> bool {
        matches!(self, Place::Freezer | Place::DeepFreezer)
    }

    /// A fridge or a freezer: it can lose its cold.
    pub fn is_cold(self) -> bool {
        self == Place::Fridge || self.is_freezer()
    }

    /// The key of this place in data files.
    pub fn key(self) -> &'static str {
        match self {
            Place::Room => "room",
            Place::Cooler => "cooler",
            Place::Fridge => "fridge",
            Place::Freezer => "freezer",
            Place::DeepFreezer => "deep_freezer",
        }
    }
}

/// Somewhere that isn't home; home is the absence of a site.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum Site {
    Work,
    Daycare,
    /// In the words that were typed.
    Named(String),
}

impl From<String> for Site {
    fn from(words: String) -> Site {
        match words.as_str() {
            "work" => Site::Work,
            "daycare" => Site::Daycare,
            _ => Site::Named(words),
        }
    }
}

impl From<Site> for String {
    fn from(site: Site) -> String {
        match site {
            Site::Work => "work".into(),
            Site::Daycare => "daycare".into(),
            Site::Named(words) => words,
        }
    }
}
