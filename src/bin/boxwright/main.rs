//! `boxwright`: the program. It sees only what the library makes public.

mod cli;
mod page;

fn main() -> std::process::ExitCode {
    cli::run()
}
