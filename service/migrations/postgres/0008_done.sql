-- What was told as done, rounds whose tasks are free again, and tasks that come back.

-- The visit of which it was told last that it did the task, and its day.
ALTER TABLE tasks ADD COLUMN done_by UUID;
ALTER TABLE tasks ADD COLUMN done_on BIGINT;

-- A visit that is corrected or withdrawn looks for the tasks that it had closed.
CREATE INDEX round_tasks_by_visit ON round_tasks (visit_id) WHERE visit_id IS NOT NULL;

-- Tasks that are no more, and what readers knew of them: one that comes back goes on from there.
CREATE TABLE gone_tasks (
    task_id UUID NOT NULL PRIMARY KEY,
    sort_on BIGINT NOT NULL,
    sequence BIGINT NOT NULL,
    since_on BIGINT,
    told TEXT,
    done_by UUID,
    done_on BIGINT
);
