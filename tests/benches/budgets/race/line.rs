//! One line of the race: what was seen of one server with so many devices, as a row of a table or as JSON, and as
//! the scripts of the peers print it. Knows no server.

use serde::{Deserialize, Serialize};

use crate::burst::count;
use crate::measure::quantile;

/// Head of the table, two lines.
pub(crate) const HEAD: &str = "\
| server | devices | all acknowledged, s | all durable, s | p50 / p95 / p99 / max, ms | server CPU, s (ms a device) | peak RSS, MB | bytes up / down a device | turns | acknowledged changes lost at kill -9 | others, cores | about it |
|---|---|---|---|---|---|---|---|---|---|---|---|";

/// What is not known is left out.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Line {
    pub(crate) server: String,
    /// Whose client it was.
    pub(crate) client: String,
    pub(crate) devices: usize,
    /// Devices that were told that all is there.
    pub(crate) acknowledged: Option<usize>,
    /// Since the first one was due.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) acknowledged_s: Option<f64>,
    /// Devices whose work somebody else could read.
    pub(crate) durable: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) durable_s: Option<f64>,
    pub(crate) p50_ms: Option<f64>,
    pub(crate) p95_ms: Option<f64>,
    pub(crate) p99_ms: Option<f64>,
    pub(crate) max_ms: Option<f64>,
    pub(crate) server_cpu_s: Option<f64>,
    pub(crate) peak_mb: Option<f64>,
    /// Of one device.
    pub(crate) bytes_up: Option<f64>,
    pub(crate) bytes_down: Option<f64>,
    /// How often a device spoke first or after it had heard something, the opening of the connection among it.
    pub(crate) turns: Option<f64>,
    /// Of each trial with one device, nothing where it did not come to the kill.
    pub(crate) lost: Vec<Option<u32>>,
    /// What other programs took of the machine while it was measured.
    pub(crate) others_cpu_s: Option<f64>,
    pub(crate) measured_s: Option<f64>,
    pub(crate) note: String,
}

impl Line {
    /// Of a server whose every device was answered.
    pub(crate) fn acknowledged(server: &str, devices: usize, times: &[f64], elapsed_s: f64) -> Line {
        Line {
            server: server.to_owned(),
            devices,
            acknowledged: Some(times.len()),
            acknowledged_s: Some(elapsed_s),
            p50_ms: Some(quantile(times, 0.5)),
            p95_ms: Some(quantile(times, 0.95)),
            p99_ms: Some(quantile(times, 0.99)),
            max_ms: Some(quantile(times, 1.0)),
            measured_s: Some(elapsed_s),
            ..Line::default()
        }
    }

    /// Of a server of which nothing was measured, with the reason.
    pub(crate) fn without(server: &str, devices: usize, why: impl Into<String>) -> Line {
        Line { server: server.to_owned(), devices, note: why.into(), ..Line::default() }
    }

    /// Processor time of the server for each device, ms.
    pub(crate) fn ms_a_device(&self) -> Option<f64> {
        self.server_cpu_s.map(|s| s * 1e3 / count(self.devices))
    }

    pub(crate) fn row(&self) -> String {
        let of = |figure: Option<f64>| figure.map_or_else(|| "-".to_owned(), short);
        let reached = |at: Option<f64>, how_many: Option<usize>| match (at, how_many) {
            (Some(at), _) => short(at),
            (None, Some(n)) => format!("not reached: {n}"),
            (None, None) => "-".to_owned(),
        };
        let latency = [self.p50_ms, self.p95_ms, self.p99_ms, self.max_ms].map(of).join(" / ");
        let cpu = match (self.server_cpu_s, self.ms_a_device()) {
            (Some(all), Some(each)) => format!("{} ({})", short(all), short(each)),
            _ => "-".to_owned(),
        };
        let lost: Vec<String> =
            self.lost.iter().map(|l| l.map_or_else(|| "?".to_owned(), |l| l.to_string())).collect();
        let others = self.others_cpu_s.zip(self.measured_s).map(|(cpu, s)| cpu / s);
        format!(
            "| {} | {} | {} | {} | {latency} | {cpu} | {} | {} / {} | {} | {} | {} | {} |",
            self.server,
            self.devices,
            reached(self.acknowledged_s, self.acknowledged),
            reached(self.durable_s, self.durable),
            of(self.peak_mb),
            of(self.bytes_up),
            of(self.bytes_down),
            of(self.turns),
            if lost.is_empty() { "-".to_owned() } else { lost.join(", ") },
            others.map_or_else(|| "-".to_owned(), |o| format!("{o:.2}")),
            self.note,
        )
    }
}

/// A number with as many digits as say something.
fn short(value: f64) -> String {
    let digits = match value.abs() {
        v if v >= 100.0 || v.fract() == 0.0 => 0,
        v if v >= 10.0 => 1,
        _ => 2,
    };
    format!("{value:.digits$}")
}
