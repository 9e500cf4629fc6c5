//! All tables as lines of text, the same from either database and into either: for backups and for moving house.
//! Always true: a copy is what the database was at one moment, whoever writes to it meanwhile; what is put back is the
//! whole of a copy that has proved complete and unchanged, in one transaction, or nothing.
//!
//! The first line says what it is. Then for each table a line that names its columns, and an array for each row; at last a
//! line with how many rows each table has and a SHA-256 over all lines between the first and the last.

use std::collections::BTreeMap;
use std::io::{self, BufRead, Write};

use futures_util::TryStreamExt;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use sqlx::any::AnyArguments;
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Row, Transaction};

use super::{Store, StoreError};

/// How many rows are put in by one statement.
const AT_ONCE: usize = 100;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Number,
    Text,
}

use Kind::{Number, Text};

struct Table {
    name: &'static str,
    columns: &'static [(&'static str, Kind)],
    order: &'static str,
}

/// What is copied, a table after those it refers to. Claims are of the moment, and stay behind.
const TABLES: [Table; 7] = [
    Table { name: "counter", columns: &[("name", Text), ("value", Number)], order: "name" },
    Table {
        name: "household",
        columns: &[
            ("id", Number),
            ("settings", Text),
            ("seq", Number),
            ("wake", Number),
            ("created", Number),
        ],
        order: "id",
    },
    Table {
        name: "chat",
        columns: &[("id", Number), ("household", Number), ("connected", Number), ("moved_to", Number)],
        order: "id",
    },
    Table {
        name: "person",
        columns: &[("household", Number), ("member", Number), ("name", Text), ("private_chat", Number)],
        order: "household, member",
    },
    Table {
        name: "ledger",
        columns: &[
            ("household", Number),
            ("seq", Number),
            ("happened", Number),
            ("recorded", Number),
            ("author", Text),
            ("chat", Number),
            ("message", Number),
            ("version", Number),
            ("fact", Text),
        ],
        order: "household, seq",
    },
    Table {
        name: "inbox",
        columns: &[
            ("id", Number),
            ("chat", Number),
            ("body", Text),
            ("received", Number),
            ("state", Number),
            ("tries", Number),
            ("reason", Text),
        ],
        order: "id",
    },
    Table {
        name: "outbox",
        columns: &[
            ("id", Number),
            ("chat", Number),
            ("class", Number),
            ("dedupe", Text),
            ("edits", Number),
            ("body", Text),
            ("state", Number),
            ("message", Number),
            ("reason", Text),
        ],
        order: "id",
    },
];

#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("{0}")]
    Io(#[from] io::Error),
    #[error("is not a copy that this program has made")]
    NotACopy,
    #[error("was made by a newer version of this program (its tables are at version {0})")]
    Newer(i64),
    #[error("line {0}: {1}")]
    Line(u64, String),
    #[error("breaks off before its end")]
    CutOff,
    #[error("was changed since it was made, or is damaged")]
    Changed,
    #[error("the database holds something already")]
    NotEmpty,
}

impl From<sqlx::Error> for CopyError {
    fn from(error: sqlx::Error) -> CopyError {
        CopyError::Store(error.into())
    }
}

/// What a copy holds.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Copied {
    pub rows: BTreeMap<String, u64>,
    pub sha256: String,
}

#[derive(Debug, Serialize, Deserialize)]
pub struct Head {
    /// The version of this form.
    firstout_copy: u32,
    /// The version of the tables.
    pub tables: i64,
}

#[derive(Debug, Serialize, Deserialize)]
struct Columns {
    table: String,
    columns: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum Line {
    Row(Vec<Value>),
    Table(Columns),
    End { end: Copied },
}

impl Store {
    /// Writes everything there is at this moment.
    pub async fn copy_out(&self, out: &mut impl Write) -> Result<Copied, CopyError> {
        let head = Head { firstout_copy: 1, tables: super::tables_version() };
        writeln!(out, "{}", line(&head)?)?;
        let mut tx = self.pool.begin_with(if self.is_shared { SNAPSHOT } else { "BEGIN" }).await?;
        let (mut copied, mut sum) = (Copied::default(), Sha256::new());
        for table in &TABLES {
            let rows = table.copy_out(&mut tx, out, &mut sum).await?;
            copied.rows.insert(table.name.into(), rows);
        }
        copied.sha256 = hex(sum);
        writeln!(out, "{}", line(&serde_json::json!({ "end": copied }))?)?;
        out.flush()?;
        Ok(copied)
    }

    /// Puts a copy into the database, in place of what is there if `replace`; otherwise nothing may be there.
    pub async fn copy_in(&self, copy: &mut impl BufRead, replace: bool) -> Result<Copied, CopyError> {
        head_of(copy)?;
        let mut tx = self.pool.begin_with(if self.is_shared { "BEGIN" } else { "BEGIN IMMEDIATE" }).await?;
        if !replace && !is_empty(&mut tx).await? {
            return Err(CopyError::NotEmpty);
        }
        clear(&mut tx).await?;
        let copied = Inward::new(&mut tx).all(copy).await?;
        tx.commit().await?;
        Ok(copied)
    }

    /// Whether nobody has ever used the database.
    pub async fn is_empty(&self) -> Result<bool, StoreError> {
        is_empty(&mut *self.pool.acquire().await?).await
    }
}

/// One moment for all reads, on PostgreSQL; in SQLite every transaction is that.
const SNAPSHOT: &str = "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY";

/// Reads the first line of a copy.
pub fn head_of(copy: &mut impl BufRead) -> Result<Head, CopyError> {
    let mut first = Vec::new();
    // Whatever else it is, it may have no line ends at all.
    io::Read::take(&mut *copy, 1000).read_until(b'\n', &mut first)?;
    let head: Head = serde_json::from_slice(&first).map_err(|_| CopyError::NotACopy)?;
    if head.firstout_copy != 1 || head.tables > super::tables_version() {
        return Err(CopyError::Newer(head.tables));
    }
    Ok(head)
}

async fn is_empty(db: &mut AnyConnection) -> Result<bool, StoreError> {
    const SQL: &str = "SELECT 1 AS some WHERE EXISTS (SELECT 1 FROM household) OR EXISTS (SELECT 1 FROM inbox) \
                       OR EXISTS (SELECT 1 FROM outbox)";
    Ok(sqlx::query(SQL).fetch_optional(db).await?.is_none())
}

async fn clear(db: &mut AnyConnection) -> Result<(), StoreError> {
    for table in TABLES.iter().rev() {
        sqlx::query(AssertSqlSafe(format!("DELETE FROM {}", table.name))).execute(&mut *db).await?;
    }
    Ok(())
}

impl Table {
    fn of(name: &str) -> Option<&'static Table> {
        TABLES.iter().find(|table| table.name == name)
    }

    fn kind(&self, column: &str) -> Option<Kind> {
        self.columns.iter().find(|(name, _)| *name == column).map(|(_, kind)| *kind)
    }

    async fn copy_out(
        &self,
        tx: &mut Transaction<'static, Any>,
        out: &mut impl Write,
        sum: &mut Sha256,
    ) -> Result<u64, CopyError> {
        let names: Vec<String> = self.columns.iter().map(|(name, _)| (*name).to_owned()).collect();
        let sql = format!("SELECT {} FROM {} ORDER BY {}", names.join(", "), self.name, self.order);
        say(out, sum, &line(&Columns { table: self.name.into(), columns: names })?)?;
        let mut rows = sqlx::query(AssertSqlSafe(sql)).fetch(&mut **tx);
        let mut count = 0;
        while let Some(row) = rows.try_next().await? {
            let cells: Result<Vec<Value>, sqlx::Error> = (0..self.columns.len())
                .map(|n| match self.columns[n].1 {
                    Number => Ok(row.try_get::<Option<i64>, _>(n)?.into()),
                    Text => Ok(row.try_get::<Option<String>, _>(n)?.into()),
                })
                .collect();
            say(out, sum, &line(&cells?)?)?;
            count += 1;
        }
        Ok(count)
    }
}

fn line(what: &impl Serialize) -> Result<String, CopyError> {
    serde_json::to_string(what).map_err(|e| CopyError::Io(e.into()))
}

fn say(out: &mut impl Write, sum: &mut Sha256, line: &str) -> io::Result<()> {
    sum.update(line.as_bytes());
    sum.update(b"\n");
    writeln!(out, "{line}")
}

fn hex(sum: Sha256) -> String {
    sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A copy on its way into a database.
struct Inward<'t> {
    tx: &'t mut Transaction<'static, Any>,
    copied: Copied,
    sum: Sha256,
    /// The table whose rows come, and the kinds of its columns in their order.
    table: Option<(&'static Table, Vec<String>, Vec<Kind>)>,
    rows: Vec<Vec<Value>>,
}

impl<'t> Inward<'t> {
    fn new(tx: &'t mut Transaction<'static, Any>) -> Inward<'t> {
        Inward { tx, copied: Copied::default(), sum: Sha256::new(), table: None, rows: Vec::new() }
    }

    async fn all(mut self, copy: &mut impl BufRead) -> Result<Copied, CopyError> {
        let (mut text, mut number) = (Vec::new(), 1);
        loop {
            text.clear();
            number += 1;
            if copy.read_until(b'\n', &mut text)? == 0 {
                return Err(CopyError::CutOff);
            }
            let wrong = |reason: String| CopyError::Line(number, reason);
            let line: Line = match serde_json::from_slice(&text) {
                Ok(line) => line,
                Err(_) if !text.ends_with(b"\n") => return Err(CopyError::CutOff),
                Err(_) => return Err(CopyError::Changed),
            };
            match line {
                Line::End { end } => return self.end(end).await,
                Line::Table(columns) => {
                    self.put().await?;
                    self.begin(columns).map_err(wrong)?;
                }
                Line::Row(row) => {
                    self.rows.push(row);
                    if self.rows.len() >= AT_ONCE {
                        self.put().await?;
                    }
                }
            }
            self.sum.update(&text);
        }
    }

    fn begin(&mut self, columns: Columns) -> Result<(), String> {
        let table =
            Table::of(&columns.table).ok_or_else(|| format!("there is no table {}", columns.table))?;
        let kinds = columns.columns.iter().map(|name| table.kind(name).ok_or(name)).collect::<Result<_, _>>();
        let kinds = kinds.map_err(|name| format!("there is no column {} in {}", name, columns.table))?;
        self.copied.rows.insert(columns.table, 0);
        self.table = Some((table, columns.columns, kinds));
        Ok(())
    }

    /// Puts in the rows that have gathered.
    async fn put(&mut self) -> Result<(), CopyError> {
        let rows = std::mem::take(&mut self.rows);
        if rows.is_empty() {
            return Ok(());
        }
        let Some((table, names, kinds)) = &self.table else { return Err(CopyError::Changed) };
        if rows.iter().any(|row| row.len() != names.len()) {
            return Err(CopyError::Changed);
        }
        let places: Vec<String> = (0..rows.len())
            .map(|row| {
                let places = (1..=names.len()).map(|n| format!("${}", row * names.len() + n));
                format!("({})", places.collect::<Vec<_>>().join(", "))
            })
            .collect();
        let sql = format!("INSERT INTO {} ({}) VALUES {}", table.name, names.join(", "), places.join(", "));
        let mut insert = sqlx::query(AssertSqlSafe(sql));
        for (cell, kind) in rows.iter().flat_map(|row| row.iter().zip(kinds)) {
            insert = bound(insert, cell, *kind)?;
        }
        insert.execute(&mut **self.tx).await?;
        *self.copied.rows.entry(table.name.into()).or_default() += rows.len() as u64;
        Ok(())
    }

    async fn end(mut self, end: Copied) -> Result<Copied, CopyError> {
        self.put().await?;
        self.copied.sha256 = hex(self.sum);
        if self.copied == end { Ok(end) } else { Err(CopyError::Changed) }
    }
}

fn bound<'q>(
    query: Query<'q, Any, AnyArguments>,
    cell: &Value,
    kind: Kind,
) -> Result<Query<'q, Any, AnyArguments>, CopyError> {
    match (kind, cell) {
        (Number, Value::Null) => Ok(query.bind(None::<i64>)),
        (Text, Value::Null) => Ok(query.bind(None::<String>)),
        (Number, Value::Number(number)) => Ok(query.bind(number.as_i64().ok_or(CopyError::Changed)?)),
        (Text, Value::String(text)) => Ok(query.bind(text.clone())),
        _ => Err(CopyError::Changed),
    }
}
