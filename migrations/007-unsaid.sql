-- From here on a mark may be 'unsaid': what was said of its stretch before was taken back. No table
-- changes; the form is raised so that a program that does not know this leaves the store alone.
SELECT 1;
