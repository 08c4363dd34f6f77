//! The state of a session. Silence is not a miss: a session counts as missed only when every
//! device that the athlete uses was heard after that day, or a person said so.

use core::fmt;

use super::judge::{How, SessionShare};
use crate::base::day::Day;
use crate::model::number::Verdict;

/// The states.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum State {
    /// On a later day.
    Coming,
    /// Today.
    Due,
    /// As asked.
    Done,
    /// Some of it.
    Part,
    /// Another exercise or much more or less than asked.
    Changed,
    /// A coach said that it does not count.
    Excused,
    /// Every device in use was heard after that day, or a person said so.
    Missed,
    /// Nothing is known: not every device that the athlete uses was heard since.
    Unheard,
    /// Nobody asked it.
    Extra,
}

impl State {
    /// All states.
    pub const ALL: [State; 9] = [
        State::Coming,
        State::Due,
        State::Done,
        State::Part,
        State::Changed,
        State::Excused,
        State::Missed,
        State::Unheard,
        State::Extra,
    ];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            State::Coming => "coming",
            State::Due => "due today",
            State::Done => "done",
            State::Part => "part done",
            State::Changed => "changed",
            State::Excused => "excused",
            State::Missed => "missed",
            State::Unheard => "unheard",
            State::Extra => "extra",
        }
    }

    /// Whether something is known about the session, so that a week's figure may count it.
    #[must_use]
    pub const fn heard(self) -> bool {
        matches!(self, State::Done | State::Part | State::Changed | State::Missed)
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What was logged for a planned session, as far as its state depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Logged {
    /// It was opened and holds no set.
    Opened,
    /// As asked.
    Done,
    /// Some of it.
    Part,
    /// Another exercise or much more than asked.
    Changed,
}

impl Logged {
    /// All kinds.
    pub const ALL: [Logged; 4] = [Logged::Opened, Logged::Done, Logged::Part, Logged::Changed];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Logged::Opened => "opened",
            Logged::Done => "done",
            Logged::Part => "part",
            Logged::Changed => "changed",
        }
    }

    /// What a judged session comes to. `closed`: the athlete closed it or said how long it took, and
    /// did not leave it out. From the share `done_from` on it counts as done.
    #[must_use]
    pub fn of(share: &SessionShare, closed: bool, done_from: f64) -> Logged {
        let any_set = share.items.iter().any(|i| !i.each.is_empty()) || share.unasked > 0;
        let changed = share.items.iter().any(|i| i.how == How::Changed || i.each.iter().any(|s| s.over))
            || share.items.iter().any(|i| i.extra > 0);
        match share.share {
            // Nothing was asked in it, so there was no set to log.
            _ if !any_set && share.items.is_empty() && closed => Logged::Done,
            _ if !any_set => Logged::Opened,
            _ if changed => Logged::Changed,
            Some(s) if s < done_from => Logged::Part,
            Some(_) | None => Logged::Done,
        }
    }
}

/// Through which day a person's own device takes that person as heard. What another device of theirs still holds
/// it cannot know; they do.
#[must_use]
pub fn heard_of_self(today: Day) -> Day {
    today.plus(-1)
}

/// What decides the state of a planned session.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// The day for which it is planned.
    pub date: Day,
    /// The athlete's day now, as far as the reader knows.
    pub today: Day,
    /// The last local day through which every device that the athlete uses was heard.
    pub heard_through: Option<Day>,
    /// What was logged; `None` when nothing refers to the session.
    pub logged: Option<Logged>,
    /// Whether the athlete said that the whole session was left out.
    pub left_out: bool,
    /// What a coach said.
    pub verdict: Option<Verdict>,
}

/// The state of a planned session.
#[must_use]
pub fn state(facts: &Facts) -> State {
    match facts.logged {
        Some(Logged::Done) => return State::Done,
        Some(Logged::Part) => return State::Part,
        Some(Logged::Changed) => return State::Changed,
        Some(Logged::Opened) | None => {}
    }
    match facts.verdict {
        Some(Verdict::Excused) => return State::Excused,
        Some(Verdict::Missed) => return State::Missed,
        None => {}
    }
    if facts.left_out {
        return State::Missed;
    }
    if facts.date > facts.today {
        State::Coming
    } else if facts.logged.is_some() {
        // Opened, nothing in it yet: on its day it is still due, afterwards it is part done at most.
        if facts.date == facts.today { State::Due } else { State::Part }
    } else if facts.date == facts.today {
        State::Due
    } else if facts.heard_through.is_some_and(|heard| heard > facts.date) {
        State::Missed
    } else {
        State::Unheard
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::judge::{ItemShare, SetShare};

    fn day(n: i8) -> Day {
        Day::new(2026, 11, n).unwrap()
    }

    fn silent(heard: Option<Day>) -> Facts {
        Facts {
            date: day(10),
            today: day(12),
            heard_through: heard,
            logged: None,
            left_out: false,
            verdict: None,
        }
    }

    /// The words of `docs/meanings.md`, by which boards, reports and copies are read.
    #[test]
    fn every_state_has_its_word() {
        let words =
            ["coming", "due today", "done", "part done", "changed", "excused", "missed", "unheard", "extra"];
        assert_eq!(State::ALL.map(State::word), words);
        assert_eq!(State::ALL.map(|s| s.to_string()), words);
        assert_eq!(Logged::ALL.map(Logged::word), ["opened", "done", "part", "changed"]);
        let heard: Vec<State> = State::ALL.into_iter().filter(|s| s.heard()).collect();
        assert_eq!(
            heard,
            [State::Done, State::Part, State::Changed, State::Missed],
            "what a week's figure counts"
        );
        assert_eq!(heard_of_self(day(10)), day(9));
    }

    fn set(over: bool) -> SetShare {
        SetShare { dose: 1.0, intensity: 1.0, over }
    }

    fn item(how: How, each: Vec<SetShare>, extra: u32) -> ItemShare {
        let item = "aaaaaa-0".parse().unwrap();
        ItemShare {
            item,
            asked: None,
            done: None,
            how,
            sets: 1,
            weight: 1.0,
            target: None,
            each,
            share: 1.0,
            extra,
        }
    }

    fn judged(items: Vec<ItemShare>, share: Option<f64>, unasked: u32) -> SessionShare {
        SessionShare { items, share, unasked, earlier_version: false }
    }

    #[test]
    fn what_was_logged_is_done_from_the_share_on_that_the_club_set() {
        let of = |share| {
            Logged::of(&judged(vec![item(How::AsAsked, vec![set(false)], 0)], Some(share), 0), true, 0.9)
        };
        assert_eq!(
            [of(1.0), of(0.9), of(0.899), of(0.0)],
            [Logged::Done, Logged::Done, Logged::Part, Logged::Part]
        );
    }

    #[test]
    fn each_kind_of_change_alone_changes_a_session() {
        let of = |item| Logged::of(&judged(vec![item], Some(1.0), 0), true, 0.9);
        assert_eq!(of(item(How::AsAsked, vec![set(false)], 0)), Logged::Done);
        assert_eq!(of(item(How::Swapped, vec![set(false)], 0)), Logged::Done);
        assert_eq!(of(item(How::Changed, vec![set(false)], 0)), Logged::Changed);
        assert_eq!(of(item(How::AsAsked, vec![set(false), set(true)], 0)), Logged::Changed);
        assert_eq!(of(item(How::AsAsked, vec![set(false)], 1)), Logged::Changed);
    }

    #[test]
    fn a_session_that_holds_no_set_was_opened_unless_nothing_was_asked_in_it() {
        let nothing = || vec![item(How::Nothing, Vec::new(), 0)];
        assert_eq!(Logged::of(&judged(Vec::new(), None, 0), true, 0.9), Logged::Done);
        assert_eq!(Logged::of(&judged(Vec::new(), None, 0), false, 0.9), Logged::Opened);
        assert_eq!(Logged::of(&judged(nothing(), Some(0.0), 0), true, 0.9), Logged::Opened);
        // A set that nobody asked is one all the same.
        assert_eq!(Logged::of(&judged(Vec::new(), None, 1), false, 0.9), Logged::Done);
        assert_eq!(Logged::of(&judged(nothing(), Some(0.0), 1), false, 0.9), Logged::Part);
    }

    #[test]
    fn opened_without_a_set_is_due_on_its_day_and_part_done_later() {
        let opened = |date| state(&Facts { date, logged: Some(Logged::Opened), ..silent(Some(day(12))) });
        assert_eq!(
            [opened(day(13)), opened(day(12)), opened(day(11))],
            [State::Coming, State::Due, State::Part]
        );
        let logged = |logged| {
            state(&Facts {
                logged: Some(logged),
                verdict: Some(Verdict::Missed),
                left_out: true,
                ..silent(None)
            })
        };
        let all = [Logged::Done, Logged::Part, Logged::Changed].map(logged);
        assert_eq!(
            all,
            [State::Done, State::Part, State::Changed],
            "what was logged wins over what anybody said"
        );
    }

    #[test]
    fn silence_is_not_a_miss() {
        assert_eq!(state(&silent(None)), State::Unheard);
        assert_eq!(state(&silent(Some(day(9)))), State::Unheard);
        // Heard on the day itself: the athlete may still have trained that evening.
        assert_eq!(state(&silent(Some(day(10)))), State::Unheard);
        assert_eq!(state(&silent(Some(day(11)))), State::Missed);
    }

    #[test]
    fn a_person_may_say_so() {
        assert_eq!(state(&Facts { left_out: true, ..silent(None) }), State::Missed);
        assert_eq!(state(&Facts { verdict: Some(Verdict::Missed), ..silent(None) }), State::Missed);
        assert_eq!(
            state(&Facts { verdict: Some(Verdict::Excused), ..silent(Some(day(12))) }),
            State::Excused
        );
    }

    #[test]
    fn days_decide_what_is_coming_and_due() {
        assert_eq!(state(&Facts { date: day(13), ..silent(None) }), State::Coming);
        assert_eq!(state(&Facts { date: day(12), ..silent(None) }), State::Due);
    }
}
