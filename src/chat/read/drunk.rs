//! The amounts of one feed: what was drunk, what was offered, what is left and where it stands.

use super::Context;
use super::clause::Clause;
use super::feed::with_lists;
use super::item::{Item, Kind};
use super::pump::Pour;
use super::scene::{Built, spots, volume, written_unit};
use super::senses::{Tag, Verb};
use crate::domain::act::Act;
use crate::domain::volume::Volume;

fn is_part(clause: &Clause, at: usize) -> bool {
    let word = |n: usize, tag: Tag| clause.items.get(n).is_some_and(|i| i.is_word() && i.has(tag));
    word(at + 1, Tag::Of) && (word(at + 2, Tag::It) || word(at + 2, Tag::This))
}

/// The four numbers of a feed.
#[derive(Debug, Default)]
pub struct Amounts {
    drunk: Option<Volume>,
    offered: Option<Volume>,
    left: Option<Volume>,
    /// Where what is left stands.
    left_at: Option<usize>,
    about: bool,
}

impl Amounts {
    pub fn of(clause: &Clause, pours: Vec<Pour>, ctx: &Context) -> Built<Amounts> {
        let unit = written_unit(&clause.items);
        let sure = pours.iter().any(|p| volume(p.amount, None, ctx).is_ok());
        let small = unit.or(sure.then_some(ctx.units));
        let mut amounts = Amounts { about: pours.iter().any(|p| p.amount.about), ..Amounts::default() };
        let mut plain: Vec<(Pour, Volume)> = Vec::new();
        let all = with_lists(clause, pours, ctx);
        for (n, pour) in all.iter().enumerate() {
            // "gave 100 and 20 left": only the last of them
            let listed = all.get(n + 1).is_some_and(|next| next.at == pour.at);
            let left = !listed && is_left(clause, pour, !plain.is_empty()) && amounts.left.is_none();
            let ml = volume(pour.amount, if left { small } else { unit }, ctx)?;
            if left {
                (amounts.left, amounts.left_at) = (Some(ml), Some(pour.at));
            } else {
                plain.push((*pour, ml));
            }
        }
        for item in &clause.items {
            if let Kind::Multi(count, each) = item.kind {
                amounts.drunk =
                    Some(Volume::from_microlitres(volume(each, unit, ctx)?.microlitres() * i64::from(count)));
            }
        }
        let bottle = amounts.drunk.take();
        amounts.sort(clause, &plain);
        match (bottle, amounts.drunk) {
            (Some(bottle), Some(drunk)) if drunk <= bottle => amounts.offered = Some(bottle),
            (Some(bottle), None) if amounts.offered.is_none() => amounts.drunk = Some(bottle),
            _ => {}
        }
        Ok(amounts)
    }

    pub fn any(&self) -> bool {
        self.drunk.is_some() || self.offered.is_some() || self.left.is_some()
    }

    /// Which amounts were drunk and which offered.
    fn sort(&mut self, clause: &Clause, plain: &[(Pour, Volume)]) {
        match plain {
            [] => {}
            [(pour, ml)] => self.single(clause, pour, *ml),
            // "gave 100, 80 of it breastmilk"
            [(_, whole), (b, part)] if part < whole && is_part(clause, b.at) => self.drunk = Some(*part),
            [(a, drunk), (b, offered)] if is_of(clause, a.at, b.at) => {
                (self.drunk, self.offered) = if drunk <= offered {
                    (Some(*drunk), Some(*offered))
                } else {
                    (Some(*offered), Some(*drunk))
                };
            }
            [(a, offered), (b, drunk), ..] if drank_later(clause, a.at, b.at) => {
                (self.drunk, self.offered) = (Some(*drunk), Some(*offered));
            }
            [(a, drunk), (b, offered), ..] if offered_later(clause, a.at, b.at) => {
                (self.drunk, self.offered) = (Some(*drunk), Some(*offered));
            }
            [.., (last, total)] if near(clause, last.at, Tag::Total) => self.drunk = Some(*total),
            all => self.drunk = Some(all.iter().map(|(_, ml)| *ml).sum()),
        }
    }

    fn single(&mut self, clause: &Clause, pour: &Pour, ml: Volume) {
        let vessel = [Tag::Bottle, Tag::Container];
        let small = [Tag::Of, Tag::The, Tag::Article, Tag::About];
        let soft = |i: &&Item| !(i.is_word() && (i.any(&small) || i.any(&vessel) && !i.has(Tag::Half)));
        let half = clause.items[..pour.at].iter().rev().take(5).find(soft).is_some_and(|i| i.has(Tag::Half));
        // "toma de las 7: 100, dejó 15": what came of a feed was drunk
        let feed = |i: &Item| i.is_word() && i.has(Tag::FeedNoun) && !i.has(Tag::Bottle);
        let of_feed = clause.items.first().is_some_and(feed);
        let bottle_only = !of_feed
            && self.left.is_some()
            && clause.heads.iter().all(|h| matches!(h.verb, Verb::Leave | Verb::Make));
        let but = self.left.is_some() && clause.item(Tag::Except).is_some();
        let given = clause.tells(Verb::Give)
            && self.left.is_some()
            && clause.tells(Verb::Leave)
            && !clause.has(Tag::OverOnly);
        let made = clause
            .heads
            .iter()
            .rfind(|h| h.at < pour.at)
            .is_some_and(|h| matches!(h.verb, Verb::Make | Verb::Offer));
        match () {
            () if half || drank_half(clause) || left_half(clause) => {
                (self.drunk, self.offered) = (Some(Volume::from_microlitres(ml.microlitres() / 2)), Some(ml))
            }
            () if bottle_only || given || made || but => self.offered = Some(ml),
            () => self.drunk = Some(ml),
        }
    }

    pub fn put(mut self, feed: &mut Act, clause: &Clause) {
        if let (None, None, Some(offered)) = (self.drunk, self.left, self.offered)
            && drank_half(clause)
        {
            (self.drunk, self.about) = (Some(Volume::from_microlitres(offered.microlitres() / 2)), true);
        }
        (feed.ml, feed.offered_ml, feed.left_ml, feed.about) =
            (self.drunk, self.offered, self.left, self.about);
        let rest = clause.items.iter().position(|i| i.is_word() && i.any(&[Tag::Rest, Tag::LeftOver]));
        // "made 4oz she drank 2.5, bottle is in the fridge"
        let some = self.drunk.zip(self.offered).is_some_and(|(drunk, offered)| drunk < offered);
        let stands = clause.items.iter().rposition(|i| i.sign() == Some(',')).filter(|_| some);
        if let Some(from) = self.left_at.or(rest).or(stands) {
            let after = spots(clause).into_iter().find(|s| s.at > from);
            feed.left_place = after.map(|s| s.place);
        }
    }
}

/// "offered 120, she drank about half".
pub fn drank_half(clause: &Clause) -> bool {
    let drunk = [Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Want];
    clause.heads.iter().filter(|h| drunk.contains(&h.verb)).any(|h| {
        let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Just]));
        clause.items[h.at + 1..].iter().find(soft).is_some_and(|i| i.is_word() && i.has(Tag::Half))
    })
}

/// "gave her half of bag 17": the other half stays in the bag.
pub fn half_of_one(clause: &Clause) -> bool {
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::Of, Tag::The]));
    let half = clause.items.iter().position(|i| i.is_word() && i.has(Tag::Half));
    half.and_then(|at| clause.items[at + 1..].iter().find(small))
        .is_some_and(|i| matches!(i.kind, Kind::Codes(_)))
}

/// "gave 120, left half", "half left".
pub fn left_half(clause: &Clause) -> bool {
    let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Just, Tag::The, Tag::CodeArticle]));
    let words: Vec<&Item> = clause.items.iter().filter(soft).collect();
    let pair = |a: &Item, b: &Item| a.has(Tag::LeftOver) && b.has(Tag::Half);
    words.windows(2).any(|p| p[0].is_word() && p[1].is_word() && (pair(p[0], p[1]) || pair(p[1], p[0])))
}

/// The amount stayed in the bottle: "left 30", "30 left", or, after what was drunk, "2 back in fridge".
fn is_left(clause: &Clause, pour: &Pour, after: bool) -> bool {
    let word = left_word(clause, pour.at) || left_in_words(clause, pour.at);
    let next = clause.items.get(pour.at + 1..).unwrap_or_default();
    let stop = next.iter().position(|i| i.amount().is_some() || i.sign() == Some(',')).unwrap_or(next.len());
    let put_back = next[..stop].iter().any(|i| i.has(Tag::Back) || i.place().is_some())
        && !next[..stop].iter().any(|i| i.has(Tag::From));
    word || (after && put_back)
}

/// "quedó media mema, unos 60": how much is told after it, and nothing of what was drunk.
fn left_in_words(clause: &Clause, at: usize) -> bool {
    let items = &clause.items;
    let put = |v: Verb| matches!(v, Verb::Leave | Verb::Put | Verb::Move | Verb::Freeze);
    let left = (0..at).rev().find(|n| items[*n].is_word() && items[*n].has(Tag::LeftOver));
    let only = items.iter().filter(|i| i.amount().is_some()).count() == 1;
    only && clause.heads.iter().all(|h| put(h.verb))
        && left.is_some_and(|n| items[n..at].iter().all(|i| i.is_word() || i.sign() == Some(',')))
}

/// "left 30" or "30 left", but in "fed 90 left 30" the word belongs to the 30.
pub fn left_word(clause: &Clause, at: usize) -> bool {
    let small = [Tag::About, Tag::Article, Tag::Be, Tag::Just, Tag::He, Tag::OtherOne, Tag::The];
    let left = |i: &Item| i.is_word() && i.any(&[Tag::LeftOver, Tag::Except]);
    // "y quedó 1" is what was left, though the word is a state as well
    let soft = |i: &&Item| left(i) || !(i.is_word() && i.any(&small));
    let rest = at > 0 && clause.items[at - 1].is_word() && clause.items[at - 1].has(Tag::Rest);
    let before = clause.items[..at].iter().rev().take(3).find(soft).is_some_and(left);
    let mut after =
        clause.items[at + 1..].iter().filter(|i| !(i.is_word() && i.any(&[Tag::About, Tag::Be, Tag::Just])));
    let follows = after.next().is_some_and(left);
    let others = after.next().is_some_and(|i| i.amount().is_some());
    before || rest || (follows && !others)
}

/// The tag stands right before or after the item, words for "about" aside.
pub fn near(clause: &Clause, at: usize, tag: Tag) -> bool {
    let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Article, Tag::Be, Tag::Of, Tag::Just]));
    let before = clause.items[..at].iter().rev().take(3).find(soft);
    let after = clause.items[at + 1..].iter().take(2).find(|i| i.is_word());
    [before, after].into_iter().flatten().any(|i| i.is_word() && i.has(tag))
}

/// "100 of 120", "80/120".
pub fn is_of(clause: &Clause, a: usize, b: usize) -> bool {
    let between = clause.items.get(a + 1..b).unwrap_or_default();
    between.len() <= 3 && between.iter().any(|i| i.any(&[Tag::Of, Tag::OfAt]) || i.sign() == Some('/'))
}

/// "made 120, drank 80", "gave 120 he took 80".
pub fn drank_later(clause: &Clause, a: usize, b: usize) -> bool {
    let head_before = |at: usize| clause.heads.iter().rfind(|h| h.at < at);
    let first = head_before(a)
        .is_none_or(|h| matches!(h.verb, Verb::Make | Verb::Offer | Verb::Give | Verb::Pour | Verb::Warm));
    let second = head_before(b).is_some_and(|h| {
        h.at > a
            && matches!(
                h.verb,
                Verb::Drink | Verb::Take | Verb::Have | Verb::Finish | Verb::Want | Verb::Feed
            )
    });
    first && second
}

/// "drank 80, made 120".
fn offered_later(clause: &Clause, a: usize, b: usize) -> bool {
    clause.heads.iter().any(|h| a < h.at && h.at < b && matches!(h.verb, Verb::Make | Verb::Offer))
}
