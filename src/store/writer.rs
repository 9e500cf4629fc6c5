//! All writes go through one task, which puts everything that waits into one transaction: grouped commits cost a
//! disk flush a group. A write is acknowledged after COMMIT, and one that fails doesn't take the others with it.

use std::fmt;
use std::slice;
use std::sync::Arc;

use async_trait::async_trait;
use sqlx::pool::PoolConnection;
use sqlx::{Any, AnyConnection, AnyPool, Connection};
use tokio::sync::{mpsc, oneshot};

use super::group::{self, Share, Written};
use super::{Changes, Kind, StoreError};

const GROUP: usize = 256;
/// How often a write is tried again that another process was in the way of.
const CLASHES: usize = 5;

/// One thing to write. It may be applied more than once (after a rollback), and counts once.
pub(super) trait Write: Send + Sync + 'static {
    type Out: Send + Sync + 'static;

    /// What of it can be written together with others.
    fn share(&self) -> Option<Share<'_>> {
        None
    }

    /// What became of it, where it was.
    fn shared(&self, _written: Written) -> Option<Self::Out> {
        None
    }

    /// Writes it alone, where it can't be written with others.
    fn apply(&self, _db: &mut AnyConnection) -> impl Future<Output = Result<Self::Out, StoreError>> + Send {
        async { Err(never_ran()) }
    }

    /// Who is to be told once it is written.
    fn announce(&self, _changes: &Changes) {}
}

#[derive(Debug, Clone)]
pub(super) struct Writer {
    queue: mpsc::Sender<Box<dyn Job>>,
    changes: Changes,
}

impl Writer {
    pub(super) fn start(pool: AnyPool, kind: Kind, changes: Changes, fortune: Option<Fortune>) -> Writer {
        let (queue, jobs) = mpsc::channel(GROUP * 4);
        let (immediate, keeps) = (kind != Kind::Postgres, kind == Kind::File);
        tokio::spawn(run(Database { pool, immediate, keeps, kept: None, fortune }, jobs));
        Writer { queue, changes }
    }

    pub async fn write<W: Write>(&self, write: W) -> Result<W::Out, StoreError> {
        let gone = || StoreError::Unreachable("the writer has ended".into());
        let (reply, written) = oneshot::channel();
        let job = Pending { write, out: None, reply, changes: self.changes.clone() };
        self.queue.send(Box::new(job)).await.map_err(|_| gone())?;
        written.await.map_err(|_| gone())?
    }
}

#[async_trait]
trait Job: Send + Sync {
    fn share(&self) -> Option<Share<'_>>;
    fn shared(&mut self, written: Written);
    async fn apply(&mut self, db: &mut AnyConnection) -> Result<(), StoreError>;
    fn end(self: Box<Self>, how: Result<(), StoreError>);
}

struct Pending<W: Write> {
    write: W,
    out: Option<W::Out>,
    reply: oneshot::Sender<Result<W::Out, StoreError>>,
    changes: Changes,
}

#[async_trait]
impl<W: Write> Job for Pending<W> {
    fn share(&self) -> Option<Share<'_>> {
        self.write.share()
    }

    fn shared(&mut self, written: Written) {
        self.out = self.write.shared(written);
    }

    async fn apply(&mut self, db: &mut AnyConnection) -> Result<(), StoreError> {
        self.out = Some(self.write.apply(db).await?);
        Ok(())
    }

    fn end(self: Box<Self>, how: Result<(), StoreError>) {
        if how.is_ok() {
            self.write.announce(&self.changes);
        }
        let Pending { out, reply, .. } = *self;
        // Whoever asked may have gone: the write stands all the same.
        let _ = reply.send(how.and_then(|()| out.ok_or_else(never_ran)));
    }
}

fn never_ran() -> StoreError {
    StoreError::Database("a write was not applied".into())
}

/// What the database is asked to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    Reading,
    Committing,
}

/// What becomes of it, where somebody plays the database's misfortunes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Luck {
    Good,
    /// Nothing is done.
    Refused,
    /// It is done, and the answer is lost.
    Unsure,
}

#[derive(Clone)]
pub struct Fortune(pub Arc<dyn Fn(Doing) -> Luck + Send + Sync>);

impl Fortune {
    pub(super) fn of(&self, doing: Doing) -> Luck {
        (self.0)(doing)
    }
}

impl fmt::Debug for Fortune {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Fortune")
    }
}

struct Database {
    pool: AnyPool,
    /// The transaction takes the write lock at its begin (SQLite), so that it can't fail half way for want of it.
    immediate: bool,
    /// A connection that is kept knows what it wrote, and need not read it again.
    keeps: bool,
    kept: Option<PoolConnection<Any>>,
    fortune: Option<Fortune>,
}

impl Database {
    /// After a failure of the disk or of the way to the server nobody knows what a connection is in the middle of: it is
    /// thrown away, so that the next write begins on one that works.
    async fn commit(&mut self, jobs: &mut [Box<dyn Job>]) -> Result<(), StoreError> {
        let mut connection = match self.kept.take() {
            Some(kept) => kept,
            None => self.pool.acquire().await?,
        };
        let how = self.commit_on(&mut connection, jobs).await;
        if matches!(how, Err(StoreError::Unreachable(_))) {
            connection.close_on_drop();
        } else if self.keeps {
            self.kept = Some(connection);
        }
        how
    }

    async fn commit_on(
        &mut self,
        db: &mut AnyConnection,
        jobs: &mut [Box<dyn Job>],
    ) -> Result<(), StoreError> {
        let luck = self.fortune.as_ref().map_or(Luck::Good, |fortune| fortune.of(Doing::Committing));
        let lost = |what: &str| StoreError::Unreachable(what.into());
        if luck == Luck::Refused {
            return Err(lost("the connection was lost before the commit"));
        }
        let mut tx =
            if self.immediate { db.begin_with("BEGIN IMMEDIATE").await? } else { db.begin().await? };
        apply(&mut tx, jobs).await?;
        tx.commit().await?;
        if luck == Luck::Unsure { Err(lost("the answer to the commit was lost")) } else { Ok(()) }
    }

    /// One after the other, so that what one can't do doesn't concern the rest.
    async fn commit_each(&mut self, jobs: &mut Vec<Box<dyn Job>>) {
        for mut job in jobs.drain(..) {
            let mut how = self.commit(slice::from_mut(&mut job)).await;
            for _ in 0..CLASHES {
                if !matches!(how, Err(StoreError::Clash(_))) {
                    break;
                }
                how = self.commit(slice::from_mut(&mut job)).await;
            }
            job.end(how);
        }
    }
}

/// In their order, and together where they come one after the other and can be.
async fn apply(db: &mut AnyConnection, jobs: &mut [Box<dyn Job>]) -> Result<(), StoreError> {
    for run in jobs.chunk_by_mut(|a, b| a.share().is_some() && b.share().is_some()) {
        let shares: Vec<Share> = run.iter().filter_map(|job| job.share()).collect();
        if shares.is_empty() {
            run[0].apply(db).await?;
            continue;
        }
        let written = group::write(db, &shares).await?;
        run.iter_mut().zip(written).for_each(|(job, written)| job.shared(written));
    }
    Ok(())
}

async fn run(mut db: Database, mut queue: mpsc::Receiver<Box<dyn Job>>) {
    let mut jobs = Vec::new();
    while queue.recv_many(&mut jobs, GROUP).await > 0 {
        // Whoever is about to write to the file too gets to it first: the larger the group, the less each costs. Where
        // misfortunes are played, what goes together must not depend on how quick a thread is.
        if db.fortune.is_none() && db.keeps {
            tokio::task::yield_now().await;
        }
        while jobs.len() < GROUP
            && let Ok(job) = queue.try_recv()
        {
            jobs.push(job);
        }
        match db.commit(&mut jobs).await {
            Err(StoreError::Clash(_)) => db.commit_each(&mut jobs).await,
            Err(StoreError::Stale | StoreError::AlreadyDone(_) | StoreError::Database(_))
                if jobs.len() > 1 =>
            {
                db.commit_each(&mut jobs).await;
            }
            how => jobs.drain(..).for_each(|job| job.end(how.clone())),
        }
    }
}
