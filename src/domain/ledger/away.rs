//! Milk that had been sent away and came back, drunk from or not. No clock starts later for it.

use crate::domain::act::Code;
use crate::domain::fact::Feed;
use crate::domain::milk::{Life, Moment};
use crate::domain::place::Place;
use crate::domain::volume::Volume;

use super::change::{moved, started};
use super::fold::{Fold, there};
use super::stock::{Container, Stock};

impl Fold<'_> {
    /// `drunk_from`: what was left in it, as far as anybody said.
    pub(super) fn came_back(
        &self,
        stock: &mut Stock,
        at: Moment,
        codes: &[Code],
        place: Option<Place>,
        drunk_from: Option<Option<Volume>>,
    ) {
        if let Some(left) = drunk_from {
            self.drunk_away(stock, at, codes, left);
        }
        self.each(stock, at, codes, |c| returned(c, at, place));
    }

    /// Drunk from where it had been sent. Whoever fed may have told of it, or may yet: no feed is added.
    fn drunk_away(&self, stock: &mut Stock, at: Moment, codes: &[Code], left: Option<Volume>) {
        for code in there(stock, codes) {
            let (mut drunk, mut found) = (Volume::ZERO, Volume::ZERO);
            stock.change(code, |container| {
                self.change(container, at, |c| {
                    let holds = left.unwrap_or(c.ml);
                    (drunk, found) = (c.ml.less(holds), holds.less(c.ml));
                    c.odd |= !found.is_zero();
                    c.ml = holds;
                    c.life = drunk_while_away(c, at);
                });
            });
            stock.totals.fed += drunk;
            stock.totals.found += found;
        }
    }
}

/// Nobody told when it was drunk from: it may have been as soon as it was there. Our own cautious choice, no source.
fn drunk_while_away(c: &Container, at: Moment) -> Life {
    let there = c.life.received.or(c.steps.last().map(|step| step.at)).unwrap_or(at);
    let feed = Feed { began: Some(there), left_place: Some(c.life.place), ..Feed::default() };
    started(c.life.clone(), at, &feed)
}

/// Nobody saw how it travelled: unless its place is told, unfrozen milk is taken to lie in the room. Our own cautious
/// choice, no source.
fn returned(c: &mut Container, at: Moment, place: Option<Place>) {
    c.gone = None;
    let place = place.unwrap_or(if c.is_frozen() { c.life.place } else { Place::Room });
    moved(&mut c.life, at, place, None);
}
