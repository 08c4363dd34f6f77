//! Logging: sets, corrections, what was left out, closing a session, words to the coach. Each deed has a name
//! of the app's own choice, so that one that is tapped twice or tried again after a kill is done once.

use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::device::Clock as _;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::log::Comment;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Effort, Minutes};
use backstraight_core::view::screen::{ScreenItem, SessionScreen, SetHere};

use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::{Fields, Here, LeftOut, SetNumbers};
use super::work::{Deed, Receipt, What, Work, key};

/// A set to log.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct LogSet {
    /// The session of the plan or of the log; a new one that nobody asked when missing.
    #[uniffi(default = None)]
    pub session: Option<String>,
    /// The line of the plan; missing for what is done beside it.
    #[uniffi(default = None)]
    pub item: Option<String>,
    /// The exercise, when it is another than the one being done, or nothing was asked.
    #[uniffi(default = None)]
    pub exercise: Option<String>,
    /// Its numbers.
    pub numbers: SetNumbers,
    /// The deed's name.
    pub once: String,
}

/// A set to correct: it reads as these numbers from now on; the earlier ones stay readable.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct CorrectSet {
    /// The session.
    pub session: String,
    /// The set.
    pub set: String,
    /// All its numbers.
    pub numbers: SetNumbers,
    /// The deed's name.
    pub once: String,
}

/// A line of the plan to leave out.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SkipItem {
    /// The session.
    pub session: String,
    /// The line.
    pub item: String,
    /// Why.
    pub why: LeftOut,
    /// Words.
    #[uniffi(default = None)]
    pub note: Option<String>,
    /// The deed's name.
    pub once: String,
}

/// A session to close.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct CloseSession {
    /// The session.
    pub session: String,
    /// Minutes that it took, rests included.
    #[uniffi(default = None)]
    pub minutes: Option<u32>,
    /// How hard all of it was, tenths of 0 to 10.
    #[uniffi(default = None)]
    pub effort_tenths: Option<u32>,
    /// Words to the coach.
    #[uniffi(default = None)]
    pub comment: Option<String>,
    /// The deed's name.
    pub once: String,
}

/// Words of somebody.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct WordsLine {
    /// Which.
    pub id: String,
    /// When, ms since 1970 in UTC.
    pub at_ms: i64,
    /// Who said it: the name shown.
    pub by: String,
    /// The words.
    pub words: String,
    /// The session that it is about, planned or done.
    pub session: Option<String>,
}

#[uniffi::export]
impl Install {
    /// Logs a set. When this returns, it is on disk. The receipt names the set.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, `EnrolAgain`, `StoreFull`, and what else the store says.
    pub fn log_set(&self, set: LogSet, now: Now) -> Result<Receipt, DoorError> {
        let LogSet { session, item, exercise, numbers, once } = set;
        self.deed(What("log_set"), now, &once, |work| {
            let numbers = numbers.read(self.clock.now())?;
            let session = session.as_deref().map(|s| key("session", s)).transpose()?;
            let exercise = exercise.as_deref().map(|e| key("exercise", e)).transpose()?;
            let screen = screen(work, session.as_ref())?;
            let doc = doc(work, &screen);
            let mut mint = || work.device.key();
            let commands = match item.as_deref() {
                Some(item) => screen.log(one(&screen, item)?, exercise.as_ref(), numbers, &mut mint),
                None => {
                    let Some(exercise) = exercise else {
                        return Err(DoorError::field("exercise", "missing", "say which was done"));
                    };
                    screen.log_extra(&exercise, numbers, &mut mint)
                }
            };
            let id = match commands.last() {
                Some(Command::LogSet { key, .. }) => key.to_string(),
                _ => return Err(DoorError::inner("a set without a key")),
            };
            Ok(Deed { doc, commands, id })
        })
    }

    /// Corrects a set. The receipt names the set as it reads now.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn correct_set(&self, set: CorrectSet, now: Now) -> Result<Receipt, DoorError> {
        let CorrectSet { session, set, numbers, once } = set;
        self.deed(What("correct_set"), now, &once, |work| {
            let numbers = numbers.read(self.clock.now())?;
            let screen = screen(work, Some(&key("session", &session)?))?;
            let there = find(&screen, &set)?;
            let own = work.device.key();
            let command = screen.correct(&there.work, &there.done.set.key(), numbers, own.clone());
            let command = command.ok_or_else(|| DoorError::missing("set", &set))?;
            Ok(Deed { doc: doc(work, &screen), commands: vec![command], id: own.to_string() })
        })
    }

    /// Says that a set was not done after all. It stays readable.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn strike_set(
        &self,
        session: String,
        set: String,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("strike_set"), now, &once, |work| {
            let screen = screen(work, Some(&key("session", &session)?))?;
            let there = find(&screen, &set)?;
            let own = work.device.key();
            // Struck with its corrections.
            let first = there.done.earlier.last().map_or_else(|| there.done.set.key(), |e| e.key());
            let command = screen.strike(&there.work, &first, self.clock.now(), own.clone());
            let command = command.ok_or_else(|| DoorError::missing("set", &set))?;
            Ok(Deed { doc: doc(work, &screen), commands: vec![command], id: own.to_string() })
        })
    }

    /// Leaves a line of the plan out, and says why.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn skip_item(&self, skip: SkipItem, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("skip_item"), now, &skip.once, |work| {
            let mut fields = Fields::default();
            let note = fields.note("note", skip.note.clone());
            fields.check()?;
            let screen = screen(work, Some(&key("session", &skip.session)?))?;
            let item = one(&screen, &skip.item)?;
            let doc = doc(work, &screen);
            let at = self.clock.now();
            let commands = screen.skip(item, skip.why.into(), note, at, &mut || work.device.key());
            Ok(Deed { doc, commands, id: skip.item.clone() })
        })
    }

    /// Closes a session, begun or not: an athlete may have logged nothing and still say how it was.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn close_session(&self, close: CloseSession, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("close_session"), now, &close.once, |work| {
            let mut fields = Fields::default();
            let minutes = fields.number("minutes", close.minutes, Minutes::new);
            let effort = fields.number("effort_tenths", close.effort_tenths, Effort::new);
            let comment = fields.note("comment", close.comment.clone());
            fields.check()?;
            let screen = screen(work, Some(&key("session", &close.session)?))?;
            let doc = doc(work, &screen);
            let at = self.clock.now();
            let commands = screen.close(minutes, effort, comment, at, &mut || work.device.key());
            Ok(Deed { doc, commands, id: close.session.clone() })
        })
    }

    /// Leaves a whole session out, and says why.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn leave_session_out(
        &self,
        session: String,
        why: LeftOut,
        comment: Option<String>,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("leave_session_out"), now, &once, |work| {
            let mut fields = Fields::default();
            let comment = fields.note("comment", comment);
            fields.check()?;
            let screen = screen(work, Some(&key("session", &session)?))?;
            let doc = doc(work, &screen);
            let at = self.clock.now();
            let command = screen.leave_out(why.into(), comment, at, &mut || work.device.key());
            Ok(Deed { doc, commands: vec![command], id: session.clone() })
        })
    }

    /// Words: of an athlete to the coaches, of a coach to an athlete. About a session, planned or done, where
    /// it is named.
    ///
    /// # Errors
    /// As `log_set`.
    pub fn say(
        &self,
        words: String,
        session: Option<String>,
        athlete: Option<String>,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("say"), now, &once, |work| {
            let mut fields = Fields::default();
            let text = fields.note("words", Some(words));
            fields.check()?;
            let text = text.ok_or_else(|| DoorError::field("words", "missing", "say something"))?;
            let session = session.as_deref().map(|s| key("session", s)).transpose()?;
            let (me, month) = (work.device.identity().person, work.today()?.month());
            let whose = work.person(athlete.as_deref())?;
            let doc = if whose == me { DocName::Log(me, month) } else { DocName::Notes(whose, month) };
            let own = work.device.key();
            let record = Comment { session, ..Comment::new(self.clock.now(), me, text) };
            let add = New { place: Place::of("comments", &own), record: record.into() };
            Ok(Deed { doc, commands: vec![Command::Add(vec![add])], id: own.to_string() })
        })
    }

    /// What athlete and coaches said to each other in the last months, oldest first; about another athlete for
    /// a coach.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn words(&self, athlete: Option<String>, now: Now) -> Result<Vec<WordsLine>, DoorError> {
        self.clock.tell(now);
        self.read(|work| {
            let (whose, day) = (work.person(athlete.as_deref())?, work.today()?);
            let done = work.done(whose, day)?;
            let people = work.device.people()?;
            let me = work.device.identity();
            let name = |who: PersonId| {
                if who == me.person {
                    return me.name.clone();
                }
                let known = people.iter().find(|k| k.person.as_slice() == who.0.as_bytes());
                known.map_or_else(|| who.to_string(), |k| k.name.clone())
            };
            let line = |e: &Entry<Comment>| WordsLine {
                id: e.key().to_string(),
                at_ms: e.record.at.0,
                by: name(e.record.by),
                words: e.record.text.to_string(),
                session: e.record.session.as_ref().map(ToString::to_string),
            };
            Ok(done.comments.iter().map(line).collect())
        })
    }
}

/// The screen of one's own session.
fn screen(work: &mut Work, session: Option<&Key>) -> Result<SessionScreen, DoorError> {
    Here::read(work, work.device.identity().person)?.screen(work, session)
}

/// The log in which it stands or will stand.
fn doc(work: &Work, screen: &SessionScreen) -> DocName {
    let me = work.device.identity().person;
    screen.doc(|day| DocName::Log(me, day.month()))
}

fn one<'a>(screen: &'a SessionScreen, item: &str) -> Result<&'a ScreenItem, DoorError> {
    screen.item(&key("item", item)?).ok_or_else(|| DoorError::missing("item", item))
}

/// A set by the name that it has, or had before it was corrected.
fn find<'a>(screen: &'a SessionScreen, set: &str) -> Result<&'a SetHere, DoorError> {
    let wanted = key("set", set)?;
    let asked = screen.items().flat_map(|i| &i.doing.sets);
    let mut all = asked.chain(screen.extra.iter().flat_map(|d| &d.sets));
    let is = |s: &&SetHere| s.done.set.key() == wanted || s.done.earlier.iter().any(|e| e.key() == wanted);
    all.find(is).ok_or_else(|| DoorError::missing("set", set))
}
