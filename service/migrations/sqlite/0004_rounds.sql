-- Rounds that somebody means to go on, and those that were done.

CREATE TABLE rounds (
    id BLOB NOT NULL PRIMARY KEY,
    account_id BLOB NOT NULL REFERENCES accounts (id),
    -- The day it is planned for.
    planned_on INTEGER NOT NULL,
    note TEXT,
    -- The day it was done on, and when that was reported; absent while it is planned.
    done_on INTEGER,
    done_at INTEGER,
    version INTEGER NOT NULL,
    created_at INTEGER NOT NULL,
    updated_at INTEGER NOT NULL,
    UNIQUE (account_id, id)
) STRICT;
CREATE INDEX rounds_by_day ON rounds (account_id, planned_on, id);

-- Rows of tasks come and go with refreshes; what a round needs of them is kept here.
CREATE TABLE round_tasks (
    round_id BLOB NOT NULL,
    task_id BLOB NOT NULL,
    account_id BLOB NOT NULL,
    system_id BLOB NOT NULL,
    component_id BLOB NOT NULL REFERENCES components (id),
    duty TEXT NOT NULL,
    -- When it fell due as the round was kept.
    due_on INTEGER,
    -- 1 while the round is planned.
    is_open INTEGER NOT NULL,
    -- What became of it: the visit it stands in, or why it was left out.
    visit_id BLOB REFERENCES visits (id),
    skipped_because TEXT,
    PRIMARY KEY (round_id, task_id),
    FOREIGN KEY (account_id, round_id) REFERENCES rounds (account_id, id),
    FOREIGN KEY (account_id, system_id) REFERENCES systems (account_id, id)
) STRICT;
-- A task stands in one planned round at most.
CREATE UNIQUE INDEX round_tasks_open ON round_tasks (account_id, task_id) WHERE is_open = 1;
