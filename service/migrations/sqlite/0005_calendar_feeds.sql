-- Calendar feeds. The address of one ends in a secret, of which the hash is kept.
CREATE TABLE calendars (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    -- The one property it is of; all of the account's where there is none. It goes with its property.
    property_id BLOB,
    name TEXT NOT NULL,
    horizon_days INTEGER NOT NULL,
    hash BLOB NOT NULL UNIQUE,
    hint TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    -- To the hour.
    last_read_at INTEGER,
    revoked_at INTEGER,
    FOREIGN KEY (account_id, property_id) REFERENCES properties (account_id, id) ON DELETE CASCADE
) STRICT;
CREATE INDEX calendars_by_age ON calendars (account_id, created_at, id);
CREATE INDEX calendars_by_property ON calendars (account_id, property_id) WHERE property_id IS NOT NULL;
