//! From what was said to what is recorded and answered: acts + ledger + now → records + answer. Nothing is recorded that
//! was not said; what the words leave open is settled by the stock, and where the stock can't settle it, asked.

mod aside;
mod before;
mod choose;
mod correct;
mod draft;
mod feed;
mod owner;
mod put;
mod question;
mod record;
mod reply;

use super::act::{Act, Code, Kind, Reading, RuleOn, Topic, Unclear, What};
use super::answer::{Answer, Piece, Press};
use super::fact::Record;
use super::household::Household;
use super::keeping::Clock;
use super::ledger::Ledger;
use super::milk::Moment;
use super::rules;

pub use correct::told_of;
use draft::Draft;
pub use question::amount;

/// A message as far as deciding needs it.
#[derive(Debug, Clone)]
pub struct Message<'a> {
    pub by: Option<&'a str>,
    pub sent: Moment,
    /// As typed; nothing where no words were.
    pub text: &'a str,
    /// By its id in the chat.
    pub id: Option<i64>,
    /// What the message replies to recorded this entry.
    pub replies_to: Option<i64>,
    /// The message replied to was a reminder or a question of the bot's.
    pub about: Option<About>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    Reminder(i64),
    Question(i64),
}

#[derive(Debug, Clone, Default, PartialEq)]
pub struct Decision {
    pub records: Vec<Record>,
    pub answer: Answer,
    /// The acts with what the stock settled filled in.
    pub acts: Vec<Act>,
    /// The labels of containers that came on the books.
    pub made: Vec<Code>,
    /// A bot message that is changed in place: the receipt of an entry, or a reminder.
    pub changes: Option<Changes>,
    /// Whose entry it is and from which message, where it is not that of whoever acted now.
    pub on_behalf: Option<(Option<String>, Option<i64>)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Changes {
    Receipt(i64),
    Reminder(i64),
    Question(i64),
    /// A line more under a receipt, and other buttons.
    Choices(i64),
}

impl Decision {
    fn say(piece: Piece) -> Decision {
        Decision { answer: Answer { pieces: vec![piece], buttons: Vec::new() }, ..Decision::default() }
    }

    fn record(record: Record, piece: Piece) -> Decision {
        Decision { records: vec![record], ..Decision::say(piece) }
    }

    fn silent() -> Decision {
        Decision::default()
    }
}

/// What a message means for the household.
pub fn decide(ledger: &Ledger, message: &Message, reading: Reading) -> Decision {
    if let Some(unclear) = reading.unclear {
        return unclear_words(ledger, message, unclear);
    }
    let acts = reading.acts;
    if acts.len() > 1 && acts.iter().any(is_talk) && !acts.iter().all(|a| a.kind == Kind::Set) {
        return in_turn(ledger, message, acts);
    }
    let Some(first) = acts.first().cloned() else { return Decision::silent() };
    let instead = || question::instead(ledger, message, &first);
    let mut decision = match first.kind {
        Kind::Correct => instead().unwrap_or_else(|| correct::correct(ledger, message, &first)),
        Kind::Undo => instead().unwrap_or_else(|| correct::undo(ledger, message, first.entries.unwrap_or(1))),
        Kind::Claim | Kind::Done | Kind::Yes | Kind::No => reply::reply(ledger, message, first.kind),
        Kind::Pause => pause(ledger, &first),
        Kind::Resume => Decision::record(Record::Resumed, Piece::Resumed),
        Kind::Set => settings(ledger, &acts),
        Kind::Outage if acts.len() == 1 && first.minutes.is_some() => {
            aside::outage_over(ledger, first.minutes.unwrap_or_default())
        }
        Kind::Count if acts.len() == 1 => return aside::counted(ledger, message, first),
        Kind::Ask if first.rule == Some(RuleOn::Medicine) => aside::medicine(ledger, message, &first),
        Kind::Alarm => Decision::say(Piece::Alarm { what: first.what.unwrap_or(What::Unwell) }),
        _ => return record_acts(ledger, message, acts),
    };
    decision.acts = acts;
    correct::in_its_wake(ledger, message, decision)
}

/// What was said before may settle what the words leave open; else it is asked.
fn unclear_words(ledger: &Ledger, message: &Message, mut unclear: Unclear) -> Decision {
    let follows = unclear.acts.iter().find(|a| a.more || a.again);
    if let Some(act) = follows.and_then(|act| before::follows(ledger, message, act)) {
        return record_acts(ledger, message, [unclear.first, vec![act]].concat());
    }
    let nothing = |a: &Act| a.again && a.ml.is_none();
    unclear.acts.retain(|a| !nothing(a));
    unclear.acts.iter_mut().for_each(|a| (a.more, a.again) = (false, false));
    question::ask(ledger, message, unclear.about, unclear.options(), None)
}

/// Not a fact about milk: about an earlier entry, the bot or the household.
fn is_talk(act: &Act) -> bool {
    use Kind::{Alarm, Claim, Correct, Done, No, Pause, Resume, Set, Undo, Yes};
    matches!(act.kind, Correct | Undo | Claim | Done | Yes | No | Pause | Resume | Set | Alarm)
}

/// What a message says of other things and what it says of milk, one after the other, as if in messages of their own.
/// An alarm is answered first, then what is about earlier entries.
fn in_turn(ledger: &Ledger, message: &Message, acts: Vec<Act>) -> Decision {
    let (settings, others): (Vec<Act>, Vec<Act>) = acts.into_iter().partition(|a| a.kind == Kind::Set);
    let (mut talk, facts): (Vec<Act>, Vec<Act>) = others.into_iter().partition(is_talk);
    talk.sort_by_key(|a| a.kind != Kind::Alarm);
    let turns = talk.into_iter().map(|act| vec![act]).chain([settings, facts]);
    let mut so_far = ledger.clone();
    let mut whole = Decision::default();
    for acts in turns.filter(|acts| !acts.is_empty()) {
        let next = decide(&so_far, message, Reading { acts, unclear: None });
        so_far = correct::after(&so_far, message, &next.records);
        whole.records.extend(next.records);
        whole.answer.pieces.extend(next.answer.pieces);
        whole.answer.buttons.extend(next.answer.buttons);
        whole.acts.extend(next.acts);
        whole.made.extend(next.made);
    }
    whole
}

/// A feed that was told to have begun is completed by the next one that names nothing else.
fn record_acts(ledger: &Ledger, message: &Message, acts: Vec<Act>) -> Decision {
    if let [act] = acts.as_slice()
        && act.kind == Kind::Feed
        && let Some((entry, whole)) = feed::completes(ledger, message.sent, act)
    {
        return answered(record_and_answer(ledger, message, vec![whole], Some(entry)));
    }
    match before::settle(ledger, message, acts) {
        Ok(acts) => question::settled(ledger, message, record_and_answer(ledger, message, acts, None)),
        Err(asked) => *asked,
    }
}

fn pause(ledger: &Ledger, act: &Act) -> Decision {
    let until = act.until.map(|until| draft::moment(ledger, until));
    Decision::record(Record::Paused { until }, Piece::Paused { until })
}

/// Records what was said, then answers what was asked, in the order of the message. With `amends`, as a correction of an
/// earlier entry.
fn record_and_answer(ledger: &Ledger, message: &Message, acts: Vec<Act>, amends: Option<i64>) -> Decision {
    let mut draft = Draft::new(ledger, message, amends);
    for (i, act) in acts.iter().enumerate() {
        let before = draft.clone();
        if act.kind == Kind::Ask {
            draft.answer(act.clone());
        } else {
            record::record(&mut draft, act.clone());
        }
        if let Some((about, options)) = draft.question.take() {
            let whole = |act: Act| [&acts[..i], &[act], &acts[i + 1..]].concat();
            let options = options.into_iter().map(whole).collect();
            return question::ask(ledger, message, about, options, amends);
        }
        if draft.pieces == [Piece::AmountMissing] && draft.stuck && amends.is_none() {
            return question::how_much(ledger, message, acts);
        }
        if draft.stuck {
            let others = acts.iter().enumerate().filter(|(n, _)| *n != i).map(|(_, act)| act);
            let Some(without) = before.without(act, &draft.pieces, others) else { break };
            draft = without;
        }
    }
    draft.finish()
}

/// All settings of a message, or none of them.
fn settings(ledger: &Ledger, acts: &[Act]) -> Decision {
    let mut household = ledger.household().clone();
    let mut decision = Decision { acts: acts.to_vec(), ..Decision::default() };
    for act in acts.iter().filter(|a| a.kind == Kind::Set) {
        let setting = act.setting.clone().unwrap_or_default();
        let value = act.value.clone().unwrap_or_default();
        match household.set(&setting, &value, &super::ledger::known_rules) {
            Ok(()) => {
                decision.records.push(Record::Set { setting: setting.clone(), value: value.clone() });
                decision.answer.pieces.push(Piece::Set { setting, value });
            }
            Err(error) => return Decision::say(Piece::BadSetting { error }),
        }
    }
    // Whatever came first, a limit stands beside the rules that the message ends with.
    let loose =
        acts.iter().filter_map(|a| a.setting.clone()).find_map(|setting| too_loose(&household, setting));
    loose.map_or(decision, Decision::say)
}

/// A limit that is looser than the publisher's: that stays, as it is told here.
fn too_loose(household: &Household, setting: String) -> Option<Piece> {
    let rules = rules::find(&household.rules)?;
    let clock = Clock::ALL.into_iter().find(|c| setting.strip_suffix(" limit") == Some(c.key()))?;
    let wanted = *household.limits.get(clock.key())?;
    let limit = clock.looser_than_published(wanted, rules)?;
    Some(Piece::LimitStays { setting, limit, rules })
}

/// A button was pressed.
pub fn press(ledger: &Ledger, message: &Message, press: Press) -> Decision {
    let decision = match press {
        Press::Why { code } => Decision::say(Piece::Topic {
            topic: Topic::Why,
            codes: vec![code],
            pick: None,
            place: None,
            ml: None,
            rule: None,
            asked: Box::default(),
        }),
        Press::Undo { entry } => correct::take_back(ledger, message, &[entry], true),
        Press::Claim { reminder } => reply::claim(ledger, message, reminder),
        Press::Close { reminder } => reply::close(ledger, message, reminder),
        Press::Option { question, index } => reply::option(ledger, message, question, index),
        Press::Other { entry } => reply::others(ledger, message, entry),
        Press::Code { entry, code } => {
            correct::amend(ledger, message, entry, |acts| correct::set_code(acts, code))
        }
        Press::Poured { entry } => answered(correct::amend(ledger, message, entry, |acts| {
            for act in acts.iter_mut().filter(|a| a.kind == Kind::Feed) {
                act.poured = true;
            }
        })),
        Press::Place { entry, place } => answered(correct::amend(ledger, message, entry, |acts| {
            acts.iter_mut().for_each(|act| correct::set_place(act, place));
        })),
        Press::How { entry, how } => answered(correct::amend(ledger, message, entry, |acts| {
            for act in acts.iter_mut().filter(|a| matches!(a.kind, Kind::Thaw | Kind::Thawed | Kind::Feed)) {
                act.how = Some(how);
            }
        })),
    };
    correct::in_its_wake(ledger, message, decision)
}

/// What was left open and is told now corrects nothing.
fn answered(mut decision: Decision) -> Decision {
    decision.answer.pieces.retain(|piece| *piece != Piece::Corrected);
    decision
}

/// A photo, a voice message, a sticker: how to type it is told once a day.
pub fn unreadable(ledger: &Ledger, message: &Message) -> Decision {
    let zone = ledger.household().zone;
    let day = |at: Moment| at.with_timezone(&zone).date_naive();
    if ledger.talk().hinted.is_some_and(|at| day(at) == day(message.sent)) {
        return Decision::silent();
    }
    Decision::record(Record::Hinted, Piece::Unreadable)
}

/// A message was edited: what it recorded becomes what it would have recorded, or is taken back.
pub fn edited(ledger: &Ledger, message: &Message, reading: Reading) -> Decision {
    let alarms: Vec<Act> = reading.acts.iter().filter(|a| a.kind == Kind::Alarm).cloned().collect();
    if !alarms.is_empty() {
        // Help comes first; what was recorded stays until somebody says more.
        return decide(ledger, message, Reading { acts: alarms, unclear: None });
    }
    let Some(said) = message.id.and_then(|id| ledger.said_in(id)) else {
        return edited_before_recorded(ledger, message, reading);
    };
    let records = |a: &Act| {
        !matches!(a.kind, Kind::Ask | Kind::Claim | Kind::Done | Kind::Yes | Kind::No | Kind::Alarm)
    };
    let nothing = !reading.acts.iter().any(records);
    let decision = match reading.unclear {
        Some(unclear) => question::ask(ledger, message, unclear.about, unclear.options(), Some(said.seq)),
        None if nothing && said.taken_back => Decision::silent(),
        None if nothing => correct::take_back(ledger, message, &[said.seq], false),
        None => record_and_answer(ledger, message, reading.acts, Some(said.seq)),
    };
    correct::in_its_wake(ledger, message, decision)
}

/// Nothing came of the message yet; an edit answers what was asked about it.
fn edited_before_recorded(ledger: &Ledger, message: &Message, reading: Reading) -> Decision {
    let mut decision = decide(ledger, message, reading);
    let asked = ledger.talk().questions().iter().filter(|q| q.question.message == message.id);
    decision.records.extend(asked.map(|q| Record::Answered { question: q.seq }));
    decision
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::fact::Entry;
    use crate::domain::household::Household;
    use crate::domain::volume::Volume;

    fn pump(ml: f64) -> Act {
        Act { ml: Some(Volume::from_ml(ml)), ..Act::new(Kind::Pump) }
    }

    fn says(ledger: &mut Ledger, minute: i64, acts: Vec<Act>) -> Decision {
        let sent = Moment::default() + chrono::TimeDelta::minutes(minute);
        let message =
            Message { by: Some("Ana"), sent, text: "", id: Some(minute), replies_to: None, about: None };
        let decision = decide(ledger, &message, Reading { acts, unclear: None });
        for record in decision.records.clone() {
            let (seq, by) = (ledger.next_seq(), Some("Ana".to_owned()));
            ledger.append(Entry { seq, recorded: sent, by, message: message.id, record });
        }
        decision
    }

    #[test]
    fn an_undo_and_a_fact_in_one_message_are_both_taken() {
        let mut ledger = Ledger::new(Household::default());
        says(&mut ledger, 1, vec![pump(120.0)]);
        let decision = says(&mut ledger, 2, vec![Act::new(Kind::Undo), pump(130.0)]);
        assert_eq!(ledger.stock().totals.pumped, Volume::from_ml(130.0));
        // No label is given twice, and the button is the new entry's.
        assert_eq!(decision.made, [2]);
        assert!(ledger.stock().get(1).is_none());
        assert!(decision.answer.buttons.iter().any(|b| b.press == Press::Undo { entry: 3 }));
    }

    #[test]
    fn how_to_type_it_is_told_once_a_day() {
        let mut ledger = Ledger::new(Household::default());
        let mut told = Vec::new();
        for hour in [8, 9, 23, 24, 40, 49] {
            let sent = Moment::default() + chrono::TimeDelta::hours(hour);
            let message =
                Message { by: Some("Ana"), sent, text: "", id: None, replies_to: None, about: None };
            let decision = unreadable(&ledger, &message);
            told.push(!decision.answer.pieces.is_empty());
            for record in decision.records {
                let (seq, by) = (ledger.next_seq(), Some("Ana".to_owned()));
                ledger.append(Entry { seq, recorded: sent, by, message: None, record });
            }
        }
        assert_eq!(told, [true, false, false, true, false, true]);
    }

    #[test]
    fn the_fact_may_be_written_first() {
        let mut ledger = Ledger::new(Household::default());
        says(&mut ledger, 1, vec![pump(120.0)]);
        says(&mut ledger, 2, vec![pump(130.0), Act::new(Kind::Undo)]);
        assert_eq!(ledger.stock().totals.pumped, Volume::from_ml(130.0));
    }
}
