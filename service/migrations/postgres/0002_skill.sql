-- What visits answered of what had been predicted.

-- Systems whose visits changed since their answers were worked out.
CREATE TABLE unscored (
    system_id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    -- Counts up with every change.
    changes BIGINT NOT NULL,
    -- Until when a claim keeps others off.
    held_until BIGINT NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
CREATE INDEX unscored_by_instant ON unscored (held_until, system_id);

-- What had been predicted for the day of a visit, and what it found.
CREATE TABLE answered (
    id UUID NOT NULL PRIMARY KEY,
    account_id UUID NOT NULL,
    system_id UUID NOT NULL,
    duty TEXT NOT NULL,
    visited_on BIGINT NOT NULL,
    -- A fingerprint of the looks it rests on.
    history BYTEA NOT NULL,
    -- How much of the finding lies below, inside and above the predicted 10 to 90 %, and the middle of its position.
    below DOUBLE PRECISION NOT NULL,
    inside DOUBLE PRECISION NOT NULL,
    above DOUBLE PRECISION NOT NULL,
    middle DOUBLE PRECISION NOT NULL,
    -- Logarithm of found over expected; absent where the finding is no number.
    log_ratio DOUBLE PRECISION,
    kept_at BIGINT NOT NULL,
    -- The rest of it, as JSON.
    answer TEXT NOT NULL,
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
);
CREATE INDEX answered_by_day ON answered (account_id, visited_on, id);
-- Holds what is added up, so that the rows themselves are not read for it.
CREATE INDEX answered_by_duty ON answered (account_id, duty, visited_on, id, below, inside, above, middle, log_ratio);
CREATE INDEX answered_by_system ON answered (system_id, visited_on, id);

-- Visits of before are worked out, too.
INSERT INTO unscored (system_id, account_id, changes, held_until)
SELECT DISTINCT system_id, account_id, 1, 0 FROM visits;

-- Forecasts say more than they did: those that are kept are made anew.
DELETE FROM tasks;
DELETE FROM forecasts;
UPDATE refreshes SET inputs_version = inputs_version + 1, refresh_at = 0;
