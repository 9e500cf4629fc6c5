//! Rule sets: one publisher's published keeping times each, read from the data file beside this one. A figure that a
//! publisher does not give is absent here and is never taken from another set. All differences between publishers are data.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::act::ThawHow;
use super::household::Temperature;

mod file;
pub mod span;

pub use span::Span;

/// What a figure is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Milk {
    Fresh,
    /// Never frozen, and has been cold before it came where it is.
    Chilled,
    Frozen,
    Thawed,
    Warmed,
    Leftover,
}

/// The kinds of place that publishers tell apart. A freezer here has its own door.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    Room,
    Cooler,
    Fridge,
    IceCompartment,
    Freezer,
    DeepFreezer,
}

/// From which moment a publisher counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Start {
    Expressed,
    /// Put where it is.
    Placed,
    FirstFrozen,
    LeftFreezer,
    FullyThawed,
    Warmed,
    OutOfCold,
    FeedBegan,
    FeedEnded,
    /// Handed over to the child care.
    Received,
}

/// How milk was thawed, where a publisher tells the ways apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    Fridge,
    WarmWater,
    OnTheWay,
}

/// How the project knows what a publisher says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// Read on the publisher's own page.
    Own,
    /// Read in somebody else's copy or summary.
    Copy,
    /// Recalled, not read.
    Memory,
}

#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    pub publisher: String,
    pub title: String,
    pub year: Option<u16>,
}

/// One published time.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    pub milk: Vec<Milk>,
    /// Empty: anywhere.
    pub places: Vec<Spot>,
    /// Empty: however it was thawed.
    pub ways: Vec<Way>,
    pub best: Option<Span>,
    pub limit: Span,
    pub start: Start,
    /// The warmest that the publisher allows, in each scale as printed there.
    pub max_c: Option<f64>,
    pub max_f: Option<f64>,
    /// The publisher's answer for an unknown temperature.
    pub or_unknown: bool,
    /// Only where the household declares very clean conditions.
    pub very_clean: bool,
    /// The condition as data for a list of sources, not for a message.
    pub condition: Option<String>,
    /// The range as printed, where the limit is its lower end.
    pub printed: Option<String>,
    pub source: Source,
    pub known: Known,
    /// Where the best comes from another source than the limit.
    pub best_source: Option<(Source, Known)>,
}

/// How long a place stays cold without power while it is kept shut.
#[derive(Debug, Clone, PartialEq)]
pub struct Outage {
    pub place: Spot,
    pub fill: Fill,
    pub limit: Span,
    pub source: Source,
    pub known: Known,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fill {
    Any,
    Full,
    Half,
}

/// A rule that is no time.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    pub topic: Topic,
    pub verdict: Option<Verdict>,
    /// In English; a language may have its own words for it under the set's key and the topic.
    pub text: InWords,
    pub source: Source,
    pub known: Known,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    Refreezing,
    Combining,
    /// Milk found after a power cut.
    AfterCut,
    TooWarm,
    UseSoon,
    Warming,
    Label,
    GoesHome,
    WrongMilk,
    Elsewhere,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    Never,
    WhileIcy,
    OnceCooled,
}

/// Whom a set speaks to. A child care's set says only what it adds to the family's own.
impl Spot {
    pub fn is_frozen(self) -> bool {
        matches!(self, Spot::IceCompartment | Spot::Freezer | Spot::DeepFreezer)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    Family,
    ChildCare,
}

/// Words of a set in English, and as far as there are, in other languages.
#[derive(Debug, Clone, PartialEq)]
pub struct InWords {
    pub text: String,
    pub other: BTreeMap<String, String>,
}

impl InWords {
    pub fn of(&self, language: &str) -> &str {
        self.other.get(language).unwrap_or(&self.text)
    }
}

#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    pub key: String,
    /// Short, for "use by … (NAME)".
    pub name: InWords,
    pub audience: Audience,
    /// The family enters the figures themselves, as their care team told them; those here only stand in until then.
    pub entered: bool,
    pub figures: Vec<Figure>,
    pub outages: Vec<Outage>,
    pub notes: Vec<Note>,
}

/// What is asked of a set: one kind of milk in one kind of place, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Situation {
    pub milk: Milk,
    /// `None`: wherever it is.
    pub place: Option<Spot>,
    pub way: Option<ThawHow>,
    pub temperature: Option<Temperature>,
    pub very_clean: bool,
}

impl Situation {
    pub fn of(milk: Milk, place: Option<Spot>) -> Situation {
        Situation { milk, place, way: None, temperature: None, very_clean: false }
    }
}

impl Rules {
    /// The publisher's figure for a situation. An unknown temperature takes the publisher's figure for that, else counts
    /// as met. Of several that could apply the file puts the stricter first.
    pub fn figure(&self, asked: &Situation) -> Option<&Figure> {
        let mut fitting = self.figures.iter().filter(|f| f.fits(asked)).peekable();
        if asked.temperature.is_none() && fitting.clone().any(|f| f.or_unknown) {
            return fitting.find(|f| f.or_unknown);
        }
        fitting.next()
    }

    pub fn note(&self, topic: Topic) -> Option<&Note> {
        self.notes.iter().find(|n| n.topic == topic)
    }

    pub fn outage(&self, place: Spot, fill: Fill) -> Option<&Outage> {
        self.outages.iter().find(|o| o.place == place && (o.fill == fill || o.fill == Fill::Any))
    }

    pub fn is_for_families(&self) -> bool {
        self.audience == Audience::Family
    }
}

impl Figure {
    fn fits(&self, asked: &Situation) -> bool {
        self.milk.contains(&asked.milk)
            && (self.places.is_empty() || asked.place.is_none_or(|p| self.places.contains(&p)))
            && (!self.very_clean || asked.very_clean)
            && self.thawed_so(asked.way)
            && asked.temperature.is_none_or(|t| self.allows(t))
    }

    fn thawed_so(&self, how: Option<ThawHow>) -> bool {
        let way = match how {
            None => return true,
            Some(ThawHow::Fridge) => Some(Way::Fridge),
            Some(ThawHow::WarmWater) => Some(Way::WarmWater),
            Some(ThawHow::Room) => None,
        };
        self.ways.is_empty() || way.is_some_and(|w| self.ways.contains(&w))
    }

    /// Publishers print rounded pairs (4 °C / 40 °F, which is 4.4 °C): what is as cold as one of the two is cold enough, in
    /// whichever scale it was measured.
    pub fn allows(&self, temperature: Temperature) -> bool {
        let printed = [self.max_c.map(Temperature::Celsius), self.max_f.map(Temperature::Fahrenheit)];
        let mut bounds = printed.into_iter().flatten().peekable();
        bounds.peek().is_none() || bounds.any(|bound| temperature.fahrenheit() <= bound.fahrenheit())
    }

    /// Whether the figure holds only up to some temperature.
    pub fn is_conditional(&self) -> bool {
        self.max_c.is_some() || self.max_f.is_some()
    }
}

const FILES: [&str; 12] = [
    include_str!("us-cdc.toml"),
    include_str!("abm-2017.toml"),
    include_str!("uk-nhs.toml"),
    include_str!("au-nhmrc.toml"),
    include_str!("ca-bc.toml"),
    include_str!("hk-dh.toml"),
    include_str!("care-team.toml"),
    include_str!("us-wa.toml"),
    include_str!("us-or.toml"),
    include_str!("us-aap.toml"),
    include_str!("us-cfoc.toml"),
    include_str!("au-tas.toml"),
];

static ALL: LazyLock<Vec<Rules>> =
    LazyLock::new(|| FILES.iter().filter_map(|text| file::parse(text).ok()).collect());

/// Every rule set, in a fixed order.
pub fn all() -> &'static [Rules] {
    &ALL
}

pub fn find(key: &str) -> Option<&'static Rules> {
    all().iter().find(|r| r.key == key)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_can_be_read() {
        for text in FILES {
            file::parse(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        }
        assert_eq!(all().len(), FILES.len());
    }

    #[test]
    fn the_same_temperature_is_judged_the_same_in_both_scales() {
        // Published: CDC, "4 °C / 40 °F"; 40 °F is 4.44 °C. BfN prints 4 °C alone.
        let fridge = |key| {
            let asked = Situation::of(Milk::Fresh, Some(Spot::Fridge));
            find(key).unwrap().figures.iter().find(move |f| f.fits(&asked) && !f.or_unknown).unwrap()
        };
        for tenths in 350..450 {
            let f = f64::from(tenths) / 10.0;
            let told = [Temperature::Fahrenheit(f), Temperature::Celsius((f - 32.0) / 1.8 - 1e-9)];
            assert_eq!(told.map(|t| fridge("us-cdc").allows(t)), [f <= 40.0; 2], "{f} °F");
            assert_eq!(told.map(|t| fridge("uk-nhs").allows(t)), [f <= 39.2; 2], "{f} °F");
        }
        assert!(
            fridge("us-cdc").allows(Temperature::Celsius(4.4)),
            "40 °F, as it is rounded when it is told"
        );
        assert!(!fridge("us-cdc").allows(Temperature::Celsius(4.5)));
        assert!(!fridge("uk-nhs").allows(Temperature::Celsius(4.1)));
    }
}
