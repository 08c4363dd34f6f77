//! Every budget that can be measured by itself, in one run: prints a table, or with `--json` one
//! JSON object a line. Says whether each holds and never fails because one does not.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a measurement that cannot be made ends the program")]

mod board;
mod burst;
mod documents;
mod measure;
mod pace;
mod phone;
mod race;
mod science;
mod sim;
mod stage;
mod story;
mod streams;
mod upload;

use measure::Row;

const COMMAND: &str = "cargo bench -p backstraight-tests --bench budgets";

/// A part by its name, to run alone.
type Part = (&'static str, fn(&documents::Club) -> Vec<Row>);

const PARTS: [Part; 8] = [
    ("documents", documents::figures),
    ("upload", upload::figures),
    ("phone", |_| phone::figures()),
    ("science", |_| science::figures()),
    ("board", |_| board::figures()),
    ("burst", burst::figures),
    ("streams", |_| streams::figures()),
    ("sim", |_| sim::figures()),
];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    stage::log_to_nowhere();
    // This program is also what it measures, in processes of their own.
    match args.split_first() {
        Some((word, rest)) if word == burst::SERVE => return burst::serve(rest),
        Some((word, rest)) if word == streams::LISTEN => return streams::listen(rest),
        Some((word, _)) if word == streams::SERVE => return streams::serve(),
        Some((word, _)) if word == race::ECHO => return race::serve_echo(),
        Some((word, rest)) if word == race::WORD => return race::run(rest),
        _ => {}
    }
    let json = args.iter().any(|a| a == "--json");
    let wanted: Vec<&String> = args.iter().filter(|a| *a != "--json").collect();
    if let Some(unknown) = wanted.iter().find(|w| !PARTS.iter().any(|(name, _)| *name == w.as_str())) {
        let names: Vec<&str> = PARTS.iter().map(|(name, _)| *name).collect();
        eprintln!("no such part: {unknown}; there are {}", names.join(", "));
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
