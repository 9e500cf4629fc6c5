//! A message as items: words with all their meanings, numbers, signs, and what the stages after this build of them
//! (amounts, labels, counts, times). Every item knows which tokens it stands for.

use super::senses::{Form, Sense, Tag, Verb};
use super::spelling;
use super::steps::take;
use super::token::{Shape, Token, tokens};
use super::when::When;
use super::words::Lexicon;
use crate::domain::act::Code;
use crate::domain::place::Place;
use crate::domain::volume::Unit;

/// A number as typed, with its unit if one stands beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Amount {
    pub value: f64,
    pub unit: Option<Unit>,
    pub about: bool,
}

impl Amount {
    pub fn bare(value: f64) -> Amount {
        Amount { value, unit: None, about: false }
    }

    /// The number, where it may be a label or a count.
    pub fn whole(&self) -> Option<u32> {
        let fits = self.unit.is_none() && self.value.fract() == 0.0 && (1.0..10_000.0).contains(&self.value);
        fits.then_some(self.value as u32)
    }
}

#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    Word,
    Sign(char),
    Amount(Amount),
    /// So many containers of so much: "2x90", "3 bags of 4 oz".
    Multi(u32, Amount),
    /// Labels, marked as such.
    Codes(Vec<Code>),
    /// Bare numbers joined by "and", "-" or "to"; the flag tells a range.
    List(Vec<Code>, bool),
    /// So many containers.
    Count(u32),
    When(When),
    /// A span of time in minutes.
    Lasting(f64),
}

#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    pub kind: Kind,
    pub senses: Vec<Sense>,
    /// The tokens from here…
    pub from: usize,
    /// … to before here.
    pub to: usize,
    /// No vocabulary knows the word.
    pub unknown: bool,
    /// A single capital, as a child may be called.
    pub initial: bool,
}

impl Item {
    pub fn has(&self, tag: Tag) -> bool {
        take(1);
        self.senses.contains(&Sense::Tag(tag))
    }

    pub fn any(&self, tags: &[Tag]) -> bool {
        tags.iter().any(|t| self.has(*t))
    }

    pub fn verbs(&self) -> impl Iterator<Item = (Verb, Form)> {
        take(1);
        self.senses.iter().filter_map(|s| match s {
            Sense::Verb(verb, form) => Some((*verb, *form)),
            _ => None,
        })
    }

    pub fn is(&self, verb: Verb) -> bool {
        self.verbs().any(|(v, _)| v == verb)
    }

    pub fn place(&self) -> Option<Place> {
        take(1);
        self.senses.iter().find_map(|s| match s {
            Sense::Place(place) => Some(*place),
            _ => None,
        })
    }

    pub fn amount(&self) -> Option<Amount> {
        take(1);
        match self.kind {
            Kind::Amount(amount) => Some(amount),
            _ => None,
        }
    }

    pub fn when(&self) -> Option<&When> {
        take(1);
        match &self.kind {
            Kind::When(when) => Some(when),
            _ => None,
        }
    }

    pub fn sign(&self) -> Option<char> {
        take(1);
        match self.kind {
            Kind::Sign(sign) => Some(sign),
            _ => None,
        }
    }

    pub fn is_word(&self) -> bool {
        take(1);
        matches!(self.kind, Kind::Word)
    }
}

/// A message, its items, and the marks that lie over them.
#[derive(Debug, Clone)]
pub struct Message {
    pub tokens: Vec<Token>,
    pub items: Vec<Item>,
    /// For each token, the tags of words and phrases that begin there, with their length.
    pub marks: Vec<Vec<(Tag, usize)>>,
    /// What milk is called, with the token where the name begins.
    pub called: Vec<(usize, &'static str)>,
    /// The tags that stand anywhere in it, or once did.
    tags: Tags,
}

/// A set of tags: most of what is looked for is in no message, and this tells so without a look at each token.
#[derive(Debug, Clone, Copy, Default)]
struct Tags([u64; 8]);

impl Tags {
    fn insert(&mut self, tag: Tag) {
        if let Some(bits) = self.0.get_mut(tag as usize / 64) {
            *bits |= 1 << (tag as usize % 64);
        }
    }

    /// Whether it may be there; a tag that the set has no room for always may.
    fn may_have(&self, tag: Tag) -> bool {
        self.0.get(tag as usize / 64).is_none_or(|bits| bits >> (tag as usize % 64) & 1 == 1)
    }
}

impl Message {
    pub fn read(text: &str, lexicon: &Lexicon) -> Message {
        let mut tokens = tokens(text);
        spelling::settle(&mut tokens, lexicon);
        mend_slips(&mut tokens, lexicon);
        let leads = lexicon.leads(&tokens);
        let mut found: Vec<_> = (0..tokens.len()).map(|at| lexicon.look_up(&tokens, at, &leads)).collect();
        forget_names(&tokens, &mut found);
        let marks: Vec<Vec<_>> = found.iter().map(|all| all.iter().filter_map(tagged).collect()).collect();
        let mut tags = Tags::default();
        marks.iter().flatten().for_each(|(tag, _)| tags.insert(*tag));
        let mut items = items(&tokens, &found);
        part_articles(&mut items, &tokens);
        let called = lexicon.called(&tokens);
        Message { tokens, items, marks, called, tags }
    }

    /// Rewrites the items from left to right: where `build` makes something of the items at a place, that stands in their
    /// stead. `build` sees the items as they were before.
    pub fn rewrite(&mut self, build: impl Fn(&[Item], usize, &Message) -> Option<(Item, usize)>) {
        let (mut made, mut at) = (Vec::new(), 0);
        while at < self.items.len() {
            take(1);
            let used = match build(&self.items, at, self) {
                Some((item, used)) if used > 0 => {
                    made.push((at, item, used));
                    used
                }
                _ => 1,
            };
            at += used;
        }
        if made.is_empty() {
            return;
        }
        let (mut rest, mut at) = (std::mem::take(&mut self.items).into_iter(), 0);
        for (from, item, used) in made {
            self.items.extend(rest.by_ref().take(from - at));
            self.items.push(item);
            at = from + used;
            rest.by_ref().take(used).for_each(drop);
        }
        self.items.extend(rest);
    }

    /// The words from one token to before another, as typed.
    pub fn typed(&self, from: usize, to: usize) -> String {
        let mut text = String::new();
        take(to.saturating_sub(from));
        for token in &self.tokens[from..to.max(from)] {
            if token.gap && !text.is_empty() {
                text.push(' ');
            }
            text.push_str(&token.typed);
        }
        text
    }

    /// Whether a word or phrase with this tag lies within these tokens.
    pub fn has(&self, from: usize, to: usize, tag: Tag) -> bool {
        self.find(from, to, tag).is_some()
    }

    /// Whether the token is part of a phrase with this tag.
    pub fn within(&self, at: usize, tag: Tag) -> bool {
        let covers = |from: usize| self.marks[from].iter().any(|(t, long)| *t == tag && from + long > at);
        self.tags.may_have(tag) && (at.saturating_sub(4)..=at).any(covers)
    }

    /// Where the first word or phrase with this tag begins, and its length.
    pub fn find(&self, from: usize, to: usize, tag: Tag) -> Option<(usize, usize)> {
        if !self.tags.may_have(tag) {
            return None;
        }
        (from..to).find_map(|at| {
            take(1);
            let fits = |(t, length): &&(Tag, usize)| *t == tag && at + length <= to;
            self.marks[at].iter().filter(fits).map(|(_, length)| *length).max().map(|length| (at, length))
        })
    }
}

/// "Mía tomó 80", "y Luz 70": a word that is a child's name here means nothing besides.
fn forget_names(tokens: &[Token], found: &mut [Vec<super::words::Found>]) {
    let tag = |all: &[super::words::Found], tag: Tag| {
        all.iter().any(|f| f.sense == Sense::Tag(tag) && f.length == 1)
    };
    let drank = |all: &[super::words::Found]| {
        let verbs = [Verb::Drink, Verb::Feed, Verb::Take, Verb::Have, Verb::Finish, Verb::Nurse];
        all.iter().any(|f| matches!(f.sense, Sense::Verb(verb, Form::Done) if verbs.contains(&verb)))
    };
    for at in 0..tokens.len() {
        take(1);
        let drinks = found.get(at + 1).is_some_and(|next| drank(next));
        let begins = at == 0
            || matches!(tokens[at - 1].shape, Shape::Sign(_))
            || tokens[at].gap && tag(&found[at - 1], Tag::And);
        if !tag(&found[at], Tag::GivenName) || !(tokens[at].is_name() || drinks && begins) {
            continue;
        }
        let dated = found[at].iter().any(|f| matches!(f.sense, Sense::Month(_) | Sense::Day(_)));
        let number = tokens.get(at + 1).is_some_and(|t| matches!(t.shape, Shape::Number(_)));
        let before = at.checked_sub(1);
        let comma = before.is_some_and(|n| tokens[n].shape == Shape::Sign(','));
        let joined = number && !dated && (comma || before.is_some_and(|n| tag(&found[n], Tag::And)));
        if drinks
            || joined
            || before.is_some_and(|n| tag(&found[n], Tag::Him) || tag(&found[n], Tag::To)) && !dated
        {
            found[at].clear();
        }
    }
}

fn tagged(found: &super::words::Found) -> Option<(Tag, usize)> {
    match found.sense {
        Sense::Tag(tag) => Some((tag, found.length)),
        _ => None,
    }
}

/// Misspelt words become the ones they stand for, and "mom's" is looked up as "mom"; what was typed stays beside them.
fn mend_slips(tokens: &mut [Token], lexicon: &Lexicon) {
    for token in tokens.iter_mut().filter(|t| t.shape == Shape::Word) {
        let owner = token.typed.ends_with("'s") && !lexicon.knows(&token.plain);
        let stem =
            token.plain.strip_suffix('s').filter(|stem| owner && lexicon.knows(stem)).map(str::to_string);
        if let Some(word) = stem.or_else(|| lexicon.correct(&token.plain).map(str::to_string)) {
            token.accented.clone_from(&word);
            token.plain = word;
        }
    }
}

fn is_side(sense: &Sense) -> bool {
    matches!(sense, Sense::Tag(Tag::LeftSide | Tag::RightSide))
}

/// The longest binding phrase at each place becomes one item.
fn items(tokens: &[Token], found: &[Vec<super::words::Found>]) -> Vec<Item> {
    let (mut items, mut at) = (Vec::new(), 0);
    while at < tokens.len() {
        // "las 2 onzas": an amount, and not both of them
        let counts = |f: &super::words::Found| {
            let next = |n: usize| found.get(at + f.length + n).into_iter().flatten().map(|f| f.sense);
            let unit = next(0).any(|s| matches!(s, Sense::Unit(_)));
            let half =
                next(0).any(|s| s == Sense::Tag(Tag::And)) && next(1).any(|s| s == Sense::Tag(Tag::Half));
            f.sense == Sense::Tag(Tag::Both) && (unit || half)
        };
        let binding = found[at].iter().filter(|f| f.binds && !(f.length > 1 && counts(f)));
        let length = binding.map(|f| f.length).max().unwrap_or(1);
        let senses: Vec<Sense> = found[at].iter().filter(|f| f.length == length).map(|f| f.sense).collect();
        let kind = match tokens[at].shape {
            _ if length > 1 => Kind::Word,
            Shape::Word => Kind::Word,
            Shape::Number(value) => Kind::Amount(Amount::bare(value)),
            Shape::Sign(sign) => Kind::Sign(sign),
        };
        let within = (at.saturating_sub(6)..at).any(|n| found[n].iter().any(|f| n + f.length > at));
        let unknown = matches!(kind, Kind::Word) && senses.is_empty() && found[at].is_empty() && !within;
        let initial = tokens[at].typed.len() == 1 && tokens[at].typed.chars().all(|c| c.is_ascii_uppercase());
        // "A 90": a letter for a child, whatever else the letter may be a word for.
        let named = initial && tokens.get(at + 1).is_some_and(|t| matches!(t.shape, Shape::Number(_)));
        let senses = if named { senses.into_iter().filter(is_side).collect() } else { senses };
        items.push(Item { kind, senses, from: at, to: at + length, unknown, initial });
        at += length;
    }
    items
}

/// "la comida", "lo tiré": a word that is article and pronoun in one is a pronoun before a verb, or hung onto one.
fn part_articles(items: &mut [Item], tokens: &[Token]) {
    for at in 0..items.len() {
        let noun = items.get(at + 1).is_some_and(|next| {
            let other = [Tag::Of, Tag::From, Tag::It, Tag::Him, Tag::Milk, Tag::Container, Tag::Bottle];
            next.is_word() && next.verbs().next().is_none() && !next.any(&other)
        });
        let item = &mut items[at];
        if noun && tokens[item.from].gap && item.has(Tag::It) && item.has(Tag::The) {
            item.senses.retain(|s| *s != Sense::Tag(Tag::It));
        }
    }
}

/// An item built of `used` items at `at`.
pub fn built(items: &[Item], at: usize, used: usize, kind: Kind) -> (Item, usize) {
    let senses = Vec::new();
    let item = Item {
        kind,
        senses,
        from: items[at].from,
        to: items[at + used - 1].to,
        unknown: false,
        initial: false,
    };
    (item, used)
}
