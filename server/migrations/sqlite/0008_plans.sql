-- What is asked of an athlete stands in the plans of all seasons, not in the newest alone. Nothing is carried
-- over: rows of an older form are made anew.
DROP TABLE board_asked;
CREATE TABLE board_asked (
    id      INTEGER PRIMARY KEY,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    session TEXT NOT NULL,
    -- The plan in which it stands.
    doc     INTEGER NOT NULL REFERENCES doc (id),
    day     TEXT NOT NULL,
    asked   BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX board_asked_session ON board_asked (athlete, session, doc);
CREATE INDEX board_asked_doc ON board_asked (doc);
ALTER TABLE board_athlete DROP COLUMN season;
