//! Reads a message: free text in, acts out. Silence is the answer to all that isn't about this child's milk, and a question
//! back (`unclear`) to what the words themselves leave open. Nothing here knows the household's stock or the clock.
//!
//! The grammar, from the outside in:
//!
//! ```text
//! message  = answer | alarm | outage [event…] | setting | undo | correction | doubt | event…
//!            (undo, correction or done) ("." | ",") message          both count, also where the second asks back
//! answer   = a whole message: claim, done, yes, no, pause [until], resume, help, /topic
//! event    = told | asked            events keep the order of the message
//! told     = segment {segment}       the first opens it, the others only add to it ("fridge", "30 left")
//! asked    = segment {segment} "?"   or a segment that begins like a question
//! segment  = {item}                  between stops, commas and joining words
//! item     = amount | multi | labels | list | count | time | span | word | sign
//! amount   = number [unit]           bare numbers wait for the act they belong to
//! multi    = count "x" amount        "2x90", "3 bags of 4 oz"
//! named    = label ("is" | ":") (name of milk | whose | date)      told of labels, whoever wrote them down
//! labels   = ("#" | bag | la) number {("," | and | "-" | to) number}
//! list     = number {(and | "-" | to) number}
//! time     = [at | since | until | for | from] (day | part of day | clock | span ago) …
//! ```
//!
//! A told segment counts only in the mood of a fact (`mood`): plans, requests, conditions, negations, jokes, habits and
//! other subjects are dropped. The kind of event comes from its verbs, or from its numbers and places where it has none.
//! Words of languages stand in `words/*.toml` only.

mod alarm;
mod amend;
mod amount;
mod ask;
mod beside;
mod bottles;
mod build;
mod children;
mod clause;
mod convert;
mod counting;
mod cut;
mod dates;
mod discards;
mod doubt;
mod drunk;
mod event;
mod explain;
mod family;
mod feed;
mod fix;
mod fixed_parts;
mod formula;
mod goals;
mod holding;
mod item;
mod joining;
mod left_out;
mod leftover;
mod long;
mod loose;
mod missing;
mod mixed;
mod moment;
mod mood;
mod moves;
mod named;
mod naming;
mod number;
mod nursing;
mod oclock;
mod outage;
mod pairs;
mod pouring;
mod pours;
mod preface;
mod pump;
mod scene;
mod segment;
mod senses;
mod setting;
mod several;
mod sides;
mod spelling;
mod stays;
pub mod steps;
mod store;
mod tally;
mod time;
mod token;
mod travel;
mod unplaced;
mod when;
mod whole;
mod why;
mod words;
mod yields;

use chrono::NaiveDateTime;
use chrono_tz::Tz;

pub use moment::Moment;
pub use words::Language;

use crate::domain::act::{Act, Kind, Reading, Unclear, What};
use crate::domain::volume::Unit;
use event::Event;
use explain::Step;
use item::Message;
use senses::Tag;
use why::Why;
use words::Lexicon;

/// The longest message that is read, in characters; platforms have none longer. A part of a longer one might record what
/// the rest takes back.
const LONGEST: usize = 4096;

/// Nobody has milk that is older.
const LONG_AGO_DAYS: i64 = 3 * 365;

/// How often a message may go on with something of another kind; each time its rest is read anew.
const MOST_MIXED: usize = 4;

/// What the reader must know of the household and the moment.
#[derive(Debug, Clone)]
pub struct Context {
    /// The household's civil time when the message was sent.
    pub sent: NaiveDateTime,
    pub zone: Tz,
    /// What a bare number means here.
    pub units: Unit,
    pub languages: Vec<Language>,
}

/// A reading and the lines that tell how it came about.
#[derive(Debug, Clone, Default)]
pub struct Explained {
    pub reading: Reading,
    pub why: Vec<String>,
}

/// Reads a message.
pub fn read(text: &str, ctx: &Context) -> Reading {
    read_with(text, ctx, &mut Why::Untold)
}

/// Reads a message and tells why it was read so.
pub fn read_explained(text: &str, ctx: &Context) -> Explained {
    let mut why = Why::Told(Vec::new());
    let reading = read_with(text, ctx, &mut why);
    Explained { reading, why: why.lines() }
}

fn read_with(text: &str, ctx: &Context, why: &mut Why) -> Reading {
    if text.chars().nth(LONGEST).is_some() {
        why.note(|| explain::step(Step::TooLong, ""));
        return Reading::default();
    }
    let Some(stretches) = long::stretches(text) else {
        why.note(|| explain::step(Step::LongSentence, ""));
        return Reading::default();
    };
    let lexicon = Lexicon::of(&ctx.languages);
    let read = |stretch: &&str| {
        let message = parsed(stretch, &lexicon, ctx);
        why.note(|| explain::seen(&message));
        whole(&message, &lexicon, ctx, why, MOST_MIXED)
    };
    let reading = long::joined(stretches.iter().map(read).collect());
    if reading.unclear.is_none() {
        why.note(|| explain::outcome(&reading));
    }
    reading
}

/// The time that words name ("monday", "the 2pm one"), to find the milk that somebody spoke of.
pub fn named_time(words: &str, ctx: &Context) -> Option<Moment> {
    let lexicon = Lexicon::of(&ctx.languages);
    let message = parsed(words, &lexicon, ctx);
    let all = message.items.iter().filter_map(|i| i.when().copied());
    let when = all.reduce(when::When::and)?;
    let named = moment::settle(&when, ctx.sent, ctx.zone)?;
    let beside = matches!(when.role, when::Role::Beside | when::Role::Until);
    let led = |tag: Tag| beside && message.has(0, message.tokens.len(), tag);
    // "Before noon" is open to the past, "since tuesday" to the present.
    if led(Tag::UpTo) {
        let at = ctx.sent - chrono::Duration::days(LONG_AGO_DAYS);
        return Some(Moment { at, latest: Some(named.at) });
    }
    let open = when.role == when::Role::Since || led(Tag::FromThen);
    Some(Moment { latest: named.latest.filter(|_| !open), ..named })
}

/// Whether the words are a time and nothing besides.
pub fn is_time(words: &str, ctx: &Context) -> bool {
    let message = parsed(words, &Lexicon::of(&ctx.languages), ctx);
    !message.items.is_empty() && message.items.iter().all(|i| i.when().is_some())
}

fn parsed(text: &str, lexicon: &Lexicon, ctx: &Context) -> Message {
    let whole = Message::read(text, lexicon);
    let mut message = match preface::without(&whole) {
        Some(rest) => Message::read(&rest, lexicon),
        None => whole,
    };
    number::in_words(&mut message);
    time::find(&mut message);
    amount::find(&mut message, ctx.units);
    beside::find(&mut message);
    unplaced::find(&mut message);
    message
}

fn whole(message: &Message, lexicon: &Lexicon, ctx: &Context, why: &mut Why, mixed: usize) -> Reading {
    let one = |act: Act| Reading { acts: vec![act], unclear: None };
    if message.tokens.is_empty() {
        return Reading::default();
    }
    if let Some(act) = whole::read(message, ctx) {
        why.note(|| explain::step(Step::Whole, &message.typed(0, message.tokens.len())));
        return one(act);
    }
    if let Some(what) = alarm::read(message) {
        why.note(|| explain::of_words(Step::Alarm, &message.typed(0, message.tokens.len())));
        return one(alarm(what));
    }
    if let Some(act) = outage::read(message, ctx) {
        why.note(|| explain::step(Step::Outage, ""));
        return with_outage(act, message, ctx, why);
    }
    if mixed > 0
        && let Some(reading) = mixed_reading(message, lexicon, ctx, why, mixed - 1)
    {
        return reading;
    }
    if let Some(act) = missing::read(message, ctx) {
        why.note(|| explain::step(Step::Whole, &message.typed(0, message.tokens.len())));
        return one(act);
    }
    let settings = setting::read(message, lexicon, ctx);
    if !settings.is_empty() {
        why.note(|| explain::step(Step::Setting, ""));
        return Reading { acts: settings, unclear: None };
    }
    if let Some(act) = whole::undo(message) {
        why.note(|| explain::step(Step::TakenBack, ""));
        return one(act);
    }
    match fix::read(message, ctx) {
        Ok(Some(act)) => {
            why.note(|| explain::step(Step::Correction, ""));
            return one(act);
        }
        Ok(None) => {}
        Err(doubt) => return unclear(doubt, message, ctx, why),
    }
    if let Some(doubt) = doubt::read(message) {
        return unclear(doubt, message, ctx, why);
    }
    told(message, ctx, why)
}

/// Something of an earlier entry, then facts; none where the second half is no fact or leaves a choice.
fn mixed_reading(
    message: &Message,
    lexicon: &Lexicon,
    ctx: &Context,
    why: &mut Why,
    mixed: usize,
) -> Option<Reading> {
    let again = |text: &str| parsed(text, lexicon, ctx);
    if let Some(feed) = mixed::ended_feed(message, again, ctx) {
        why.note(|| explain::step(Step::Ended, ""));
        return Some(match feed {
            Ok(act) => Reading { acts: vec![act], unclear: None },
            Err(doubt) => unclear(doubt, message, ctx, why),
        });
    }
    let (first, rest) = mixed::cut(message, again, ctx)?;
    let mut told = why.another();
    let mut reading = whole(&again(&rest), lexicon, ctx, &mut told, mixed);
    match &mut reading.unclear {
        Some(unclear) => unclear.first.insert(0, first.clone()),
        None if reading.acts.is_empty() || reading.acts.iter().any(is_about_an_entry) => return None,
        None => reading.acts.insert(0, first.clone()),
    }
    why.note(|| explain::step(Step::First, ""));
    why.add(told);
    Some(reading)
}

/// About the last entry or the bot; a correction that names its labels can stand beside anything.
fn is_about_an_entry(act: &Act) -> bool {
    use Kind::{Claim, Correct, Done, No, Pause, Resume, Undo, Yes};
    act.codes.is_empty() && matches!(act.kind, Claim | Correct | Done | No | Pause | Resume | Undo | Yes)
}

fn alarm(what: What) -> Act {
    let mut act = Act::new(Kind::Alarm);
    act.what = Some(what);
    act
}

fn told(message: &Message, ctx: &Context, why: &mut Why) -> Reading {
    let theirs = message.has(0, message.tokens.len(), Tag::OtherPerson)
        && cut::segments(message).iter().any(outage::is_broken_elsewhere);
    // "just write here what she drinks, e.g. fed 90 left 30"
    let shown = message.has(0, message.tokens.len(), Tag::Example);
    if theirs || shown || message.has(0, message.tokens.len(), Tag::Joke) {
        why.note(|| explain::step(Step::Joke, ""));
        return Reading::default();
    }
    let meant = match amend::amended(message) {
        Ok(meant) => meant,
        Err(doubt) => return unclear(doubt, message, ctx, why),
    };
    let message = meant.as_ref().unwrap_or(message);
    let events = event::events_told(message, why.another());
    why.add(events.why);
    match build::acts(&events.all, ctx) {
        Ok(acts) if acts.is_empty() => {
            let asked =
                ask::summary(message).or_else(|| outage::over(message)).or_else(|| outage::restored(message));
            let asked = asked.or_else(|| convert::conversion(message));
            Reading { acts: asked.into_iter().collect(), unclear: None }
        }
        Ok(acts) => Reading { acts, unclear: None },
        Err(doubt) => unclear(doubt, message, ctx, why),
    }
}

/// What was done with the milk since the cold was lost still counts; questions and looks at the milk don't.
fn with_outage(outage: Act, message: &Message, ctx: &Context, why: &mut Why) -> Reading {
    let events = event::events_told(message, why.another());
    why.add(events.why);
    let told: Vec<Event> = events.all.into_iter().filter(|e| matches!(e, Event::Told(..))).collect();
    let mut acts = vec![outage];
    let kept = |a: &Act| {
        matches!(a.kind, Kind::Move | Kind::Discard)
            && (!a.codes.is_empty() || a.count.is_some() || a.pick.is_some())
    };
    acts.extend(build::acts(&told, ctx).unwrap_or_default().into_iter().filter(kept));
    Reading { acts, unclear: None }
}

fn unclear(about: crate::domain::act::Doubt, message: &Message, ctx: &Context, why: &mut Why) -> Reading {
    why.note(|| explain::doubt(about));
    let acts = doubt::readings(about, message, ctx);
    Reading { acts: vec![], unclear: Some(Unclear { about, first: vec![], acts }) }
}
