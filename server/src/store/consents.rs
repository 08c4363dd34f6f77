//! What athletes and guardians said to uses of an athlete's data, and what holds at a moment. Everybody
//! who is entitled and has spoken must have said yes: the athlete's own no always counts, the athlete's
//! yes once of age, a guardian's word while the guardianship runs.

use std::collections::BTreeMap;

use super::sql::{self, Db, OptionalExtension, Row, odd};
use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::model::name::DocName;
use backstraight_core::view::records::of_age;

use super::fault::StoreError;
use super::news::Told;
use super::{audit, value};
use crate::grant::{MayKnow, MaySign};

/// To what somebody may say yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Use {
    /// Coaches read reports of pain and illness.
    CareToCoaches,
    /// The name stands in record lists that other athletes read.
    NameToOthers,
}

impl Use {
    /// All of them.
    pub const ALL: [Use; 2] = [Use::CareToCoaches, Use::NameToOthers];

    /// Its words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Use::CareToCoaches => "care reports to coaches",
            Use::NameToOthers => "name to others",
        }
    }

    /// The use that these words name.
    #[must_use]
    pub fn of(words: &str) -> Option<Use> {
        Use::ALL.into_iter().find(|u| u.words() == words)
    }

    const fn line(self, agrees: bool) -> &'static str {
        match (self, agrees) {
            (Use::CareToCoaches, true) => "care opened to coaches",
            (Use::CareToCoaches, false) => "care closed to coaches",
            (Use::NameToOthers, true) => "name shown to others",
            (Use::NameToOthers, false) => "name withheld from others",
        }
    }
}

/// One standing word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// To what.
    pub to: Use,
    /// Yes or no.
    pub agrees: bool,
    /// Who signed.
    pub signed_by: PersonId,
    /// The signer's name.
    pub signer: String,
    /// When.
    pub at: Moment,
    /// The last day on which it counts.
    pub until: Option<Day>,
    /// Whether it counts today.
    pub counts: bool,
}

/// What holds for one use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// To what.
    pub to: Use,
    /// Yes, no, or nobody entitled has said anything.
    pub said: Option<bool>,
}

/// All that is known of an athlete's consents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Consents {
    /// Whether the athlete is of age; without a date of birth not.
    pub of_age: bool,
    /// Whether the date of birth is known.
    pub born_known: bool,
    /// What holds for each use.
    pub standing: Vec<Standing>,
    /// Every standing word, whether or not it counts.
    pub words: Vec<Word>,
}

const ROWS: &str =
    "SELECT c.athlete, c.what, c.agrees, c.signed_by, c.at, c.until, p.born, b.majority, s.name,
            (SELECT count(*) FROM guardianship g
             WHERE g.athlete = c.athlete AND g.guardian = c.signed_by AND g.ended_at IS NULL),
            CASE WHEN s.withdrawn_at IS NULL AND s.role = 'guardian' THEN 1 ELSE 0 END
     FROM consent c JOIN person p ON p.id = c.athlete JOIN club b ON b.id = p.club
          JOIN person s ON s.id = c.signed_by
     WHERE c.replaced_at IS NULL";

fn word(r: &Row<'_>, today: Day) -> sql::Result<(PersonId, Word)> {
    let athlete = value::person(r, 0)?;
    let what: String = r.get(1)?;
    let to = Use::of(&what).ok_or_else(|| odd(1, "no use"))?;
    let agrees = r.get::<_, i64>(2)? == 1;
    let signed_by = value::person(r, 3)?;
    let until = value::day(r, 5)?;
    let adult = of_age(value::day(r, 6)?, today, r.get(7)?);
    let own = signed_by == athlete;
    let guardian = r.get::<_, i64>(9)? > 0 && r.get::<_, i64>(10)? == 1 && !adult;
    // A no does not run out.
    let runs = !agrees || until.is_none_or(|last| today <= last);
    let entitled = if own { adult || !agrees } else { guardian };
    let word = Word {
        to,
        agrees,
        signed_by,
        signer: r.get(8)?,
        at: Moment(r.get(4)?),
        until,
        counts: entitled && runs,
    };
    Ok((athlete, word))
}

fn said<'a>(words: impl Iterator<Item = &'a Word>) -> Option<bool> {
    words.filter(|w| w.counts).map(|w| w.agrees).reduce(|a, b| a && b)
}

/// What was said to one use for one athlete: yes, no, or nothing that counts.
///
/// # Errors
/// When storage fails.
pub fn holds(db: &Db, athlete: PersonId, to: Use, today: Day) -> Result<Option<bool>, StoreError> {
    let mut ask = db.prepare_cached(&format!("{ROWS} AND c.athlete = ?1 AND c.what = ?2"))?;
    let rows = ask.query_map((athlete.0.as_bytes(), to.words()), |r| word(r, today))?;
    let words = rows.map(|r| r.map(|(_, w)| w)).collect::<Result<Vec<_>, _>>()?;
    Ok(said(words.iter()))
}

/// What was said to one use for all athletes of a club; who is not in it said nothing that counts.
///
/// # Errors
/// When storage fails.
pub fn of_club(db: &Db, club: ClubId, to: Use, today: Day) -> Result<BTreeMap<PersonId, bool>, StoreError> {
    let mut ask = db.prepare_cached(&format!("{ROWS} AND p.club = ?1 AND c.what = ?2"))?;
    let rows = ask.query_map((club.0.as_bytes(), to.words()), |r| word(r, today))?;
    let mut all = BTreeMap::new();
    for row in rows {
        let (athlete, word) = row?;
        if word.counts {
            let so_far = all.entry(athlete).or_insert(true);
            *so_far = *so_far && word.agrees;
        }
    }
    Ok(all)
}

/// All that is known of an athlete's consents.
///
/// # Errors
/// When storage fails.
pub fn of_athlete(db: &Db, grant: &MayKnow, today: Day) -> Result<Consents, StoreError> {
    let athlete = grant.athlete().0.into_bytes();
    let mut ask = db.prepare_cached(&format!("{ROWS} AND c.athlete = ?1 ORDER BY c.id"))?;
    let rows = ask.query_map([athlete], |r| word(r, today))?;
    let words = rows.map(|r| r.map(|(_, w)| w)).collect::<Result<Vec<_>, _>>()?;
    let (born, majority) = db
        .prepare_cached(
            "SELECT p.born, b.majority FROM person p JOIN club b ON b.id = p.club WHERE p.id = ?1",
        )?
        .query_row([athlete], |r| Ok((value::day(r, 0)?, r.get(1)?)))?;
    let standing =
        Use::ALL.map(|to| Standing { to, said: said(words.iter().filter(|w| w.to == to)) }).to_vec();
    Ok(Consents { of_age: of_age(born, today, majority), born_known: born.is_some(), standing, words })
}

/// Stores a word in the place of the signer's earlier one. The same word again changes nothing.
///
/// # Errors
/// When storage fails.
pub fn sign(
    db: &Db,
    grant: &MaySign,
    to: Use,
    agrees: bool,
    until: Option<Day>,
    now: Moment,
) -> Result<(), StoreError> {
    let (athlete, signer) = (grant.athlete().0.into_bytes(), grant.signer().0.into_bytes());
    let until = until.map(|d| d.to_string());
    let same = db
        .prepare_cached(
            "SELECT agrees, until FROM consent
             WHERE athlete = ?1 AND what = ?2 AND signed_by = ?3 AND replaced_at IS NULL",
        )?
        .query_row((athlete, to.words(), signer), |r| {
            Ok((r.get::<_, i64>(0)? == 1, r.get::<_, Option<String>>(1)?))
        })
        .optional()?;
    // Nothing said is no yes, so a first no is still a word: it stands against a guardian's later yes.
    if same == Some((agrees, until.clone())) {
        return Ok(());
    }
    db.prepare_cached(
        "UPDATE consent SET replaced_at = ?4
         WHERE athlete = ?1 AND what = ?2 AND signed_by = ?3 AND replaced_at IS NULL",
    )?
    .execute((athlete, to.words(), signer, now.0))?;
    db.prepare_cached(
        "INSERT INTO consent (athlete, what, agrees, signed_by, at, until) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute((athlete, to.words(), i64::from(agrees), signer, now.0, until))?;
    if to == Use::CareToCoaches {
        db.prepare_cached(
            "UPDATE person SET care_open_to_coaches =
                 (SELECT CASE WHEN count(*) > 0 THEN 1 ELSE 0 END FROM consent c
                  WHERE c.athlete = ?1 AND c.what = ?2 AND c.agrees = 1 AND c.replaced_at IS NULL)
             WHERE id = ?1",
        )?
        .execute((athlete, to.words()))?;
    }
    db.prepare_cached("UPDATE person SET care_version = care_version + 1 WHERE id = ?1")?
        .execute([athlete])?;
    if let Some(club) = grant.by().club.filter(|_| to == Use::CareToCoaches) {
        // Whoever may read it now, or no more, has something to exchange.
        db.tell(Told::Document(club, DocName::Care(grant.athlete()), grant.by().install));
    }
    audit::add(db, &grant.by(), to.line(agrees), &grant.athlete().to_string(), now)
}
