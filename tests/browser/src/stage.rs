//! Where a story plays: a server on a folder of its own, and the folders in which phones keep their memory.

use std::path::PathBuf;

use tempfile::TempDir;

use crate::built::Built;
use crate::club;
use crate::must::must;
use crate::process::{Driver, Server};
use crate::seat::{Kind, Seat};

/// A server and what is needed for browsers around it.
#[derive(Debug)]
pub struct Stage {
    /// The server.
    pub server: Server,
    driver: Driver,
    home: TempDir,
}

impl Stage {
    /// A server without a club, with the page as it was built.
    #[must_use]
    pub fn new() -> Stage {
        Stage::with(&Built::usual())
    }

    /// The same with another page.
    #[must_use]
    pub fn with(page: &Built) -> Stage {
        Stage::on(Some(page))
    }

    /// The same with the page that the server's program has inside.
    #[must_use]
    pub fn of_the_program() -> Stage {
        Stage::on(None)
    }

    /// A server with the invented club and weeks of its training, with the page as it was built.
    #[must_use]
    pub fn of_the_club() -> Stage {
        Stage::with_the_club(Some(&Built::usual()))
    }

    /// The same with the page that the server's program has inside.
    #[must_use]
    pub fn of_the_club_in_the_program() -> Stage {
        Stage::with_the_club(None)
    }

    fn with_the_club(page: Option<&Built>) -> Stage {
        let home = folder();
        club::put(&home.path().join("data"));
        Stage::in_folder(home, page)
    }

    fn on(page: Option<&Built>) -> Stage {
        Stage::in_folder(folder(), page)
    }

    fn in_folder(home: TempDir, page: Option<&Built>) -> Stage {
        let server = Server::start(&home.path().join("data"), page.map(Built::folder));
        Stage { server, driver: Driver::start(), home }
    }

    /// A folder of the story's own, which goes with it.
    #[must_use]
    pub fn folder(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    /// Opens the browser of somebody; the same name is the same phone with all that it remembers.
    #[must_use]
    pub fn seat(&self, kind: Kind, name: &str) -> Seat {
        Seat::open(kind, self.driver.port, &self.folder(&format!("seat-{name}")), &self.server.url())
    }

    /// A phone.
    #[must_use]
    pub fn phone(&self, name: &str) -> Seat {
        self.seat(Kind::Phone, name)
    }

    /// The browser of somebody of the invented club, as a new device of theirs.
    #[track_caller]
    #[must_use]
    pub fn come_in(&self, kind: Kind, name: &str) -> Seat {
        let seat = self.seat(kind, &format!("{name}-{kind:?}"));
        self.welcome(&seat, name);
        seat
    }

    /// Makes a browser a device of somebody of the invented club.
    #[track_caller]
    pub fn welcome(&self, seat: &Seat, name: &str) {
        seat.go(&club::way_in(&self.server, name).replacen(&self.server.url(), "", 1));
        seat.tap("button", "Start on this device");
        seat.wait_for("the way around", "return document.querySelector('nav.ways') !== null");
    }

    /// A desk.
    #[must_use]
    pub fn desk(&self, name: &str) -> Seat {
        self.seat(Kind::Desk, name)
    }
}

fn folder() -> TempDir {
    must(tempfile::tempdir(), "a folder for the story")
}

impl Default for Stage {
    fn default() -> Stage {
        Stage::new()
    }
}
