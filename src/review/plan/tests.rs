use super::*;
use crate::quiz::{Attempt, AttemptId, Skill};
use crate::review::Arrival;
use crate::review::standing::tests::attempt;
use crate::world::Moment;

fn skill(name: &str) -> Skill {
    Skill(name.into())
}

/// `a name` asks for the feel, `b name` for the start, `c name` for the clapping.
fn candidate(text: &str) -> Candidate {
    let mut words = text.split_whitespace();
    let kind = match words.next() {
        Some("a") => Kind::NameFeel,
        Some("b") => Kind::FindStart,
        _ => Kind::FitClapping,
    };
    let name = words.next().expect("a name");
    Candidate {
        skill: skill(name),
        kind,
        needs: Vec::new(),
        criterion: Level::of_tenths(60),
        easiest: Level::of_tenths(110),
        hardest: Level::of_tenths(20),
        alternatives: 3,
    }
}

/// Names behind `<` are needs.
fn candidates(lines: &[&str]) -> Candidates {
    let name = |line: &&str| line.split_whitespace().nth(1).map(skill);
    let names: Vec<Option<Skill>> = lines.iter().map(name).collect();
    let place = |need: &str| names.iter().position(|name| *name == Some(skill(need)));
    let with_needs = |line: &&str| {
        let needs = line.split_whitespace().skip(3);
        Candidate {
            needs: needs
                .map(|need| place(need).expect("a candidate"))
                .collect(),
            ..candidate(line)
        }
    };
    lines.iter().map(with_needs).collect()
}

fn terms(day: i32) -> Terms {
    Terms {
        day: Day(day),
        seed: Seed(11),
        limit: Limit::Minutes(10),
        chooser: Chooser::Forgetting,
        new_a_day: NEW_A_DAY,
        blocks_of_a_skill: BLOCKS_OF_A_SKILL,
    }
}

/// Turns choices into a learner's attempts, a quarter of a minute each.
struct Practice {
    learner: Learner,
    n_attempts: u32,
}

impl Practice {
    fn new() -> Self {
        Self {
            learner: Learner::new(),
            n_attempts: 0,
        }
    }

    fn answer(&mut self, candidate: &Candidate, choice: &Choice, day: Day, right: bool) {
        self.n_attempts += 1;
        let number = self.n_attempts;
        let at = Moment(i64::from(day.0) * 86_400_000 + i64::from(number) * 15_000);
        let id = AttemptId {
            install: 1,
            sitting: u32::try_from(day.0).expect("a small day"),
            number,
        };
        let arrival = self.learner.learn(&Attempt {
            id,
            skill: candidate.skill.clone(),
            kind: candidate.kind,
            at,
            day,
            block: choice.block,
            phase: choice.phase,
            level: choice.level,
            criterion: candidate.criterion,
            right,
            ..attempt(number)
        });
        assert_eq!(arrival, Arrival::Next);
    }

    fn sit(
        &mut self,
        lines: &[&str],
        terms: Terms,
        mut right: impl FnMut(&Candidate, &Choice) -> bool,
    ) -> Vec<Choice> {
        let mut plan = Plan::begin(&self.learner, candidates(lines), terms);
        let mut choices = Vec::new();
        let mut elapsed_ms = 0;
        while let Some(choice) = plan.next(&self.learner, elapsed_ms) {
            let candidate = plan.candidates()[choice.candidate].clone();
            let right = right(&candidate, &choice);
            self.answer(&candidate, &choice, terms.day, right);
            elapsed_ms += 15_000;
            choices.push(choice);
            assert!(choices.len() < 1000, "a sitting without end");
        }
        choices
    }

    /// One block of practice of a skill on a day.
    fn practise(&mut self, line: &str, day: i32, answers: &str) {
        let choice = Choice {
            candidate: 0,
            block: 1000 + self.n_attempts,
            phase: Phase::Adaptive,
            place: 1,
            of: 6,
            level: Level::of_tenths(60),
            why: Why::New,
            help: Help::None,
        };
        for answer in answers.chars() {
            self.answer(&candidate(line), &choice, Day(day), answer == 'r');
        }
    }
}

/// The candidates of the blocks, in order.
fn blocks(choices: &[Choice]) -> Vec<usize> {
    let firsts = choices.iter().filter(|choice| choice.place == 1);
    firsts.map(|choice| choice.candidate).collect()
}

fn phases(choices: &[Choice], block: u32) -> Vec<Phase> {
    let those = choices.iter().filter(|choice| choice.block == block);
    those.map(|choice| choice.phase).collect()
}

#[test]
fn a_newcomer_is_asked_at_once() {
    let learner = Learner::new();
    let mut plan = Plan::begin(&learner, candidates(&["a one", "a two < one"]), terms(0));
    assert_eq!(
        plan.today(),
        [
            Entry {
                candidate: 0,
                why: Why::New
            },
            Entry {
                candidate: 1,
                why: Why::Waiting { on: 0 }
            },
        ]
    );
    let first = plan.next(&learner, 0).expect("a question");
    assert_eq!((first.candidate, first.block, first.place), (0, 1, 1));
    assert_eq!((first.phase, first.why), (Phase::Adaptive, Why::New));
    assert!((20..=110).contains(&first.level.tenths()));
}

#[test]
fn needs_open_within_a_sitting_once_they_are_firm() {
    let lines = ["a one", "b two < one"];
    let good = Practice::new().sit(&lines, terms(0), |_, _| true);
    assert!(blocks(&good).contains(&1));
    let mut practice = Practice::new();
    let bad = practice.sit(&lines, terms(0), |_, _| false);
    // Nobody stands still before one thing that does not come, nor is asked it over and over.
    assert_eq!(blocks(&bad), [0, 0, 1, 1]);
    let early = bad.iter().find(|choice| choice.candidate == 1);
    assert_eq!(early.map(|choice| choice.why), Some(Why::Ahead { of: 0 }));
    let more = practice.sit(&lines, terms(0), |_, _| false);
    assert_eq!(blocks(&more), [0, 1], "later on the same day");
}

#[test]
fn hands_are_helped_after_three_misses_and_while_a_lost_skill_begins_again() {
    let helps = |choices: &[Choice]| -> Vec<bool> {
        let helped = |choice: &Choice| choice.help == Help::Given;
        choices.iter().map(helped).collect()
    };
    let mut practice = Practice::new();
    let wrong = practice.sit(&["a one"], terms(0), |_, _| false);
    assert_eq!(helps(&wrong)[..6], [false, false, false, true, true, true]);
    let mut practice = Practice::new();
    let once = practice.sit(&["a one"], terms(0), |_, choice| choice.place == 2);
    assert!(helps(&once)[..6].iter().all(|helped| !helped));
    let mut practice = Practice::new();
    for day in 0..4 {
        practice.practise("a one", day, "wwwwww");
    }
    let again = practice.sit(&["a one"], terms(8), |_, _| true);
    assert!(helps(&again).iter().all(|helped| *helped));
}

#[test]
fn a_skill_is_asked_in_no_more_blocks_than_the_terms_say() {
    let lines = ["a one", "b two"];
    let once = Terms {
        blocks_of_a_skill: 1,
        ..terms(0)
    };
    let asked = Practice::new().sit(&lines, once, |_, _| true);
    assert_eq!(blocks(&asked), [0, 1]);
}

#[test]
fn no_more_than_four_new_skills_a_day() {
    let lines = ["a 1", "b 2", "c 3", "a 4", "b 5", "c 6"];
    let mut practice = Practice::new();
    let day = |practice: &mut Practice, day| {
        practice.sit(&lines, terms(day), |_, _| true);
        practice.learner.standings().count()
    };
    assert_eq!(day(&mut practice, 0), 4);
    assert_eq!(day(&mut practice, 0), 4, "a second sitting of the day");
    assert_eq!(day(&mut practice, 1), 6);
}

#[test]
fn a_long_queue_of_what_is_due_lets_something_new_in() {
    let mut practice = Practice::new();
    let names = [
        "a 0", "b 1", "c 2", "a 3", "b 4", "c 5", "a 6", "b 7", "c 8",
    ];
    for name in names {
        practice.practise(name, 1, "rrrr");
    }
    let mut lines = names.to_vec();
    lines.push("a new");
    let choices = practice.sit(&lines, terms(20), |_, _| false);
    // Six of the ten blocks that ten minutes have.
    assert_eq!(blocks(&choices)[6], 9);
    assert_eq!(blocks(&choices).iter().filter(|b| **b == 9).count(), 1);
}

#[test]
fn due_skills_come_first_those_left_alone_longest_before_others() {
    let mut practice = Practice::new();
    practice.practise("a longest", 5, "rrrr");
    practice.practise("b lost", 6, "wwww");
    practice.practise("a kept", 6, "rrrr");
    practice.practise("c fresh", 9, "rrrr");
    let lines = ["a new", "c fresh", "a kept", "b lost", "a longest"];
    let choices = practice.sit(&lines, terms(10), |_, _| true);
    // Of the same day, what was lost is less likely to be there than what was firm.
    assert_eq!(blocks(&choices)[..5], [4, 3, 2, 0, 1]);
    assert_eq!(choices[0].why, Why::Due { days: 5 });
    let spare = choices.iter().find(|choice| choice.candidate == 1);
    assert_eq!(
        spare.map(|c| (c.why, c.phase)),
        Some((Why::Spare, Phase::Fill))
    );
}

#[test]
fn the_second_chooser_goes_by_the_calendar() {
    let mut practice = Practice::new();
    practice.practise("a longest", 5, "rrrr");
    practice.practise("b lost", 6, "wwww");
    practice.practise("a kept", 6, "rrrr");
    practice.practise("c fresh", 9, "rrrr");
    let lines = ["a new", "c fresh", "a kept", "b lost", "a longest"];
    let terms = Terms {
        chooser: Chooser::LeastRecent,
        ..terms(10)
    };
    let choices = practice.sit(&lines, terms, |_, _| true);
    assert_eq!(blocks(&choices)[..5], [0, 4, 3, 2, 1]);
}

#[test]
fn a_kept_skill_is_left_alone_after_two_right_probes() {
    let mut practice = Practice::new();
    practice.practise("a one", 0, "rrrrrr");
    let kept = practice.sit(&["a one"], terms(3), |_, _| true);
    assert_eq!(phases(&kept, 1), [Phase::Probe; 2]);
    assert_eq!(kept[0].level, Level::of_tenths(60));

    let mut practice = Practice::new();
    practice.practise("a one", 0, "rrrrrr");
    let shaken = practice.sit(&["a one"], terms(3), |_, choice| choice.place != 2);
    let mut expected = vec![Phase::Probe; 2];
    expected.extend([Phase::Adaptive; 4]);
    assert_eq!(phases(&shaken, 1), expected);
}

#[test]
fn a_new_skill_has_four_to_six_phrases() {
    for (wrong, expected) in [(0, 4), (1, 5), (2, 6), (6, 6)] {
        let mut n_wrong = 0;
        let choices = Practice::new().sit(&["a one"], terms(0), |_, _| {
            n_wrong += 1;
            n_wrong > wrong
        });
        assert_eq!(phases(&choices, 1).len(), expected, "{wrong} wrong");
    }
}

#[test]
fn never_three_blocks_of_a_kind_while_there_are_others() {
    let mut practice = Practice::new();
    let lines = ["a 1", "a 2", "a 3", "a 4", "b 5", "b 6", "c 7"];
    for line in lines {
        practice.practise(line, 0, "rrww");
    }
    let choices = practice.sit(&lines, terms(4), |_, _| true);
    let kinds: Vec<Kind> = blocks(&choices)
        .into_iter()
        .map(|index| candidate(lines[index]).kind)
        .collect();
    assert!(kinds.len() >= 7);
    for run in kinds[..7].windows(3) {
        assert!(run[0] != run[1] || run[1] != run[2], "{kinds:?}");
    }
}

#[test]
fn a_single_kind_does_not_stall() {
    let lines = ["a 1", "a 2", "a 3", "a 4"];
    let choices = Practice::new().sit(&lines, terms(0), |_, _| true);
    assert_eq!(blocks(&choices)[..4], [0, 1, 2, 3]);
    assert!(choices[16..].iter().all(|choice| choice.why == Why::Again));
}

#[test]
fn needs_in_a_circle_neither_loop_nor_stall() {
    let choices = Practice::new().sit(&["a 1 < 2", "b 2 < 1"], terms(0), |_, _| true);
    assert_eq!(choices[0].candidate, 0);
    let own = Practice::new().sit(&["a 1 < 1"], terms(0), |_, _| true);
    assert_eq!(own[0].candidate, 0);
}

/// Fails a skill that needs another in four events.
fn failing() -> Practice {
    let mut practice = Practice::new();
    for day in [0, 1, 3] {
        practice.practise("a base", day, "rrrr");
    }
    for day in 4..8 {
        practice.practise("b top", day, "wwwwww");
    }
    practice
}

#[test]
fn a_failing_skill_rests_while_what_it_needs_comes_back() {
    let lines = ["a base", "b top < base"];
    let practice = failing();
    let base = practice
        .learner
        .standing(&skill("base"))
        .expect("practised");
    assert!(!base.is_due(Day(8)), "it would not come back by itself");
    let today = |day| Plan::begin(&practice.learner, candidates(&lines), terms(day)).today();
    let rest = Why::Resting { until: Day(11) };
    let entry = |candidate, why| Entry { candidate, why };
    assert_eq!(today(8), [entry(0, Why::Repair { of: 1 }), entry(1, rest)]);
    assert!(today(10).contains(&entry(1, rest)));
    assert!(today(11).contains(&entry(1, Why::Due { days: 4 })));

    // It is repaired once, and what rests is left in peace.
    let mut practice = failing();
    let choices = practice.sit(&lines, terms(8), |_, _| true);
    assert!(blocks(&choices).iter().all(|candidate| *candidate == 0));
    let plan = Plan::begin(&practice.learner, candidates(&lines), terms(9));
    assert!(!plan.today().iter().any(|e| e.why == Why::Repair { of: 1 }));
}

#[test]
fn a_failing_skill_without_needs_only_starts_easier() {
    let practice = failing();
    let mut plan = Plan::begin(&practice.learner, candidates(&["b top"]), terms(8));
    let choice = plan.next(&practice.learner, 0).expect("a question");
    assert_eq!(
        (choice.phase, choice.why),
        (Phase::Adaptive, Why::Due { days: 1 })
    );
}

#[test]
fn when_all_is_resting_something_is_asked_nevertheless() {
    let mut practice = failing();
    for day in 4..8 {
        practice.practise("a base", day + 4, "wwwwww");
        practice.practise("b top", day + 4, "wwwwww");
    }
    let lines = ["a base < top", "b top < base"];
    let choices = practice.sit(&lines, terms(12), |_, _| true);
    assert!(matches!(choices[0].why, Why::Resting { .. }));
}

#[test]
fn the_cap_in_minutes_finishes_the_block() {
    let terms = Terms {
        limit: Limit::Minutes(1),
        ..terms(0)
    };
    // A question takes a quarter of a minute, so the cap falls on the fourth of six.
    let choices = Practice::new().sit(&["a 1", "b 2"], terms, |_, _| false);
    assert_eq!(choices.len(), 6);
    let none = Terms {
        limit: Limit::Questions(5),
        ..terms
    };
    assert_eq!(Practice::new().sit(&["a 1"], none, |_, _| false).len(), 5);
}

#[test]
fn a_plan_is_a_function_of_log_day_and_seed() {
    let lines = ["a 1", "b 2 < 1", "c 3", "a 4"];
    let run = |seed| {
        let mut practice = Practice::new();
        let mut all = Vec::new();
        for day in 0..6 {
            let terms = Terms {
                seed: Seed(seed),
                ..terms(day)
            };
            all.extend(practice.sit(&lines, terms, |_, choice| choice.place % 3 != 0));
        }
        all
    };
    assert_eq!(run(1), run(1));
    let levels = |seed| -> Vec<Level> { run(seed).iter().map(|c| c.level).collect() };
    assert_ne!(levels(1), levels(2));
}

#[test]
fn a_skill_without_a_phrase_is_left_out() {
    let learner = Learner::new();
    let mut plan = Plan::begin(&learner, candidates(&["a 1", "b 2"]), terms(0));
    assert_eq!(plan.next(&learner, 0).map(|c| c.candidate), Some(0));
    plan.give_up(&learner);
    assert_eq!(plan.next(&learner, 0).map(|c| c.candidate), Some(1));
    plan.give_up(&learner);
    assert_eq!(plan.next(&learner, 0), None);
}

#[test]
fn the_number_of_phrases_is_about_right() {
    let lines = ["a 1", "b 2", "c 3", "a 4", "b 5", "c 6"];
    let mut practice = Practice::new();
    practice.sit(&lines, terms(0), |_, _| true);
    let plan = Plan::begin(&practice.learner, candidates(&lines), terms(3));
    let estimate = f64::from(plan.n_phrases(&practice.learner, Scarce::default()));
    let asked = practice.sit(&lines, terms(3), |_, choice| choice.place != 3);
    let counted = asked.iter().filter(|c| c.why != Why::Again).count() as f64;
    assert!(
        (estimate - counted).abs() <= 8.0,
        "{estimate} for {counted}"
    );
    let short = Terms {
        limit: Limit::Minutes(1),
        ..terms(3)
    };
    let plan = Plan::begin(&Learner::new(), candidates(&lines), short);
    assert_eq!(plan.n_phrases(&Learner::new(), Scarce::default()), 4);
}

/// A listener with three answers whose threshold falls from 8 to 3 dB with practice.
fn hears(answered: u32, level: Level, dice: &mut crate::world::Dice) -> bool {
    let threshold = 3.0 + 5.0 * (-f64::from(answered) / 20.0).exp();
    let heard = 1.0 / (1.0 + (-1.7 * (level.decibels() - threshold) / 2.0).exp());
    dice.real(0.0, 1.0) < 1.0 / 3.0 + (0.98 - 1.0 / 3.0) * heard
}

#[test]
fn two_months_of_practice_keep_the_rules() {
    let lines: Vec<String> = (0..40)
        .map(|n| {
            let need = n - n.min(3);
            let needs = if n > 2 {
                format!("< {need:02}")
            } else {
                String::new()
            };
            format!("{} {n:02} {needs}", ["a", "b", "c"][n % 3])
        })
        .collect();
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let mut practice = Practice::new();
    let mut dice = Seed(3).dice();
    let (mut n_adaptive, mut n_right) = (0, 0);
    for day in 0..60 {
        let before = practice.learner.standings().count();
        let mut answered = std::collections::BTreeMap::new();
        for (skill, standing) in practice.learner.standings() {
            answered.insert(skill.clone(), standing.answered());
        }
        let choices = practice.sit(&lines, terms(day), |candidate, choice| {
            let n = answered.entry(candidate.skill.clone()).or_insert(0);
            *n += 1;
            let right = hears(*n, choice.level, &mut dice);
            if choice.phase != Phase::Probe && *n > 20 {
                n_adaptive += 1;
                n_right += u32::from(right);
            }
            right
        });
        // Forty quarters of a minute, and the rest of the block; fewer when little is open.
        assert!((20..46).contains(&choices.len()), "{}", choices.len());
        let new = practice.learner.standings().count() - before;
        assert!(new <= 4, "{new} new on day {day}");
        for choice in &choices {
            assert!((20..=110).contains(&choice.level.tenths()));
            assert!((1..=choice.of).contains(&choice.place));
        }
    }
    let success = f64::from(n_right) / f64::from(n_adaptive);
    let n_begun = practice.learner.standings().count();
    // The aim is 80 to 85 %; levels at the ends of what can be made widen it.
    assert!((0.80..0.88).contains(&success), "{success}");
    assert!(n_begun >= 20, "{n_begun} of 40 skills begun");
}

#[test]
fn who_shows_a_skill_has_what_it_needs() {
    let deck = [
        "a one",
        "b two < one",
        "c three < two",
        "a four < two",
        "b five < four",
    ];
    let news = |practice: &Practice, day| -> Vec<usize> {
        let plan = Plan::begin(&practice.learner, candidates(&deck), terms(day));
        let today = plan.today().into_iter();
        let news = today.filter(|entry| entry.why == Why::New);
        news.map(|entry| entry.candidate).collect()
    };
    let mut practice = Practice::new();
    assert_eq!(news(&practice, 0), [0]);
    // Whoever does the third has the first two: the fourth opens, and what was passed over is last.
    practice.practise("c three", 0, "rrrr");
    assert_eq!(news(&practice, 1), [3, 0, 1]);
    // Until one of these is tried and does not come.
    practice.practise("b two", 1, "wwww");
    assert_eq!(news(&practice, 2), [0]);
    // Whoever fails in the third has shown nothing.
    let mut practice = Practice::new();
    practice.practise("c three", 0, "wwww");
    assert_eq!(news(&practice, 1), [0]);
    // Neither has who answered too little.
    let mut practice = Practice::new();
    practice.practise("c three", 0, "rrr");
    assert_eq!(news(&practice, 1), [0]);
}

#[test]
fn what_is_open_and_comes_tomorrow_is_known() {
    let deck = [
        "a one",
        "b two",
        "c three",
        "a four",
        "b five",
        "c six < one",
    ];
    let has_more = |practice: &Practice, lines: &[&str], day| {
        Plan::begin(&practice.learner, candidates(lines), terms(day)).has_more_tomorrow()
    };
    let mut practice = Practice::new();
    assert!(!has_more(&practice, &deck, 0));
    for line in &deck[..4] {
        practice.practise(line, 0, "wwww");
    }
    assert!(has_more(&practice, &deck, 0), "the fifth is open");
    assert!(!has_more(&practice, &deck[..4], 0), "nothing is left");
    let closed = ["a one", "b two", "c three", "a four", "c six < one"];
    assert!(
        !has_more(&practice, &closed, 0),
        "the sixth waits for the first"
    );
    assert!(!has_more(&practice, &deck, 1), "tomorrow has come");
}
