-- The tables on PostgreSQL. The SQLite folder has the same tables and columns.
-- Names sort byte by byte (COLLATE "C"), whatever the locale of the database, as they do on SQLite.
-- Instants are microseconds since 1970 and civil dates are days since 1970, both as integers: they compare and sort the
-- same on every database, and what is read equals what was written.
-- The keys over (account_id, id) let what belongs to an account refer to that account's rows alone.

-- Has its one row as soon as an account was ever made, so that of several rivals one makes the first.
CREATE TABLE bootstrap (
    one BIGINT NOT NULL PRIMARY KEY CHECK (one = 1)
);

CREATE TABLE accounts (
    id UUID NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    created_at BIGINT NOT NULL
);

CREATE TABLE keys (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL REFERENCES accounts (id),
    name TEXT NOT NULL,
    -- Words with a space between them.
    scopes TEXT NOT NULL,
    hash BYTEA NOT NULL UNIQUE,
    hint TEXT NOT NULL,
    created_at BIGINT NOT NULL,
    expires_at BIGINT,
    revoked_at BIGINT
);
CREATE INDEX keys_by_age ON keys (account_id, created_at, id);

-- What an account has set for a duty; the default counts where a figure is absent. Rows stay when all of it goes back
-- to the defaults, so that a version never comes twice.
CREATE TABLE duty_settings (
    account_id UUID NOT NULL REFERENCES accounts (id),
    duty TEXT NOT NULL,
    ceiling_months BIGINT,
    tolerance DOUBLE PRECISION,
    version BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    PRIMARY KEY (account_id, duty)
);

CREATE TABLE properties (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL REFERENCES accounts (id),
    name TEXT COLLATE "C" NOT NULL,
    latitude_deg DOUBLE PRECISION NOT NULL,
    longitude_deg DOUBLE PRECISION NOT NULL,
    elevation_m DOUBLE PRECISION NOT NULL,
    time_zone TEXT NOT NULL,
    -- JSON, both.
    temperatures TEXT,
    evaporation_mm_per_day TEXT,
    notes TEXT,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    UNIQUE (account_id, id)
);
CREATE INDEX properties_by_name ON properties (account_id, name, id);

CREATE TABLE gauges (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL REFERENCES accounts (id),
    name TEXT COLLATE "C" NOT NULL,
    latitude_deg DOUBLE PRECISION NOT NULL,
    longitude_deg DOUBLE PRECISION NOT NULL,
    -- JSON.
    normals TEXT,
    first_day BIGINT,
    last_day BIGINT,
    days BIGINT NOT NULL,
    -- Counts up when a reading is changed, removed, or added before the last one: what was read before is no longer so.
    rewrites BIGINT NOT NULL DEFAULT 0,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    UNIQUE (account_id, id)
);
CREATE INDEX gauges_by_name ON gauges (account_id, name, id);

CREATE TABLE rain (
    gauge_id UUID NOT NULL REFERENCES gauges (id) ON DELETE CASCADE,
    day BIGINT NOT NULL,
    mm DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (gauge_id, day)
);

CREATE TABLE systems (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    property_id UUID NOT NULL,
    gauge_id UUID NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    -- JSON.
    roof TEXT NOT NULL,
    commissioned_on BIGINT NOT NULL,
    demand_l_per_day DOUBLE PRECISION NOT NULL,
    retired_on BIGINT,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    UNIQUE (account_id, id),
    FOREIGN KEY (account_id, property_id) REFERENCES properties (account_id, id),
    FOREIGN KEY (account_id, gauge_id) REFERENCES gauges (account_id, id)
);
CREATE INDEX systems_by_name ON systems (account_id, name, id);
CREATE INDEX systems_by_property ON systems (account_id, property_id, name, id);
CREATE INDEX systems_by_gauge ON systems (account_id, gauge_id, name, id);

-- Where the refreshing of each system stands. Set apart from the systems and kept by gauge: a gauge's systems change
-- here together, every day, and lie side by side.
CREATE TABLE refreshes (
    gauge_id UUID NOT NULL,
    system_id UUID NOT NULL UNIQUE,
    account_id UUID NOT NULL,
    -- Counts up with everything that the forecast is made from.
    inputs_version BIGINT NOT NULL,
    -- The inputs of the last refresh; 0 before the first.
    refreshed_version BIGINT NOT NULL,
    -- When the local day of the last refresh ends.
    next_at BIGINT NOT NULL,
    -- 0 as soon as the inputs change, next_at otherwise: the system is stale from then on.
    refresh_at BIGINT NOT NULL,
    -- Until when a claim keeps others off, and the inputs it was made on.
    held_until BIGINT NOT NULL,
    held_version BIGINT NOT NULL,
    PRIMARY KEY (gauge_id, system_id),
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
-- Changed systems share the instant 0 and those of one zone share their midnight, so this is also the order by gauge.
CREATE INDEX refreshes_by_instant ON refreshes (refresh_at, gauge_id, system_id);

CREATE TABLE components (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    system_id UUID NOT NULL,
    name TEXT NOT NULL,
    -- JSON.
    part TEXT NOT NULL,
    installed_on BIGINT NOT NULL,
    last_served_on BIGINT,
    removed_on BIGINT,
    replaces UUID REFERENCES components (id),
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
CREATE INDEX components_by_system ON components (account_id, system_id, created_at, id);
CREATE INDEX components_by_replaced ON components (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE visits (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    system_id UUID NOT NULL,
    visited_on BIGINT NOT NULL,
    visited_by TEXT,
    -- JSON.
    items TEXT NOT NULL,
    note TEXT,
    withdrawn_at BIGINT,
    withdrawn_because TEXT,
    version BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    updated_at BIGINT NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
CREATE INDEX visits_by_day ON visits (account_id, visited_on, id);
CREATE INDEX visits_by_system ON visits (account_id, system_id, visited_on, id);

CREATE TABLE visit_revisions (
    visit_id UUID NOT NULL REFERENCES visits (id),
    version BIGINT NOT NULL,
    replaced_at BIGINT NOT NULL,
    -- The visit as it stood, as JSON.
    visit TEXT NOT NULL,
    PRIMARY KEY (visit_id, version)
);

-- What falls due. A row is written when it changes; what changes every day is in the forecasts.
CREATE TABLE tasks (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    system_id UUID NOT NULL,
    component_id UUID NOT NULL,
    kind TEXT NOT NULL,
    duty TEXT NOT NULL,
    state TEXT NOT NULL,
    -- The due date; 31 December 9999 where there is none.
    sort_on BIGINT NOT NULL,
    -- Its line in the packed forecasts of its system.
    line BIGINT NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
CREATE INDEX tasks_by_date ON tasks (account_id, sort_on, id);
CREATE INDEX tasks_by_system ON tasks (system_id);

-- What the last refresh found of a system.
CREATE TABLE forecasts (
    system_id UUID NOT NULL PRIMARY KEY REFERENCES systems (id),
    -- The local day it was made for.
    as_of BIGINT NOT NULL,
    refreshed_at BIGINT NOT NULL,
    -- Status and forecast of each duty, packed.
    packed BYTEA NOT NULL
);

CREATE TABLE idempotency (
    account_id UUID NOT NULL REFERENCES accounts (id),
    key TEXT NOT NULL,
    fingerprint BYTEA NOT NULL,
    seed UUID NOT NULL,
    claimed_at BIGINT NOT NULL,
    -- The answer; absent while the request runs.
    status BIGINT,
    etag TEXT,
    location TEXT,
    body TEXT,
    PRIMARY KEY (account_id, key)
);
CREATE INDEX idempotency_by_age ON idempotency (claimed_at);
