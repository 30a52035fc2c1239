-- What the page keeps: accounts, sessions, tokens and one-time links, each a small JSON body by its key.
-- Secrets are kept as digests only. `ends_ms`: real time after which the row means nothing.
CREATE TABLE web (
    kind TEXT NOT NULL CHECK (kind IN ('account', 'session', 'token', 'link')),
    key TEXT NOT NULL,
    ends_ms INTEGER,
    body TEXT NOT NULL,
    PRIMARY KEY (kind, key)
) STRICT, WITHOUT ROWID;
