-- A learner's own recordings, each known by its content: "sha256:" and 64 hexadecimal digits. Times
-- (_s) are seconds from the beginning, several of them in one text with spaces between.
CREATE TABLE recording (
    content TEXT NOT NULL PRIMARY KEY,
    -- How it was called and where it lay when it was opened last; the place is null where it cannot
    -- be written as UTF-8.
    name TEXT NOT NULL,
    place TEXT,
    met_ms INTEGER NOT NULL,
    -- Its pulses as the learner set them, the first being the first of a cycle; empty until they did.
    cycle INTEGER NOT NULL DEFAULT 6 CHECK (cycle BETWEEN 2 AND 48),
    pulses_s TEXT NOT NULL DEFAULT '',
    -- Where sections begin, the first aside.
    sections_s TEXT NOT NULL DEFAULT ''
) STRICT;

-- What persons say of stretches, in the order in which it was said: of the same stretch and person
-- the last row counts. The learner's own have an empty name.
CREATE TABLE recording_mark (
    "row" INTEGER PRIMARY KEY,
    content TEXT NOT NULL REFERENCES recording (content),
    by_name TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    from_s REAL NOT NULL,
    until_s REAL NOT NULL,
    mark TEXT NOT NULL,
    sure TEXT NOT NULL
) STRICT;

CREATE INDEX mark_of_recording ON recording_mark (content);

CREATE TRIGGER mark_is_never_changed BEFORE UPDATE ON recording_mark
BEGIN
    SELECT RAISE(ABORT, 'a mark is never changed');
END;

CREATE TRIGGER mark_is_never_removed BEFORE DELETE ON recording_mark
BEGIN
    SELECT RAISE(ABORT, 'a mark is never removed');
END;

CREATE TRIGGER mark_is_never_replaced BEFORE INSERT ON recording_mark
WHEN EXISTS (SELECT 1 FROM recording_mark AS old WHERE old."row" = NEW."row")
BEGIN
    SELECT RAISE(ABORT, 'a mark is never replaced');
END;
