//! Passwords: their one form, what is too short or too common, hashing and checking. Checks run away
//! from the threads that serve, at most two at once; more wait in a short line. Knows no database.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use argon2::password_hash::{PasswordHasher, PasswordVerifier, phc::PasswordHash};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization;

use crate::problem::Problem;
use crate::secret;

/// Characters of a password that stands alone.
pub const ALONE: usize = 15;
/// Characters of a password beside a passkey.
pub const BESIDE: usize = 8;
/// Most characters.
pub const MOST: usize = 128;
/// Checks at the same time: each takes 19 MiB and tens of milliseconds.
const AT_ONCE: usize = 2;
/// Checks that wait.
const LINE: usize = 32;

/// Memory in KiB, passes, lanes: OWASP's first choice for argon2id.
const PARAMS: (u32, u32, u32) = (19 * 1024, 2, 1);

/// A password in its one form (NFC). Never printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Password(String);

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password")
    }
}

impl Password {
    /// A password as somebody typed it, for checking it; none when it can be nobody's.
    #[must_use]
    pub fn typed(text: &str) -> Option<Password> {
        if text.len() > 4 * MOST {
            return None;
        }
        let text: String = text.nfc().collect();
        (text.chars().count() <= MOST).then_some(Password(text))
    }

    /// A password that somebody chooses. `words` are the club's and the person's names, which are tried
    /// first by whoever knows them.
    ///
    /// # Errors
    /// When it is too short, too long, or one of those that are tried first.
    pub fn chosen(text: &str, words: &[&str]) -> Result<Password, Problem> {
        let password = Password::typed(text).ok_or(Problem::PasswordLong)?;
        if password.0.chars().count() < BESIDE {
            return Err(Problem::PasswordShort);
        }
        if common(&password.0, words) { Err(Problem::PasswordCommon) } else { Ok(password) }
    }

    /// Whether it is long enough to stand alone.
    #[must_use]
    pub fn stands_alone(&self) -> bool {
        self.0.chars().count() >= ALONE
    }

    /// Keyed with the server's secret, so that a stolen database alone gives nothing to guess against.
    fn peppered(&self, key: &[u8; 32]) -> [u8; 32] {
        secret::keyed(key, "password", &[self.0.as_bytes()])
    }
}

/// What people choose most, in lower case and without digits and signs at both ends; longer ones are made
/// of these.
const FIRST_TRIED: &[&str] = &[
    "password",
    "passwort",
    "motdepasse",
    "contrasena",
    "contraseña",
    "parola",
    "wachtwoord",
    "senha",
    "passw0rd",
    "p@ssw0rd",
    "p@ssword",
    "letmein",
    "welcome",
    "willkommen",
    "admin",
    "administrator",
    "root",
    "login",
    "master",
    "qwerty",
    "qwertz",
    "azerty",
    "qwertyuiop",
    "qwertzuiop",
    "azertyuiop",
    "asdfgh",
    "asdfghjkl",
    "zxcvbnm",
    "yxcvbnm",
    "qazwsx",
    "qwer",
    "asdf",
    "abc",
    "abcd",
    "abcdef",
    "abcdefg",
    "abcdefgh",
    "abcdefghij",
    "iloveyou",
    "ichliebedich",
    "sunshine",
    "princess",
    "football",
    "fussball",
    "baseball",
    "basketball",
    "dragon",
    "monkey",
    "shadow",
    "superman",
    "batman",
    "michael",
    "jennifer",
    "jordan",
    "hunter",
    "ranger",
    "soccer",
    "hockey",
    "charlie",
    "starwars",
    "pokemon",
    "trustno",
    "whatever",
    "freedom",
    "computer",
    "internet",
    "secret",
    "geheim",
    "hallo",
    "hello",
    "test",
    "testing",
    "guest",
    "changeme",
    "default",
    "coach",
    "trainer",
    "athlete",
    "athletics",
    "leichtathletik",
    "sprint",
    "sprinter",
    "training",
    "backstraight",
    "correcthorsebatterystaple",
    "summer",
    "winter",
    "spring",
    "autumn",
    "sommer",
    "liverpool",
    "arsenal",
    "chelsea",
    "barcelona",
    "realmadrid",
    "daniel",
    "andrea",
    "thomas",
    "jessica",
    "ashley",
    "nicole",
    "matrix",
    "ninja",
    "mustang",
    "harley",
    "cheese",
    "killer",
    "pepper",
    "ginger",
    "flower",
    "loveme",
    "lovely",
    "angel",
    "junior",
    "buster",
    "tigger",
    "maggie",
    "access",
];

/// Whether a password is made of nothing but what is tried first: a common word, the club's or the
/// person's names, one character, a run up or down, or one of these again and again.
fn common(password: &str, words: &[&str]) -> bool {
    let lower = password.to_lowercase();
    let letters: String = lower.chars().filter(|c| !c.is_whitespace()).collect();
    if repeats(&letters, |part| part.chars().count() <= 4) || runs(&letters) {
        return true;
    }
    let core = letters.trim_matches(|c: char| !c.is_alphabetic());
    if core.is_empty() {
        // Digits and signs alone are a date or a number on a keypad up to some length.
        return letters.chars().count() < ALONE;
    }
    let own: Vec<String> = words
        .iter()
        .flat_map(|w| std::iter::once(*w).chain(w.split_whitespace()))
        .map(|w| w.to_lowercase().chars().filter(|c| !c.is_whitespace()).collect())
        .filter(|w: &String| w.chars().count() >= 3)
        .collect();
    let known = |part: &str| FIRST_TRIED.contains(&part) || own.iter().any(|w| w == part);
    let leet: String = core
        .chars()
        .map(|c| match c {
            '0' => 'o',
            '1' | '!' => 'i',
            '3' => 'e',
            '4' | '@' => 'a',
            '5' | '$' => 's',
            '7' => 't',
            other => other,
        })
        .collect();
    [core, leet.as_str()].into_iter().any(|c| known(c) || repeats(c, known))
}

/// Whether a text is one part again and again, a part for which `which` holds.
fn repeats(text: &str, which: impl Fn(&str) -> bool) -> bool {
    text.char_indices().skip(1).map(|(at, _)| at).filter(|at| text.len().is_multiple_of(*at)).any(|at| {
        let (part, _) = text.split_at(at);
        which(part) && text.as_bytes().chunks(at).all(|c| c == part.as_bytes())
    })
}

/// Whether each character follows the one before it: 12345678, hgfedcba.
fn runs(text: &str) -> bool {
    let codes: Vec<i64> = text.chars().map(|c| i64::from(u32::from(c))).collect();
    [1, -1].into_iter().any(|step| codes.windows(2).all(|w| matches!(w, [a, b] if b - a == step)))
}

/// The line in front of the hashing, and its key.
#[derive(Debug)]
pub struct Passwords {
    turns: Arc<Semaphore>,
    waiting: AtomicUsize,
}

impl Default for Passwords {
    fn default() -> Passwords {
        Passwords { turns: Arc::new(Semaphore::new(AT_ONCE)), waiting: AtomicUsize::new(0) }
    }
}

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Checked {
    /// It is another password.
    Wrong,
    /// It is the one.
    Right,
    /// It is the one, and here is its hash with today's parameters.
    RightAndNew(String),
}

impl Passwords {
    /// Hashes a password with a new salt.
    ///
    /// # Errors
    /// When too many wait.
    pub async fn hash(&self, key: [u8; 32], password: Password) -> Result<String, Problem> {
        self.turn(move || hash(&key, &password)).await
    }

    /// Checks a password against a hash. Without a hash the same work is done for nothing, so that names
    /// which are known and names which are not take equally long.
    ///
    /// # Errors
    /// When too many wait.
    pub async fn check(
        &self,
        key: [u8; 32],
        password: Password,
        stored: Option<String>,
    ) -> Result<Checked, Problem> {
        self.turn(move || check(&key, &password, stored.as_deref())).await
    }

    async fn turn<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
    ) -> Result<T, Problem> {
        let place = Place::take(&self.waiting).ok_or(Problem::Queue)?;
        let turn = Arc::clone(&self.turns).acquire_owned().await.map_err(|_| Problem::Queue)?;
        drop(place);
        // The turn goes with the work, which goes on when whoever asked has gone away.
        let work = move || {
            let _turn = turn;
            work()
        };
        tokio::task::spawn_blocking(work).await.unwrap_or(Err(Problem::Internal))
    }
}

/// A place in the line; given back also when whoever waited went away.
struct Place<'a>(&'a AtomicUsize);

impl<'a> Place<'a> {
    fn take(waiting: &'a AtomicUsize) -> Option<Place<'a>> {
        let before = waiting.fetch_add(1, Ordering::SeqCst);
        let place = Place(waiting);
        (before < LINE).then_some(place)
    }
}

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::SeqCst);
    }
}

fn argon() -> Result<Argon2<'static>, Problem> {
    let params = Params::new(PARAMS.0, PARAMS.1, PARAMS.2, None).map_err(|_| Problem::Internal)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(key: &[u8; 32], password: &Password) -> Result<String, Problem> {
    let salt = secret::random::<16>();
    let made: PasswordHash =
        argon()?.hash_password_with_salt(&password.peppered(key), &salt).map_err(|_| Problem::Internal)?;
    Ok(made.to_string())
}

fn check(key: &[u8; 32], password: &Password, stored: Option<&str>) -> Result<Checked, Problem> {
    let Some(stored) = stored else {
        hash(key, password)?;
        return Ok(Checked::Wrong);
    };
    let parsed = PasswordHash::new(stored).map_err(|_| Problem::Internal)?;
    if argon()?.verify_password(&password.peppered(key), &parsed).is_err() {
        return Ok(Checked::Wrong);
    }
    let today = format!("$argon2id$v=19$m={},t={},p={}$", PARAMS.0, PARAMS.1, PARAMS.2);
    if stored.starts_with(&today) {
        return Ok(Checked::Right);
    }
    Ok(Checked::RightAndNew(hash(key, password)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: [u8; 32] = [3; 32];

    fn chosen(text: &str) -> Result<(), Problem> {
        Password::chosen(text, &["Cinder Lane", "Marta Quillfeather"]).map(|_| ())
    }

    #[test]
    fn what_is_tried_first_is_refused_and_nothing_else_is() {
        for text in [
            "password",
            "Password1",
            "PASSWORD2026!",
            "p@ssw0rd",
            "passwordpassword",
            "12345678",
            "87654321",
            "aaaaaaaaaaaaaaaa",
            "abababababababab",
            "qwertyqwerty1",
            "Cinder Lane 2026",
            "martaquillfeather",
            "Quillfeather1",
            "19991231",
            "letmein!!",
            "backstraight",
        ] {
            assert_eq!(chosen(text), Err(Problem::PasswordCommon), "{text}");
        }
        for text in ["hop 34 barley kettle", "Зимний стадион сто", "lane five at dusk", "tqz8-wn2x"]
        {
            assert_eq!(chosen(text), Ok(()), "{text}");
        }
        assert_eq!(chosen("short7!"), Err(Problem::PasswordShort));
        assert_eq!(chosen(&"lane five at dusk ".repeat(8)), Err(Problem::PasswordLong));
        let most: String = "lane five at dusk ".repeat(8).chars().take(MOST).collect();
        assert_eq!(chosen(&most), Ok(()));
    }

    #[test]
    fn length_is_counted_in_characters_after_normalising_once() {
        // Fourteen characters and an accent that joins the one before it.
        let split = "lane five duske\u{301}";
        let whole = "lane five dusk\u{e9}";
        assert_eq!(Password::typed(split), Password::typed(whole));
        assert!(Password::typed(whole).unwrap().stands_alone());
        assert!(!Password::typed("lane five dusk").unwrap().stands_alone());
    }

    #[test]
    fn a_hash_knows_its_password_its_key_and_old_parameters() {
        let password = Password::typed("hop 34 barley kettle").unwrap();
        let made = hash(&KEY, &password).unwrap();
        assert!(made.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{made}");
        assert_ne!(made, hash(&KEY, &password).unwrap(), "another salt each time");
        assert_eq!(check(&KEY, &password, Some(&made)), Ok(Checked::Right));
        assert_eq!(check(&[4; 32], &password, Some(&made)), Ok(Checked::Wrong));
        assert_eq!(
            check(&KEY, &Password::typed("hop 34 barley kettles").unwrap(), Some(&made)),
            Ok(Checked::Wrong)
        );
        assert_eq!(check(&KEY, &password, None), Ok(Checked::Wrong));
        let weak = Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::new(8192, 1, 1, None).unwrap());
        let old: PasswordHash = weak.hash_password_with_salt(&password.peppered(&KEY), &[9; 16]).unwrap();
        match check(&KEY, &password, Some(&old.to_string())) {
            Ok(Checked::RightAndNew(new)) => assert!(new.starts_with("$argon2id$v=19$m=19456,t=2,p=1$")),
            other => panic!("{other:?}"),
        }
    }

    #[tokio::test]
    async fn the_line_is_short_and_places_come_back() {
        let passwords = Passwords::default();
        let places: Vec<_> = (0..LINE).map(|_| Place::take(&passwords.waiting).unwrap()).collect();
        let password = Password::typed("hop 34 barley kettle").unwrap();
        assert_eq!(passwords.hash(KEY, password.clone()).await, Err(Problem::Queue));
        drop(places);
        assert!(passwords.hash(KEY, password).await.is_ok());
        assert_eq!(passwords.waiting.load(Ordering::SeqCst), 0);
    }
}
