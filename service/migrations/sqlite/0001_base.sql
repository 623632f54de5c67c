-- The tables on SQLite. The PostgreSQL folder has the same tables and columns.
-- Instants are microseconds since 1970 and civil dates are days since 1970, both as integers: they compare and sort the
-- same on every database, and what is read equals what was written.
-- The keys over (account_id, id) let what belongs to an account refer to that account's rows alone.

-- Has its one row as soon as an account was ever made, so that of several rivals one makes the first.
CREATE TABLE bootstrap (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1)
) STRICT;

CREATE TABLE accounts (
    id BLOB NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

CREATE TABLE keys (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    -- Words with a space between them.
    scopes TEXT NOT NULL,
    hash BLOB NOT NULL UNIQUE,
    hint TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    expires_at INTEGER,
    revoked_at INTEGER
) STRICT;
CREATE INDEX keys_by_age ON keys (account_id, created_at, id);

-- What an account has set for a duty; the default counts where a figure is absent. Rows stay when all of it goes back
-- to the defaults, so that a version never comes twice.
CREATE TABLE duty_settings (
    account_id BLOB NOT NULL REFERENCES accounts (id),
    duty TEXT NOT NULL,
    ceiling_months INTEGER,
    tolerance REAL,
    version INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    PRIMARY KEY (account_id, duty)
) STRICT;

CREATE TABLE properties (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    latitude_deg REAL NOT NULL,
    longitude_deg REAL NOT NULL,
    elevation_m REAL NOT NULL,
    time_zone TEXT NOT NULL,
    -- JSON, both.
    temperatures TEXT,
    evaporation_mm_per_day TEXT,
    notes TEXT,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    UNIQUE (account_id, id)
) STRICT;
CREATE INDEX properties_by_name ON properties (account_id, name, id);

CREATE TABLE gauges (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    latitude_deg REAL NOT NULL,
    longitude_deg REAL NOT NULL,
    -- JSON.
    normals TEXT,
    first_day INTEGER,
    last_day INTEGER,
    days INTEGER NOT NULL,
    -- Counts up when a reading is changed, removed, or added before the last one: what was read before is no longer so.
    rewrites INTEGER NOT NULL DEFAULT 0,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    UNIQUE (account_id, id)
) STRICT;
CREATE INDEX gauges_by_name ON gauges (account_id, name, id);

CREATE TABLE rain (
    gauge_id BLOB NOT NULL REFERENCES gauges (id) ON DELETE CASCADE,
    day INTEGER NOT NULL,
    mm REAL NOT NULL,
    PRIMARY KEY (gauge_id, day)
) STRICT, WITHOUT ROWID;

CREATE TABLE systems (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    property_id BLOB NOT NULL,
    gauge_id BLOB NOT NULL,
    name TEXT NOT NULL,
    -- JSON.
    roof TEXT NOT NULL,
    commissioned_on INTEGER NOT NULL,
    demand_l_per_day REAL NOT NULL,
    retired_on INTEGER,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    UNIQUE (account_id, id),
    FOREIGN KEY (account_id, property_id) REFERENCES properties (account_id, id),
    FOREIGN KEY (account_id, gauge_id) REFERENCES gauges (account_id, id)
) STRICT;
CREATE INDEX systems_by_name ON systems (account_id, name, id);
CREATE INDEX systems_by_property ON systems (account_id, property_id, name, id);
CREATE INDEX systems_by_gauge ON systems (account_id, gauge_id, name, id);

-- Where the refreshing of each system stands. Set apart from the systems and kept by gauge: a gauge's systems change
-- here together, every day, and lie side by side.
CREATE TABLE refreshes (
    gauge_id BLOB NOT NULL,
    system_id BLOB NOT NULL UNIQUE,
    account_id BLOB NOT NULL,
    -- Counts up with everything that the forecast is made from.
    inputs_version INTEGER NOT NULL,
    -- The inputs of the last refresh; 0 before the first.
    refreshed_version INTEGER NOT NULL,
    -- When the local day of the last refresh ends.
    next_at INTEGER NOT NULL,
    -- 0 as soon as the inputs change, next_at otherwise: the system is stale from then on.
    refresh_at INTEGER NOT NULL,
    -- Until when a claim keeps others off, and the inputs it was made on.
    held_until INTEGER NOT NULL,
    held_version INTEGER NOT NULL,
    PRIMARY KEY (gauge_id, system_id),
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
) STRICT, WITHOUT ROWID;
-- Changed systems share the instant 0 and those of one zone share their midnight, so this is also the order by gauge.
CREATE INDEX refreshes_by_instant ON refreshes (refresh_at, gauge_id, system_id);

CREATE TABLE components (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    system_id BLOB NOT NULL,
    name TEXT NOT NULL,
    -- JSON.
    part TEXT NOT NULL,
    installed_on INTEGER NOT NULL,
    last_served_on INTEGER,
    removed_on INTEGER,
    replaces BLOB REFERENCES components (id),
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
) STRICT;
CREATE INDEX components_by_system ON components (account_id, system_id, created_at, id);
CREATE INDEX components_by_replaced ON components (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE visits (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    system_id BLOB NOT NULL,
    visited_on INTEGER NOT NULL,
    visited_by TEXT,
    -- JSON.
    items TEXT NOT NULL,
    note TEXT,
    withdrawn_at INTEGER,
    withdrawn_because TEXT,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
) STRICT;
CREATE INDEX visits_by_day ON visits (account_id, visited_on, id);
CREATE INDEX visits_by_system ON visits (account_id, system_id, visited_on, id);

CREATE TABLE visit_revisions (
    visit_id BLOB NOT NULL REFERENCES visits (id),
    version INTEGER NOT NULL,
    replaced_at INTEGER NOT NULL,
    -- The visit as it stood, as JSON.
    visit TEXT NOT NULL,
    PRIMARY KEY (visit_id, version)
) STRICT;

-- What falls due. A row is written when it changes; what changes every day is in the forecasts.
CREATE TABLE tasks (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL,
    system_id BLOB NOT NULL,
    component_id BLOB NOT NULL,
    kind TEXT NOT NULL,
    duty TEXT NOT NULL,
    state TEXT NOT NULL,
    -- The due date; 31 December 9999 where there is none.
    sort_on INTEGER NOT NULL,
    -- Its line in the packed forecasts of its system.
    line INTEGER NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
) STRICT;
CREATE INDEX tasks_by_date ON tasks (account_id, sort_on, id);
CREATE INDEX tasks_by_system ON tasks (system_id);

-- What the last refresh found of a system.
CREATE TABLE forecasts (
    system_id BLOB NOT NULL PRIMARY KEY REFERENCES systems (id),
    -- The local day it was made for.
    as_of INTEGER NOT NULL,
    refreshed_at INTEGER NOT NULL,
    -- Status and forecast of each duty, packed.
    packed BLOB NOT NULL
) STRICT;

CREATE TABLE idempotency (
    account_id BLOB NOT NULL REFERENCES accounts (id),
    key TEXT NOT NULL,
    fingerprint BLOB NOT NULL,
    seed BLOB NOT NULL,
    claimed_at INTEGER NOT NULL,
    -- The answer; absent while the request runs.
    status INTEGER,
    etag TEXT,
    location TEXT,
    body TEXT,
    PRIMARY KEY (account_id, key)
) STRICT;
CREATE INDEX idempotency_by_age ON idempotency (claimed_at);
