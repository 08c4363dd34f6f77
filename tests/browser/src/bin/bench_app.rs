//! What the page weighs, how fast it opens, how soon a set that was tapped is on the disk and how smoothly a board
//! scrolls, each beside its budget. A budget that does not hold is said, never a failure: a busy machine must not
//! break a build. `cargo xtask bench-app` builds what it needs.

use backstraight_browser::{Built, Kind, Seat, Stage, brotli_total, must};
use serde_json::{Value, json};

/// Loads of each kind; the one in the middle counts.
const LOADS: usize = 9;
/// Sets that are logged, one tap each: a long session.
const TAPS: usize = 24;
/// Frames over which the board is scrolled, and athletes on it.
const FRAMES: usize = 240;
const ATHLETES: usize = 60;

fn main() {
    let page = Built::usual();
    for (whose, part, budget) in [("an athlete's", false, Some(900.0)), ("a coach's", true, None)] {
        let total = brotli_total(page.folder(), part);
        line(&format!("sent to {whose} new device, by brotli"), kilobytes(total), budget, "kB");
    }
    first_loads();
    // Of the release program alone: what it has inside is what is measured.
    let mut stage = Stage::of_the_club_in_the_program();
    board(&stage);
    athlete(&mut stage);
}

fn first_loads() {
    let stage = Stage::of_the_program();
    let mut first = Vec::new();
    for n in 0..LOADS {
        let phone = stage.phone(&format!("first-{n}"));
        phone.go("/");
        first.push(phone.ready_after());
    }
    line("first load until the page stands", share(first, 0.5), None, "ms");
}

/// A phone with weeks of plans and logs, without a server.
fn athlete(stage: &mut Stage) {
    let phone = stage.come_in(Kind::Phone, "Hanne");
    phone.wait_until_kept();
    phone.wait_to_see("link", "Begin");
    stage.server.stop();
    phone.before_each_load(
        "new MutationObserver((_, observer) => { \
           if ([...document.querySelectorAll('a')].some((a) => a.textContent.startsWith('Begin'))) { \
             performance.mark('today'); observer.disconnect(); } \
         }).observe(document, { childList: true, subtree: true })",
    );
    for (slow, budget) in [(1, Some(500.0)), (6, None)] {
        phone.slow(slow);
        let mut times = Vec::new();
        for _ in 0..LOADS {
            phone.reload();
            phone.wait_to_see("link", "Begin");
            times.push(number(
                &phone.run("return performance.getEntriesByName('today')[0].startTime", Vec::new()),
            ));
        }
        let what = format!("today's session without a server, processor slowed {slow} times");
        line(&what, share(times, 0.5), budget, "ms");
    }
    phone.slow(1);
    phone.tap("link", "Begin");
    phone.wait_to_see("button", "Done:");
    taps(&phone);
}

/// From the tap until the set says that it is on the disk.
fn taps(phone: &Seat) {
    let times = phone.promise(
        "const [taps] = args, times = []; \
         const sets = () => [...document.querySelectorAll('.sets li')]; \
         for (let n = 0; n < taps; n++) { \
           const before = sets().length; \
           const saved = () => { \
             const now = sets(); \
             return now.length === before + 1 && now.every((set) => set.textContent.includes('Saved on this phone')); \
           }; \
           const button = [...document.querySelectorAll('button')].find((b) => b.textContent.startsWith('Done:')); \
           const begun = performance.now(); \
           await new Promise((done) => { \
             const observer = new MutationObserver(() => { if (saved()) { observer.disconnect(); done(); } }); \
             observer.observe(document.body, \
               { childList: true, subtree: true, characterData: true, attributes: true }); \
             button.click(); \
           }); \
           times.push(performance.now() - begun); \
           await new Promise((next) => setTimeout(next, 100)); \
         } \
         return times",
        vec![json!(TAPS)],
    );
    let times = numbers(&times);
    line("tap until \"Saved on this phone\", median", share(times.clone(), 0.5), None, "ms");
    line("tap until \"Saved on this phone\", p95", share(times, 0.95), Some(50.0), "ms");
}

/// The board of a large squad. The club is smaller: what the server answers about its athletes is said again under
/// other names, before the page hears it.
fn board(stage: &Stage) {
    let desk = stage.seat(Kind::Desk, "board");
    desk.before_each_load(&format!(
        "{{ const real = fetch; globalThis.fetch = async (...ask) => {{ \
             const answer = await real(...ask); \
             const url = String(ask[0]?.url ?? ask[0]); \
             if (!url.includes('/v1/board') || !answer.ok) return answer; \
             const board = await answer.json(), few = board.athletes; \
             board.athletes = Array.from({{ length: {ATHLETES} }}, (_, n) => ({{ ...few[n % few.length], \
               id: few[n % few.length].id.slice(0, -4) + String(n).padStart(4, '0'), \
               name: few[n % few.length].name + ' ' + n }})); \
             return new Response(JSON.stringify(board), \
               {{ status: 200, headers: {{ 'content-type': 'application/json' }} }}); }}; }}"
    ));
    stage.welcome(&desk, "Marta");
    desk.go("/#/board");
    desk.wait_for(
        "the large board",
        &format!("return document.querySelectorAll('table.board tbody tr').length === {ATHLETES}"),
    );
    let times = desk.promise(
        "const [frames] = args, times = []; \
         const frames_of = [document.querySelector('.board-frame'), document.scrollingElement]; \
         const room_of = (e) => e.scrollHeight - e.clientHeight; \
         const moves = frames_of.find((e) => room_of(e) > 400); \
         if (!moves) throw new Error('nothing to scroll: ' + frames_of.map(room_of)); \
         const room = room_of(moves); \
         let at = 0, step = 24; \
         const frame = () => new Promise((next) => requestAnimationFrame(next)); \
         let last = await frame(); \
         for (let n = 0; n < frames; n++) { \
           at += step; \
           if (at < 0 || at > room) { step = -step; at += 2 * step; } \
           moves.scrollTop = at; \
           const now = await frame(); \
           times.push(now - last); \
           last = now; \
         } \
         return times",
        vec![json!(FRAMES)],
    );
    let times = numbers(&times);
    line(
        "board of 60 athletes: time between two frames, median",
        share(times.clone(), 0.5),
        Some(16.8),
        "ms",
    );
    line("board of 60 athletes: time between two frames, p95", share(times, 0.95), Some(16.8), "ms");
}

/// One figure: a line to read, or with `--json` an object.
fn line(what: &str, measured: f64, budget: Option<f64>, unit: &str) {
    let holds = budget.map(|budget| measured <= budget);
    if std::env::args().any(|word| word == "--json") {
        let command = "cargo xtask bench-app";
        println!(
            "{}",
            json!({ "what": what, "budget": budget, "figure": measured, "unit": unit, "holds": holds, "command": command })
        );
        return;
    }
    let told = match (budget, holds) {
        (Some(budget), Some(true)) => format!("budget {budget} {unit}: holds"),
        (Some(budget), _) => format!("budget {budget} {unit}: does not hold"),
        (None, _) => String::new(),
    };
    println!("{what:<62} {measured:>8.1} {unit:<4} {told}");
}

#[expect(clippy::cast_precision_loss, reason = "a page is far from 2^53 bytes")]
fn kilobytes(bytes: u64) -> f64 {
    bytes as f64 / 1_000.0
}

fn number(value: &Value) -> f64 {
    must(value.as_f64().ok_or("no number"), "a time")
}

fn numbers(values: &Value) -> Vec<f64> {
    must(values.as_array().ok_or("no list"), "times").iter().map(number).collect()
}

/// The time below which that share of all lie.
fn share(mut times: Vec<f64>, share: f64) -> f64 {
    times.sort_by(f64::total_cmp);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a small list"
    )]
    let at = (times.len() as f64 * share) as usize;
    must(times.get(at.min(times.len().saturating_sub(1))).copied().ok_or("nothing was measured"), "a time")
}
