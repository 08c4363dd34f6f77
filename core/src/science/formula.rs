//! The declaration of one formula: names, units, limits, source. Does no arithmetic of its own.

use super::answer::Answer;
use super::args::{Args, AskError};
use super::{Caution, Computation, Computed, Given, NotComputable, Outputs, Reason, Value};

/// How well the source of a formula is known to us.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Follows from mechanics or arithmetic; the paper only named it.
    Derived,
    /// Read in the paper, its abstract, the governing body's page or the certified data file.
    Read,
    /// Read in a secondary source only.
    Secondary,
    /// From memory, not read in a source.
    Memory,
    /// Common practice of the trade, no source.
    CommonPractice,
}

impl Standing {
    /// In words.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Derived => "follows from mechanics or arithmetic",
            Self::Read => "read in the source",
            Self::Secondary => "read in a secondary source",
            Self::Memory => "from memory",
            Self::CommonPractice => "common practice, no source",
        }
    }
}

/// What shape an input has, and how it is written as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// `1.5` or `2/3`.
    Number,
    /// A whole number.
    Whole,
    /// `1,2,3` or `21x300+7x600`.
    List,
    /// As a list; `-` stands for a day or answer that is missing.
    Gaps,
    /// `1,2;3,4`: rows separated by semicolons.
    Table,
    /// `25:1,15:2`: mass in kg and pairs.
    Stock,
    /// One of these words.
    Word(&'static [&'static str]),
    /// `yes` or `no`.
    Flag,
    /// Free text.
    Text,
}

/// One input of a formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// Name, exactly as used by the text-driven registry.
    pub name: &'static str,
    /// Shape.
    pub kind: Kind,
    /// Unit, or a few words.
    pub unit: &'static str,
    /// Hard limits of each number, both allowed.
    pub range: Option<(f64, f64)>,
    /// Fewest and most items of a list, table or stock.
    pub count: Option<(usize, usize)>,
    /// Text used when the input is not given.
    pub default: Option<&'static str>,
    /// May be left out without a default.
    pub optional: bool,
}

/// Most items that any list takes; keeps a hostile input from costing time.
pub const LONGEST_LIST: usize = 4_000;

impl Input {
    const fn new(name: &'static str, kind: Kind, unit: &'static str) -> Self {
        Self { name, kind, unit, range: None, count: None, default: None, optional: false }
    }

    /// A number between two limits, both allowed.
    #[must_use]
    pub const fn number(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::new(name, Kind::Number, unit);
        input.range = Some((lowest, highest));
        input
    }

    /// A whole number between two limits, both allowed.
    #[must_use]
    pub const fn whole(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::number(name, unit, lowest, highest);
        input.kind = Kind::Whole;
        input
    }

    /// A list of numbers between two limits, both allowed.
    #[must_use]
    pub const fn list(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::number(name, unit, lowest, highest);
        input.kind = Kind::List;
        input.items(1, LONGEST_LIST)
    }

    /// A list in which items may be missing.
    #[must_use]
    pub const fn gaps(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::list(name, unit, lowest, highest);
        input.kind = Kind::Gaps;
        input
    }

    /// Rows of numbers.
    #[must_use]
    pub const fn table(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::list(name, unit, lowest, highest);
        input.kind = Kind::Table;
        input
    }

    /// A stock of masses and pairs.
    #[must_use]
    pub const fn stock(name: &'static str, unit: &'static str, lowest: f64, highest: f64) -> Self {
        let mut input = Self::list(name, unit, lowest, highest);
        input.kind = Kind::Stock;
        input
    }

    /// One of these words.
    #[must_use]
    pub const fn word(name: &'static str, unit: &'static str, words: &'static [&'static str]) -> Self {
        Self::new(name, Kind::Word(words), unit)
    }

    /// Yes or no.
    #[must_use]
    pub const fn flag(name: &'static str, unit: &'static str) -> Self {
        Self::new(name, Kind::Flag, unit)
    }

    /// Free text.
    #[must_use]
    pub const fn text(name: &'static str, unit: &'static str) -> Self {
        Self::new(name, Kind::Text, unit)
    }

    /// Limits the number of items.
    #[must_use]
    pub const fn items(mut self, fewest: usize, most: usize) -> Self {
        self.count = Some((fewest, most));
        self
    }

    /// Gives a default, written as text.
    #[must_use]
    pub const fn or(mut self, text: &'static str) -> Self {
        self.default = Some(text);
        self
    }

    /// Allows leaving the input out.
    #[must_use]
    pub const fn maybe(mut self) -> Self {
        self.optional = true;
        self
    }

    fn check(&self, value: &Value) -> Result<(), Reason> {
        let input = self.name;
        if !value.is_finite() {
            return Err(Reason::NotFinite { input });
        }
        if let (Some(count), Some((fewest, most))) = (value.count(), self.count) {
            if count < fewest {
                return Err(Reason::TooFew { input, needed: fewest });
            }
            if count > most {
                return Err(Reason::TooMany { input, limit: most });
            }
        }
        if let Some((lowest, highest)) = self.range {
            if !value.all(|number| number >= lowest && number <= highest) {
                return Err(Reason::OutOfRange { input, lowest, highest });
            }
            if self.kind == Kind::Whole && !value.all(|number| number.fract() == 0.0) {
                return Err(Reason::NotWhole { input });
            }
        }
        if let (Kind::Word(words), Value::Word(word)) = (self.kind, value)
            && !words.contains(word)
        {
            return Err(Reason::UnknownWord { input, allowed: words.join(", ") });
        }
        Ok(())
    }
}

/// What a registry entry does with the parsed inputs.
pub type Run = fn(&Args<'_>) -> Result<Answer, AskError>;

/// One formula of the registry. All text is English; shells translate by id.
#[derive(Debug, Clone, Copy)]
pub struct Formula {
    /// Stable id, as in logs and exports.
    pub id: &'static str,
    /// Other ids under which the same formula is found.
    pub aliases: &'static [&'static str],
    /// Goes up when the same inputs would give another number.
    pub version: u16,
    /// Plain name.
    pub name: &'static str,
    /// The arithmetic in one line.
    pub rule: &'static str,
    /// Published source, or words that say there is none.
    pub source: &'static str,
    /// How well we know the source.
    pub standing: Standing,
    /// Where it holds, beyond the limits of the inputs.
    pub domain: &'static str,
    /// Unit of each output; a single output is called `value`.
    pub units: &'static [(&'static str, &'static str)],
    /// What breaks careless use.
    pub trap: &'static str,
    /// Shown beside every value that could steer a body.
    pub caution: Option<Caution>,
    /// Off until the input `consent` is yes.
    pub consent: bool,
    /// The inputs.
    pub inputs: &'static [Input],
    /// A worked example, as text.
    pub example: &'static [(&'static str, &'static str)],
    /// Parses nothing itself: fetches the inputs and calls the typed function.
    pub run: Run,
}

impl PartialEq for Formula {
    /// Ids are unique, so equal ids are equal formulas.
    fn eq(&self, other: &Self) -> bool {
        self.id == other.id
    }
}

/// Remarks that a computation collects while it runs.
#[derive(Debug, Default)]
pub struct Notes(pub(super) Vec<&'static str>);

impl Notes {
    /// Adds a remark.
    pub fn say(&mut self, note: &'static str) {
        self.0.push(note);
    }

    /// Adds a remark if a condition holds.
    pub fn say_if(&mut self, condition: bool, note: &'static str) {
        if condition {
            self.0.push(note);
        }
    }
}

impl Formula {
    /// Start of a declaration; everything of substance is overwritten.
    pub(super) const BLANK: Self = Self {
        id: "",
        aliases: &[],
        version: 1,
        name: "",
        rule: "",
        source: "",
        standing: Standing::CommonPractice,
        domain: "",
        units: &[],
        trap: "",
        caution: None,
        consent: false,
        inputs: &[],
        example: &[],
        run: |args| Err(AskError::UnknownFormula { id: args.id().to_owned() }),
    };

    /// Checks the inputs, runs the arithmetic, checks the outcome.
    ///
    /// # Errors
    /// The reason of the first input outside its declared limits, of `body`, or
    /// [`Reason::ResultNotFinite`].
    pub fn compute<T: Outputs>(
        &'static self,
        given: Vec<Given>,
        body: impl FnOnce(&mut Notes) -> Result<T, Reason>,
    ) -> Computation<T> {
        let refuse = |reason| NotComputable { formula: self, reason };
        if self.consent {
            let agreed = given.iter().any(|g| g.name == "consent" && g.value == Value::Flag(true));
            if !agreed {
                return Err(refuse(Reason::NeedsConsent));
            }
        }
        for one in &given {
            if let Some(input) = self.inputs.iter().find(|input| input.name == one.name) {
                input.check(&one.value).map_err(refuse)?;
            }
        }
        let mut notes = Notes::default();
        let value = body(&mut notes).map_err(refuse)?;
        if value.outputs().iter().any(|(_, v)| !v.is_finite()) {
            return Err(refuse(Reason::ResultNotFinite));
        }
        Ok(Computed { value, formula: self, inputs: given, notes: notes.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    static PLAIN: Formula =
        Formula { id: "test.plain", inputs: &[Input::number("x", "", 0.0, 1.0)], ..Formula::BLANK };
    static AGREED: Formula = Formula { id: "test.agreed", consent: true, ..PLAIN };

    fn given(name: &'static str, value: Value) -> Vec<Given> {
        vec![Given { name, value }]
    }

    /// The last line of defence: whatever a formula computes, NaN and infinity stay inside.
    #[test]
    fn a_result_that_is_not_finite_becomes_a_reason() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let got = PLAIN.compute(given("x", Value::Number(0.5)), |_| Ok(bad)).unwrap_err();
            assert_eq!(got.reason, Reason::ResultNotFinite);
            let list = PLAIN.compute(given("x", Value::Number(0.5)), |_| Ok(vec![1.0, bad]));
            assert_eq!(list.unwrap_err().reason, Reason::ResultNotFinite);
        }
        assert_eq!(PLAIN.compute(given("x", Value::Number(0.5)), |_| Ok(2.0)).unwrap().value, 2.0);
    }

    #[test]
    fn without_consent_the_arithmetic_does_not_run() {
        for refused in [Value::Flag(false), Value::Number(1.0), Value::Nothing] {
            let got = AGREED.compute(given("consent", refused), |_| -> Result<f64, Reason> {
                panic!("ran without consent")
            });
            assert_eq!(got.unwrap_err().reason, Reason::NeedsConsent);
        }
        assert!(AGREED.compute(given("consent", Value::Flag(true)), |_| Ok(1.0)).is_ok());
    }

    /// A log keeps the version beside the number, so a second version must not call itself the first.
    #[test]
    fn a_value_names_the_version_that_made_it() {
        static SECOND: Formula = Formula { id: "test.second", version: 2, ..PLAIN };
        let got = SECOND.compute(given("x", Value::Number(0.5)), |_| Ok(1.0)).unwrap();
        assert_eq!((got.id(), got.version()), ("test.second", 2));
    }

    #[test]
    fn an_unknown_word_from_code_is_refused() {
        static WORDS: Formula =
            Formula { id: "test.words", inputs: &[Input::word("w", "", &["a", "b"])], ..Formula::BLANK };
        let got = WORDS.compute(given("w", Value::Word("c")), |_| Ok(1.0)).unwrap_err();
        assert_eq!(got.reason.to_string(), "w is not one of a, b");
        assert!(WORDS.compute(given("w", Value::Word("b")), |_| Ok(1.0)).is_ok());
    }
}
