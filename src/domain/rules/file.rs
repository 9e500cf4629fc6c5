//! A rule set's data file. Every figure in it names its source by the key of a table in the same file; a key, a field
//! or a length of time that can't be read makes the whole file an error, never a figure that is left out.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{
    Audience, Figure, Fill, InWords, Known, Milk, Note, Outage, Rules, Source, Span, Spot, Start, Topic,
};
use super::{Verdict, Way};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    key: String,
    name: String,
    #[serde(default)]
    name_in: BTreeMap<String, String>,
    audience: Audience,
    #[serde(default)]
    entered: bool,
    sources: BTreeMap<String, Source>,
    #[serde(default)]
    figure: Vec<FigureEntry>,
    #[serde(default)]
    outage: Vec<OutageEntry>,
    #[serde(default)]
    note: Vec<NoteEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FigureEntry {
    milk: Vec<Milk>,
    #[serde(default)]
    places: Vec<Spot>,
    #[serde(default)]
    ways: Vec<Way>,
    best: Option<Span>,
    limit: Span,
    start: Start,
    max_c: Option<f64>,
    max_f: Option<f64>,
    #[serde(default)]
    or_unknown: bool,
    #[serde(default)]
    very_clean: bool,
    condition: Option<String>,
    printed: Option<String>,
    source: String,
    known: Known,
    best_source: Option<String>,
    best_known: Option<Known>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OutageEntry {
    place: Spot,
    fill: Fill,
    limit: Span,
    source: String,
    known: Known,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoteEntry {
    topic: Topic,
    verdict: Option<Verdict>,
    text: String,
    #[serde(default, rename = "in")]
    other: BTreeMap<String, String>,
    source: String,
    known: Known,
}

pub fn parse(text: &str) -> Result<Rules, String> {
    let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
    let sources = Sources(&file.sources);
    Ok(Rules {
        figures: file.figure.into_iter().map(|f| sources.figure(f)).collect::<Result<_, _>>()?,
        outages: file.outage.into_iter().map(|o| sources.outage(o)).collect::<Result<_, _>>()?,
        notes: file.note.into_iter().map(|n| sources.note(n)).collect::<Result<_, _>>()?,
        key: file.key,
        name: InWords { text: file.name, other: file.name_in },
        audience: file.audience,
        entered: file.entered,
    })
}

struct Sources<'f>(&'f BTreeMap<String, Source>);

impl Sources<'_> {
    fn named(&self, key: &str) -> Result<Source, String> {
        self.0.get(key).cloned().ok_or_else(|| format!("there is no source {key:?}"))
    }

    fn figure(&self, entry: FigureEntry) -> Result<Figure, String> {
        let best_source = match &entry.best_source {
            Some(key) => Some((self.named(key)?, entry.best_known.unwrap_or(entry.known))),
            None => None,
        };
        Ok(Figure {
            source: self.named(&entry.source)?,
            milk: entry.milk,
            places: entry.places,
            ways: entry.ways,
            best: entry.best,
            limit: entry.limit,
            start: entry.start,
            max_c: entry.max_c,
            max_f: entry.max_f,
            or_unknown: entry.or_unknown,
            very_clean: entry.very_clean,
            condition: entry.condition,
            printed: entry.printed,
            known: entry.known,
            best_source,
        })
    }

    fn outage(&self, entry: OutageEntry) -> Result<Outage, String> {
        Ok(Outage {
            source: self.named(&entry.source)?,
            place: entry.place,
            fill: entry.fill,
            limit: entry.limit,
            known: entry.known,
        })
    }

    fn note(&self, entry: NoteEntry) -> Result<Note, String> {
        Ok(Note {
            source: self.named(&entry.source)?,
            topic: entry.topic,
            verdict: entry.verdict,
            text: InWords { text: entry.text, other: entry.other },
            known: entry.known,
        })
    }
}
