//! Figures with what they rest on, and reasons why there is none, as data.

use backstraight_core::science::Caution;
use backstraight_core::view::why::{Figure, Lack, Why};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A figure, or why there is none: exactly one of `value` and `lack` is there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FigureReport {
    /// The number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Its unit; empty for a mere number.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub unit: String,
    /// What it rests on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<WhyReport>,
    /// Why there is no number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lack: Option<LackReport>,
}

/// Why there is no figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LackReport {
    /// A stable word.
    pub code: String,
    /// In words.
    pub words: String,
}

/// The rule behind a figure and what went into it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WhyReport {
    /// Stable name of the formula or rule.
    pub formula: String,
    /// Its version.
    pub version: u16,
    /// The rule in a line.
    pub rule: String,
    /// Its source.
    pub source: String,
    /// What went in.
    pub parts: Vec<PartReport>,
    /// Remarks on this result.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    /// The caution to show beside it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<CautionReport>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CautionReport {
    /// A stable word.
    pub code: String,
    /// One or two sentences for a person.
    pub words: String,
}

/// One number that went into a figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PartReport {
    /// What it is.
    pub name: String,
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// The day of which it tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
}

impl WhyReport {
    /// From core.
    #[must_use]
    pub fn of(why: &Why) -> WhyReport {
        let part = |p: &backstraight_core::view::why::Part| PartReport {
            name: p.name.clone(),
            value: p.value,
            unit: p.unit.to_owned(),
            on: p.on.map(|d| d.to_string()),
        };
        WhyReport {
            formula: why.formula.to_owned(),
            version: why.version,
            rule: why.rule.to_owned(),
            source: why.source.to_owned(),
            parts: why.parts.iter().map(part).collect(),
            notes: why.notes.iter().map(|n| (*n).to_owned()).collect(),
            caution: why.caution.map(CautionReport::of),
        }
    }
}

impl CautionReport {
    /// From core.
    #[must_use]
    pub fn of(caution: Caution) -> CautionReport {
        CautionReport { code: caution.code().to_owned(), words: caution.text().to_owned() }
    }
}

impl LackReport {
    /// From core.
    #[must_use]
    pub fn of(lack: &Lack) -> LackReport {
        LackReport { code: lack.code().to_owned(), words: lack.words() }
    }
}

impl FigureReport {
    /// A figure.
    #[must_use]
    pub fn some(figure: &Figure) -> FigureReport {
        FigureReport {
            value: Some(figure.value),
            unit: figure.unit.to_owned(),
            why: Some(WhyReport::of(&figure.why)),
            lack: None,
        }
    }

    /// A figure, or why there is none.
    #[must_use]
    pub fn of(outcome: &Result<Figure, Lack>) -> FigureReport {
        match outcome {
            Ok(figure) => FigureReport::some(figure),
            Err(lack) => {
                FigureReport { value: None, unit: String::new(), why: None, lack: Some(LackReport::of(lack)) }
            }
        }
    }

    /// The number, or a dash.
    #[must_use]
    pub fn short(&self) -> String {
        self.value.map_or_else(
            || "–".to_owned(),
            |v| if v.abs() < 10.0 { format!("{v:.2}") } else { format!("{v:.0}") },
        )
    }
}
