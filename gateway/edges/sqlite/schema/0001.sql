-- What was run on this store, and by which version.
CREATE TABLE migration (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    version TEXT NOT NULL
) STRICT;

CREATE TABLE meta (
    key TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- The journal. Readings and events share one run of numbers without a gap; a stamp holds from its first
-- number up to the next stamp.
CREATE TABLE stamp (
    first_n INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    run_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE probe (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

-- `value` and `battery` are ANY so that a number comes back exactly as it was given: a REAL column would
-- turn -0.0 into 0.0 and 3 into 3.0, and a replay could then differ from the live run in a word.
CREATE TABLE reading (
    n INTEGER PRIMARY KEY,
    probe INTEGER NOT NULL,
    measured_at_ms INTEGER NOT NULL,
    value ANY NOT NULL,
    flags INTEGER NOT NULL,
    sequence INTEGER,
    battery ANY,
    UNIQUE (probe, measured_at_ms)
) STRICT;

CREATE TABLE event (
    n INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;

-- What the judge made of it. An effect is kept once per cause; the tables below it are drawn from effects.
CREATE TABLE judge (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    n INTEGER NOT NULL,
    run_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY,
    n INTEGER NOT NULL,
    run_ms INTEGER NOT NULL,
    body BLOB NOT NULL
) STRICT;

CREATE TABLE effect (
    id INTEGER PRIMARY KEY,
    n INTEGER NOT NULL,
    i INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    UNIQUE (n, i)
) STRICT;

CREATE TABLE alarm (
    number INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    place TEXT,
    probe TEXT,
    state TEXT NOT NULL,
    effect INTEGER NOT NULL REFERENCES effect (id)
) STRICT;

CREATE TABLE alarm_change (
    alarm INTEGER NOT NULL,
    effect INTEGER NOT NULL REFERENCES effect (id),
    at_ms INTEGER NOT NULL,
    from_state TEXT NOT NULL,
    to_state TEXT NOT NULL,
    signal TEXT NOT NULL,
    by TEXT,
    PRIMARY KEY (alarm, effect)
) STRICT, WITHOUT ROWID;

CREATE TABLE notice (
    number INTEGER PRIMARY KEY,
    alarm INTEGER,
    phone TEXT NOT NULL,
    kind TEXT NOT NULL,
    effect INTEGER NOT NULL REFERENCES effect (id),
    attempts INTEGER NOT NULL DEFAULT 0,
    last_attempt_at_ms INTEGER,
    delivered_at_ms INTEGER,
    withdrawn TEXT
) STRICT;

CREATE INDEX notice_due ON notice (number) WHERE delivered_at_ms IS NULL AND withdrawn IS NULL;

-- One attempt to reach a phone; `n` is the number of the delivery event in the journal.
CREATE TABLE attempt (
    n INTEGER PRIMARY KEY,
    notice INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    outcome TEXT NOT NULL,
    status INTEGER,
    detail TEXT NOT NULL
) STRICT;

CREATE INDEX attempt_of ON attempt (notice);

CREATE TABLE turn (
    turn INTEGER PRIMARY KEY,
    bed TEXT NOT NULL,
    effect INTEGER NOT NULL REFERENCES effect (id)
) STRICT;

-- Beside the journal: what was refused, running totals, and the messages last taken.
CREATE TABLE rejected (
    id INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    topic TEXT NOT NULL,
    payload BLOB NOT NULL,
    reason TEXT NOT NULL,
    detail TEXT NOT NULL,
    probe TEXT
) STRICT;

-- By probe where one is known, else by topic; the other of the two is ''.
CREATE TABLE rejected_count (
    probe TEXT NOT NULL,
    topic TEXT NOT NULL,
    reason TEXT NOT NULL,
    count INTEGER NOT NULL,
    first_at_ms INTEGER NOT NULL,
    last_at_ms INTEGER NOT NULL,
    PRIMARY KEY (probe, topic, reason)
) STRICT, WITHOUT ROWID;

CREATE TABLE total (
    name TEXT PRIMARY KEY,
    count INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE delivered_before (
    id INTEGER PRIMARY KEY,
    digest BLOB NOT NULL UNIQUE
) STRICT;
