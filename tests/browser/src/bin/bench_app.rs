//! What the page weighs and how fast it opens, beside its budget. A budget that does not hold is said, never a
//! failure: a busy machine must not break a build. `cargo xtask bench-app` builds what it needs.

use backstraight_browser::{Built, Kind, Stage, brotli_total, must};

/// Loads of each kind; the one in the middle counts.
const LOADS: usize = 9;

fn main() {
    let page = Built::usual();
    line("sent to a new device, by brotli", kilobytes(brotli_total(page.folder())), Some(900.0), "kB");
    // Of the release program alone: what it has inside is what is measured.
    let mut stage = Stage::of_the_program();
    let mut first = Vec::new();
    for n in 0..LOADS {
        let phone = stage.phone(&format!("first-{n}"));
        phone.go("/");
        first.push(phone.ready_after());
    }
    line("first load until the page stands", middle(first), None, "ms");
    let phone = stage.seat(Kind::Phone, "kept");
    phone.go("/");
    phone.wait_until_kept();
    stage.server.stop();
    for (slow, budget) in [(1, Some(500.0)), (6, None)] {
        phone.slow(slow);
        let mut times = Vec::new();
        for _ in 0..LOADS {
            phone.reload();
            times.push(phone.ready_after());
        }
        let what = format!("load without a server, processor slowed {slow} times");
        line(&what, middle(times), budget, "ms");
    }
}

fn line(what: &str, measured: f64, budget: Option<f64>, unit: &str) {
    let told = match budget {
        Some(budget) if measured <= budget => format!("budget {budget} {unit}: holds"),
        Some(budget) => format!("budget {budget} {unit}: does not hold"),
        None => String::new(),
    };
    println!("{what:<58} {measured:>8.1} {unit:<4} {told}");
}

#[expect(clippy::cast_precision_loss, reason = "a page is far from 2^53 bytes")]
fn kilobytes(bytes: u64) -> f64 {
    bytes as f64 / 1_000.0
}

fn middle(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    must(times.get(times.len() / 2).copied().ok_or("nothing was measured"), "the median")
}
