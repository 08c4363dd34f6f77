//! What a person does: taps, types, reads. Things are found by `data-test`, or by role and name as a screen reader
//! tells them. Waits until the thing is there and can be used.

use std::time::{Duration, Instant};

use serde_json::{Value, json};
use thirtyfour::WebElement;
use thirtyfour::components::SelectElement;

use crate::must::must;
use crate::seat::{Seat, wait};

/// Elements that are shown, by role and name or by mark. Names are compared as a person reads them.
const FINDER: &str = r#"
const [role, name, mark] = arguments;
const KINDS = {
  button: "button, [role=button], input[type=submit], summary",
  link: "a[href], [role=link]",
  heading: "h1, h2, h3, h4, [role=heading]",
  textbox: "input:not([type]), input[type=text], input[type=password], input[type=search], input[type=date], textarea, [role=textbox]",
  combobox: "select, [role=combobox]",
  checkbox: "input[type=checkbox], [role=checkbox], [role=switch]",
  radio: "input[type=radio], [role=radio]",
  tab: "[role=tab]", alert: "[role=alert]", status: "[role=status]", dialog: "dialog[open], [role=dialog]",
  img: "img, [role=img]", option: "option, [role=option]", row: "tr, [role=row]", region: "section, [role=region]",
};
const plain = (text) => (text ?? "").replace(/\s+/g, " ").trim();
const byIds = (ids) => plain(ids.split(/\s+/).map((id) => document.getElementById(id)?.textContent).join(" "));
const nameOf = (e) =>
  e.getAttribute("aria-labelledby") ? byIds(e.getAttribute("aria-labelledby"))
  : e.getAttribute("aria-label") ? plain(e.getAttribute("aria-label"))
  : e.labels?.length ? plain([...e.labels].map((l) => l.textContent).join(" "))
  : plain(e.innerText || e.value || e.getAttribute("alt") || e.getAttribute("title"));
const shown = (e) => e.checkVisibility({ visibilityProperty: true }) && !e.closest("[aria-hidden=true], [inert]");
// A radio of one's own drawing is often covered by its label: the label is what is tapped.
const selector = mark ? `[data-test="${CSS.escape(mark)}"]` : KINDS[role] ?? `[role=${CSS.escape(role)}]`;
let all = [...document.querySelectorAll(selector)].filter(shown);
if (!mark && name !== null) {
  const same = all.filter((e) => nameOf(e) === plain(name));
  all = same.length ? same : all.filter((e) => nameOf(e).startsWith(plain(name)));
}
return all;
"#;
/// How long a thing may take to be there.
const PATIENCE: Duration = Duration::from_secs(15);
/// Time between two looks.
const AGAIN: Duration = Duration::from_millis(20);

/// What is looked for.
#[derive(Debug, Clone, Copy)]
enum What<'a> {
    Mark(&'a str),
    Named(&'a str, &'a str),
}

impl Seat {
    fn all(&self, what: What<'_>) -> Vec<WebElement> {
        let args: Vec<Value> = match what {
            What::Mark(mark) => vec![Value::Null, Value::Null, json!(mark)],
            What::Named(role, name) => vec![json!(role), json!(name), Value::Null],
        };
        wait(self.web().execute(FINDER, args)).and_then(|found| found.elements()).unwrap_or_default()
    }

    /// Does something with the first that is found, and again while the page changes under it.
    #[track_caller]
    fn with<T>(
        &self,
        what: What<'_>,
        act: impl AsyncFn(&WebElement) -> thirtyfour::error::WebDriverResult<T>,
    ) -> T {
        let begun = Instant::now();
        loop {
            let mut last = "is not there".to_owned();
            if let Some(element) = self.all(what).first() {
                match wait(act(element)) {
                    Ok(value) => return value,
                    Err(e) => last = e.to_string(),
                }
            }
            assert!(begun.elapsed() < PATIENCE, "{what:?}: {last}\n{}", self.state());
            std::thread::sleep(AGAIN);
        }
    }

    /// Taps what has this role and name, such as `tap("button", "Done")`.
    #[track_caller]
    pub fn tap(&self, role: &str, name: &str) {
        self.with(What::Named(role, name), click);
    }

    /// Taps what is marked so.
    #[track_caller]
    pub fn tap_mark(&self, mark: &str) {
        self.with(What::Mark(mark), click);
    }

    /// Types into the field of that name in place of what is there.
    #[track_caller]
    pub fn fill(&self, name: &str, text: &str) {
        self.with(What::Named("textbox", name), async |e| fill(e, text).await);
    }

    /// The same for a field that is marked so.
    #[track_caller]
    pub fn fill_mark(&self, mark: &str, text: &str) {
        self.with(What::Mark(mark), async |e| fill(e, text).await);
    }

    /// Chooses what says that in the list of that name.
    #[track_caller]
    pub fn choose(&self, list: &str, text: &str) {
        self.with(What::Named("combobox", list), async |e| {
            SelectElement::new(e).await?.select_by_partial_text(text).await
        });
    }

    /// Puts the focus on what has this role and name, as tabbing there does.
    #[track_caller]
    pub fn focus(&self, role: &str, name: &str) {
        self.with(What::Named(role, name), async |e| e.focus().await);
    }

    /// What a marked thing says.
    #[track_caller]
    #[must_use]
    pub fn read(&self, mark: &str) -> String {
        self.with(What::Mark(mark), async |e| e.text().await)
    }

    /// How many of that role and name are shown now.
    #[must_use]
    pub fn count(&self, role: &str, name: &str) -> usize {
        self.all(What::Named(role, name)).len()
    }

    /// How many that are marked so are shown now.
    #[must_use]
    pub fn count_mark(&self, mark: &str) -> usize {
        self.all(What::Mark(mark)).len()
    }

    /// Waits until something of that role and name is shown.
    #[track_caller]
    pub fn wait_to_see(&self, role: &str, name: &str) {
        self.with(What::Named(role, name), async |_| Ok(()));
    }

    /// Whether the page says that anywhere now.
    #[track_caller]
    #[must_use]
    pub fn reads(&self, text: &str) -> bool {
        self.run("return document.body.innerText.includes(arguments[0])", vec![json!(text)]) == true
    }

    /// Waits until the page says that anywhere.
    #[track_caller]
    pub fn wait_to_read(&self, text: &str) {
        let text = must(serde_json::to_string(text), "a text");
        self.wait_for(&text, &format!("return document.body.innerText.includes({text})"));
    }
}

/// Taps it, in the middle of the screen: a bar at the edge may cover what was only just scrolled to.
async fn click(element: &WebElement) -> thirtyfour::error::WebDriverResult<()> {
    element.scroll_into_view().await?;
    element.click().await
}

async fn fill(element: &WebElement, text: &str) -> thirtyfour::error::WebDriverResult<()> {
    element.clear().await?;
    element.send_keys(text).await
}
