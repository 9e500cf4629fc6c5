//! The household told how to work: "we use ounces", "quiet 21:30 to 6", "use the NHS times". A setting that the words name
//! but whose value can't be read is no act. Values have the form of a script's header.

use chrono::Datelike;

use super::Context;
use super::clause::{Clause, Head};
use super::item::{Amount, Item, Kind, Message};
use super::moment::settle;
use super::mood::is_question;
use super::senses::{Form, Sense, Tag, Verb};
use super::when::{Clock, DayName, When};
use super::words::Lexicon;
use crate::domain::act::{Act, Kind as ActKind};
use crate::domain::place::Place;
use crate::domain::volume::Unit;

const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// The settings that a message makes; none where it makes none.
pub fn read(message: &Message, lexicon: &Lexicon, ctx: &Context) -> Vec<Act> {
    if let Some(act) = people(message) {
        return vec![act];
    }
    let conditional = message.has(0, message.tokens.len(), Tag::Conditional);
    if message.items.is_empty() || message.items.len() > 20 || conditional || asks(message) {
        return Vec::new();
    }
    let whole = of_items(message, &message.items, lexicon, ctx);
    let joint = |i: &Item| i.sign().is_some_and(|s| ",;.".contains(s)) || i.is_word() && i.has(Tag::And);
    let mut each: Vec<Act> = Vec::new();
    for items in message.items.split(joint) {
        let act = of_items(message, items, lexicon, ctx);
        // "mon, wed, fri" is one setting.
        each.extend(act.filter(|act| each.iter().all(|known| known.setting != act.setting)));
    }
    if each.len() > 1 { each } else { whole.into_iter().collect() }
}

/// A question, unless it is a request that begins politely.
fn asks(message: &Message) -> bool {
    let polite = message
        .find(0, message.tokens.len(), Tag::MayI)
        .is_some_and(|(at, _)| message.items.iter().take_while(|i| i.from < at).all(|i| i.has(Tag::Polite)));
    super::cut::segments(message).iter().any(is_question) && !polite
}

/// The setting that a part of a message makes, if it makes one.
fn of_items(message: &Message, items: &[Item], lexicon: &Lexicon, ctx: &Context) -> Option<Act> {
    let clause = Clause::of(message, items, false, true);
    if items.is_empty() {
        return None;
    }
    let (setting, value) = units(&clause)
        .or_else(|| named(&clause, lexicon))
        .or_else(|| quiet(&clause))
        .or_else(|| zone(&clause))
        .or_else(|| times(&clause))
        .or_else(|| workdays(&clause))
        .or_else(|| temperature(&clause))
        .or_else(|| freezer(&clause))
        .or_else(|| child(&clause, ctx))
        .or_else(|| need(&clause, ctx))
        .or_else(|| limit(&clause))
        .or_else(|| very_clean(&clause))
        .or_else(|| turn(&clause))?;
    let mut act = Act::new(ActKind::Set);
    act.setting = Some(setting.to_string());
    act.value = Some(value);
    Some(act)
}

/// "people: Maya pumps, Jon, Pia child care".
fn people(message: &Message) -> Option<Act> {
    let [word, sign, first, ..] = message.items.as_slice() else { return None };
    let told = word.is_word() && word.has(Tag::SetPeople) && sign.sign() == Some(':');
    let value = message.typed(first.from, message.tokens.len());
    let setting = Some("people".to_string());
    told.then(|| Act { setting, value: Some(value), ..Act::new(ActKind::Set) })
}

type Found = Option<(&'static str, String)>;

/// "Use the colostrum first", "not the onion ones": which milk goes before other milk, or isn't to be suggested.
fn turn(clause: &Clause) -> Found {
    let called = super::naming::called(clause);
    let plain = clause.items.iter().all(|i| !i.unknown && i.amount().is_none() && i.place().is_none());
    if called.is_empty() || !plain || clause.items.len() > 7 {
        return None;
    }
    let uses = clause.heads.iter().all(|h| matches!(h.verb, Verb::Use | Verb::Give | Verb::Feed));
    let first = clause.has(Tag::NextWord) && !clause.heads.is_empty();
    match clause.has(Tag::Negative) {
        _ if !uses => None,
        true => Some(("avoid", called.join(", "))),
        false if first => Some(("use first", called.join(", "))),
        false => None,
    }
}

fn plain_numbers(clause: &Clause) -> Vec<Amount> {
    clause.items.iter().filter_map(|i| i.amount()).collect()
}

/// "we use ounces", "units: ml".
fn units(clause: &Clause) -> Found {
    let unit = clause.items.iter().filter(|i| i.is_word()).find_map(|i| {
        i.senses.iter().find_map(|s| match s {
            Sense::Unit(unit) => Some(*unit),
            _ => None,
        })
    })?;
    let told = clause.has(Tag::SetUnits) && !clause.any(&[Tag::ThatWas, Tag::Wasnt, Tag::Fix]);
    let value = if unit == Unit::Oz { "oz" } else { "ml" };
    (told && !clause.has_number() && clause.items.len() <= 8).then(|| ("units", value.to_string()))
}

/// Rules and languages, by their names in the vocabularies.
fn named(clause: &Clause, lexicon: &Lexicon) -> Found {
    if clause.has_number() {
        return None;
    }
    let tokens = &clause.message.tokens;
    let names = |group: &str| lexicon.named(group, tokens);
    if clause.has(Tag::SetChildcare)
        && let Some(rules) = names("child care").first()
    {
        return Some(("child care", rules.to_string()));
    }
    if clause.has(Tag::SetRules)
        && let Some(rules) = names("rules").first()
    {
        return Some(("rules", rules.to_string()));
    }
    let languages = names("languages");
    (clause.has(Tag::SetLanguages) && !languages.is_empty()).then(|| ("languages", languages.join(",")))
}

/// The two clock times of a span of the day, however they are written.
fn two_clocks(clause: &Clause) -> Option<(Clock, Clock)> {
    let mut all = Vec::new();
    for item in &clause.items {
        match &item.kind {
            Kind::When(when) => all.extend(when.clock.into_iter().chain(when.clock_latest)),
            Kind::Amount(a) if a.unit.is_none() && a.value <= 24.0 && a.value.fract() == 0.0 => {
                all.push(Clock { hour: a.value as u32 % 24, minute: 0, fixed: a.value > 12.0 })
            }
            Kind::List(codes, range) if codes.iter().all(|c| *c <= 24) => {
                let ends = [codes.first(), codes.last()];
                all.extend(ends.into_iter().flatten().filter(|_| *range).map(|c| Clock {
                    hour: *c % 24,
                    minute: 0,
                    fixed: *c > 12,
                }));
            }
            _ => {}
        }
    }
    match all.as_slice() {
        [from, to] => Some((*from, *to)),
        _ => None,
    }
}

fn span(from: (u32, u32), to: (u32, u32)) -> String {
    format!("{:02}:{:02}-{:02}:{:02}", from.0, from.1, to.0, to.1)
}

/// "quiet 22 to 6": an open beginning is in the evening, an open end in the morning.
fn quiet(clause: &Clause) -> Found {
    let (from, to) = two_clocks(clause)
        .filter(|_| clause.has(Tag::SetQuiet) && clause.whens().all(|(_, w)| w.part.is_none()))?;
    let evening = if from.fixed || from.hour < 5 { from.hour } else { from.hour % 12 + 12 };
    Some(("quiet", span((evening, from.minute), (to.hour, to.minute))))
}

/// "plan at 20:00", "away 8 to 5".
fn times(clause: &Clause) -> Found {
    if clause.has(Tag::SetPlanAt) {
        let clock = clause.whens().find_map(|(_, w)| w.clock)?;
        let hour = if clock.fixed { clock.hour } else { clock.hour % 12 + 12 };
        return Some(("plan at", format!("{hour:02}:{:02}", clock.minute)));
    }
    let (from, to) = two_clocks(clause).filter(|_| {
        clause.has(Tag::SetAway)
            && (super::scene::site(clause).is_some()
                || !clause.items.iter().any(|i| i.is_word() && i.has(Tag::I)))
            && !clause.heads.iter().any(|h| h.form == Form::Done)
    })?;
    let evening = if to.fixed || to.hour > from.hour { to.hour } else { to.hour % 12 + 12 };
    Some(("away", span((from.hour, from.minute), (evening, to.minute))))
}

/// "time zone Chicago": the zone whose city has this name.
fn zone(clause: &Clause) -> Found {
    if !clause.has(Tag::SetZone) {
        return None;
    }
    let text = clause.message.tokens.iter().map(|t| t.plain.as_str()).collect::<Vec<_>>().join(" ");
    let simple = |name: &str| name.to_lowercase().replace(['_', '-'], " ");
    let whole = |name: &str| {
        format!(" {} ", text.replace(" / ", "/").replace(" - ", " ").replace(" _ ", " "))
            .contains(&format!(" {} ", simple(name)))
    };
    let city = |name: &str| name.contains('/') && name.rsplit('/').next().is_some_and(whole);
    let all = chrono_tz::TZ_VARIANTS.iter().map(|tz| tz.name());
    let found = all
        .clone()
        .find(|name| name.contains('/') && whole(name))
        .or_else(|| all.clone().find(|name| city(name)))?;
    Some(("zone", found.to_string()))
}

/// "workdays mon-fri", "I work mon, wed, fri".
fn workdays(clause: &Clause) -> Found {
    let days: Vec<(usize, u32)> = clause
        .whens()
        .filter_map(|(at, w)| match w.day {
            Some(DayName::Weekday(day)) => Some((at, day)),
            _ => None,
        })
        .collect();
    if !clause.has(Tag::SetWorkdays) || days.is_empty() || clause.has_number() {
        return None;
    }
    let ranged = days.len() == 2
        && clause.items[days[0].0 + 1..days[1].0]
            .iter()
            .any(|i| i.sign() == Some('-') || i.any(&[Tag::To, Tag::Until]))
        || days.len() == 2 && clause.whens().any(|(_, w)| w.role == super::when::Role::Until);
    let name = |day: &u32| WEEKDAYS[*day as usize % 7];
    let names: Vec<&str> = days.iter().map(|(_, d)| name(d)).collect();
    Some(("workdays", names.join(if ranged { "-" } else { "," })))
}

/// "fridge is 4 C", "room 72 F"; kept in degrees Celsius.
fn temperature(clause: &Clause) -> Found {
    let numbers = plain_numbers(clause);
    let [degrees] = numbers.as_slice() else { return None };
    let fahrenheit = clause.has(Tag::Fahrenheit);
    if !(fahrenheit || clause.has(Tag::Celsius)) || degrees.unit.is_some() {
        return None;
    }
    let celsius = if fahrenheit { (degrees.value - 32.0) / 1.8 } else { degrees.value };
    let value = format!("{} C", (celsius * 10.0).round() / 10.0);
    match () {
        () if clause.has(Tag::SetFridge) && (-5.0..=15.0).contains(&celsius) => Some(("fridge", value)),
        () if clause.has(Tag::SetRoom) && (5.0..=45.0).contains(&celsius) => Some(("room", value)),
        () => None,
    }
}

fn freezer(clause: &Clause) -> Found {
    if !clause.has(Tag::SetFreezer) || clause.has_number() {
        return None;
    }
    let value = match () {
        () if clause.has(Tag::SetIcebox) => "ice compartment",
        () if clause.has(Tag::SetDeep) => "own door",
        () => return None,
    };
    Some(("freezer", value.to_string()))
}

/// "Lio born 2027-01-05", "baby Mia, born 3 March, early".
fn child(clause: &Clause, ctx: &Context) -> Found {
    let born = clause.message.find(0, clause.message.tokens.len(), Tag::Born)?.0;
    let when: When = clause.whens().map(|(_, w)| *w).find(|w| matches!(w.day, Some(DayName::Date(..))))?;
    let day = settle(&when, ctx.sent, ctx.zone)?.at.date();
    let name = clause.items.iter().filter(|i| i.from < born).rev().find(|i| {
        let token = &clause.message.tokens[i.from];
        i.unknown && token.is_name()
    })?;
    let early = if clause.has(Tag::Early) { " early" } else { "" };
    let name = clause.message.typed(name.from, name.to);
    Some(("child", format!("{name} {:04}-{:02}-{:02}{early}", day.year(), day.month(), day.day())))
}

/// "we need 3 bottles of 120": bottles a day and their size.
fn need(clause: &Clause, ctx: &Context) -> Found {
    let ahead = clause.whens().any(|(_, w)| !w.now);
    let multi = clause.items.iter().find_map(|i| match i.kind {
        Kind::Multi(count, each) => Some((count, each)),
        _ => None,
    });
    // "sending back 1 x 120 that he didn't need"
    let denied = clause.bare(Tag::Negative).is_some();
    let (count, each) = multi.filter(|_| {
        !denied && clause.has(Tag::SetNeed) && !ahead && clause.bare(Tag::OtherThing).is_none()
    })?;
    let unit = each.unit.unwrap_or(ctx.units);
    let plausible = if unit == Unit::Ml { 15.0..=400.0 } else { 0.5..=12.0 };
    let value = match unit {
        Unit::Ml if ctx.units == Unit::Ml => format!("{count} x {}", each.value),
        Unit::Ml => format!("{count} x {} ml", each.value),
        Unit::Oz => format!("{count} x {} oz", each.value),
    };
    plausible.contains(&each.value).then_some(("need", value))
}

/// "our fridge limit is 48 h", "thawed limit: none": the longest that the household keeps milk.
fn limit(clause: &Clause) -> Found {
    let own = |h: &Head| matches!(h.verb, Verb::Thaw | Verb::Warm | Verb::Freeze);
    if !clause.has(Tag::Limit) || clause.items.len() > 9 || !clause.heads.iter().all(own) {
        return None;
    }
    let value = if clause.has(Tag::Nothing) { "none".to_string() } else { length(clause)? };
    let tells = |verb: Verb| clause.items.iter().any(|i| i.is(verb));
    let key = match () {
        () if tells(Verb::Thaw) => "thawed limit",
        () if tells(Verb::Warm) => "warmed limit",
        () if clause.has(Tag::BottleRest) => "leftover limit",
        () if clause.has(Tag::RoomWord) => "room limit",
        () => match clause.items.iter().find_map(Item::place)? {
            Place::Room => "room limit",
            Place::Cooler => "cooler limit",
            Place::Fridge => "fridge limit",
            Place::Freezer | Place::DeepFreezer => "freezer limit",
        },
    };
    Some((key, value))
}

/// "48 h", "4 days", "3 months".
fn length(clause: &Clause) -> Option<String> {
    if let Some(Kind::Lasting(minutes)) =
        clause.items.iter().map(|i| &i.kind).find(|k| matches!(k, Kind::Lasting(_)))
    {
        let hours = minutes / 60.0;
        return match () {
            () if hours < 1.0 || hours.fract() != 0.0 => None,
            () if clause.any(&[Tag::Day, Tag::Week]) => Some(format!("{} days", hours / 24.0)),
            () => Some(format!("{hours} h")),
        };
    }
    let months = clause.items.iter().find_map(|i| i.amount()?.whole())?;
    clause.has(Tag::MonthWord).then(|| format!("{months} months"))
}

/// "very clean: yes".
fn very_clean(clause: &Clause) -> Found {
    if !clause.has(Tag::Clean) || clause.items.len() > 5 {
        return None;
    }
    let value = match (clause.has(Tag::Yes), clause.has(Tag::No)) {
        (true, false) => "yes",
        (false, true) => "no",
        _ => return None,
    };
    Some(("very clean", value.to_string()))
}
