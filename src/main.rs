//! Arguments in, exit code out, nothing else.

use std::process::ExitCode;

use contrapalma::world::Env;

fn main() -> ExitCode {
    contrapalma::cli::run(std::env::args_os(), &Env::from_system())
}
