-- How much each account has of what its quotas count. Triggers count, so that whoever writes a row counts it. They count
-- once a statement where a statement writes many rows.
CREATE TABLE account_usage (
    account_id UUID NOT NULL REFERENCES accounts (id),
    counted TEXT NOT NULL,
    used BIGINT NOT NULL,
    -- The day in UTC on which it was counted, where only one day counts.
    day BIGINT,
    PRIMARY KEY (account_id, counted)
);

INSERT INTO account_usage (account_id, counted, used)
    SELECT account_id, 'keys', COUNT(*) FROM keys WHERE revoked_at IS NULL GROUP BY account_id
    UNION ALL SELECT account_id, 'calendars', COUNT(*) FROM calendars WHERE revoked_at IS NULL GROUP BY account_id
    UNION ALL SELECT account_id, 'properties', COUNT(*) FROM properties GROUP BY account_id
    UNION ALL SELECT account_id, 'gauges', COUNT(*) FROM gauges GROUP BY account_id
    UNION ALL SELECT account_id, 'rain_days', SUM(days)::BIGINT FROM gauges GROUP BY account_id
    UNION ALL SELECT account_id, 'systems', COUNT(*) FROM systems GROUP BY account_id
    UNION ALL SELECT account_id, 'subscriptions', COUNT(*) FROM subscriptions GROUP BY account_id;

CREATE FUNCTION count_usage(account UUID, what TEXT, change BIGINT) RETURNS VOID LANGUAGE SQL AS $$
    INSERT INTO account_usage (account_id, counted, used) VALUES (account, what, change)
        ON CONFLICT (account_id, counted) DO UPDATE SET used = account_usage.used + excluded.used
$$;

-- The trigger's argument is the sign. The transition table is called `changed`.
CREATE FUNCTION count_rows() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    PERFORM count_usage(account_id, TG_TABLE_NAME::TEXT, TG_ARGV[0]::BIGINT * COUNT(*))
        FROM changed GROUP BY account_id;
    RETURN NULL;
END
$$;

CREATE FUNCTION count_gauges() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    PERFORM count_usage(account_id, 'gauges', TG_ARGV[0]::BIGINT * COUNT(*)),
        count_usage(account_id, 'rain_days', TG_ARGV[0]::BIGINT * SUM(days)::BIGINT)
        FROM changed GROUP BY account_id;
    RETURN NULL;
END
$$;

CREATE FUNCTION count_rain() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    PERFORM count_usage(NEW.account_id, 'rain_days', NEW.days - OLD.days);
    RETURN NULL;
END
$$;

-- Of keys and calendars, those count that are not revoked.
CREATE FUNCTION count_unrevoked() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    PERFORM count_usage(account_id, TG_TABLE_NAME::TEXT, TG_ARGV[0]::BIGINT * COUNT(*))
        FROM changed WHERE revoked_at IS NULL GROUP BY account_id;
    RETURN NULL;
END
$$;

CREATE FUNCTION count_revoked() RETURNS TRIGGER LANGUAGE plpgsql AS $$
BEGIN
    PERFORM count_usage(NEW.account_id, TG_TABLE_NAME::TEXT,
        (NEW.revoked_at IS NULL)::INTEGER::BIGINT - (OLD.revoked_at IS NULL)::INTEGER::BIGINT);
    RETURN NULL;
END
$$;

CREATE TRIGGER keys_counted AFTER INSERT ON keys REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_unrevoked('1');
CREATE TRIGGER keys_revoked AFTER UPDATE OF revoked_at ON keys FOR EACH ROW
    WHEN ((OLD.revoked_at IS NULL) <> (NEW.revoked_at IS NULL)) EXECUTE FUNCTION count_revoked();
CREATE TRIGGER keys_removed AFTER DELETE ON keys REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_unrevoked('-1');
CREATE TRIGGER calendars_counted AFTER INSERT ON calendars REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_unrevoked('1');
CREATE TRIGGER calendars_revoked AFTER UPDATE OF revoked_at ON calendars FOR EACH ROW
    WHEN ((OLD.revoked_at IS NULL) <> (NEW.revoked_at IS NULL)) EXECUTE FUNCTION count_revoked();
CREATE TRIGGER calendars_removed AFTER DELETE ON calendars REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_unrevoked('-1');
CREATE TRIGGER properties_counted AFTER INSERT ON properties REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('1');
CREATE TRIGGER properties_removed AFTER DELETE ON properties REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('-1');
CREATE TRIGGER systems_counted AFTER INSERT ON systems REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('1');
CREATE TRIGGER systems_removed AFTER DELETE ON systems REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('-1');
CREATE TRIGGER subscriptions_counted AFTER INSERT ON subscriptions REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('1');
CREATE TRIGGER subscriptions_removed AFTER DELETE ON subscriptions REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_rows('-1');
CREATE TRIGGER gauges_counted AFTER INSERT ON gauges REFERENCING NEW TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_gauges('1');
CREATE TRIGGER gauges_rained AFTER UPDATE OF days ON gauges FOR EACH ROW
    WHEN (OLD.days <> NEW.days) EXECUTE FUNCTION count_rain();
CREATE TRIGGER gauges_removed AFTER DELETE ON gauges REFERENCING OLD TABLE AS changed
    FOR EACH STATEMENT EXECUTE FUNCTION count_gauges('-1');
