-- The first form of the class store on a server. A migration is never edited once it is released: a
-- change is a new file with the next number, here and for the file.
--
-- Units and the shift of installs are those of the practice store; learners are shifted alike.
-- Nothing here depends on the order in which hand-ins came. Texts stand in the order of their bytes,
-- whatever the language of the database.

-- Marks the schema as ours, and says of which form it is.
CREATE TABLE class_store (
    form BIGINT NOT NULL
);
INSERT INTO class_store (form) VALUES (1);

-- Who hands in. A learner whom the teacher knows to be another one is joined to that one, whose own
-- joined is NULL.
CREATE TABLE learner (
    learner BIGINT NOT NULL PRIMARY KEY,
    name TEXT COLLATE "C" NOT NULL,
    named_ms BIGINT NOT NULL,
    joined BIGINT REFERENCES learner (learner)
);

-- On which machine a learner practises, how many attempts were made there as far as is known, and
-- how many of them are here.
CREATE TABLE install (
    install BIGINT NOT NULL PRIMARY KEY,
    learner BIGINT NOT NULL REFERENCES learner (learner),
    n_made BIGINT NOT NULL,
    n_kept BIGINT NOT NULL
);

-- The attempts of all, in the columns of the practice store; the phrase is empty, since it does not
-- travel. No second index: what comes of one machine comes in order, so that adding is fast.
CREATE TABLE attempt (
    install BIGINT NOT NULL REFERENCES install (install),
    sitting BIGINT NOT NULL,
    number BIGINT NOT NULL,
    skill TEXT COLLATE "C" NOT NULL,
    kind TEXT COLLATE "C" NOT NULL,
    at_ms BIGINT NOT NULL,
    wall_ms BIGINT NOT NULL,
    since_start_ms BIGINT NOT NULL,
    offset_min BIGINT NOT NULL,
    day BIGINT NOT NULL,
    block BIGINT NOT NULL,
    phase TEXT COLLATE "C" NOT NULL,
    level_tenths BIGINT NOT NULL,
    criterion_tenths BIGINT NOT NULL,
    tempo_hundredths BIGINT NOT NULL,
    alternatives BIGINT NOT NULL,
    truth TEXT COLLATE "C" NOT NULL,
    answer TEXT COLLATE "C" NOT NULL,
    "right" BIGINT NOT NULL,
    heard_tenths BIGINT NOT NULL,
    answer_ms BIGINT NOT NULL,
    replays BIGINT NOT NULL,
    taps_ms TEXT COLLATE "C" NOT NULL,
    seed BIGINT NOT NULL,
    generator BIGINT NOT NULL,
    phrase TEXT COLLATE "C" NOT NULL,
    timing TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (install, sitting, number)
);

CREATE FUNCTION attempt_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'an attempt is never changed or removed';
END
$$;

CREATE TRIGGER attempt_is_never_changed BEFORE UPDATE OR DELETE ON attempt
    FOR EACH ROW EXECUTE FUNCTION attempt_stays();

CREATE TRIGGER attempt_is_never_removed BEFORE TRUNCATE ON attempt
    FOR EACH STATEMENT EXECUTE FUNCTION attempt_stays();

-- Doubts about phrases. The attempt may still be on its way.
CREATE TABLE dispute (
    install BIGINT NOT NULL,
    sitting BIGINT NOT NULL,
    number BIGINT NOT NULL,
    at_ms BIGINT NOT NULL,
    note TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (install, sitting, number, at_ms, note)
);

-- Files that were taken whole, by their checksums, so that one that comes again is known at once.
CREATE TABLE hand_in (
    checksum TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    learner BIGINT NOT NULL REFERENCES learner (learner),
    made_ms BIGINT NOT NULL,
    n_attempts BIGINT NOT NULL
);
