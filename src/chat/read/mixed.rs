//! Messages that first say something of an earlier entry and then tell a fact: "undo. pumped 130 fridge", "sorry 130. fed 90
//! from #1", "done, 110". Both halves are read as messages of their own; neither is ever lost to the other.

use super::Context;
use super::fix;
use super::item::{Amount, Item, Message};
use super::scene::{Built, volume};
use super::whole;
use crate::domain::act::{Act, Kind};

/// The longest first half, in items.
const SHORT: usize = 7;

/// What the first sentence says of earlier entries, and the text after it.
pub fn cut(message: &Message, parsed: impl Fn(&str) -> Message, ctx: &Context) -> Option<(Act, String)> {
    let comma = |i: &Item| i.sign() == Some(',');
    let ends = |at: &usize| is_stop(message, &message.items[*at]) || comma(&message.items[*at]);
    let stop = (0..message.items.len().min(SHORT + 1)).find(ends)?;
    let (before, after) = (message.items[..stop].last()?.to, next_token(message, stop)?);
    let head = parsed(&text(message, 0, before));
    let undo = comma(&message.items[stop]);
    let act = about_an_entry(&head, ctx).filter(|a| !undo || a.kind == Kind::Undo)?;
    Some((act, text(message, after, message.tokens.len())))
}

/// "done, 110": a feed that was begun has ended.
pub fn ended_feed(message: &Message, parsed: impl Fn(&str) -> Message, ctx: &Context) -> Option<Built<Act>> {
    let [.., before, last] = message.items.as_slice() else { return None };
    let stop = matches!(before.sign(), Some(',' | '.' | '-' | ':'));
    // "done 60": without a stop a small number may be anything
    let sure = |a: &Amount| a.unit.is_some() || stop || a.value >= 15.0 && volume(*a, None, ctx).is_ok();
    let amount = last.amount().filter(sure)?;
    let end = if stop { before.from } else { last.from };
    let head = (end > 0).then(|| whole::read(&parsed(&text(message, 0, end)), ctx))??;
    let feed = |ml| Act { ml: Some(ml), about: amount.about, at: Some(ctx.sent), ..Act::new(Kind::Feed) };
    (head.kind == Kind::Done).then(|| volume(amount, None, ctx).map(feed))
}

fn about_an_entry(head: &Message, ctx: &Context) -> Option<Act> {
    let said = whole::read(head, ctx).filter(|a| matches!(a.kind, Kind::Done | Kind::Undo));
    said.or_else(|| whole::undo(head)).or_else(|| fix::read(head, ctx).ok().flatten())
}

/// The end of a sentence or a line.
fn is_stop(message: &Message, item: &Item) -> bool {
    let ends = matches!(item.sign(), Some('.' | '!' | ';'));
    let gap = message.tokens.get(item.to).is_some_and(|t| t.gap || t.line);
    (ends && gap) || (item.from > 0 && message.tokens[item.from].line)
}

/// Where the rest begins: after a stop, or with the first word of a new line.
fn next_token(message: &Message, stop: usize) -> Option<usize> {
    let item = &message.items[stop];
    let at = if message.tokens[item.from].line { item.from } else { item.to };
    (at < message.tokens.len()).then_some(at)
}

/// The tokens as typed, with their lines.
fn text(message: &Message, from: usize, to: usize) -> String {
    let mut text = String::new();
    for token in &message.tokens[from..to.max(from)] {
        if token.line {
            text.push('\n');
        } else if token.gap {
            text.push(' ');
        }
        text.push_str(&token.typed);
    }
    text
}
