-- People and access: guardians, consents, sign-in, first start.

-- A role more and a date of birth. The rule of a column cannot be changed in place, so the rows move
-- out and in again; who points to them is checked at the end of the transaction.
PRAGMA defer_foreign_keys = ON;
CREATE TABLE person_before AS SELECT * FROM person;
DROP TABLE person;
CREATE TABLE person (
    id                   BLOB PRIMARY KEY CHECK (length(id) = 16),
    club                 BLOB NOT NULL REFERENCES club (id),
    role                 TEXT NOT NULL
                         CHECK (role IN ('head coach', 'coach', 'care', 'athlete', 'guardian', 'owner')),
    name                 TEXT NOT NULL,
    -- Whether anybody's yes to it stands. What holds at a moment is worked out from the rows of
    -- `consent`; this only saves looking for those of whom nobody ever said yes.
    care_open_to_coaches INTEGER NOT NULL DEFAULT 0 CHECK (care_open_to_coaches IN (0, 1)),
    created_at           INTEGER NOT NULL,
    withdrawn_at         INTEGER,
    -- Grows with every consent of the person's and with every change of who may sign one.
    care_version         INTEGER NOT NULL DEFAULT 0,
    -- A day as 2008-11-25; empty where nobody has entered it.
    born                 TEXT,
    -- When somebody left with a copy of what is theirs, or without wanting one.
    left_at              INTEGER
) STRICT, WITHOUT ROWID;
INSERT INTO person (id, club, role, name, care_open_to_coaches, created_at, withdrawn_at, care_version)
SELECT id, club, role, name, care_open_to_coaches, created_at, withdrawn_at, care_version FROM person_before;
DROP TABLE person_before;
CREATE INDEX person_club ON person (club);

-- From which birthday on somebody decides alone.
ALTER TABLE club ADD COLUMN majority INTEGER NOT NULL DEFAULT 18;

-- Beside the code for typing, the hash of the secret in its picture.
ALTER TABLE invite ADD COLUMN secret_mac BLOB;
CREATE UNIQUE INDEX invite_secret ON invite (secret_mac);

-- When the session was last refreshed; empty until the first time.
ALTER TABLE install ADD COLUMN refreshed_at INTEGER;

-- Who answers for a minor, from when to when and why.
CREATE TABLE guardianship (
    id         INTEGER PRIMARY KEY,
    athlete    BLOB NOT NULL REFERENCES person (id),
    guardian   BLOB NOT NULL REFERENCES person (id),
    reason     TEXT NOT NULL,
    started_at INTEGER NOT NULL,
    ended_at   INTEGER,
    end_reason TEXT
) STRICT;
CREATE UNIQUE INDEX guardianship_running ON guardianship (athlete, guardian) WHERE ended_at IS NULL;
CREATE INDEX guardianship_guardian ON guardianship (guardian);

-- What somebody said to a use of an athlete's data. Nothing is changed but that a later word replaces it.
CREATE TABLE consent (
    id          INTEGER PRIMARY KEY,
    athlete     BLOB NOT NULL REFERENCES person (id),
    what        TEXT NOT NULL CHECK (what IN ('care reports to coaches', 'name to others')),
    agrees      INTEGER NOT NULL CHECK (agrees IN (0, 1)),
    signed_by   BLOB NOT NULL REFERENCES person (id),
    at          INTEGER NOT NULL,
    -- The last day on which it counts; empty for no end.
    until       TEXT,
    replaced_at INTEGER
) STRICT;
CREATE UNIQUE INDEX consent_standing ON consent (athlete, what, signed_by) WHERE replaced_at IS NULL;
INSERT INTO consent (athlete, what, agrees, signed_by, at)
SELECT id, 'care reports to coaches', 1, id, created_at FROM person WHERE care_open_to_coaches = 1;

-- How somebody signs in who has a password.
CREATE TABLE sign_in (
    person     BLOB PRIMARY KEY REFERENCES person (id),
    name       TEXT NOT NULL UNIQUE,
    -- The hash with its parameters, as a PHC string; and whether the password is long enough to stand alone.
    hash       TEXT NOT NULL,
    alone      INTEGER NOT NULL CHECK (alone IN (0, 1)),
    changed_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE passkey (
    credential BLOB PRIMARY KEY CHECK (length(credential) BETWEEN 1 AND 1023),
    person     BLOB NOT NULL REFERENCES person (id),
    public_key BLOB NOT NULL,
    counter    INTEGER NOT NULL,
    name       TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX passkey_person ON passkey (person);

-- Challenges that were answered: each is good once.
CREATE TABLE spent (
    nonce BLOB PRIMARY KEY CHECK (length(nonce) = 16),
    until INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- The link with which the first owner sets a server up.
CREATE TABLE owner_link (
    id         INTEGER PRIMARY KEY,
    mac        BLOB NOT NULL UNIQUE CHECK (length(mac) = 32),
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER
) STRICT;
