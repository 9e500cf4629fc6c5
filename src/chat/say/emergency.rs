//! Alarms, and the number to call in an emergency, where the household's zone tells the country. Where it doesn't, none is said: no
//! number is better than a wrong one.

use std::collections::HashMap;
use std::sync::LazyLock;

use chrono_tz::Tz;
use serde::Deserialize;

use crate::domain::act::What;
use crate::domain::household::Role;

use super::Speaker;

static NUMBERS: LazyLock<HashMap<String, String>> = LazyLock::new(|| {
    let file: File = toml::from_str(include_str!("emergency.toml")).unwrap_or_default();
    let zones = file.number.into_iter().flat_map(|n| {
        let number = n.number;
        n.zones.into_iter().map(move |zone| (zone, number.clone()))
    });
    zones.collect()
});

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct File {
    number: Vec<Number>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(test), allow(dead_code))] // what a number is known by is for who reads the file
struct Number {
    countries: String,
    number: String,
    source: String,
    known: String,
    zones: Vec<String>,
}

/// The emergency number where a zone lies.
pub fn number(zone: Tz) -> Option<&'static str> {
    NUMBERS.get(zone.name()).map(String::as_str)
}

impl Speaker<'_> {
    /// To the parents by name: what to do now, whom to call, and only then the log.
    pub fn alarm(&self, what: What) -> String {
        let id = match what {
            What::WrongMilk => "alarm-wrong_milk",
            What::Dilution => "alarm-dilution",
            What::Colour => "alarm-colour",
            _ => "alarm-unwell",
        };
        let household = self.ledger.household();
        let emergency = match number(household.zone) {
            Some(number) => self.words.say("emergency-known", &[("number", number.to_owned())]),
            None => self.words.word("emergency-plain"),
        };
        let line = self.words.say(id, &[("emergency", emergency)]);
        let family = household.people.iter().filter(|p| p.role != Role::ChildCare);
        let names: Vec<&str> = family.map(|p| p.name.as_str()).collect();
        let first = match names.is_empty() {
            true => line,
            false => self.words.say("alarm-to", &[("names", names.join(", ")), ("line", line)]),
        };
        let log = if what == What::Colour { "alarm-log-colour" } else { "alarm-log" };
        format!("{first}\n{}", self.words.say(log, &self.examples()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_zone_is_one_and_stands_once() {
        let file: File = toml::from_str(include_str!("emergency.toml")).unwrap();
        let zones: Vec<&String> = file.number.iter().flat_map(|n| &n.zones).collect();
        for zone in &zones {
            assert!(zone.parse::<Tz>().is_ok(), "{zone} is no zone");
        }
        assert_eq!(zones.len(), NUMBERS.len(), "a zone stands twice");
        for number in &file.number {
            assert!(number.number.chars().all(|c| c.is_ascii_digit()), "{}", number.number);
            assert!(["own", "memory"].contains(&number.known.as_str()), "{}", number.countries);
            assert!(!number.source.is_empty() && !number.countries.is_empty());
        }
    }

    /// From memory, by what each country tells its people to call.
    #[test]
    fn the_number_is_that_of_the_country() {
        for (zone, expected) in [
            (Tz::America__Chicago, Some("911")),
            (Tz::America__Toronto, Some("911")),
            (Tz::America__Mexico_City, Some("911")),
            (Tz::Europe__Madrid, Some("112")),
            (Tz::Europe__Dublin, Some("112")),
            (Tz::Europe__London, Some("999")),
            (Tz::Australia__Sydney, Some("000")),
            (Tz::Pacific__Auckland, Some("111")),
            (Tz::UTC, None),
            (Tz::Asia__Pyongyang, None),
        ] {
            assert_eq!(number(zone), expected, "{zone}");
        }
    }
}
