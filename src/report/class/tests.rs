//! Reports of invented learners, in all forms.

use std::collections::HashMap;
use std::sync::Arc;

use serde_json::Value;

use super::*;
use crate::class::assignment::{Assignment, Goal};
use crate::class::hand_in::LearnerId;
use crate::class::roster::{Called, Place as Listed, Roster};
use crate::label::Label;
use crate::phrase::Level;
use crate::quiz::judge::Place;
use crate::quiz::{Answer, Attempt, AttemptId, Hand, KeptTap, KeptTiming, Kind};
use crate::review::any_attempt;
use crate::review::plan::{Candidate, Candidates};
use crate::rhythm::{Counting, Cycle, Feel, Layer, Tempo};
use crate::world::Moment as At;

const TODAY: Day = Day(20_514);

fn lesson(title: &str, followed: Option<Place>) -> Lesson {
    Lesson {
        title: title.to_owned(),
        cycle: Cycle::SIX,
        counting: Counting::FromOne,
        followed,
    }
}

fn skill(id: &str) -> Skill {
    Skill(id.into())
}

fn syllabus() -> Syllabus {
    let candidate = |id, kind, needs| Candidate {
        skill: skill(id),
        kind,
        needs,
        criterion: Level::of_tenths(50),
        easiest: Level::of_tenths(80),
        hardest: Level::of_tenths(20),
        alternatives: 2,
    };
    let lessons = [
        ("deck/low", lesson("By the low notes", None)),
        ("deck/hold", lesson("Hold the threes", Some(Place::On))),
        ("deck/later", lesson("Later", None)),
    ];
    Syllabus {
        lessons: HashMap::from(lessons.map(|(id, lesson)| (skill(id), lesson))),
        candidates: Candidates::from_iter([
            candidate("deck/low", Kind::NameFeel, vec![]),
            candidate("deck/hold", Kind::Clap, vec![]),
            candidate("deck/later", Kind::NameFeel, vec![0]),
        ]),
        new_a_day: 4,
    }
}

/// The `number`-th attempt of a learner, four a day.
fn attempt(number: u32) -> Attempt {
    let day = TODAY.0 - 9 + i32::try_from(number / 4).expect("few");
    Attempt {
        id: AttemptId {
            install: 1,
            sitting: 1 + number / 4,
            number: 1 + number % 4,
        },
        at: At(i64::from(day) * 86_400_000 + i64::from(number % 4) * 30_000),
        since_start_ms: 30_000 * (1 + number % 4),
        day: Day(day),
        skill: skill("deck/low"),
        alternatives: 2,
        level: Level::of_tenths(50),
        criterion: Level::of_tenths(50),
        ..any_attempt(number)
    }
}

fn feel(number: u32, truth: Feel, answer: Feel) -> Attempt {
    Attempt {
        truth: Answer::Feel(truth),
        answer: Answer::Feel(answer),
        right: truth == answer,
        // The strongest cue that is missed comes first.
        level: Level::of_tenths(if number == 5 { 70 } else { 50 }),
        ..attempt(number)
    }
}

/// Claps of threes at 300 ms a pulse, 20 ms early, that go over to twos from cycle `from` on, from 0.
fn claps(number: u32, from: i32) -> Attempt {
    let of_cycle = |cycle: i32| {
        let pulses: &[i32] = if cycle < from { &[0, 3] } else { &[0, 2, 4] };
        let ms = pulses
            .iter()
            .map(move |pulse| (6 * cycle + pulse) * 300 - 20);
        ms.collect::<Vec<i32>>()
    };
    let tap = |ms| KeptTap {
        ms,
        hand: Hand::Either,
    };
    let threes = Layer::every(Cycle::SIX, 3);
    let right = from > 5;
    Attempt {
        skill: skill("deck/hold"),
        kind: Kind::Clap,
        alternatives: 0,
        tempo: Tempo::of_pulses_a_minute(200).expect("in range"),
        truth: Answer::Hands(Some(threes)),
        answer: Answer::Hands(right.then_some(threes)),
        right,
        taps: (0..6).flat_map(of_cycle).map(tap).collect(),
        timing: Some(KeptTiming {
            lead_ms: -20,
            spread_tenths: 240,
            pulse_ms: 300,
            n: 12,
        }),
        ..attempt(number)
    }
}

/// Twos are taken for threes in 7 of 12, and threes for twos in 2 of 12; claps slide twice in four.
fn practised() -> Vec<Attempt> {
    use Feel::{Threes, Twos};
    let heard = (0..24).map(|number| match number {
        0..12 => feel(number, Twos, if number < 7 { Threes } else { Twos }),
        _ => feel(number, Threes, if number < 14 { Twos } else { Threes }),
    });
    let clapped = [(24, 3), (25, 9), (26, 3), (27, 9)];
    heard
        .chain(clapped.map(|(number, from)| claps(number, from)))
        .collect()
}

fn report_of(learners: &[(u64, &str, Vec<Attempt>)]) -> ClassReport {
    let syllabus = syllabus();
    let one = |(id, name, attempts): &(u64, &str, Vec<Attempt>)| {
        let who = Who {
            learner: LearnerId(*id),
            name: Label::new(name).expect("a label"),
            n_missing: 0,
        };
        let doubt = Doubtful {
            attempt: "0000000000000001-1-1".to_owned(),
            title: Some("By the low notes".to_owned()),
            label_and_answer: Some(("feel twos".to_owned(), "feel threes".to_owned())),
            note: Label::new("sounds like <b>both</b>").ok(),
        };
        let is_first = *id == 1;
        let about = About {
            who,
            groups: vec![],
            set: set().into_iter().filter(|_| is_first).collect(),
            heard_live: heard_live().into_iter().filter(|_| is_first).collect(),
            doubts: Some(doubt).into_iter().filter(|_| is_first).collect(),
        };
        let mut tally = Tally::new(&syllabus, TODAY, about);
        attempts
            .iter()
            .cloned()
            .for_each(|attempt| tally.take(attempt));
        tally.finish()
    };
    ClassReport {
        today: TODAY,
        deck: "Deck".to_owned(),
        learners: learners.iter().map(one).collect(),
        groups: vec![],
    }
}

/// Two weeks of listening, five days of them over; one day of claps that ended yesterday; what ended
/// long ago; and what is to come.
fn set() -> Vec<(u32, Arc<Assignment>)> {
    let one = |number, skills: &[&str], days: (i32, i32), goal: &str, line: Option<&str>| {
        let assignment = Assignment {
            id: format!("{number:016x}").into(),
            to: None,
            deck: "deck".into(),
            title: label("Deck"),
            skills: skills.iter().map(|id| skill(id)).collect(),
            line: line.map(label),
            from: TODAY.plus(days.0),
            due: TODAY.plus(days.1),
            goal: Goal::from_text(goal).expect("a goal"),
        };
        (number, Arc::new(assignment))
    };
    vec![
        one(1, &["deck/low"], (-90, -60), "days=1", None),
        one(
            2,
            &["deck/low", "deck/hold"],
            (-5, 9),
            "firm=2,minutes=60,days=3",
            Some("=slowly"),
        ),
        one(4, &["deck/hold"], (-9, -1), "minutes=2", None),
        one(5, &["deck/later"], (-9, -1), "firm=1", None),
        one(7, &["deck/later"], (1, 8), "firm=1", None),
    ]
}

fn heard_live() -> Vec<HeardLive> {
    vec![HeardLive {
        skill: skill("deck/hold"),
        title: "Hold the threes".to_owned(),
        day: TODAY.plus(-3),
        note: Label::new("with the <b>guitar</b>").ok(),
    }]
}

fn label(text: &str) -> Label {
    Label::new(text).expect("a label")
}

/// The report of three learners, of whom the second is in no group.
fn grouped() -> ClassReport {
    let mut report = report_of(&[
        (1, "Anna", practised()),
        (2, "Ben", vec![]),
        (3, "Óscar", vec![]),
    ]);
    let called: Vec<Called> = report
        .learners
        .iter()
        .map(|one| Called {
            own: None,
            learner: one.who.learner,
            name: one.who.name.clone(),
        })
        .collect();
    let by_name = |group: &str, name: &str| (Some(label(group)), Listed::ByName(label(name)));
    let places = [
        by_name("=3b", "Anna"),
        by_name("Choir", "Óscar"),
        by_name("Choir", "Anna"),
        by_name("Choir", "Paul"),
        by_name("Choir", "Ólafur"),
        (None, Listed::ByName(label("Cleo"))),
    ];
    let roster = Roster::new(&called, [], places);
    for learner in &mut report.learners {
        learner.groups = roster.groups_of(learner.who.learner).to_vec();
    }
    report.groups = GroupReport::all(&roster, &report.learners);
    report
}

#[test]
fn what_is_set_is_counted_from_its_first_day_on() {
    let report = report_of(&[(1, "Anna", practised())]);
    // By hand: of 28 answers from nine days ago on, four a day and two minutes long, the last three days
    // lie in the five days of the second; claps are the last of them, on one day, and end after two minutes.
    let told: Vec<(u32, Stage, u32, u32, u32)> = report.learners[0]
        .set
        .iter()
        .map(|set| {
            (
                set.number,
                set.stage,
                set.reached.firm,
                set.reached.minutes,
                set.reached.days,
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (2, Stage::Open, 0, 6, 3),
            (4, Stage::Reached, 0, 2, 1),
            (5, Stage::Missed, 0, 0, 0),
            (7, Stage::ToCome, 0, 0, 0),
        ]
    );
    assert_eq!(report.learners[0].n_reached(), (1, 3));
}

#[test]
fn who_is_firm_has_reached_it() {
    let right = (0..24).map(|number| feel(number, Feel::Threes, Feel::Threes));
    let report = report_of(&[(1, "Anna", right.collect())]);
    let firm: Vec<u32> = report.learners[0]
        .set
        .iter()
        .map(|set| set.reached.firm)
        .collect();
    assert_eq!(firm, [1, 0, 0, 0]);
}

#[test]
fn the_overview_goes_by_group() {
    let report = grouped();
    let page = text(&report);
    insta::assert_snapshot!("class_report_by_group", page);
    let object: Value = serde_json::from_str(&json(&report)).expect("it is JSON");
    assert_eq!(object["groups"][1]["group"], "Choir");
    assert_eq!(
        object["groups"][1]["learners"],
        serde_json::json!(["0000000000000001", "0000000000000003"])
    );
    assert_eq!(
        object["groups"][1]["not_handed_in"],
        serde_json::json!(["Ólafur", "Paul"])
    );
    assert_eq!(object["groups"][2]["group"], Value::Null);
    let anna = &object["learners"][0];
    assert_eq!(anna["set"][0]["goal"]["minutes"], 60);
    assert_eq!(anna["set"][0]["reached"]["minutes"], 6);
    assert_eq!(anna["set"][0]["state"], "open");
    assert_eq!(anna["heard_live"][0]["exercise"], "deck/hold");
    assert_eq!(anna["disputes"][0]["label"], "feel twos");
    let page = html(&report);
    for words in [
        "<h2>Group =3b</h2>",
        "<h2>In no group</h2>",
        "Nothing handed in yet: Ólafur, Paul.",
        "no. 2, Deck,",
        "0 of 2 skills firm, 6 of 60 minutes, 3 of 3 days; not reached yet",
        "&quot;with the &lt;b&gt;guitar&lt;/b&gt;&quot;",
        "--upheld, --overruled ANSWER or --withdrawn",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
}

#[test]
fn the_table_has_rows_of_its_own_for_what_is_set_heard_and_doubted() {
    let sheet = csv(&grouped());
    let rows: Vec<&str> = sheet.lines().collect();
    let n_columns = rows[0].split(',').count();
    let of = |about: &str| {
        let cell = format!(",{about},");
        rows.iter().filter(|row| row.contains(&cell)).count()
    };
    assert_eq!(
        [
            of("exercise"),
            of("set"),
            of("heard live"),
            of("dispute"),
            of("nothing")
        ],
        [2 + 1, 4, 1, 1, 2]
    );
    // A head and the same number of cells in each row, but for commas in texts.
    for row in &rows {
        let outside: String = row.split('"').step_by(2).collect();
        assert_eq!(outside.split(',').count(), n_columns, "{row}");
    }
    for cell in [
        ",\"'=3b; Choir\",set,",
        ",\"'=slowly\"",
        ",\"0 of 2 skills firm, 6 of 60 minutes, 3 of 3 days\"",
    ] {
        assert!(sheet.contains(cell), "{cell}: {sheet}");
    }
}

#[test]
fn what_is_confused_held_and_missed_is_told() {
    let report = report_of(&[(1, "Anna", practised())]);
    let anna = &report.learners[0];
    let [hold, low] = anna.exercises.as_slice() else {
        panic!("two exercises")
    };
    let confusions: Vec<String> = low.confusions.iter().map(Confusion::words).collect();
    assert_eq!(
        confusions,
        [
            "says threes for twos, 7 of 12",
            "says twos for threes, 2 of 12"
        ]
    );
    assert_eq!((low.n, low.right), (24, 15));
    // By hand, by the rule of Hautus 1995: hits 10 of 12, false alarms 7 of 12, a half and one added:
    // z(10.5/13) = 0.8694 and z(7.5/13) = 0.1940, so that d' is 0.675 and c is -0.532.
    let apart = low.sensitivity.expect("both were asked");
    assert!((apart.d_prime - 0.675).abs() < 1e-3, "{}", apart.d_prime);
    assert!(
        (apart.criterion + 0.532).abs() < 1e-3,
        "{}",
        apart.criterion
    );
    // The error of d' is 0.553, that of c half of it: -0.532 lies within 1.96 of those, which is chance.
    assert_eq!(wording::lean(low.sensitivity), "neither");
    assert_eq!(
        hold.slides,
        [("to 1, 3 and 5 from cycle 4 on".to_owned(), 2)]
    );
    let timing = hold.timing.expect("it was measured");
    assert_eq!(
        (timing.lead_ms, timing.spread_ms, timing.n),
        (-20.0, 24.0, 48)
    );
    assert!((timing.of_pulse - 0.08).abs() < 1e-9);
    // Four answers a day, 30 s apart: two minutes on each of seven days.
    assert_eq!(
        (anna.practice.whole.days, anna.practice.whole.minutes()),
        (7, 14)
    );
    let places: Vec<(&str, u32)> = anna
        .moments
        .iter()
        .map(|moment| (&*moment.attempt.skill.0, moment.attempt.id.sitting))
        .collect();
    // The strongest cue missed, then the slide, of two alike the later; then the next best.
    assert_eq!(places, [("deck/low", 2), ("deck/hold", 7), ("deck/low", 4)]);
    assert_eq!(anna.moments[0].lately, [Answer::Feel(Feel::Twos)]);
}

#[test]
fn what_is_set_next_follows_from_what_is_firm() {
    let right: Vec<Attempt> = (0..24)
        .map(|number| feel(number, Feel::Threes, Feel::Threes))
        .collect();
    let report = report_of(&[(1, "Anna", practised()), (2, "Ben", right)]);
    assert_eq!(
        report.learners[0].next,
        ["Later once By the low notes is firm"]
    );
    assert_eq!(
        report.learners[0].stuck_in().map(|one| &*one.title),
        Some("By the low notes")
    );
    assert_eq!(report.learners[1].next, ["Hold the threes", "Later"]);
    assert_eq!(report.learners[1].stuck, None);
}

#[test]
fn the_report_as_text() {
    let report = report_of(&[
        (1, "Anna", practised()),
        (2, "Maria del Carmen Fernandez de la Torre", practised()),
        (3, "Zoe", vec![]),
    ]);
    let text = text(&report);
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line:?}");
    }
    insta::assert_snapshot!("class_report", text);
}

/// Names, titles and ids that want to be more than texts.
const HOSTILE: [&str; 5] = [
    "<script>alert(1)</script>",
    "=cmd|'/c calc'!A1",
    "../../etc/passwd",
    "\"><img src=x onerror=alert(1)>",
    "@SUM(1,2)",
];

fn hostile() -> ClassReport {
    let attempts = |name: &str| {
        let of = |number| Attempt {
            skill: Skill(format!("{name}\u{202e}\u{1b}[2J").into()),
            ..feel(number, Feel::Twos, Feel::Threes)
        };
        (0..12).map(of).collect::<Vec<Attempt>>()
    };
    let learners: Vec<(u64, &str, Vec<Attempt>)> = (1..)
        .zip(HOSTILE)
        .map(|(id, name)| (id, name, attempts(name)))
        .collect();
    let mut report = report_of(&learners);
    let moments = report
        .learners
        .iter_mut()
        .flat_map(|learner| &mut learner.moments);
    for moment in moments {
        moment.heard = Heard::In("javascript:alert(1)/\"><script>/#a b.wav".to_owned());
    }
    report
}

#[track_caller]
fn is_harmless(text: &str) {
    let driving = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
    assert!(!text.contains(driving), "{text}");
}

#[test]
fn hostile_texts_are_shown_and_nothing_more() {
    let report = hostile();
    is_harmless(&text(&report));
    let page = html(&report);
    is_harmless(&page);
    for tag in [
        "<script",
        "<img",
        "onerror=alert(1)>\"",
        "href=\"javascript:",
    ] {
        assert!(!page.contains(tag), "{tag}");
    }
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(page.contains("href=\"javascript%3Aalert%281%29/%22%3E%3Cscript%3E/%23a%20b.wav\""));
    // Every angle belongs to one of these elements, and no element has a handler.
    let elements = page.split('<').skip(1).map(|rest| {
        let name = rest.trim_start_matches('/');
        name.split(|c: char| !c.is_ascii_alphanumeric() && c != '!')
            .next()
            .unwrap_or_default()
    });
    let known = [
        "!DOCTYPE", "html", "head", "meta", "title", "style", "body", "h1", "h2", "h3", "section",
        "p", "table", "thead", "tbody", "tr", "th", "td", "ul", "ol", "li", "dl", "dt", "dd", "a",
    ];
    for element in elements {
        assert!(known.contains(&element), "{element:?}");
    }
    let sheet = csv(&report);
    is_harmless(&sheet);
    for cell in ["\"'=cmd|", "\"'@SUM(1,2)\"", "\"../../etc/passwd\""] {
        assert!(sheet.contains(cell), "{cell}");
    }
    for line in sheet.lines() {
        for cell in line.split("\",\"").flat_map(|cells| cells.split(",\"")) {
            assert!(!cell.starts_with(['=', '@', '+']), "{cell}");
        }
    }
}

#[test]
fn a_field_of_a_table_is_no_formula_and_breaks_no_row() {
    for (text, field) in [
        ("=1+1", "\"'=1+1\""),
        ("+1", "\"'+1\""),
        ("-1", "\"'-1\""),
        ("@a", "\"'@a\""),
        ("\tx", "\"'?x\""),
        ("a \"b\", c", "\"a \"\"b\"\", c\""),
        ("a\nb", "\"a?b\""),
    ] {
        assert_eq!(csv_field(text), field);
    }
}

#[test]
fn the_tables_and_the_object_say_the_same() {
    let report = report_of(&[(1, "Anna", practised()), (3, "Zoe", vec![])]);
    let object: Value = serde_json::from_str(&json(&report)).expect("it is JSON");
    let low = &object["learners"][0]["exercises"][1];
    assert_eq!(low["exercise"], "deck/low");
    assert_eq!(low["confusions"][0]["n"], 7);
    assert_eq!(object["learners"][1]["name"], "Zoe");
    let sheet = csv(&report);
    let rows: Vec<&str> = sheet.lines().collect();
    let n_columns = rows[0].split(',').count();
    assert_eq!(
        rows.len(),
        10,
        "a head, two exercises, four things set, one heard, one doubted, and one who did nothing"
    );
    assert_eq!(rows[9].split(',').count(), n_columns);
    assert!(rows[2].starts_with(
        "0000000000000001,\"Anna\",,exercise,\"deck/low\",\"By the low notes\",name-feel,24,15,0.625,"
    ));
    assert_eq!(
        object["exercises"][1]["confused"],
        "says threes for twos, 7 of 12"
    );
}
