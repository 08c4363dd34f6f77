//! The rest between sets, drawn as a lap from an end that is handed in. The page may sleep meanwhile: what is left
//! is always reckoned from the clock, never counted down. It ends nothing and discards nothing.

use std::time::Duration;

use backstraight_core::base::moment::Moment;
use leptos::prelude::*;

use super::button::Button;
use crate::words::{say, say_with};

/// A rest that runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rest {
    /// When it is over.
    pub end: Moment,
    /// How long it is in all, ms.
    pub whole_ms: i64,
}

impl Rest {
    /// A rest of `seconds` from `now`.
    #[must_use]
    pub fn of(seconds: i64, now: Moment) -> Rest {
        let whole_ms = seconds.clamp(0, LONGEST_S) * 1000;
        Rest { end: now.plus_ms(whole_ms), whole_ms }
    }

    /// Milliseconds that are left; negative when it is over.
    #[must_use]
    pub fn left_ms(&self, now: Moment) -> i64 {
        self.end.0.saturating_sub(now.0)
    }

    /// The same, `seconds` longer or shorter; never shorter than to `now`.
    #[must_use]
    pub fn moved(&self, seconds: i64, now: Moment) -> Rest {
        let by = seconds.saturating_mul(1000);
        let end = Moment(self.end.plus_ms(by).0.max(now.0));
        Rest { end, whole_ms: (self.whole_ms.saturating_add(by)).max(1000) }
    }

    /// Thousandths of the lap that were run, 0 to 1000.
    #[must_use]
    pub fn run(&self, now: Moment) -> i64 {
        if self.whole_ms <= 0 {
            return 1000;
        }
        let left = self.left_ms(now).clamp(0, self.whole_ms);
        // In this order no product overflows: a rest is far below a day.
        1000 - (i128::from(left) * 1000 / i128::from(self.whole_ms)).try_into().unwrap_or(0_i64)
    }

    /// "1:05", "+0:12" when it is over. A second that has begun counts.
    #[must_use]
    pub fn text(&self, now: Moment) -> String {
        let left = self.left_ms(now);
        let (sign, s) =
            if left > 0 { ("", (left + 999) / 1000) } else { ("+", left.saturating_neg() / 1000) };
        format!("{sign}{}:{:02}", s / 60, s % 60)
    }
}

/// No rest is longer than a day.
const LONGEST_S: i64 = 86_400;
/// How much one press adds or takes, s.
const NUDGE_S: i64 = 15;
/// The lap of the drawing, as it is run: from the finish line round the first bend, down the back straight, home.
const LAP: &str = "M150 128a54 54 0 0 0 0 -108H70a54 54 0 0 0 0 108Z";

/// A rest timer.
#[component]
pub fn RestTimer(
    /// The rest that runs; `None` when none does.
    rest: RwSignal<Option<Rest>>,
    /// The clock.
    #[prop(into)]
    now: Callback<(), Moment>,
    /// Asks that the screen stays awake, or no longer.
    #[prop(into)]
    keep_awake: Callback<(bool,)>,
    /// Called once when the rest is over while the page is awake: to sound or shake.
    #[prop(into, optional)]
    on_over: Option<Callback<()>>,
) -> impl IntoView {
    let tick = RwSignal::new(now.run(()));
    if let Ok(handle) = set_interval_with_handle(
        move || {
            if rest.get_untracked().is_some() {
                tick.set(now.run(()));
            }
        },
        Duration::from_millis(250),
    ) {
        on_cleanup(move || handle.clear());
    }
    Effect::new(move |before: Option<bool>| {
        let runs = rest.with(Option::is_some);
        if before.unwrap_or(false) != runs {
            keep_awake.run((runs,));
        }
        runs
    });
    on_cleanup(move || keep_awake.run((false,)));
    let is_over = Memo::new(move |_| rest.get().is_some_and(|r| r.left_ms(tick.get()) <= 0));
    Effect::new(move |before: Option<bool>| {
        let over = is_over.get();
        if over
            && before == Some(false)
            && let Some(call) = on_over
        {
            call.run(());
        }
        over
    });
    let nudge = move |seconds: i64| {
        let at = now.run(());
        tick.set(at);
        rest.update(|r| *r = r.map(|r| r.moved(seconds, at)));
    };
    let stop = move || rest.set(None);
    let seconds = NUDGE_S.to_string();
    let longer = StoredValue::new(say_with("kit.rest.longer", &[("n", &seconds)]));
    let shorter = StoredValue::new(say_with("kit.rest.shorter", &[("n", &seconds)]));
    let time = move || rest.get().map(|r| r.text(tick.get())).unwrap_or_default();
    let run = move || rest.get().map_or(0, |r| r.run(tick.get()));
    view! {
        <Show when=move || rest.with(Option::is_some)>
            <section class="rest card" class:over=move || is_over.get() aria-label=say("kit.rest.name")>
                <svg viewBox="0 0 220 148" role="timer" aria-label=move || say_with("kit.rest.left", &[("time", &time())])>
                    <path class="lane" d=LAP></path>
                    <path class="run" d=LAP pathLength="1000" stroke-dasharray=move || format!("{} 1000", run())></path>
                    <path class="chalk" d="M150 119V137"></path>
                </svg>
                <strong class="left" aria-hidden="true">{time}</strong>
                <p role="status">{move || is_over.get().then(|| say("kit.rest.over"))}</p>
                <div class="row">
                    <Button label=shorter.get_value() big=true on_press=move || nudge(-NUDGE_S) />
                    <Button label=say("kit.rest.stop").to_owned() big=true on_press=stop />
                    <Button label=longer.get_value() big=true on_press=move || nudge(NUDGE_S) />
                </div>
            </section>
        </Show>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Moment = Moment(1_764_111_600_000);

    #[test]
    fn what_is_left_follows_the_clock() {
        let rest = Rest::of(90, NOW);
        assert_eq!(rest.text(NOW), "1:30");
        assert_eq!(rest.text(NOW.plus_ms(1)), "1:30");
        assert_eq!(rest.text(NOW.plus_ms(30_000)), "1:00");
        assert_eq!(rest.text(NOW.plus_ms(89_001)), "0:01");
        // A phone that was locked for minutes: the time since is shown, nothing is lost.
        assert_eq!(rest.text(NOW.plus_ms(90_000)), "+0:00");
        assert_eq!(rest.text(NOW.plus_ms(215_000)), "+2:05");
    }

    #[test]
    fn the_lap_fills() {
        let rest = Rest::of(100, NOW);
        assert_eq!(rest.run(NOW), 0);
        assert_eq!(rest.run(NOW.plus_ms(25_000)), 250);
        assert_eq!(rest.run(NOW.plus_ms(500_000)), 1000);
        // A clock that was set back.
        assert_eq!(rest.run(NOW.plus_ms(-500_000)), 0);
        assert_eq!(Rest::of(0, NOW).run(NOW), 1000);
        assert_eq!(Rest::of(i64::MAX, NOW).run(NOW), 0);
    }

    #[test]
    fn it_can_be_longer_or_shorter() {
        let rest = Rest::of(60, NOW);
        assert_eq!(rest.moved(15, NOW), Rest::of(75, NOW));
        assert_eq!(rest.moved(-15, NOW), Rest::of(45, NOW));
        assert_eq!(rest.moved(-90, NOW).left_ms(NOW), 0);
    }
}
