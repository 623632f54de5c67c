-- Which versions of the service may run on these tables, and by which version of the model each system was refreshed.
-- Oldest step that a version has to know: 14.

-- The step of the tables that a version has to know to run on them. A step that older versions cannot live with raises it.
CREATE TABLE oldest_version (
    one BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    step BIGINT NOT NULL
);
INSERT INTO oldest_version (one, step) VALUES (1, 14);

-- The model of the last refresh. A version never refreshes what a newer model has refreshed.
ALTER TABLE refreshes ADD COLUMN model_version BIGINT NOT NULL DEFAULT 1;
