//! All writes go through one task, which puts everything that waits into one transaction: grouped commits cost a
//! disk flush a group. A write is acknowledged after COMMIT, and one that fails doesn't take the others with it.

use std::slice;
use std::sync::Arc;

use async_trait::async_trait;
use sqlx::{Any, AnyConnection, AnyPool, Transaction};
use tokio::sync::{mpsc, oneshot};

use super::{Changes, StoreError};

const GROUP: usize = 256;
/// How often a write is tried again that another process was in the way of.
const CLASHES: usize = 5;

/// One thing to write. It may be applied more than once (after a rollback), and counts once.
pub(super) trait Write: Send + Sync + 'static {
    type Out: Send + 'static;

    fn apply(&self, db: &mut AnyConnection) -> impl Future<Output = Result<Self::Out, StoreError>> + Send;

    /// Who is to be told once it is written.
    fn announce(&self, _changes: &Changes) {}
}

#[derive(Debug, Clone)]
pub(super) struct Writer {
    queue: mpsc::Sender<Box<dyn Job>>,
    changes: Changes,
}

impl Writer {
    /// `immediate`: the transaction takes the write lock at its begin (SQLite), so that it can't fail half way for want of it.
    pub fn start(pool: AnyPool, immediate: bool, changes: Changes, fortune: Option<Fortune>) -> Writer {
        let (queue, jobs) = mpsc::channel(GROUP * 4);
        tokio::spawn(run(Database { pool, immediate, fortune }, jobs));
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
trait Job: Send {
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
    async fn apply(&mut self, db: &mut AnyConnection) -> Result<(), StoreError> {
        self.out = Some(self.write.apply(db).await?);
        Ok(())
    }

    fn end(self: Box<Self>, how: Result<(), StoreError>) {
        if how.is_ok() {
            self.write.announce(&self.changes);
        }
        let never_ran = || StoreError::Database("a write was not applied".into());
        let Pending { out, reply, .. } = *self;
        // Whoever asked may have gone: the write stands all the same.
        let _ = reply.send(how.and_then(|()| out.ok_or_else(never_ran)));
    }
}

/// What becomes of a commit, where somebody plays the database's misfortunes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Luck {
    Good,
    /// Nothing is written.
    Refused,
    /// It is written, and the answer is lost.
    Unsure,
}

pub type Fortune = Arc<dyn Fn() -> Luck + Send + Sync>;

struct Database {
    pool: AnyPool,
    immediate: bool,
    fortune: Option<Fortune>,
}

impl Database {
    async fn begin(&self) -> Result<Transaction<'static, Any>, StoreError> {
        Ok(if self.immediate {
            self.pool.begin_with("BEGIN IMMEDIATE").await?
        } else {
            self.pool.begin().await?
        })
    }

    async fn commit(&self, jobs: &mut [Box<dyn Job>]) -> Result<(), StoreError> {
        let luck = self.fortune.as_ref().map_or(Luck::Good, |fortune| fortune());
        let lost = |what: &str| StoreError::Unreachable(what.into());
        if luck == Luck::Refused {
            return Err(lost("the connection was lost before the commit"));
        }
        let mut tx = self.begin().await?;
        for job in jobs {
            job.apply(&mut tx).await?;
        }
        tx.commit().await?;
        if luck == Luck::Unsure { Err(lost("the answer to the commit was lost")) } else { Ok(()) }
    }

    /// One after the other, so that what one can't do doesn't concern the rest.
    async fn commit_each(&self, jobs: &mut Vec<Box<dyn Job>>) {
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

async fn run(db: Database, mut queue: mpsc::Receiver<Box<dyn Job>>) {
    let mut jobs = Vec::new();
    while queue.recv_many(&mut jobs, GROUP).await > 0 {
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
