//! Inputs as text, for a command line and for forms. Knows shapes, not formulas.

use super::formula::{Formula, Input, Kind, LONGEST_LIST};

/// What was wrong with the question itself.
///
/// Names the formula, the input and the place; never repeats what was typed as a value.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum AskError {
    /// No formula has this id.
    #[error("no formula is called {id}")]
    UnknownFormula {
        /// The id that was asked for.
        id: String,
    },
    /// The formula has no such input.
    #[error("{formula} has no input {key}; it takes {allowed}")]
    UnknownInput {
        /// Id of the formula.
        formula: &'static str,
        /// The key that was given.
        key: String,
        /// The inputs that it takes.
        allowed: String,
    },
    /// An input without a default is missing.
    #[error("{formula} needs the input {input} ({unit})")]
    MissingInput {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
        /// Its unit.
        unit: &'static str,
    },
    /// The same input was given twice.
    #[error("{formula} was given {input} more than once")]
    RepeatedInput {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
    },
    /// A text that is no number.
    #[error("{formula}: item {item} of {input} is not a number")]
    NotANumber {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
        /// Which item, from 1.
        item: usize,
    },
    /// A text of the wrong shape.
    #[error("{formula}: {input} must look like {shape}")]
    WrongShape {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
        /// What it must look like.
        shape: &'static str,
    },
    /// A word that is not in the closed list.
    #[error("{formula}: {input} must be one of {allowed}")]
    UnknownWord {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
        /// The allowed words.
        allowed: String,
    },
    /// A text of more items than any formula takes.
    #[error("{formula}: {input} has more than {limit} items")]
    TooLong {
        /// Id of the formula.
        formula: &'static str,
        /// Name of the input.
        input: &'static str,
        /// Largest number of items.
        limit: usize,
    },
}

/// The inputs of one question, checked for unknown, repeated and missing names.
#[derive(Debug)]
pub struct Args<'a> {
    formula: &'static Formula,
    pairs: &'a [(&'a str, &'a str)],
}

impl<'a> Args<'a> {
    /// Checks the names.
    ///
    /// # Errors
    /// Unknown, repeated or missing input.
    pub fn new(formula: &'static Formula, pairs: &'a [(&'a str, &'a str)]) -> Result<Self, AskError> {
        for (index, (key, _)) in pairs.iter().enumerate() {
            let Some(input) = formula.inputs.iter().find(|input| input.name == *key) else {
                let names: Vec<_> = formula.inputs.iter().map(|input| input.name).collect();
                return Err(AskError::UnknownInput {
                    formula: formula.id,
                    key: key.chars().take(40).collect(),
                    allowed: names.join(", "),
                });
            };
            if pairs.iter().take(index).any(|(earlier, _)| earlier == key) {
                return Err(AskError::RepeatedInput { formula: formula.id, input: input.name });
            }
        }
        for input in formula.inputs {
            let given = pairs.iter().any(|(key, _)| *key == input.name);
            if !given && input.default.is_none() && !input.optional {
                return Err(AskError::MissingInput {
                    formula: formula.id,
                    input: input.name,
                    unit: input.unit,
                });
            }
        }
        Ok(Self { formula, pairs })
    }

    /// Id of the formula that was asked.
    #[must_use]
    pub fn id(&self) -> &'static str {
        self.formula.id
    }

    fn find(&self, name: &'static str) -> Option<(&'static Input, &str)> {
        let input = self.formula.inputs.iter().find(|input| input.name == name)?;
        let given = self.pairs.iter().find(|(key, _)| *key == name).map(|(_, text)| *text);
        given.or(input.default).map(|text| (input, text.trim()))
    }

    fn need(&self, name: &'static str) -> Result<(&'static Input, &str), AskError> {
        self.find(name).ok_or(AskError::MissingInput { formula: self.formula.id, input: name, unit: "" })
    }

    fn not_a_number(&self, input: &'static Input, item: usize) -> AskError {
        AskError::NotANumber { formula: self.formula.id, input: input.name, item }
    }

    fn too_long(&self, input: &'static Input) -> AskError {
        AskError::TooLong { formula: self.formula.id, input: input.name, limit: LONGEST_LIST }
    }

    /// A number.
    ///
    /// # Errors
    /// Missing, or not a number.
    pub fn number(&self, name: &'static str) -> Result<f64, AskError> {
        let (input, text) = self.need(name)?;
        parse_number(text).ok_or_else(|| self.not_a_number(input, 1))
    }

    /// A number that may be left out.
    ///
    /// # Errors
    /// Not a number.
    pub fn maybe_number(&self, name: &'static str) -> Result<Option<f64>, AskError> {
        match self.find(name) {
            None => Ok(None),
            Some(_) => self.number(name).map(Some),
        }
    }

    /// A list without gaps.
    ///
    /// # Errors
    /// Missing, an item that is no number, or too many items.
    pub fn list(&self, name: &'static str) -> Result<Vec<f64>, AskError> {
        let (input, text) = self.need(name)?;
        let items = self.items(input, text)?;
        items
            .into_iter()
            .enumerate()
            .map(|(index, item)| item.ok_or_else(|| self.not_a_number(input, index + 1)))
            .collect()
    }

    /// A list that may be left out.
    ///
    /// # Errors
    /// As [`Args::list`].
    pub fn maybe_list(&self, name: &'static str) -> Result<Option<Vec<f64>>, AskError> {
        match self.find(name) {
            None => Ok(None),
            Some(_) => self.list(name).map(Some),
        }
    }

    /// A list in which `-` stands for a missing item.
    ///
    /// # Errors
    /// As [`Args::list`].
    pub fn gaps(&self, name: &'static str) -> Result<Vec<Option<f64>>, AskError> {
        let (input, text) = self.need(name)?;
        self.items(input, text)
    }

    /// Rows of numbers.
    ///
    /// # Errors
    /// As [`Args::list`].
    pub fn table(&self, name: &'static str) -> Result<Vec<Vec<f64>>, AskError> {
        let (input, text) = self.need(name)?;
        let mut rows = Vec::new();
        let mut seen = 0;
        for row in text.split(';') {
            let items = self.items(input, row)?;
            let row: Option<Vec<f64>> = items.iter().copied().collect();
            rows.push(row.ok_or_else(|| {
                let at = items.iter().position(Option::is_none).unwrap_or(0);
                self.not_a_number(input, seen + at + 1)
            })?);
            seen += items.len();
            if seen > LONGEST_LIST {
                return Err(self.too_long(input));
            }
        }
        Ok(rows)
    }

    /// A stock: `25:1,15:2`.
    ///
    /// # Errors
    /// Missing, or not of that shape.
    pub fn stock(&self, name: &'static str) -> Result<Vec<(f64, u32)>, AskError> {
        let (input, text) = self.need(name)?;
        let shape = AskError::WrongShape {
            formula: self.formula.id,
            input: input.name,
            shape: "25:1,15:2 (mass in kg and pairs)",
        };
        let mut stock = Vec::new();
        for (index, entry) in text.split(',').enumerate() {
            let Some((mass, pairs)) = entry.split_once(':') else {
                return Err(shape);
            };
            let mass = parse_number(mass).ok_or_else(|| self.not_a_number(input, index + 1))?;
            let Ok(pairs) = pairs.trim().parse::<u32>() else {
                return Err(shape);
            };
            if stock.len() >= LONGEST_LIST {
                return Err(self.too_long(input));
            }
            stock.push((mass, pairs));
        }
        Ok(stock)
    }

    /// A word of the declared list; an unknown word is refused here.
    ///
    /// # Errors
    /// Missing, or not one of the words.
    pub fn word(&self, name: &'static str) -> Result<&'static str, AskError> {
        let (input, text) = self.need(name)?;
        let Kind::Word(words) = input.kind else {
            return Err(AskError::WrongShape { formula: self.formula.id, input: name, shape: "a word" });
        };
        let known = words.iter().copied().find(|word| *word == text);
        known.ok_or_else(|| AskError::UnknownWord {
            formula: self.formula.id,
            input: input.name,
            allowed: words.join(", "),
        })
    }

    /// A word that may be left out.
    ///
    /// # Errors
    /// Not one of the words.
    pub fn maybe_word(&self, name: &'static str) -> Result<Option<&'static str>, AskError> {
        match self.find(name) {
            None => Ok(None),
            Some(_) => self.word(name).map(Some),
        }
    }

    /// Yes or no.
    ///
    /// # Errors
    /// Missing, or neither.
    pub fn flag(&self, name: &'static str) -> Result<bool, AskError> {
        let (input, text) = self.need(name)?;
        match text {
            "yes" | "true" | "1" => Ok(true),
            "no" | "false" | "0" => Ok(false),
            _ => {
                Err(AskError::WrongShape { formula: self.formula.id, input: input.name, shape: "yes or no" })
            }
        }
    }

    /// Free text.
    ///
    /// # Errors
    /// Missing.
    pub fn text(&self, name: &'static str) -> Result<String, AskError> {
        let (_, text) = self.need(name)?;
        Ok(text.chars().take(200).collect())
    }

    /// `1,2,3`, with runs (`21x300`) and, between runs, `+` as well as `,`.
    fn items(&self, input: &'static Input, text: &str) -> Result<Vec<Option<f64>>, AskError> {
        let mut items = Vec::new();
        if text.trim().is_empty() {
            return Ok(items);
        }
        let mut push = |item: Option<f64>, times: usize| {
            if items.len().saturating_add(times) > LONGEST_LIST {
                return Err(self.too_long(input));
            }
            items.extend(std::iter::repeat_n(item, times));
            Ok(items.len())
        };
        let mut place = 1;
        for piece in text.split(',') {
            let runs: Vec<&str> = if piece.contains('x') { piece.split('+').collect() } else { vec![piece] };
            for run in runs {
                let (times, item) = match run.split_once('x') {
                    Some((times, item)) => {
                        let times = times.trim().parse::<usize>();
                        (times.map_err(|_| self.not_a_number(input, place))?, item)
                    }
                    None => (1, run),
                };
                let item = match item.trim() {
                    "-" => None,
                    item => Some(parse_number(item).ok_or_else(|| self.not_a_number(input, place))?),
                };
                place = push(item, times)? + 1;
            }
        }
        Ok(items)
    }
}

/// A decimal number or a simple fraction. `NaN` and `inf` pass: the formula refuses them by name.
fn parse_number(text: &str) -> Option<f64> {
    let text = text.trim();
    if let Some((top, bottom)) = text.split_once('/') {
        let bottom = bottom.trim().parse::<f64>().ok()?;
        return (bottom != 0.0).then_some(top.trim().parse::<f64>().ok()? / bottom);
    }
    text.parse().ok()
}
