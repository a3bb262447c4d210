-- How taps lay, where the delay of the set-up was known: by how many milliseconds after what they
-- struck on the mean, their spread in tenths of a millisecond, a pulse in milliseconds, and how many
-- taps; empty where that was not known or nothing was clapped.
--
-- From this form on a tap in taps_ms may begin with l or r, the left hand or the right.
ALTER TABLE attempt ADD COLUMN timing TEXT NOT NULL DEFAULT '';

CREATE INDEX attempt_timed ON attempt ("row") WHERE timing <> '';
