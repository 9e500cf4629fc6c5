//! A database in a file is for one process that serves: whoever serves holds a lock beside it. The system takes the lock
//! back when the process ends, however that ends.

use std::fs::{File, TryLockError};

use super::{Kind, StoreError, refused};

/// Held for as long as it lives; holds nothing where the database isn't a file.
#[derive(Debug)]
pub struct Lock(#[allow(dead_code, reason = "it is there to be held")] Option<File>);

impl Lock {
    pub fn take(url: &str) -> Result<Lock, StoreError> {
        let failed = |reason: String| refused(url, reason);
        let Some(path) = path(url) else { return Ok(Lock(None)) };
        let file = File::options().create(true).truncate(false).write(true).open(format!("{path}.lock"));
        // Where no file can be made the database can't be opened either, and says so in better words.
        let Ok(file) = file else { return Ok(Lock(None)) };
        match file.try_lock() {
            Ok(()) => Ok(Lock(Some(file))),
            Err(TryLockError::WouldBlock) => {
                Err(failed("another process works on it (several at a time need PostgreSQL)".into()))
            }
            Err(TryLockError::Error(e)) => Err(failed(format!("it can't be locked: {e}"))),
        }
    }
}

/// Where the file is, if the database is one.
pub(super) fn path(url: &str) -> Option<&str> {
    if Kind::of(url) != Some(Kind::File) {
        return None;
    }
    let path = url.strip_prefix("sqlite:")?;
    let path = path.strip_prefix("//").unwrap_or(path);
    path.split('?').next()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_for_one_at_a_time() {
        let dir = tempfile::tempdir().unwrap();
        let url = format!("sqlite://{}/a.db?mode=rwc", dir.path().display());
        let held = Lock::take(&url).unwrap();
        let refused = Lock::take(&url).unwrap_err().to_string();
        assert!(
            refused.ends_with("another process works on it (several at a time need PostgreSQL)"),
            "{refused}"
        );
        drop(held);
        Lock::take(&url).unwrap();
        Lock::take("sqlite::memory:").unwrap();
        Lock::take("postgres://a@b/c").unwrap();
    }

    #[test]
    fn where_the_file_is() {
        assert_eq!(path("sqlite:a.db"), Some("a.db"));
        assert_eq!(path("sqlite:///var/a.db?mode=rw"), Some("/var/a.db"));
        assert_eq!((path("sqlite::memory:"), path("postgres://a@b/c")), (None, None));
    }
}
