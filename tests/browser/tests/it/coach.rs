//! A coach's evening while the server is away.

use backstraight_browser::{Kind, Stage};

#[test]
#[ignore = "needs a browser: cargo xtask browser"]
fn without_a_server_a_phone_logs_and_the_desk_opens_the_athletes_plan() {
    let mut stage = Stage::of_the_club();
    let desk = stage.come_in(Kind::Desk, "Marta");
    let phone = stage.come_in(Kind::Phone, "Ines");
    phone.wait_until_kept();
    desk.wait_until_kept();
    phone.wait_to_see("link", "Go on");
    desk.wait_to_see("link", "Ines Tarrowby");
    stage.server.stop();

    phone.tap("link", "Go on");
    phone.tap("button", "Done:");
    phone.wait_to_read("Set saved on this phone");

    desk.tap("link", "Ines Tarrowby");
    desk.tap("link", "Plan");
    desk.wait_for("the desk", "return document.querySelector('.desk') !== null");
    desk.shot("plan-offline");
}
