-- What a teacher set the learner to do, by its name; a day is a learning day. What is not to be
-- reached is null.
CREATE TABLE assignment (
    assignment TEXT NOT NULL PRIMARY KEY,
    for_whom TEXT,
    deck TEXT NOT NULL,
    title TEXT NOT NULL,
    -- Their names with blanks between.
    skills TEXT NOT NULL,
    line TEXT,
    from_day INTEGER NOT NULL,
    due_day INTEGER NOT NULL,
    firm INTEGER,
    minutes INTEGER,
    days INTEGER,
    taken_ms INTEGER NOT NULL
) STRICT;

-- What was decided about phrases whose label was doubted, the latest of each phrase. The answer is
-- the right one where the label was overruled, and empty elsewhere.
CREATE TABLE judgement (
    skill TEXT NOT NULL,
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL CHECK (generator BETWEEN 0 AND 4294967295),
    ruling TEXT NOT NULL CHECK (ruling IN ('upheld', 'overruled', 'withdrawn')),
    answer TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    PRIMARY KEY (skill, seed, generator)
) STRICT;
