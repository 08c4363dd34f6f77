//! Bar speed at the same load and hops over time, from this device's documents, with the noise behind the values.

use backstraight_core::model::number::Measure;
use backstraight_core::science::Caution;
use backstraight_core::view::marks::Noises;
use leptos::prelude::*;

use super::At;
use crate::error::AppError;
use crate::kit::{CautionBox, EmptyState};
use crate::screens::unreadable;
use crate::trend::{Trends, chart, left_out};
use crate::words::say;

/// Bar speed and hops; other tests have a part of their own.
fn read(at: At) -> Result<Trends, AppError> {
    at.hub.read_with(|device, readings| {
        let library = readings.library(device)?;
        let done = readings.done(device, at.id, at.today)?;
        let mut all = Trends::of(&done, &library, &Noises::of(&library, [&done]), at.today);
        all.tests.retain(|(measure, _)| *measure == Measure::Hops);
        Ok(all)
    })
}

/// The part.
pub fn trends(at: At) -> impl IntoView {
    move || match read(at) {
        Err(error) => unreadable(error),
        Ok(all) => {
            if all == Trends::default() {
                return view! { <EmptyState title=say("trends.none") text=say("trends.none.text") /> }
                    .into_any();
            }
            let (no_bars, no_hops) = (all.speeds.is_empty(), all.tests.is_empty());
            view! {
                <section class="stack">
                    <h2>{say("trends.speed")}</h2>
                    <p>{say("trends.speed.text")}</p>
                    {no_bars.then(|| view! { <p class="soft">{say("trends.no-speed")}</p> })}
                    {all.speeds.into_iter().map(chart).collect_view()}
                    {left_out(all.left)}
                </section>
                <section class="stack">
                    <h2>{say("trends.hops")}</h2>
                    <CautionBox caution=Caution::JumpExposure />
                    {no_hops.then(|| view! { <p class="soft">{say("trends.no-hops")}</p> })}
                    {all.tests.into_iter().map(|(_, drawn)| chart(drawn)).collect_view()}
                </section>
            }
            .into_any()
        }
    }
}
