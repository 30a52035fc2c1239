-- What is left of readings that were let go: one row a probe and minute of their own time. Where `count`
-- is 1 the reading is all there is: `low`, `high` and `total` are NULL. `flags` are those of all of them.
-- `last_ms` is how far into the minute the last one was measured.
CREATE TABLE minute (
    probe INTEGER NOT NULL,
    minute INTEGER NOT NULL,
    count INTEGER NOT NULL,
    last ANY NOT NULL,
    last_ms INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    low ANY,
    high ANY,
    total REAL,
    PRIMARY KEY (probe, minute)
) STRICT, WITHOUT ROWID;
