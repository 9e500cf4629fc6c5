//! The order in which facts are folded, and stocks kept from along the way. Always true: the order is that of (time,
//! sequence, place in the entry), and a kept stock is the fold of all facts up to and with the one it names. So what changes
//! the past is folded anew from shortly before it, not from the beginning.

use imbl::OrdSet;

use crate::domain::milk::Moment;

use super::Said;
use super::stock::Stock;

/// Where a fact stands: its time, its entry, and which of the entry's facts it is.
pub type Spot = (Moment, i64, usize);

/// Comes before every fact.
pub const FIRST: Spot = (Moment::MIN_UTC, i64::MIN, 0);

/// After so many facts a stock is kept.
const APART: usize = 16;
/// So many of the newest kept stocks all stay; of those before them fewer and fewer.
const DENSE: usize = 8;

#[derive(Debug, Clone)]
struct Mark {
    /// The first mark has the number 0; numbers grow.
    number: usize,
    upto: Spot,
    stock: Stock,
}

#[derive(Debug, Clone, Default)]
pub struct Course {
    order: OrdSet<Spot>,
    marks: Vec<Mark>,
    /// How many facts were folded since the last mark.
    since_mark: usize,
    /// The last that is folded into the ledger's stock.
    folded: Option<Spot>,
}

impl Course {
    /// The facts of an entry count from now on; the first of them, if there is any.
    pub fn enter(&mut self, said: &Said) -> Option<Spot> {
        let spots = spots(said);
        self.order.extend(spots.iter().copied());
        spots.into_iter().min()
    }

    /// They count no more.
    pub fn leave(&mut self, said: &Said) -> Option<Spot> {
        let spots = spots(said);
        for spot in &spots {
            self.order.remove(spot);
        }
        spots.into_iter().min()
    }

    /// The time of the last fact.
    pub fn end(&self) -> Option<Moment> {
        self.order.get_max().map(|spot| spot.0)
    }

    /// Whether a fact comes after all that is folded.
    pub fn is_next(&self, spot: Spot) -> bool {
        self.folded.is_none_or(|last| spot > last)
    }

    /// Forgets what was folded from a fact on; the stock before it, or one from before that.
    pub fn back_to(&mut self, spot: Option<Spot>) -> Stock {
        match spot {
            Some(spot) => self.marks.retain(|mark| mark.upto < spot),
            None => self.marks.clear(),
        }
        self.since_mark = 0;
        self.folded = self.marks.last().map(|mark| mark.upto);
        self.marks.last().map(|mark| mark.stock.clone()).unwrap_or_default()
    }

    /// The facts that are not folded yet.
    pub fn rest(&self) -> Vec<Spot> {
        self.after(self.folded).collect()
    }

    /// A fact is folded, and this is the stock with it.
    pub fn folded(&mut self, spot: Spot, stock: &Stock) {
        self.folded = Some(spot);
        self.since_mark += 1;
        if self.since_mark < APART {
            return;
        }
        self.since_mark = 0;
        let number = self.marks.last().map_or(0, |mark| mark.number + 1);
        self.marks.push(Mark { number, upto: spot, stock: stock.clone() });
        self.marks.retain(|mark| stays(mark.number, number));
    }

    /// A stock of before a fact, or a moment, and the facts that come after that stock.
    pub fn before(&self, spot: Option<Spot>, at: Option<Moment>) -> (Stock, impl Iterator<Item = Spot>) {
        let fits =
            |mark: &&Mark| spot.is_none_or(|spot| mark.upto < spot) && at.is_none_or(|at| mark.upto.0 <= at);
        let mark = self.marks.iter().rev().find(fits);
        let stock = mark.map(|mark| mark.stock.clone()).unwrap_or_default();
        (stock, self.after(mark.map(|mark| mark.upto)))
    }

    fn after(&self, spot: Option<Spot>) -> impl Iterator<Item = Spot> {
        let from = spot.unwrap_or(FIRST);
        self.order.range(from..).copied().filter(move |next| Some(*next) != spot)
    }
}

pub fn spots(said: &Said) -> Vec<Spot> {
    said.facts.iter().enumerate().map(|(nth, dated)| (dated.at, said.seq, nth)).collect()
}

/// The older a mark, the rounder its number must be: a change of the past folds at most about twice as far as it lies back.
fn stays(number: usize, newest: usize) -> bool {
    let age = newest - number;
    age < DENSE || number.is_multiple_of((age / (DENSE / 2)).next_power_of_two())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_marks_stay_and_none_is_far() {
        let mut kept: Vec<usize> = Vec::new();
        for newest in 0..2000 {
            kept.push(newest);
            kept.retain(|number| stays(*number, newest));
            assert!(kept.len() <= 64, "{} marks after {newest}", kept.len());
            for back in 1..=newest {
                let before = kept.iter().rev().find(|number| **number <= newest - back).copied().unwrap_or(0);
                assert!(newest - before <= 2 * back + DENSE, "{back} back from {newest}: from {before}");
            }
        }
    }
}
