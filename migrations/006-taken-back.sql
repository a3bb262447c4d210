-- What a teacher took back, by its name: it is not kept again, in whatever order files are opened.
CREATE TABLE taken_back (
    assignment TEXT NOT NULL PRIMARY KEY
) STRICT, WITHOUT ROWID;
