-- Keys that read one system only. Absent on a key of the whole account.
ALTER TABLE keys ADD COLUMN system_id UUID REFERENCES systems (id);
