// What runs around the program: loads it, says so when it broke, keeps the page's files on the device and
// offers a new version. Knows nothing of training. It stays JavaScript because it must work when the program
// does not.
//
// While somebody is in the middle of something, the program sets data-busy on the root element; a new version is
// not offered then. It sets data-part once it uses a part of it that not every device needs: that is kept then.
const GLUE = "{{glue}}";
const PROGRAM = "{{program}}";

// Asked by the browser before text becomes markup or the address of a script. The program makes markup only of
// parts of screens that hold no data; scripts never come from text.
const CAN_RUN = /<\s*\/?\s*(script|iframe|frame|object|embed|base|meta|link)\b|\son\w+\s*=|javascript:|srcdoc/i;
globalThis.trustedTypes?.createPolicy("default", {
  createHTML: (text) => (CAN_RUN.test(text) ? null : text),
  createScriptURL: (address) => (address === "/sw.js" ? address : null),
});

const root = document.documentElement;
const box = (id) => document.getElementById(id);

// The program has stopped for good: what it had in memory cannot be trusted any more.
function broke(why) {
  console.error("the page broke:", why);
  root.dataset.state = "broken";
  box("broken").hidden = false;
}

const fatal = (why) => why instanceof WebAssembly.RuntimeError || why instanceof RangeError;
addEventListener("error", (event) => fatal(event.error) && broke(event.error));
addEventListener("unhandledrejection", (event) => fatal(event.reason) && broke(event.reason));
box("load-again").addEventListener("click", () => location.reload());

// The version that waits, and whether this tab asked for it.
let waiting = null;
let taking = false;
// Another tab took the new version: a reload is all that is missing here.
let stale = false;

function offer() {
  const busy = "busy" in root.dataset;
  box("new-version").hidden = busy || !(waiting || stale);
}

new MutationObserver(offer).observe(root, { attributeFilter: ["data-busy"] });
box("take-over").addEventListener("click", () => {
  if (stale || !waiting) return location.reload();
  taking = true;
  waiting.postMessage("take-over");
});

async function keepFiles() {
  const workers = navigator.serviceWorker;
  // Not there over plain http; the program explains it.
  if (!workers) return;
  // On the first visit there is no older version to replace.
  let controlled = workers.controller !== null;
  workers.addEventListener("controllerchange", () => {
    if (taking) return location.reload();
    if (!controlled) return void (controlled = true);
    waiting = null;
    stale = true;
    offer();
  });
  const kept = await workers.register("/sw.js", { updateViaCache: "none" });
  // Every version that is here or on its way: one that waits may be taken without a signal.
  const keepParts = () => {
    if (!("part" in root.dataset)) return;
    for (const worker of [kept.installing, kept.waiting, kept.active]) worker?.postMessage("keep-parts");
  };
  const look = () => {
    waiting = workers.controller ? kept.waiting : null;
    offer();
    keepParts();
  };
  kept.addEventListener("updatefound", () => kept.installing?.addEventListener("statechange", look));
  new MutationObserver(keepParts).observe(root, { attributeFilter: ["data-part"] });
  look();
  // A page that stays open for weeks asks when it is looked at.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") kept.update().catch(() => {});
  });
}

try {
  const glue = await import(GLUE);
  await glue.default({ module_or_path: PROGRAM });
} catch (why) {
  broke(why);
}
keepFiles().catch((why) => console.warn("files are not kept on this device:", why));
