-- Which generation of its feed an account reads. A restored backup begins another one, because the feed then goes on in
-- another way than readers have seen.
ALTER TABLE feeds ADD COLUMN generation BIGINT NOT NULL DEFAULT 1;

-- What tells this database from a copy. A backup has another mark, or another server has.
CREATE TABLE incarnation (
    one BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    mark TEXT NOT NULL
);
