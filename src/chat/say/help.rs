//! Help: what can be typed here, with this household's own labels, children, amounts and languages in the examples.

use crate::domain::act::Code;
use crate::domain::ledger::Container;
use crate::domain::volume::Unit;

use super::Speaker;
use super::words::Words;

/// Labels in the examples where nothing is on the books yet.
const SOME: [Code; 2] = [12, 14];

impl Speaker<'_> {
    pub fn help(&self) -> String {
        let mut lines = vec![self.words.say("help", &self.examples())];
        let children = &self.ledger.household().children;
        if children.len() > 1 {
            let named = |child: &crate::domain::household::Child| {
                let (_, fed, _) = self.amounts();
                self.words.say("help-child", &[("child", child.name.clone()), ("fed", fed.into())])
            };
            lines.push(children.iter().map(named).collect::<Vec<_>>().join(" · "));
        }
        // Whoever writes in another of the household's languages finds it here as well.
        let languages = &self.ledger.household().languages;
        lines.extend(Words::others(languages).into_iter().map(|w| w.say("help-also", &self.examples())));
        lines.push(self.words.word("help-end"));
        lines.join("\n")
    }

    /// A pumping, a feed and what is left of one, in the household's unit.
    fn amounts(&self) -> (&'static str, &'static str, &'static str) {
        match self.ledger.household().units {
            Unit::Ml => ("120", "90", "30"),
            Unit::Oz => ("4", "3", "1"),
        }
    }

    pub fn examples(&self) -> Vec<super::Arg<'static>> {
        let (pumped, fed, left) = self.amounts();
        let stock = self.ledger.stock();
        let in_order = stock.in_order_of_use(self.now);
        let first = |fits: fn(&&&Container) -> bool| in_order.iter().find(fits).map(|c| c.code);
        let fresh = first(|c| !c.is_frozen());
        let frozen = first(|c| c.is_frozen());
        vec![
            ("pumped", pumped.into()),
            ("fed", fed.into()),
            ("left", left.into()),
            ("fresh", fresh.unwrap_or(SOME[0]).to_string()),
            ("frozen", frozen.unwrap_or(SOME[1]).to_string()),
        ]
    }
}
