-- Reminders: a feed per account, and what was told of each task.

-- When readers are told of a duty; the defaults count where a figure is absent.
ALTER TABLE duty_settings ADD COLUMN lead_days INTEGER;
ALTER TABLE duty_settings ADD COLUMN move_days INTEGER;

-- The day from which tally and ceiling counted; absent until the next refresh.
ALTER TABLE tasks ADD COLUMN since_on INTEGER;
-- What was told since, as JSON; absent while nothing was.
ALTER TABLE tasks ADD COLUMN told TEXT;
-- Counts up when the due date changes, and when it did last.
ALTER TABLE tasks ADD COLUMN sequence INTEGER NOT NULL DEFAULT 0;
ALTER TABLE tasks ADD COLUMN date_changed_at INTEGER NOT NULL DEFAULT 0;

-- The ends of each account's feed. Whoever appends changes this row first and holds it until the commit, so that entries
-- become visible in the order of their numbers.
CREATE TABLE feeds (
    account_id BLOB NOT NULL PRIMARY KEY REFERENCES accounts (id),
    -- The number of the last entry.
    last INTEGER NOT NULL,
    -- The number of the last entry that is no longer kept.
    forgotten INTEGER NOT NULL
) STRICT;

CREATE TABLE reminders (
    account_id BLOB NOT NULL REFERENCES accounts (id),
    -- Without a gap.
    number INTEGER NOT NULL,
    raised_at INTEGER NOT NULL,
    property_id BLOB NOT NULL,
    system_id BLOB NOT NULL,
    -- What it tells of, a bit each.
    covers INTEGER NOT NULL,
    -- The entry as JSON.
    entry TEXT NOT NULL,
    PRIMARY KEY (account_id, number)
) STRICT;
CREATE INDEX reminders_by_property ON reminders (account_id, property_id, number);
CREATE INDEX reminders_by_system ON reminders (account_id, system_id, number);
CREATE INDEX reminders_by_age ON reminders (raised_at);

-- Rows of before changed at their last refresh at the latest.
UPDATE tasks SET date_changed_at =
    COALESCE((SELECT refreshed_at FROM forecasts WHERE forecasts.system_id = tasks.system_id), 0);
