-- Who changed what, and when each key was last used.

-- To the minute. Written in batches, after the requests.
ALTER TABLE keys ADD COLUMN last_used_at INTEGER;
CREATE INDEX keys_by_use ON keys (last_used_at) WHERE last_used_at IS NOT NULL;

-- One row for each change of an account, written in the transaction of the change. The service lists it newest first.
CREATE TABLE audit (
    id BLOB NOT NULL,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    at INTEGER NOT NULL,
    -- What the clock showed, if it was ahead and `at` was corrected.
    clock_at INTEGER,
    -- The kind of whoever did it, and the id if it has one.
    actor TEXT NOT NULL,
    actor_id BLOB,
    operation TEXT NOT NULL,
    -- The kind and the id of what it was done to.
    thing TEXT,
    thing_id TEXT,
    request_id BLOB,
    -- Also the order of the list: an index fewer for each change.
    PRIMARY KEY (account_id, at, id)
) STRICT;
CREATE INDEX audit_by_actor ON audit (account_id, actor_id, at, id) WHERE actor_id IS NOT NULL;
CREATE INDEX audit_by_thing ON audit (account_id, thing_id, at, id) WHERE thing_id IS NOT NULL;
CREATE INDEX audit_by_age ON audit (at);

-- Rows from before this instant may be removed. Tidying up sets it before it removes them.
CREATE TABLE audit_removal (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    until INTEGER NOT NULL
) STRICT;
INSERT INTO audit_removal (one, until) VALUES (1, 0);

-- Nothing changes a row, except that the instant of a clock that was ahead is set back once it is noticed.
CREATE TRIGGER audit_is_not_changed BEFORE UPDATE ON audit
WHEN NOT (
    NEW.at < OLD.at AND NEW.clock_at IS COALESCE(OLD.clock_at, OLD.at)
    AND NEW.id IS OLD.id AND NEW.account_id IS OLD.account_id
    AND NEW.actor IS OLD.actor AND NEW.actor_id IS OLD.actor_id AND NEW.operation IS OLD.operation
    AND NEW.thing IS OLD.thing AND NEW.thing_id IS OLD.thing_id AND NEW.request_id IS OLD.request_id
)
BEGIN
    SELECT RAISE(ABORT, 'rows of audit are never changed');
END;

CREATE TRIGGER audit_is_not_removed BEFORE DELETE ON audit
WHEN OLD.at >= (SELECT until FROM audit_removal)
BEGIN
    SELECT RAISE(ABORT, 'rows of audit are kept until audit_removal.until');
END;
