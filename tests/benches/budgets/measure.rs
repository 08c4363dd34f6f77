//! Clocks and figures: CPU time of this thread and of the whole program (POSIX clock_gettime), wall
//! time where a disk is waited for, and the rows of the table. Knows nothing of what is measured.

use std::hint::black_box;
use std::sync::OnceLock;
use std::time::Instant;

use rustix::time::{ClockId, clock_gettime};
use serde_json::{Value, json};

/// CPU time of this thread, ms.
pub(crate) fn thread_ms() -> f64 {
    ms(ClockId::ThreadCPUTime)
}

/// CPU time of all threads of this program, ms.
pub(crate) fn program_ms() -> f64 {
    ms(ClockId::ProcessCPUTime)
}

/// CPU time that this machine has spent on anything, s (Linux: what was neither idle nor waiting for a disk).
pub(crate) fn machine_s() -> f64 {
    let text = std::fs::read_to_string("/proc/stat").unwrap();
    let of: Vec<f64> =
        text.lines().next().unwrap().split_whitespace().skip(1).take(8).map(|n| n.parse().unwrap()).collect();
    (of.iter().sum::<f64>() - of[3] - of[4]) / 100.0
}

#[expect(clippy::cast_precision_loss, reason = "nanoseconds of a run are far below 2^53")]
fn ms(clock: ClockId) -> f64 {
    let t = clock_gettime(clock);
    t.tv_sec as f64 * 1e3 + t.tv_nsec as f64 / 1e6
}

/// The middle one of several figures.
pub(crate) fn median(mut figures: Vec<f64>) -> f64 {
    figures.sort_by(f64::total_cmp);
    figures[figures.len() / 2]
}

/// The figure below which that share of all lie.
pub(crate) fn quantile(figures: &[f64], share: f64) -> f64 {
    let mut sorted = figures.to_vec();
    sorted.sort_by(f64::total_cmp);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a place in a short list"
    )]
    let place = (sorted.len() as f64 * share) as usize;
    sorted[place.min(sorted.len() - 1)]
}

/// CPU time of one run of `work` on what `prepare` makes, ms: the median of `runs` runs, after a
/// few that do not count.
pub(crate) fn cpu<S, T>(
    runs: usize,
    mut prepare: impl FnMut() -> S,
    mut work: impl FnMut(&mut S) -> T,
) -> f64 {
    let mut each = Vec::with_capacity(runs);
    for n in 0..runs + 3 {
        let mut state = prepare();
        let begun = thread_ms();
        let made = black_box(work(black_box(&mut state)));
        let spent = thread_ms() - begun;
        drop(made);
        if n >= 3 {
            each.push(spent);
        }
    }
    median(each)
}

/// Wall time of one run, ms.
pub(crate) fn wall<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let made = work();
    (begun.elapsed().as_secs_f64() * 1e3, made)
}

/// How many times the CPU time of the machine of the budgets this one takes.
static PACE: OnceLock<f64> = OnceLock::new();

/// Sets it, once.
pub(crate) fn set_pace(pace: f64) {
    let _first = PACE.set(pace);
}

/// One line of the table.
pub(crate) struct Row {
    pub(crate) what: String,
    pub(crate) budget: Option<f64>,
    pub(crate) figure: f64,
    pub(crate) unit: &'static str,
    pub(crate) note: String,
    /// Whether more is better.
    at_least: bool,
    /// Whether a time on the wall waits for processors alone.
    of_cpu: bool,
}

impl Row {
    /// A figure with its upper limit.
    pub(crate) fn most(what: &str, budget: f64, figure: f64, unit: &'static str) -> Row {
        Row {
            what: what.to_owned(),
            budget: Some(budget),
            figure,
            unit,
            note: String::new(),
            at_least: false,
            of_cpu: false,
        }
    }

    /// A figure with its lower limit.
    pub(crate) fn least(what: &str, budget: f64, figure: f64, unit: &'static str) -> Row {
        Row { at_least: true, ..Row::most(what, budget, figure, unit) }
    }

    /// A figure without a budget, to read the others by.
    pub(crate) fn beside(what: &str, figure: f64, unit: &'static str) -> Row {
        Row { budget: None, ..Row::most(what, 0.0, figure, unit) }
    }

    /// With a remark.
    pub(crate) fn note(mut self, note: impl Into<String>) -> Row {
        self.note = note.into();
        self
    }

    /// A time on the wall that waits for no disk, so that a slower machine makes its budget longer too.
    pub(crate) fn of_cpu(mut self) -> Row {
        self.of_cpu = true;
        self
    }

    /// The pace of this machine, for figures that are made of CPU time.
    fn pace(&self) -> Option<f64> {
        let of_time = self.of_cpu || self.unit == "ms CPU" || self.unit == "/s";
        PACE.get().copied().filter(|pace| of_time && *pace > 1.0)
    }

    fn holds(&self) -> Option<bool> {
        let pace = self.pace().unwrap_or(1.0);
        self.budget.map(|b| if self.at_least { self.figure >= b / pace } else { self.figure <= b * pace })
    }

    pub(crate) fn json(&self, command: &str) -> Value {
        json!({
            "what": self.what, "budget": self.budget, "at_least": self.at_least, "figure": self.figure,
            "unit": self.unit, "pace": self.pace(), "holds": self.holds(), "note": self.note, "command": command,
        })
    }

    pub(crate) fn line(&self, command: &str) -> String {
        let sign = if self.at_least { "≥" } else { "≤" };
        let pace = self.pace().map_or_else(String::new, |pace| {
            let by = if self.at_least { "÷" } else { "×" };
            format!(" {by} {}", short(pace))
        });
        let budget =
            self.budget.map_or_else(String::new, |b| format!("{sign} {} {}{pace}", short(b), self.unit));
        let holds = match self.holds() {
            Some(true) => "yes",
            Some(false) => "NO",
            None => "",
        };
        let figure = format!("{} {}", short(self.figure), self.unit);
        format!("| {} | {budget} | {} | {holds} | {command} | {} |", self.what, figure.trim_end(), self.note)
    }
}

/// A number with as many digits as say something.
fn short(value: f64) -> String {
    let digits = match value.abs() {
        v if v >= 100.0 || v.fract() == 0.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 1.0 => 2,
        _ => 3,
    };
    format!("{value:.digits$}")
}
