//! A household: where it lives, whose rules it follows, who is in it. Every setting is set by the same key and the same
//! form of value, whether in a script's header, in a seed or by a sentence in the group.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, NaiveTime, Weekday};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::fact::Marks;
use super::rules::Span;
use super::volume::{Unit, Volume};

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Household {
    pub zone: Tz,
    /// The key of the rule set.
    pub rules: String,
    pub units: Unit,
    pub languages: Vec<String>,
    pub quiet: Option<(NaiveTime, NaiveTime)>,
    pub people: Vec<Person>,
    pub children: Vec<Child>,
    pub freezer: FreezerKind,
    pub fridge: Option<Temperature>,
    pub room: Option<Temperature>,
    /// The key of the child care's rules.
    pub child_care: Option<String>,
    pub need: Option<Need>,
    pub away: (NaiveTime, NaiveTime),
    /// From Monday on.
    pub workdays: [bool; 7],
    pub plan_at: NaiveTime,
    /// The household's own limits, by the clock's name: stricter than the publisher's, or the care team's figures.
    pub limits: BTreeMap<String, Span>,
    /// The household declares very clean conditions, on which some publishers give longer figures.
    pub very_clean: bool,
    /// What milk is called that is to be used before other milk, and that is only to be used by label.
    pub use_first: Vec<String>,
    pub avoid: Vec<String>,
}

/// Cautious defaults: what holds until somebody says otherwise.
impl Default for Household {
    fn default() -> Household {
        Household {
            zone: Tz::UTC,
            rules: "us-cdc".into(),
            units: Unit::Ml,
            languages: vec!["en".into()],
            quiet: None,
            people: Vec::new(),
            children: Vec::new(),
            freezer: FreezerKind::OwnDoor,
            fridge: None,
            room: None,
            child_care: None,
            need: None,
            away: (hour(8), hour(17)),
            workdays: [true, true, true, true, true, false, false],
            plan_at: hour(20),
            limits: BTreeMap::new(),
            very_clean: false,
            use_first: Vec::new(),
            avoid: Vec::new(),
        }
    }
}

fn hour(hour: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default()
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    pub name: String,
    pub role: Role,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Pumps,
    Helps,
    ChildCare,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Child {
    pub name: String,
    pub born: NaiveDate,
    pub early: bool,
    /// Whose milk it drinks, where several parents pump for different children.
    #[serde(default)]
    pub of: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FreezerKind {
    OwnDoor,
    IceCompartment,
}

/// A temperature as it was given.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Temperature {
    Celsius(f64),
    Fahrenheit(f64),
}

impl Temperature {
    pub fn fahrenheit(self) -> f64 {
        match self {
            Temperature::Celsius(c) => c * 1.8 + 32.0,
            Temperature::Fahrenheit(f) => f,
        }
    }
}

/// How many bottles of which size are drunk on a day away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Need {
    pub bottles: u32,
    pub size: Volume,
}

impl Need {
    pub fn total(self) -> Volume {
        Volume::from_microlitres(self.size.microlitres() * i64::from(self.bottles))
    }
}

/// A setting that can't be taken: which, what was given, and an example of what would do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadSetting {
    #[error("there is no setting \"{0}\"")]
    Unknown(String),
    #[error("{key}: \"{value}\" can't be read; for example: {example}")]
    Value { key: String, value: String, example: &'static str },
}

/// What the settings of the household's own limits end with; before it stands the clock's name.
const LIMIT: &str = " limit";

/// Every setting with an example of its value.
const EXAMPLES: [(&str, &str); 25] = [
    ("zone", "America/Chicago"),
    ("rules", "us-cdc"),
    ("units", "ml"),
    ("languages", "en,es"),
    ("quiet", "22:00-06:00"),
    ("people", "Ana pumps, Ben, Dora child care"),
    ("child", "Lio 2027-01-05"),
    ("freezer", "own door"),
    ("fridge", "4 C"),
    ("room", "22 C"),
    ("child care", "us-or"),
    ("need", "3 x 120"),
    ("away", "08:00-17:00"),
    ("workdays", "mon-fri"),
    ("plan at", "20:00"),
    ("room limit", "3 h"),
    ("cooler limit", "12 h"),
    ("fridge limit", "48 h"),
    ("freezer limit", "3 months"),
    ("thawed limit", "24 h"),
    ("warmed limit", "1 h"),
    ("leftover limit", "1 h"),
    ("very clean", "yes"),
    ("use first", "colostrum"),
    ("avoid", "onion"),
];

impl Household {
    /// Changes one setting; the household is unchanged if the value can't be read. `known` says whether a rule set
    /// (or child-care rule) of that key exists.
    pub fn set(&mut self, key: &str, value: &str, known: &dyn Fn(&str) -> bool) -> Result<(), BadSetting> {
        let key = key.trim().to_lowercase();
        let Some((_, example)) = EXAMPLES.iter().find(|(k, _)| *k == key) else {
            return Err(BadSetting::Unknown(key));
        };
        let value = value.trim();
        self.apply(&key, value, known).ok_or_else(|| BadSetting::Value {
            key: key.clone(),
            value: value.into(),
            example,
        })
    }

    fn apply(&mut self, key: &str, value: &str, known: &dyn Fn(&str) -> bool) -> Option<()> {
        match key {
            "zone" => self.zone = value.parse().ok()?,
            "rules" => self.rules = Some(value).filter(|v| known(v))?.into(),
            "units" => self.units = unit(value)?,
            "languages" => self.languages = languages(value)?,
            "quiet" if is_none(value) => self.quiet = None,
            "quiet" => self.quiet = Some(span(value)?),
            "people" => self.people = people(value)?,
            "child" => self.children.push(child(value)?),
            "freezer" => self.freezer = freezer(value)?,
            "fridge" => self.fridge = Some(temperature(value)?),
            "room" => self.room = Some(temperature(value)?),
            "child care" if is_none(value) => self.child_care = None,
            "child care" => self.child_care = Some(Some(value).filter(|v| known(v))?.into()),
            "need" if is_none(value) => self.need = None,
            "need" => self.need = Some(need(value, self.units)?),
            "away" => self.away = span(value)?,
            "workdays" => self.workdays = workdays(value)?,
            "plan at" => self.plan_at = time(value)?,
            "use first" => self.use_first = tags(value),
            "avoid" => self.avoid = tags(value),
            "very clean" => self.very_clean = yes_or_no(value)?,
            _ if key.ends_with(LIMIT) => self.limit(key.strip_suffix(LIMIT)?, value)?,
            _ => return None,
        }
        Some(())
    }

    fn limit(&mut self, clock: &str, value: &str) -> Option<()> {
        if is_none(value) {
            self.limits.remove(clock);
        } else {
            self.limits.insert(clock.into(), Span::try_from(value.to_owned()).ok()?);
        }
        Some(())
    }

    pub fn works_on(&self, day: NaiveDate) -> bool {
        self.workdays[day.weekday().num_days_from_monday() as usize]
    }

    /// Whether a civil time lies in the quiet hours.
    pub fn is_quiet(&self, at: NaiveTime) -> bool {
        self.quiet.is_some_and(
            |(from, to)| {
                if from <= to { from <= at && at < to } else { at >= from || at < to }
            },
        )
    }

    pub fn person(&self, name: &str) -> Option<&Person> {
        self.people.iter().find(|p| p.name == name)
    }

    /// The parents who pump.
    pub fn pumping(&self) -> impl Iterator<Item = &str> {
        self.people.iter().filter(|p| p.role == Role::Pumps).map(|p| p.name.as_str())
    }

    /// Milk of several parents is never pooled; of one it needs no owner.
    pub fn several_owners(&self) -> bool {
        self.pumping().nth(1).is_some()
    }

    pub fn several_children(&self) -> bool {
        self.children.len() > 1
    }

    /// A child by its name or the beginning of it, where no other child's name begins so.
    pub fn child_called(&self, words: &str) -> Option<&Child> {
        one_called(&self.children, words, |c| &c.name)
    }

    /// A parent who pumps, in the same way.
    pub fn pumping_called(&self, words: &str) -> Option<&str> {
        let pumping: Vec<&Person> = self.people.iter().filter(|p| p.role == Role::Pumps).collect();
        one_called(&pumping, words, |p| &p.name).map(|p| p.name.as_str())
    }

    /// Whether milk so marked is for this child: not marked for another, and of its own parent where that is told.
    pub fn is_meant_for(&self, marks: &Marks, child: &Child) -> bool {
        let its_own = marks.child.as_deref().is_none_or(|name| name == child.name);
        let of_parent = match (&marks.whose, &child.of) {
            (Some(_), Some(parent)) => marks.is_of(parent),
            _ => true,
        };
        its_own && of_parent
    }

    /// The parent who pumps, where one is named.
    pub fn who_pumps(&self) -> Option<&str> {
        self.people.iter().find(|p| p.role == Role::Pumps).map(|p| p.name.as_str())
    }
}

fn one_called<'a, T>(all: &'a [T], words: &str, name: impl Fn(&T) -> &String) -> Option<&'a T> {
    let words = words.trim().to_lowercase();
    let whole = all.iter().find(|t| name(t).to_lowercase() == words);
    let mut begun = all.iter().filter(|t| !words.is_empty() && name(t).to_lowercase().starts_with(&words));
    whole.or_else(|| begun.next().filter(|_| begun.next().is_none()))
}

fn is_none(value: &str) -> bool {
    value.is_empty() || value == "none"
}

fn tags(value: &str) -> Vec<String> {
    if is_none(value) {
        return Vec::new();
    }
    value.split(',').map(|tag| tag.trim().to_lowercase()).filter(|tag| !tag.is_empty()).collect()
}

fn yes_or_no(value: &str) -> Option<bool> {
    match value {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

fn unit(value: &str) -> Option<Unit> {
    match value {
        "ml" => Some(Unit::Ml),
        "oz" => Some(Unit::Oz),
        _ => None,
    }
}

fn languages(value: &str) -> Option<Vec<String>> {
    let all: Vec<String> = value.split(',').map(|l| l.trim().to_lowercase()).collect();
    all.iter().all(|l| l.len() == 2 && l.chars().all(|c| c.is_ascii_lowercase())).then_some(all)
}

fn time(value: &str) -> Option<NaiveTime> {
    NaiveTime::parse_from_str(value.trim(), "%H:%M").ok()
}

fn span(value: &str) -> Option<(NaiveTime, NaiveTime)> {
    let (from, to) = value.split_once('-')?;
    Some((time(from)?, time(to)?)).filter(|(from, to)| from != to)
}

fn people(value: &str) -> Option<Vec<Person>> {
    value.split(',').map(person).collect()
}

fn person(words: &str) -> Option<Person> {
    let (name, role) = words.trim().split_once(' ').unwrap_or((words.trim(), ""));
    let role = match role.trim() {
        "" => Role::Helps,
        "pumps" => Role::Pumps,
        "child care" => Role::ChildCare,
        _ => return None,
    };
    (!name.is_empty()).then(|| Person { name: name.into(), role })
}

fn child(value: &str) -> Option<Child> {
    let mut words = value.split_whitespace();
    let name = words.next()?.into();
    let born = words.next()?.parse().ok()?;
    let mut words = words.peekable();
    let early = words.next_if(|w| *w == "early").is_some();
    let of = match words.next() {
        None => None,
        Some("of") => Some(words.next()?.to_owned()),
        Some(_) => return None,
    };
    words.next().is_none().then_some(Child { name, born, early, of })
}

fn freezer(value: &str) -> Option<FreezerKind> {
    match value {
        "own door" => Some(FreezerKind::OwnDoor),
        "ice compartment" => Some(FreezerKind::IceCompartment),
        _ => None,
    }
}

fn temperature(value: &str) -> Option<Temperature> {
    let scale = value.chars().last()?;
    let degrees: f64 = value.strip_suffix(scale)?.trim_end_matches(['°', ' ']).trim().parse().ok()?;
    if !(-100.0..=150.0).contains(&degrees) {
        return None;
    }
    match scale {
        'C' | 'c' => Some(Temperature::Celsius(degrees)),
        'F' | 'f' => Some(Temperature::Fahrenheit(degrees)),
        _ => None,
    }
}

/// `3 x 120`, in the household's unit unless one is written.
fn need(value: &str, units: Unit) -> Option<Need> {
    let (bottles, size) = value.split_once(['x', '×'])?;
    let size = size.trim();
    let (number, units) = match (size.strip_suffix("ml"), size.strip_suffix("oz")) {
        (Some(number), _) => (number, Unit::Ml),
        (_, Some(number)) => (number, Unit::Oz),
        _ => (size, units),
    };
    let need =
        Need { bottles: bottles.trim().parse().ok()?, size: Volume::of(number.trim().parse().ok()?, units) };
    (1..=30)
        .contains(&need.bottles)
        .then_some(need)
        .filter(|n| n.size > Volume::ZERO && n.size <= Volume::from_ml(1000.0))
}

fn workdays(value: &str) -> Option<[bool; 7]> {
    let mut days = [false; 7];
    for piece in value.split(',').map(str::trim) {
        let (first, last) = piece.split_once('-').unwrap_or((piece, piece));
        let (first, last): (Weekday, Weekday) = (first.trim().parse().ok()?, last.trim().parse().ok()?);
        let mut day = first;
        days[day.num_days_from_monday() as usize] = true;
        while day != last {
            day = day.succ();
            days[day.num_days_from_monday() as usize] = true;
        }
    }
    Some(days)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(key: &str, value: &str) -> Result<Household, String> {
        let mut household = Household::default();
        household.set(key, value, &|k| k == "us-cdc" || k == "us-or").map_err(|e| e.to_string())?;
        Ok(household)
    }

    #[test]
    fn settings_are_read_in_the_form_of_a_script() {
        assert_eq!(set("zone", "America/Chicago").unwrap().zone, Tz::America__Chicago);
        assert_eq!(set("quiet", "22:00-06:00").unwrap().quiet, Some((hour(22), hour(6))));
        assert_eq!(set("fridge", "4 C").unwrap().fridge, Some(Temperature::Celsius(4.0)));
        assert_eq!(set("fridge", "40 F").unwrap().fridge, Some(Temperature::Fahrenheit(40.0)));
        assert_eq!(set("need", "3 x 120").unwrap().need.unwrap().total(), Volume::from_ml(360.0));
        assert_eq!(
            set("workdays", "mon-wed, sat").unwrap().workdays,
            [true, true, true, false, false, true, false]
        );
        let people = set("people", "Ana pumps, Ben, Rosa, Dora child care").unwrap().people;
        assert_eq!(people[0].role, Role::Pumps);
        assert_eq!((people[3].name.as_str(), people[3].role), ("Dora", Role::ChildCare));
        assert!(set("child", "Lio 2027-01-05 early").unwrap().children[0].early);
        assert_eq!(set("child", "Lio 2027-01-05 of Ana").unwrap().children[0].of.as_deref(), Some("Ana"));
        assert!(set("child", "Lio 2027-01-05 soon").is_err());
    }

    #[test]
    fn a_wrong_setting_is_named_with_an_example() {
        let says = |key, value| set(key, value).unwrap_err();
        assert_eq!(says("colour", "red"), "there is no setting \"colour\"");
        assert_eq!(says("zone", "Mars"), "zone: \"Mars\" can't be read; for example: America/Chicago");
        assert_eq!(says("fridge", ""), "fridge: \"\" can't be read; for example: 4 C");
        assert_eq!(says("rules", "nobody"), "rules: \"nobody\" can't be read; for example: us-cdc");
        assert!(set("need", "3 x 0").is_err() && set("quiet", "22:00-22:00").is_err());
    }

    #[test]
    fn a_limit_is_a_length_of_time_and_can_be_taken_back() {
        let mut household = set("fridge limit", "48 h").unwrap();
        assert_eq!(household.limits["fridge"], Span::Hours(48));
        household.set("fridge limit", "none", &|_| true).unwrap();
        assert!(household.limits.is_empty());
        assert!(set("fridge limit", "a while").is_err() && set("shelf limit", "4 h").is_err());
        assert!(set("very clean", "yes").unwrap().very_clean);
    }

    #[test]
    fn a_household_stored_before_there_were_so_many_settings_still_loads() {
        let stored = r#"{"zone": "Europe/London", "rules": "uk-nhs", "units": "ml", "languages": ["en"],
            "quiet": ["22:00:00", "06:00:00"], "people": [{"name": "Ana", "role": "pumps"}], "children": []}"#;
        let household: Household = serde_json::from_str(stored).unwrap();
        assert_eq!((household.zone, household.rules.as_str()), (Tz::Europe__London, "uk-nhs"));
        assert_eq!(household.quiet, Some((hour(22), hour(6))));
        let rest =
            Household { people: household.people.clone(), quiet: household.quiet, ..Household::default() };
        assert_eq!(household, Household { zone: Tz::Europe__London, rules: "uk-nhs".into(), ..rest });
        // A setting of a later program is left alone.
        assert!(serde_json::from_str::<Household>(r#"{"moon": "full"}"#).is_ok());
    }

    #[test]
    fn a_child_is_known_by_the_beginning_of_its_name_unless_another_begins_so() {
        let mut household = set("child", "Lio 2027-01-05").unwrap();
        household.set("child", "Lina 2027-01-05", &|_| true).unwrap();
        let called = |words: &str| household.child_called(words).map(|c| c.name.as_str());
        assert_eq!(
            (called("lio"), called("Lin"), called("L"), called("")),
            (Some("Lio"), Some("Lina"), None, None)
        );
    }

    #[test]
    fn quiet_hours_go_over_midnight() {
        let household = set("quiet", "22:00-06:00").unwrap();
        assert!(household.is_quiet(hour(23)) && household.is_quiet(hour(5)));
        assert!(!household.is_quiet(hour(6)) && !household.is_quiet(hour(21)));
    }
}
