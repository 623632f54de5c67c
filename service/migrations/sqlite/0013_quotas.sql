-- How much each account has of what its quotas count. Triggers count, so that whoever writes a row counts it.
CREATE TABLE account_usage (
    account_id BLOB NOT NULL REFERENCES accounts (id),
    counted TEXT NOT NULL,
    used INTEGER NOT NULL,
    -- The day in UTC on which it was counted, where only one day counts.
    day INTEGER,
    PRIMARY KEY (account_id, counted)
) STRICT, WITHOUT ROWID;

INSERT INTO account_usage (account_id, counted, used)
    SELECT account_id, 'keys', COUNT(*) FROM keys WHERE revoked_at IS NULL GROUP BY account_id
    UNION ALL SELECT account_id, 'calendars', COUNT(*) FROM calendars WHERE revoked_at IS NULL GROUP BY account_id
    UNION ALL SELECT account_id, 'properties', COUNT(*) FROM properties GROUP BY account_id
    UNION ALL SELECT account_id, 'gauges', COUNT(*) FROM gauges GROUP BY account_id
    UNION ALL SELECT account_id, 'rain_days', SUM(days) FROM gauges GROUP BY account_id
    UNION ALL SELECT account_id, 'systems', COUNT(*) FROM systems GROUP BY account_id
    UNION ALL SELECT account_id, 'subscriptions', COUNT(*) FROM subscriptions GROUP BY account_id;

CREATE TRIGGER keys_counted AFTER INSERT ON keys WHEN NEW.revoked_at IS NULL BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'keys', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER keys_revoked AFTER UPDATE OF revoked_at ON keys WHEN (OLD.revoked_at IS NULL) <> (NEW.revoked_at IS NULL) BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'keys', (NEW.revoked_at IS NULL) - (OLD.revoked_at IS NULL))
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER keys_removed AFTER DELETE ON keys WHEN OLD.revoked_at IS NULL BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'keys', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER calendars_counted AFTER INSERT ON calendars WHEN NEW.revoked_at IS NULL BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'calendars', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER calendars_revoked AFTER UPDATE OF revoked_at ON calendars WHEN (OLD.revoked_at IS NULL) <> (NEW.revoked_at IS NULL) BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'calendars', (NEW.revoked_at IS NULL) - (OLD.revoked_at IS NULL))
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER calendars_removed AFTER DELETE ON calendars WHEN OLD.revoked_at IS NULL BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'calendars', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER properties_counted AFTER INSERT ON properties BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'properties', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER properties_removed AFTER DELETE ON properties BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'properties', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER systems_counted AFTER INSERT ON systems BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'systems', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER systems_removed AFTER DELETE ON systems BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'systems', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER subscriptions_counted AFTER INSERT ON subscriptions BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'subscriptions', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER subscriptions_removed AFTER DELETE ON subscriptions BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'subscriptions', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER gauges_counted AFTER INSERT ON gauges BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'gauges', 1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'rain_days', NEW.days)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER gauges_rained AFTER UPDATE OF days ON gauges WHEN OLD.days <> NEW.days BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (NEW.account_id, 'rain_days', NEW.days - OLD.days)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;

CREATE TRIGGER gauges_removed AFTER DELETE ON gauges BEGIN
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'gauges', -1)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
    INSERT INTO account_usage (account_id, counted, used) VALUES (OLD.account_id, 'rain_days', -OLD.days)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = used + excluded.used;
END;
