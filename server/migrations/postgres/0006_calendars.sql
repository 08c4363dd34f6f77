-- Calendar feeds: a secret in a link, under which a calendar reads the plan of an athlete or a squad.
-- What the link may show is looked up each time by the right of whoever made it.
CREATE TABLE calendar (
    feed       BYTEA PRIMARY KEY CHECK (length(feed) = 16),
    made_by    BYTEA NOT NULL REFERENCES person (id),
    -- One of the two.
    athlete    BYTEA REFERENCES person (id),
    squad      BYTEA REFERENCES squad (id),
    -- Hash of the secret; the secret itself is shown once.
    secret_mac BYTEA NOT NULL CHECK (length(secret_mac) = 32),
    created_at BIGINT NOT NULL,
    CHECK ((athlete IS NULL) <> (squad IS NULL))
);
CREATE UNIQUE INDEX calendar_secret ON calendar (secret_mac);
CREATE INDEX calendar_maker ON calendar (made_by);
