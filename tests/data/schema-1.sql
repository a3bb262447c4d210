-- A small store of the first form, as the first release made it. Kept so that every later version
-- is tested against it; never edited.

PRAGMA application_id = 1668309356;

CREATE TABLE install (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    install INTEGER NOT NULL,
    created_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE sitting (
    sitting INTEGER PRIMARY KEY CHECK (sitting BETWEEN 1 AND 4294967295),
    began_ms INTEGER NOT NULL
) STRICT;

-- The log, which is the truth. Rows are numbered 1, 2, 3 … in the order in which they were written
-- and none is ever taken away, so the greatest number is their count.
CREATE TABLE attempt (
    "row" INTEGER PRIMARY KEY,
    install INTEGER NOT NULL,
    sitting INTEGER NOT NULL CHECK (sitting BETWEEN 0 AND 4294967295),
    number INTEGER NOT NULL CHECK (number BETWEEN 0 AND 4294967295),
    skill TEXT NOT NULL,
    kind TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    wall_ms INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL CHECK (since_start_ms BETWEEN 0 AND 4294967295),
    offset_min INTEGER NOT NULL CHECK (offset_min BETWEEN -1440 AND 1440),
    day INTEGER NOT NULL CHECK (day BETWEEN -2147483648 AND 2147483647),
    block INTEGER NOT NULL CHECK (block BETWEEN 0 AND 4294967295),
    phase TEXT NOT NULL CHECK (phase IN ('probe', 'adaptive', 'fill')),
    level_tenths INTEGER NOT NULL CHECK (level_tenths BETWEEN 1 AND 1000),
    criterion_tenths INTEGER NOT NULL CHECK (criterion_tenths BETWEEN 1 AND 1000),
    tempo_hundredths INTEGER NOT NULL CHECK (tempo_hundredths BETWEEN 2000 AND 60000),
    alternatives INTEGER NOT NULL CHECK (alternatives BETWEEN 0 AND 255),
    truth TEXT NOT NULL,
    answer TEXT NOT NULL,
    "right" INTEGER NOT NULL CHECK ("right" IN (0, 1)),
    heard_tenths INTEGER NOT NULL CHECK (heard_tenths BETWEEN 0 AND 4294967295),
    answer_ms INTEGER NOT NULL CHECK (answer_ms BETWEEN 0 AND 4294967295),
    replays INTEGER NOT NULL CHECK (replays BETWEEN 0 AND 255),
    taps_ms TEXT NOT NULL,
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL CHECK (generator BETWEEN 0 AND 4294967295),
    phrase TEXT NOT NULL,
    UNIQUE (install, sitting, number)
) STRICT;

CREATE INDEX attempt_in_order ON attempt (day, at_ms, install, sitting, number);
CREATE INDEX attempt_of_skill ON attempt (skill, day, at_ms, install, sitting, number);

CREATE TRIGGER attempt_is_never_changed BEFORE UPDATE ON attempt
BEGIN
    SELECT RAISE(ABORT, 'an attempt is never changed');
END;

CREATE TRIGGER attempt_is_never_removed BEFORE DELETE ON attempt
BEGIN
    SELECT RAISE(ABORT, 'an attempt is never removed');
END;

-- INSERT OR REPLACE removes the row in its way without asking the trigger above.
CREATE TRIGGER attempt_is_never_replaced BEFORE INSERT ON attempt
WHEN EXISTS (SELECT 1 FROM attempt AS old WHERE old."row" = NEW."row")
    OR EXISTS (
        SELECT 1 FROM attempt AS old
        WHERE old.install = NEW.install AND old.sitting = NEW.sitting AND old.number = NEW.number
    )
BEGIN
    SELECT RAISE(ABORT, 'an attempt is never replaced');
END;

-- A phrase whose label a person doubts: it is set aside.
CREATE TABLE dispute (
    "row" INTEGER PRIMARY KEY,
    install INTEGER NOT NULL,
    sitting INTEGER NOT NULL,
    number INTEGER NOT NULL,
    skill TEXT NOT NULL,
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL CHECK (generator BETWEEN 0 AND 4294967295),
    at_ms INTEGER NOT NULL,
    note TEXT,
    FOREIGN KEY (install, sitting, number) REFERENCES attempt (install, sitting, number)
) STRICT;

CREATE INDEX dispute_of_phrase ON dispute (skill, seed, generator);
CREATE INDEX dispute_of_attempt ON dispute (install, sitting, number);

CREATE TRIGGER dispute_is_never_changed BEFORE UPDATE ON dispute
BEGIN
    SELECT RAISE(ABORT, 'a dispute is never changed');
END;

CREATE TRIGGER dispute_is_never_removed BEFORE DELETE ON dispute
BEGIN
    SELECT RAISE(ABORT, 'a dispute is never removed');
END;

CREATE TRIGGER dispute_is_never_replaced BEFORE INSERT ON dispute
WHEN EXISTS (SELECT 1 FROM dispute AS old WHERE old."row" = NEW."row")
BEGIN
    SELECT RAISE(ABORT, 'a dispute is never replaced');
END;

CREATE TABLE setting (
    "row" INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    value TEXT NOT NULL
) STRICT;

-- What was worked out from the log, and may be dropped at any time.
CREATE TABLE cache (
    skill TEXT NOT NULL PRIMARY KEY,
    due_day INTEGER,
    bytes BLOB NOT NULL
) STRICT;

-- Up to where in the log the cache goes, and by which rules it was made.
CREATE TABLE cache_mark (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    rules INTEGER NOT NULL,
    n_attempts INTEGER NOT NULL,
    install INTEGER NOT NULL,
    sitting INTEGER NOT NULL,
    number INTEGER NOT NULL
) STRICT;

INSERT INTO install VALUES (1, -9223372036854775801, 1000);
INSERT INTO sitting VALUES (1, 1000);
INSERT INTO attempt VALUES
    (1, -9223372036854775801, 1, 1, 'first/threes', 'name-feel', 1001, 1000, 12000, 60, 20000, 1, 'adaptive',
     60, 40, 18000, 2, 'feel threes', 'feel twos', 0, 21, 2300, 1, '', -1, 1, 'six 180 | bass 0 40'),
    (2, -9223372036854775801, 1, 2, 'first/start', 'find-start', 1002, 1000, 12000, 60, 20001, 1, 'probe',
     60, 40, 18000, 0, 'start 3', 'start ?', 0, 21, 2300, 1, '-12 330 671', 5, 1, 'six 180 | bass 0 40'),
    (3, 9223372036854775807, 4294967295, 1, 'first/clapping', 'fit-clapping', 1003, 1000, 12000, -600, 20002, 1, 'fill',
     120, 15, 60000, 4, 'clapping x..xx.', 'clapping x..xx.', 1, 21, 0, 0, '', 5, 1, '');
INSERT INTO dispute VALUES (1, -9223372036854775801, 1, 2, 'first/start', 5, 1, 2000, 'both at once, I think');
INSERT INTO setting VALUES (1, 'counting', 'un-dos'), (2, 'cautioned_ms', '1700000000000');
INSERT INTO cache VALUES ('first/threes', 20003, x'0102');
INSERT INTO cache_mark VALUES (1, 1, 3, 9223372036854775807, 4294967295, 1);
PRAGMA user_version = 1;
