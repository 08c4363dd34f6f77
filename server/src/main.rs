//! The program: reads its arguments and does what they say.

fn main() -> std::process::ExitCode {
    backstraight_server::cli::main()
}
