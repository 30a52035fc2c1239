-- A phone that was made on the page is one more kind of line. Its body has the address and keys that its
-- browser gave out: whoever has them can send to that phone's push service, but not as this gateway.
CREATE TABLE web_with_push (
    kind TEXT NOT NULL CHECK (kind IN ('account', 'session', 'token', 'link', 'push')),
    key TEXT NOT NULL,
    ends_ms INTEGER,
    body TEXT NOT NULL,
    PRIMARY KEY (kind, key)
) STRICT, WITHOUT ROWID;
INSERT INTO web_with_push SELECT kind, key, ends_ms, body FROM web;
DROP TABLE web;
ALTER TABLE web_with_push RENAME TO web;
