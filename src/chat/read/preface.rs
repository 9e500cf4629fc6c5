//! Words that only announce what is told ("I forgot to mention that", "just so you know", "les aviso que"): the rest is read as
//! if it stood alone, for a verb of theirs, a "forgot" or a "you" would make it a plan, a denial or a request.

use super::item::Message;
use super::senses::Tag;
use super::token::Shape;

/// The message without its preface, if it has one and something is left.
pub fn without(message: &Message) -> Option<String> {
    let end = message.tokens.len();
    let (at, long) = message.find(0, end, Tag::Preface).filter(|(at, _)| opens(message, *at))?;
    let mut rest = at + long;
    while rest < end
        && (is(message, rest, Tag::Relative) || matches!(message.tokens[rest].sign(), Some(',' | ':')))
    {
        rest += 1;
    }
    let first = if at > 0 && is(message, at - 1, Tag::I) { at - 1 } else { at };
    let told =
        message.tokens[rest.min(end)..].iter().any(|t| t.shape != Shape::Sign('?') && t.sign().is_none());
    let asks = message.tokens.iter().any(|t| t.sign() == Some('?'));
    (told && !asks).then(|| format!("{} {}", message.typed(0, first), message.typed(rest, end)))
}

/// It begins the message or a sentence, but for words of politeness and who says it.
fn opens(message: &Message, at: usize) -> bool {
    let small = |n: usize| {
        let polite =
            [Tag::Polite, Tag::I, Tag::And, Tag::Just, Tag::But].iter().any(|tag| is(message, n, *tag));
        polite || message.within(n, Tag::Polite)
    };
    let before = (0..at).rev().take_while(|n| message.tokens[*n].sign().is_none());
    before.into_iter().all(small)
}

fn is(message: &Message, at: usize, tag: Tag) -> bool {
    message.marks[at].iter().any(|(t, _)| *t == tag)
}
