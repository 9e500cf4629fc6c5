//! What the bot believes, laid out for the room's page: shelves with their containers in the order of use.

use std::collections::BTreeMap;

use crate::chat::say::Speaker;
use crate::domain::act::Code;
use crate::domain::ledger::{Container, Ledger};
use crate::domain::milk::Moment;
use crate::domain::place::{Place, Site};
use crate::domain::query::{self, Tally};
use crate::domain::volume::Volume;
use crate::edge::room::{Belief, Shelf, Tape};

pub fn of(ledger: &Ledger, now: Moment) -> Belief {
    let speaker = Speaker::new(ledger, now);
    let turns: Vec<Code> =
        query::in_order_of_use(ledger, ledger.stock(), now).iter().map(|c| c.code).collect();
    let mut places: BTreeMap<(Option<Site>, Place), Vec<&Container>> = BTreeMap::new();
    for container in ledger.stock().existing() {
        places.entry((container.life.site.clone(), container.life.place)).or_default().push(container);
    }
    let shelves = places
        .into_iter()
        .map(|((site, place), mut containers)| {
            containers.sort_by_key(|c| (turn(&turns, c.code).unwrap_or(u32::MAX), c.use_by(), c.code));
            Shelf {
                key: place.key(),
                name: capital(&speaker.place(place, site.as_ref())),
                total: speaker.amount(total(&containers, now)),
                tapes: containers.iter().map(|c| tape(&speaker, c, turn(&turns, c.code), now)).collect(),
            }
        })
        .collect();
    let plan = query::next_workday(ledger, now).and_then(|day| speaker.plan(day)).into_iter().collect();
    Belief { shelves, totals: totals(&speaker, &Tally::of(ledger.stock(), now)), plan }
}

fn turn(turns: &[Code], code: Code) -> Option<u32> {
    turns.iter().position(|c| *c == code).map(|i| i as u32 + 1)
}

fn total(containers: &[&Container], now: Moment) -> Volume {
    containers.iter().filter(|c| query::counts(c, now)).map(|c| c.ml).sum()
}

fn tape(speaker: &Speaker, c: &Container, turn: Option<u32>, now: Moment) -> Tape {
    Tape {
        code: i64::from(c.code),
        amount: speaker.amount(c.ml),
        state: speaker.state(c.life.state),
        turn,
        expressed: c.life.expressed,
        best_by: c.keeping.best_by,
        // Of a time that is over the caution tells.
        use_by: c.use_by().filter(|at| *at > now),
        why: speaker.whose_of(c),
        caution: speaker.caution(c),
    }
}

fn totals(speaker: &Speaker, tally: &Tally) -> Vec<(String, String)> {
    let mut totals = vec![(speaker.word("total-usable"), tally.usable())];
    for (id, ml) in [
        ("total-started", tally.started),
        ("total-held", tally.held),
        ("total-suspect", tally.suspect),
        ("total-past", tally.past),
        ("total-unknown", tally.unknown),
        ("total-sent", tally.sent),
    ] {
        if !ml.is_zero() {
            totals.push((speaker.word(id), ml));
        }
    }
    totals.into_iter().map(|(name, ml)| (name, speaker.amount(ml))).collect()
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}
