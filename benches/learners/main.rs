//! Invented learners practise for ninety days, and a table says what they kept.
//!
//! `cargo bench --bench learners` prints the table, and ends with 1 when the program's plan falls
//! below its gate. `-- N` takes N people instead of 200. It says nothing about people: everything that
//! learns here is invented (`person.rs`). It is there so that a change of the plan, of the levels or
//! of the memory which makes practice worth less does not go by unseen.

mod person;
mod policy;
mod table;

use std::process::ExitCode;

use policy::{POLICIES, Path, Policy};
use table::{Row, SIZES, row, worlds_of};

const N_PEOPLE: u32 = 200;

#[expect(clippy::print_stdout, reason = "the table is what it is for")]
fn main() -> ExitCode {
    let n_people = std::env::args().skip(1).find_map(|arg| arg.parse().ok());
    let n_people = n_people.unwrap_or(N_PEOPLE);
    println!(
        "Skills retained 7 days after 90 days (after 30 in brackets), and per minute against \"{}\".",
        Policy::AnyFixed.name()
    );
    println!("{n_people} invented people, 10 minutes on 4 of 5 days.");
    let mut below = Vec::new();
    for n_cycles in SIZES {
        let path = Path::new(n_cycles);
        println!(
            "\n| {} skills | {} |",
            path.len(),
            POLICIES.map(Policy::name).join(" | ")
        );
        println!("|---|{}", "---|".repeat(POLICIES.len()));
        for world in worlds_of(n_cycles) {
            let row = row(*world, &path, n_people);
            println!("| {} | {} |", world.name, cells(&row).join(" | "));
            below.extend(row.below_the_gate(1.0));
        }
    }
    println!();
    below.iter().for_each(|line| println!("{line}"));
    if below.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn cells(row: &Row) -> Vec<String> {
    let cell = |policy: Policy| {
        let [week, month] = row.outcome(policy).retained;
        let share = row.rate(policy) / row.rate(Policy::AnyFixed);
        format!("{week:.1} ({month:.1}), {share:.2}")
    };
    POLICIES.map(cell).to_vec()
}
