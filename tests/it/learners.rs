//! The plan against other ways to choose, on invented learners: `cargo bench --bench learners` prints
//! the whole table; this holds the gate with fewer people.

#[path = "../../benches/learners/person.rs"]
mod person;
#[path = "../../benches/learners/policy.rs"]
mod policy;
#[path = "../../benches/learners/table.rs"]
mod table;

use policy::Path;
use table::{SIZES, row, worlds_of};

#[test]
fn the_plan_keeps_more_than_chance_and_no_less_than_fixed_gaps() {
    /// Rows of so few people lie within so much of those of many.
    const CERTAIN: f64 = 0.97;
    // Enough that a row's ratio is within about 0.03 of that of 200 people.
    const N_PEOPLE: u32 = 40;
    for n_cycles in SIZES {
        let path = Path::new(n_cycles);
        for world in worlds_of(n_cycles) {
            let below = row(*world, &path, N_PEOPLE).below_the_gate(CERTAIN);
            assert!(below.is_empty(), "{below:?}");
        }
    }
}
