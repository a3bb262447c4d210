#!/usr/bin/env bash
# A teacher's path from writing a deck to reading the report, by the built program alone. Says what it does
# and ends with 1 at the first step that goes wrong.
#
#     tests/reference/scripts/teachers_path.sh PROGRAM [FOLDER]
#
# Without FOLDER a temporary one is made and taken away. The program is given a clock and seeds; no sound device
# is used. Needs bash, coreutils, grep, and python3 for looking into JSON, CSV and WAV.
set -euo pipefail
program=$(realpath "$1")
if [[ $# -gt 1 ]]; then
    mkdir -p "$2"
    folder=$(realpath "$2")
else
    folder=$(mktemp -d)
    trap 'rm -rf "$folder"' EXIT
fi
cd "$folder"

step() { printf '\n== %s\n' "$*"; }
wrong() { printf 'WRONG: %s\n' "$*" >&2; exit 1; }
# The program for somebody at a moment: who, day of March 2026, then its arguments.
run() {
    local who=$1 day=$2
    shift 2
    printf '   %s, %s March: contrapalma %s\n' "$who" "$day" "$*" >&2
    env -i HOME="$folder/$who" TZ=UTC LC_ALL=C.UTF-8 PATH=/usr/bin:/bin \
        CONTRAPALMA_NOW="2026-03-${day}T08:00:00Z" "$program" "$@"
}
# Fails unless a file has a text.
has() { grep -qF -- "$2" "$1" || { cat "$1" >&2; wrong "$1 does not have: $2"; }; }
has_not() { if grep -qF -- "$2" "$1"; then wrong "$1 has: $2"; fi; }
# Fails unless a command ends with this code.
ends() {
    local code=$1 got=0
    shift
    "$@" > ends.txt 2>&1 || got=$?
    [[ $got == "$code" ]] || { cat ends.txt >&2; wrong "ended with $got, not $code: $*"; }
}
mkdir -p teacher anna ben

step "The teacher starts a deck, makes a mistake, is told where, and mends it"
run teacher 02 decks new tuesday.toml > /dev/null
has tuesday.toml 'format = 1'
cat > tuesday.toml <<'DECK'
format = 1
id = "tuesday"
title = "Tuesday group"
order = "free"

[[exercise]]
id = "low-notes"
title = "By the low notes"
asks = "name-feel"
line = "Listen to the low notes."
families = ["bass-strums", "arpeggio"]
feels = ["threes", "twos"]
tempo = [120, 220]
cycles = [3, 4]
level = { easiest = 8, criterion = 5, hardest = 2 }

[[exercise]]
id = "hold"
title = "Hold the threes"
asks = "clap"
lines = "Clap {1-4} to the end."
families = ["plain"]
feels = ["threes"]
clappings = ["1-4"]
guide = "first"
tempo = [120, 180]
cycles = [4, 4]
level = { easiest = 8, criterion = 5, hardest = 3 }
DECK
ends 1 run teacher 02 decks check tuesday.toml
has ends.txt 'line 21, column 1: found the key "lines"'
sed -i 's/^lines = /line = /' tuesday.toml
run teacher 02 decks check tuesday.toml > check.txt
run teacher 02 decks show tuesday.toml > show.txt
has show.txt 'By the low notes'
run teacher 02 decks show tuesday.toml --hear low-notes --wav preview.wav --seed 4 > /dev/null
[[ $(stat -c %s preview.wav) -gt 200000 ]] || wrong "the preview is short"

step "The list of the class: three names in two groups, one of whom will not hand in"
printf 'name,group\nAnna,Tuesday\nÓscar,Tuesday\nBen,Wednesday\n' > class.csv
run teacher 02 class roster class.csv > roster.txt
has roster.txt '3 lines, 3 new; 3 of all lists have not handed in'

step "The deck is set to a group and handed out"
run teacher 02 class assign tuesday.toml --to Tuesday --due 2026-03-08 --goal days=2 \
    --line "Hum the low notes." > assign.txt
run teacher 02 class assignments --json > assignments.txt
has assignments.txt '"due":"2026-03-08"'
run teacher 02 class hand-out 1 --to week.toml > /dev/null
has week.toml '[assignment]'
ends 2 run teacher 02 class hand-out 1 --to week.toml

step "Anna opens it, practises on two days and doubts a label; Ben practises the path"
run anna 03 assignment week.toml > opened.txt
has opened.txt 'Tuesday group'
answers() { for _ in $(seq 60); do printf '1\n\nd\n\n'; done; }
run anna 03 sit --plain --silent --seed 5 --questions 10 < <(answers) > sat.txt
has sat.txt 'Not this time'
run anna 04 sit --plain --silent --seed 6 --questions 4 < <(printf '1\nx\n'; answers) > sat-2.txt
run anna 04 assignment > set.txt
has set.txt 'from 2026-03-02 to 2026-03-08: 2 days'
run ben 04 sit --plain --silent --seed 7 --questions 6 --deck first-steps < <(answers) > sat-ben.txt

step "They hand in; a file that lost its end on the way is refused and changes nothing"
run anna 04 hand-in --name Anna --to anna.gz > /dev/null
run ben 04 hand-in --name Ben --to ben.gz > /dev/null
mkdir -p inbox
head -c $(($(stat -c %s ben.gz) - 7)) ben.gz > inbox/ben.gz
cp anna.gz inbox/
ends 1 run teacher 05 class collect inbox --json
has ends.txt '"outcome":"refused"'
cp ben.gz inbox/ben.gz
run teacher 05 class collect inbox --json > collected.txt
has collected.txt '"new":6'
run teacher 05 class collect inbox inbox/anna.gz --json > collected-again.txt
has_not collected-again.txt '"outcome":"refused"'
if grep -E '"new":[1-9]' collected-again.txt; then wrong "something came twice"; fi

step "A skill is heard live, and the doubt is judged"
run teacher 05 class heard Anna tuesday/low-notes --note "steady, with the guitar" > /dev/null
run teacher 05 class disputes --json > disputes.txt
attempt=$(grep -o '[0-9a-f]\{16\}-[0-9]*-[0-9]*' disputes.txt | head -n 1)
[[ -n $attempt ]] || wrong "no dispute came"
run teacher 05 class report --deck tuesday.toml > before.txt
has before.txt "$attempt"
run teacher 05 class judge "$attempt" --withdrawn --note "both are in it" > /dev/null
run teacher 05 class report --deck tuesday.toml > report.txt
has_not report.txt "$attempt"
run teacher 05 class hand-out 1 --to week-judged.toml > /dev/null
has week-judged.toml 'withdrawn = ['

step "The report in four forms, and the worst moments as sounds"
tr -s ' \n' ' ' < report.txt > report-on-one-line.txt
for text in 'Group Tuesday' 'Group Wednesday' 'Nothing handed in yet: Óscar.' 'By the low notes' \
    'Hold the threes' 'no. 1, Tuesday group, 2026-03-02 to 2026-03-08' '2 of 2 days; reached' 'Groups: Tuesday.' \
    'steady, with the guitar'; do
    has report-on-one-line.txt "$text"
done
run teacher 05 class report --deck tuesday.toml --group tuesday > group.txt
has group.txt '1 learner, by name'
has_not group.txt 'Group Wednesday'
run teacher 05 class report --deck tuesday.toml --html report.html --csv report.csv --json report.json \
    --moments sounds > /dev/null
python3 - <<'LOOK' || wrong "a form says something else"
import csv, json, os, re, wave
page = open("report.html", encoding="utf-8").read()
assert "<script" not in page and "<h2>Group Tuesday</h2>" in page
rows = list(csv.DictReader(open("report.csv", encoding="utf-8")))
report = json.load(open("report.json", encoding="utf-8"))
assert [learner["name"] for learner in report["learners"]] == ["Anna", "Ben"]
anna, ben = report["learners"]
# Thirteen count: ten and four, but for the one that was withdrawn.
assert anna["whole"]["answers"] == 13 and ben["whole"]["answers"] == 6, (anna["whole"], ben["whole"])
assert anna["set"][0]["state"] == "reached" and ben["set"] == []
assert anna["heard_live"][0]["exercise"] == "tuesday/low-notes"
assert anna["disputes"] == [] and report["groups"][0]["not_handed_in"] == ["Óscar"]
# The table and the object count alike.
for learner in report["learners"]:
    own = [row for row in rows if row["learner"] == learner["learner"] and row["about"] == "exercise"]
    assert sum(int(row["answers"]) for row in own) == learner["whole"]["answers"]
    assert sum(int(row["right"]) for row in own) == learner["whole"]["right"]
assert sorted({row["about"] for row in rows}) == ["exercise", "heard live", "set"]
files = [moment["file"] for learner in report["learners"] for moment in learner["moments"]]
assert files and all(files), files
for file in files:
    assert f'href="{file}"' in page, file
    with wave.open(file) as sound:
        seconds = sound.getnframes() / sound.getframerate()
        peak = max(abs(int.from_bytes(sound.readframes(1)[:2], "little", signed=True)) for _ in range(96000))
    assert 4 < seconds < 120 and peak > 1000, (file, seconds, peak)
    print(f"   {file}: {seconds:.1f} s")
LOOK

step "All of it went as it should"
