-- The mirror's place in the journal and among the effects, and how it stands (one row).
CREATE TABLE mirror (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    n INTEGER NOT NULL,
    effect INTEGER NOT NULL,
    event_ms INTEGER NOT NULL,
    alarm_ms INTEGER NOT NULL,
    turn_ms INTEGER NOT NULL,
    target TEXT NOT NULL,
    written INTEGER NOT NULL,
    rate_per_s REAL,
    written_at_ms INTEGER,
    error TEXT,
    error_at_ms INTEGER,
    alarm INTEGER NOT NULL
) STRICT;

-- Lines the server refused, each with its reason; `again`: to be sent once more.
CREATE TABLE mirror_aside (
    number INTEGER PRIMARY KEY,
    at_ms INTEGER NOT NULL,
    line TEXT NOT NULL UNIQUE,
    reason TEXT NOT NULL,
    again INTEGER NOT NULL DEFAULT 0
) STRICT;
