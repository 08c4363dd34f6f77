//! A measured figure beside its budget, as a row of a table or as one JSON object a line. Knows nothing of what is
//! measured.

/// What was measured, the most that it may be, and how it is measured again.
#[derive(Debug)]
pub(crate) struct Figure<'a> {
    pub(crate) what: &'a str,
    pub(crate) budget: Option<f64>,
    pub(crate) figure: f64,
    pub(crate) unit: &'a str,
    pub(crate) command: &'a str,
}

impl Figure<'_> {
    /// Prints it.
    pub(crate) fn print(&self, json: bool) {
        println!("{}", if json { self.json() } else { self.row() });
    }

    fn holds(&self) -> Option<bool> {
        self.budget.map(|most| self.figure <= most)
    }

    fn row(&self) -> String {
        let (what, unit) = (self.what, self.unit);
        let budget = self.budget.map_or_else(String::new, |most| format!("<= {most} {unit}"));
        let holds = self.holds().map_or("", |holds| if holds { "yes" } else { "NO" });
        format!("| {what} | {:.2} {unit} | {budget} | {holds} |", self.figure)
    }

    fn json(&self) -> String {
        let null = || "null".to_owned();
        format!(
            "{{\"what\":{},\"budget\":{},\"figure\":{},\"unit\":{},\"holds\":{},\"command\":{}}}",
            quoted(self.what),
            self.budget.map_or_else(null, |most| most.to_string()),
            self.figure,
            quoted(self.unit),
            self.holds().map_or_else(null, |holds| holds.to_string()),
            quoted(self.command),
        )
    }
}

/// A part that could not be measured, as JSON.
pub(crate) fn missing(command: &str, tool: &str, bring: &str) -> String {
    format!("{{\"command\":{},\"missing\":{},\"bring\":{}}}", quoted(command), quoted(tool), quoted(bring))
}

/// A text as JSON has it.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_told_beside_its_budget() {
        let figure =
            Figure { what: "a \"call\"", budget: Some(20.0), figure: 20.5, unit: "us", command: "x" };
        assert_eq!(figure.row(), "| a \"call\" | 20.50 us | <= 20 us | NO |");
        assert_eq!(
            figure.json(),
            r#"{"what":"a \"call\"","budget":20,"figure":20.5,"unit":"us","holds":false,"command":"x"}"#
        );
        let within = Figure { budget: Some(20.5), ..figure };
        assert!(within.row().ends_with("| yes |"));
        let without = Figure { budget: None, ..within };
        assert!(without.json().contains(r#""budget":null,"#) && without.json().contains(r#""holds":null"#));
    }

    #[test]
    fn what_is_missing_is_told_with_what_brings_it() {
        let told = missing("c", "Chromium", "apt-get install chromium");
        assert_eq!(told, r#"{"command":"c","missing":"Chromium","bring":"apt-get install chromium"}"#);
    }
}
