//! What is said unasked: which milk, until when by whose times, and what to do about it.

use crate::domain::act::Code;
use crate::domain::fact::{Reminder, Stage, Why};
use crate::domain::ledger::OpenQuestion;

use super::{Speaker, key_of};

impl Speaker<'_> {
    pub fn reminder(&self, reminder: &Reminder) -> String {
        let codes: Vec<Code> = reminder.codes.iter().map(|(code, _)| *code).collect();
        if reminder.why == Why::Plan {
            let plan = reminder.day.and_then(|day| self.plan_of(day, &reminder.whose)).unwrap_or_default();
            let asked = self.ledger.talk().lapsed().iter().filter(|q| reminder.questions.contains(&q.seq));
            return [Some(plan), self.not_noted(asked)].into_iter().flatten().collect::<Vec<_>>().join("\n");
        }
        let time = reminder.codes.iter().find_map(|(_, by)| *by).map(|by| self.time(by));
        let name = reminder.to.clone().unwrap_or_else(|| self.words.word("somebody"));
        let args = [
            ("name", name),
            ("codes", self.with_amounts(&codes)),
            ("until", self.until_of(&codes)),
            ("time", time.unwrap_or_default()),
            ("whose", self.whose()),
        ];
        let id = match (reminder.stage, reminder.why) {
            (Stage::Past, Why::Leftover) => "remind-leftover-past".to_owned(),
            (Stage::Past, _) => "remind-past".to_owned(),
            (_, Why::Check) => self.check(&codes).to_owned(),
            (stage, why) => format!("remind-{}-{}", key_of(&why), key_of(&stage)),
        };
        self.words.say(&id, &args)
    }

    /// Only what is or was frozen can be hard or icy.
    fn check(&self, codes: &[Code]) -> &'static str {
        let never = codes.iter().filter_map(|c| self.container(*c)).filter(|c| c.life.never_frozen()).count();
        match never {
            0 => "remind-check-due",
            n if n == codes.len() => "remind-check-due-unfrozen",
            _ => "remind-check-due-both",
        }
    }

    /// The messages that were asked about and not recorded.
    pub fn not_noted<'q>(&self, asked: impl Iterator<Item = &'q OpenQuestion>) -> Option<String> {
        let one = |q: &OpenQuestion| {
            let by = q.question.of.clone().unwrap_or_else(|| self.words.word("by-nobody"));
            let args = [("by", by), ("time", self.time(q.question.sent)), ("text", q.question.text.clone())];
            self.words.say("not-noted-one", &args)
        };
        let list: Vec<String> = asked.map(one).collect();
        (!list.is_empty()).then(|| self.words.say("not-noted-list", &[("list", list.join("; "))]))
    }

    pub fn with_amounts(&self, codes: &[Code]) -> String {
        let one = |code: &Code| {
            let amount = self.container(*code).map(|c| self.amount(c.ml)).unwrap_or_default();
            let site = self.container(*code).and_then(|c| c.life.site.as_ref()).map(|s| self.site(s));
            let args = [("code", self.codes(&[*code])), ("amount", amount)];
            match site {
                Some(site) => {
                    let [code, amount] = args;
                    self.words.say("code-amount-site", &[code, amount, ("site", site)])
                }
                None => self.words.say("code-amount", &args),
            }
        };
        codes.iter().map(one).collect::<Vec<_>>().join(", ")
    }
}
