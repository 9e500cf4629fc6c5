//! Out of the freezer: what thaws, and what is told to have thawed. Where it thaws is asked for; until somebody says, the
//! hours in the room count.

use crate::domain::act::{Act, Code, ThawHow};
use crate::domain::answer::{Choice, ChoiceLabel, Did, Piece, Press, Wanted};
use crate::domain::fact::Fact;
use crate::domain::ledger::Container;
use crate::domain::milk::State;

use super::choose::Otherwise;
use super::draft::Draft;
use super::record::{at_home, codes_of, did, frozen_in_order, warn_of, with};

pub fn thaw(draft: &mut Draft, mut act: Act) {
    let found = with(draft, &mut act, |draft, stock| {
        (codes_of(&frozen_in_order(draft, stock)), Wanted::Frozen, Otherwise::First)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    draft.note(at, Fact::Thaw { codes: codes.clone(), how: act.how });
    did(draft, Did::Thawing, &codes, &act);
    warn_of(draft, &codes);
    if act.how.is_none() {
        ask_how(draft, codes);
    }
    draft.heard(act);
}

fn ask_how(draft: &mut Draft, codes: Vec<Code>) {
    let entry = draft.entry();
    draft.say(Piece::AskThawHow { codes });
    for how in [ThawHow::Fridge, ThawHow::WarmWater, ThawHow::Room] {
        draft.buttons.push(Choice { label: ChoiceLabel::How(how), press: Press::How { entry, how } });
    }
}

/// Milk that by the books still lay in the freezer left it at some time that nobody told, to a place that nobody told.
pub fn thawed(draft: &mut Draft, mut act: Act) {
    let found = with(draft, &mut act, |_, stock| {
        let order = at_home(stock, |c| c.life.state == State::Thawing);
        let otherwise = if order.len() == 1 { Otherwise::First } else { Otherwise::Last };
        (codes_of(&order), Wanted::Frozen, otherwise)
    });
    let Some(codes) = found else { return };
    let at = draft.at(&act);
    let still = |code: &Code| draft.stock.get(*code).is_some_and(Container::is_frozen);
    let frozen: Vec<Code> = codes.iter().copied().filter(still).collect();
    if !frozen.is_empty() {
        draft.note(at, Fact::Thaw { codes: frozen.clone(), how: act.how });
    }
    draft.note(at, Fact::Thawed { codes: codes.clone(), just_now: act.timed });
    did(draft, Did::Thawed, &codes, &act);
    if !frozen.is_empty() && act.how.is_none() {
        ask_how(draft, frozen);
    }
    draft.heard(act);
}
