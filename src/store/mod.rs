//! What is kept: updates as they came, the ledger, what is to be sent, households and their chats. One type serves SQLite
//! and PostgreSQL with the same SQL. It knows no rules: facts and settings are text to it. What it has acknowledged is on disk.

mod claim;
pub mod copy;
mod error;
mod group;
mod household;
mod inbox;
mod ledger;
mod lock;
mod outbox;
mod rows;
mod writer;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use sqlx::any::AnyPoolOptions;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::{AnyConnection, AnyPool, Connection};
use tokio::sync::watch;

pub use claim::Work;
pub use error::StoreError;
pub use lock::Lock;
pub use rows::{
    Change, Commit, Committed, HouseholdId, InboxRow, LedgerRow, Loaded, NewLedgerRow, NewOutboxRow,
    OutboxRow, PersonRow,
};
pub use writer::{Doing, Fortune, Luck};
use writer::{Write, Writer};

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

#[derive(Debug, Clone)]
pub struct Store {
    pool: AnyPool,
    writer: Writer,
    changes: Changes,
    fortune: Option<Fortune>,
    /// Other processes may be at work on the database.
    is_shared: bool,
    /// The name under which this process claims work.
    holder: i64,
}

/// Tells those who wait that there is something to do, so that nobody has to ask the database again and again.
#[derive(Debug, Clone)]
pub struct Changes {
    inbox: watch::Sender<()>,
    outbox: watch::Sender<()>,
    moves: watch::Sender<()>,
    wake: watch::Sender<()>,
    /// Until when those who wait for `wake` and for what is urgent sleep anyway.
    asleep: Arc<[AtomicI64; 2]>,
}

impl Changes {
    fn new() -> Changes {
        let channel = || watch::channel(()).0;
        Changes {
            inbox: channel(),
            outbox: channel(),
            moves: channel(),
            wake: channel(),
            asleep: Arc::new([const { AtomicI64::new(i64::MAX) }; 2]),
        }
    }

    /// Changes when updates were received.
    pub fn inbox(&self) -> watch::Receiver<()> {
        self.inbox.subscribe()
    }

    /// Changes when there may be something new to send.
    pub fn outbox(&self) -> watch::Receiver<()> {
        self.outbox.subscribe()
    }

    /// Changes when what waits to be sent has gone to another chat, or won't be sent.
    pub fn moves(&self) -> watch::Receiver<()> {
        self.moves.subscribe()
    }

    /// Changes when a household may want to be woken before those who wait do so anyway.
    pub fn wake(&self) -> watch::Receiver<()> {
        self.wake.subscribe()
    }

    /// Whoever waits for the first wake, or for the first that is urgent, sleeps until then: what comes later need not be
    /// told. To be called with the end of time before the database is asked, so that nothing falls between.
    pub fn sleeps_until(&self, urgent: bool, at_ms: i64) {
        self.asleep[usize::from(urgent)].store(at_ms, Ordering::SeqCst);
    }

    fn tell_wakes(&self, wake: Option<i64>, urgent: Option<i64>) {
        let earlier =
            |at: Option<i64>, asleep: &AtomicI64| at.is_some_and(|at| at < asleep.load(Ordering::SeqCst));
        let [any, cannot_wait] = self.asleep.as_ref();
        if earlier(wake, any) || earlier(urgent, cannot_wait) {
            self.wake.send_replace(());
        }
    }

    /// Has everybody look again: another process may have left something.
    pub fn look_again(&self) {
        for change in [&self.inbox, &self.outbox, &self.wake] {
            change.send_replace(());
        }
    }
}

impl Store {
    /// Opens the database, creates it if it is a file that isn't there, and brings its tables up to date.
    /// `sqlite::memory:` is a database that ends with the store.
    pub async fn open(url: &str) -> Result<Store, StoreError> {
        Store::open_with(url, None).await
    }

    /// The same, where `fortune` says what becomes of each commit and of each question to the database.
    pub async fn open_with(url: &str, fortune: Option<Fortune>) -> Result<Store, StoreError> {
        let (kind, pool) = connect(url).await?;
        let migrated = MIGRATIONS.run(&pool).await;
        migrated.map_err(|e| refused(url, why_not_migrated(&e)))?;
        Ok(Store::over(kind, pool, fortune))
    }

    /// A new database whose tables are brought no further than to this version: for a copy that was made then.
    pub async fn open_at(url: &str, version: i64) -> Result<Store, StoreError> {
        let (kind, pool) = connect(url).await?;
        let migrated = MIGRATIONS.run_to(version, &pool).await;
        migrated.map_err(|e| refused(url, why_not_migrated(&e)))?;
        Ok(Store::over(kind, pool, None))
    }

    /// Opens a database that is there, and leaves its tables as they are; they must be those of this program.
    pub async fn open_as_it_is(url: &str) -> Result<Store, StoreError> {
        if lock::path(url).is_some_and(|path| !Path::new(path).exists()) {
            return Err(refused(url, "there is no such file".into()));
        }
        let (kind, pool) = connect(url).await?;
        const SQL: &str = "SELECT MAX(version) FROM _sqlx_migrations";
        let version: Result<(Option<i64>,), _> = sqlx::query_as(SQL).fetch_one(&pool).await;
        let (version, ours) = (version.ok().and_then(|(version,)| version).unwrap_or(0), tables_version());
        if version != ours {
            let reason = format!("its tables are at version {version}, those of this program at {ours}");
            return Err(refused(url, reason));
        }
        Ok(Store::over(kind, pool, None))
    }

    fn over(kind: Kind, pool: AnyPool, fortune: Option<Fortune>) -> Store {
        let changes = Changes::new();
        let writer = Writer::start(pool.clone(), kind, changes.clone(), fortune.clone());
        Store { pool, writer, changes, fortune, is_shared: kind == Kind::Postgres, holder: rand::random() }
    }

    /// Where to read. All reading goes by here, so that it can be made to fail.
    fn reading(&self) -> Result<&AnyPool, StoreError> {
        match self.fortune.as_ref().map_or(Luck::Good, |fortune| fortune.of(Doing::Reading)) {
            Luck::Good => Ok(&self.pool),
            _ => Err(StoreError::Unreachable("the connection was lost".into())),
        }
    }

    pub fn changes(&self) -> &Changes {
        &self.changes
    }
}

/// The version of the tables of this program.
fn tables_version() -> i64 {
    MIGRATIONS.iter().map(|migration| migration.version).max().unwrap_or(0)
}

fn refused(url: &str, reason: String) -> StoreError {
    StoreError::Open { url: error::shown(url), reason }
}

async fn connect(url: &str) -> Result<(Kind, AnyPool), StoreError> {
    let kind = Kind::of(url).ok_or_else(|| refused(url, "is neither sqlite: nor postgres:".into()))?;
    let pool = kind.connect(url).await.map_err(|e| refused(url, plain(&e)))?;
    Ok((kind, pool))
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Memory,
    File,
    Postgres,
}

impl Kind {
    fn of(url: &str) -> Option<Kind> {
        match url.split_once(':')? {
            ("sqlite", rest) if rest.contains(":memory:") || rest.contains("mode=memory") => {
                Some(Kind::Memory)
            }
            ("sqlite", _) => Some(Kind::File),
            ("postgres" | "postgresql", _) => Some(Kind::Postgres),
            _ => None,
        }
    }

    /// A database file is made if it isn't there, unless the address says otherwise.
    fn address(self, url: &str) -> String {
        match url.split_once('?') {
            None if self == Kind::File => format!("{url}?mode=rwc"),
            Some((_, query)) if self == Kind::File && !query.contains("mode=") => format!("{url}&mode=rwc"),
            _ => url.into(),
        }
    }

    async fn connect(self, url: &str) -> Result<AnyPool, sqlx::Error> {
        sqlx::any::install_default_drivers();
        // One connection alone fails at once and says why; a pool would go on trying for a while.
        prepare(self, &mut AnyConnection::connect(&self.address(url)).await?).await?;
        // A server may have gone; a file is there, and to ask it whether it is would cost as much as to ask for something.
        let options = AnyPoolOptions::new()
            .acquire_timeout(Duration::from_secs(10))
            .test_before_acquire(self == Kind::Postgres);
        match self {
            // A second connection would see another database, and an idle one must not be closed.
            Kind::Memory => {
                options.max_connections(1).idle_timeout(None).max_lifetime(None).connect(url).await
            }
            Kind::File => {
                let options = options.after_connect(|db, _| Box::pin(prepare(Kind::File, db)));
                options.max_connections(4).connect(&self.address(url)).await
            }
            Kind::Postgres => options.max_connections(8).connect(url).await,
        }
    }
}

async fn prepare(kind: Kind, db: &mut AnyConnection) -> Result<(), sqlx::Error> {
    if kind == Kind::File {
        sqlx::query("PRAGMA journal_mode = WAL").execute(&mut *db).await?;
        // A commit survives a power cut; grouped as they are, that costs next to nothing.
        sqlx::query("PRAGMA synchronous = FULL").execute(&mut *db).await?;
        // Pages that are written again and again go to their place only now and then; some ten MiB wait beside the file.
        sqlx::query("PRAGMA wal_autocheckpoint = 4000").execute(&mut *db).await?;
    }
    Ok(())
}

fn plain(error: &sqlx::Error) -> String {
    match error {
        sqlx::Error::Database(refused) => refused.message().into(),
        other => other.to_string(),
    }
}

fn why_not_migrated(error: &MigrateError) -> String {
    match error {
        MigrateError::VersionMissing(version) => {
            format!("was last used by a newer version of this program (its tables are at version {version})")
        }
        MigrateError::VersionMismatch(version) => {
            format!("its tables at version {version} are not those of this program")
        }
        MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => plain(error),
        other => other.to_string(),
    }
}
