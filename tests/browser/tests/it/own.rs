//! What an athlete does beside sessions: own tests, words with the coach, and their own data up to the way out.

use std::fs;

use backstraight_browser::{Kind, Seat, Stage};
use serde_json::{Value, json};

#[track_caller]
fn exchange(phone: &Seat) {
    crate::exchange(phone);
    phone.wait_to_read("Everything is with your coach");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn an_own_test_is_entered_corrected_and_taken_back_without_a_server() {
    let mut stage = Stage::of_the_club();
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    phone.wait_to_see("link", "Go on");
    stage.server.stop();
    phone.go("/#/tests");
    phone.choose("Test", "Standing long jump");
    phone.fill("Mark", "2.61 something");
    phone.tap("button", "Save the trial");
    phone.wait_for("what is wrong", "return document.querySelector('.trial-form .wrong') !== null");
    assert!(!phone.reads("Trial saved"));
    phone.fill("Mark", "2.61");
    phone.fill("Conditions", "rubber, spikes off");
    phone.tap("button", "Save the trial");
    phone.wait_to_read("Trial saved");
    phone.wait_to_read("rubber, spikes off");
    phone.wait_for("the mark", "return document.querySelector('.trial-list').innerText.includes('2.61')");
    let today = "return document.querySelectorAll('.trial-list')[0].querySelectorAll('li').length";
    let before = phone.run(today, Vec::new()).as_u64().unwrap_or_default();

    phone.tap("button", "Correct trial 1");
    phone.wait_for("the dialog", "return document.querySelector('dialog[open]') !== null");
    phone.shots("athlete-test-correct");
    phone.assert_accessible("correcting a trial");
    phone.run("document.querySelector('dialog[open] input').dataset.test = 'mark'", Vec::new());
    phone.fill_mark("mark", "2.56");
    phone.tap("button", "Save the correction");
    phone.wait_to_read("Trial corrected");
    phone.wait_for("the new mark", "return document.querySelector('.trial-list').innerText.includes('2.56')");
    assert!(!phone.holds("return document.querySelector('.trial-list').innerText.includes('2.61')"));

    phone.tap("button", "Take trial 1 back");
    phone.wait_to_read("Trial taken back");
    phone.wait_for("it is gone", "return !document.querySelector('.trial-list').innerText.includes('2.56')");
    phone.tap("button", "Undo");
    phone.wait_for(
        "it is there again",
        "return document.querySelector('.trial-list').innerText.includes('2.56')",
    );
    assert_eq!(phone.run(today, Vec::new()), json!(before));

    stage.server.again();
    exchange(&phone);
    let desk = stage.come_in(Kind::Desk, "Marta");
    desk.tap("link", "Ines Tarrowby");
    desk.tap("link", "Tests");
    desk.wait_to_read("2.56");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn words_go_to_the_coach_and_back() {
    let stage = Stage::of_the_club();
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    phone.offline(true);
    phone.tap("link", "Talk");
    phone.fill("Your words", "The hurdles felt high today");
    phone.tap("button", "Write it");
    phone.wait_to_read("The hurdles felt high today");
    phone.wait_to_read("Saved on this phone");
    phone.offline(false);
    phone.wait_to_read("With your coach");

    let desk = stage.come_in(Kind::Desk, "Marta");
    desk.tap("link", "Talk");
    desk.wait_to_read("The hurdles felt high today");
    desk.tap("link", "Ines Tarrowby");
    desk.fill("Your words", "Then one notch lower on Saturday");
    desk.tap("button", "Write it");
    crate::wait_until_sent(&desk);
    exchange(&phone);
    phone.tap("link", "Talk");
    phone.wait_to_read("Then one notch lower on Saturday");
    phone.shots("athlete-talk-two");
    phone.assert_accessible("talk");
}

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn an_athlete_takes_everything_along_opens_and_shuts_it_and_leaves() {
    let stage = Stage::of_the_club();
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    phone.wait_to_see("link", "Go on");
    phone.go("/#/my-data");
    phone.tap("button", "Copy of what this device has");
    let copy = fs::read(phone.saved("backstraight-device.json")).unwrap();
    let copy: Value = serde_json::from_slice(&copy).unwrap();
    assert_eq!(copy["name"], "Ines Tarrowby");
    let written = |kind: &str| {
        let documents = copy["documents"].as_array().into_iter().flatten();
        let of_kind = documents.filter(|d| d["document"].as_str().is_some_and(|name| name.starts_with(kind)));
        of_kind.map(|d| d["written"].as_array().map_or(0, Vec::len)).sum::<usize>()
    };
    for kind in ["plan", "log", "care"] {
        assert!(written(kind) > 5, "{kind}: {}", written(kind));
    }
    assert!(copy["documents"].to_string().contains("left shin"), "what the athlete said of pain");
    phone.tap("button", "Full copy from the club");
    let zip = fs::read(phone.saved("backstraight-export.zip")).unwrap();
    assert!(zip.starts_with(b"PK"), "a zip file");

    // Consent counts at once, and so does taking it back.
    let desk = stage.come_in(Kind::Desk, "Marta");
    let coach_reads = |yes: bool| {
        desk.tap("link", "Look first");
        desk.reload();
        let reads = "document.body.innerText.includes('left shin')";
        let wanted = if yes { reads.to_owned() } else { format!("!{reads}") };
        desk.wait_for("the list", "return document.querySelector('main').innerText.length > 200");
        desk.wait_for("pain in the list", &format!("return {wanted}"));
    };
    coach_reads(false);
    phone.tap("button", "Agree: ");
    phone.wait_to_read("Signed");
    phone.shot("athlete-consent");
    coach_reads(true);
    phone.tap("button", "Say no: ");
    phone.wait_to_read("said no");
    coach_reads(false);

    phone.tap("button", "Leave the club");
    phone.wait_to_read("What it means");
    phone.shots("athlete-leave");
    phone.assert_accessible("leaving the club");
    phone.tap("button", "Leave for good");
    phone.wait_to_read("Type the word leave in this field");
    phone.fill("Type \"leave\" to go", "leave");
    phone.tap("button", "Leave for good");
    phone.wait_to_read("You have left the club");
    // What the browser has is still there; the server hears it no more.
    phone.run("location.hash = '#/unsent'", Vec::new());
    phone.tap("button", "Exchange now");
    phone.wait_to_read("Go on recording");
    phone.tap("link", "Weeks");
    phone.wait_for("the weeks", "return document.querySelector('main .card') !== null");
}
