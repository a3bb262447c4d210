-- Who is in which group, what is set, and what the teacher heard and decided. Learners are shifted as
-- in the form before; a joined learner keeps their rows, which then speak of whom they were joined to.

-- What the teacher calls a learner.
CREATE TABLE called (
    learner BIGINT NOT NULL PRIMARY KEY REFERENCES learner (learner),
    name TEXT COLLATE "C" NOT NULL,
    at_ms BIGINT NOT NULL
);

-- Not a word of any standard, as "group" is.
CREATE TABLE circle (
    circle TEXT COLLATE "C" NOT NULL PRIMARY KEY
);

-- Who is in a group by number.
CREATE TABLE member (
    circle TEXT COLLATE "C" NOT NULL REFERENCES circle (circle),
    learner BIGINT NOT NULL REFERENCES learner (learner),
    PRIMARY KEY (circle, learner)
);

-- Who is on a list of the class; the group is empty where the list names none.
CREATE TABLE listed (
    circle TEXT COLLATE "C" NOT NULL,
    name TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (circle, name)
);

-- What is set, to one of: a learner, a group, a name on a list. A day is a learning day; what is not
-- to be reached is null. What was taken back stays, with when.
CREATE TABLE assignment (
    assignment BIGINT NOT NULL PRIMARY KEY,
    id TEXT COLLATE "C" NOT NULL UNIQUE,
    learner BIGINT REFERENCES learner (learner),
    circle TEXT COLLATE "C",
    name TEXT COLLATE "C",
    deck TEXT COLLATE "C" NOT NULL,
    title TEXT COLLATE "C" NOT NULL,
    -- Those of the deck, with blanks between.
    skills TEXT COLLATE "C" NOT NULL,
    deck_text TEXT COLLATE "C" NOT NULL,
    line TEXT COLLATE "C",
    from_day BIGINT NOT NULL,
    due_day BIGINT NOT NULL,
    firm BIGINT,
    minutes BIGINT,
    days BIGINT,
    made_ms BIGINT NOT NULL,
    withdrawn_ms BIGINT
);

-- Skills that the teacher heard live.
CREATE TABLE heard_live (
    learner BIGINT NOT NULL REFERENCES learner (learner),
    skill TEXT COLLATE "C" NOT NULL,
    day BIGINT NOT NULL,
    note TEXT COLLATE "C",
    PRIMARY KEY (learner, skill, day)
);

-- What was decided about phrases whose label was doubted, the latest of each. The answer is the right
-- one where the label was overruled, and empty elsewhere.
CREATE TABLE judgement (
    skill TEXT COLLATE "C" NOT NULL,
    seed BIGINT NOT NULL,
    generator BIGINT NOT NULL,
    ruling TEXT COLLATE "C" NOT NULL,
    answer TEXT COLLATE "C" NOT NULL,
    note TEXT COLLATE "C",
    at_ms BIGINT NOT NULL,
    PRIMARY KEY (skill, seed, generator)
);
