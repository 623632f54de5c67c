//! What can go wrong in a use case, without status codes: the HTTP layer translates.

/// One refused field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldError {
    /// Path of the field, such as `components[2].part.capacity_l`.
    pub field: String,
    /// What was wrong: the value and what is allowed.
    pub message: String,
}

/// What is wrong with a request: the first faults, and the number of all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// The first of them, at most [`Self::MOST_LISTED`].
    pub listed: Vec<FieldError>,
    /// How many there are in all.
    pub count: usize,
}

impl Faults {
    /// The most that are listed. A caller who reads a thousand knows what is wrong.
    pub const MOST_LISTED: usize = 1000;

    /// Counts a fault, and lists it while there is room.
    pub fn push(&mut self, fault: FieldError) {
        self.count += 1;
        if self.listed.len() < Self::MOST_LISTED {
            self.listed.push(fault);
        }
    }
}

impl From<Vec<FieldError>> for Faults {
    fn from(mut listed: Vec<FieldError>) -> Self {
        let count = listed.len();
        listed.truncate(Self::MOST_LISTED);
        Self { listed, count }
    }
}

/// Why a use case did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The account has no such thing.
    #[error("there is no {what} {id} in this account")]
    NotFound {
        /// `property`, `gauge`, `system`, `component`, `task`, `visit` or `round`.
        what: &'static str,
        /// The id that was asked for.
        id: String,
    },
    /// Some values are not allowed.
    #[error("values that are not allowed: {}", .0.count)]
    Invalid(Faults),
    /// All rain readings were refused because one was, as the caller asked for all or nothing.
    #[error("readings that are not allowed: {}; none was stored", .0.count)]
    RainRefused(Faults),
    /// The thing is still in use.
    #[error("{what} is still used by {by}")]
    InUse {
        /// What was to be removed.
        what: &'static str,
        /// What still uses it, and what to do about that.
        by: String,
    },
    /// The thing is in a state that does not allow this.
    #[error("{0}")]
    Conflict(String),
    /// The caller's version is not the current one.
    #[error("the current version is {current}")]
    VersionMismatch {
        /// The current version.
        current: i64,
    },
    /// The cursor was not made for this list.
    #[error("the cursor was not made for this list")]
    BadCursor,
    /// The key was revoked or has expired since the request began.
    #[error("the key was revoked or has expired")]
    KeyEnded,
    /// Entries after the cursor are no longer kept.
    #[error("entries after the cursor are no longer kept")]
    CursorExpired {
        /// How long entries are kept, days.
        kept_days: i64,
    },
    /// A backup was restored since the cursor was given, so the feed went on in another way.
    #[error("a backup was restored since the cursor was given")]
    FeedRestored,
    /// The engine refused a value that the checks let through. This is a defect, with a variant of its own so that
    /// the log names it.
    #[error("the engine refused its input")]
    Engine(#[from] eavesward_engine::EngineError),
    /// A computation panicked. This is a defect; the text is for the log.
    #[error("a computation panicked: {0}")]
    Panicked(String),
    /// The operating system gave no randomness.
    #[error("the operating system gave no randomness")]
    Randomness(#[from] getrandom::Error),
    /// The storage failed.
    #[error("storage failed")]
    Store(#[from] StoreError),
}

/// The result of a use case.
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// One refused field.
    pub fn field(field: impl Into<String>, message: impl Into<String>) -> Self {
        Self::Invalid(vec![FieldError { field: field.into(), message: message.into() }].into())
    }
}

/// A failure of the storage. The cause is for the log, not for the caller.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// It cannot be reached or is overloaded. Trying again may help.
    #[error("the storage cannot be reached")]
    Unavailable(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// It did not answer in time. What was asked may have been done.
    #[error("the storage does not answer")]
    NoAnswer(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// Its disk has no space left. The transaction left no trace.
    #[error("the storage has no space left")]
    Full(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// Its disk failed to read or write.
    #[error("the storage's disk fails")]
    Disk(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// A row holds something that this version cannot read.
    #[error("row {row} of {table} has an unreadable {column}")]
    BadRow {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// The row's id.
        row: String,
    },
    /// A new row refers to something that does not exist, or no longer exists.
    #[error("a row refers to something that is gone")]
    Dangling(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// The account would have more of something than it may. Nothing was written.
    #[error("the account has as many {of} as it may: {most}")]
    QuotaReached {
        /// The word for what is counted.
        of: &'static str,
        /// The most that there may be.
        most: u64,
    },
    /// A secret was to be stored, and there is no key to encrypt it. Nothing was written.
    #[error("there is no key to encrypt secrets")]
    NoSecretKey,
    /// Anything else.
    #[error("the storage failed")]
    Failed(#[source] Box<dyn std::error::Error + Send + Sync>),
}

/// The result of a storage call.
pub type Stored<T> = std::result::Result<T, StoreError>;
