//! Feeds: what a child drank, of how much, what stayed in the bottle and where. What is left in a bottle is started milk
//! and never a new container.

use super::Context;
use super::children::{child, of_children, taken_by_child};
use super::clause::Clause;
use super::item::{Amount, Item, Kind};
use super::pump::{Pour, doubtful_pair, entry_moment, pours};
use super::scene::{Bare, Built, act, moment, refs, spots, timed, volume, written_unit};
use super::senses::{Form, Tag, Verb};
use super::several::several_feeds;
use super::stays;
use super::when::{Role, When};
use crate::domain::act::{Act, Code, Doubt, Kind as ActKind, Pick};
use crate::domain::place::Site;
use crate::domain::volume::{Unit, Volume};

/// Verbs after which a bare number from 7 to 15 may be a label, a count, ounces or millilitres.
const LOOSE: [Verb; 3] = [Verb::Give, Verb::Use, Verb::Take];

/// The feed or feeds that a clause tells; none where it says nothing of milk.
pub fn feed(clause: &Clause, ctx: &Context) -> Built<Vec<Act>> {
    let strong = clause.tells_any(&[Verb::Feed, Verb::Drink]) || clause.head(Verb::Feed).is_some();
    let strong = strong || taken_by_child(clause);
    let children = of_children(clause);
    let mut pours = if children.len() > 1 { children } else { pours(clause, strong) };
    pours.retain(|p| !was_there(clause, p));
    let label = label_before(&mut pours, ctx);
    doubtful_pair(clause, &pours)?;
    loose_number(clause, &pours)?;
    let refs = refs(clause, &clause.items, Bare::Never)?;
    if super::several::lists_hours(clause) {
        return Err(Doubt::Time);
    }
    if given_to_another(clause) && (!refs.is_empty() || clause.has_number()) {
        return Err(Doubt::Kind);
    }
    let several = several_feeds(clause, &pours, ctx)?;
    if !several.is_empty() {
        return Ok(several);
    }
    // "80, 13hs 100, 16:30 90": which was drunk when is open, and a sum at each time is surely wrong
    let clocks = clause.whens().filter(|(_, w)| w.role == Role::At && w.clock.is_some()).count();
    if clocks > 1 && pours.len() > clocks {
        return Err(Doubt::Time);
    }
    let ranged = |i: &Item| matches!(&i.kind, Kind::List(all, true) if all.iter().all(|n| *n >= 15));
    if clause.items.iter().any(ranged) && !clause.heads.iter().any(|h| LOOSE.contains(&h.verb)) {
        return Err(Doubt::Amount);
    }
    let told: Vec<Verb> = clause.heads.iter().filter(|h| h.form != Form::Base).map(|h| h.verb).collect();
    if !told.is_empty()
        && told.iter().all(|v| matches!(v, Verb::Make | Verb::Offer))
        && !clause.items.iter().any(|i| i.has(Tag::LeftOver))
    {
        return Ok(vec![]);
    }
    if is_refused(clause, &told, &pours) {
        return Ok(vec![]);
    }
    let mut feed = act(ActKind::Feed, clause, ctx)?;
    // "bottle of 5 am: 130": told without a verb, it names no other milk
    let entry = clause.heads.is_empty() && !feed.timed && !pours.is_empty() && refs.codes.is_empty();
    if entry {
        timed(&mut feed, moment(&clause.items, ctx, true)?, ctx);
    }
    let amounts = Amounts::of(clause, pours, ctx)?;
    let bottle = clause.any(&[Tag::Bottle, Tag::Container, Tag::Milk]);
    let known = !refs.codes.is_empty()
        || label.is_some()
        || refs.count.is_some()
        || !listed_codes(clause, ctx).is_empty()
        || refs.pick.as_ref().is_some_and(|p| *p != Pick::All || says_it(clause));
    let begun = clause.tells(Verb::Start) && clause.head(Verb::Drink).is_some();
    if !(amounts.any() || known || bottle || begun || clause.tells(Verb::Feed)) {
        return Ok(vec![]);
    }
    let only_it = refs.pick == Some(Pick::Last) && refs.codes.is_empty() && refs.count.is_none();
    if only_it && !amounts.any() && !bottle && clause.items.iter().any(is_stranger) {
        return Ok(vec![]);
    }
    refs.put(&mut feed);
    if entry && feed.timed {
        (feed.count, feed.pick) = (None, None);
    }
    feed.codes.extend(listed_codes(clause, ctx));
    feed.codes.extend(label);
    let named = !feed.codes.is_empty();
    let lying = stays::lying(clause);
    if of_it(clause) && !matches!(feed.pick, Some(Pick::Oldest | Pick::Newest | Pick::Phrase(_))) {
        feed.pick = Some(Pick::Last);
    }
    feed.pick = feed.pick.filter(|p| match p {
        Pick::Rest => false,
        Pick::All => !named && lying.is_some() && !amounts.any(),
        Pick::Last => !named && !told_before(clause),
        _ => true,
    });
    if !named && feed.pick.is_none() && feed.count.is_none() && finished(clause, &amounts) {
        feed.pick = Some(Pick::Rest);
    }
    if feed.pick == Some(Pick::All) {
        feed.place = lying;
    } else if let Some(from) = spots(clause).into_iter().find(|s| {
        s.at > 0 && clause.items[..s.at].iter().rev().take(2).any(|i| i.is_word() && i.has(Tag::From))
    }) {
        feed.place = Some(from.place);
        feed.site = from.site;
    }
    if feed.codes.is_empty() && feed.site.is_none() {
        feed.site = super::scene::site(clause).filter(|site| *site == Site::Daycare);
    }
    feed.child = child(clause);
    let poured = clause.has(Tag::PouredRest) || super::pouring::fills_a_bottle(clause);
    feed.poured = poured && (!feed.codes.is_empty() || feed.pick.is_some());
    let poured = half_of_one(clause) && clause.tells_any(&[Verb::Give, Verb::Use]);
    feed.half = !amounts.any() && (drank_half(clause) || left_half(clause) || poured);
    feed.poured |= poured && feed.half;
    amounts.put(&mut feed, clause);
    feed.open = is_open(clause, &feed);
    // "used bag 22 and half of bag 23"
    if feed.half && feed.codes.len() > 1 && half_of_one(clause) {
        let last = feed.codes.split_off(feed.codes.len() - 1);
        let half = Act { codes: last, ..feed.clone() };
        return Ok(vec![Act { half: false, poured: false, ..feed }, half]);
    }
    let plain = feed.ml.is_some() && feed.left_ml.is_none() && feed.codes.is_empty();
    Ok(if plain { at_each_time(vec![feed], clause, ctx) } else { vec![feed] })
}

/// "topped up his 60 with 30": what was in the bottle before.
fn was_there(clause: &Clause, pour: &Pour) -> bool {
    let his = |i: &Item| clause.message.marks[i.from].iter().any(|(tag, _)| *tag == Tag::Childs);
    clause.tells(Verb::Add) && pour.at > 0 && his(&clause.items[pour.at - 1])
}

/// "took it to the vet": a word that is no name and that nobody here knows.
fn is_stranger(item: &Item) -> bool {
    item.unknown && !item.initial
}

/// "bottle of 120, drank it all": the bottle was spoken of just now, and is no container of its own.
fn told_before(clause: &Clause) -> bool {
    let it = clause.items.iter().position(|i| i.is_word() && i.has(Tag::It));
    !of_it(clause) && it.is_some_and(|at| clause.items[..at].iter().any(|i| i.amount().is_some()))
}

/// "se la tomó toda": the milk was spoken of.
fn says_it(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.is_word() && i.has(Tag::It)) && clause.items.iter().all(|i| !i.unknown)
}

fn is_part(clause: &Clause, at: usize) -> bool {
    let word = |n: usize, tag: Tag| clause.items.get(n).is_some_and(|i| i.is_word() && i.has(tag));
    word(at + 1, Tag::Of) && (word(at + 2, Tag::It) || word(at + 2, Tag::This))
}

/// "gave him 60 of it".
fn of_it(clause: &Clause) -> bool {
    let word = |i: &Item, tag: Tag| i.is_word() && i.has(tag);
    clause.items.windows(3).any(|p| p[0].amount().is_some() && word(&p[1], Tag::Of) && word(&p[2], Tag::It))
}

/// "finished the bottle", "gave him the rest": one that was drunk from before.
fn finished(clause: &Clause, amounts: &Amounts) -> bool {
    let names = |tags: &[Tag]| clause.items.iter().any(|i| i.is_word() && i.any(tags));
    let rest = [Tag::Rest, Tag::BottleRest];
    let given = clause.tells_any(&[Verb::Give, Verb::Feed, Verb::Drink, Verb::Have, Verb::Take]);
    !amounts.any()
        && (clause.tells(Verb::Finish) && names(&[Tag::Bottle, Tag::Rest]) || given && names(&rest))
}

/// "gave 2 bags to my sister", "gave my sister 11 and 12": for her, or for her to feed.
fn given_to_another(clause: &Clause) -> bool {
    let Some(give) = clause.heads.iter().find(|h| h.verb == Verb::Give && h.form != Form::Base) else {
        return false;
    };
    let other = |i: Option<&Item>| i.is_some_and(|i| i.is_word() && i.has(Tag::OtherPerson));
    let to = clause.items.iter().rposition(|i| i.is_word() && i.has(Tag::To));
    other(clause.items.get(give.at + 1)) || to.is_some_and(|at| other(clause.items.get(at + 1)))
}

/// "offered 80 but he refused it": nothing was drunk.
fn is_refused(clause: &Clause, told: &[Verb], pours: &[Pour]) -> bool {
    let kept = |v: &Verb| matches!(v, Verb::Make | Verb::Offer | Verb::Warm | Verb::Refuse);
    told.contains(&Verb::Refuse)
        && told.iter().all(kept)
        && pours.len() < 2
        && !clause.any(&[Tag::Rest, Tag::LeftOver])
}

/// "fed 13 (120 ml)": a number that can't be an amount, before one that surely is.
fn label_before(pours: &mut Vec<Pour>, ctx: &Context) -> Option<Code> {
    let [first, second] = pours.as_slice() else { return None };
    let sure = second.amount.unit == Some(Unit::Ml) && second.amount.value >= 15.0;
    let label = first.amount.whole().filter(|_| sure && volume(first.amount, None, ctx).is_err())?;
    pours.remove(0);
    Some(label)
}

/// "gave 12": label, count, ounces or millilitres.
fn loose_number(clause: &Clause, pours: &[Pour]) -> Built<()> {
    let verb = clause.heads.iter().find(|h| h.form != Form::Base).is_some_and(|h| LOOSE.contains(&h.verb));
    let [only] = pours else { return Ok(()) };
    let loose = only.amount.whole().is_some_and(|n| (7..=15).contains(&n));
    let left = near(clause, only.at, Tag::LeftOver) && !left_half(clause);
    // "gave 17, left half": the half of a container rather than of 17 ml
    let halved = left_half(clause) || drank_half(clause);
    let loose = loose || halved && only.amount.whole().is_some_and(|n| (7..=45).contains(&n));
    if verb && loose && !left { Err(Doubt::Kind) } else { Ok(()) }
}

/// Bare numbers joined by "and" are labels after "gave" or "used", and where one of them can't be an amount.
fn listed_codes(clause: &Clause, ctx: &Context) -> Vec<Code> {
    let small = |code: &Code| volume(Amount::bare(f64::from(*code)), None, ctx).is_err();
    let unbelievable = |i: &Item| matches!(&i.kind, Kind::List(codes, false) if codes.iter().any(small));
    let bare = written_unit(&clause.items).is_none() || !clause.items.iter().any(|i| i.has(Tag::Formula));
    let loose = clause.heads.iter().any(|h| LOOSE.contains(&h.verb))
        || bare && clause.tells(Verb::Feed) && clause.items.iter().any(unbelievable);
    clause
        .items
        .iter()
        .filter_map(|i| match &i.kind {
            Kind::List(codes, range) if (loose || *range) && codes.iter().all(|c| *c < 60 || *range) => {
                Some(codes.clone())
            }
            _ => None,
        })
        .flatten()
        .collect()
}

/// The four numbers of a feed.
#[derive(Debug, Default)]
struct Amounts {
    drunk: Option<Volume>,
    offered: Option<Volume>,
    left: Option<Volume>,
    /// Where what is left stands.
    left_at: Option<usize>,
    about: bool,
}

impl Amounts {
    fn of(clause: &Clause, pours: Vec<Pour>, ctx: &Context) -> Built<Amounts> {
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

    fn any(&self) -> bool {
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
        let bottle_only =
            self.left.is_some() && clause.heads.iter().all(|h| matches!(h.verb, Verb::Leave | Verb::Make));
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

    fn put(mut self, feed: &mut Act, clause: &Clause) {
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
fn drank_half(clause: &Clause) -> bool {
    let drunk = [Verb::Drink, Verb::Take, Verb::Have, Verb::Finish, Verb::Want];
    clause.heads.iter().filter(|h| drunk.contains(&h.verb)).any(|h| {
        let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Just]));
        clause.items[h.at + 1..].iter().find(soft).is_some_and(|i| i.is_word() && i.has(Tag::Half))
    })
}

/// "gave her half of bag 17": the other half stays in the bag.
fn half_of_one(clause: &Clause) -> bool {
    let small = |i: &&Item| !(i.is_word() && i.any(&[Tag::Of, Tag::The]));
    let half = clause.items.iter().position(|i| i.is_word() && i.has(Tag::Half));
    half.and_then(|at| clause.items[at + 1..].iter().find(small))
        .is_some_and(|i| matches!(i.kind, Kind::Codes(_)))
}

/// "gave 120, left half", "half left".
fn left_half(clause: &Clause) -> bool {
    let soft = |i: &&Item| !(i.is_word() && i.any(&[Tag::About, Tag::Just, Tag::The, Tag::CodeArticle]));
    let words: Vec<&Item> = clause.items.iter().filter(soft).collect();
    let pair = |a: &Item, b: &Item| a.has(Tag::LeftOver) && b.has(Tag::Half);
    words.windows(2).any(|p| p[0].is_word() && p[1].is_word() && (pair(p[0], p[1]) || pair(p[1], p[0])))
}

/// Bare numbers joined by "and" that are no labels are amounts.
pub fn with_lists(clause: &Clause, mut pours: Vec<Pour>, ctx: &Context) -> Vec<Pour> {
    if !listed_codes(clause, ctx).is_empty() {
        return pours;
    }
    for (at, item) in clause.items.iter().enumerate() {
        if let Kind::List(numbers, false) = &item.kind {
            pours.extend(numbers.iter().map(|n| Pour { at, amount: Amount::bare(f64::from(*n)) }));
        }
    }
    pours.sort_by_key(|p| p.at);
    pours
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
fn near(clause: &Clause, at: usize, tag: Tag) -> bool {
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

/// Begun and not ended: "feeding now", "just started the bottle".
fn is_open(clause: &Clause, feed: &Act) -> bool {
    let now = clause.heads.iter().any(|h| {
        h.form == Form::Now
            && matches!(h.verb, Verb::Feed | Verb::Give | Verb::Drink | Verb::Have | Verb::Take)
    });
    feed.ml.is_none() && feed.left_ml.is_none() && (now || clause.tells(Verb::Start))
}

/// "at 7, 8 and 10" is three times, "at 7 or 10" a vague one.
pub fn times(clause: &Clause) -> Vec<When> {
    let between = |i: &Item| {
        let marks = &clause.message.marks[i.from.saturating_sub(1)..=i.from];
        marks.iter().flatten().any(|(tag, _)| *tag == Tag::Between)
    };
    let joined =
        |i: &Item| !between(i) && (i.from..i.to).any(|at| clause.message.has(at, at + 1, Tag::AndOnly));
    let clocks = clause.items.iter().filter_map(|i| i.when().map(|w| (*w, joined(i))));
    let told = clocks.filter(|(w, _)| w.role == Role::At && w.clock.is_some());
    told.flat_map(|(when, joined)| {
        let later = when.clock_latest.filter(|_| joined);
        let first = When { clock_latest: when.clock_latest.filter(|_| !joined), ..when };
        let second = later.map(|clock| When { clock: Some(clock), ..first });
        std::iter::once(first).chain(second)
    })
    .collect()
}

/// The same at each of several times.
pub fn at_each_time(one: Vec<Act>, clause: &Clause, ctx: &Context) -> Vec<Act> {
    let times = times(clause);
    if times.len() < 2 {
        return one;
    }
    if let Some(own) = super::several::told_between(clause).or_else(|| super::several::own_time(clause)) {
        let at = |mut act: Act| {
            timed(&mut act, entry_moment(clause, own, ctx), ctx);
            act
        };
        return one.into_iter().map(at).collect();
    }
    let many = times.len() as u32;
    let at = |when: When| {
        one.iter().cloned().map(move |mut act| {
            // "2 bottles of 120, 10:15 and 13:40": one at each time
            if act.count == Some(many) {
                act.ml = act.ml.map(|ml| Volume::from_microlitres(ml.microlitres() / i64::from(many)));
                act.count = None;
            }
            timed(&mut act, entry_moment(clause, when, ctx), ctx);
            act
        })
    };
    times.into_iter().flat_map(at).collect()
}
