//! What the page shows, as JSON: the clock, the posts, the shelves. All times are words already, in the household's zone.

use chrono::{DateTime, Utc};
use serde::Serialize;

use super::hours::clock_words;
use super::{Belief, Player, Room, Shelf, Tape};
use crate::edge::standin::Post;

/// How many posts the page is given; older ones have scrolled away.
const POSTS_SHOWN: usize = 300;

#[derive(Debug, Serialize)]
pub(super) struct View {
    /// The page asks for the next view with it.
    version: u64,
    clock: Clock,
    people: Vec<Player>,
    posts: Vec<Slip>,
    belief: Board,
}

#[derive(Debug, Serialize)]
struct Clock {
    day: String,
    /// For a narrow window.
    short_day: String,
    time: String,
    /// When time alone next makes the bot do something.
    next: Option<String>,
    zone: String,
}

#[derive(Debug, Serialize)]
struct Slip {
    id: i64,
    by: String,
    bot: bool,
    day: String,
    time: String,
    edited: Option<String>,
    text: String,
    reply_to: Option<i64>,
    buttons: Vec<Vec<String>>,
    silent: bool,
    /// A picture or a paper to look at: its name.
    file: Option<(&'static str, String)>,
}

#[derive(Debug, Serialize)]
struct Board {
    shelves: Vec<Row>,
    totals: Vec<(String, String)>,
    plan: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Row {
    key: &'static str,
    name: String,
    total: String,
    tapes: Vec<Strip>,
}

#[derive(Debug, Serialize)]
struct Strip {
    code: i64,
    amount: String,
    state: String,
    turn: Option<u32>,
    expressed: Option<String>,
    best_by: Option<String>,
    use_by: Option<String>,
    why: String,
    caution: Option<String>,
}

impl Room {
    pub(super) async fn view(&self, version: u64) -> View {
        let belief = self.behind.belief().await;
        let next = self.behind.next_wake().await;
        let now = self.behind.now();
        let local = now.with_timezone(&self.setting.zone);
        let posts = self.standin.posts(self.setting.chat);
        let older = posts.len().saturating_sub(POSTS_SHOWN);
        View {
            version,
            clock: Clock {
                day: local.format("%A %-d %B %Y").to_string(),
                short_day: local.format("%a %-d %b").to_string(),
                time: local.format("%H:%M").to_string(),
                next: next.map(|at| self.words(at)),
                zone: self.setting.zone.name().replace('_', " "),
            },
            people: self.setting.people.clone(),
            posts: posts.iter().skip(older).filter(|p| !p.is_service()).map(|p| self.slip(p)).collect(),
            belief: self.board(belief),
        }
    }

    fn slip(&self, post: &Post) -> Slip {
        let local = post.at.with_timezone(&self.setting.zone);
        Slip {
            id: post.id,
            by: post.author.clone(),
            bot: post.by_bot,
            day: local.format("%A %-d %B").to_string(),
            time: local.format("%H:%M").to_string(),
            edited: post.edited.map(|at| at.with_timezone(&self.setting.zone).format("%H:%M").to_string()),
            text: post.text.clone(),
            reply_to: post.reply_to,
            buttons: post.buttons.iter().map(|r| r.iter().map(|b| b.label.clone()).collect()).collect(),
            silent: post.silent,
            file: post.file.as_ref().map(|file| (file.kind, file.name.clone())),
        }
    }

    fn board(&self, belief: Belief) -> Board {
        Board {
            shelves: belief.shelves.into_iter().map(|shelf| self.row(shelf)).collect(),
            totals: belief.totals,
            plan: belief.plan,
        }
    }

    fn row(&self, shelf: Shelf) -> Row {
        let tapes = shelf.tapes.into_iter().map(|tape| self.strip(tape)).collect();
        Row { key: shelf.key, name: shelf.name, total: shelf.total, tapes }
    }

    fn strip(&self, tape: Tape) -> Strip {
        Strip {
            code: tape.code,
            amount: tape.amount,
            state: tape.state,
            turn: tape.turn,
            expressed: tape.expressed.map(|at| self.words(at)),
            best_by: tape.best_by.map(|at| self.words(at)),
            use_by: tape.use_by.map(|at| self.words(at)),
            why: tape.why,
            caution: tape.caution,
        }
    }

    fn words(&self, at: DateTime<Utc>) -> String {
        clock_words(at, self.behind.now(), self.setting.zone)
    }
}
