-- Who is in which group, what is set, and what the teacher heard and decided. Learners are shifted as
-- in the form before; a joined learner keeps their rows, which then speak of whom they were joined to.

-- What the teacher calls a learner.
CREATE TABLE called (
    learner INTEGER NOT NULL PRIMARY KEY REFERENCES learner (learner),
    name TEXT NOT NULL,
    at_ms INTEGER NOT NULL
) STRICT;

-- Not a word of any standard, as "group" is.
CREATE TABLE circle (
    circle TEXT NOT NULL PRIMARY KEY
) STRICT;

-- Who is in a group by number.
CREATE TABLE member (
    circle TEXT NOT NULL REFERENCES circle (circle),
    learner INTEGER NOT NULL REFERENCES learner (learner),
    PRIMARY KEY (circle, learner)
) STRICT;

-- Who is on a list of the class; the group is empty where the list names none.
CREATE TABLE listed (
    circle TEXT NOT NULL,
    name TEXT NOT NULL,
    PRIMARY KEY (circle, name)
) STRICT;

-- What is set, to one of: a learner, a group, a name on a list. A day is a learning day; what is not
-- to be reached is null. What was taken back stays, with when.
CREATE TABLE assignment (
    assignment INTEGER NOT NULL PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    learner INTEGER REFERENCES learner (learner),
    circle TEXT,
    name TEXT,
    deck TEXT NOT NULL,
    title TEXT NOT NULL,
    -- Those of the deck, with blanks between.
    skills TEXT NOT NULL,
    deck_text TEXT NOT NULL,
    line TEXT,
    from_day INTEGER NOT NULL,
    due_day INTEGER NOT NULL,
    firm INTEGER,
    minutes INTEGER,
    days INTEGER,
    made_ms INTEGER NOT NULL,
    withdrawn_ms INTEGER
) STRICT;

-- Skills that the teacher heard live.
CREATE TABLE heard_live (
    learner INTEGER NOT NULL REFERENCES learner (learner),
    skill TEXT NOT NULL,
    day INTEGER NOT NULL,
    note TEXT,
    PRIMARY KEY (learner, skill, day)
) STRICT;

-- What was decided about phrases whose label was doubted, the latest of each. The answer is the right
-- one where the label was overruled, and empty elsewhere.
CREATE TABLE judgement (
    skill TEXT NOT NULL,
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL,
    ruling TEXT NOT NULL,
    answer TEXT NOT NULL,
    note TEXT,
    at_ms INTEGER NOT NULL,
    PRIMARY KEY (skill, seed, generator)
) STRICT;
