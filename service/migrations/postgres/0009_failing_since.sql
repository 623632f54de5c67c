-- Since when a receiver has failed, with no success between, and when it did last; absent while it has not, or where that
-- began before this was noted.
ALTER TABLE subscriptions ADD COLUMN failing_since BIGINT;
ALTER TABLE subscriptions ADD COLUMN failed_at BIGINT;
