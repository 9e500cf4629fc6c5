//! What most writes consist of, for a whole group of them at once: rows of one kind go into one statement, for it is the
//! number of statements that costs. Always true: it is all as if the writes had come one after the other, or it fails; a group
//! that fails is written one by one, so that each learns what is wrong with it alone.

use std::collections::{HashMap, HashSet};

use sqlx::any::AnyArguments;
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Row};

use super::household::next_ids;
use super::rows::clean;
use super::{Change, Commit, InboxRow, NewLedgerRow, NewOutboxRow, StoreError, inbox};

/// Rows in a statement; few sizes, so that each is prepared once.
const SIZES: [usize; 5] = [16, 8, 4, 2, 1];

/// A write that can be written together with others.
#[derive(Clone, Copy)]
pub(super) enum Share<'a> {
    Received { rows: &'a [InboxRow], now: i64 },
    Commit(&'a Commit),
    Ended(&'a End),
}

/// What became of one of them.
#[derive(Default)]
pub(super) struct Written {
    /// How many updates were new.
    pub new: usize,
    /// For each row of the outbox its id; None if its dedupe key was there already.
    pub outbox: Vec<Option<i64>>,
}

/// What became of a row of the outbox.
pub(super) struct End {
    pub id: i64,
    pub state: i64,
    pub message: Option<i64>,
    pub reason: Option<String>,
}

/// Constant text with a question mark for each value of a row; it gives back one number for each row that it wrote.
struct Statement {
    head: &'static str,
    row: &'static str,
    tail: &'static str,
}

/// Those that are there already change nothing.
const RECEIVE: Statement = Statement {
    head: "INSERT INTO inbox (id, chat, body, received, state, tries) VALUES ",
    row: "(?, ?, ?, ?, 0, 0)",
    tail: " ON CONFLICT (id) DO NOTHING RETURNING id",
};
/// They must be waiting still. What was done is known by its id; what it said isn't kept twice.
const DONE: Statement = Statement {
    head: "UPDATE inbox SET state = 1, body = '' WHERE state = 0 AND id IN (",
    row: "?",
    tail: ") RETURNING id",
};
/// Comparing and moving on in one statement locks the household's row against other processes.
const MOVE_ON: Statement = Statement {
    head: "UPDATE household SET seq = v.column3, wake = v.column4, urgent = v.column5 FROM (VALUES ",
    row: "(?, ?, ?, ?, ?)",
    tail: ") AS v WHERE household.id = v.column1 AND household.seq = v.column2 RETURNING id",
};
const APPEND: Statement = Statement {
    head: "INSERT INTO ledger (household, seq, happened, recorded, author, chat, message, version, fact) VALUES ",
    row: "(?, ?, ?, ?, ?, ?, ?, ?, ?)",
    tail: " RETURNING seq",
};
/// Under the id that a chat has now; a second row with the same dedupe key in a chat is never made.
const SAY: Statement = Statement {
    head: "INSERT INTO outbox (id, chat, class, dedupe, edits, body, state) VALUES ",
    row: "(?, COALESCE((SELECT moved_to FROM chat WHERE id = ?), ?), ?, ?, ?, ?, 0)",
    tail: " ON CONFLICT (chat, dedupe) DO NOTHING RETURNING id",
};
const END: Statement = Statement {
    head: "UPDATE outbox SET state = v.column2, message = v.column3, reason = v.column4 FROM (VALUES ",
    row: "(?, ?, ?, ?)",
    tail: ") AS v WHERE outbox.id = v.column1 AND outbox.state = 0 RETURNING id",
};

type Bound = Query<'static, Any, AnyArguments>;

impl Statement {
    fn text(&self, rows: usize) -> String {
        let row = [self.row, ", "].concat();
        let all = row.repeat(rows);
        let mut text = String::from(self.head);
        for (n, part) in all.trim_end_matches(", ").split('?').enumerate() {
            if n > 0 {
                text.push_str(&format!("${n}"));
            }
            text.push_str(part);
        }
        text + self.tail
    }

    async fn run<T>(
        &self,
        db: &mut AnyConnection,
        mut rows: &[T],
        bind: impl Fn(Bound, &T) -> Bound,
    ) -> Result<Vec<i64>, StoreError> {
        let mut given = Vec::with_capacity(rows.len());
        while let Some(size) = SIZES.into_iter().find(|size| *size <= rows.len()) {
            let (some, rest) = rows.split_at(size);
            // Its text is made of constants.
            let query = sqlx::query(AssertSqlSafe(self.text(size)));
            let query = some.iter().fold(query, &bind);
            for row in query.fetch_all(&mut *db).await? {
                given.push(row.try_get(0)?);
            }
            rows = rest;
        }
        Ok(given)
    }
}

/// Writes all of them.
pub(super) async fn write(db: &mut AnyConnection, group: &[Share<'_>]) -> Result<Vec<Written>, StoreError> {
    let new = receive(db, group).await?;
    let commits: Vec<&Commit> = group.iter().filter_map(Share::commit).collect();
    done(db, &commits.iter().filter_map(|commit| commit.done).collect::<Vec<_>>()).await?;
    let changes: Vec<&Change> = commits.iter().filter_map(|commit| commit.change.as_ref()).collect();
    move_on(db, &changes).await?;
    let rows: Vec<&NewOutboxRow> = commits.iter().flat_map(|commit| &commit.outbox).collect();
    let mut said = say(db, &rows).await?.into_iter();
    let ended: Vec<&End> = group.iter().filter_map(Share::ended).collect();
    end(db, &ended).await?;
    let written = |(share, new): (&Share, usize)| {
        let rows = share.commit().map_or(0, |commit| commit.outbox.len());
        Written { new, outbox: said.by_ref().take(rows).collect() }
    };
    Ok(group.iter().zip(new).map(written).collect())
}

impl<'a> Share<'a> {
    fn commit(&self) -> Option<&'a Commit> {
        if let Share::Commit(commit) = self { Some(commit) } else { None }
    }

    fn ended(&self) -> Option<&'a End> {
        if let Share::Ended(end) = self { Some(end) } else { None }
    }

    fn received(&self) -> impl Iterator<Item = (&'a InboxRow, i64)> {
        let (rows, now): (&[InboxRow], i64) = match self {
            Share::Received { rows, now } => (rows, *now),
            _ => (&[], 0),
        };
        rows.iter().map(move |row| (row, now))
    }
}

/// How many of each were new.
async fn receive(db: &mut AnyConnection, group: &[Share<'_>]) -> Result<Vec<usize>, StoreError> {
    let rows: Vec<(&InboxRow, i64)> = group.iter().flat_map(Share::received).collect();
    if let Some((_, now)) = rows.last() {
        inbox::forget_old(db, *now).await?;
    }
    let bind = |query: Bound, (row, now): &(&InboxRow, i64)| {
        query.bind(row.update).bind(row.chat.unwrap_or(0)).bind(clean(&row.body)).bind(*now)
    };
    let mut new: HashSet<i64> = RECEIVE.run(db, &rows, bind).await?.into_iter().collect();
    let mut count = |share: &Share| share.received().filter(|(row, _)| new.remove(&row.update)).count();
    Ok(group.iter().map(&mut count).collect())
}

async fn done(db: &mut AnyConnection, updates: &[i64]) -> Result<(), StoreError> {
    let mut were: HashSet<i64> =
        DONE.run(db, updates, |query, update| query.bind(*update)).await?.into_iter().collect();
    match updates.iter().find(|update| !were.remove(update)) {
        Some(not) => Err(StoreError::AlreadyDone(*not)),
        None => Ok(()),
    }
}

async fn move_on(db: &mut AnyConnection, changes: &[&Change]) -> Result<(), StoreError> {
    let moved = MOVE_ON
        .run(db, changes, |query, change| {
            let query = query.bind(change.household.0).bind(change.expected_seq).bind(change.last_seq());
            query.bind(change.wake).bind(change.urgent)
        })
        .await?;
    if moved.len() < changes.len() {
        return Err(StoreError::Stale);
    }
    let entries = changes.iter().flat_map(|change| {
        change
            .entries
            .iter()
            .zip(change.expected_seq + 1..)
            .map(|(entry, seq)| (change.household.0, seq, entry))
    });
    let bind = |query: Bound, (household, seq, entry): &(i64, i64, &NewLedgerRow)| {
        let query = query.bind(*household).bind(*seq).bind(entry.happened_ms).bind(entry.recorded_ms);
        let query = query.bind(entry.by.as_deref().map(clean)).bind(entry.chat).bind(entry.message);
        query.bind(entry.version).bind(clean(&entry.fact))
    };
    APPEND.run(db, &entries.collect::<Vec<_>>(), bind).await.map(drop)
}

async fn say(db: &mut AnyConnection, rows: &[&NewOutboxRow]) -> Result<Vec<Option<i64>>, StoreError> {
    let unnamed = rows.iter().filter(|row| row.id.is_none()).count() as i64;
    let first = if unnamed > 0 { next_ids(db, "outbox", unnamed).await? } else { 0 };
    let mut ids = first..;
    let named = |row: &&NewOutboxRow| row.id.or_else(|| ids.next()).unwrap_or_default();
    let ids: Vec<i64> = rows.iter().map(named).collect();
    let rows: Vec<(i64, &NewOutboxRow)> = ids.iter().copied().zip(rows.iter().copied()).collect();
    let bind = |query: Bound, (id, row): &(i64, &NewOutboxRow)| {
        let query = query.bind(*id).bind(row.chat).bind(row.chat).bind(row.class);
        query.bind(row.dedupe.as_deref().map(clean)).bind(row.edits).bind(clean(&row.body))
    };
    let new: HashSet<i64> = SAY.run(db, &rows, bind).await?.into_iter().collect();
    Ok(ids.into_iter().map(|id| new.contains(&id).then_some(id)).collect())
}

async fn end(db: &mut AnyConnection, ended: &[&End]) -> Result<(), StoreError> {
    // Of two ends of one row the first counts.
    let mut first = HashMap::new();
    for end in ended {
        first.entry(end.id).or_insert(*end);
    }
    let ended: Vec<&End> = first.into_values().collect();
    let bind = |query: Bound, end: &&End| {
        query.bind(end.id).bind(end.state).bind(end.message).bind(end.reason.clone())
    };
    // A row that has ended already stays as it is.
    END.run(db, &ended, bind).await.map(drop)
}
