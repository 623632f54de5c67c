-- Subscriptions and what they post.

CREATE TABLE subscriptions (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    url TEXT NOT NULL,
    property_id BLOB,
    system_id BLOB,
    lead_days INTEGER,
    -- What its entries tell of, a bit each; 0 for everything. Absent for a digest.
    kinds INTEGER,
    -- Of a digest: a crontab expression, the zone it is in, whether that was given, how it is written.
    schedule TEXT,
    time_zone TEXT,
    zone_given INTEGER,
    form TEXT,
    -- Signing secrets, readable: both ends need them.
    secret BLOB NOT NULL,
    -- Replaced ones that sign for a while yet, with until when, as JSON.
    secrets_before TEXT NOT NULL,
    paused_at INTEGER,
    paused_because TEXT,
    -- The number of the last entry of the feed that was looked at.
    position INTEGER NOT NULL,
    -- When the next digest is made.
    next_at INTEGER,
    -- Failures in a row, and until when its receiver rests.
    failures INTEGER NOT NULL DEFAULT 0,
    rest_until INTEGER NOT NULL DEFAULT 0,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    UNIQUE (account_id, id)
) STRICT;
CREATE INDEX subscriptions_by_age ON subscriptions (account_id, created_at, id);
CREATE INDEX subscriptions_by_instant ON subscriptions (next_at) WHERE next_at IS NOT NULL;

CREATE TABLE deliveries (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    subscription_id BLOB NOT NULL REFERENCES subscriptions (id) ON DELETE CASCADE,
    content TEXT NOT NULL,
    -- Of an entry: its number and its task.
    number INTEGER,
    task_id BLOB,
    state TEXT NOT NULL,
    attempts INTEGER NOT NULL,
    -- The next attempt, while it waits.
    next_at INTEGER,
    held_until INTEGER NOT NULL DEFAULT 0,
    -- When the first attempt was due.
    due_at INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    ended_at INTEGER,
    -- What is posted.
    media_type TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX deliveries_by_age ON deliveries (subscription_id, created_at, id);
CREATE INDEX deliveries_by_instant ON deliveries (subscription_id, next_at) WHERE next_at IS NOT NULL;
CREATE INDEX deliveries_by_state ON deliveries (subscription_id, state);
CREATE INDEX deliveries_by_task ON deliveries (subscription_id, task_id) WHERE next_at IS NOT NULL;
CREATE INDEX deliveries_by_end ON deliveries (ended_at) WHERE ended_at IS NOT NULL;

CREATE TABLE delivery_attempts (
    delivery_id BLOB NOT NULL REFERENCES deliveries (id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    at INTEGER NOT NULL,
    milliseconds INTEGER NOT NULL,
    status INTEGER,
    error TEXT,
    PRIMARY KEY (delivery_id, number)
) STRICT;
