-- Subscriptions and what they post.

CREATE TABLE subscriptions (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    url TEXT NOT NULL,
    property_id UUID,
    system_id UUID,
    lead_days BIGINT,
    -- What its entries tell of, a bit each; 0 for everything. Absent for a digest.
    kinds BIGINT,
    -- Of a digest: a crontab expression, the zone it is in, whether that was given, how it is written.
    schedule TEXT,
    time_zone TEXT,
    zone_given BIGINT,
    form TEXT,
    -- Signing secrets, readable: both ends need them.
    secret BYTEA NOT NULL,
    -- Replaced ones that sign for a while yet, with until when, as JSON.
    secrets_before TEXT NOT NULL,
    paused_at BIGINT,
    paused_because TEXT,
    -- The number of the last entry of the feed that was looked at.
    position BIGINT NOT NULL,
    -- When the next digest is made.
    next_at BIGINT,
    -- Failures in a row, and until when its receiver rests.
    failures BIGINT NOT NULL DEFAULT 0,
    rest_until BIGINT NOT NULL DEFAULT 0,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    UNIQUE (account_id, id)
);
CREATE INDEX subscriptions_by_age ON subscriptions (account_id, created_at, id);
CREATE INDEX subscriptions_by_instant ON subscriptions (next_at) WHERE next_at IS NOT NULL;

CREATE TABLE deliveries (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    subscription_id UUID NOT NULL REFERENCES subscriptions (id) ON DELETE CASCADE,
    content TEXT NOT NULL,
    -- Of an entry: its number and its task.
    number BIGINT,
    task_id UUID,
    state TEXT NOT NULL,
    attempts BIGINT NOT NULL,
    -- The next attempt, while it waits.
    next_at BIGINT,
    held_until BIGINT NOT NULL DEFAULT 0,
    -- When the first attempt was due.
    due_at BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    ended_at BIGINT,
    -- What is posted.
    media_type TEXT NOT NULL,
    body TEXT NOT NULL
);
CREATE INDEX deliveries_by_age ON deliveries (subscription_id, created_at, id);
CREATE INDEX deliveries_by_instant ON deliveries (subscription_id, next_at) WHERE next_at IS NOT NULL;
CREATE INDEX deliveries_by_state ON deliveries (subscription_id, state);
CREATE INDEX deliveries_by_task ON deliveries (subscription_id, task_id) WHERE next_at IS NOT NULL;
CREATE INDEX deliveries_by_end ON deliveries (ended_at) WHERE ended_at IS NOT NULL;

CREATE TABLE delivery_attempts (
    delivery_id UUID NOT NULL REFERENCES deliveries (id) ON DELETE CASCADE,
    number BIGINT NOT NULL,
    at BIGINT NOT NULL,
    milliseconds BIGINT NOT NULL,
    status BIGINT,
    error TEXT,
    PRIMARY KEY (delivery_id, number)
);
