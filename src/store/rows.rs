//! What goes into the store and comes out of it. Facts, settings and bodies are text here: the store reads none of them.
//! Times are epoch milliseconds.

use sqlx::FromRow;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HouseholdId(pub i64);

/// An update as the platform sent it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InboxRow {
    pub update: i64,
    pub chat: Option<i64>,
    pub body: String,
    /// When it was stored.
    pub received_ms: i64,
    /// How often handling it has failed so far.
    pub tries: i64,
}

impl InboxRow {
    pub fn new(update: i64, chat: Option<i64>, body: String) -> InboxRow {
        InboxRow { update, chat, body, received_ms: 0, tries: 0 }
    }
}

/// All that is known of a household.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Loaded {
    pub settings: String,
    pub wake: Option<i64>,
    /// The number of the last entry, 0 if there is none: what `Change::expected_seq` must be.
    pub seq: i64,
    pub entries: Vec<LedgerRow>,
}

#[derive(Debug, Clone, PartialEq, Eq, FromRow)]
pub struct LedgerRow {
    pub seq: i64,
    #[sqlx(flatten)]
    pub entry: NewLedgerRow,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, FromRow)]
pub struct NewLedgerRow {
    #[sqlx(rename = "happened")]
    pub happened_ms: i64,
    #[sqlx(rename = "recorded")]
    pub recorded_ms: i64,
    #[sqlx(rename = "author")]
    pub by: Option<String>,
    /// The message it was said in, by chat and the platform's id.
    pub chat: Option<i64>,
    pub message: Option<i64>,
    /// The version of the form in which `fact` is written.
    pub version: i64,
    pub fact: String,
}

/// What one message, or one tick, does: all of it is written, or nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Commit {
    /// None for what concerns no household, such as the answer in a chat that isn't taken on.
    pub change: Option<Change>,
    pub outbox: Vec<NewOutboxRow>,
    /// The update that is thereby handled.
    pub done: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub household: HouseholdId,
    /// The last sequence number the writer has seen; the entries get the numbers after it.
    pub expected_seq: i64,
    pub entries: Vec<NewLedgerRow>,
    /// When to wake next for this household, if at all.
    pub wake: Option<i64>,
    /// The same, only for what can't wait.
    pub urgent: Option<i64>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct NewOutboxRow {
    /// Given by the store, or taken before from `Store::reserve_outbox_ids`.
    pub id: Option<i64>,
    pub chat: i64,
    /// Lower goes first.
    pub class: i64,
    /// Of rows with the same key in the same chat only the first is ever sent.
    pub dedupe: Option<String>,
    /// The row whose message this one changes.
    pub edits: Option<i64>,
    pub body: String,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Committed {
    /// For each row of the outbox its id; None if its dedupe key was there already.
    pub outbox: Vec<Option<i64>>,
    /// The number of the household's last entry now.
    pub seq: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq, FromRow)]
pub struct OutboxRow {
    pub id: i64,
    pub chat: i64,
    pub class: i64,
    pub dedupe: Option<String>,
    pub body: String,
    /// The platform's id of the message that this one changes, if that was delivered.
    pub edits: Option<i64>,
    /// The platform's id of this message, once it was delivered.
    pub message: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq, FromRow)]
pub struct PersonRow {
    /// The platform's id of the person.
    pub member: i64,
    pub name: String,
    pub private_chat: Option<i64>,
}

/// Text as both databases take it: PostgreSQL refuses a NUL.
pub(super) fn clean(text: &str) -> String {
    text.replace('\0', "")
}
