//! How a replay is printed: as a conversation for people, or as one object a line.

use std::io::{self, Write};

use chrono::{DateTime, SecondsFormat, Utc};
use chrono_tz::Tz;
use serde_json::{Value, json};

use crate::app::wire::Button;
use crate::domain::household::Household;
use crate::domain::ledger::{Container, Ledger};
use crate::domain::milk::State;
use crate::domain::place::Place;
use crate::domain::query::Tally;

use super::{Deed, Seen};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    People,
    Json,
}

pub struct Printer {
    form: Form,
    zone: Tz,
    day: Option<chrono::NaiveDate>,
}

impl Printer {
    pub fn new(form: Form, household: &Household) -> Printer {
        Printer { form, zone: household.zone, day: None }
    }

    pub fn seen(&mut self, out: &mut impl Write, seen: &Seen) -> io::Result<()> {
        match self.form {
            Form::Json => writeln!(out, "{}", self.object(seen)),
            Form::People => self.people(out, seen),
        }
    }

    /// The containers ever on the books, and the totals.
    pub fn end(&self, out: &mut impl Write, ledger: &Ledger, now: DateTime<Utc>) -> io::Result<()> {
        if self.form == Form::People {
            return Ok(());
        }
        for container in ledger.stock().ever() {
            writeln!(out, "{}", self.container(container))?;
        }
        writeln!(out, "{}", stock(ledger, now))
    }

    fn rfc3339(&self, at: DateTime<Utc>) -> String {
        at.with_timezone(&self.zone).to_rfc3339_opts(SecondsFormat::Secs, false)
    }

    fn time(&self, at: Option<DateTime<Utc>>) -> Value {
        at.map_or(Value::Null, |at| self.rfc3339(at).into())
    }

    fn object(&self, seen: &Seen) -> Value {
        match seen {
            Seen::Heard { n, at, by, what, heard } => json!({
                "type": "heard", "n": n, "at": self.rfc3339(*at), "by": by, "text": text_of(what),
                "acts": heard.acts, "codes": heard.codes,
            }),
            Seen::Reply { at, to, text, buttons, .. } => json!({
                "type": "reply", "at": self.rfc3339(*at), "to": to, "text": text,
                "buttons": labels(buttons), "picture": false,
            }),
            Seen::Reminder { at, reminder, text, buttons, silent, .. } => json!({
                "type": "reminder", "at": self.rfc3339(*at), "to": reminder.to.as_deref().unwrap_or("group"),
                "why": reminder.why, "stage": reminder.stage,
                "codes": reminder.codes.iter().map(|(code, _)| code).collect::<Vec<_>>(),
                "text": text, "buttons": labels(buttons), "silent": silent,
            }),
            Seen::Edited { at, bot, text, buttons } => json!({
                "type": "edited", "at": self.rfc3339(*at), "bot": bot, "text": text, "buttons": labels(buttons),
            }),
        }
    }

    fn container(&self, c: &Container) -> Value {
        let life = &c.life;
        // While it thaws nobody has said that it is thawed; after that the clock counts from leaving the freezer.
        let thawed = life.fully_thawed.or(life.left_freezer).filter(|_| life.state > State::Thawing);
        json!({
            "type": "container", "code": c.code, "ml": c.ml, "milk": life.state, "place": life.place,
            "site": life.site, "expressed": self.time(life.expressed), "frozen": self.time(life.first_frozen),
            "thawed": self.time(thawed),
            "opened": self.time(life.feed_began.or(life.feed_ended)),
            "best_by": self.time(c.keeping.best_by), "use_by": self.time(c.use_by()),
            "held": c.held_since.is_some(), "suspect": c.suspect_since.is_some(), "gone": c.gone,
        })
    }

    fn people(&mut self, out: &mut impl Write, seen: &Seen) -> io::Result<()> {
        let (at, who, text, extra) = match seen {
            Seen::Heard { n, at, by, what, .. } => (at, format!("{by} [{n}]"), said(what), String::new()),
            Seen::Reply { at, bot, text, buttons, .. } => {
                (at, format!("Firstout ({bot})"), text.clone(), shown(buttons))
            }
            Seen::Reminder { at, bot, text, buttons, silent, .. } => {
                let bell = if *silent { "silently" } else { "rings" };
                (at, format!("Firstout ({bot}), {bell}"), text.clone(), shown(buttons))
            }
            Seen::Edited { at, bot, text, buttons } => {
                (at, format!("Firstout changes ({bot})"), text.clone(), shown(buttons))
            }
        };
        let local = at.with_timezone(&self.zone);
        if self.day.replace(local.date_naive()) != Some(local.date_naive()) {
            writeln!(out, "\n{}\n", local.format("%A %-d %B %Y"))?;
        }
        let text = text.replace('\n', "\n        ");
        writeln!(out, "{}  {who}: {text}", local.format("%H:%M"))?;
        if !extra.is_empty() {
            writeln!(out, "        {extra}")?;
        }
        Ok(())
    }
}

fn text_of(deed: &Deed) -> &str {
    match deed {
        Deed::Says { text } | Deed::Edits { text, .. } | Deed::Replies { text, .. } => text,
        Deed::RepliesToBot { text, .. } => text,
        Deed::Taps { label, .. } => label,
    }
}

fn said(deed: &Deed) -> String {
    match deed {
        Deed::Says { text } => text.clone(),
        Deed::Edits { n, text } => format!("(changes {n}) {text}"),
        Deed::Replies { n, text } => format!("(to {n}) {text}"),
        Deed::RepliesToBot { n, text } => format!("(to Firstout ({n})) {text}"),
        Deed::Taps { label, .. } => format!("presses [{label}]"),
    }
}

fn labels(buttons: &[Button]) -> Vec<&str> {
    buttons.iter().map(|b| b.label.as_str()).collect()
}

fn shown(buttons: &[Button]) -> String {
    buttons.iter().map(|b| format!("[{}]", b.label)).collect::<Vec<_>>().join(" ")
}

fn stock(ledger: &Ledger, now: DateTime<Utc>) -> Value {
    let tally = Tally::of(ledger.stock(), now);
    let totals = &ledger.stock().totals;
    json!({
        "type": "stock",
        "fridge_ml": tally.place(Place::Fridge), "freezer_ml": tally.place(Place::Freezer),
        "deep_freezer_ml": tally.place(Place::DeepFreezer), "cooler_ml": tally.place(Place::Cooler),
        "room_ml": tally.place(Place::Room), "started_ml": tally.started, "held_ml": tally.held,
        "suspect_ml": tally.suspect, "past_ml": tally.past, "unknown_ml": tally.unknown, "sent_ml": tally.sent,
        "pumped_ml": totals.pumped, "stored_ml": totals.stored, "found_ml": totals.found, "fed_ml": totals.fed,
        "discarded_ml": totals.discarded, "donated_ml": totals.donated, "missing_ml": totals.missing,
    })
}
