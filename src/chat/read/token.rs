//! The first cut: a message as a list of tokens. A token is a run of letters, a number or one sign; digits and letters
//! that touch are two tokens. Nothing of the message is lost but control characters, and each token knows where it stood.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::steps::take;

#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    Word,
    /// A number in digits.
    Number(f64),
    Sign(char),
}

#[derive(Debug, Clone, PartialEq)]
pub struct Token {
    pub shape: Shape,
    /// As typed.
    pub typed: String,
    /// Lower case, apostrophes dropped, accents kept.
    pub accented: String,
    /// The same without accents.
    pub plain: String,
    /// White space (or the beginning) stands before it.
    pub gap: bool,
    /// A line break stands before it.
    pub line: bool,
}

impl Token {
    pub fn sign(&self) -> Option<char> {
        match self.shape {
            Shape::Sign(sign) => Some(sign),
            _ => None,
        }
    }

    /// Typed with a capital at its head and not all in capitals.
    pub fn is_name(&self) -> bool {
        let mut letters = self.typed.chars();
        letters.next().is_some_and(char::is_uppercase) && !letters.any(char::is_uppercase)
    }
}

/// Cuts a message into tokens.
pub fn tokens(text: &str) -> Vec<Token> {
    // Most messages are plain letters, and these stand as they are.
    let chars: Vec<char> = if text.is_ascii() {
        text.chars().filter_map(known).collect()
    } else {
        text.nfc().filter_map(known).collect()
    };
    take(chars.len());
    let (mut all, mut at) = (Vec::new(), 0);
    let (mut gap, mut line) = (true, false);
    while at < chars.len() {
        let c = chars[at];
        if c.is_whitespace() {
            gap = true;
            line |= c == '\n';
            at += 1;
            continue;
        }
        let end = end_of_token(&chars, at);
        all.push(token(&chars[at..end], gap, line));
        (gap, line, at) = (false, false, end);
    }
    all
}

/// Variants of one sign become that sign; what carries no meaning goes.
fn known(c: char) -> Option<char> {
    match c {
        '\n' | '\r' => Some('\n'),
        '\u{fe0f}' | '\u{200d}' | '\u{1f3fb}'..='\u{1f3ff}' => None,
        '’' | '‘' | '`' | '´' => Some('\''),
        '–' | '—' | '−' | '‐' | '‑' => Some('-'),
        '“' | '”' | '«' | '»' => Some('"'),
        '…' => Some('.'),
        '，' => Some(','),
        c if c.is_control() && !c.is_whitespace() => None,
        c => Some(c),
    }
}

fn end_of_token(chars: &[char], at: usize) -> usize {
    if chars[at].is_ascii_digit() {
        return end_of_number(chars, at);
    }
    if is_letter(chars[at]) {
        let mut end = at + 1;
        while end < chars.len() && (is_letter(chars[end]) || apostrophe_within(chars, end)) {
            end += 1;
        }
        return end;
    }
    let arrow = chars[at] == '-' && chars.get(at + 1) == Some(&'>');
    at + 1 + usize::from(arrow)
}

fn is_letter(c: char) -> bool {
    (c.is_alphabetic() && c != 'º' && c != 'ª') || is_combining_mark(c)
}

fn apostrophe_within(chars: &[char], at: usize) -> bool {
    chars[at] == '\'' && chars.get(at + 1).is_some_and(|c| is_letter(*c))
}

/// Digits, with a decimal point or comma where what follows can only be decimals: "4,5" and "3.5", but "12,13" and
/// "110,95" are two numbers, and "1,000" is a thousand.
fn end_of_number(chars: &[char], at: usize) -> usize {
    let whole = run_of_digits(chars, at);
    let Some(mark) = chars.get(whole).filter(|c| matches!(c, '.' | ',')) else { return whole };
    let end = run_of_digits(chars, whole + 1);
    let goes_on =
        matches!(chars.get(end), Some('.' | ',')) && chars.get(end + 1).is_some_and(char::is_ascii_digit);
    // "1,2,3": the last of a row is no decimal either
    let goes_on = goes_on || at >= 2 && chars[at - 1] == ',' && chars[at - 2].is_ascii_digit();
    let decimals = end - whole - 1;
    let fits = match mark {
        '.' => decimals == 1 || decimals == 2,
        _ => {
            decimals == 1 || (decimals == 2 && matches!(chars[whole + 1..end], ['2' | '7', '5'] | ['5', '0']))
        }
    };
    let thousand = decimals == 3 && whole - at <= 3 && chars[at] != '0';
    if !goes_on && (fits || thousand) { end } else { whole }
}

fn run_of_digits(chars: &[char], at: usize) -> usize {
    at + chars[at.min(chars.len())..].iter().take_while(|c| c.is_ascii_digit()).count()
}

fn token(chars: &[char], gap: bool, line: bool) -> Token {
    let typed: String = chars.iter().collect();
    let mut accented = typed.to_lowercase();
    accented.retain(|c| c != '\'');
    let plain = if accented.is_ascii() { accented.clone() } else { without_accents(&accented) };
    let shape = match chars[0] {
        c if c.is_ascii_digit() => Shape::Number(value(&typed)),
        c if is_letter(c) => Shape::Word,
        c if chars.len() > 1 => Shape::Sign(if c == '-' { '→' } else { c }),
        c => Shape::Sign(c),
    };
    Token { shape, typed, accented, plain, gap, line }
}

fn value(digits: &str) -> f64 {
    let grouped = digits.rsplit_once([',', '.']).is_some_and(|(_, tail)| tail.len() == 3);
    let text = if grouped { digits.replace([',', '.'], "") } else { digits.replace(',', ".") };
    text.parse::<f64>().ok().filter(|v| *v < 1e9).unwrap_or(1e9)
}

pub fn without_accents(text: &str) -> String {
    text.nfd().filter(|c| !is_combining_mark(*c)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(text: &str) -> Vec<String> {
        tokens(text).into_iter().map(|t| t.plain).collect()
    }

    #[test]
    fn digits_and_letters_part_and_decimals_stay() {
        assert_eq!(cut("60L/85R"), ["60", "l", "/", "85", "r"]);
        assert_eq!(cut("4,5 oz, 3.5"), ["4,5", "oz", ",", "3.5"]);
        assert_eq!(cut("12,13 y 110,95,80"), ["12", ",", "13", "y", "110", ",", "95", ",", "80"]);
        assert_eq!(cut("1,2,3,4"), ["1", ",", "2", ",", "3", ",", "4"]);
        assert_eq!(cut("don’t saqué 1,000"), ["dont", "saque", "1,000"]);
        assert_eq!(tokens("1,000")[0].shape, Shape::Number(1000.0));
        assert_eq!(cut("a\0b -> 👍🏽"), ["ab", "->", "👍"]);
    }

    #[test]
    fn endless_digits_are_a_huge_number() {
        assert_eq!(tokens(&"9".repeat(4096))[0].shape, Shape::Number(1e9));
    }
}
