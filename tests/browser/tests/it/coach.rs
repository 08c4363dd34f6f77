//! A coach's evening: the plan is changed while phones are without a signal, and nothing of either side is lost.

use backstraight_browser::{Kind, Stage};

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn a_plan_changed_while_the_athlete_logs_the_old_one_keeps_both() {
    let mut stage = Stage::of_the_club();
    let desk = stage.come_in(Kind::Desk, "Marta");
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    desk.wait_until_kept();
    phone.wait_to_see("link", "Go on");
    desk.wait_to_see("link", "Ines Tarrowby");
    stage.server.stop();

    // The phone logs what it has.
    phone.tap("link", "Go on");
    phone.tap("button", "Done:");
    phone.wait_to_read("Set saved on this phone");

    // The desk, without the server as well, changes the same session.
    desk.tap("link", "Ines Tarrowby");
    desk.tap("link", "Plan");
    desk.wait_for("the desk", "return document.querySelector('.desk') !== null");
    desk.shot("plan-offline");
}
