//! How much there is and what comes next: each parent's milk apart where several pump, each site apart, and beside the
//! stock what is no stock. Nothing that lies elsewhere, or is another's, is added in or suggested.

use std::collections::BTreeSet;

use crate::domain::act::Code;
use crate::domain::answer::Asked;
use crate::domain::ledger::Container;
use crate::domain::place::{Place, Site};
use crate::domain::query::{self, Owner, Tally};
use crate::domain::volume::Volume;

use super::Speaker;

/// More labels than that are not spelled out.
const MOST_LABELS: usize = 8;

impl Speaker<'_> {
    pub fn stock(&self, place: Option<Place>, asked: &Asked) -> String {
        if !asked.tags.is_empty() {
            return self.called(asked);
        }
        let of = |owner: &Owner| self.stock_of(owner, place, asked.site.as_ref());
        self.by_owner(asked, " ", of, "stock-title")
    }

    /// One text where the milk is one person's, else a line for each.
    fn by_owner(&self, asked: &Asked, before: &str, of: impl Fn(&Owner) -> String, title: &str) -> String {
        let owners = query::owners(self.ledger);
        let named = asked.person.as_deref().and_then(|name| self.ledger.household().pumping_called(name));
        let wanted = |o: &&Owner| named.is_none_or(|name| o.as_deref() == Some(name));
        let title = self.words.word(title);
        if !self.ledger.household().several_owners() {
            return format!("{title}{before}{}", of(&None));
        }
        let lines = owners.iter().filter(wanted).map(|o| self.of_owner(o, of(o)));
        std::iter::once(title).chain(lines).collect::<Vec<_>>().join("\n")
    }

    /// "Ana: …".
    pub fn of_owner(&self, owner: &Owner, line: String) -> String {
        if !self.ledger.household().several_owners() {
            return line;
        }
        let whose = owner.clone().unwrap_or_else(|| self.words.word("by-nobody"));
        self.words.say("of-owner", &[("whose", whose), ("line", line)])
    }

    /// Beside a plan: from one parent's milk, or from whoever's there is.
    pub fn of_source(&self, source: &Owner, line: String) -> String {
        if source.is_some() { self.of_owner(source, line) } else { line }
    }

    fn stock_of(&self, owner: &Owner, place: Option<Place>, site: Option<&Site>) -> String {
        let there = self.ledger.stock().current();
        let own: Vec<&Container> = there.filter(|c| query::is_owned(self.ledger, c, owner)).collect();
        let at = |site: Option<&Site>| -> Vec<&Container> {
            own.iter().copied().filter(|c| lies_at(c) == site || is_sent_to(c, site)).collect()
        };
        let here = at(site);
        let mut lines = self.shelves(&here, place, site);
        if lines.is_empty() {
            lines.push(self.words.word("stock-none"));
        }
        if place.is_none() {
            lines.extend(self.besides(&Tally::of_these(here.into_iter(), self.now)));
        }
        if site.is_none() {
            let others: BTreeSet<&Site> = own.iter().filter_map(|c| lies_at(c)).collect();
            lines.extend(others.into_iter().flat_map(|other| self.elsewhere(&at(Some(other)), place, other)));
        }
        lines.join(" · ")
    }

    /// What lies at another site, and what of it is no stock.
    fn elsewhere(&self, of: &[&Container], place: Option<Place>, site: &Site) -> Vec<String> {
        let mut lines = self.shelves(of, place, Some(site));
        let there = of.iter().copied().filter(|c| !c.is_sent());
        let aside = self.besides(&Tally::of_these(there, self.now)).filter(|_| place.is_none());
        lines.extend(
            aside.map(|line| self.words.say("of-site", &[("site", self.site(site)), ("line", line)])),
        );
        lines
    }

    /// What is stock of these, by place, and together where there are several places.
    fn shelves(&self, of: &[&Container], place: Option<Place>, site: Option<&Site>) -> Vec<String> {
        let wanted = |p: Place| match place {
            None => true,
            Some(Place::Freezer) => p.is_freezer(),
            Some(place) => place == p,
        };
        let at = |p: Place| -> Vec<&Container> {
            of.iter().copied().filter(|c| query::counts(c, self.now) && c.life.place == p).collect()
        };
        let full: Vec<Place> =
            Place::ALL.into_iter().rev().filter(|p| wanted(*p) && !at(*p).is_empty()).collect();
        let mut lines: Vec<String> = full.iter().map(|p| self.shelf(&at(*p), *p, site)).collect();
        if lines.len() > 1 {
            let total: Volume = full.iter().flat_map(|p| at(*p)).map(|c| c.ml).sum();
            lines.push(self.words.say("stock-total", &[("amount", self.amount(total))]));
        }
        lines
    }

    fn shelf(&self, of: &[&Container], place: Place, site: Option<&Site>) -> String {
        let codes: Vec<String> = of.iter().map(|c| c.code.to_string()).collect();
        let count = self.count(codes.len());
        let shown =
            if codes.len() <= MOST_LABELS { format!("{count} (#{})", codes.join(", ")) } else { count };
        let amount = self.amount(of.iter().map(|c| c.ml).sum());
        self.words
            .say("stock-place", &[("where", self.place(place, site)), ("amount", amount), ("count", shown)])
    }

    pub fn count(&self, count: usize) -> String {
        self.words.say("count-containers", &[("count", count.to_string())])
    }

    pub fn besides(&self, tally: &Tally) -> Option<String> {
        let all = [
            ("besides-started", tally.started),
            ("besides-held", tally.held),
            ("besides-suspect", tally.suspect),
            ("besides-past", tally.past),
            ("besides-unknown", tally.unknown),
            ("besides-sent", tally.sent),
        ];
        let list: Vec<String> = all
            .iter()
            .filter(|(_, ml)| !ml.is_zero())
            .map(|(id, ml)| self.words.say(id, &[("amount", self.amount(*ml))]))
            .collect();
        (!list.is_empty()).then(|| self.words.say("stock-besides", &[("list", list.join(", "))]))
    }

    /// What is called so, each by itself.
    fn called(&self, asked: &Asked) -> String {
        let mut found: Vec<&Container> = (self.ledger.stock().existing())
            .filter(|c| asked.tags.iter().all(|tag| c.marks.tags.contains(tag)))
            .collect();
        found.sort_by_key(|c| (c.is_sent(), c.use_by().is_none(), c.use_by(), c.code));
        if found.is_empty() {
            return self.words.say("called-none", &[("tags", asked.tags.join(", "))]);
        }
        let lines = found.into_iter().map(|c| self.container_line("expiring-line", c));
        std::iter::once(self.words.word("stock-title")).chain(lines).collect::<Vec<_>>().join("\n")
    }

    pub fn next(&self, asked: &Asked) -> String {
        let household = self.ledger.household();
        let child = asked.child.as_deref().and_then(|words| household.child_called(words));
        let fits = |c: &Container| {
            let called = asked.tags.iter().all(|tag| c.marks.tags.contains(tag));
            called
                && child.is_none_or(|child| {
                    household.is_meant_for(&c.marks, child)
                        && !query::is_of_another(self.ledger.stock(), c, &child.name)
                })
        };
        let named = asked.person.as_deref().and_then(|name| household.pumping_called(name));
        let child = child.or(household.children.first().filter(|_| !household.several_children()));
        let parent = named.map(str::to_owned).or(child.and_then(|child| query::parent_of(household, child)));
        if parent.is_some() {
            return self.next_of_owner(&parent, &fits);
        }
        if child.is_some() || !household.several_children() {
            return self.next_of(&|c| query::covers(self.ledger, c, &None) && fits(c));
        }
        // Nobody knows for which of the children: the milk of each parent apart.
        let owners = query::owners_apart(self.ledger);
        let lines: Vec<String> = owners.iter().map(|owner| self.next_of_owner(owner, &fits)).collect();
        lines.join("\n")
    }

    fn next_of_owner(&self, owner: &Owner, fits: &dyn Fn(&Container) -> bool) -> String {
        self.of_owner(owner, self.next_of(&|c| query::is_owned(self.ledger, c, owner) && fits(c)))
    }

    fn next_of(&self, fits: &dyn Fn(&Container) -> bool) -> String {
        let (started, next) = query::next(self.ledger, self.now, fits);
        let mut lines: Vec<String> = started.iter().map(|c| self.container_line("next-started", c)).collect();
        match next {
            Some(c) if c.is_frozen() => lines.push(self.container_line("next-frozen", c)),
            Some(c) => lines.push(self.container_line("next", c)),
            None => {
                lines.push(self.words.word("next-none"));
                let own = self.ledger.stock().current().filter(|c| fits(c));
                lines.extend(self.besides(&Tally::of_these(own, self.now)));
            }
        }
        lines.join("\n")
    }

    /// Labels by the thousand are read by nobody; runs are drawn together.
    pub fn labels_of<'c>(&self, of: impl Iterator<Item = &'c Container>) -> Option<String> {
        let codes: Vec<Code> = of.map(|c| c.code).collect();
        (!codes.is_empty()).then(|| self.ranges(&codes))
    }
}

/// Where milk that wasn't sent away lies, if not at home.
fn lies_at(c: &Container) -> Option<&Site> {
    c.life.site.as_ref().filter(|_| !c.is_sent())
}

fn is_sent_to(c: &Container, site: Option<&Site>) -> bool {
    c.is_sent() && site.is_some() && c.life.site.as_ref() == site
}
