//! What is said when something went wrong: the cold was lost, a count differs from the books, held milk was used before.
//! Facts, whose rule, and the next step; nobody is told to throw anything away on the program's word.

use crate::domain::act::{Code, Found, What};
use crate::domain::answer::{Looked, Piece};
use crate::domain::rules;

use super::Speaker;

impl Speaker<'_> {
    pub fn mishap(&self, piece: &Piece) -> String {
        let w = self.words;
        match piece {
            Piece::Checked { found, cold, codes, of } => self.checked(*found, *cold, codes, *of),
            Piece::WasDrunk { codes, ml, at, by } => {
                let by = by.clone().unwrap_or_else(|| w.word("by-nobody"));
                let args = [
                    ("codes", self.codes(codes)),
                    ("amount", self.amount(*ml)),
                    ("time", self.time(*at)),
                    ("by", by),
                ];
                w.say("was-drunk", &args)
            }
            Piece::OutageOver { what, minutes, short, codes } => {
                let args = [
                    ("minutes", minutes.to_string()),
                    ("codes", self.ranges(codes)),
                    ("rule", self.outage_rule(*what)),
                ];
                w.say(if *short { "outage-short" } else { "outage-not-short" }, &args)
            }
            Piece::WasSent { code, site, at, by } => {
                let site = site.as_ref().map(|s| self.site(s)).unwrap_or_default();
                let by = by.clone().unwrap_or_else(|| w.word("by-nobody"));
                let args =
                    [("code", code.to_string()), ("where", site), ("time", self.time(*at)), ("by", by)];
                w.say("was-sent", &args)
            }
            Piece::WrongMilk { codes, child } => {
                let whose: Vec<String> = codes
                    .iter()
                    .filter_map(|c| self.container(*c))
                    .filter_map(|c| {
                        let for_other = c.marks.child.clone().filter(|name| name != child);
                        for_other.or(c.marks.whose.clone())
                    })
                    .collect();
                let codes = codes.iter().map(u32::to_string).collect::<Vec<_>>().join(", ");
                let args = [("codes", codes), ("whose", whose.join(", ")), ("child", child.clone())];
                w.say("wrong-milk", &args)
            }
            Piece::MixedOwners { marks } => {
                let of = marks.whose.clone().filter(|w| w.contains('+')).or(marks.child.clone());
                w.say("mixed-owners", &[("of", of.unwrap_or_default())])
            }
            Piece::LimitStays { setting, limit, rules } => {
                let mut args = vec![("setting", setting.clone()), ("whose", self.name(rules))];
                let Some(limit) = limit else { return w.say("limit-none", &args) };
                args.push(("limit", self.span(*limit)));
                w.say("limit-stays", &args)
            }
            other => self.answer(other),
        }
    }

    /// What the publisher says of milk found so. A set that says nothing of ice crystals counts it as thawed.
    fn checked(&self, found: Option<Found>, cold: bool, codes: &[Code], of: Looked) -> String {
        let rules = self.ledger.rules();
        let may_stay =
            rules.note(rules::Topic::Refreezing).and_then(|n| n.verdict) == Some(rules::Verdict::WhileIcy);
        let on_ice = matches!(found, Some(Found::Hard | Found::Icy));
        let stays = on_ice && (may_stay || found == Some(Found::Hard));
        let id = match found {
            _ if of == Looked::Thawing => "checked-thawing",
            _ if on_ice && matches!(of, Looked::Open | Looked::AsBefore | Looked::Unfrozen) => {
                "checked-unfrozen"
            }
            _ if of == Looked::Open && cold => "checked-cold-open",
            _ if of == Looked::Open => "checked-unfrozen-open",
            _ if of == Looked::AsBefore || (of == Looked::Unfrozen && cold) => "checked-cold",
            _ if of == Looked::Unfrozen => "checked-warm",
            Some(_) if of == Looked::SinceUnknown && !stays => "checked-since-unknown",
            Some(Found::Hard) => "checked-hard",
            Some(Found::Icy) if may_stay => "checked-icy-stays",
            Some(Found::Icy) => "checked-icy-thaws",
            Some(Found::Liquid) if cold => "checked-liquid-cold",
            Some(Found::Liquid) => "checked-liquid",
            None if cold => "checked-cold",
            None => "checked-open",
        };
        let args =
            [("codes", self.codes(codes)), ("whose", self.whose()), ("rule", self.outage_rule(What::Power))];
        self.words.say(id, &args)
    }

    pub fn counted(&self, piece: &Piece) -> String {
        let Piece::Counted { seen, books, missing, extra, settled, .. } = piece else { return String::new() };
        let args = [
            ("seen", seen.to_string()),
            ("books", books.to_string()),
            ("codes", self.codes(missing)),
            ("extra", self.codes(extra)),
        ];
        let id = match (missing.is_empty(), settled) {
            (_, true) => "counted-settled",
            (false, false) => "counted-missing",
            (true, false) if !extra.is_empty() || seen == books => "counted",
            (true, false) if seen < books => "counted-fewer",
            (true, false) => "counted-more",
        };
        let mut lines = vec![self.words.say(id, &args)];
        if !extra.is_empty() && !settled {
            lines.push(self.words.say("counted-extra", &args));
        }
        if !missing.is_empty() && !settled {
            lines.push(self.words.word("counted-ask"));
        }
        lines.join("\n")
    }
}
