//! The wordings: one Fluent file a language. A word that a language lacks is said in English rather than not at all.

use std::sync::LazyLock;

use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use unic_langid::LanguageIdentifier;

const FILES: [(&str, &str); 2] = [("en", include_str!("en.ftl")), ("es", include_str!("es.ftl"))];

type Bundle = FluentBundle<FluentResource>;

static BUNDLES: LazyLock<Vec<(&'static str, Bundle)>> =
    LazyLock::new(|| FILES.iter().map(|(language, text)| (*language, bundle(language, text))).collect());

fn bundle(language: &str, text: &str) -> Bundle {
    let id: LanguageIdentifier = language.parse().unwrap_or_default();
    let mut bundle = FluentBundle::new_concurrent(vec![id]);
    // Isolation marks would end up in snapshots and on labels.
    bundle.set_use_isolating(false);
    let resource = match FluentResource::try_new(text.to_owned()) {
        Ok(resource) => resource,
        // What can be read of a broken file is used; a test reads every file whole.
        Err((resource, _)) => resource,
    };
    bundle.add_resource_overriding(resource);
    bundle
}

/// The words of one language.
#[derive(Debug, Clone, Copy)]
pub struct Words {
    index: usize,
}

/// One argument of a wording.
pub type Arg<'a> = (&'a str, String);

impl Words {
    /// In the first of a household's languages that there are wordings for.
    pub fn of(languages: &[String]) -> Words {
        let known = |l: &String| FILES.iter().position(|(language, _)| language == l);
        Words { index: languages.iter().find_map(known).unwrap_or(0) }
    }

    /// The household's languages after the first, as far as there are wordings for them.
    pub fn others(languages: &[String]) -> Vec<Words> {
        let first = Words::of(languages).index;
        let known = languages.iter().filter_map(|l| FILES.iter().position(|(language, _)| language == l));
        known.filter(|index| *index != first).map(|index| Words { index }).collect()
    }

    pub fn language(self) -> &'static str {
        FILES.get(self.index).map_or("en", |(language, _)| language)
    }

    pub fn say(self, id: &str, args: &[Arg]) -> String {
        self.find(self.index, id, args).or_else(|| self.find(0, id, args)).unwrap_or_else(|| id.to_owned())
    }

    pub fn word(self, id: &str) -> String {
        self.say(id, &[])
    }

    fn find(self, index: usize, id: &str, args: &[Arg]) -> Option<String> {
        let bundle = &BUNDLES.get(index)?.1;
        let pattern = bundle.get_message(id)?.value()?;
        let mut values = FluentArgs::new();
        for (name, value) in args {
            values.set(*name, value_of(value));
        }
        let mut errors = Vec::new();
        Some(bundle.format_pattern(pattern, Some(&values), &mut errors).into_owned())
    }
}

/// Whole numbers are numbers, for plurals; everything else is text.
fn value_of(value: &str) -> FluentValue<'static> {
    match value.parse::<u32>() {
        Ok(number) => FluentValue::from(number),
        Err(_) => FluentValue::from(value.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_language_says_everything() {
        let ids = |text: &str| -> Vec<String> {
            FluentResource::try_new(text.to_owned()).expect("the file can be read whole");
            text.lines()
                .filter(|l| !l.starts_with([' ', '#', '}']))
                .filter_map(|l| l.split_once(" ="))
                .map(|(id, _)| id.to_owned())
                .collect()
        };
        let english = ids(FILES[0].1);
        for (language, text) in FILES {
            assert_eq!(ids(text), english, "{language}.ftl has the same wordings in the same order");
        }
    }

    #[test]
    fn nothing_calls_milk_safe() {
        for (language, text) in FILES {
            for word in ["safe", "segur", "seguro"] {
                assert!(!text.to_lowercase().contains(word), "{language}.ftl says {word}");
            }
        }
    }
}
