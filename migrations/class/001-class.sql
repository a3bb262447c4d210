-- The first form of the class store. A migration is never edited once it is released: a change is a
-- new file with the next number.
--
-- Units and the shift of installs are those of the practice store; learners are shifted alike.
-- Nothing here depends on the order in which hand-ins came.

-- Marks the file as ours ("cpcl").
PRAGMA application_id = 1668309868;

-- Who hands in. A learner whom the teacher knows to be another one is joined to that one, whose own
-- joined is NULL.
CREATE TABLE learner (
    learner INTEGER NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    named_ms INTEGER NOT NULL,
    joined INTEGER REFERENCES learner (learner)
) STRICT;

-- On which machine a learner practises, how many attempts were made there as far as is known, and
-- how many of them are here.
CREATE TABLE install (
    install INTEGER NOT NULL PRIMARY KEY,
    learner INTEGER NOT NULL REFERENCES learner (learner),
    n_made INTEGER NOT NULL,
    n_kept INTEGER NOT NULL
) STRICT;

-- The attempts of all, in the columns of the practice store; the phrase is empty, since it does not
-- travel. One tree without a second index: what comes of one machine comes in order, so that adding
-- is fast.
CREATE TABLE attempt (
    install INTEGER NOT NULL REFERENCES install (install),
    sitting INTEGER NOT NULL,
    number INTEGER NOT NULL,
    skill TEXT NOT NULL,
    kind TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    wall_ms INTEGER NOT NULL,
    since_start_ms INTEGER NOT NULL,
    offset_min INTEGER NOT NULL,
    day INTEGER NOT NULL,
    block INTEGER NOT NULL,
    phase TEXT NOT NULL,
    level_tenths INTEGER NOT NULL,
    criterion_tenths INTEGER NOT NULL,
    tempo_hundredths INTEGER NOT NULL,
    alternatives INTEGER NOT NULL,
    truth TEXT NOT NULL,
    answer TEXT NOT NULL,
    "right" INTEGER NOT NULL,
    heard_tenths INTEGER NOT NULL,
    answer_ms INTEGER NOT NULL,
    replays INTEGER NOT NULL,
    taps_ms TEXT NOT NULL,
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL,
    phrase TEXT NOT NULL,
    timing TEXT NOT NULL,
    PRIMARY KEY (install, sitting, number)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER attempt_is_never_changed BEFORE UPDATE ON attempt
BEGIN
    SELECT RAISE(ABORT, 'an attempt is never changed');
END;

CREATE TRIGGER attempt_is_never_removed BEFORE DELETE ON attempt
BEGIN
    SELECT RAISE(ABORT, 'an attempt is never removed');
END;

-- Doubts about phrases. The attempt may still be on its way.
CREATE TABLE dispute (
    install INTEGER NOT NULL,
    sitting INTEGER NOT NULL,
    number INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    note TEXT NOT NULL,
    PRIMARY KEY (install, sitting, number, at_ms, note)
) STRICT, WITHOUT ROWID;

-- Files that were taken whole, by their checksums, so that one that comes again is known at once.
CREATE TABLE hand_in (
    checksum TEXT NOT NULL PRIMARY KEY,
    learner INTEGER NOT NULL REFERENCES learner (learner),
    made_ms INTEGER NOT NULL,
    n_attempts INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
