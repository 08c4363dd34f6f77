-- What each line adds to the lines before it: the SHA-256 of the link before and of the line, so that a
-- line which is altered behind the program's back is found. Lines that are older have none; the first
-- link is made over all of them.
ALTER TABLE audit ADD COLUMN link BLOB CHECK (length(link) = 32);
CREATE UNIQUE INDEX audit_link ON audit (link);
