//! Spellings of a whole message before its words are looked up: what families write short is written out ("q" for "que"),
//! and a verb with pronouns hung onto it is parted from them ("sacarla", "dándole").

use super::senses::Tag;
use super::token::{Shape, Token};
use super::words::Lexicon;

/// The most pronouns that hang on one verb.
const MOST_HUNG: usize = 2;

/// Writes out what is short and parts what hangs together; what was typed stays as it was.
pub fn settle(tokens: &mut Vec<Token>, lexicon: &Lexicon) {
    part_pronouns(tokens, lexicon);
    let leads = lexicon.leads(tokens);
    for at in 0..tokens.len() {
        if let Some(long) = lexicon.written_out(&tokens[at].plain, &leads)
            && is_short(tokens, at, lexicon)
        {
            long.clone_into(&mut tokens[at].plain);
            long.clone_into(&mut tokens[at].accented);
        }
    }
}

/// A single letter stands for a word only before another; beside a number it may be a side, a sign or a child.
fn is_short(tokens: &[Token], at: usize, lexicon: &Lexicon) -> bool {
    let token = &tokens[at];
    let next = tokens.get(at + 1).filter(|t| t.gap && !t.line);
    let number = |t: Option<&Token>| t.is_some_and(|t| matches!(t.shape, Shape::Number(_)));
    let word = next.is_some_and(|t| t.shape == Shape::Word) || number(next);
    if token.plain.chars().count() > 1 {
        return word || !lexicon.means(&token.plain, Tag::Polite);
    }
    let capital = at > 0 && token.typed.chars().all(char::is_uppercase);
    let sided = lexicon.means(&token.plain, Tag::RightSide)
        && (number(next) || at > 0 && number(tokens.get(at - 1)))
        && tokens.iter().any(|t| lexicon.means(&t.plain, Tag::LeftSide));
    let signs = [Tag::Times, Tag::NumberSign, Tag::LeftSide];
    let sign = number(next) && (!token.gap || signs.iter().any(|tag| lexicon.means(&token.plain, *tag)));
    word && !capital && !sided && !sign
}

/// "sacarla" becomes "sacar" and "la": the verb tells what was done, the pronoun that it was spoken of.
fn part_pronouns(tokens: &mut Vec<Token>, lexicon: &Lexicon) {
    for _ in 0..MOST_HUNG {
        let mut at = 0;
        while at < tokens.len() {
            let hung = Some(&tokens[at]).filter(|t| t.shape == Shape::Word && !lexicon.begins(&t.plain));
            match hung.and_then(|t| lexicon.verb_before_pronoun(&t.plain)) {
                Some(letters) => {
                    let rest = parted(&mut tokens[at], letters);
                    tokens.insert(at + 1, rest);
                    at += 2;
                }
                None => at += 1,
            }
        }
    }
}

/// Cuts a token after so many letters and returns what followed.
fn parted(token: &mut Token, letters: usize) -> Token {
    let cut = |text: &str| text.chars().take(letters).collect::<String>();
    let rest = |text: &str| text.chars().skip(letters).collect::<String>();
    let (typed, plain) = (rest(&token.typed), rest(&token.plain));
    token.typed = cut(&token.typed);
    token.plain = cut(&token.plain);
    token.accented.clone_from(&token.plain);
    Token { shape: Shape::Word, typed, accented: plain.clone(), plain, gap: false, line: false }
}
