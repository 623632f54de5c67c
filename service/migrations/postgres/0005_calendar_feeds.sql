-- Calendar feeds. The address of one ends in a secret, of which the hash is kept.
CREATE TABLE calendars (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL REFERENCES accounts (id),
    -- The one property it is of; all of the account's where there is none. It goes with its property.
    property_id UUID,
    name TEXT NOT NULL,
    horizon_days BIGINT NOT NULL,
    hash BYTEA NOT NULL UNIQUE,
    hint TEXT NOT NULL,
    created_at BIGINT NOT NULL,
    -- To the hour.
    last_read_at BIGINT,
    revoked_at BIGINT,
    FOREIGN KEY (account_id, property_id) REFERENCES properties (account_id, id) ON DELETE CASCADE
);
CREATE INDEX calendars_by_age ON calendars (account_id, created_at, id);
CREATE INDEX calendars_by_property ON calendars (account_id, property_id) WHERE property_id IS NOT NULL;
