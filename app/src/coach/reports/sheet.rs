//! A sheet of paper: a head that stands on each printed page, and what is below it.

use leptos::prelude::*;

use crate::words::say;

/// A sheet. The head is repeated on each page by the browser's own rule for heads of tables.
#[component]
pub fn Sheet(
    /// What it is about.
    #[prop(into)]
    title: String,
    /// Days, club, what else belongs to the head.
    #[prop(into)]
    under: String,
    /// What is on it.
    children: Children,
) -> impl IntoView {
    view! {
        <table class="sheet" role="presentation">
            <thead>
                <tr>
                    <td>
                        <div class="sheet-head">
                            <h2 class="bare">{title}</h2>
                            <p>{under}</p>
                        </div>
                    </td>
                </tr>
            </thead>
            <tbody>
                <tr>
                    <td>
                        <div class="stack">{children()}</div>
                    </td>
                </tr>
            </tbody>
            <tfoot>
                <tr>
                    <td>
                        <p class="soft">{say("reports.foot")}</p>
                    </td>
                </tr>
            </tfoot>
        </table>
    }
}
