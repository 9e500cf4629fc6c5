//! Answers to what the bot asked or asked for: "on it", "done", yes, no, and the buttons that say the same.

use crate::domain::act::{Act, Code, Kind, ThawHow};
use crate::domain::answer::Piece;
use crate::domain::fact::{Dated, Fact, Record, Reminder, Stage, Why};
use crate::domain::ledger::{Container, Ledger};
use crate::domain::milk::{Moment, State};
use crate::domain::place::Place;
use crate::domain::reminders::ANSWER_WITHIN;

use super::{About, Changes, Decision, Message, record_and_answer};

pub fn reply(ledger: &Ledger, message: &Message, kind: Kind) -> Decision {
    match kind {
        Kind::Yes | Kind::No => return yes_or_no(ledger, message, kind == Kind::Yes),
        _ => {}
    }
    let named = match message.about {
        Some(About::Reminder(seq)) => ledger.talk().reminder(seq),
        _ => ledger
            .talk()
            .open_reminders()
            .take_while(|r| message.sent - r.said < ANSWER_WITHIN)
            .find(|r| !left_to_do(ledger, &r.reminder, message.sent).is_empty()),
    };
    match named.map(|r| r.seq) {
        // "done" and "on it" between people are none of the bot's business.
        None => Decision::silent(),
        Some(seq) if kind == Kind::Claim => claim(ledger, message, seq),
        Some(seq) => close(ledger, message, seq),
    }
}

/// A bare yes or no: the newest question put to this person; a bare no leaves everything unrecorded.
fn yes_or_no(ledger: &Ledger, message: &Message, yes: bool) -> Decision {
    let asked = match message.about {
        Some(About::Question(seq)) => ledger.talk().question(seq),
        _ => message.by.and_then(|by| ledger.talk().questions_of(by).next()),
    };
    match asked.filter(|q| message.sent - q.asked < ANSWER_WITHIN) {
        None => Decision::silent(),
        Some(q) if yes => option(ledger, message, q.seq, 0),
        Some(q) => Decision { records: vec![Record::Answered { question: q.seq }], ..Decision::default() },
    }
}

pub fn claim(ledger: &Ledger, message: &Message, seq: i64) -> Decision {
    let Some(open) = ledger.talk().reminder(seq) else { return Decision::say(Piece::NothingAsked) };
    if open.closed || open.claimed_by.is_some() {
        return Decision::silent();
    }
    let by = message.by.unwrap_or_default().to_owned();
    Decision {
        changes: Some(Changes::Reminder(seq)),
        ..Decision::record(Record::Claimed { reminder: seq }, Piece::Claimed { by })
    }
}

/// What was asked for has been done: it is recorded, on all the containers.
pub fn close(ledger: &Ledger, message: &Message, seq: i64) -> Decision {
    let Some(open) = ledger.talk().reminder(seq) else { return Decision::say(Piece::NothingAsked) };
    if open.closed {
        return Decision::silent();
    }
    let by = message.by.unwrap_or_default().to_owned();
    let mut decision = Decision::record(Record::Closed { reminder: seq }, Piece::Closed { by });
    decision.changes = Some(Changes::Reminder(seq));
    let codes = left_to_do(ledger, &open.reminder, message.sent);
    if let Some(fact) = done(&open.reminder, codes.clone()) {
        let acts = vec![Act { codes, ..act_of(&fact) }];
        let facts = vec![Dated { at: message.sent, fact }];
        decision.records.insert(0, Record::Said { acts, facts });
    }
    decision
}

/// The containers for which it still holds what the reminder said. What has moved since was seen to: "done" must not, say,
/// thaw a bag that went from the room to the freezer.
fn left_to_do(ledger: &Ledger, reminder: &Reminder, now: Moment) -> Vec<Code> {
    let still = |c: &Container| match (reminder.why, reminder.stage) {
        (_, Stage::Past) => c.is_past(now),
        (Why::Plan, _) => c.is_frozen(),
        (Why::Room, _) => c.life.place == Place::Room && !c.is_started(),
        (Why::Cooler, _) => c.life.place == Place::Cooler,
        (Why::Fridge, _) => c.life.place == Place::Fridge && c.life.state == State::Fresh,
        _ => true,
    };
    let told = reminder.codes.iter().filter_map(|(code, _)| ledger.stock().get(*code));
    told.filter(|c| c.gone.is_none() && c.life.site.is_none() && still(c)).map(|c| c.code).collect()
}

/// The fact that doing what a reminder asked for makes.
fn done(reminder: &Reminder, codes: Vec<Code>) -> Option<Fact> {
    if codes.is_empty() {
        return None;
    }
    match (reminder.why, reminder.stage) {
        (Why::Plan, _) => Some(Fact::Thaw { codes, how: Some(ThawHow::Fridge) }),
        (Why::Room | Why::Cooler, Stage::Soon) => {
            Some(Fact::Moved { codes, place: Place::Fridge, site: None })
        }
        (Why::Fridge, Stage::Soon) => Some(Fact::Moved { codes, place: Place::Freezer, site: None }),
        (_, Stage::Past) => Some(Fact::Discarded { codes, ml: None }),
        _ => None,
    }
}

fn act_of(fact: &Fact) -> Act {
    match fact {
        Fact::Thaw { how, .. } => Act { how: *how, ..Act::new(Kind::Thaw) },
        Fact::Moved { place, .. } => Act { place: Some(*place), ..Act::new(Kind::Move) },
        _ => Act::new(Kind::Discard),
    }
}

/// One of the readings that were offered was meant.
pub fn option(ledger: &Ledger, message: &Message, seq: i64, index: usize) -> Decision {
    let Some(asked) = ledger.talk().question(seq) else { return Decision::say(Piece::NothingAsked) };
    let question = &asked.question;
    let Some(acts) = question.options.get(index) else { return Decision::say(Piece::NothingAsked) };
    let then = Message {
        by: question.of.as_deref().or(message.by),
        sent: question.sent,
        id: question.message,
        ..message.clone()
    };
    let mut decision = record_and_answer(ledger, &then, acts.clone(), question.entry);
    decision.records.push(Record::Answered { question: seq });
    decision.changes = Some(Changes::Question(seq));
    decision.on_behalf = Some((then.by.map(str::to_owned), then.id));
    decision
}
