-- Keeping: who was erased, which documents the background leaves alone, how long withdrawn people stay.

-- People who were erased. Identities only; the row in `person` stays under a pseudonym, because what
-- others wrote still names its author by identity.
CREATE TABLE erased_person (
    person BYTEA PRIMARY KEY CHECK (length(person) = 16),
    club   BYTEA NOT NULL CHECK (length(club) = 16),
    at     BIGINT NOT NULL
);

-- Documents that were erased, so that no stale phone and no older backup brings them back. Of a squad
-- that named somebody a fresh copy goes on under another identity: which, and the changes with which
-- it begins, so that a server restored from before begins with the very same ones.
CREATE TABLE erased_doc (
    name      BYTEA PRIMARY KEY CHECK (length(name) = 20),
    person    BYTEA NOT NULL CHECK (length(person) = 16),
    at        BIGINT NOT NULL,
    successor BYTEA CHECK (successor IS NULL OR length(successor) = 20),
    beginning BYTEA
);

-- Documents that the background does not touch any more until somebody has looked: why, in words.
CREATE TABLE quarantine (
    doc   BIGINT PRIMARY KEY REFERENCES doc (id),
    -- What was tried: 'compact' or 'check'.
    work  TEXT COLLATE "C" NOT NULL,
    why   TEXT COLLATE "C" NOT NULL,
    at    BIGINT NOT NULL
);

-- Months after which withdrawn people are due to be erased; empty for never.
ALTER TABLE club ADD COLUMN erase_after_months BIGINT CHECK (erase_after_months IS NULL OR erase_after_months > 0);
