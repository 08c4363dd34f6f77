//! An invitation: its code for typing, its picture for a camera, its end. It is shown once and kept nowhere.

use leptos::prelude::*;
use qrcode::{Color, EcLevel, QrCode};
use serde_json::json;

use super::{At, Person, moment};
use crate::kit::{Button, Check, Kind};
use crate::words::{say, say_with};

/// An invitation as it was answered.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Made {
    code: String,
    link: String,
    until: i64,
}

/// Quiet modules around a picture, as readers of such pictures ask for.
const EDGE: usize = 4;

/// The picture of a link: how many modules wide it is, and one path of all dark ones.
#[must_use]
pub fn picture(link: &str) -> Option<(usize, String)> {
    let code = QrCode::with_error_correction_level(link, EcLevel::M).ok()?;
    let n = code.width();
    let colors = code.to_colors();
    let mut path = String::new();
    for (y, row) in colors.chunks(n).enumerate() {
        let mut x = 0;
        while x < n {
            let run = row.iter().skip(x).take_while(|c| **c == Color::Dark).count();
            if run > 0 {
                path.push_str(&format!("M{} {}h{run}v1h-{run}z", x + EDGE, y + EDGE));
            }
            x += run.max(1);
        }
    }
    Some((n + 2 * EDGE, path))
}

/// A code in two halves, which is easier to read out.
#[must_use]
pub fn halves(code: &str) -> String {
    match code.split_at_checked(4) {
        Some((a, b)) if code.len() == 8 => format!("{a} {b}"),
        _ => code.to_owned(),
    }
}

/// Makes an invitation for somebody.
#[component]
pub fn Invite(
    /// What the screen shares.
    at: At,
    /// Who is invited.
    person: Person,
) -> impl IntoView {
    let lost = RwSignal::new(false);
    let made = RwSignal::new(None::<Made>);
    let id = person.person.clone();
    let go = move || {
        let body = json!({ "person": id, "lost": lost.get_untracked() });
        at.send("/v1/invites".to_owned(), body, say("invite.made"), move |answer| {
            let text = |key: &str| answer.get(key).and_then(serde_json::Value::as_str).map(str::to_owned);
            let until = answer.get("expires_at").and_then(serde_json::Value::as_i64);
            made.set(text("code").zip(text("link")).zip(until).map(|((code, link), until)| Made {
                code,
                link,
                until,
            }));
        });
    };
    let name = person.name;
    let shown = move || {
        made.get().map(|made| {
            let picture = picture(&made.link).map(|(n, path)| {
                let label = say_with("invite.picture", &[("name", &name)]);
                view! {
                    <svg class="qr" viewBox=format!("0 0 {n} {n}") role="img" aria-label=label>
                        <rect class="qr-ground" width=n height=n></rect>
                        <path class="qr-dark" d=path></path>
                    </svg>
                }
            });
            view! {
                <div class="box stack tight" role="status">
                    <p>{say_with("invite.until", &[("name", &name), ("time", &moment(made.until))])}</p>
                    <p class="code">{halves(&made.code)}</p>
                    {picture}
                    <p class="soft">{say("invite.care")}</p>
                </div>
            }
        })
    };
    view! {
        <section class="stack tight">
            <h3>{say("invite.title")}</h3>
            <p>{say("invite.text")}</p>
            <Check label=say("invite.lost") value=lost />
            <Button label=say("invite.go").to_owned() kind=Kind::Main on_press=go />
            {shown}
        </section>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_picture_has_its_edges_and_finders() {
        let (n, path) = picture("https://club.example/join#AAAAAAAAAAAAAAAAAAAAAA").unwrap();
        assert!(n > 21 + 2 * EDGE);
        // The first finder begins at the edge and is seven modules wide.
        assert!(path.starts_with("M4 4h7v1h-7z"), "{path}");
        assert!(!path.contains("M0 ") && !path.contains(" 0h"));
    }

    #[test]
    fn a_code_is_read_out_in_halves() {
        assert_eq!(halves("ABCD2345"), "ABCD 2345");
        assert_eq!(halves("ABC"), "ABC");
    }
}
