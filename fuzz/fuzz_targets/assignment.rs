//! Whatever an assignment says, it is faults with places or something that reads the same when it is
//! written again.
#![no_main]

use contrapalma::class::assignment::text;
use contrapalma::deck::{built_in_text, parse_assigned};
use contrapalma::world::Moment;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(behind) = std::str::from_utf8(bytes) else {
        return;
    };
    // As it stands, and behind a deck that is whole: few bytes make one.
    drop(parse_assigned(behind));
    let deck = built_in_text("first-steps").expect("it comes with the program");
    let whole = format!("{deck}\n{behind}");
    match parse_assigned(&whole) {
        Ok(read) => {
            let again = text(deck, &read.assignment, &read.news, Moment(0));
            let again = parse_assigned(&again).expect("what is written can be read");
            assert_eq!(again.assignment, read.assignment);
            assert_eq!(again.news.taken_back, read.news.taken_back);
        }
        Err(faults) => assert!(!faults.is_empty()),
    }
});
