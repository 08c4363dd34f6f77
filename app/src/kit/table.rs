//! A table with a head that stays in sight; on a phone each row becomes a card.

use leptos::prelude::*;

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its head; on a phone the label of each of its cells.
    pub label: String,
    /// Whether it holds numbers, which stand to the right.
    pub figure: bool,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(label: impl Into<String>) -> Column {
        Column { label: label.into(), figure: false }
    }

    /// A column of numbers.
    #[must_use]
    pub fn figures(label: impl Into<String>) -> Column {
        Column { label: label.into(), figure: true }
    }
}

/// A table. The first cell of each row names it.
#[component]
pub fn DataTable(
    /// What the table holds.
    #[prop(into)]
    caption: String,
    /// Its columns.
    columns: Vec<Column>,
    /// Its rows, with a cell for each column.
    rows: Vec<Vec<AnyView>>,
) -> impl IntoView {
    let head = columns
        .iter()
        .map(|c| view! { <th scope="col" class:figure=c.figure>{c.label.clone()}</th> })
        .collect_view();
    let body = rows
        .into_iter()
        .map(|row| {
            let cells = row
                .into_iter()
                .zip(&columns)
                .enumerate()
                .map(|(i, (cell, column))| {
                    if i == 0 {
                        view! { <th scope="row">{cell}</th> }.into_any()
                    } else {
                        view! {
                            <td data-label=column.label.clone() class:figure=column.figure>
                                <span>{cell}</span>
                            </td>
                        }
                        .into_any()
                    }
                })
                .collect_view();
            view! { <tr>{cells}</tr> }
        })
        .collect_view();
    let name = caption.clone();
    view! {
        <div class="table-frame" tabindex="0" role="region" aria-label=name>
            <table class="cards-on-phone">
                <caption>{caption}</caption>
                <thead>
                    <tr>{head}</tr>
                </thead>
                <tbody>{body}</tbody>
            </table>
        </div>
    }
}
