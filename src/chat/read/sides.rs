//! What came from the left and from the right: "L60 R85".

use super::Context;
use super::clause::Clause;
use super::pump::{Pour, codes, part};
use super::scene::{Built, spots, volume, written_unit};
use super::senses::Tag;
use crate::domain::act::{Act, Sides};

/// "L60 R85", "60 from the left, 85 from the right".
pub fn sides(clause: &Clause, pours: &[Pour], ctx: &Context) -> Built<Option<Sides>> {
    let items = &clause.items;
    let named: Vec<bool> = items
        .iter()
        .filter(|i| i.is_word())
        .filter_map(|i| match () {
            () if i.has(Tag::LeftSide) => Some(true),
            () if i.has(Tag::RightSide) => Some(false),
            () => None,
        })
        .collect();
    // "left 30, right 95, the right one is a machine"
    let named = if named.len() > 2 && named[0] != named[1] { named[..2].to_vec() } else { named };
    let each = named.is_empty() && pours.len() == 1 && clause.has(Tag::SideWord) && clause.has(Tag::Each);
    if each {
        let ml = volume(pours[0].amount, None, ctx)?;
        return Ok(Some(Sides { left: Some(ml), right: Some(ml) }));
    }
    let both = named.len() == 2 && named[0] != named[1] && (2..=3).contains(&pours.len());
    let single =
        named.len() == 1 && pours.len() == 1 && (clause.has(Tag::SideWord) || !named[0] || is_letter(clause));
    if !both && !single {
        return Ok(None);
    }
    let unit = written_unit(items);
    let mut volumes = Vec::new();
    for pour in pours {
        volumes.push(volume(pour.amount, unit, ctx)?);
    }
    if volumes.len() == 3 {
        let total = volumes.iter().position(|v| v.ml() * 2.0 == volumes.iter().map(|v| v.ml()).sum::<f64>());
        match total {
            Some(at) => volumes.remove(at),
            None => return Ok(None),
        };
    }
    let mut sides = Sides::default();
    for (left, ml) in named.into_iter().zip(volumes) {
        if left { sides.left = Some(ml) } else { sides.right = Some(ml) }
    }
    Ok(Some(sides))
}

fn is_letter(clause: &Clause) -> bool {
    clause.items.iter().any(|i| i.has(Tag::LeftSide) && clause.message.tokens[i.from].plain.len() == 1)
}

pub fn with_sides(act: &mut Act, sides: Sides, clause: &Clause) {
    let total = sides.left.into_iter().chain(sides.right).sum();
    act.sides = Some(sides);
    act.ml = Some(total);
    act.parts =
        spots(clause).last().map(|spot| vec![part(total, Some(spot), codes(clause).first().copied())]);
}
