//! Answers to what the bot asked or asked for: "on it", "done", yes, no, and the buttons that say the same.

use crate::domain::act::{Act, Code, Doubt, Kind, ThawHow};
use crate::domain::answer::{Answer, Choice, ChoiceLabel, Piece, Press};
use crate::domain::fact::{Dated, Fact, Question, Record, Reminder, Stage, Why};
use crate::domain::ledger::{Container, Ledger};
use crate::domain::milk::{Moment, State};
use crate::domain::place::{Place, Site};
use crate::domain::reminders::ANSWER_WITHIN;

use super::{About, Changes, Decision, Message, answered, correct, question, record_and_answer};

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
        // "No" to "the same?" is the other answer, not none.
        Some(q) if q.question.about == Doubt::Same => option(ledger, message, q.seq, usize::from(!yes)),
        // Between several readings "yes" chooses none.
        Some(q) if yes && q.question.options.len() > 1 => question::again(q),
        Some(q) if yes => option(ledger, message, q.seq, 0),
        Some(q) => question::dropped(q),
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
    // A reminder tells of one site only; what is done there stays there.
    let site = codes.first().and_then(|code| ledger.stock().get(*code)).and_then(|c| c.life.site.clone());
    if let Some(fact) = done(&open.reminder, codes.clone(), site) {
        let acts = vec![Act { codes, ..act_of(&fact) }];
        let facts = vec![Dated { at: message.sent, fact }];
        decision.records.insert(0, Record::Said { acts: acts.into(), facts });
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
    told.filter(|c| c.gone.is_none() && still(c)).map(|c| c.code).collect()
}

/// The fact that doing what a reminder asked for makes.
fn done(reminder: &Reminder, codes: Vec<Code>, site: Option<Site>) -> Option<Fact> {
    if codes.is_empty() {
        return None;
    }
    match (reminder.why, reminder.stage) {
        (Why::Plan, _) => Some(Fact::Thaw { codes, how: Some(ThawHow::Fridge) }),
        (Why::Room | Why::Cooler, Stage::Soon) => Some(Fact::Moved { codes, place: Place::Fridge, site }),
        (Why::Fridge, Stage::Soon) => Some(Fact::Moved { codes, place: Place::Freezer, site }),
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

/// Two people wrote of one thing: it is noted once, with what the second knew besides.
fn join(ledger: &Ledger, message: &Message, question: &Question, decision: &mut Decision) {
    decision.answer.pieces.push(Piece::NotedOnce);
    let Some((entry, acts)) = &question.joined else { return };
    let joined = answered(correct::amend(ledger, message, *entry, |said| said.clone_from(acts)));
    decision.records.extend(joined.records);
    decision.answer.pieces.extend(joined.answer.pieces);
    decision.answer.buttons.extend(joined.answer.buttons);
}

/// Most buttons that are shown under a receipt to choose from.
const MOST_OTHERS: usize = 6;

/// The containers that it may have been instead, likeliest first, under the receipt.
pub fn others(ledger: &Ledger, message: &Message, entry: i64) -> Decision {
    let Some(said) = ledger.said(entry).filter(|s| !s.taken_back) else {
        return Decision::say(Piece::NothingToCorrect);
    };
    let chosen: Vec<Code> = said.acts.iter().flat_map(|a| a.codes.iter().copied()).collect();
    let frozen = said.acts.iter().any(|a| a.kind == Kind::Thaw);
    let stock = ledger.stock_without(Some(entry));
    let mut found: Vec<&Container> = stock.existing().filter(|c| is_choice(c, frozen)).collect();
    found.retain(|c| !chosen.contains(&c.code));
    found.sort_by_key(|c| (c.is_past(message.sent), c.is_frozen() != frozen, c.use_by(), c.code));
    let button = |c: &&Container| Choice {
        label: ChoiceLabel::Container(c.code),
        press: Press::Code { entry, code: c.code },
    };
    let mut buttons: Vec<Choice> = found.iter().take(MOST_OTHERS).map(button).collect();
    buttons.push(Choice { label: ChoiceLabel::Undo, press: Press::Undo { entry } });
    Decision {
        answer: Answer { pieces: vec![Piece::PickOther], buttons },
        changes: Some(Changes::Choices(entry)),
        ..Decision::default()
    }
}

/// At home, and frozen if it is to be thawed.
pub fn is_choice(c: &Container, frozen: bool) -> bool {
    c.gone.is_none() && c.life.site.is_none() && (c.is_frozen() || !frozen)
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
        text: &question.text,
        ..message.clone()
    };
    let mut decision = record_and_answer(ledger, &then, acts.clone(), question.entry);
    if question.about == Doubt::Same && index == 0 {
        join(ledger, message, question, &mut decision);
    }
    decision.records.push(Record::Answered { question: seq });
    decision.changes = Some(Changes::Question(seq));
    decision.on_behalf = Some((then.by.map(str::to_owned), then.id));
    decision
}
