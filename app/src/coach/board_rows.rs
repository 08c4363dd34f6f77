//! What the board shows, as plain values: which question to ask, which columns there are, what a cell says.

use backstraight_core::base::day::Day;

use super::answers::{Cell, Line, percent};
use super::asked::question;
use crate::kit::dates;
use crate::kit::mark::spoken;
use crate::words::{say, say_n, say_with};

/// Most athletes of an answer when all are wanted, as for a search by name.
const ALL: &str = "1000";

/// How many weeks the board shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span {
    /// One, by days.
    One,
    /// Four.
    Four,
    /// Twelve.
    Twelve,
}

impl Span {
    /// How many weeks.
    #[must_use]
    pub const fn weeks(self) -> i32 {
        match self {
            Span::One => 1,
            Span::Four => 4,
            Span::Twelve => 12,
        }
    }

    /// How many athletes a page holds: fewer where each has more marks, so that scrolling stays light.
    const fn most(self) -> &'static str {
        match self {
            Span::One => "100",
            Span::Four => "50",
            Span::Twelve => "20",
        }
    }
}

/// The question behind the board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// The first Monday.
    pub monday: Day,
    /// How many weeks.
    pub span: Span,
    /// Today, by this device.
    pub today: Day,
    /// Only this squad; empty for all.
    pub squad: String,
    /// Only sessions in this state; empty for all.
    pub state: String,
    /// The page after this athlete; empty for the first.
    pub after: String,
    /// Whether a name is searched, for which all athletes are needed.
    pub all: bool,
}

impl Ask {
    /// The last day shown.
    #[must_use]
    pub fn to(&self) -> Day {
        self.monday.plus(7 * self.span.weeks() - 1)
    }

    /// As an address.
    #[must_use]
    pub fn path(&self) -> String {
        let (from, to, today) = (self.monday.to_string(), self.to().to_string(), self.today.to_string());
        let limit = if self.all { ALL } else { self.span.most() };
        let mut asks = vec![("from", from.as_str()), ("to", &to), ("today", &today), ("limit", limit)];
        for (name, value) in [("squad", &self.squad), ("state", &self.state)] {
            if !value.is_empty() {
                asks.push((name, value));
            }
        }
        if !self.all && !self.after.is_empty() {
            asks.push(("after", &self.after));
        }
        question("/v1/board", &asks)
    }
}

/// A column: a day, or a week when several are shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its first day.
    pub from: Day,
    /// Its last day.
    pub to: Day,
    /// Its head.
    pub head: String,
    /// The short head of a phone.
    pub short: String,
    /// Whether today is in it.
    pub now: bool,
}

/// The columns of a board.
#[must_use]
pub fn columns(ask: &Ask) -> Vec<Column> {
    let (n, days) = if ask.span == Span::One { (7, 1) } else { (ask.span.weeks(), 7) };
    (0..n)
        .map(|i| {
            let from = ask.monday.plus(i * days);
            let to = from.plus(days - 1);
            let (head, short) = if days == 1 {
                (dates::named(from), dates::weekday(from).chars().take(1).collect())
            } else {
                (dates::short(from), dates::short(from))
            };
            Column { from, to, head, short, now: from <= ask.today && ask.today <= to }
        })
        .collect()
}

/// An athlete's sessions of a column.
pub fn in_column<'a>(line: &'a Line, column: &Column) -> impl Iterator<Item = &'a Cell> + use<'a> {
    let (from, to) = (column.from, column.to);
    line.sessions.iter().filter(move |c| c.day().is_some_and(|d| from <= d && d <= to))
}

/// What a cell says, for whoever hears the page and for the line under the board.
#[must_use]
pub fn cell_said(name: &str, cell: &Cell) -> String {
    let day = cell.day().map_or_else(|| cell.date.clone(), dates::named);
    let mut said = say_with(
        "board.cell",
        &[
            ("name", name),
            ("day", &day),
            ("title", &cell.title),
            ("state", &spoken(cell.state(), cell.share)),
        ],
    );
    let mut more = Vec::new();
    if cell.sets_asked > 0 {
        let (done, asked) = (cell.sets_done.to_string(), cell.sets_asked.to_string());
        more.push(say_with("board.sets", &[("done", &done), ("asked", &asked)]));
    }
    if let Some(minutes) = cell.minutes {
        more.push(say_with("board.minutes", &[("n", &minutes.to_string())]));
    }
    if let Some(effort) = cell.effort {
        more.push(say_with("board.effort", &[("n", &effort.to_string())]));
    }
    if let Some(on) = &cell.done_on {
        more.push(say_with("board.done-on", &[("day", &super::answers::day_text(on))]));
    }
    if cell.earlier_version {
        more.push(say("board.earlier").to_owned());
    }
    if cell.swapped > 0 {
        more.push(say_n("board.swapped", cell.swapped, &[]));
    }
    if let Some(level) = &cell.availability {
        more.push(say_with("board.available", &[("level", level)]));
    }
    for words in more {
        said.push_str(", ");
        said.push_str(&words);
    }
    said
}

/// The small signs under a mark, explained in the key: an earlier version, a swap, availability.
#[must_use]
pub fn signs(cell: &Cell) -> String {
    let mut out = String::new();
    for (on, sign) in
        [(cell.earlier_version, '*'), (cell.swapped > 0, '~'), (cell.availability.is_some(), '°')]
    {
        if on {
            out.push(sign);
        }
    }
    out
}

/// The figure of an athlete's days: the share over what was heard of, and how much was not heard.
#[must_use]
pub fn figure(line: &Line) -> String {
    let share = percent(line.share);
    if line.unheard == 0 {
        return share;
    }
    format!("{share} {}", say_n("board.unheard", line.unheard, &[]))
}

/// Whether a name fits what was typed: each typed word begins a word of the name.
#[must_use]
pub fn fits(name: &str, typed: &str) -> bool {
    let name = name.to_lowercase();
    let words = || name.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
    typed.to_lowercase().split_whitespace().all(|t| words().any(|w| w.starts_with(t)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn ask(span: Span) -> Ask {
        Ask {
            monday: day("2026-11-23"),
            span,
            today: day("2026-11-25"),
            squad: String::new(),
            state: String::new(),
            after: String::new(),
            all: false,
        }
    }

    #[test]
    fn the_question_names_what_was_chosen() {
        let plain = ask(Span::One);
        assert_eq!(plain.path(), "/v1/board?from=2026-11-23&to=2026-11-29&today=2026-11-25&limit=100");
        let chosen =
            Ask { squad: "s".into(), state: "due today".into(), after: "a".into(), ..ask(Span::Four) };
        assert_eq!(
            chosen.path(),
            "/v1/board?from=2026-11-23&to=2026-12-20&today=2026-11-25&limit=50&squad=s&state=due%20today&after=a"
        );
        let search = Ask { after: "a".into(), all: true, ..ask(Span::Twelve) };
        assert_eq!(search.path(), "/v1/board?from=2026-11-23&to=2027-02-14&today=2026-11-25&limit=1000");
    }

    #[test]
    fn columns_are_days_of_one_week_and_weeks_of_several() {
        let days = columns(&ask(Span::One));
        assert_eq!(days.len(), 7);
        assert_eq!(
            days.iter().filter(|c| c.now).map(|c| c.head.as_str()).collect::<Vec<_>>(),
            ["Wed 25 Nov"]
        );
        let weeks = columns(&ask(Span::Four));
        assert_eq!(
            weeks.iter().map(|c| c.head.as_str()).collect::<Vec<_>>(),
            ["23 Nov", "30 Nov", "7 Dec", "14 Dec"]
        );
        assert_eq!(weeks.iter().map(|c| c.now).collect::<Vec<_>>(), [true, false, false, false]);
        let cell = |date: &str| Cell { date: date.into(), ..Cell::default() };
        let line = Line {
            sessions: vec![cell("2026-11-29"), cell("2026-11-30"), cell("2026-12-06"), cell("odd")],
            ..Line::default()
        };
        let counts: Vec<usize> = weeks.iter().map(|c| in_column(&line, c).count()).collect();
        assert_eq!(counts, [1, 2, 0, 0]);
    }

    #[test]
    fn a_cell_says_everything_that_its_signs_stand_for() {
        let cell = Cell {
            date: "2026-11-25".into(),
            title: "Lower".into(),
            state: "part done".into(),
            share: Some(0.88),
            sets_done: 15,
            sets_asked: 17,
            earlier_version: true,
            swapped: 1,
            availability: Some("modified".into()),
            ..Cell::default()
        };
        assert_eq!(
            cell_said("Ines", &cell),
            "Ines, Wed 25 Nov: Lower, part done 88 %, 15 of 17 sets, an earlier version was done, 1 swap as \
             allowed, training that day: modified"
        );
        assert_eq!(signs(&cell), "*~°");
        assert_eq!(signs(&Cell::default()), "");
    }

    #[test]
    fn what_was_not_heard_stands_beside_the_figure_and_never_in_it() {
        let line = Line { share: Some(0.75), unheard: 2, ..Line::default() };
        assert_eq!(figure(&line), "75 % + 2 unheard");
        assert_eq!(figure(&Line { share: None, unheard: 1, ..Line::default() }), "– + 1 unheard");
        assert_eq!(figure(&Line { share: Some(1.0), ..Line::default() }), "100 %");
    }

    #[test]
    fn a_name_fits_by_the_beginnings_of_its_words() {
        assert!(fits("Bram Holloway-Dunne", "du br"));
        assert!(fits("Bram Holloway-Dunne", ""));
        assert!(!fits("Bram Holloway-Dunne", "ram"));
    }
}
