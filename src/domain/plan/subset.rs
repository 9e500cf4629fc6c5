//! The smallest sum that is enough. Exact for any stock that a family can have, and fast for hundreds of containers:
//! what can be summed up is counted in the largest unit that divides every size.

use crate::domain::volume::Volume;

/// More distinct sums than this are never told apart (their unit is made coarser, and what is chosen is still enough).
/// A group is what was frozen in 15 days: counted in single microlitres this is 33 litres.
const MOST_SUMS: i64 = 1 << 24;

/// Which of `sizes` to take so that their sum is the smallest that is at least `need`; of several such choices the one
/// that takes the earlier ones. All of them if they aren't enough.
pub fn at_least(sizes: &[Volume], need: Volume) -> Vec<bool> {
    let total: Volume = sizes.iter().copied().sum();
    if total <= need {
        return vec![true; sizes.len()];
    }
    let grain = grain(sizes, total);
    let sizes: Vec<usize> = sizes.iter().map(|v| (v.microlitres() / grain) as usize).collect();
    let need = ((need.microlitres() + grain - 1) / grain).max(0) as usize;
    let total: usize = sizes.iter().sum();
    // What is left out and what is taken say the same: the smaller of the two is searched.
    if total < 2 * need { leave_out(&sizes, total.saturating_sub(need)) } else { take(&sizes, need) }
}

fn take(sizes: &[usize], need: usize) -> Vec<bool> {
    let highest = need + sizes.iter().max().unwrap_or(&0);
    let sums = Sums::of(sizes, highest);
    let mut rest = (need..=highest).find(|sum| sums.within(sizes.len(), *sum)).unwrap_or(0);
    let mut chosen = Vec::with_capacity(sizes.len());
    for (n, size) in sizes.iter().enumerate() {
        let fits = rest >= *size && sums.within(sizes.len() - n - 1, rest - size);
        rest -= if fits { *size } else { 0 };
        chosen.push(fits);
    }
    chosen
}

/// The largest sum that can stay, made of the later ones where there is a choice.
fn leave_out(sizes: &[usize], spare: usize) -> Vec<bool> {
    let sums = Sums::of(sizes, spare);
    let mut rest = (0..=spare).rev().find(|sum| sums.within(sizes.len(), *sum)).unwrap_or(0);
    let mut chosen = Vec::with_capacity(sizes.len());
    for (n, size) in sizes.iter().enumerate() {
        let taken = sums.within(sizes.len() - n - 1, rest);
        rest -= if taken { 0 } else { *size };
        chosen.push(taken);
    }
    chosen
}

/// The largest unit in which every size is a whole number.
fn grain(sizes: &[Volume], total: Volume) -> i64 {
    let common = sizes.iter().map(|v| v.microlitres()).fold(0, gcd).max(1);
    common.max(total.microlitres() / 2 / MOST_SUMS + 1)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Which sums the last k of a list can make, for every k at once: how many of the last are needed for each sum.
struct Sums(Vec<u32>);

impl Sums {
    const NEVER: u32 = u32::MAX;

    fn of(sizes: &[usize], highest: usize) -> Sums {
        let mut needed = vec![Sums::NEVER; highest + 1];
        needed[0] = 0;
        let mut reached = Bits::new(highest);
        reached.set(0);
        for (k, size) in (1..).zip(sizes.iter().rev()) {
            for sum in reached.grow(*size) {
                needed[sum] = k;
            }
        }
        Sums(needed)
    }

    fn within(&self, last: usize, sum: usize) -> bool {
        self.0[sum] as usize <= last
    }
}

/// A set of whole numbers up to some highest.
struct Bits {
    words: Vec<u64>,
    highest: usize,
}

impl Bits {
    fn new(highest: usize) -> Bits {
        Bits { words: vec![0; highest / 64 + 1], highest }
    }

    fn set(&mut self, n: usize) {
        self.words[n / 64] |= 1 << (n % 64);
    }

    /// Adds every member moved up by `by`, and tells which are new.
    fn grow(&mut self, by: usize) -> Vec<usize> {
        let (skip, shift) = (by / 64, by % 64);
        let mut new = Vec::new();
        for at in (skip..self.words.len()).rev() {
            let low = self.words[at - skip] << shift;
            let carried = at.checked_sub(skip + 1).filter(|_| shift > 0);
            let moved = low | carried.map_or(0, |below| self.words[below] >> (64 - shift));
            let mut fresh = moved & !self.words[at];
            self.words[at] |= moved;
            while fresh != 0 {
                let sum = at * 64 + fresh.trailing_zeros() as usize;
                if sum <= self.highest {
                    new.push(sum);
                }
                fresh &= fresh - 1;
            }
        }
        new
    }
}
