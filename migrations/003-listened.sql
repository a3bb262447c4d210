-- What was listened to without a question: told what it was, logged, and never scored.
CREATE TABLE listened (
    "row" INTEGER PRIMARY KEY,
    install INTEGER NOT NULL,
    skill TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    day INTEGER NOT NULL CHECK (day BETWEEN -2147483648 AND 2147483647),
    seed INTEGER NOT NULL,
    generator INTEGER NOT NULL CHECK (generator BETWEEN 0 AND 4294967295)
) STRICT;

CREATE TRIGGER listened_is_never_changed BEFORE UPDATE ON listened
BEGIN
    SELECT RAISE(ABORT, 'what was listened to is never changed');
END;

CREATE TRIGGER listened_is_never_removed BEFORE DELETE ON listened
BEGIN
    SELECT RAISE(ABORT, 'what was listened to is never removed');
END;
