-- The board's read model: facts about sessions that follow from documents and from nothing else, so
-- all of it can be thrown away and made again. What depends on the day is not in it.

-- Whose rows no longer follow from the documents. Written in the transaction that appends changes.
CREATE TABLE job (
    -- An athlete, a squad, or a club for its library.
    owner       BLOB PRIMARY KEY CHECK (length(owner) = 16),
    club        BLOB NOT NULL REFERENCES club (id),
    -- Grows with every mark: work that began before the newest mark does not end the job.
    version     INTEGER NOT NULL DEFAULT 1,
    marked_at   INTEGER NOT NULL,
    -- Whether everything is to be read again, not only documents that moved on.
    whole       INTEGER NOT NULL DEFAULT 0 CHECK (whole IN (0, 1)),
    -- Until when somebody works on it, and who: only the holder may write the rows.
    lease_until INTEGER NOT NULL DEFAULT 0,
    lease_by    BLOB,
    tries       INTEGER NOT NULL DEFAULT 0
) STRICT, WITHOUT ROWID;
CREATE INDEX job_club ON job (club);
CREATE INDEX job_order ON job (marked_at);

CREATE TABLE board_club (
    club    BLOB PRIMARY KEY REFERENCES club (id),
    -- Grows with every change of the club's rows.
    version INTEGER NOT NULL DEFAULT 0,
    -- What the library says about judging; empty before it was read.
    rules   BLOB
) STRICT, WITHOUT ROWID;

CREATE TABLE board_member (
    squad   BLOB NOT NULL REFERENCES squad (id),
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    events  TEXT,
    PRIMARY KEY (squad, athlete)
) STRICT, WITHOUT ROWID;

CREATE TABLE board_athlete (
    athlete BLOB PRIMARY KEY CHECK (length(athlete) = 16),
    -- The newest season that has a plan, and the last day on which it has a session.
    season  INTEGER,
    plan_to TEXT,
    -- With which rules of the library the sessions were judged.
    rules   BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE board_doc (
    doc        INTEGER PRIMARY KEY REFERENCES doc (id),
    athlete    BLOB NOT NULL CHECK (length(athlete) = 16),
    -- Up to which chunk the rows follow from it.
    n          INTEGER NOT NULL,
    -- The month of a log; beyond all months for the plan that counts; empty for what does not count.
    month      TEXT NOT NULL,
    met        INTEGER NOT NULL,
    unreadable INTEGER NOT NULL
) STRICT;
CREATE INDEX board_doc_athlete ON board_doc (athlete, month);

-- What each session of the plan asks, as far as judging needs it.
CREATE TABLE board_asked (
    id      INTEGER PRIMARY KEY,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    session TEXT NOT NULL,
    day     TEXT NOT NULL,
    asked   BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX board_asked_session ON board_asked (athlete, session);

-- What records of logs and notes say beside what they hold: so that one more set in a log judges one
-- session anew, and of the log only that session is read.
CREATE TABLE board_record (
    doc        INTEGER NOT NULL REFERENCES doc (id),
    root       TEXT NOT NULL,
    record     TEXT NOT NULL,
    athlete    BLOB NOT NULL CHECK (length(athlete) = 16),
    -- The session of the plan of which it speaks, if of any.
    session    TEXT,
    -- Fields at which two edits met, and what could not be read, in it and inside of it.
    met        INTEGER NOT NULL,
    unreadable INTEGER NOT NULL,
    PRIMARY KEY (doc, root, record)
) STRICT, WITHOUT ROWID;
CREATE INDEX board_record_session ON board_record (athlete, session);

CREATE TABLE board_session (
    athlete    BLOB NOT NULL CHECK (length(athlete) = 16),
    -- Days are written as in RFC 3339: the later one is the greater text.
    day        TEXT NOT NULL,
    -- Whether nobody asked for it.
    extra      INTEGER NOT NULL CHECK (extra IN (0, 1)),
    session    TEXT NOT NULL,
    -- The plan, or the log of an extra.
    doc        INTEGER NOT NULL,
    title      TEXT NOT NULL,
    logged     TEXT,
    left_out   INTEGER NOT NULL CHECK (left_out IN (0, 1)),
    verdict    TEXT,
    share      REAL,
    sets_done  INTEGER NOT NULL,
    sets_asked INTEGER NOT NULL,
    earlier    INTEGER NOT NULL CHECK (earlier IN (0, 1)),
    swapped    INTEGER NOT NULL,
    done_on    TEXT,
    -- Whole minutes, and effort in tenths of a 0 to 10 rating.
    minutes    INTEGER,
    effort     INTEGER,
    PRIMARY KEY (athlete, day, extra, session, doc)
) STRICT, WITHOUT ROWID;

-- Test trials and weighings, whole: record lists and the noise of tests need those of all athletes.
CREATE TABLE board_mark (
    doc     INTEGER NOT NULL REFERENCES doc (id),
    kind    TEXT NOT NULL CHECK (kind IN ('trial', 'check-in')),
    record  TEXT NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    kept    BLOB NOT NULL,
    PRIMARY KEY (doc, kind, record)
) STRICT, WITHOUT ROWID;
CREATE INDEX board_mark_athlete ON board_mark (athlete);

-- Grows when an athlete opens or closes the care document to the coaches.
ALTER TABLE person ADD COLUMN care_version INTEGER NOT NULL DEFAULT 0;

-- Whether an install last spoke a version of the exchange that is not spoken here.
ALTER TABLE install ADD COLUMN old_app INTEGER NOT NULL DEFAULT 0;
