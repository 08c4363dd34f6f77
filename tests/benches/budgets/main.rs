//! Every budget that can be measured by itself, in one run: prints a table, or with `--json` one
//! JSON object a line. Says whether each holds and never fails because one does not.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a measurement that cannot be made ends the program")]

mod board;
mod burst;
mod documents;
mod measure;
mod pace;
mod phone;
mod science;
mod stage;
mod story;
mod upload;

use measure::Row;

const COMMAND: &str = "cargo bench -p backstraight-tests --bench budgets";

/// A part by its name, to run alone.
type Part = (&'static str, fn(&documents::Club) -> Vec<Row>);

const PARTS: [Part; 6] = [
    ("documents", documents::figures),
    ("upload", upload::figures),
    ("phone", |_| phone::figures()),
    ("science", |_| science::figures()),
    ("board", |_| board::figures()),
    ("burst", burst::figures),
];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    stage::log_to_nowhere();
    if let Some((word, rest)) = args.split_first()
        && word == burst::SERVE
    {
        return burst::serve(rest);
    }
    let json = args.iter().any(|a| a == "--json");
    let wanted: Vec<&String> = args.iter().filter(|a| *a != "--json").collect();
    if let Some(unknown) = wanted.iter().find(|w| !PARTS.iter().any(|(name, _)| *name == w.as_str())) {
        eprintln!("no such part: {unknown}; there are documents, upload, phone, science, board, burst");
        std::process::exit(2);
    }
    let club = documents::Club::of(story::WEEKS);
    if !json {
        println!("| what | budget | figure | holds | command | about it |\n|---|---|---|---|---|---|");
    }
    print("any", pace::figures(), json);
    for (name, part) in PARTS {
        if !wanted.is_empty() && !wanted.iter().any(|w| w.as_str() == name) {
            continue;
        }
        print(name, part(&club), json);
    }
    if !json {
        println!("\n… is `{COMMAND} --`");
    }
}

fn print(part: &str, rows: Vec<Row>, json: bool) {
    for row in rows {
        if json {
            println!("{}", row.json(&format!("{COMMAND} -- {part}")));
        } else {
            println!("{}", row.line(&format!("… {part}")));
        }
    }
}
