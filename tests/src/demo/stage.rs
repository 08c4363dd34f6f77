//! The stage: a server in this process on a real port and a real folder, coaches' desks and
//! athletes' phones in folders of their own, and a clock that the story moves.

use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::proof::Invitation;
use backstraight_core::model::number::SeasonNo;
use backstraight_ffi::phone::{Exchanged, Phone, SystemClock};
use backstraight_ffi::transport::{Http, enrol};
use backstraight_server::app::{self, Clock, Running};
use backstraight_server::config::Config;
use backstraight_server::folder::Folder;
use backstraight_server::grant::AtTheMachine;
use backstraight_server::secret;
use backstraight_server::store::people::{self, NewPerson};
use backstraight_server::store::{StoreOptions, account};

use crate::clock::SetClock;
use crate::club::library::Keys;
use crate::club::logs::Athlete;
use crate::club::people::{ATHLETES, CARE, CLUB, COACHES, SQUAD};

/// Anything that stops the story.
pub type Trouble = Box<dyn std::error::Error + Send + Sync>;

/// A coach's desk.
#[derive(Debug)]
pub struct Coach {
    /// The install.
    pub phone: Phone,
    /// Its clock.
    pub clock: SetClock,
    /// Name.
    pub name: &'static str,
}

/// Bytes and round trips of all exchanges.
#[derive(Debug, Clone, Copy, Default)]
pub struct Traffic {
    /// Round trips.
    pub round_trips: u32,
    /// Bytes sent, packed.
    pub sent: u64,
    /// Bytes received, packed.
    pub received: u64,
}

/// The stage.
#[derive(Debug)]
pub struct Stage {
    runtime: tokio::runtime::Runtime,
    server: Option<Running>,
    server_clock: Arc<AtomicI64>,
    /// The folder of everything.
    pub dir: PathBuf,
    /// The club.
    pub club: ClubId,
    /// Its squad.
    pub squad: SquadId,
    /// Coaches' desks.
    pub coaches: Vec<Coach>,
    /// The device of who looks after the squad's health.
    pub care: Option<Coach>,
    /// Athletes' phones.
    pub athletes: Vec<Athlete>,
    /// Keys of the library's exercises.
    pub keys: Keys,
    /// The day of the story.
    pub today: Day,
    /// The moment at which the live part begins.
    pub now: Moment,
    /// What travelled.
    pub traffic: Traffic,
}

impl Stage {
    /// Builds the stage for a story that happens now: server, club, squad, people, and an enrolled
    /// install for each.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn build(dir: &Path, port: u16) -> Result<Stage, Trouble> {
        let real = backstraight_ffi::phone::Clock::now(&SystemClock { zone_minutes: 0 });
        // The story begins at ten on the day of the machine, so that its evenings are evenings.
        Stage::build_at(dir, port, Moment(real.0 - real.0.rem_euclid(DAY) + 10 * 3_600_000))
    }

    /// The same for a story that happens at another time.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn build_at(dir: &Path, port: u16, now: Moment) -> Result<Stage, Trouble> {
        let today = Day::of(now, 0)?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
        // How far the story's clock is from the machine's.
        let server_clock = Arc::new(AtomicI64::new(0));
        let offset = Arc::clone(&server_clock);
        let clock = Clock::new(move || {
            let real = backstraight_ffi::phone::Clock::now(&SystemClock { zone_minutes: 0 });
            real.plus_ms(offset.load(Ordering::Relaxed))
        });
        let mut config = Config::on(dir.join("server"));
        config.listen = std::net::SocketAddr::from(([127, 0, 0, 1], port));
        let server = runtime.block_on(app::start(config, StoreOptions::default(), clock))?;
        let mut stage = Stage {
            runtime,
            server: Some(server),
            server_clock,
            dir: dir.to_owned(),
            club: ClubId::new(now, secret::random()),
            squad: SquadId::new(now, secret::random()),
            coaches: Vec::new(),
            care: None,
            athletes: Vec::new(),
            keys: Keys::new(),
            today,
            now,
            traffic: Traffic::default(),
        };
        stage.set_time(now.plus_ms(-57 * DAY));
        stage.found()?;
        Ok(stage)
    }

    fn found(&mut self) -> Result<(), Trouble> {
        let (club, squad, now) = (self.club, self.squad, self.time());
        let store = Arc::clone(&self.running()?.app.store);
        let grant = AtTheMachine.to_keep_accounts();
        store.write_blocking(move |db| {
            people::add_club(db, &grant, club, CLUB, now)?;
            people::add_squad(db, &grant, club, squad, SQUAD, now)
        })?;
        for name in COACHES {
            let role = if self.coaches.is_empty() { Role::HeadCoach } else { Role::Coach };
            let (phone, clock) = self.person(name, role, &format!("desk-{}", self.coaches.len() + 1))?;
            self.coaches.push(Coach { phone, clock, name });
        }
        let (phone, clock) = self.person(CARE, Role::Care, "care")?;
        self.care = Some(Coach { phone, clock, name: CARE });
        for (index, person) in ATHLETES.iter().enumerate() {
            let (phone, clock) =
                self.person(person.name, Role::Athlete, &format!("phone-{:02}", index + 1))?;
            let (id, born) = (phone.identity().person, Day::new(person.born, 3, 3).ok());
            store.write_blocking(move |db| people::set_born(db, &grant, id, born, now))?;
            self.athletes.push(Athlete { index, phone, clock, season: self.season()? });
        }
        Ok(())
    }

    /// The season of the story: by custom the year in which it ends.
    ///
    /// # Errors
    /// Never within the calendar.
    pub fn season(&self) -> Result<SeasonNo, Trouble> {
        let last = self.today.plus(14).to_string();
        let year: i64 = last.split('-').next().unwrap_or("").parse()?;
        Ok(SeasonNo::new(year)?)
    }

    fn person(&mut self, name: &str, role: Role, folder: &str) -> Result<(Phone, SetClock), Trouble> {
        let now = self.time();
        let id = PersonId::new(now, secret::random());
        let club = self.club;
        let new = NewPerson { id, club, role, name: name.to_owned() };
        let grant = AtTheMachine.to_keep_accounts();
        let store = Arc::clone(&self.running()?.app.store);
        store.write_blocking(move |db| people::add_person(db, &grant, &new, now))?;
        self.install(id, folder)
    }

    /// Invites a person and enrols an install over HTTP.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn install(&mut self, person: PersonId, folder: &str) -> Result<(Phone, SetClock), Trouble> {
        let now = self.time();
        let running = self.running()?;
        let (club, key) = (self.club, Folder::open(&self.data())?.keys()?.secret);
        let grant = AtTheMachine.to_invite(person, club);
        let store = Arc::clone(&running.app.store);
        let invite = store.write_blocking(move |db| account::invite(db, &grant, &key, 900_000, now))?;
        let identity = enrol(&self.url()?, &invite.code, folder)?;
        let clock = SetClock::at(now);
        Ok((Phone::enrolled(&self.dir.join(folder), identity, Box::new(clock.clone()))?, clock))
    }

    /// A link with which a browser becomes one more device of a person, once, within a day.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn way_in(&self, person: PersonId) -> Result<String, Trouble> {
        let (now, running) = (self.time(), self.running()?);
        let (club, key) = (self.club, Folder::open(&self.data())?.keys()?.secret);
        let grant = AtTheMachine.to_invite(person, club);
        let store = Arc::clone(&running.app.store);
        let made = store.write_blocking(move |db| account::invite(db, &grant, &key, 86_400_000, now))?;
        Ok(Invitation { server: self.url()?, secret: made.secret }.text())
    }

    fn running(&self) -> Result<&Running, Trouble> {
        self.server.as_ref().ok_or_else(|| "the server is stopped".into())
    }

    /// Where the server listens.
    ///
    /// # Errors
    /// When it is stopped.
    pub fn url(&self) -> Result<String, Trouble> {
        Ok(format!("http://{}", self.running()?.address))
    }

    /// The server's folder.
    #[must_use]
    pub fn data(&self) -> PathBuf {
        self.dir.join("server")
    }

    /// Moves the story's time: the server's clock.
    pub fn set_time(&self, to: Moment) {
        let real = backstraight_ffi::phone::Clock::now(&SystemClock { zone_minutes: 0 });
        self.server_clock.store(to.0 - real.0, Ordering::Relaxed);
    }

    /// The story's time.
    #[must_use]
    pub fn time(&self) -> Moment {
        let real = backstraight_ffi::phone::Clock::now(&SystemClock { zone_minutes: 0 });
        real.plus_ms(self.server_clock.load(Ordering::Relaxed))
    }

    /// An exchange of an athlete's phone at a moment.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn exchange_athlete(&mut self, index: usize, at: Moment) -> Result<Exchanged, Trouble> {
        self.set_time(at);
        let mut http = Http::new(&self.url()?);
        let athlete = self.athletes.get_mut(index).ok_or("no such athlete")?;
        athlete.clock.set(at);
        let report = athlete.phone.exchange(&mut http)?;
        self.count(&http);
        Ok(report)
    }

    /// An exchange of a coach's desk at a moment.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn exchange_coach(&mut self, index: usize, at: Moment) -> Result<Exchanged, Trouble> {
        self.set_time(at);
        let mut http = Http::new(&self.url()?);
        let coach = self.coaches.get_mut(index).ok_or("no such coach")?;
        coach.clock.set(at);
        let report = coach.phone.exchange(&mut http)?;
        self.count(&http);
        Ok(report)
    }

    /// An exchange of the care staff's device at a moment.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn exchange_care(&mut self, at: Moment) -> Result<Exchanged, Trouble> {
        self.set_time(at);
        let mut http = Http::new(&self.url()?);
        let care = self.care.as_mut().ok_or("nobody cares")?;
        care.clock.set(at);
        let report = care.phone.exchange(&mut http)?;
        self.count(&http);
        Ok(report)
    }

    fn count(&mut self, http: &Http) {
        self.traffic.round_trips += http.round_trips;
        self.traffic.sent += http.sent;
        self.traffic.received += http.received;
    }

    /// Lets the server run until it is told to stop.
    ///
    /// # Errors
    /// Whatever goes wrong.
    pub fn run_on(&mut self) -> Result<(), Trouble> {
        self.runtime.block_on(tokio::signal::ctrl_c())?;
        self.close();
        Ok(())
    }

    /// Stops the server and closes its files.
    pub fn close(&mut self) {
        if let Some(server) = self.server.take() {
            self.runtime.block_on(server.stop());
        }
    }
}

/// A day in ms.
pub const DAY: i64 = 86_400_000;

/// An error with where it happened.
pub fn at<T, E: Display>(place: &str, result: Result<T, E>) -> Result<T, Trouble> {
    result.map_err(|e| format!("{place}: {e}").into())
}
