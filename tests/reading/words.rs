//! No word of a language stands in the reader's code: its string literals hold none of the words of the vocabularies.

use std::collections::BTreeSet;
use std::path::Path;

/// What the code may say: keys and values of a script's header, as settings have them, and names of data files.
const OWN: &str = "people units child care rules languages quiet plan away zone workdays fridge room freezer ice compartment own \
    door early need none thawed limit warmed leftover cooler days months yes very clean mon tue wed thu fri sat sun \
    words why called month number use first avoid";

/// String literals of Rust code, without comments and without what follows the tests' head.
fn literals(code: &str) -> Vec<String> {
    let code = code.split("#[cfg(test)]").next().unwrap();
    let lines = code.lines().filter(|line| !line.trim_start().starts_with("#["));
    let chars: Vec<char> = lines.collect::<Vec<_>>().join("\n").chars().collect();
    let (mut all, mut at) = (Vec::new(), 0);
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('/')) => at += chars[at..].iter().take_while(|c| **c != '\n').count(),
            ('\'', Some('\\')) => at += 4,
            ('\'', _) if chars.get(at + 2) == Some(&'\'') => at += 3,
            ('"', _) => {
                let (text, end) = literal(&chars, at + 1);
                all.push(text);
                at = end;
            }
            _ => at += 1,
        }
    }
    all
}

fn literal(chars: &[char], mut at: usize) -> (String, usize) {
    let mut text = String::new();
    while at < chars.len() && chars[at] != '"' {
        at += usize::from(chars[at] == '\\');
        text.push(chars[at]);
        at += 1;
    }
    (text, at + 1)
}

fn words_of(text: &str) -> impl Iterator<Item = String> {
    let lower = text.to_lowercase();
    let words: Vec<String> = lower.split(|c: char| !c.is_alphabetic()).map(str::to_string).collect();
    words.into_iter().filter(|word| word.chars().count() >= 3)
}

/// The text without what braces stand for.
fn without_braces(text: &str) -> String {
    text.split('{').map(|part| part.rsplit('}').next().unwrap()).collect()
}

/// Every word of a vocabulary's lists.
fn vocabulary(value: &toml::Value, all: &mut BTreeSet<String>) {
    match value {
        toml::Value::String(phrase) => all.extend(words_of(phrase)),
        toml::Value::Array(list) => list.iter().for_each(|v| vocabulary(v, all)),
        toml::Value::Table(table) => table.values().for_each(|v| vocabulary(v, all)),
        _ => {}
    }
}

#[test]
fn no_word_of_a_language_stands_in_code() {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/chat/read");
    let mut known = BTreeSet::new();
    for tag in ["en", "es", "signs"] {
        let text = std::fs::read_to_string(home.join(format!("words/{tag}.toml"))).unwrap();
        vocabulary(&toml::from_str(&text).unwrap(), &mut known);
    }
    let own: BTreeSet<&str> = OWN.split_whitespace().collect();
    assert!(known.len() > 1500, "{} words", known.len());
    let mut found = Vec::new();
    for entry in std::fs::read_dir(&home).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "rs") {
            continue;
        }
        let code = std::fs::read_to_string(&path).unwrap();
        for text in literals(&code) {
            let strange = |word: &String| known.contains(word) && !own.contains(word.as_str());
            found.extend(
                words_of(&without_braces(&text))
                    .filter(strange)
                    .map(|word| format!("{}: {word}", path.display())),
            );
        }
    }
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn literals_are_told_from_code_and_comments() {
    let code = "let a = \"x\\\"y\"; // \"no\"\nlet q = '\"'; let b = \"z\"; #[cfg(test)] mod t { \"t\" }";
    assert_eq!(literals(code), ["x\"y", "z"]);
}
