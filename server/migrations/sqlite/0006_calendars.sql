-- Calendar feeds: a secret in a link, under which a calendar reads the plan of an athlete or a squad.
-- What the link may show is looked up each time by the right of whoever made it.
CREATE TABLE calendar (
    feed       BLOB PRIMARY KEY CHECK (length(feed) = 16),
    made_by    BLOB NOT NULL REFERENCES person (id),
    -- One of the two.
    athlete    BLOB REFERENCES person (id),
    squad      BLOB REFERENCES squad (id),
    -- Hash of the secret; the secret itself is shown once.
    secret_mac BLOB NOT NULL CHECK (length(secret_mac) = 32),
    created_at INTEGER NOT NULL,
    CHECK ((athlete IS NULL) <> (squad IS NULL))
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX calendar_secret ON calendar (secret_mac);
CREATE INDEX calendar_maker ON calendar (made_by);
