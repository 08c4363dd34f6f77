//! Where the page is: the part of the address after `#`, read and written. Knows no screen.

use core::fmt;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::exchange::access::Role;

/// Which home somebody has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Home {
    /// An athlete's phone.
    Athlete,
    /// A coach's desk or phone.
    Coach,
    /// Whoever keeps the accounts, and reads no training.
    Owner,
    /// Care staff.
    Care,
    /// A guardian of minors.
    Guardian,
}

impl Home {
    /// The home of a role.
    #[must_use]
    pub const fn of(role: Role) -> Home {
        match role {
            Role::HeadCoach | Role::Coach => Home::Coach,
            Role::Athlete => Home::Athlete,
            Role::Owner => Home::Owner,
            Role::Care => Home::Care,
            Role::Guardian => Home::Guardian,
        }
    }

    /// The screen with which it begins.
    #[must_use]
    pub const fn start(self) -> Route {
        match self {
            Home::Athlete => Route::Today,
            Home::Coach => Route::Board,
            Home::Owner | Home::Care | Home::Guardian => Route::People,
        }
    }
}

/// Parts of an athlete's page as a coach sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Section {
    /// What there is to know now.
    #[default]
    Overview,
    /// Sessions, asked against done.
    Sessions,
    /// Load by day and week.
    Load,
    /// Bar speed, jumps, hops over time.
    Trends,
    /// Tests.
    Tests,
    /// What care staff said.
    Availability,
}

impl Section {
    /// All of them, in the order in which they are offered.
    pub const ALL: [Section; 6] = [
        Section::Overview,
        Section::Sessions,
        Section::Load,
        Section::Trends,
        Section::Tests,
        Section::Availability,
    ];

    const fn word(self) -> &'static str {
        match self {
            Section::Overview => "overview",
            Section::Sessions => "sessions",
            Section::Load => "load",
            Section::Trends => "trends",
            Section::Tests => "tests",
            Section::Availability => "availability",
        }
    }

    fn read(text: &str) -> Option<Section> {
        Section::ALL.into_iter().find(|s| s.word() == text)
    }
}

/// Whose plan is on the desk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// One athlete's.
    Athlete(PersonId),
    /// A squad's, athlete by athlete.
    Squad(SquadId),
}

/// A screen of the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Route {
    /// The athlete's day.
    Today,
    /// One session, on the athlete's phone.
    Session(Key),
    /// The end of a session: effort, minutes, comment.
    Close(Option<Key>),
    /// How the day feels.
    CheckIn,
    /// The athlete's weeks.
    Weeks,
    /// The athlete's tests.
    Tests,
    /// Best marks.
    Records,
    /// Messages; of one athlete, for a coach.
    Talk(Option<PersonId>),
    /// What was not sent yet.
    Unsent,
    /// A copy of everything, consents, leaving.
    MyData,
    /// Athletes by days.
    Board,
    /// Whom to look at first.
    Attention,
    /// One athlete, for a coach.
    Athlete(PersonId, Section),
    /// The plan desk, on the week that begins on a Monday.
    Plan(Whose, Option<Day>),
    /// The grid of a test day.
    TestDay,
    /// Exercises, cues, venues, templates.
    Library,
    /// People and access.
    People,
    /// What rules of the plan propose.
    Proposals,
    /// Reports to print and to take away.
    Reports,
    /// Settings of this device.
    Settings,
    /// Help.
    Help,
    /// Coming in with an invitation, which may stand in the link.
    Join(Option<Code>),
    /// A server's owner, with the secret of the link that the server showed when it started.
    SetUp(Option<Code>),
    /// Coming in with a password.
    SignIn,
    /// All parts of the kit, to be looked at.
    #[cfg(feature = "gallery")]
    Gallery,
}

/// What an invitation's link carries: letters, digits, `-`, `_` and `.`, so that it stands in an address as
/// it is. Whether it is good is for the server to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code(String);

impl Code {
    /// Most characters.
    pub const MAX: usize = 256;

    /// A code, when the text has the form of one.
    #[must_use]
    pub fn new(text: &str) -> Option<Code> {
        let good = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
        let fits = !text.is_empty() && text.len() <= Self::MAX && text.bytes().all(good);
        fits.then(|| Code(text.to_owned()))
    }

    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Route {
    /// Reads an address' part after `#`, with or without that sign; `None` when it names no screen.
    #[must_use]
    pub fn parse(hash: &str) -> Option<Route> {
        let path = hash.strip_prefix('#').unwrap_or(hash);
        let path = path.strip_prefix('/').unwrap_or(path);
        let parts: Vec<&str> = path.split('/').collect();
        Some(match parts.as_slice() {
            ["today"] => Route::Today,
            ["session", key] => Route::Session(key.parse().ok()?),
            ["close"] => Route::Close(None),
            ["close", key] => Route::Close(Some(key.parse().ok()?)),
            ["check-in"] => Route::CheckIn,
            ["weeks"] => Route::Weeks,
            ["tests"] => Route::Tests,
            ["records"] => Route::Records,
            ["talk"] => Route::Talk(None),
            ["talk", id] => Route::Talk(Some(id.parse().ok()?)),
            ["unsent"] => Route::Unsent,
            ["my-data"] => Route::MyData,
            ["board"] => Route::Board,
            ["attention"] => Route::Attention,
            ["athlete", id] => Route::Athlete(id.parse().ok()?, Section::Overview),
            ["athlete", id, section] => Route::Athlete(id.parse().ok()?, Section::read(section)?),
            ["plan", "squad", id] => Route::Plan(Whose::Squad(id.parse().ok()?), None),
            ["plan", "squad", id, week] => Route::Plan(Whose::Squad(id.parse().ok()?), Some(monday(week)?)),
            ["plan", id] => Route::Plan(Whose::Athlete(id.parse().ok()?), None),
            ["plan", id, week] => Route::Plan(Whose::Athlete(id.parse().ok()?), Some(monday(week)?)),
            ["test-day"] => Route::TestDay,
            ["library"] => Route::Library,
            ["people"] => Route::People,
            ["proposals"] => Route::Proposals,
            ["reports"] => Route::Reports,
            ["settings"] => Route::Settings,
            ["help"] => Route::Help,
            ["join"] => Route::Join(None),
            ["join", code] => Route::Join(Some(Code::new(code)?)),
            ["set-up"] => Route::SetUp(None),
            ["set-up", secret] => Route::SetUp(Some(Code::new(secret)?)),
            ["sign-in"] => Route::SignIn,
            #[cfg(feature = "gallery")]
            ["gallery"] => Route::Gallery,
            _ => return None,
        })
    }

    /// Reads a whole address. Pictures of invitations lead to `/join#secret`, a new server's link to
    /// `/set-up#secret`, which no other addresses look like; everywhere else the path says nothing.
    #[must_use]
    pub fn of_address(path: &str, hash: &str) -> Option<Route> {
        if hash.starts_with("#/") {
            return Route::parse(hash);
        }
        let secret = hash.strip_prefix('#').and_then(Code::new);
        match path.trim_end_matches('/').rsplit_once('/').map(|(_, last)| last) {
            Some("join") => Some(Route::Join(secret)),
            Some("set-up") => Some(Route::SetUp(secret)),
            _ => Route::parse(hash),
        }
    }

    /// The screen of an address; the first one of a home when it names none.
    #[must_use]
    pub fn or_home(hash: &str, home: Home) -> Route {
        Route::parse(hash).unwrap_or_else(|| home.start())
    }

    /// For a link: `#/board`.
    #[must_use]
    pub fn href(&self) -> String {
        format!("#{self}")
    }
}

/// Any day of a week stands for its Monday.
fn monday(text: &str) -> Option<Day> {
    text.parse::<Day>().ok().map(Day::week_start)
}

impl fmt::Display for Route {
    /// The address' part after `#`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plain = match self {
            Route::Session(key) => return write!(f, "/session/{key}"),
            Route::Close(Some(key)) => return write!(f, "/close/{key}"),
            Route::Talk(Some(id)) => return write!(f, "/talk/{id}"),
            Route::SetUp(Some(secret)) => return write!(f, "/set-up/{}", secret.as_str()),
            Route::Join(Some(code)) => return write!(f, "/join/{}", code.as_str()),
            Route::Athlete(id, Section::Overview) => return write!(f, "/athlete/{id}"),
            Route::Athlete(id, section) => return write!(f, "/athlete/{id}/{}", section.word()),
            Route::Plan(whose, week) => {
                match whose {
                    Whose::Athlete(id) => write!(f, "/plan/{id}")?,
                    Whose::Squad(id) => write!(f, "/plan/squad/{id}")?,
                }
                return week.map_or(Ok(()), |day| write!(f, "/{}", day.week_start()));
            }
            Route::Today => "/today",
            Route::Close(None) => "/close",
            Route::CheckIn => "/check-in",
            Route::Weeks => "/weeks",
            Route::Tests => "/tests",
            Route::Records => "/records",
            Route::Talk(None) => "/talk",
            Route::Unsent => "/unsent",
            Route::MyData => "/my-data",
            Route::Board => "/board",
            Route::Attention => "/attention",
            Route::TestDay => "/test-day",
            Route::Library => "/library",
            Route::People => "/people",
            Route::Proposals => "/proposals",
            Route::Reports => "/reports",
            Route::Settings => "/settings",
            Route::Help => "/help",
            Route::Join(None) => "/join",
            Route::SetUp(None) => "/set-up",
            Route::SignIn => "/sign-in",
            #[cfg(feature = "gallery")]
            Route::Gallery => "/gallery",
        };
        f.write_str(plain)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ID: &str = "018bcfe5-6800-7707-8707-070707070707";

    /// Addresses in the one form in which they are written.
    fn all() -> Vec<String> {
        let plain = "today close check-in weeks tests records talk unsent my-data board attention test-day \
                     library people proposals reports settings help join set-up sign-in";
        let mut all: Vec<String> = plain.split_whitespace().map(|p| format!("#/{p}")).collect();
        let sections = ["sessions", "load", "trends", "tests", "availability"];
        all.extend(sections.map(|s| format!("#/athlete/{ID}/{s}")));
        all.extend([
            "#/session/abcdef-7".to_owned(),
            "#/close/abcdef-7".to_owned(),
            "#/join/ABCD2345".to_owned(),
            "#/set-up/ABCD2345".to_owned(),
            format!("#/talk/{ID}"),
            format!("#/athlete/{ID}"),
            format!("#/plan/{ID}"),
            format!("#/plan/{ID}/2026-11-23"),
            format!("#/plan/squad/{ID}"),
            format!("#/plan/squad/{ID}/2026-11-23"),
        ]);
        all
    }

    #[test]
    fn every_address_reads_back() {
        for text in all() {
            let route = Route::parse(&text).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(route.href(), text);
            assert_eq!(Route::parse(route.to_string().as_str()), Some(route));
        }
    }

    #[test]
    fn addresses_are_distinct() {
        let mut routes: Vec<Route> = all().iter().filter_map(|t| Route::parse(t)).collect();
        let n = routes.len();
        routes.dedup();
        assert_eq!((n, routes.len()), (36, 36));
    }

    #[test]
    fn a_day_of_the_week_stands_for_its_monday() {
        let route = Route::parse(&format!("#/plan/{ID}/2026-11-26")).unwrap();
        assert_eq!(route.href(), format!("#/plan/{ID}/2026-11-23"));
    }

    #[test]
    fn the_picture_of_an_invitation_leads_in() {
        let secret = "AAAAAAAAAAAAAAAAAAAA-_";
        let route = Route::of_address("/join", &format!("#{secret}")).unwrap();
        assert_eq!(route, Route::Join(Code::new(secret)));
        assert_eq!(Route::of_address("/join/", ""), Some(Route::Join(None)));
        assert_eq!(Route::of_address("/join", "#/board"), Some(Route::Board));
        assert_eq!(Route::of_address("/set-up", "#AAAA"), Some(Route::SetUp(Code::new("AAAA"))));
        assert_eq!(Route::of_address("/rejoin", "#AAAA"), None);
        assert_eq!(Route::of_address("/", &format!("#{secret}")), None);
        assert_eq!(Route::of_address("/", "#/join"), Some(Route::Join(None)));
    }

    #[test]
    fn what_names_no_screen_leads_home() {
        let long = format!("#/join/{}", "a".repeat(Code::MAX + 1));
        for text in [
            "",
            "#",
            "#/",
            "#/nowhere",
            "#/today/more",
            "#/Today",
            "#/session",
            "#/session/x",
            "#/athlete/x",
            "#/plan/squad",
            "#/join/a b",
            "#/join/<i>",
            "#/join/",
            &long,
            &format!("#/athlete/{ID}/shoes"),
            &format!("#/plan/{ID}/2026-13-01"),
        ] {
            assert_eq!(Route::parse(text), None, "{text}");
            assert_eq!(Route::or_home(text, Home::Athlete), Route::Today);
            assert_eq!(Route::or_home(text, Home::Coach), Route::Board);
        }
        assert_eq!(Route::or_home("#/help", Home::Coach), Route::Help);
        assert_eq!(Route::or_home("#", Home::of(Role::Owner)), Route::People);
    }
}
