-- What care staff said that an athlete may train, as it stands in the availability document. Which of
-- it holds depends on the day, so all of it is kept.
CREATE TABLE board_available (
    doc       INTEGER NOT NULL REFERENCES doc (id),
    record    TEXT NOT NULL,
    athlete   BLOB NOT NULL CHECK (length(athlete) = 16),
    said_at   INTEGER NOT NULL,
    from_day  TEXT NOT NULL,
    until_day TEXT,
    level     TEXT NOT NULL,
    avoid     TEXT,
    instead   TEXT,
    PRIMARY KEY (doc, record)
) STRICT, WITHOUT ROWID;
CREATE INDEX board_available_athlete ON board_available (athlete);

-- Lists of people now hold the public keys of installs: every device gets its list anew.
UPDATE club SET people_version = people_version + 1;
