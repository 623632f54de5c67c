-- Claims that are renewed while the work goes on, and instants that tell what a clock that was ahead has stored.

-- The claim that holds the system; all zeros if none does.
ALTER TABLE refreshes ADD COLUMN held_by UUID NOT NULL DEFAULT '00000000-0000-0000-0000-000000000000';
-- When held_until was set.
ALTER TABLE refreshes ADD COLUMN held_at BIGINT NOT NULL DEFAULT 0;
-- When the local day of the last refresh begins. Before that instant the refresh counts for nothing.
ALTER TABLE refreshes ADD COLUMN day_at BIGINT NOT NULL DEFAULT 0;

ALTER TABLE unscored ADD COLUMN held_by UUID NOT NULL DEFAULT '00000000-0000-0000-0000-000000000000';
ALTER TABLE unscored ADD COLUMN held_at BIGINT NOT NULL DEFAULT 0;

ALTER TABLE deliveries ADD COLUMN held_by UUID NOT NULL DEFAULT '00000000-0000-0000-0000-000000000000';
ALTER TABLE deliveries ADD COLUMN held_at BIGINT NOT NULL DEFAULT 0;
-- When next_at was set.
ALTER TABLE deliveries ADD COLUMN set_at BIGINT NOT NULL DEFAULT 0;
CREATE INDEX deliveries_by_setting ON deliveries (set_at) WHERE next_at IS NOT NULL;

-- When next_at was set, and when rest_until was.
ALTER TABLE subscriptions ADD COLUMN next_set_at BIGINT NOT NULL DEFAULT 0;
ALTER TABLE subscriptions ADD COLUMN rest_set_at BIGINT NOT NULL DEFAULT 0;

-- Rows of earlier versions: a day is about 24 hours long. Claims of refreshing and scoring end at once: what is done twice is
-- the same. A delivery may be on its way, so its claim of at most three minutes stays.
UPDATE refreshes SET day_at = next_at - 86400000000 WHERE next_at > 86400000000;
UPDATE refreshes SET held_until = 0;
UPDATE unscored SET held_until = 0;
UPDATE deliveries SET set_at = created_at WHERE next_at IS NOT NULL;
