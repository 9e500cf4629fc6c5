//! What families write: entries, questions, and talk that is none of the bot's business.

use rand::rngs::StdRng;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};

pub const MIX: &str = "four entries (one in ten of them late), two questions, four for each other";
/// Always answered.
pub const LAST: &str = "how much is there?";

const QUESTIONS: [&str; 4] =
    [LAST, "what's next?", "what did she drink today?", "when does the fridge milk run out?"];
const CHATTER: [&str; 6] = [
    "can you bring bread on the way home?",
    "she is asleep at last",
    "ok ❤️",
    "grandma comes on Sunday, is that alright with you?",
    "where did you put the keys",
    "running late, don't wait with dinner",
];

pub struct Talk(StdRng);

impl Talk {
    pub fn new(seed: u64) -> Talk {
        Talk(StdRng::seed_from_u64(seed))
    }

    pub fn next(&mut self) -> String {
        match self.0.random_range(0..10) {
            0..4 => self.entry(),
            4..6 => self.one(&QUESTIONS),
            _ => self.one(&CHATTER),
        }
    }

    fn one(&mut self, of: &[&str]) -> String {
        of.choose(&mut self.0).unwrap().to_string()
    }

    pub fn entry(&mut self) -> String {
        let ml = 10 * self.0.random_range(6..15);
        match self.0.random_range(0..20) {
            0..7 => format!("pumped {ml} fridge"),
            7..14 => format!("fed {ml}"),
            14..16 => format!("fed {ml} left 20"),
            16..18 => "nursed left 12 min".into(),
            _ => format!("pumped {ml} fridge 2 hours ago"),
        }
    }
}
