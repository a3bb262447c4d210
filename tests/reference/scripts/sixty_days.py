"""A learner of known ear goes through sixty days on the built program, in lines of text, with the clock given.

The ear hears a grouping from accents of 4 dB (a normal curve of 1 dB about it), says twos where it hears
nothing, and slides to the guitar's layer where it is to hold the other one. Claps take their time, so that
sixty days take half an hour.

Usage: sixty_days.py PROGRAM FOLDER [DAYS]. The folder is emptied first; everything that was said is kept in
its said.txt. At the end it prints what came of it, and ends with 1 when a threshold is off by more than 1 dB,
when nothing was found weak, or when the log does not come to the same state again.

What the ear has to hear before it answers is taken from a twin: a copy of the data on which the same program,
asked the same with the same seed, is answered first.
"""

import math
import os
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import time

PROGRAM, HOME = sys.argv[1], sys.argv[2]
N_DAYS = int(sys.argv[3]) if len(sys.argv) > 3 else 60
DATA = os.path.join(HOME, "data")
TWIN = os.path.join(HOME, "twin")
HEARS_DB, CURVE_DB, LAPSE = 4.0, 1.0, 0.02
N_EAR, N_HANDS = 12, 2
# The sound begins so many seconds before the program has said all that it says of a question.
AHEAD = 0.04
rng = random.Random(20260301)

EAR = """format = 1
id = "ear"
title = "For the ear"
takes = ["path/plain", "path/bass", "path/chords", "path/knocks", "path/one-turn-both"]
"""
HANDS = """format = 1
id = "hands"
title = "For the hands"

[[exercise]]
id = "with"
title = "Clap with the guitar"
asks = "clap"
line = "Clap along."
families = ["bass-strums"]
feels = ["threes"]
clappings = ["1-4"]
guide = "first"
tempo = [200, 200]
cycles = [5, 5]
level = { easiest = 6, criterion = 5, hardest = 4 }

[[exercise]]
id = "against"
title = "Clap against the guitar"
asks = "clap"
line = "Clap along."
families = ["bass-strums"]
feels = ["twos"]
clappings = ["1-4"]
guide = "first"
tempo = [200, 200]
cycles = [5, 5]
needs = ["with"]
level = { easiest = 6, criterion = 5, hardest = 4 }
"""


def environment(day, hour):
    env = dict(os.environ)
    date = time.strftime("%Y-%m-%d", time.gmtime(1772323200 + 86400 * day))
    env["CONTRAPALMA_NOW"] = f"{date}T{hour:02}:00:00+00:00"
    return env


def command(deck, data, day, n):
    return [PROGRAM, "sit", "--plain", "--silent", "--seed", str(1000 + day), "--deck", os.path.join(HOME, deck),
            "--data", data, "--questions", str(n)]


def rows(data):
    base = sqlite3.connect(f"file:{data}/practice.db?mode=ro", uri=True)
    columns = "skill, kind, level_tenths, alternatives, truth, answer, \"right\", day, block, phase"
    found = base.execute(f"SELECT {columns} FROM attempt ORDER BY \"row\"").fetchall()
    base.close()
    return found


def phi(z):
    return 0.5 * (1 + math.erf(z / math.sqrt(2)))


def ear_sitting(day):
    if os.path.exists(TWIN):
        shutil.rmtree(TWIN)
    n_before = len(rows(DATA)) if os.path.exists(f"{DATA}/practice.db") else 0
    answers = []
    known = []
    while len(answers) < N_EAR:
        if len(known) <= len(answers):
            # The twin answers as was decided so far, and then the first choice.
            if os.path.exists(TWIN):
                shutil.rmtree(TWIN)
            shutil.copytree(DATA, TWIN)
            lines = answers + ["1"] * (N_EAR - len(answers))
            ran = subprocess.run(command("ear.toml", TWIN, day, N_EAR), input="\n\n".join(lines) + "\n\n",
                                 env=environment(day, 8), capture_output=True, text=True, check=True)
            known = rows(TWIN)[n_before:]
            offered = choices(ran.stdout)
            guessed = lines
        k = len(answers)
        if k >= len(known):
            break
        skill, kind, level, alternatives, truth = known[k][:5]
        right_number = number_of(truth, offered[k])
        heard = rng.random() < (1 - LAPSE) * phi((level / 10 - HEARS_DB) / CURVE_DB)
        number = right_number if heard else number_of("feel twos", offered[k])
        answers.append(number)
        if number != guessed[k]:
            known = known[:k + 1]
    ran = subprocess.run(command("ear.toml", DATA, day, N_EAR), input="\n\n".join(answers) + "\n\n",
                         env=environment(day, 8), capture_output=True, text=True, check=True)
    given = rows(DATA)[n_before:]
    assert len(given) == len(answers), (len(given), len(answers), ran.stdout)
    return ran.stdout


def choices(text):
    """What was offered to each question, words to numbers."""
    found = []
    for line in text.splitlines():
        match = re.match(r"^  (\d)  (.*)$", line)
        if match and match.group(1) == "1":
            found.append({})
        if match:
            found[-1][match.group(2)] = match.group(1)
    return found


def number_of(truth, offered):
    words = {"threes": "in threes", "twos": "in twos", "both": "both at once", "in-turn": "in turn", "either": "either"}
    wanted = words[truth.split()[1]]
    for text, number in offered.items():
        if wanted in text:
            return number
    raise SystemExit(f"{truth} is not in {offered!r}")


def hands_sitting(day):
    process = subprocess.Popen(command("hands.toml", DATA, day, N_HANDS), env=environment(day, 18), text=True,
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=1)
    n_asked, said = 0, []
    while True:
        line = process.stdout.readline()
        if not line:
            break
        said.append(line)
        if line.startswith("Enter is a tap"):
            clap(process, any("against the guitar: phrase" in text for text in said[-6:]))
            n_asked += 1
        if line.startswith("kept "):
            # So that the silence between two questions is over when the next one is there.
            time.sleep(2.5)
            process.stdin.write("\n")
            process.stdin.flush()
    process.wait()
    return "".join(said)


def clap(process, against):
    """Claps on 1 and 4; where the guitar goes against it, over to 1, 3 and 5 from the third cycle on."""
    pulse = 0.3
    begin = time.monotonic() - AHEAD
    for cycle in range(5):
        layer = [0, 2, 4] if against and cycle >= 2 else [0, 3]
        for place in layer:
            at = begin + (6 * cycle + place) * pulse + rng.gauss(0, 0.012)
            time.sleep(max(0, at - time.monotonic()))
            process.stdin.write("\n")
            process.stdin.flush()


def main():
    shutil.rmtree(HOME, ignore_errors=True)
    os.makedirs(DATA)
    for name, text in (("ear.toml", EAR), ("hands.toml", HANDS)):
        with open(os.path.join(HOME, name), "w") as file:
            file.write(text)
    begin = time.monotonic()
    for day in range(N_DAYS):
        ear = ear_sitting(day)
        hands = hands_sitting(day) if N_HANDS else ""
        with open(os.path.join(HOME, "said.txt"), "a") as file:
            file.write(f"=== day {day}\n{ear}\n--- hands\n{hands}\n")
        print(f"day {day}: {time.monotonic() - begin:.0f} s", flush=True)
    summary()


def summary():
    found = {}
    with open(os.path.join(HOME, "said.txt")) as file:
        said = file.read()
    for title, level in re.findall(r"^(.*?):? \d+ of \d+, heard from ([0-9.]+) dB", said, re.M):
        found[title] = float(level)
    right = [row[6] for row in rows(DATA)]
    print(f"{len(right)} questions, all answered; {sum(right)} right")
    ok = True
    for title, level in sorted(found.items()):
        truth = heard_from(4 if title.startswith("One,") else 2)
        ok &= abs(level - truth) <= 1.0
        print(f"{title}: heard from {level:.1f} dB, in truth from {truth:.1f}")
    weak = sorted(set(re.findall(r"^rests, ([^,]+),", said, re.M)))
    print("found weak:", ", ".join(weak))
    same = replays()
    print("the log comes to the same state again" if same else "the log comes to another state")
    sys.exit(0 if ok and weak and same else 1)


def heard_from(alternatives):
    """The level at which this ear is right in 82.5 of 100, every answer being as often the truth."""
    low, high = 0.0, 20.0
    while high - low > 0.001:
        level = (low + high) / 2
        heard = (1 - LAPSE) * phi((level - HEARS_DB) / CURVE_DB)
        right = heard + (1 - heard) / alternatives
        low, high = (level, high) if right < 0.825 else (low, level)
    return low


def cache(data):
    base = sqlite3.connect(os.path.join(data, "practice.db"))
    kept = base.execute("SELECT * FROM cache ORDER BY 1").fetchall()
    base.close()
    return kept


def replays():
    """Whether the program, its memory of everything taken away, makes the same of the log."""
    again = os.path.join(HOME, "again")
    shutil.copytree(DATA, again)
    base = sqlite3.connect(os.path.join(again, "practice.db"))
    base.execute("DELETE FROM cache")
    base.execute("DELETE FROM cache_mark")
    base.commit()
    base.close()
    subprocess.run(command("ear.toml", again, N_DAYS, 1), input="", env=environment(N_DAYS, 8),
                   capture_output=True, text=True, check=True)
    return cache(again) == cache(DATA)


if __name__ == "__main__":
    main()
