//! One answer of the registry as JSON and as plain text. Knows no formula by name.

use std::fmt::Write as _;

use super::{Computation, Formula, Given, Outputs, Reason, Value};

/// A result with its provenance, or the reason why there is none, in a form that every formula
/// shares.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The formula that was asked.
    pub formula: &'static Formula,
    /// Named outputs (a single one is called `value`), or the reason.
    pub result: Result<Vec<(&'static str, Value)>, Reason>,
    /// What went in; empty beside a reason.
    pub inputs: Vec<Given>,
    /// Remarks on this result.
    pub notes: Vec<&'static str>,
}

impl<T: Outputs> From<Computation<T>> for Answer {
    fn from(computation: Computation<T>) -> Self {
        match computation {
            Ok(computed) => Self {
                formula: computed.formula,
                result: Ok(computed.value.outputs()),
                inputs: computed.inputs,
                notes: computed.notes,
            },
            Err(refusal) => Self {
                formula: refusal.formula,
                result: Err(refusal.reason),
                inputs: Vec::new(),
                notes: Vec::new(),
            },
        }
    }
}

impl Answer {
    /// A named output, if there is a result and the output exists.
    #[must_use]
    pub fn output(&self, name: &str) -> Option<&Value> {
        let outputs = self.result.as_ref().ok()?;
        outputs.iter().find(|(given, _)| *given == name).map(|(_, value)| value)
    }

    /// One line of JSON: `{"id","version","value","unit","inputs","source","notes"?,"caution"?}`,
    /// with `values` and an object of units where there are several outputs, or
    /// `{"id","version","reason"}`.
    #[must_use]
    pub fn to_json(&self) -> String {
        let mut out = String::from("{\"id\":");
        quote(&mut out, self.formula.id);
        let _ = write!(out, ",\"version\":{}", self.formula.version);
        match &self.result {
            Err(reason) => {
                out.push_str(",\"reason\":");
                quote(&mut out, &reason.to_string());
            }
            Ok(outputs) => {
                self.outputs_to_json(&mut out, outputs);
                out.push_str(",\"inputs\":");
                let inputs = self.inputs.iter().map(|given| (given.name, &given.value));
                object(&mut out, inputs);
                out.push_str(",\"source\":");
                quote(&mut out, self.formula.source);
                if !self.notes.is_empty() {
                    out.push_str(",\"notes\":");
                    array(&mut out, self.notes.iter(), |out, note| quote(out, note));
                }
                if let Some(caution) = self.formula.caution {
                    out.push_str(",\"caution\":");
                    quote(&mut out, caution.text());
                }
            }
        }
        out.push('}');
        out
    }

    fn outputs_to_json(&self, out: &mut String, outputs: &[(&'static str, Value)]) {
        if let [("value", value)] = outputs {
            out.push_str(",\"value\":");
            json(out, value);
            out.push_str(",\"unit\":");
            quote(out, unit_of(self.formula, "value"));
            return;
        }
        out.push_str(",\"values\":");
        object(out, outputs.iter().map(|(name, value)| (*name, value)));
        out.push_str(",\"unit\":{");
        let mut first = true;
        for (name, value) in outputs {
            if *value == Value::Nothing {
                continue;
            }
            if !first {
                out.push(',');
            }
            first = false;
            quote(out, name);
            out.push(':');
            quote(out, unit_of(self.formula, name));
        }
        out.push('}');
    }

    /// A few lines for a terminal. Results are rounded to six digits; JSON keeps them all.
    #[must_use]
    pub fn to_text(&self) -> String {
        let formula = self.formula;
        let mut out = format!("{} ({}, version {})\n", formula.name, formula.id, formula.version);
        match &self.result {
            Err(reason) => {
                let _ = writeln!(out, "  not computable: {reason}");
            }
            Ok(outputs) => {
                for (name, value) in outputs.iter().filter(|(_, value)| *value != Value::Nothing) {
                    let unit = unit_of(formula, name);
                    let gap = if unit.is_empty() { "" } else { " " };
                    let _ = writeln!(out, "  {name} = {}{gap}{unit}", plain(value, six_digits));
                }
                for given in self.inputs.iter().filter(|given| given.value != Value::Nothing) {
                    let _ = writeln!(out, "  from {} = {}", given.name, plain(&given.value, full));
                }
                let _ = writeln!(out, "  source: {} ({})", formula.source, formula.standing.text());
                for note in &self.notes {
                    let _ = writeln!(out, "  note: {note}");
                }
                if let Some(caution) = formula.caution {
                    let _ = writeln!(out, "  caution: {}", caution.text());
                }
            }
        }
        out
    }

    /// The outputs in one line, rounded to six digits, for the generated documentation.
    #[must_use]
    pub fn summary(&self) -> String {
        match &self.result {
            Err(reason) => format!("not computable: {reason}"),
            Ok(outputs) => {
                let parts: Vec<String> = outputs
                    .iter()
                    .filter(|(_, value)| *value != Value::Nothing)
                    .map(|(name, value)| format!("{name} = {}", plain(value, six_digits)))
                    .collect();
                parts.join(", ")
            }
        }
    }
}

/// Declared unit of an output; empty if it has none.
fn unit_of(formula: &Formula, output: &str) -> &'static str {
    formula.units.iter().find(|(name, _)| *name == output).map_or("", |(_, unit)| unit)
}

fn quote(out: &mut String, text: &str) {
    out.push('"');
    for character in text.chars() {
        match character {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if u32::from(c) < 0x20 => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
}

fn array<T>(out: &mut String, items: impl Iterator<Item = T>, mut each: impl FnMut(&mut String, T)) {
    out.push('[');
    for (index, item) in items.enumerate() {
        if index > 0 {
            out.push(',');
        }
        each(out, item);
    }
    out.push(']');
}

/// An object of the values that are there.
fn object<'a>(out: &mut String, entries: impl Iterator<Item = (&'a str, &'a Value)>) {
    out.push('{');
    let mut first = true;
    for (name, value) in entries.filter(|(_, value)| **value != Value::Nothing) {
        if !first {
            out.push(',');
        }
        first = false;
        quote(out, name);
        out.push(':');
        json(out, value);
    }
    out.push('}');
}

/// A number as JSON. Whole numbers have no fraction; a number that is not finite is `null`, which
/// [`Formula::compute`] rules out.
fn number(out: &mut String, number: f64) {
    if number.is_finite() {
        out.push_str(&full(number));
    } else {
        out.push_str("null");
    }
}

fn json(out: &mut String, value: &Value) {
    match value {
        Value::Number(n) => number(out, *n),
        Value::Flag(flag) => out.push_str(if *flag { "true" } else { "false" }),
        Value::Word(text) => quote(out, text),
        Value::Text(text) => quote(out, text),
        Value::List(list) => array(out, list.iter(), |out, n| number(out, *n)),
        Value::Gaps(list) => array(out, list.iter(), |out, item| match item {
            Some(n) => number(out, *n),
            None => out.push_str("null"),
        }),
        Value::Table(rows) => array(out, rows.iter(), |out, row| {
            array(out, row.iter(), |out, n| number(out, *n));
        }),
        Value::Stock(stock) => array(out, stock.iter(), |out, (mass, pairs)| {
            out.push_str("{\"mass\":");
            number(out, *mass);
            let _ = write!(out, ",\"pairs\":{pairs}}}");
        }),
        Value::Nothing => out.push_str("null"),
    }
}

/// Shortest text that reads back as the same number.
fn full(number: f64) -> String {
    let number = number + 0.0; // turns -0 into 0
    if number.fract() == 0.0 && number.abs() < 1e15 { format!("{number}") } else { format!("{number:?}") }
}

/// Six significant digits without trailing zeros: the same on every platform.
fn six_digits(number: f64) -> String {
    let size = number.abs();
    if size != 0.0 && !(1e-4..1e7).contains(&size) {
        return format!("{number:.5e}");
    }
    let decimals = match size {
        s if s >= 1e5 => 0,
        s if s >= 1e4 => 1,
        s if s >= 1e3 => 2,
        s if s >= 1e2 => 3,
        s if s >= 1e1 => 4,
        s if s >= 1.0 => 5,
        s if s >= 0.1 => 6,
        _ => 7,
    };
    let text = format!("{number:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => text.as_str(),
    };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn plain(value: &Value, show: fn(f64) -> String) -> String {
    let list = |numbers: &[f64]| numbers.iter().map(|n| show(*n)).collect::<Vec<_>>().join(",");
    match value {
        Value::Number(n) => show(*n),
        Value::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        Value::Word(text) => (*text).to_owned(),
        Value::Text(text) => text.clone(),
        Value::List(numbers) => list(numbers),
        Value::Gaps(items) => {
            let items = items.iter().map(|item| item.map_or_else(|| "-".to_owned(), show));
            items.collect::<Vec<_>>().join(",")
        }
        Value::Table(rows) => rows.iter().map(|row| list(row)).collect::<Vec<_>>().join(";"),
        Value::Stock(stock) => {
            let entries = stock.iter().map(|(mass, pairs)| format!("{}:{pairs}", show(*mass)));
            entries.collect::<Vec<_>>().join(",")
        }
        Value::Nothing => String::new(),
    }
}
