//! What must hold of the ledger whatever happens to the milk: random lives of a few containers, told in order and late.

use std::collections::BTreeSet;

use chrono::{TimeDelta, TimeZone, Utc};
use firstout::domain::act::{Found, ThawHow, What};
use firstout::domain::acts::Acts;
use firstout::domain::fact::{Dated, Entry, Fact, Feed, Kept, Marks, Record};
use firstout::domain::household::{Household, Person, Role};
use firstout::domain::keeping::Clock;
use firstout::domain::ledger::{Container, Ledger};
use firstout::domain::milk::{Life, Moment, State, Stay};
use firstout::domain::place::{Place, Site};
use firstout::domain::query;
use firstout::domain::volume::Volume;
use proptest::prelude::*;

const RULES: [&str; 7] = ["us-cdc", "abm-2017", "uk-nhs", "au-nhmrc", "ca-bc", "hk-dh", "care-team"];

/// One thing told: how many minutes after the one before, how late, and what.
#[derive(Debug, Clone)]
struct Told {
    after: i64,
    late: i64,
    what: What2,
}

#[derive(Debug, Clone)]
enum What2 {
    Fact(Fact),
    TakeBack(usize),
    Pump { ml: i64, place: Place, site: Option<Site>, marks: Marks },
    Split { from: u32, ml: i64 },
}

fn place() -> impl Strategy<Value = Place> {
    prop::sample::select(Place::ALL.to_vec())
}

fn site() -> impl Strategy<Value = Option<Site>> {
    let elsewhere = prop::sample::select(vec![Site::Work, Site::Named("grandma's".into())]);
    prop_oneof![4 => Just(None), 1 => elsewhere.prop_map(Some)]
}

fn name(names: [&'static str; 2]) -> impl Strategy<Value = Option<String>> {
    prop::option::of(prop::sample::select(names.to_vec()).prop_map(str::to_owned))
}

fn marks() -> impl Strategy<Value = Marks> {
    let tags =
        prop::collection::vec(prop::sample::select(vec!["colostrum".to_owned(), "onion".to_owned()]), 0..2);
    (name(["Ana", "Mia"]), name(["Lio", "Zoe"]), tags).prop_map(|(whose, child, tags)| Marks {
        whose,
        child,
        tags,
    })
}

fn codes() -> impl Strategy<Value = Vec<u32>> {
    prop::collection::vec(1u32..7, 1..3)
}

fn ml() -> impl Strategy<Value = Volume> {
    (1i64..400_000).prop_map(Volume::from_microlitres)
}

fn feed() -> impl Strategy<Value = Fact> {
    (codes(), prop::option::of(ml()), prop::option::of(ml()), any::<bool>(), any::<bool>()).prop_map(
        |(codes, drunk, left, poured, open)| {
            Fact::Fed(Feed { codes, drunk, left, poured, open, ..Feed::default() })
        },
    )
}

fn what() -> impl Strategy<Value = What2> {
    let fact = prop_oneof![
        (codes(), place(), site()).prop_map(|(codes, place, site)| Fact::Moved { codes, place, site }),
        (codes(), prop::option::of(0i64..20_000), marks()).prop_map(|(codes, age, marks)| Fact::Labelled {
            codes,
            expressed: age.map(|m| noon() - TimeDelta::minutes(m)),
            marks
        }),
        (
            codes(),
            prop::option::of(prop::sample::select(vec![ThawHow::Fridge, ThawHow::WarmWater, ThawHow::Room]))
        )
            .prop_map(|(codes, how)| Fact::Thaw { codes, how }),
        (codes(), any::<bool>()).prop_map(|(codes, just_now)| Fact::Thawed { codes, just_now }),
        codes().prop_map(|codes| Fact::Warmed { codes }),
        (1u32..7, codes(), prop::option::of(ml()), prop::option::of(ml())).prop_map(
            |(into, from, result, added)| Fact::Combined { into, from, result, added, place: None }
        ),
        (codes(), prop::option::of(ml())).prop_map(|(codes, ml)| Fact::Discarded { codes, ml }),
        codes().prop_map(|codes| Fact::Held { codes }),
        codes().prop_map(|codes| Fact::Released { codes }),
        codes().prop_map(|codes| Fact::Donated { codes }),
        codes().prop_map(|codes| Fact::Sent { codes, site: Site::Daycare }),
        (codes(), any::<bool>(), prop::option::of(ml())).prop_map(|(codes, drunk_from, left)| {
            Fact::Returned { codes, place: None, drunk_from, left }
        }),
        (0i64..100_000, site()).prop_map(|(m, site)| Fact::Outage {
            what: What::Power,
            place: None,
            since: Utc.with_ymd_and_hms(2027, 3, 12, 8, 0, 0).unwrap() + TimeDelta::minutes(m % 10_000),
            site,
            start_unknown: m % 2 == 0,
        }),
        (codes(), prop::sample::select(vec![Found::Hard, Found::Icy, Found::Liquid]), any::<bool>())
            .prop_map(|(codes, found, cold)| Fact::Checked { codes, found: Some(found), cold }),
        (codes(), codes()).prop_map(|(missing, back)| Fact::Counted { missing, back }),
    ];
    prop_oneof![
        3 => (1i64..300_000, place(), site(), marks())
            .prop_map(|(ml, place, site, marks)| What2::Pump { ml, place, site, marks }),
        8 => fact.prop_map(What2::Fact),
        3 => feed().prop_map(What2::Fact),
        1 => (1u32..7, 1i64..200_000).prop_map(|(from, ml)| What2::Split { from, ml }),
        1 => (0usize..20).prop_map(What2::TakeBack),
    ]
}

fn told() -> impl Strategy<Value = Told> {
    (0i64..900, prop_oneof![4 => Just(0i64), 1 => 0i64..2000], what()).prop_map(|(after, late, what)| Told {
        after,
        late,
        what,
    })
}

fn noon() -> Moment {
    Utc.with_ymd_and_hms(2027, 3, 12, 12, 0, 0).unwrap()
}

fn kept(code: u32, ml: i64, place: Place) -> Kept {
    Kept { code, ml: Volume::from_microlitres(ml * 1000), place, site: None, untold: false }
}

fn pumped(kept: Kept) -> Fact {
    Fact::Pumped { ml: kept.ml, about: false, sides: None, kept: vec![kept] }
}

/// The container `1` after facts so many hours after noon, by one rule set.
fn after(rules: &str, facts: &[(i64, Fact)]) -> Container {
    let mut ledger = Ledger::new(Household { rules: rules.into(), ..Household::default() });
    for ((hour, fact), seq) in facts.iter().zip(1..) {
        let at = noon() + TimeDelta::hours(*hour);
        let facts = vec![Dated { at, fact: fact.clone() }];
        let record = Record::Said { acts: Acts::default(), facts };
        ledger.append(Entry { seq, recorded: at, by: None, message: None, record });
    }
    ledger.stock().get(1).unwrap().clone()
}

fn lost_cold(since: i64) -> Fact {
    Fact::Outage {
        what: What::Power,
        place: None,
        since: noon() + TimeDelta::hours(since),
        site: None,
        start_unknown: false,
    }
}

fn looked(found: Found, cold: bool) -> Fact {
    Fact::Checked { codes: vec![1], found: Some(found), cold }
}

/// Published: the CDC allows refreezing while ice crystals remain after a power cut; no other set does.
#[test]
fn ice_crystals_stay_frozen_only_where_the_publisher_says_so() {
    for rules in RULES {
        let facts =
            [(0, pumped(kept(1, 100, Place::Freezer))), (50, lost_cold(40)), (51, looked(Found::Icy, true))];
        let c = after(rules, &facts);
        assert!(c.suspect_since.is_none());
        if rules == "us-cdc" {
            assert_eq!((c.life.state, c.life.left_freezer), (State::Frozen, None));
        } else {
            let lost = noon() + TimeDelta::hours(40);
            assert_eq!((c.life.state, c.life.left_freezer), (State::Thawing, Some(lost)), "{rules}");
        }
    }
}

/// Published: CDC, thawed but still as cold as a fridge: within the next day, which counts from when the cold was lost.
#[test]
fn liquid_milk_thawed_when_the_cold_was_lost_and_counts_as_warm_unless_it_is_said_to_be_cold() {
    let facts = |cold| {
        [(0, pumped(kept(1, 100, Place::Freezer))), (50, lost_cold(40)), (51, looked(Found::Liquid, cold))]
    };
    let cold = after("us-cdc", &facts(true));
    assert_eq!(cold.use_by(), Some(noon() + TimeDelta::hours(40 + 24)));
    assert_eq!(cold.life.place, Place::Fridge);
    // Published: CDC, thawed milk in the room, at most 2 h.
    let warm = after("us-cdc", &facts(false));
    assert_eq!(warm.use_by(), Some(noon() + TimeDelta::hours(40 + 2)));
}

#[test]
fn milk_that_came_after_the_cold_was_lost_is_suspect_from_then() {
    let c = after("us-cdc", &[(5, pumped(kept(1, 100, Place::Fridge))), (8, lost_cold(2))]);
    assert_eq!(c.suspect_since, Some(noon() + TimeDelta::hours(5)));
}

/// Published: NHMRC, a freezer with its own door 3 months, a deep freezer 12.
#[test]
fn the_freezer_it_lay_in_goes_on_capping_thawed_milk() {
    let thaw = Fact::Thaw { codes: vec![1], how: Some(ThawHow::Fridge) };
    let day = 24;
    let by =
        |place| after("au-nhmrc", &[(0, pumped(kept(1, 100, place))), (92 * day - 6, thaw.clone())]).use_by();
    let capped = Utc.with_ymd_and_hms(2027, 6, 12, 12, 0, 0).unwrap();
    assert_eq!(by(Place::Freezer), Some(capped));
    assert_eq!(by(Place::DeepFreezer), Some(capped - TimeDelta::hours(6) + TimeDelta::hours(24)));
}

/// Published: WAC 110-300-0281, frozen milk at most 30 days after it came to the child care.
#[test]
fn the_child_care_counts_from_when_it_got_the_milk() {
    let household =
        Household { child_care: Some("us-wa".into()), rules: "us-cdc".into(), ..Household::default() };
    let mut ledger = Ledger::new(household);
    let facts = vec![
        Dated { at: noon(), fact: pumped(kept(1, 100, Place::Freezer)) },
        Dated { at: noon() + TimeDelta::days(3), fact: Fact::Sent { codes: vec![1], site: Site::Daycare } },
    ];
    let record = Record::Said { acts: Acts::default(), facts };
    ledger.append(Entry { seq: 1, recorded: noon(), by: None, message: None, record });
    assert_eq!(ledger.stock().get(1).unwrap().use_by(), Some(noon() + TimeDelta::days(33)));
}

/// Common practice, no source: four days in the fridge, 24 h from leaving the freezer, 2 h for what is left of a feed.
#[test]
fn common_practice_is_not_outlasted_by_the_default_rules() {
    let fridge = after("us-cdc", &[(0, pumped(kept(1, 100, Place::Fridge)))]);
    assert_eq!(fridge.use_by(), Some(noon() + TimeDelta::days(4)));
    let thaw = Fact::Thaw { codes: vec![1], how: Some(ThawHow::Fridge) };
    let thawed = after("us-cdc", &[(0, pumped(kept(1, 100, Place::Freezer))), (100, thaw)]);
    assert_eq!(thawed.use_by(), Some(noon() + TimeDelta::hours(124)));
    let ended = Some(noon() + TimeDelta::hours(3));
    let feed =
        Feed { codes: vec![1], drunk: Some(Volume::from_microlitres(40_000)), ended, ..Feed::default() };
    let left = after("us-cdc", &[(0, pumped(kept(1, 100, Place::Fridge))), (3, Fact::Fed(feed))]);
    assert_eq!(left.use_by(), Some(noon() + TimeDelta::hours(5)));
}

/// Two parents who pump, in a household that needs something every day; by every second publisher for a child each.
fn household(rules: usize) -> Household {
    let person = |name: &str| Person { name: name.into(), role: Role::Pumps };
    let mut household = Household {
        rules: RULES[rules].into(),
        zone: chrono_tz::America::New_York,
        people: vec![person("Ana"), person("Mia")],
        avoid: vec!["onion".into()],
        ..Household::default()
    };
    household.set("need", "2 x 120", &|_| true).unwrap();
    for child in ["Lio 2027-01-05 of Ana", "Zoe 2027-01-05 of Mia"].into_iter().take(2 * (rules % 2)) {
        household.set("child", child, &|_| true).unwrap();
    }
    household
}

/// Nothing is suggested that must not be used, lies elsewhere, is to be avoided or is another's.
fn only_what_may_be_suggested(ledger: &Ledger, now: Moment) -> Result<(), String> {
    let fit = |c: &Container| {
        c.gone.is_none()
            && c.life.site.is_none()
            && c.age_known()
            && !c.is_started()
            && !c.is_past(now)
            && c.held_since.is_none()
            && c.suspect_since.is_none()
            && !c.marks.tags.iter().any(|tag| tag == "onion")
    };
    let wrong = |what: &str, c: &Container| Err(format!("{what}: {} of {:?}", c.code, c.marks));
    for c in query::in_order_of_use(ledger, ledger.stock(), now) {
        if !fit(c) {
            return wrong("offered", c);
        }
    }
    for owner in query::owners_apart(ledger) {
        let own = |c: &Container| query::is_owned(ledger, c, &owner);
        let (started, next) = query::next(ledger, now, &own);
        if let Some(c) = next.filter(|c| !fit(c) || c.marks.whose != owner) {
            return wrong("next", c);
        }
        if let Some(c) =
            started.filter(|c| c.held_since.is_some() || c.is_past(now) || c.marks.whose != owner)
        {
            return wrong("a started bottle", c);
        }
    }
    let mut planned = BTreeSet::new();
    for source in query::sources(ledger) {
        let day = query::next_workday(ledger, now).expect("there are working days");
        let plan = query::plan_for(ledger, now, day, &source).expect("there is a need");
        for code in plan.use_codes.iter().chain(&plan.thaw_codes) {
            let c = ledger.stock().get(*code).expect("it is on the books");
            let of_several = c.marks.whose.as_deref().is_some_and(|whose| whose.contains('+'));
            if !fit(c) || of_several || source.is_some() && c.marks.whose != source || !planned.insert(*code)
            {
                return wrong("planned", c);
            }
        }
    }
    Ok(())
}

/// The entries that the told things come to, with the labels that the ledger would give.
fn entries(told: &[Told]) -> Vec<Entry> {
    let mut now = Utc.with_ymd_and_hms(2027, 3, 12, 8, 0, 0).unwrap();
    let mut label = 0;
    let mut kept = |ml: i64, place, site| {
        label += 1;
        vec![Kept { code: label, ml: Volume::from_microlitres(ml), place, site, untold: false }]
    };
    told.iter()
        .zip(1..)
        .map(|(told, seq)| {
            now += TimeDelta::minutes(told.after);
            let at = now - TimeDelta::minutes(told.late);
            let said = |fact| Record::Said { acts: Acts::default(), facts: vec![Dated { at, fact }] };
            let record = match &told.what {
                What2::Fact(fact) => said(fact.clone()),
                What2::Pump { ml, place, site, marks } => {
                    let (ml, kept) = (Volume::from_microlitres(*ml), kept(*ml, *place, site.clone()));
                    let codes = kept.iter().map(|k| k.code).collect();
                    let pumped = Fact::Pumped { ml, about: false, sides: None, kept };
                    let labelled = Fact::Labelled { codes, expressed: None, marks: marks.clone() };
                    let facts = [pumped, labelled].map(|fact| Dated { at, fact }).to_vec();
                    Record::Said { acts: Acts::default(), facts }
                }
                What2::Split { from, ml } => {
                    said(Fact::Split { from: vec![*from], kept: kept(*ml, Place::Fridge, None) })
                }
                What2::TakeBack(n) => Record::TakenBack { entry: *n as i64 },
            };
            Entry { seq, recorded: now, by: Some("Ana".into()), message: Some(seq), record }
        })
        .collect()
}

/// Milk that is poured together lasts no longer than any of it would have where the mixture is.
fn no_longer_than_any_part(ledger: &Ledger, entry: &Entry) -> Result<(), String> {
    let Record::Said { facts, .. } = &entry.record else { return Ok(()) };
    let Some(Fact::Combined { into, from, added: None, .. }) = facts.first().map(|d| &d.fact) else {
        return Ok(());
    };
    let Some(target) = ledger.stock().get(*into).filter(|c| c.exists()).cloned() else { return Ok(()) };
    let mut mixed = ledger.clone();
    mixed.append(entry.clone());
    let by = mixed.stock().get(*into).and_then(Container::use_by);
    for code in from.iter().chain([into]) {
        let mut alone = ledger.clone();
        let exists = alone.stock().get(*code).filter(|c| c.exists());
        let Some((place, known)) = exists.map(|c| (c.life.place, c.age_known())) else { continue };
        let moves =
            Fact::Moved { codes: vec![*code], place: target.life.place, site: target.life.site.clone() };
        let facts = vec![Dated { at: entry.recorded, fact: moves }];
        if place != target.life.place {
            alone.append(Entry { record: Record::Said { acts: Acts::default(), facts }, ..entry.clone() });
        }
        let part = alone.stock().get(*code).and_then(Container::use_by);
        if known && part.is_some() && by.is_some() && by > part {
            return Err(format!("{code} lasted until {part:?}, the mixture {into} until {by:?}"));
        }
    }
    Ok(())
}

/// Milk at home of known age always has a use-by.
fn has_a_clock(c: &Container) -> bool {
    !c.exists() || c.life.site.is_some() || !c.age_known() || c.use_by().is_some()
}

fn no_later(before: Option<Moment>, after: Option<Moment>) -> bool {
    before.is_none_or(|b| after.is_some_and(|a| a <= b))
}

/// What may not change for the better when something new is told in order.
fn only_gets_older(before: &Container, after: &Container, at: Moment) -> Result<(), String> {
    let (b, a) = (&before.life, &after.life);
    let held = |holds: bool, what: &str| if holds { Ok(()) } else { Err(format!("{}: {what}", before.code)) };
    held(a.state >= b.state || !before.exists(), "its state went back")?;
    held(no_later(b.first_frozen, a.first_frozen), "frozen later")?;
    held(no_later(b.left_freezer, a.left_freezer), "left the freezer later")?;
    held(no_later(b.warmed, a.warmed), "warmed later")?;
    held(no_later(b.feed_began, a.feed_began), "drunk from later")?;
    held(no_later(b.feed_ended, a.feed_ended), "drunk from later")?;
    held(b.expressed.is_none() || no_later(b.expressed, a.expressed) || a.expressed.is_none(), "younger")?;
    // A visit that still runs counts too: poured together, a long one outdoes several short ones.
    let total = |stay: &Stay| stay.spent() + stay.since().map_or(TimeDelta::zero(), |since| at - since);
    held(total(&a.room) >= total(&b.room), "hours in the room were given back")?;
    held(total(&a.cooler) >= total(&b.cooler), "hours in the cooler were given back")?;
    let fed = |life: &Life| (life.state, life.warmed, life.feed_began, life.feed_ended);
    let more = b.state < State::Warmed || fed(a) != fed(b) || no_later(before.use_by(), after.use_by());
    held(more || !after.exists(), "warmed or drunk from, it got more time")?;
    // Moved on in the minute in which it came to where the rules give it no time: none has passed.
    let passed_through = before.keeping.use_now() && before.use_by() == Some(at);
    held(!before.is_past(at) || after.is_past(at) || passed_through, "a use-by that had passed came back")
}

/// How many random lives are lived: a few thousand, or as many as the variable LIVES says.
fn lives() -> u32 {
    std::env::var("LIVES").ok().and_then(|n| n.parse().ok()).unwrap_or(3000)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: lives(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_books_always_add_up_and_time_only_runs_on(
        told in prop::collection::vec(told(), 1..25), rules in 0usize..RULES.len()
    ) {
        let entries = entries(&told);
        let mut ledger = Ledger::new(household(rules));
        for (entry, told) in entries.iter().zip(&told) {
            let before = ledger.stock().clone();
            if told.late == 0 {
                let bounded = no_longer_than_any_part(&ledger, entry);
                prop_assert!(bounded.is_ok(), "{} after {entry:?}", bounded.unwrap_err());
            }
            ledger.append(entry.clone());
            for c in ledger.stock().existing() {
                prop_assert!(has_a_clock(c), "{} has no use-by after {entry:?}: {:?}", c.code, c.life);
            }
            prop_assert!(ledger.stock().adds_up(), "after {entry:?}: {:?}", ledger.stock().totals);
            // A date told of a label holds from the start: it may make milk younger, as any correction by a person.
            let new = match &entry.record {
                Record::Said { facts, .. } => {
                    told.late == 0
                        && !facts.iter().any(|d| matches!(d.fact, Fact::Labelled { expressed: Some(_), .. }))
                }
                _ => false,
            };
            if new {
                for container in before.ever() {
                    let after = ledger.stock().get(container.code).expect("nothing leaves the books");
                    let known = only_gets_older(container, after, entry.recorded);
                    prop_assert!(known.is_ok(), "{} after {entry:?}", known.unwrap_err());
                }
            }
        }
        let last = entries.last().map(|e| e.recorded).unwrap_or_default();
        let known = only_what_may_be_suggested(&ledger, last);
        prop_assert!(known.is_ok(), "{}", known.unwrap_err());
        let again = Ledger::replay(household(rules), entries);
        prop_assert_eq!(again.stock(), ledger.stock());
    }

    /// Hours in the room and in a cooler, counted here by adding up the visits; no move gives back an hour or a start.
    #[test]
    fn hours_add_up_over_all_moves(
        visits in prop::collection::vec((place(), 1i64..2000), 1..12), rules in 0usize..RULES.len()
    ) {
        let mut ledger = Ledger::new(household(rules));
        let (mut at, mut hours) = (noon(), [TimeDelta::zero(); 5]);
        let mut before: Option<Container> = None;
        for (seq, (place, minutes)) in (1..).zip(&visits) {
            let fact = match seq {
                1 => pumped(kept(1, 100, *place)),
                _ => Fact::Moved { codes: vec![1], place: *place, site: None },
            };
            let record = Record::Said { acts: Acts::default(), facts: vec![Dated { at, fact }] };
            ledger.append(Entry { seq, recorded: at, by: None, message: None, record });
            let c = ledger.stock().get(1).unwrap();
            for clock in [Clock::Fridge, Clock::Freezer, Clock::Thawed] {
                let start = |c: &Container| c.keeping.running.iter().find(|r| r.clock == clock).map(|r| r.start);
                if let (Some(was), Some(is)) = (before.as_ref().and_then(start), start(c)) {
                    prop_assert!(is <= was, "{clock:?} starts {is}, not {was}");
                }
            }
            before = Some(c.clone());
            hours[*place as usize] += TimeDelta::minutes(*minutes);
            at += TimeDelta::minutes(*minutes);
        }
        let life = &ledger.stock().get(1).unwrap().life;
        let total = |stay: &Stay| stay.spent() + stay.since().map_or(TimeDelta::zero(), |since| at - since);
        prop_assert_eq!(total(&life.room), hours[Place::Room as usize]);
        prop_assert_eq!(total(&life.cooler), hours[Place::Cooler as usize]);
    }

    #[test]
    fn records_are_the_same_after_they_were_written_down(told in prop::collection::vec(told(), 1..10)) {
        for entry in entries(&told) {
            let text = serde_json::to_string(&entry).unwrap();
            prop_assert_eq!(serde_json::from_str::<Entry>(&text).unwrap(), entry);
        }
    }
}
