//! Clauses without a verb that speak of a bottle or a child: "85 of 110", "30 left", "Theo: 9:10 110".

use super::clause::Clause;
use super::item::Kind;
use super::pump::Pour;
use super::senses::Tag;

/// "Tomi dejó 30": a name before what was left.
pub fn left_by(clause: &Clause, at: usize) -> bool {
    let left = clause.items.get(at + 1).is_some_and(|i| i.is_word() && i.has(Tag::LeftOver));
    at == 0 && left && clause.message.tokens[clause.items[at].from].is_name()
}

/// The message speaks of a child or a bottle that wasn't finished.
pub fn about_a_bottle(clause: &Clause) -> bool {
    let from = clause.items.windows(2).any(|p| p[0].has(Tag::From) && matches!(p[1].kind, Kind::Codes(_)))
        || clause.items.iter().any(|i| i.has(Tag::From) && matches!(i.kind, Kind::Codes(_)));
    // "dejó 30": somebody else left it
    let milk = clause
        .items
        .iter()
        .filter_map(super::item::Item::amount)
        .any(|a| a.unit.is_some() || a.value >= 15.0);
    let left =
        |i: &super::item::Item| i.is_word() && i.has(Tag::LeftOver) && i.is(super::senses::Verb::Leave);
    let left =
        milk && !clause.has_place() && super::scene::site(clause).is_none() && clause.items.iter().any(left);
    from || left
        || clause.any(&[Tag::Bottle, Tag::It])
        || clause.message.items.iter().any(|i| {
            i.is_word() && (i.any(&[Tag::He, Tag::Him]) || (i.has(Tag::LeftOver) && i.to - i.from > 1))
        })
}

/// "85 of 110": drunk, of what was in the bottle.
pub fn of_a_bottle(amounts: &[Pour], items: &[super::item::Item]) -> bool {
    amounts.windows(2).any(|pair| is_share_of(&pair[0], &pair[1], items))
}

fn is_share_of(drunk: &Pour, whole: &Pour, items: &[super::item::Item]) -> bool {
    let between = items.get(drunk.at + 1..whole.at).unwrap_or_default();
    let of = between.len() <= 3
        && between.iter().all(|i| i.is_word() && !i.unknown)
        && between.iter().any(|i| i.any(&[Tag::Of, Tag::OfAt]))
        && !between.iter().any(|i| i.any(&[Tag::And, Tag::Another]));
    let milk = |p: &Pour| p.amount.unit.is_some() || p.amount.value >= 15.0;
    of && milk(whole) && drunk.amount.value < whole.amount.value
}

/// "el biberón nuevo es de 240": what a bottle is like.
pub fn describes(clause: &Clause) -> bool {
    let items = &clause.items;
    let be = items.iter().position(|i| i.is_word() && i.has(Tag::Be));
    let bottle = items.iter().position(|i| i.has(Tag::Bottle));
    let of = be.and_then(|at| items.get(at + 1)).is_some_and(|i| i.is_word() && i.has(Tag::Of));
    of && bottle < be && clause.whens().next().is_none() || names_size(items)
}

/// "the 4oz bottles are in the dishwasher": of what size.
fn names_size(items: &[super::item::Item]) -> bool {
    let several =
        |i: &super::item::Item| i.is_word() && i.has(Tag::Plural) && i.any(&[Tag::Bottle, Tag::One]);
    let the =
        |at: usize| at > 0 && items[at - 1].is_word() && items[at - 1].any(&[Tag::The, Tag::CodeArticle]);
    let size = |at: usize| items[at].amount().is_some_and(|a| a.unit.is_some()) && the(at);
    (0..items.len()).any(|at| size(at) && items.get(at + 1).is_some_and(several))
}

/// "90 more": more was drunk.
pub fn more(clause: &Clause) -> bool {
    clause
        .items
        .windows(2)
        .any(|pair| pair[0].amount().is_some() && pair[1].is_word() && pair[1].has(Tag::More))
}

/// "50 left in the bottle": what is left is no new milk.
pub fn leftover(clause: &Clause) -> bool {
    // "no se la acabó, quedaron 25"
    let unfinished =
        clause.message.items.iter().any(|i| i.is_word() && i.to - i.from > 2 && i.has(Tag::LeftOver));
    let left = |at: usize| {
        let word = |i: &super::item::Item| i.is_word() && i.has(Tag::LeftOver);
        clause.items.get(at).is_some_and(|i| word(i) && (unfinished || !i.has(Tag::Filler)))
    };
    let side = clause.items.iter().any(|i| i.is_word() && i.any(&[Tag::RightSide, Tag::SideWord]));
    let amounts: Vec<usize> =
        clause.items.iter().enumerate().filter(|(_, i)| i.amount().is_some()).map(|(at, _)| at).collect();
    let soft = |i: &super::item::Item| i.is_word() && i.any(&[Tag::About, Tag::Just, Tag::Article]);
    let stayed = |at: usize| {
        left(at) || clause.items[at].has(Tag::LeftOver) && clause.items[at].is(super::senses::Verb::Leave)
    };
    let before = |at: usize| clause.items[..at].iter().rposition(|i| !soft(i)).is_some_and(stayed);
    let word = amounts.iter().any(|at| {
        left(at + 1)
            || before(*at)
            || clause
                .items
                .get(at + 1)
                .is_some_and(|i| i.has(Tag::LeftOver) && i.is(super::senses::Verb::Leave))
            || at.checked_sub(1).is_some_and(|n| {
                clause.items[n].has(Tag::LeftOver) && clause.items[n].is(super::senses::Verb::Leave)
            })
    });
    word && (!side || stayed_in_bottle(clause))
}

/// "left 40 in bottle on the right shelf": no side of the breast.
pub fn stayed_in_bottle(clause: &Clause) -> bool {
    let amounts = clause.items.iter().filter(|i| i.amount().is_some()).count();
    let at = clause.items.iter().position(|i| i.amount().is_some()).unwrap_or(clause.items.len());
    let before = at.checked_sub(1).is_some_and(|n| clause.items[n].has(Tag::LeftOver));
    let mut after = clause.items.iter().skip(at + 1).take_while(|i| i.is_word());
    let inside = after.next().is_some_and(|i| i.has(Tag::In));
    amounts == 1 && before && inside && after.take(2).any(|i| i.has(Tag::Bottle))
}

/// "bottles: 8:05 110, …"
pub fn bottle_head(clause: &Clause) -> bool {
    clause
        .items
        .first()
        .is_some_and(|i| i.is_word() && i.any(&[Tag::Bottle, Tag::FeedNoun]) && i.has(Tag::ListHead))
}

/// "Theo: 9:10 110, 12:20 95": what a child had.
pub fn heads_list(clause: &Clause) -> bool {
    let named = |i: &super::item::Item| i.unknown && clause.message.tokens[i.from].is_name();
    let day = usize::from(clause.items.get(1).is_some_and(|i| i.when().is_some_and(|w| w.clock.is_none())));
    super::children::child(clause).is_some() && clause.heads.is_empty() && clause.spans.len() > 1
        || clause.items.first().is_some_and(named)
            && matches!(clause.items.get(1 + day).and_then(|i| i.sign()), Some(':' | '-'))
}
