-- How often logging in failed, by a digest of the name or of where it came from: a start forgives nothing.
CREATE TABLE web_with_slow (
    kind TEXT NOT NULL CHECK (kind IN ('account', 'session', 'token', 'link', 'push', 'slow')),
    key TEXT NOT NULL,
    ends_ms INTEGER,
    body TEXT NOT NULL,
    PRIMARY KEY (kind, key)
) STRICT, WITHOUT ROWID;
INSERT INTO web_with_slow SELECT kind, key, ends_ms, body FROM web;
DROP TABLE web;
ALTER TABLE web_with_slow RENAME TO web;
