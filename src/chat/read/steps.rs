//! How much work a message is: looks at tokens, items and words of the vocabularies, counted where tests are built and
//! nowhere else. Work never grows faster than the message is long, so that no message can hold up the others.

#[cfg(any(test, fuzzing))]
thread_local! {
    static TAKEN: std::cell::Cell<u64> = const { std::cell::Cell::new(0) };
}

/// So many steps are taken.
#[inline]
pub fn take(_steps: usize) {
    #[cfg(any(test, fuzzing))]
    TAKEN.with(|taken| taken.set(taken.get() + _steps as u64));
}

/// The steps since this was last asked.
#[cfg(any(test, fuzzing))]
pub fn taken() -> u64 {
    TAKEN.with(|taken| taken.replace(0))
}

#[cfg(test)]
mod tests {
    use super::super::{Context, LONGEST, Language, read};
    use super::taken;
    use crate::domain::volume::Unit;

    /// Messages that are one piece over and over: each leads into another part of the grammar.
    const PIECES: [&str; 40] = [
        "9",
        "a ",
        "12-",
        "and ",
        "#1,",
        "? ",
        "fed ",
        "half ",
        ".\n",
        "pumped 90, ",
        "90 ",
        "bag 3 ",
        "undo. ",
        "done. ",
        "sorry 130. ",
        "not 12, 21. ",
        "at 7 ",
        "7 am ",
        "2x90 ",
        "yesterday ",
        "or ",
        "the 2pm one ",
        "left 30 ",
        "if he ",
        "can i ",
        "moved 3 to the freezer. ",
        "room ",
        "L60 R85 ",
        "pumpd ",
        "frozzen ",
        "power out ",
        "mañana ",
        "y la 13 ",
        "me saqué 120, ",
        "- ",
        "(",
        "\n90 fridge",
        "fridge ",
        "tomó 80 y tiré 20. ",
        "6:30 120 fridge\n",
    ];

    /// The most steps for a character, whatever is typed.
    const MOST: u64 = 5_000;

    fn steps(text: &str) -> u64 {
        let sent =
            chrono::NaiveDate::from_ymd_opt(2027, 3, 9).and_then(|d| d.and_hms_opt(14, 40, 0)).unwrap();
        let languages = ["en", "es"].iter().filter_map(|tag| Language::from_tag(tag)).collect();
        let ctx = Context { sent, zone: chrono_tz::UTC, units: Unit::Ml, languages };
        let _ = taken();
        let _ = read(text, &ctx);
        taken()
    }

    #[test]
    fn work_grows_no_faster_than_the_message() {
        let mut bad = Vec::new();
        for piece in PIECES {
            // Some eighty characters make a sentence, so that none is too long to be read.
            let sentence = format!("{}.\n", piece.repeat(80 / piece.chars().count()));
            let of_length = |n: usize| sentence.chars().cycle().take(n).collect::<String>();
            let [one, two, four] = [4, 2, 1].map(|part| steps(&of_length(LONGEST / part)));
            println!("{piece:?}: {one} {two} {four}");
            // The first may be shorter than one stretch. What is above twice is for the seams between stretches; what grew
            // with the square would be four times as much.
            if two > one * 3 || four > two * 5 / 2 || four > MOST * LONGEST as u64 {
                bad.push(format!("{piece:?}: {one} {two} {four}"));
            }
        }
        assert!(bad.is_empty(), "{}", bad.join("\n"));
    }

    #[test]
    fn what_is_longer_than_any_message_is_not_read() {
        let long = format!("pumped 90 fridge{}", " ".repeat(LONGEST));
        assert_eq!(steps(&long), 0);
        assert!(steps("pumped 90 fridge") > 0);
    }
}
