//! What to thaw, held against a reference that tries every choice, against another library's solver, and against the
//! rule's own examples; and the command that answers it from standard input.

#![allow(clippy::unwrap_used, reason = "what can't be had ends the test")]

use chrono::{NaiveDateTime, TimeDelta};
use firstout::cli::plan::run;
use firstout::domain::household::Household;
use firstout::domain::keeping::Conditions;
use firstout::domain::milk::{Moment, State};
use firstout::domain::place::Place;
use firstout::domain::plan::{PlanItem, Thaw, Wanted, subset, thaw};
use firstout::domain::rules;
use firstout::domain::volume::Volume;
use proptest::prelude::*;
use serde_json::{Value, json};

fn at(text: &str) -> Moment {
    NaiveDateTime::parse_from_str(text, "%Y-%m-%d %H:%M").unwrap().and_utc()
}

fn now() -> Moment {
    at("2027-03-09 20:00")
}

fn ml(ml: f64) -> Volume {
    Volume::from_ml(ml)
}

/// Frozen at noon so many days after 1 January 2027.
fn frozen(code: u32, volume: f64, day: i64) -> PlanItem {
    let first = at("2027-01-01 12:00") + TimeDelta::days(day);
    PlanItem {
        code,
        ml: ml(volume),
        state: State::Frozen,
        place: Place::Freezer,
        expressed: Some(first - TimeDelta::hours(1)),
        first_frozen: Some(first),
        use_by: Some(first + TimeDelta::days(365)),
        held: false,
        suspect: false,
    }
}

fn cold(code: u32, volume: f64, use_by: &str) -> PlanItem {
    PlanItem {
        state: State::Fresh,
        place: Place::Fridge,
        first_frozen: None,
        use_by: Some(at(use_by)),
        ..frozen(code, volume, 60)
    }
}

fn wanted(volume: Volume) -> Wanted {
    Wanted { from: at("2027-03-10 08:00"), to: at("2027-03-10 17:00"), ml: volume }
}

fn plan_by(key: &str, stock: &[PlanItem], volume: f64) -> Thaw {
    let conditions = Conditions::of(&Household::default());
    thaw(stock, &wanted(ml(volume)), now(), rules::find(key).unwrap(), &conditions)
}

fn plan(stock: &[PlanItem], volume: f64) -> Thaw {
    plan_by("us-cdc", stock, volume)
}

#[test]
fn what_is_cold_counts_first_and_counts_whole() {
    let stock = [
        cold(1, 100.0, "2027-03-12 08:00"),
        cold(2, 100.0, "2027-03-11 08:00"),
        cold(3, 100.0, "2027-03-12 08:00"),
        frozen(4, 100.0, 0),
    ];
    let done = plan(&stock, 150.0);
    assert_eq!((done.use_codes, done.thaw_codes), (vec![2, 1], vec![]));
    assert_eq!((done.use_ml, done.over_ml, done.short_ml), (ml(200.0), Volume::ZERO, Volume::ZERO));
    let more = plan(&stock, 350.0);
    assert_eq!((more.use_codes, more.thaw_codes), (vec![2, 1, 3], vec![4]));
    assert_eq!((more.thaw_ml, more.over_ml), (ml(100.0), ml(50.0)));
}

#[test]
fn milk_that_must_not_be_used_is_in_no_plan() {
    let good = cold(1, 90.0, "2027-03-11 08:00");
    let bad = [
        PlanItem { held: true, ..good.clone() },
        PlanItem { suspect: true, ..good.clone() },
        PlanItem { state: State::Started, ..good.clone() },
        PlanItem { state: State::Warmed, ..good.clone() },
        PlanItem { place: Place::Room, ..good.clone() },
        PlanItem { expressed: None, ..good.clone() },
        PlanItem { use_by: None, ..good.clone() },
        // At the moment of its use-by milk is past.
        PlanItem { use_by: Some(at("2027-03-10 17:00")), ..good.clone() },
        PlanItem { held: true, ..frozen(2, 90.0, 0) },
        PlanItem { suspect: true, ..frozen(2, 90.0, 0) },
        PlanItem { expressed: None, ..frozen(2, 90.0, 0) },
        PlanItem { use_by: Some(at("2027-03-10 17:00")), ..frozen(2, 90.0, 0) },
        PlanItem { state: State::Thawed, ..frozen(2, 90.0, 0) },
    ];
    let done = plan(&bad, 200.0);
    assert_eq!(done, Thaw { short_ml: ml(200.0), ..Thaw::default() });
    assert_eq!(plan(&[PlanItem { use_by: Some(at("2027-03-10 17:01")), ..good }], 90.0).use_codes, [1]);
}

#[test]
fn the_oldest_group_goes_first_and_the_sizes_are_chosen_in_the_last() {
    // Day 14 is still of the oldest's group, day 15 is not.
    let stock = [frozen(1, 60.0, 0), frozen(2, 90.0, 14), frozen(3, 150.0, 15), frozen(4, 50.0, 16)];
    assert_eq!(plan(&stock, 60.0).thaw_codes, [1]);
    assert_eq!(plan(&stock, 70.0).thaw_codes, [2], "90 is the smallest that is enough");
    assert_eq!(plan(&stock, 150.0).thaw_codes, [1, 2]);
    let over = plan(&stock, 200.0);
    assert_eq!((over.thaw_codes, over.over_ml), (vec![1, 2, 4], Volume::ZERO));
    let short = plan(&stock, 400.0);
    assert_eq!((short.thaw_codes, short.short_ml), (vec![1, 2, 3, 4], ml(50.0)));
}

#[test]
fn of_equal_sums_the_one_with_the_oldest_wins() {
    let stock = [frozen(1, 60.0, 0), frozen(2, 60.0, 1), frozen(3, 120.0, 2), frozen(4, 60.0, 3)];
    assert_eq!(plan(&stock, 120.0).thaw_codes, [1, 2]);
    assert_eq!(plan(&stock, 180.0).thaw_codes, [1, 2, 4]);
    let other = [frozen(1, 120.0, 0), frozen(2, 60.0, 1), frozen(3, 60.0, 2)];
    assert_eq!(plan(&other, 120.0).thaw_codes, [1]);
}

#[test]
fn the_day_of_freezing_is_the_households_then_expression_then_label_decide() {
    let first = at("2027-01-02 03:00"); // still 1 January in Chicago
    let late = PlanItem { first_frozen: Some(first), ..frozen(7, 100.0, 0) };
    let early = PlanItem { expressed: Some(first - TimeDelta::days(2)), ..frozen(9, 100.0, 0) };
    let conditions =
        Conditions { zone: chrono_tz::America::Chicago, ..Conditions::of(&Household::default()) };
    let cdc = rules::find("us-cdc").unwrap();
    let done = |stock: &[PlanItem]| thaw(stock, &wanted(ml(100.0)), now(), cdc, &conditions).thaw_codes;
    assert_eq!(done(&[late.clone(), early]), [9]);
    assert_eq!(done(&[late.clone(), PlanItem { code: 3, ..late }]), [3]);
}

#[test]
fn milk_is_taken_out_when_it_is_still_inside_its_window_at_the_end_of_the_need() {
    let stock = [frozen(1, 120.0, 60)];
    let from = |key| plan_by(key, &stock, 100.0).take_out_from;
    assert_eq!(from("us-cdc"), None); // 24 h from 20:00 go beyond 17:00
    assert_eq!(from("uk-nhs"), Some(at("2027-03-10 05:00"))); // Published: Breastfeeding Network (own): 12 h
    assert_eq!(from("ca-bc"), Some(at("2027-03-10 08:00"))); // no figure: the moment of use
    assert_eq!(plan_by("uk-nhs", &[], 100.0).take_out_from, None, "nothing to take out");
}

// ---- against every choice ----

/// The rule read literally: all subsets of a group, and among the best ones container by container.
fn by_trying(sizes: &[i64], need: i64) -> Vec<bool> {
    let sum = |set: u32| -> i64 {
        sizes.iter().enumerate().filter(|(n, _)| set >> n & 1 == 1).map(|(_, v)| v).sum()
    };
    let all: Vec<u32> = (0..1u32 << sizes.len()).collect();
    let Some(best) = all.iter().map(|s| sum(*s)).filter(|s| *s >= need).min() else {
        return vec![true; sizes.len()];
    };
    let mut possible: Vec<u32> = all.into_iter().filter(|s| sum(*s) == best).collect();
    for n in 0..sizes.len() {
        if possible.iter().any(|s| s >> n & 1 == 1) {
            possible.retain(|s| s >> n & 1 == 1);
        }
    }
    (0..sizes.len()).map(|n| possible[0] >> n & 1 == 1).collect()
}

fn volumes(sizes: &[i64]) -> Vec<Volume> {
    sizes.iter().copied().map(Volume::from_microlitres).collect()
}

proptest! {
    #[test]
    fn the_choice_is_the_one_found_by_trying(
        sizes in prop::collection::vec(prop_oneof![
            1i64..12, (1i64..12).prop_map(|n| n * 30_000), prop::sample::select(vec![118_294i64, 88_721, 133_081]),
        ], 1..11),
        part in 0.0f64..1.2,
    ) {
        let need = ((sizes.iter().sum::<i64>() as f64 * part) as i64).max(1);
        prop_assert_eq!(subset::at_least(&volumes(&sizes), Volume::from_microlitres(need)), by_trying(&sizes, need));
    }

    #[test]
    fn the_whole_plan_is_the_one_found_by_trying(
        stock in prop::collection::vec((0i64..45, 1i64..9, any::<bool>(), 0u8..8), 0..11),
        need in 1i64..60,
    ) {
        let items: Vec<PlanItem> = stock.iter().zip(1..).map(|((day, size, deep, bad), code)| PlanItem {
            place: if *deep { Place::DeepFreezer } else { Place::Freezer },
            held: *bad == 0,
            suspect: *bad == 1,
            ..frozen(code, (*size * 15) as f64, *day)
        }).collect();
        let done = plan(&items, (need * 10) as f64);

        let mut waiting: Vec<(i64, u32, i64)> = stock.iter().zip(1..)
            .filter(|((_, _, _, bad), _)| *bad > 1)
            .map(|((day, size, ..), code)| (*day, code, size * 15)).collect();
        waiting.sort();
        let (mut taken, mut rest) = (Vec::new(), need * 10);
        while rest > 0 && !waiting.is_empty() {
            let oldest = waiting[0].0;
            let (group, younger): (Vec<_>, Vec<_>) = waiting.into_iter().partition(|c| c.0 <= oldest + 14);
            waiting = younger;
            let sizes: Vec<i64> = group.iter().map(|c| c.2).collect();
            for (item, chosen) in group.iter().zip(by_trying(&sizes, rest)) {
                if chosen { taken.push(*item) }
            }
            rest = need * 10 - taken.iter().map(|c| c.2).sum::<i64>();
        }
        prop_assert_eq!(done.thaw_codes, taken.iter().map(|c| c.1).collect::<Vec<_>>());
        prop_assert_eq!(done.over_ml, ml((-rest).max(0) as f64));
        prop_assert_eq!(done.short_ml, ml(rest.max(0) as f64));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    /// The least sum by a solver for whole-number programs.
    #[test]
    fn the_sum_is_the_least_that_a_solver_finds(
        sizes in prop::collection::vec(1i64..40, 12..18),
        part in 0.1f64..0.9,
    ) {
        let need = ((sizes.iter().sum::<i64>() as f64 * part) as i64).max(1);
        let mut problem = microlp::Problem::new(microlp::OptimizationDirection::Minimize);
        let taken: Vec<_> = sizes.iter().map(|size| problem.add_binary_var(*size as f64)).collect();
        let sum: Vec<_> = taken.iter().zip(&sizes).map(|(var, size)| (*var, *size as f64)).collect();
        problem.add_constraint(&sum[..], microlp::ComparisonOp::Ge, need as f64);
        let least = problem.solve().unwrap().into_solution().unwrap().objective().round() as i64;
        let chosen = subset::at_least(&volumes(&sizes), Volume::from_microlitres(need));
        let ours: i64 = sizes.iter().zip(chosen).filter(|(_, chosen)| *chosen).map(|(size, _)| size).sum();
        prop_assert_eq!(ours, least);
    }
}

#[test]
fn hundreds_of_containers_in_odd_sizes_are_chosen_exactly() {
    // Tenths of an ounce in whole microlitres: their sums have no common unit.
    let sizes: Vec<Volume> = (0..250).map(|n| Volume::from_oz(f64::from(20 + n * 7 % 41) / 10.0)).collect();
    let need = 199_999usize;
    let mut reachable = vec![false; need + 180_000];
    reachable[0] = true;
    for size in sizes.iter().map(|v| v.microlitres() as usize) {
        for sum in (size..reachable.len()).rev() {
            reachable[sum] |= reachable[sum - size];
        }
    }
    let least = (need..reachable.len()).find(|sum| reachable[*sum]).unwrap();
    let chosen = subset::at_least(&sizes, Volume::from_microlitres(need as i64));
    let sum: Volume = sizes.iter().zip(&chosen).filter(|(_, c)| **c).map(|(v, _)| *v).sum();
    assert_eq!(sum.microlitres() as usize, least);
}

// ---- from the command line ----

fn ask(input: &str, lines: bool) -> (Vec<Value>, bool) {
    let mut out = Vec::new();
    let all_read = run(input, lines, &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    (text.lines().map(|line| serde_json::from_str(line).unwrap()).collect(), all_read)
}

fn case(change: impl FnOnce(&mut Value)) -> Value {
    let mut case = json!({
        "now": "2027-03-09T20:00", "zone": "America/Chicago", "rules": "us-cdc",
        "need": {"from": "2027-03-10T08:00", "to": "2027-03-10T17:00", "ml": 360},
        "stock": [
            {"code": 1, "ml": 120, "milk": "frozen", "place": "freezer", "expressed": "2027-02-01T09:00",
             "frozen": "2027-02-01T10:00", "held": false, "suspect": false},
            {"code": 2, "ml": 120, "milk": "frozen", "place": "deep_freezer", "expressed": "2027-02-02T09:00",
             "frozen": "2027-02-02T10:00"},
            {"code": 3, "ml": 100, "milk": "fresh", "place": "fridge", "expressed": "2027-03-09T09:00"},
        ],
    });
    change(&mut case);
    case
}

fn answer(change: impl FnOnce(&mut Value)) -> Value {
    let (answers, _) = ask(&case(change).to_string(), false);
    answers.into_iter().next().unwrap()
}

#[test]
fn the_command_answers_in_the_fields_of_the_plan() {
    assert_eq!(
        answer(|_| ()),
        json!({"use": [3], "thaw": [1, 2], "use_ml": 100, "thaw_ml": 240, "over_ml": 0, "short_ml": 20, "take_out_from": null})
    );
    let nhs = answer(|c| c["rules"] = "uk-nhs".into());
    assert_eq!((&nhs["use"], &nhs["take_out_from"]), (&json!([3]), &json!("2027-03-10T05:00")));
}

#[test]
fn a_time_that_comes_twice_is_told_so_that_it_cant_be_misread() {
    let until = |to: &str| {
        answer(|c| {
            c["zone"] = "America/Chicago".into();
            c["now"] = "2026-10-31T20:00".into();
            c["need"] = json!({"from": "2026-11-01T23:00", "to": to, "ml": 100});
            c["stock"] = json!([c["stock"][0]]);
        })
    };
    // Clocks go back at 02:00: 24 h before 01:30 is the second 01:30 of the day before, and read as the first.
    assert_eq!(until("2026-11-02T01:30")["take_out_from"], json!("2026-11-01T02:00"));
    assert_eq!(until("2026-11-02T00:30")["take_out_from"], json!("2026-11-01T01:30"));
    assert_eq!(until("2026-11-02T02:10")["take_out_from"], json!("2026-11-01T02:10"));
}

#[test]
fn the_command_reads_what_a_stock_may_carry() {
    let used = |entry: Value| answer(|c| c["stock"] = json!([entry]))["use"] == json!([5]);
    let thawing = |left: &str| {
        json!({"code": 5, "ml": 90, "milk": "thawing", "place": "fridge", "expressed": "2027-02-01T09:00",
               "frozen": "2027-02-01T10:00", "left_freezer": left})
    };
    assert!(used(thawing("2027-03-09T18:00")));
    assert!(!used(thawing("2027-03-09T16:00")), "24 h are over at 16:00");
    let mut thawed = thawing("2027-03-09T16:00");
    thawed["milk"] = "thawed".into();
    thawed["thawed"] = "2027-03-09T19:00".into();
    assert!(used(thawed), "the CDC counts from full thaw");
    let fresh = |minutes: u32| {
        json!({"code": 5, "ml": 90, "milk": "fresh", "place": "fridge", "expressed": "2027-03-09T09:00",
               "room_minutes": minutes})
    };
    assert!(used(fresh(239)) && !used(fresh(240)), "four hours in the room are used up");
    let mut unknown = fresh(0);
    unknown["expressed"] = Value::Null;
    assert!(!used(unknown));
}

#[test]
fn the_command_knows_the_fridge_and_the_freezer() {
    assert_eq!(answer(|c| c["fridge_c"] = json!(4))["use"], json!([3]));
    let warm = answer(|c| c["fridge_c"] = json!(9));
    assert_eq!((&warm["use"], &warm["take_out_from"]), (&json!([]), &json!("2027-03-10T08:00")));
    assert_eq!(answer(|c| c["freezer"] = "ice compartment".into())["thaw"], json!([2]));
    assert_eq!(answer(|c| c["freezer"] = "own door".into())["thaw"], json!([1, 2]));
}

#[test]
fn a_bad_line_gets_its_error_and_the_others_their_answers() {
    let bad = [
        case(|c| c["zone"] = "Mars".into()),
        case(|c| c["rules"] = "us-or".into()),
        case(|c| c["need"]["ml"] = json!(-1)),
        case(|c| c["need"]["to"] = "2027-03-10T07:00".into()),
        case(|c| c["now"] = "2027-03-14T02:30".into()), // the zone skips it
        case(|c| c["stock"][0]["milk"] = "sour".into()),
        case(|c| c["stock"][0]["helt"] = true.into()),
        case(|c| c["freezer"] = "big".into()),
        json!("[]"),
    ];
    let mut input: Vec<String> = bad.iter().map(Value::to_string).collect();
    input.push("{".into());
    input.insert(1, case(|_| ()).to_string());
    let (answers, all_read) = ask(&input.join("\n"), true);
    assert!(!all_read);
    assert_eq!(answers.len(), bad.len() + 2);
    assert_eq!(answers[1]["thaw"], json!([1, 2]));
    for (n, answer) in answers.iter().enumerate().filter(|(n, _)| *n != 1) {
        assert!(answer["error"].as_str().is_some_and(|e| !e.is_empty()), "{n}: {answer}");
    }
    assert!(ask(&case(|_| ()).to_string(), true).1);
}
