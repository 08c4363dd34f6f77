//! Reads questions line by line and prints one line of JSON for each. For checking against other
//! implementations; knows nothing but the registry and two distributions.
//!
//! A line is an id and `key=value` pairs separated by blanks. Two ids are not formulas but give the
//! checking script a view of the distributions: `dist.t level=0.95 df=10` (two-sided quantile) and
//! `dist.f f=4.96 between=1 within=10` (upper tail).

use std::io::{self, BufRead as _, Write as _};

use backstraight_core::science::{registry, stats};

fn main() -> io::Result<()> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        writeln!(out, "{}", answer(&line?))?;
    }
    out.flush()
}

fn answer(line: &str) -> String {
    let mut words = line.split_whitespace();
    let id = words.next().unwrap_or("");
    let pairs: Vec<(&str, &str)> = words.filter_map(|word| word.split_once('=')).collect();
    if let Some(name) = id.strip_prefix("dist.") {
        return distribution(name, &pairs);
    }
    match registry::run(id, &pairs) {
        Ok(answer) => answer.to_json(),
        Err(error) => format!("{{\"error\":{:?}}}", error.to_string()),
    }
}

fn distribution(name: &str, pairs: &[(&str, &str)]) -> String {
    let get = |key: &str| -> f64 {
        let text = pairs.iter().find(|(given, _)| *given == key).map(|(_, text)| *text);
        text.and_then(|text| text.parse().ok()).unwrap_or(f64::NAN)
    };
    let value = match name {
        "t" => stats::t_quantile(get("level"), get("df")),
        "normal" => stats::normal_quantile(get("level")),
        "t_tail" => stats::t_tail(get("t"), get("df")),
        "f" => stats::f_tail(get("f"), get("between"), get("within")),
        _ => None,
    };
    value.map_or_else(|| "{\"value\":null}".to_owned(), |value| format!("{{\"value\":{value:?}}}"))
}
