//! Licence expressions (SPDX): whether one of their readings asks only for licences on a list.

/// Whether `expression` can be met with licences that `allowed` says yes to. A text that is no
/// expression is not met.
pub(crate) fn met(expression: &str, allowed: &dyn Fn(&str) -> bool) -> bool {
    // Older packages write a slash for "or".
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let tokens: Vec<&str> = spaced.split_whitespace().collect();
    let mut parser = Parser { tokens: &tokens, allowed };
    let met = parser.either();
    met == Some(true) && parser.tokens.is_empty()
}

struct Parser<'a> {
    tokens: &'a [&'a str],
    allowed: &'a dyn Fn(&str) -> bool,
}

impl<'a> Parser<'a> {
    fn next(&mut self) -> Option<&'a str> {
        let (first, rest) = self.tokens.split_first()?;
        self.tokens = rest;
        Some(first)
    }

    fn take(&mut self, word: &str) -> bool {
        let there = self.tokens.first() == Some(&word);
        if there {
            self.next();
        }
        there
    }

    fn either(&mut self) -> Option<bool> {
        let mut met = self.both()?;
        while self.take("OR") {
            met |= self.both()?;
        }
        Some(met)
    }

    fn both(&mut self) -> Option<bool> {
        let mut met = self.one()?;
        while self.take("AND") {
            met &= self.one()?;
        }
        Some(met)
    }

    fn one(&mut self) -> Option<bool> {
        if self.take("(") {
            let met = self.either()?;
            return self.take(")").then_some(met);
        }
        let name = self.next().filter(|t| !matches!(*t, "OR" | "AND" | "WITH" | ")"))?;
        let mut whole = name.to_owned();
        if self.take("WITH") {
            whole = format!("{name} WITH {}", self.next()?);
        }
        Some((self.allowed)(&whole))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn expressions_are_read_as_spdx_means_them() {
        let allowed =
            |name: &str| matches!(name, "MIT" | "Apache-2.0" | "Apache-2.0 WITH LLVM-exception" | "Z");
        for good in [
            "MIT",
            "MIT OR GPL-3.0",
            "GPL-3.0 OR MIT",
            "MIT/Apache-2.0",
            "(MIT OR GPL-3.0) AND Z",
            "Apache-2.0 WITH LLVM-exception",
            "GPL-3.0 AND Z OR MIT",
        ] {
            assert!(met(good, &allowed), "{good}");
        }
        for bad in [
            "",
            "GPL-3.0",
            "MIT AND GPL-3.0",
            "(MIT OR Z) AND GPL-3.0",
            "MIT OR",
            "MIT Z",
            "(MIT",
            "OR",
            "MIT WITH some-exception",
        ] {
            assert!(!met(bad, &allowed), "{bad}");
        }
    }
}
