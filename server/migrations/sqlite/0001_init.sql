-- Identities are raw bytes (16 for people, clubs and squads, 8 for installs), times are
-- milliseconds since 1970, documents' names are the twenty bytes of the exchange.

CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value BLOB NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE club (
    id             BLOB PRIMARY KEY CHECK (length(id) = 16),
    name           TEXT NOT NULL,
    created_at     INTEGER NOT NULL,
    -- Grows with every change of people, roles or installs.
    people_version INTEGER NOT NULL DEFAULT 1,
    -- Grows when an athlete's install was heard from; only coaches are shown that.
    heard_version  INTEGER NOT NULL DEFAULT 0
) STRICT, WITHOUT ROWID;

CREATE TABLE squad (
    id         BLOB PRIMARY KEY CHECK (length(id) = 16),
    club       BLOB NOT NULL REFERENCES club (id),
    name       TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX squad_club ON squad (club);

CREATE TABLE person (
    id                   BLOB PRIMARY KEY CHECK (length(id) = 16),
    club                 BLOB NOT NULL REFERENCES club (id),
    role                 TEXT NOT NULL CHECK (role IN ('head coach', 'coach', 'care', 'athlete', 'owner')),
    name                 TEXT NOT NULL,
    care_open_to_coaches INTEGER NOT NULL DEFAULT 0 CHECK (care_open_to_coaches IN (0, 1)),
    created_at           INTEGER NOT NULL,
    withdrawn_at         INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX person_club ON person (club);

CREATE TABLE invite (
    id         INTEGER PRIMARY KEY,
    -- The first characters of the code find the row; the rest is compared with the keyed hash.
    selector   TEXT NOT NULL,
    code_mac   BLOB NOT NULL CHECK (length(code_mac) = 32),
    person     BLOB NOT NULL REFERENCES person (id),
    made_by    BLOB REFERENCES person (id),
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER,
    tries      INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE UNIQUE INDEX invite_selector ON invite (selector);

CREATE TABLE install (
    id                 BLOB PRIMARY KEY CHECK (length(id) = 8),
    person             BLOB NOT NULL REFERENCES person (id),
    public_key         BLOB CHECK (public_key IS NULL OR length(public_key) = 32),
    device             TEXT NOT NULL,
    created_at         INTEGER NOT NULL,
    withdrawn_at       INTEGER,
    heard_at           INTEGER,
    heard_day          TEXT,
    clock_wrong        INTEGER NOT NULL DEFAULT 0 CHECK (clock_wrong IN (0, 1)),
    -- The family of refresh tokens: what makes this install's tokens its own, the number of the
    -- newest one given out, and when an old one came back after its successor had been used.
    refresh_salt       BLOB NOT NULL CHECK (length(refresh_salt) = 16),
    refresh_generation INTEGER NOT NULL,
    refresh_killed_at  INTEGER,
    invite             INTEGER UNIQUE REFERENCES invite (id) ON DELETE SET NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX install_person ON install (person);

CREATE TABLE audit (
    id      INTEGER PRIMARY KEY,
    at      INTEGER NOT NULL,
    club    BLOB,
    -- Who did it; empty when it was done at the machine.
    person  BLOB,
    install BLOB,
    what    TEXT NOT NULL,
    -- Whom or what it concerns: an identity in words, never a name.
    subject TEXT NOT NULL
) STRICT;
CREATE TRIGGER audit_no_update BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit list is append-only'); END;
CREATE TRIGGER audit_no_delete BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit list is append-only'); END;

CREATE TABLE doc (
    id    INTEGER PRIMARY KEY,
    name  BLOB NOT NULL UNIQUE CHECK (length(name) = 20),
    club  BLOB NOT NULL REFERENCES club (id),
    owner BLOB NOT NULL CHECK (length(owner) = 16),
    kind  TEXT NOT NULL,
    -- The number of the newest chunk: the cursor of the document.
    max_n INTEGER NOT NULL,
    heads BLOB NOT NULL
) STRICT;
CREATE INDEX doc_owner ON doc (owner);
CREATE INDEX doc_club ON doc (club, kind);

CREATE TABLE chunk (
    doc     INTEGER NOT NULL REFERENCES doc (id),
    n       INTEGER NOT NULL CHECK (n > 0),
    -- Plain changes, one after the other, as they came.
    body    BLOB NOT NULL,
    changes INTEGER NOT NULL,
    -- What they add to the index with which the gate checks the next ones.
    delta   BLOB NOT NULL,
    install BLOB,
    at      INTEGER NOT NULL,
    PRIMARY KEY (doc, n)
) STRICT;

CREATE TABLE snapshot (
    doc    INTEGER PRIMARY KEY REFERENCES doc (id),
    -- The newest chunk that it holds. Older chunks may be gone.
    upto_n INTEGER NOT NULL,
    body   BLOB NOT NULL,
    delta  BLOB NOT NULL,
    at     INTEGER NOT NULL
) STRICT;
