//! The page itself: it opens, is kept on the device, opens without a server, and says so when it broke.

use std::fs;

use backstraight_browser::{Built, Kind, Stage};
use serde_json::json;

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn once_opened_it_opens_without_a_server_also_in_a_browser_that_was_closed() {
    let mut stage = Stage::new();
    let mut phone = stage.phone("ines");
    phone.go("/");
    phone.wait_to_see("heading", "Backstraight");
    phone.wait_until_kept();
    stage.server.stop();
    for path in ["/", "/join", "/set-up"] {
        phone.go(path);
        phone.wait_to_see("heading", "Backstraight");
    }
    phone.reload();
    phone.close();
    phone.reopen();
    phone.go("/");
    phone.wait_to_see("heading", "Backstraight");
    assert_eq!(phone.console(), Vec::<String>::new(), "nothing was missing");
    stage.server.again();
    phone.reload();
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_browser_that_never_came_finds_nothing_without_a_server() {
    let mut stage = Stage::new();
    let phone = stage.phone("late");
    stage.server.stop();
    assert!(!phone.reaches("/"));
    stage.server.again();
    assert!(phone.reaches("/"));
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn every_file_is_on_the_device_and_data_is_not() {
    let stage = Stage::new();
    let phone = stage.phone("ines");
    phone.go("/");
    phone.wait_until_kept();
    let kept = phone.promise(
        "const names = await caches.keys(); const cache = await caches.open(names[0]); \
         return [names.length, (await cache.keys()).map((r) => new URL(r.url).pathname)];",
        Vec::new(),
    );
    assert_eq!(kept[0], json!(1), "{kept}");
    let kept: Vec<String> = serde_json::from_value(kept[1].clone()).unwrap();
    let page = Built::usual();
    for (starts, ends) in
        [("index-", ".html"), ("app-", ".wasm"), ("app-", ".js"), ("boot-", ".js"), ("style-", ".css")]
    {
        let name = page.file(starts, ends).file_name().unwrap().to_str().unwrap().to_owned();
        assert!(kept.contains(&format!("/{name}")), "{name}: {kept:?}");
    }
    // Data goes past the worker, asked for by the page or typed by hand.
    let status = phone.promise("return (await fetch('/v1/openapi.json')).status", Vec::new());
    assert_eq!(status, json!(200));
    phone.load("/v1/openapi.json");
    assert!(phone.holds("return document.body.innerText.includes('\"openapi\"')"), "{}", phone.state());
    phone.go("/");
    let again = phone.promise(
        "const cache = await caches.open((await caches.keys())[0]); \
         return (await cache.keys()).some((r) => r.url.includes('/v1/'))",
        Vec::new(),
    );
    assert_eq!(again, json!(false));
}

/// Bytes of a program whose only function stops it, as a bug in ours would.
const STOPS: &str = "const bytes = new Uint8Array([0,97,115,109,1,0,0,0,1,4,1,96,0,0,3,2,1,0,7,5,1,1,102,0,0,10,5,1,3,0,0,11]); \
    const { f } = new WebAssembly.Instance(new WebAssembly.Module(bytes)).exports;";

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn when_the_program_stops_it_is_said_and_the_page_loads_again() {
    let stage = Stage::new();
    let phone = stage.phone("ines");
    for how in ["setTimeout(f)", "Promise.resolve().then(f)"] {
        phone.go("/");
        assert_eq!(phone.count("alert", "Something broke"), 0);
        // A script's own mistake is not the program's end.
        phone.run("setTimeout(() => { throw new Error('a slip') })", Vec::new());
        phone.run(&format!("{STOPS} {how};"), Vec::new());
        phone.wait_to_see("alert", "Something broke");
        phone.shot("broken");
        phone.assert_accessible("the page that broke");
        phone.tap("button", "Load again");
        phone.wait_for("loaded again", "return !('state' in document.documentElement.dataset)");
        phone.wait_until_ready();
        assert_eq!(phone.count("alert", "Something broke"), 0);
    }
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_slip_of_a_script_is_not_called_the_end() {
    let stage = Stage::new();
    let phone = stage.phone("ines");
    phone.go("/");
    phone.run(
        "setTimeout(() => { throw new Error('a slip') }); Promise.reject(new Error('another'));",
        Vec::new(),
    );
    phone.promise("await new Promise((r) => setTimeout(r, 50))", Vec::new());
    assert_eq!(phone.count("alert", "Something broke"), 0);
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_program_that_cannot_be_loaded_is_said_too() {
    let mut stage = Stage::new();
    let copy = Built::usual().copy_to(&stage.folder("page"));
    let program = copy.file("app-", ".wasm");
    let whole = fs::read(&program).unwrap();
    fs::write(&program, &whole[..whole.len() / 2]).unwrap();
    stage.server.serve_page(copy.folder());
    stage.server.again();
    let phone = stage.phone("ines");
    phone.load("/");
    phone.wait_to_see("alert", "Something broke");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn the_first_screen_is_open_to_everybody() {
    let stage = Stage::new();
    for kind in [Kind::Phone, Kind::Desk] {
        let seat = stage.seat(kind, "first");
        seat.go("/");
        seat.shots("first");
        seat.assert_accessible("the first screen");
        // Small phones, and large letters.
        seat.width(320);
        seat.assert_accessible("the first screen, 320 points wide");
    }
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn the_rules_find_what_is_wrong() {
    let stage = Stage::new();
    let phone = stage.phone("ines");
    phone.go("/");
    phone.run(
        "document.body.insertAdjacentHTML('beforeend', \
         '<main><input><button>x</button><img src=\"/icons/none.png\"><div id=wide>.</div> \
         <a href=\"#x\" id=under>y</a><div id=over>z</div></main>'); \
         Object.assign(document.getElementById('over').style, { position: 'fixed', inset: 0 }); \
         document.getElementById('wide').style.width = '900px';",
        Vec::new(),
    );
    let found = phone.breaches().0.join("\n");
    for wrong in
        ["scrolls sideways", "button \"x\": 2", "a \"y\": under div \"z\"", "\"label\"", "\"image-alt\""]
    {
        assert!(found.contains(wrong), "{wrong}: {found}");
    }
}
