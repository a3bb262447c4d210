//! Laws of the file: what was written is read, and nothing else is.

use std::io::Write as _;

use flate2::{Compression, GzBuilder};
use proptest::prelude::*;

use crate::phrase::Level;
use crate::quiz::{Answer, Hand, KeptTap, KeptTiming, Kind, Phase, Skill};
use crate::rhythm::{Feel, Tempo};
use crate::world::{Day, Dice, Seed};

use super::seal::Sealing;
use super::*;

const DAY_MS: i64 = 86_400_000;
/// 2026-01-20 by UTC.
const TODAY: i32 = 20_473;
const NOW: Moment = Moment(TODAY as i64 * DAY_MS);

fn small<T: TryFrom<i64>>(dice: &mut Dice, low: i64, high: i64) -> T {
    T::try_from(dice.between(low, high)).unwrap_or_else(|_| panic!("in range"))
}

/// Any attempt made on one of two machines before now.
fn any_attempt(dice: &mut Dice) -> Attempt {
    let phases = [Phase::Probe, Phase::Adaptive, Phase::Fill];
    let answers = [
        "feel both",
        "start ?",
        "clapping x..xx.",
        "pair ? x..x..",
        "turn 3",
    ];
    let answer = |dice: &mut Dice| {
        let text = dice.pick(&answers).expect("some");
        Answer::from_text(text).expect("an answer")
    };
    let skills = ["path/plain", "path/bass", "tuesday-group/low-notes"];
    let at = small(dice, 0, NOW.0);
    let n_taps = dice.below(6);
    let tap = |dice: &mut Dice| KeptTap {
        ms: small(dice, i64::from(i32::MIN), i64::from(i32::MAX)),
        hand: *dice.pick(&Hand::ALL).expect("hands"),
    };
    Attempt {
        id: AttemptId {
            install: *dice.pick(&[0, u64::MAX]).expect("two"),
            sitting: small(dice, 0, 3),
            number: small(dice, 0, 4_294_967_295),
        },
        skill: Skill((*dice.pick(&skills).expect("some")).into()),
        kind: *dice.pick(&Kind::ALL).expect("kinds"),
        at: Moment(at),
        wall: Moment(small(dice, i64::MIN, i64::MAX)),
        since_start_ms: small(dice, 0, 4_294_967_295),
        offset_min: small(dice, -1440, 1440),
        day: Day(i32::try_from(at / DAY_MS).expect("days") + small::<i32>(dice, -2, 2)),
        block: small(dice, 0, 3),
        phase: *dice.pick(&phases).expect("phases"),
        level: Level::of_tenths(small(dice, 15, 120)),
        criterion: Level::of_tenths(40),
        tempo: Tempo::of_hundredths(small(dice, 2_000, 60_000)).expect("in range"),
        alternatives: small(dice, 0, 3),
        truth: answer(dice),
        answer: answer(dice),
        right: dice.one_in(2),
        heard_tenths: small(dice, 0, 4_294_967_295),
        answer_ms: small(dice, 0, 4_294_967_295),
        replays: small(dice, 0, 1),
        taps: (0..n_taps).map(|_| tap(dice)).collect(),
        timing: dice.one_in(2).then(|| KeptTiming {
            lead_ms: small(dice, -90, 90),
            spread_tenths: small(dice, 0, 999),
            pulse_ms: 333,
            n: 12,
        }),
        seed: Seed(dice.between(i64::MIN, i64::MAX).cast_unsigned()),
        generator: 2,
        phrase: String::new(),
    }
}

/// Attempts of a sitting as practice makes them: what changes is small.
fn sitting(n: u32) -> Vec<Attempt> {
    let mut dice = Seed(3).dice();
    let first = Attempt {
        id: AttemptId {
            install: u64::MAX,
            sitting: 1,
            number: 0,
        },
        truth: Answer::Feel(Feel::Twos),
        at: Moment(NOW.0 - DAY_MS),
        wall: Moment(NOW.0 - DAY_MS),
        day: Day(TODAY - 1),
        since_start_ms: 0,
        ..any_attempt(&mut dice)
    };
    let next = |number: u32| {
        let after = 12_000 * number;
        let mut attempt = first.clone();
        attempt.id.number = number;
        attempt.at = Moment(first.at.0 + i64::from(after));
        attempt.wall = attempt.at;
        attempt.since_start_ms = after;
        attempt.seed = Seed(u64::from(number));
        attempt
    };
    (1..=n).map(next).collect()
}

fn header(n_attempts: usize, n_disputes: usize) -> Header {
    let label = |text: &str| Label::new(text).expect("a label");
    let machine = |install| Machine { install, n_made: 7 };
    Header {
        program: label("0.1.0"),
        learner: LearnerId(5),
        also: vec![LearnerId(u64::MAX)],
        name: label("Anna <b> =1+1 ü"),
        machines: vec![machine(0), machine(u64::MAX)],
        decks: vec![label("path")],
        days: Some((Day(3), Day(TODAY))),
        n_attempts: u64::try_from(n_attempts).expect("few"),
        n_disputes: u64::try_from(n_disputes).expect("few"),
        made: NOW,
    }
}

fn written(header: Header, attempts: &[Attempt], doubts: &[Doubt]) -> Vec<u8> {
    let mut writer = Writer::new(Vec::new(), header).expect("a writer");
    for attempt in attempts {
        writer.attempt(attempt).expect("an attempt is written");
    }
    for doubt in doubts {
        writer.dispute(doubt).expect("a dispute is written");
    }
    writer.finish().expect("a whole file")
}

fn file(attempts: &[Attempt]) -> Vec<u8> {
    written(header(attempts.len(), 0), attempts, &[])
}

fn read(file: &[u8]) -> Result<(Header, Vec<Item>), Refusal> {
    let reading = Reading::new(file, NOW)?;
    let header = reading.header().clone();
    Ok((header, reading.collect::<Result<_, _>>()?))
}

/// A file with this text in it, sealed as if the program had made it.
fn sealed(text: &[u8]) -> Vec<u8> {
    let mut packed = GzBuilder::new().write(Sealing::new(Vec::new()), Compression::best());
    packed.write_all(text).expect("room");
    packed.finish().expect("room").seal().expect("room")
}

/// The text of a small hand-in, by lines.
fn lines() -> Vec<String> {
    let file = file(&sitting(3));
    let mut text = String::new();
    let mut unpacked = flate2::read::MultiGzDecoder::new(file.as_slice());
    std::io::Read::read_to_string(&mut unpacked, &mut text).expect("as zcat shows it");
    text.lines().map(str::to_owned).collect()
}

proptest! {
    #[test]
    fn what_was_written_is_read(seed: u64, n in 0_usize..20) {
        let mut dice = Seed(seed).dice();
        let attempts: Vec<Attempt> = (0..n).map(|_| any_attempt(&mut dice)).collect();
        let doubt = |(idx, attempt): (usize, &Attempt)| Doubt {
            attempt: attempt.id,
            at: attempt.at,
            note: (idx % 2 == 0).then(|| Label::new("both, \"I think\"").expect("a label")),
        };
        let doubts: Vec<Doubt> = attempts.iter().enumerate().step_by(3).map(doubt).collect();
        let header = header(n, doubts.len());
        let file = written(header.clone(), &attempts, &doubts);
        let items = attempts.into_iter().map(Item::Attempt);
        let items = items.chain(doubts.into_iter().map(Item::Dispute)).collect();
        prop_assert_eq!(read(&file), Ok((header, items)));
    }

    #[test]
    fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        prop_assert!(read(&bytes).is_err());
    }

    #[test]
    fn no_text_panics(line in 0_usize..4, at: usize, new in "\\PC{0,12}|[\\[\\]{},\"0-9-]{0,9}") {
        let mut lines = lines();
        let text = &mut lines[line];
        let mut at = at % text.len();
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        text.insert_str(at, &new);
        let text = lines.join("\n") + "\n";
        if let Ok((header, items)) = read(&sealed(text.as_bytes())) {
            prop_assert_eq!(items.len(), 3);
            prop_assert_eq!(header.n_attempts, 3);
        }
    }
}

#[test]
fn a_cut_at_every_byte_is_refused() {
    let file = file(&sitting(5));
    assert!(read(&file).is_ok());
    for cut in 0..file.len() {
        let refusal = read(&file[..cut]).expect_err("a cut file");
        let expected = if cut < 2 {
            Refusal::Foreign
        } else {
            Refusal::Cut
        };
        assert_eq!(refusal, expected, "cut at {cut}");
    }
}

#[test]
fn an_alteration_of_every_bit_is_refused() {
    let mut file = file(&sitting(5));
    for place in 0..file.len() {
        for bit in 0..8 {
            file[place] ^= 1 << bit;
            let refusal = read(&file).expect_err("an altered file");
            let known = matches!(refusal, Refusal::Foreign | Refusal::Cut | Refusal::Altered);
            assert!(known, "bit {bit} of byte {place}: {refusal}");
            file[place] ^= 1 << bit;
        }
    }
    assert!(read(&file).is_ok());
}

#[test]
fn what_follows_the_seal_is_refused() {
    let one = file(&sitting(2));
    assert_eq!(read(&[&one[..], b"\n"].concat()), Err(Refusal::Cut));
    let twice = [&one[..], &one].concat();
    assert_eq!(read(&twice), Err(Refusal::Altered));
    // Text of a second member, under a good seal.
    let mut packed = Sealing::new(Vec::new());
    for _ in 0..2 {
        let mut member = GzBuilder::new().write(Vec::new(), Compression::best());
        member
            .write_all((lines().join("\n") + "\n").as_bytes())
            .expect("room");
        packed
            .write_all(&member.finish().expect("room"))
            .expect("room");
    }
    let file = packed.seal().expect("room");
    assert_eq!(
        read(&file),
        Err(Refusal::Packing("more follows its text".to_owned()))
    );
}

#[track_caller]
fn check_text(text: &str, says: &str) {
    let refusal = read(&sealed(text.as_bytes())).expect_err(says);
    assert!(refusal.to_string().contains(says), "{refusal}");
}

#[test]
fn every_wrong_line_is_named() {
    let text = |from: &str, to: &str| {
        let text = lines().join("\n") + "\n";
        assert!(text.contains(from), "{from:?} in {text}");
        text.replacen(from, to, 1)
    };
    check_text("", "does not begin as a hand-in");
    check_text("hello\n", "line 1: a header was expected");
    check_text(
        &text("\"hand-in\":1", "\"hand-in\":2"),
        "format 2; this contrapalma knows format 1",
    );
    check_text(&text("\"hand-in\":1,", ""), "no readable \"hand-in\"");
    check_text(&text("0000000000000005", "../../etc/passwd"), "\"learner\"");
    check_text(&text("Anna", "\\u001b[2J"), "\"name\"");
    check_text(&text("\"machines\":[", "\"machines\":[7,"), "\"machines\"");
    check_text(
        &text("\"attempts\":3,", "\"attempts\":4,"),
        "promises 4 attempts, and there are 3",
    );
    check_text(
        &text("\"attempts\":3,", "\"attempts\":2,"),
        "promises 2 attempts, and there are 3",
    );
    check_text(
        &text("\"attempts\":3,", "\"attempts\":1000001,"),
        "number of attempts",
    );
    check_text(&text("\"attempts\":3,", "\"attempts\":-3,"), "\"attempts\"");
    check_text(
        &text("machine\"]", "machine\",\"more\"]"),
        "the columns of this format",
    );
    check_text(
        &text("feel twos", "feel fours"),
        "line 2: no readable truth",
    );
    check_text(
        &text("]\n[", "],\n["),
        "an attempt or a dispute was expected",
    );
    check_text(
        &text("]\n[", "]\n\n["),
        "line 3: an attempt or a dispute was expected",
    );
    check_text(&text("]\n[", "]\n[12,"), "line 3: no readable");
    check_text(
        lines().join("\n").as_str(),
        "line 4: an end of the line was expected",
    );
}

#[test]
fn values_out_of_range_are_named() {
    let first = &sitting(1)[0];
    let check = |change: &dyn Fn(&mut Attempt), column: &str| {
        let mut attempt = first.clone();
        change(&mut attempt);
        let refusal = read(&file(&[attempt])).expect_err(column);
        let says = format!("line 2: no readable {column} of an attempt");
        assert_eq!(refusal.to_string(), says);
    };
    check(&|a| a.offset_min = 1441, "ahead-of-utc-min");
    check(&|a| a.day = Day(TODAY + 5), "day");
    check(&|a| a.skill = Skill("=cmd/x".into()), "skill");
    check(&|a| a.skill = Skill("path/<b>".into()), "skill");
    check(&|a| a.skill = Skill("../x/y".into()), "skill");
    check(&|a| a.skill = Skill("nowhere".into()), "skill");
    check(
        &|a| a.skill = Skill(format!("a/{}", "b".repeat(95)).into()),
        "skill",
    );
    let tap = KeptTap {
        ms: 1,
        hand: Hand::Either,
    };
    check(&|a| a.taps = vec![tap; limit::TAPS + 1], "taps-ms-apart");
    let mut most = first.clone();
    most.taps = vec![tap; limit::TAPS];
    assert!(read(&file(&[most])).is_ok());
}

#[test]
fn attempts_of_the_future_are_refused() {
    let mut attempt = sitting(1).remove(0);
    let at = |attempt: &mut Attempt, ms: i64| {
        attempt.at = Moment(ms);
        attempt.day = Day(i32::try_from(ms / DAY_MS).expect("a day"));
    };
    // A day of difference between two clocks is borne.
    at(&mut attempt, NOW.0 + DAY_MS);
    assert!(read(&file(std::slice::from_ref(&attempt))).is_ok());
    at(&mut attempt, NOW.0 + DAY_MS + 1);
    let refusal = read(&file(std::slice::from_ref(&attempt))).expect_err("a future");
    assert!(matches!(refusal, Refusal::Future { line: 2, id, .. } if id == attempt.id));
}

#[test]
fn bombs_end_at_their_limits() {
    // A kibibyte of file for each mebibyte of text.
    let long = sealed(&vec![b'['; 64 << 20]);
    assert!(long.len() < 100_000);
    assert_eq!(read(&long), Err(Refusal::LongLine(1)));
    let mut text = lines().join("\n").into_bytes();
    text.push(b'\n');
    text.resize(64 << 20, b'\n');
    let refusal = read(&sealed(&text)).expect_err("a bomb of empty lines");
    assert!(
        matches!(refusal, Refusal::Line { line: 5, .. }),
        "{refusal}"
    );
    let deep = format!("{}\n{}\n", lines()[0], "[".repeat(60_000));
    assert!(matches!(
        read(&sealed(deep.as_bytes())),
        Err(Refusal::Line { line: 2, .. })
    ));
    let large = vec![0x1f; usize::try_from(limit::FILE).expect("fits") + 1];
    assert_eq!(read(&large), Err(Refusal::TooLarge));
    assert!(matches!(
        Writer::new(Vec::new(), header(1_000_001, 0)).map(|_| ()),
        Err(WriteError::TooMany(1_000_001))
    ));
}

#[test]
fn text_that_is_no_utf8_is_named() {
    let mut text = lines().join("\n").into_bytes();
    text.push(b'\n');
    let place = text
        .windows(4)
        .position(|four| four == b"Anna")
        .expect("a name");
    text[place] = 0xff;
    let refusal = read(&sealed(&text)).expect_err("no UTF-8");
    assert_eq!(refusal.to_string(), "line 1: text in UTF-8 was expected");
}

#[test]
fn a_writer_keeps_what_its_header_promises() {
    let attempts = sitting(2);
    let mut writer = Writer::new(Vec::new(), header(2, 0)).expect("a writer");
    writer.attempt(&attempts[0]).expect("an attempt");
    assert!(matches!(writer.finish(), Err(WriteError::Count)));
    let mut writer = Writer::new(Vec::new(), header(1, 0)).expect("a writer");
    let mut foreign = attempts[1].clone();
    foreign.id.install = 9;
    assert!(matches!(
        writer.attempt(&foreign),
        Err(WriteError::Unnamed(9))
    ));
}

#[test]
fn a_line_that_goes_on_as_before_is_short() {
    let lines = lines();
    let as_before = r#"[12000,0,58,10927,"feel twos","turn 3",0,1426244699,3917401357,2,"",""]"#;
    assert_eq!(lines[2], as_before);
    assert_eq!(lines[3], as_before.replace(",2,", ",3,"));
}

#[test]
fn file_names_are_plain() {
    let name = |text| file_name(&Label::new(text).expect("a label"), "2026-01-20");
    assert_eq!(name("Anna B."), "hand-in-anna-b-2026-01-20.jsonl.gz");
    assert_eq!(
        name("../../etc/passwd"),
        "hand-in-etc-passwd-2026-01-20.jsonl.gz"
    );
    assert_eq!(name("=1+1;<b>"), "hand-in-1-1-b-2026-01-20.jsonl.gz");
    assert_eq!(name("José"), "hand-in-jos-2026-01-20.jsonl.gz");
    assert_eq!(name("愛"), "hand-in-learner-2026-01-20.jsonl.gz");
}

/// A year of daily practice stays under a mebibyte: 60 attempts a day, two in five of them clapped
/// with 18 taps that spread by 20 ms, and nothing in them that repeats more than practice does.
#[test]
fn a_year_is_small() {
    let mut dice = Seed(9).dice();
    let base = sitting(1).remove(0);
    let mut attempts = Vec::new();
    for day in 0..365_i32 {
        let began = NOW.0 - i64::from(365 - day) * DAY_MS + dice.between(0, 7_200_000);
        let mut since = 0_i64;
        for number in 1..=60_u32 {
            since += dice.between(9_000, 25_000);
            let mut attempt = base.clone();
            attempt.id.sitting = u32::try_from(day + 1).expect("days");
            attempt.id.number = number;
            // The two clocks are read one after the other.
            attempt.at = Moment(began + since + dice.between(0, 1));
            attempt.wall = attempt.at;
            attempt.since_start_ms = u32::try_from(since).expect("minutes");
            attempt.day = Day(TODAY - 365 + day);
            attempt.block = number.div_ceil(5);
            if number % 5 == 1 {
                attempt.phase = Phase::Probe;
                attempt.skill = Skill(format!("path/skill-{}", dice.below(48)).into());
            } else {
                attempt.phase = Phase::Adaptive;
            }
            attempt.skill = attempts
                .last()
                .filter(|_| number % 5 != 1)
                .map_or(attempt.skill, |last: &Attempt| last.skill.clone());
            attempt.level = Level::of_tenths(small(&mut dice, 20, 80));
            attempt.tempo =
                Tempo::of_hundredths(100 * small::<u32>(&mut dice, 100, 220)).expect("in range");
            let feel = |dice: &mut Dice| *dice.pick(&[Feel::Threes, Feel::Twos]).expect("two");
            attempt.truth = Answer::Feel(feel(&mut dice));
            attempt.answer = Answer::Feel(feel(&mut dice));
            attempt.right = attempt.truth == attempt.answer;
            attempt.heard_tenths = small(&mut dice, 10, 40);
            attempt.answer_ms = small(&mut dice, 300, 6_000);
            attempt.replays = u8::from(dice.one_in(7));
            attempt.seed = Seed(dice.between(i64::MIN, i64::MAX).cast_unsigned());
            let gap = 2 * 6_000_000 / i64::from(attempt.tempo.hundredths());
            let clapped = dice.below(5) < 2;
            let tap = |n: i64, dice: &mut Dice| KeptTap {
                ms: i32::try_from(n * gap + dice.between(-40, 40)).expect("a minute"),
                hand: Hand::Either,
            };
            attempt.taps = (0..18)
                .filter(|_| clapped)
                .map(|n| tap(n, &mut dice))
                .collect();
            attempt.timing = clapped.then(|| KeptTiming {
                lead_ms: small(&mut dice, -40, 0),
                spread_tenths: small(&mut dice, 150, 400),
                pulse_ms: u32::try_from(gap / 2).expect("a second"),
                n: 18,
            });
            attempts.push(attempt);
        }
    }
    let file = file(&attempts);
    assert_eq!(read(&file).map(|(_, items)| items.len()), Ok(365 * 60));
    println!("{} bytes", file.len());
    assert!(file.len() < 1_000_000, "{} bytes", file.len());
}
