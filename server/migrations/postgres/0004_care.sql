-- What care staff said that an athlete may train, as it stands in the availability document. Which of
-- it holds depends on the day, so all of it is kept.
CREATE TABLE board_available (
    doc       BIGINT NOT NULL REFERENCES doc (id),
    record    TEXT COLLATE "C" NOT NULL,
    athlete   BYTEA NOT NULL CHECK (length(athlete) = 16),
    said_at   BIGINT NOT NULL,
    from_day  TEXT COLLATE "C" NOT NULL,
    until_day TEXT COLLATE "C",
    level     TEXT COLLATE "C" NOT NULL,
    avoid     TEXT COLLATE "C",
    instead   TEXT COLLATE "C",
    PRIMARY KEY (doc, record)
);
CREATE INDEX board_available_athlete ON board_available (athlete);

-- Lists of people now hold the public keys of installs: every device gets its list anew.
UPDATE club SET people_version = people_version + 1;
