//! What the bot asked and said unasked, and what became of it: so that nothing is said twice and a button finds what it
//! belongs to.

use chrono::NaiveDate;
use imbl::{HashSet, OrdSet};

use crate::domain::act::{Code, Doubt};
use crate::domain::fact::{Entry, Question, Record, Reminder, Stage, Why};
use crate::domain::milk::Moment;

#[derive(Debug, Clone, PartialEq)]
pub struct OpenQuestion {
    pub seq: i64,
    pub asked: Moment,
    pub question: Question,
}

#[derive(Debug, Clone, PartialEq)]
pub struct OpenReminder {
    pub seq: i64,
    pub said: Moment,
    pub reminder: Reminder,
    pub claimed_by: Option<String>,
    pub closed: bool,
}

/// Containers that a question named.
#[derive(Debug, Clone, PartialEq)]
pub struct Spoken {
    pub seq: i64,
    by: Option<String>,
    message: Option<i64>,
    pub codes: Vec<Code>,
}

#[derive(Debug, Clone, Default)]
pub struct Talk {
    questions: Vec<OpenQuestion>,
    /// Left without an answer; the newest last.
    lapsed: Vec<OpenQuestion>,
    /// The questions left open that were named already.
    listed: HashSet<i64>,
    reminders: Vec<OpenReminder>,
    spoken: Vec<Spoken>,
    /// The containers that were gone when something was told of them, by entry.
    refused: Vec<(i64, Vec<Code>)>,
    /// By label, so that what is known of milk that is about lies together.
    told: OrdSet<(Code, Why, Stage, Option<Moment>)>,
    told_days: HashSet<(Why, NaiveDate, Option<String>)>,
    /// Nothing is said unasked; until then, or until somebody says so.
    pub paused: Option<Option<Moment>>,
    /// When it was last told how to type what the bot can't read.
    pub hinted: Option<Moment>,
}

/// Old reminders can't be claimed any more; they are kept this many at most.
const REMEMBERED: usize = 64;

impl Talk {
    pub fn take(&mut self, entry: &Entry) {
        match &entry.record {
            Record::Asked(question) => self.questions.push(OpenQuestion {
                seq: entry.seq,
                asked: entry.recorded,
                question: question.clone(),
            }),
            Record::Answered { question } => self.questions.retain(|q| q.seq != *question),
            Record::Lapsed { question } => self.lapse(*question),
            Record::Spoke { codes, refused: false } => self.spoke(entry, codes),
            Record::Spoke { codes, refused: true } => {
                self.refused.push((entry.seq, codes.clone()));
                let old = self.refused.len().saturating_sub(REMEMBERED);
                self.refused.drain(..old);
            }
            Record::Hinted => self.hinted = Some(entry.recorded),
            Record::Reminded(reminder) => self.reminded(entry, reminder),
            Record::Claimed { reminder } => {
                if let Some(open) = self.reminder_mut(*reminder) {
                    open.claimed_by = entry.by.clone();
                }
            }
            Record::Closed { reminder } => {
                if let Some(open) = self.reminder_mut(*reminder) {
                    open.closed = true;
                }
            }
            Record::Paused { until } => self.paused = Some(*until),
            Record::Resumed => self.paused = None,
            _ => {}
        }
    }

    fn spoke(&mut self, entry: &Entry, codes: &[Code]) {
        let Entry { seq, by, message, .. } = entry;
        self.spoken.push(Spoken { seq: *seq, by: by.clone(), message: *message, codes: codes.to_vec() });
        if self.spoken.len() > REMEMBERED {
            self.spoken.remove(0);
        }
    }

    /// What a person's last question was about.
    pub fn spoken_by(&self, by: &str) -> Option<&Spoken> {
        self.spoken.iter().rev().find(|s| s.by.as_deref() == Some(by))
    }

    /// What the question of this entry was about.
    pub fn spoken(&self, seq: i64) -> Option<&Spoken> {
        self.spoken.iter().find(|s| s.seq == seq)
    }

    /// The containers that were gone when something was told of them, since an entry.
    pub fn refused_since(&self, seq: i64) -> impl Iterator<Item = Code> {
        self.refused.iter().filter(move |(at, _)| *at > seq).flat_map(|(_, codes)| codes.iter().copied())
    }

    /// The same, by the message that asked it.
    pub fn spoken_in(&self, message: i64) -> Option<&Spoken> {
        self.spoken.iter().rev().find(|s| s.message == Some(message))
    }

    fn lapse(&mut self, seq: i64) {
        let Some(at) = self.questions.iter().position(|q| q.seq == seq) else { return };
        let question = self.questions.remove(at);
        // An offer that nobody took up leaves nothing unrecorded.
        if question.question.about != Doubt::Hold {
            self.lapsed.push(question);
        }
        if self.lapsed.len() > REMEMBERED {
            self.lapsed.remove(0);
        }
    }

    fn reminded(&mut self, entry: &Entry, reminder: &Reminder) {
        self.listed.extend(reminder.questions.iter().copied());
        for (code, by) in &reminder.codes {
            self.told.insert((*code, reminder.why, reminder.stage, *by));
        }
        if let Some(day) = reminder.day {
            self.told_days.insert((reminder.why, day, reminder.whose.clone()));
        }
        self.reminders.push(OpenReminder {
            seq: entry.seq,
            said: entry.recorded,
            reminder: reminder.clone(),
            claimed_by: None,
            closed: false,
        });
        if self.reminders.len() > REMEMBERED {
            self.reminders.remove(0);
        }
    }

    fn reminder_mut(&mut self, seq: i64) -> Option<&mut OpenReminder> {
        self.reminders.iter_mut().find(|r| r.seq == seq)
    }

    pub fn was_told(&self, code: Code, why: Why, stage: Stage, by: Option<Moment>) -> bool {
        self.told.contains(&(code, why, stage, by))
    }

    pub fn was_told_for(&self, why: Why, day: NaiveDate, whose: &Option<String>) -> bool {
        self.told_days.contains(&(why, day, whose.clone()))
    }

    pub fn question(&self, seq: i64) -> Option<&OpenQuestion> {
        self.questions.iter().find(|q| q.seq == seq)
    }

    /// The questions put to somebody that are still open, newest first.
    pub fn questions_of<'a>(&'a self, by: &'a str) -> impl Iterator<Item = &'a OpenQuestion> {
        self.questions.iter().rev().filter(move |q| q.question.of.as_deref() == Some(by))
    }

    pub fn questions(&self) -> &[OpenQuestion] {
        &self.questions
    }

    /// What was left without an answer, and so was not recorded, in order.
    pub fn lapsed(&self) -> &[OpenQuestion] {
        &self.lapsed
    }

    /// What was left without an answer and hasn't been named yet.
    pub fn unlisted(&self) -> impl Iterator<Item = &OpenQuestion> {
        self.lapsed.iter().filter(|q| !self.listed.contains(&q.seq))
    }

    pub fn reminder(&self, seq: i64) -> Option<&OpenReminder> {
        self.reminders.iter().find(|r| r.seq == seq)
    }

    /// The reminders that nobody has said to be done with, newest first.
    pub fn open_reminders(&self) -> impl Iterator<Item = &OpenReminder> {
        self.reminders.iter().rev().filter(|r| !r.closed)
    }

    pub fn is_paused(&self, now: Moment) -> bool {
        self.paused.is_some_and(|until| until.is_none_or(|until| now < until))
    }
}
