-- What readings come to by the quarter of an hour of their own time: every reading up to the journal number
-- kept in meta as `quarters_upto`, those that were let go included. Columns as in `minute`; `last_ms` is how
-- far into the quarter the last one was measured.
CREATE TABLE quarter (
    probe INTEGER NOT NULL,
    quarter INTEGER NOT NULL,
    count INTEGER NOT NULL,
    last ANY NOT NULL,
    last_ms INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    low ANY,
    high ANY,
    total REAL,
    PRIMARY KEY (probe, quarter)
) STRICT, WITHOUT ROWID;
