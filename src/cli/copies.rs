//! `backup`, `restore` and `move`: one copy of everything, as text, serves all three. Always true: nothing is put into a
//! database that did not prove complete, unchanged and balanced in a database of its own before; and after that both are
//! compared whole.

use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Seek};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use clap::Args;
use secrecy::{ExposeSecret, SecretString};
use tempfile::TempDir;

use crate::app::books::Books;
use crate::app::{App, AppError};
use crate::clock::Clock;
use crate::store::copy::{Copied, CopyError, head_of};
use crate::store::{Lock, Store, StoreError};

#[derive(Debug, Args)]
pub struct Database {
    /// Where everything is kept (sqlite: or postgres: address)
    #[arg(long, env = "DATABASE_URL", hide_env_values = true, default_value = "sqlite:firstout.db")]
    database_url: SecretString,
}

#[derive(Debug, Args)]
pub struct BackupArgs {
    /// The file to write; it must not be there yet
    file: PathBuf,
    #[command(flatten)]
    database: Database,
}

#[derive(Debug, Args)]
pub struct RestoreArgs {
    /// A file that backup has written
    file: PathBuf,
    /// Only check it: nothing is put back
    #[arg(long)]
    check: bool,
    /// Throw away what is in the database
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    database: Database,
}

#[derive(Debug, Args)]
pub struct MoveArgs {
    /// Where everything is to be kept from now on (sqlite: or postgres: address)
    #[arg(long, value_name = "URL")]
    to: SecretString,
    /// Throw away what is there
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    database: Database,
}

#[derive(Debug, thiserror::Error)]
pub enum Problem {
    #[error("{0}: {1}")]
    File(String, io::Error),
    #[error("{0}: {1}")]
    Copy(String, CopyError),
    #[error("{0}")]
    Database(CopyError),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("{0}: {1}")]
    Books(String, AppError),
    #[error("there is something in the database already: --replace throws it away")]
    NotEmpty,
    #[error("what is in the database now is not what was copied; use it no further")]
    Differs,
    #[error("both databases are the same")]
    Same,
    #[error("a process is at work on the database; end it before")]
    AtWork,
}

/// Writes a copy while the bot may be at work.
pub async fn backup(args: BackupArgs) -> Result<(), Problem> {
    let store = Store::open_as_it_is(args.database.database_url.expose_secret()).await?;
    let name = args.file.display().to_string();
    let failed = |e| Problem::File(name.clone(), e);
    if args.file.exists() {
        return Err(failed(io::ErrorKind::AlreadyExists.into()));
    }
    // Under another name until it is whole, so that half a copy is never taken for one.
    let part = PathBuf::from(format!("{name}.part"));
    let copied = write(&store, &part, &name).await?;
    fs::rename(&part, &args.file).map_err(failed)?;
    println!("{name}: {}", told(&copied));
    Ok(())
}

async fn write(store: &Store, path: &Path, name: &str) -> Result<Copied, Problem> {
    let failed = |e| Problem::File(name.to_owned(), e);
    // It holds what a family wrote about their child: nobody else may read it.
    let file =
        File::options().write(true).create(true).truncate(true).mode(0o600).open(path).map_err(failed)?;
    let mut out = BufWriter::new(file);
    let copied = store.copy_out(&mut out).await.map_err(Problem::Database)?;
    out.into_inner().map_err(|e| failed(e.into_error()))?.sync_all().map_err(failed)?;
    Ok(copied)
}

/// Checks a copy, and puts it back.
pub async fn restore(args: RestoreArgs) -> Result<(), Problem> {
    let name = args.file.display().to_string();
    let file = File::open(&args.file).map_err(|e| Problem::File(name.clone(), e))?;
    let checked = Checked::of(file, &name).await?;
    println!("{name}: {}; {}", told(&checked.copied), balanced(checked.books));
    if args.check {
        return Ok(());
    }
    let url = args.database.database_url.expose_secret();
    let _lock = Lock::take(url)?;
    checked.put_into(url, args.replace).await?;
    println!("put back; the database is the same as the copy");
    Ok(())
}

/// Carries everything from one database to another. The first stays as it is.
pub async fn move_house(args: MoveArgs) -> Result<(), Problem> {
    let (from, to) = (args.database.database_url.expose_secret(), args.to.expose_secret());
    if from == to {
        return Err(Problem::Same);
    }
    let (_lock_from, _lock_to) = (Lock::take(from)?, Lock::take(to)?);
    let store = Store::open_as_it_is(from).await?;
    nobody_at_work(&store).await?;
    let mut copy = tempfile::tempfile().map_err(|e| Problem::File("the copy".into(), e))?;
    store.copy_out(&mut BufWriter::new(&copy)).await.map_err(Problem::Database)?;
    copy.rewind().map_err(|e| Problem::File("the copy".into(), e))?;
    let checked = Checked::of(copy, "the database").await?;
    checked.put_into(to, args.replace).await?;
    println!("moved: {}; {}", told(&checked.copied), balanced(checked.books));
    Ok(())
}

/// A copy that lies in a database of its own, in order.
struct Checked {
    store: Store,
    copied: Copied,
    books: Books,
    _dir: TempDir,
}

impl Checked {
    async fn of(copy: File, name: &str) -> Result<Checked, Problem> {
        let failed = |e| Problem::File(name.to_owned(), e);
        let wrong = |e| Problem::Copy(name.to_owned(), e);
        let dir = tempfile::tempdir().map_err(failed)?;
        let url = format!("sqlite:{}/check.db", dir.path().display());
        let mut copy = BufReader::new(copy);
        let version = head_of(&mut copy).map_err(wrong)?.tables;
        copy.rewind().map_err(failed)?;
        // Into tables as they were then; from there on it goes as with any older database.
        let then = Store::open_at(&url, version).await?;
        let copied = then.copy_in(&mut copy, false).await.map_err(wrong)?;
        drop(then);
        let store = Store::open(&url).await?;
        let app = App::new(store.clone(), SecretString::from(""));
        let books = app.check_books().await.map_err(|e| Problem::Books(name.to_owned(), e))?;
        Ok(Checked { store, copied, books, _dir: dir })
    }

    /// Puts it there, reads it back and compares the whole.
    async fn put_into(&self, url: &str, replace: bool) -> Result<(), Problem> {
        let failed = |e| Problem::File("the copy".into(), e);
        let target = Store::open(url).await?;
        nobody_at_work(&target).await?;
        let mut copy = tempfile::tempfile().map_err(failed)?;
        let ours = self.store.copy_out(&mut BufWriter::new(&copy)).await.map_err(Problem::Database)?;
        copy.rewind().map_err(failed)?;
        target.copy_in(&mut BufReader::new(copy), replace).await.map_err(|error| match error {
            CopyError::NotEmpty => Problem::NotEmpty,
            error => Problem::Database(error),
        })?;
        let theirs = target.copy_out(&mut io::sink()).await.map_err(Problem::Database)?;
        if ours == theirs { Ok(()) } else { Err(Problem::Differs) }
    }
}

/// Where several processes may share a database, no lock tells of them; what they have claimed does.
async fn nobody_at_work(store: &Store) -> Result<(), Problem> {
    match store.is_at_work(Clock::system().now().timestamp_millis()).await? {
        true => Err(Problem::AtWork),
        false => Ok(()),
    }
}

fn told(copied: &Copied) -> String {
    let rows = copied.rows.iter().filter(|(table, _)| *table != "counter");
    let rows: Vec<String> = rows.map(|(table, rows)| format!("{table} {rows}")).collect();
    format!("rows: {}", rows.join(", "))
}

fn balanced(books: Books) -> String {
    format!("{} households with {} entries folded anew: the books add up", books.households, books.entries)
}
