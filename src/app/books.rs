//! Whether a whole database can be gone on with: every household's ledger can be read, folds, and adds up.

use super::{App, AppError, House};

/// What was found in order.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Books {
    pub households: usize,
    pub entries: i64,
}

impl App {
    /// Folds every household anew from its first entry.
    pub async fn check_books(&self) -> Result<Books, AppError> {
        let mut books = Books::default();
        for id in self.store.households().await? {
            let house = House::load(&self.store, id).await?;
            if !house.ledger.stock().adds_up() {
                return Err(AppError::Unbalanced(id.0));
            }
            books.households += 1;
            books.entries += house.ledger.next_seq() - 1;
        }
        Ok(books)
    }
}
