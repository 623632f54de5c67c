-- Who changed what, and when each key was last used.

-- To the minute. Written in batches, after the requests.
ALTER TABLE keys ADD COLUMN last_used_at BIGINT;
CREATE INDEX keys_by_use ON keys (last_used_at) WHERE last_used_at IS NOT NULL;

-- One row for each change of an account, written in the transaction of the change. The service lists it newest first.
CREATE TABLE audit (
    id UUID NOT NULL,
    account_id UUID NOT NULL REFERENCES accounts (id),
    at BIGINT NOT NULL,
    -- What the clock showed, if it was ahead and `at` was corrected.
    clock_at BIGINT,
    -- The kind of whoever did it, and the id if it has one.
    actor TEXT NOT NULL,
    actor_id UUID,
    operation TEXT NOT NULL,
    -- The kind and the id of what it was done to.
    thing TEXT,
    thing_id TEXT,
    request_id UUID,
    -- Also the order of the list: an index fewer for each change.
    PRIMARY KEY (account_id, at, id)
);
CREATE INDEX audit_by_actor ON audit (account_id, actor_id, at, id) WHERE actor_id IS NOT NULL;
CREATE INDEX audit_by_thing ON audit (account_id, thing_id, at, id) WHERE thing_id IS NOT NULL;
CREATE INDEX audit_by_age ON audit (at);

-- Rows from before this instant may be removed. Tidying up sets it before it removes them.
CREATE TABLE audit_removal (
    one BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    until BIGINT NOT NULL
);
INSERT INTO audit_removal (one, until) VALUES (1, 0);

-- Nothing changes a row, except that the instant of a clock that was ahead is set back once it is noticed.
CREATE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'rows of audit are never changed, and kept until audit_removal.until';
END
$$;

CREATE TRIGGER audit_is_not_changed BEFORE UPDATE ON audit FOR EACH ROW
WHEN (NOT (
    NEW.at < OLD.at AND NEW.clock_at IS NOT DISTINCT FROM COALESCE(OLD.clock_at, OLD.at)
    AND NEW.id = OLD.id AND NEW.account_id = OLD.account_id
    AND NEW.actor = OLD.actor AND NEW.actor_id IS NOT DISTINCT FROM OLD.actor_id
    AND NEW.operation = OLD.operation
    AND NEW.thing IS NOT DISTINCT FROM OLD.thing AND NEW.thing_id IS NOT DISTINCT FROM OLD.thing_id
    AND NEW.request_id IS NOT DISTINCT FROM OLD.request_id
))
EXECUTE FUNCTION refuse_audit_change();

CREATE FUNCTION keep_audit() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.at >= (SELECT until FROM audit_removal) THEN
        RAISE EXCEPTION 'rows of audit are kept until audit_removal.until';
    END IF;
    RETURN OLD;
END
$$;

CREATE TRIGGER audit_is_not_removed BEFORE DELETE ON audit FOR EACH ROW EXECUTE FUNCTION keep_audit();

CREATE TRIGGER audit_is_not_emptied BEFORE TRUNCATE ON audit FOR EACH STATEMENT
EXECUTE FUNCTION refuse_audit_change();
