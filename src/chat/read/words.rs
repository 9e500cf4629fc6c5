//! What words mean: the vocabularies in `words/*.toml`, a file a language and one for signs. Adding a language is adding
//! a file and its line in `FILES`. A word may mean several things; which one is meant is for the stages after this.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::OnceLock;

use serde::Deserialize;

use super::senses::{Day, Form, Part, Sense, SiteWord, Tag, Verb};
use super::steps::take;
use super::token::{Token, tokens};
use crate::domain::place::Place;
use crate::domain::volume::Unit;

/// The languages that can be read, by their tag.
const FILES: &[(&str, &str)] =
    &[("en", include_str!("words/en.toml")), ("es", include_str!("words/es.toml"))];
/// The group of names for milk.
const CALLED: &str = "called";
const SIGNS: &str = include_str!("words/signs.toml");

/// A language the household writes in.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Language(usize);

impl Language {
    /// The language with this tag ("es", "es-MX"), if it can be read.
    pub fn from_tag(tag: &str) -> Option<Language> {
        let head = tag.split(['-', '_']).next()?.to_lowercase();
        FILES.iter().position(|(known, _)| *known == head).map(Language)
    }

    pub fn tag(&self) -> &'static str {
        FILES[self.0].0
    }
}

/// A vocabulary as it stands in its file; in order, so that the meanings of a word always come in the same one.
#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct File {
    verbs: BTreeMap<Verb, BTreeMap<Form, Vec<String>>>,
    places: BTreeMap<Place, Vec<String>>,
    sites: BTreeMap<SiteWord, Vec<String>>,
    units: Units,
    numbers: BTreeMap<String, Vec<String>>,
    parts: BTreeMap<Part, Vec<String>>,
    days: BTreeMap<Day, Vec<String>>,
    months: BTreeMap<String, Vec<String>>,
    tags: BTreeMap<Tag, Vec<String>>,
    marks: BTreeMap<Tag, Vec<String>>,
    /// What milk is called besides its age and amount, by the key that every language shares.
    called: BTreeMap<String, Vec<String>>,
    /// What settings may be called, by setting and value.
    names: BTreeMap<String, BTreeMap<String, Vec<String>>>,
    slips: Slips,
    spelling: Spelling,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct Spelling {
    /// What is written short, and the word it stands for.
    short: HashMap<String, String>,
    /// Pronouns that are hung onto verbs.
    hung: Vec<String>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Units {
    ml: Vec<String>,
    oz: Vec<String>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Slips {
    words: Vec<String>,
    ordinary: Vec<String>,
}

/// One meaning of one word or phrase.
#[derive(Debug, Clone)]
struct Entry {
    words: Vec<Token>,
    sense: Sense,
    /// Marks hide nothing beneath them; all else makes a phrase one word of the message.
    binds: bool,
}

/// A value of a setting and one way to call it.
#[derive(Debug)]
struct Name {
    setting: String,
    value: String,
    words: Vec<Token>,
}

impl Name {
    fn of(setting: &str, value: &str, words: &str) -> Name {
        Name { setting: setting.into(), value: value.into(), words: tokens(words) }
    }
}

/// What begins with one word.
#[derive(Default)]
struct Head {
    alone: Vec<Entry>,
    /// By their second word: of some words there are hundreds.
    phrases: HashMap<String, Vec<Entry>>,
}

impl Head {
    /// What the tokens may be, as far as their first two tell.
    fn of(&self, tokens: &[Token]) -> impl Iterator<Item = &Entry> {
        let second = tokens.get(1).and_then(|token| self.phrases.get(&token.plain));
        self.alone.iter().chain(second.into_iter().flatten())
    }
}

/// The words of one language.
#[derive(Default)]
pub struct Vocabulary {
    /// By their first word.
    heads: HashMap<String, Head>,
    /// By their first word.
    names: HashMap<String, Vec<Name>>,
    /// By their first letter.
    slips: HashMap<char, Vec<String>>,
    ordinary: HashSet<String>,
    spelling: Spelling,
}

/// A meaning found in a message, and how many tokens it covers.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    pub sense: Sense,
    pub length: usize,
    pub binds: bool,
}

/// The vocabularies that one household's messages are read with.
pub struct Lexicon(Vec<&'static Vocabulary>);

impl Lexicon {
    pub fn of(languages: &[Language]) -> Lexicon {
        static ALL: OnceLock<Vec<Vocabulary>> = OnceLock::new();
        let all = ALL.get_or_init(|| {
            let texts = FILES.iter().map(|(_, text)| *text).chain([SIGNS]);
            texts.map(|text| vocabulary(text).unwrap_or_default()).collect()
        });
        let mut chosen: Vec<&Vocabulary> = languages.iter().filter_map(|l| all.get(l.0)).collect();
        if chosen.is_empty() {
            chosen.extend(all.first());
        }
        chosen.extend(all.last());
        Lexicon(chosen)
    }

    /// For each vocabulary, how many of the words only this one knows.
    pub fn leads(&self, tokens: &[Token]) -> Vec<usize> {
        let mut leads = vec![0; self.0.len()];
        for token in tokens {
            let mut knowing = (0..self.0.len()).filter(|n| self.0[*n].heads.contains_key(&token.plain));
            if let (Some(n), None) = (knowing.next(), knowing.next()) {
                leads[n] += 1;
            }
        }
        leads
    }

    /// Everything that the tokens at `at` may mean. A word with accents means only words with the same accents, if there are any.
    pub fn look_up(&self, tokens: &[Token], at: usize, leads: &[usize]) -> Vec<Found> {
        let (word, tokens) = (&tokens[at], &tokens[at..]);
        let heads: Vec<Option<&Head>> = self.0.iter().map(|v| v.heads.get(&word.plain)).collect();
        let mut all = Vec::new();
        if word.accented != word.plain {
            let just_so = |head: &'static Head| fitting(head, tokens, |a, b| a.accented == b.accented);
            all.extend(heads.iter().flatten().copied().flat_map(just_so));
        }
        if !all.is_empty() {
            return all;
        }
        let signs = self.0.len().saturating_sub(1);
        for (n, head) in heads.iter().enumerate().filter_map(|(n, head)| Some((n, (*head)?))) {
            // A word that one language has as it stands is not another's with its accents dropped ("use", "usé"),
            // unless the rest of the message is in that other language.
            let elsewhere = |token: &Token| {
                let others = self.0.iter().enumerate().filter(|(m, _)| *m != n && leads[*m] >= leads[n]);
                others.into_iter().any(|(_, v)| v.has_word(token))
            };
            // "la guardé" is no "la guarde": what has a meaning with its accents has that one only.
            let another = |typed: &Token| typed.accented != typed.plain && self.0[n].knows(typed);
            let same = |known: &Token, typed: &Token| {
                known.accented == typed.accented
                    || known.plain == typed.plain && !elsewhere(typed) && !another(typed)
            };
            // And where the message clearly is in one language, a word of it is no word of another ("once").
            let foreign =
                n < signs && (0..signs).any(|m| m != n && leads[m] >= leads[n] + 2 && self.0[m].knows(word));
            all.extend(fitting(head, tokens, same).filter(|found| !(foreign && found.length == 1)));
        }
        all
    }

    /// The values of a setting that the tokens name, in their order.
    pub fn named(&self, setting: &str, tokens: &[Token]) -> Vec<&'static str> {
        let mut found = Vec::new();
        for at in 0..tokens.len() {
            if let Some(name) = self.name_at(setting, &tokens[at..])
                && !found.contains(&name.value.as_str())
            {
                found.push(name.value.as_str());
            }
        }
        found
    }

    /// What milk is called, with the token where the name begins.
    pub fn called(&self, tokens: &[Token]) -> Vec<(usize, &'static str)> {
        let all = (0..tokens.len()).filter_map(|at| self.name_at(CALLED, &tokens[at..]).map(|n| (at, n)));
        let mut end = 0;
        all.filter(|(at, name)| {
            let apart = *at >= end;
            end = if apart { at + name.words.len() } else { end };
            apart
        })
        .map(|(at, name)| (at, name.value.as_str()))
        .collect()
    }

    /// The longest name that the tokens begin with.
    fn name_at(&self, setting: &str, tokens: &[Token]) -> Option<&'static Name> {
        let begin = |v: &&'static Vocabulary| v.names.get(&tokens.first()?.plain);
        let here = |n: &&'static Name| {
            n.setting == setting
                && n.words.len() <= tokens.len()
                && n.words.iter().zip(tokens).all(|(a, b)| a.plain == b.plain)
        };
        self.0.iter().filter_map(begin).flatten().filter(here).max_by_key(|n| n.words.len())
    }

    pub fn knows(&self, word: &str) -> bool {
        self.0.iter().any(|v| !v.alone(word).is_empty())
    }

    /// A word or phrase begins with it.
    pub fn begins(&self, word: &str) -> bool {
        self.0.iter().any(|v| v.heads.contains_key(word))
    }

    /// The word by itself may mean this.
    pub fn means(&self, word: &str, tag: Tag) -> bool {
        self.0.iter().flat_map(|v| v.alone(word)).any(|e| e.sense == Sense::Tag(tag))
    }

    /// What a word written short stands for in the language that the message is in. Where that is open, a word of several
    /// letters that no language knows is taken for it as well.
    pub fn written_out(&self, word: &str, leads: &[usize]) -> Option<&'static str> {
        let signs = self.0.len().saturating_sub(1);
        (0..signs).find_map(|n| {
            let long = self.0[n].spelling.short.get(word)?;
            let leading = (0..signs).all(|m| m == n || leads[m] < leads[n]);
            let open = word.len() > 1 && !self.begins(word) && leads[..signs].iter().all(|m| *m == leads[n]);
            (leading || open).then_some(long.as_str())
        })
    }

    /// How many letters of the word are a verb that pronouns hang on.
    pub fn verb_before_pronoun(&self, word: &str) -> Option<usize> {
        let open = |e: &Entry| matches!(e.sense, Sense::Verb(_, Form::Base | Form::Now));
        let verb = |stem: &str| self.0.iter().flat_map(|v| v.alone(stem)).any(open);
        let hung = self.0.iter().flat_map(|v| &v.spelling.hung);
        let stems = hung.filter_map(|pronoun| word.strip_suffix(pronoun.as_str()));
        stems.into_iter().find(|stem| verb(stem)).map(|stem| stem.chars().count())
    }

    /// The word that a misspelt one stands for, if there is just one.
    pub fn correct(&self, word: &str) -> Option<&'static str> {
        let length = word.chars().count();
        if length < 4 || self.0.iter().any(|v| v.ordinary.contains(word)) {
            return None;
        }
        let limit = if length >= 8 { 2 } else { 1 };
        let head = word.chars().next()?;
        let near = self.0.iter().filter_map(|v| v.slips.get(&head)).flatten().filter_map(|known| {
            if known.chars().count().abs_diff(length) > limit {
                return None;
            }
            take(1);
            let distance = strsim::osa_distance(known, word);
            (distance <= limit).then_some((distance, known.as_str()))
        });
        let mut best: Vec<(usize, &str)> = near.collect();
        best.sort();
        match best.as_slice() {
            [(first, word), (second, _), ..] if first < second => Some(word),
            [(_, word)] => Some(word),
            _ => None,
        }
    }
}

fn fitting(
    head: &Head,
    tokens: &[Token],
    same: impl Fn(&Token, &Token) -> bool,
) -> impl Iterator<Item = Found> {
    head.of(tokens)
        .inspect(|_| take(1))
        .filter(move |e| e.words.len() <= tokens.len() && e.words.iter().zip(tokens).all(|(a, b)| same(a, b)))
        .map(|e| Found { sense: e.sense, length: e.words.len(), binds: e.binds })
}

/// Reads a vocabulary; an error names the word or key that makes no sense.
fn vocabulary(text: &str) -> Result<Vocabulary, String> {
    let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
    let mut vocabulary = Vocabulary::default();
    for (verb, forms) in &file.verbs {
        for (form, words) in forms {
            vocabulary.add(words, Sense::Verb(*verb, *form), true);
        }
    }
    file.places.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Place(*k), true));
    file.sites.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Site(*k), true));
    vocabulary.add(&file.units.ml, Sense::Unit(Unit::Ml), true);
    vocabulary.add(&file.units.oz, Sense::Unit(Unit::Oz), true);
    file.parts.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Part(*k), true));
    file.days.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Day(*k), true));
    for (value, words) in &file.numbers {
        let value = value.parse().map_err(|_| format!("{value} is no number"))?;
        vocabulary.add(words, Sense::Number(value), true);
    }
    for (month, words) in &file.months {
        let month = month.parse().map_err(|_| format!("{month} is no month"))?;
        vocabulary.add(words, Sense::Month(month), true);
    }
    file.tags.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Tag(*k), true));
    for (key, words) in &file.called {
        vocabulary.add(words, Sense::Tag(Tag::Called), true);
        words.iter().for_each(|w| vocabulary.add_name(Name::of(CALLED, key, w)));
    }
    file.marks.iter().for_each(|(k, w)| vocabulary.add(w, Sense::Tag(*k), false));
    for (setting, values) in &file.names {
        for (value, words) in values {
            words.iter().for_each(|w| vocabulary.add_name(Name::of(setting, value, w)));
        }
    }
    for word in file.slips.words {
        vocabulary.slips.entry(word.chars().next().unwrap_or_default()).or_default().push(word);
    }
    vocabulary.ordinary = file.slips.ordinary.into_iter().collect();
    vocabulary.spelling = file.spelling;
    let heads = vocabulary.heads.values();
    let entries = heads.flat_map(|head| head.alone.iter().chain(head.phrases.values().flatten()));
    let known = entries.flat_map(|e| &e.words).map(|w| w.plain.clone());
    vocabulary.ordinary.extend(known.collect::<Vec<_>>());
    Ok(vocabulary)
}

impl Vocabulary {
    /// What the word means by itself.
    fn alone(&self, word: &str) -> &[Entry] {
        self.heads.get(word).map_or(&[], |head| &head.alone)
    }

    fn add_name(&mut self, name: Name) {
        if let Some(head) = name.words.first() {
            self.names.entry(head.plain.clone()).or_default().push(name);
        }
    }

    /// The word, just as written, is one of the language.
    fn knows(&self, word: &Token) -> bool {
        self.alone(&word.plain).iter().any(|e| e.words[0].accented == word.accented)
    }

    /// The word, just as written, means something by itself that matters here.
    fn has_word(&self, word: &Token) -> bool {
        let just_so = self.alone(&word.plain).iter().filter(|e| e.words[0].accented == word.accented);
        just_so.into_iter().any(|e| !matches!(e.sense, Sense::Tag(Tag::Filler | Tag::OtherThing)))
    }

    fn add(&mut self, phrases: &[String], sense: Sense, binds: bool) {
        for phrase in phrases {
            let words = tokens(phrase);
            if let Some(head) = words.first() {
                let head = self.heads.entry(head.plain.clone()).or_default();
                let entries = match words.get(1) {
                    None => &mut head.alone,
                    Some(second) => head.phrases.entry(second.plain.clone()).or_default(),
                };
                entries.push(Entry { sense, binds, words });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_vocabulary_can_be_read() {
        for (tag, text) in FILES {
            let read = vocabulary(text).unwrap_or_else(|e| panic!("{tag}: {e}"));
            assert!(read.heads.len() > 500, "{tag} has {} words", read.heads.len());
        }
        assert!(vocabulary(SIGNS).is_ok(), "{:?}", vocabulary(SIGNS).err());
    }

    #[test]
    fn slips_never_cross_near_twins() {
        let lexicon = Lexicon::of(&[Language(0)]);
        assert_eq!(lexicon.correct("pumpd"), Some("pumped"));
        assert_eq!(lexicon.correct("plumped"), Some("pumped"));
        assert_eq!(lexicon.correct("dumpd"), Some("dumped"));
        assert_eq!(lexicon.correct("frdge"), Some("fridge"));
        for word in ["fees", "thow", "bumped", "jumped", "fr"] {
            assert_eq!(lexicon.correct(word), None, "{word}");
        }
    }
}
