//! How a screen looks: pictures to look at, and rules that a machine can hold it to. The machine finds perhaps half
//! of what is wrong; pictures are there to be looked at by a person.

use std::env;
use std::fs;
use std::path::PathBuf;

use serde_json::{Value, json};

use crate::built::workspace;
use crate::must::must;
use crate::seat::{Kind, Seat, wait};

/// Sets of rules that every screen is held to.
pub const RULES: [&str; 6] = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

/// Shortest side of what is touched in a gym, in points.
const TOUCHED: u32 = 44;

/// What is not as it should be; empty when all is well.
#[derive(Debug, Default)]
pub struct Tidiness(pub Vec<String>);

/// What is too small to be touched, what lies under something else once it was scrolled to, or reaches over the edge.
/// Links within a text are as small as the text.
const MEASURE: &str = r#"
const wrong = [];
const root = document.documentElement;
if (root.scrollWidth > root.clientWidth + 1) wrong.push(`scrolls sideways: ${root.scrollWidth} of ${root.clientWidth}`);
const least = arguments[0];
const scrolled = [...document.querySelectorAll("*")].filter((e) => e.scrollTop || e.scrollLeft || e.scrollWidth > e.clientWidth || e.scrollHeight > e.clientHeight)
  .map((e) => [e, e.scrollLeft, e.scrollTop]);
const within = document.querySelector("dialog[open]") ?? document;
const called = (e) => `${e.tagName.toLowerCase()} "${(e.innerText || e.getAttribute("aria-label") || e.name || e.id).trim()}"`;
for (const e of within.querySelectorAll("button, a[href], input, select, textarea, summary, [role=button], [role=tab]")) {
  if (!e.checkVisibility({ visibilityProperty: true, opacityProperty: true }) || e.closest("[hidden], .skip")) continue;
  const whole = e.closest("label") ?? e;
  e.scrollIntoView({ block: "nearest", inline: "nearest", behavior: "instant" });
  const box = whole.getBoundingClientRect();
  if (box.width === 0) continue;
  // A button of text may run over two lines: what counts is what is hit at its first one.
  const line = e.getClientRects()[0];
  const hit = document.elementFromPoint(line.left + line.width / 2, line.top + line.height / 2);
  // What was just said lies over the page for a while, and can be put away.
  if (!hit?.closest(".toasts") && !(hit && (whole.contains(hit) || hit.contains(e) && hit.closest("label") === whole)))
    wrong.push(`${called(e)}: under ${hit ? called(hit) : "the edge"}`);
  if (least && !e.closest("p, li.text, td") && (box.width < least - 0.5 || box.height < least - 0.5))
    wrong.push(`${called(e)}: ${box.width.toFixed(0)} x ${box.height.toFixed(0)}`);
}
for (const [e, left, top] of scrolled) e.scrollTo({ left, top, behavior: "instant" });
return wrong;
"#;

impl Seat {
    /// A picture of what is on the screen, in the folder `BACKSTRAIGHT_SHOTS` or `target/shots`.
    pub fn shot(&self, name: &str) -> PathBuf {
        let usual =
            || env::var_os("CARGO_TARGET_DIR").map_or_else(|| workspace().join("target"), PathBuf::from);
        let folder = env::var_os("BACKSTRAIGHT_SHOTS").map_or_else(|| usual().join("shots"), PathBuf::from);
        must(fs::create_dir_all(&folder), "a folder for pictures");
        let kind = if self.kind == Kind::Phone { "phone" } else { "desk" };
        let path = folder.join(format!("{name}-{kind}.png"));
        must(wait(self.web().screenshot(&path)), "a picture");
        path
    }

    /// Pictures by day and in the dark.
    pub fn shots(&self, name: &str) {
        self.dark(true);
        self.shot(&format!("{name}-dark"));
        self.dark(false);
        self.shot(name);
    }

    /// Holds the screen as it is now to all rules, by day and in the dark.
    #[track_caller]
    pub fn assert_accessible(&self, what: &str) {
        self.dark(true);
        let found = self.too_faint();
        assert!(found.0.is_empty(), "{what}, dark: {:#?}", found.0);
        self.dark(false);
        let found = self.breaches();
        assert!(found.0.is_empty(), "{what}: {:#?}", found.0);
    }

    /// What cannot be told from its ground: all that differs between day and dark.
    #[must_use]
    pub fn too_faint(&self) -> Tidiness {
        Tidiness(self.axe(&json!({ "type": "rule", "values": ["color-contrast"] })))
    }

    /// What breaks the rules on the screen now.
    #[must_use]
    pub fn breaches(&self) -> Tidiness {
        let mut found = Vec::new();
        let least = if self.kind == Kind::Phone { TOUCHED } else { 0 };
        let measured = self.run(MEASURE, vec![json!(least)]);
        found.extend(measured.as_array().into_iter().flatten().filter_map(Value::as_str).map(str::to_owned));
        found.extend(self.axe(&json!(RULES)));
        Tidiness(found)
    }

    fn axe(&self, rules: &Value) -> Vec<String> {
        let mut found = Vec::new();
        self.run(&axe(), Vec::new());
        // The library measures where the page happens to be scrolled to: what is half under the bar at the edge then
        // is no smaller for that. That everything can be scrolled out from under it was measured above.
        let answer = self.promise(
            "const bars = [...document.querySelectorAll('nav.ways')]; \
             bars.forEach((b) => b.style.setProperty('position', 'static')); \
             const r = await axe.run(document, { runOnly: args[0], resultTypes: ['violations'] }); \
             bars.forEach((b) => b.style.removeProperty('position')); \
             return r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.map((n) => n.html + ' | ' + n.failureSummary) }));",
            vec![rules.clone()],
        );
        for breach in answer.as_array().into_iter().flatten() {
            found.push(must(serde_json::to_string(breach), "what was found"));
        }
        found
    }
}

/// The library that looks for breaches; it is sent as a driver's script, because the page lets no other in.
fn axe() -> String {
    let file = workspace().join("tests/browser/axe/node_modules/axe-core/axe.min.js");
    must(fs::read_to_string(&file), &format!("{} (npm ci in tests/browser/axe)", file.display()))
}
