//! The households that are kept in memory, so that a message needs no reading of a whole ledger. Always true: together they
//! have at most about `ENTRIES` entries; those that nobody has written in for the longest time go first, and are read again
//! when they are needed. Whoever works on a household holds its slot.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::store::HouseholdId;

use super::House;

/// Less than two kilobytes each (measured with households of three years): under a GiB at the most. Two dozen of such
/// households, or thousands of a few weeks.
const ENTRIES: usize = 500_000;
/// What a household takes besides its entries, counted as entries.
const BESIDES: usize = 20;

pub type Slot = Arc<tokio::sync::Mutex<Option<House>>>;

#[derive(Debug)]
struct Seat {
    slot: Slot,
    used: u64,
    /// 0 while nothing is in it.
    entries: usize,
}

#[derive(Debug, Default)]
struct Seats {
    all: HashMap<HouseholdId, Seat>,
    uses: u64,
    entries: usize,
}

#[derive(Debug, Default)]
pub struct Memory {
    seats: Mutex<Seats>,
    /// The household that each chat talks for, where it is asked again and again.
    homes: Mutex<HashMap<i64, HouseholdId>>,
}

fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Memory {
    fn seats(&self) -> MutexGuard<'_, Seats> {
        lock(&self.seats)
    }

    pub fn home(&self, chat: i64) -> Option<HouseholdId> {
        lock(&self.homes).get(&chat).copied()
    }

    pub fn note_home(&self, chat: i64, id: HouseholdId) {
        lock(&self.homes).insert(chat, id);
    }

    pub fn slot(&self, id: HouseholdId) -> Slot {
        let mut seats = self.seats();
        seats.uses += 1;
        let used = seats.uses;
        let seat = seats.all.entry(id).or_insert_with(|| Seat { slot: Slot::default(), used, entries: 0 });
        seat.used = used;
        seat.slot.clone()
    }

    /// Takes down what is in a slot now, and makes room where it is too much.
    pub fn note(&self, id: HouseholdId, house: Option<&House>) {
        self.seats().weigh(id, house.map_or(0, |house| BESIDES + house.entries()));
    }

    /// What the store holds has changed: it must be read again.
    pub fn forget(&self, id: HouseholdId) {
        let mut seats = self.seats();
        seats.weigh(id, 0);
        seats.all.remove(&id);
    }

    pub fn forget_all(&self) {
        *self.seats() = Seats::default();
        lock(&self.homes).clear();
    }
}

impl Seats {
    fn weigh(&mut self, id: HouseholdId, entries: usize) {
        let Some(seat) = self.all.get_mut(&id) else { return };
        self.entries = self.entries + entries - seat.entries;
        seat.entries = entries;
        if entries == 0 && Arc::strong_count(&seat.slot) <= 2 {
            // Nobody but the one who says so has it.
            self.all.remove(&id);
        }
        if self.entries > ENTRIES {
            self.make_room(id);
        }
    }

    /// More than is needed at once, so that it isn't looked for again and again. The one in use stays, however large.
    fn make_room(&mut self, but: HouseholdId) {
        let idle = |(id, seat): &(&HouseholdId, &Seat)| **id != but && Arc::strong_count(&seat.slot) == 1;
        let mut idle: Vec<(u64, HouseholdId)> =
            self.all.iter().filter(idle).map(|(id, seat)| (seat.used, *id)).collect();
        idle.sort_unstable_by_key(|(used, _)| *used);
        for (_, id) in idle {
            if self.entries <= ENTRIES / 8 * 7 {
                return;
            }
            if let Some(seat) = self.all.remove(&id) {
                self.entries -= seat.entries;
            }
        }
    }
}
