//! Records of library, squad and plan: what is asked.

use super::number::*;
use super::packed::*;
use super::rule::{ProposalId, Rule};
use super::spec::record;
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::base::moment::Moment;

record! {
    /// An exercise of the club's library.
    Exercise = "exercise" {
        required {
            /// Its name.
            name: Name,
            /// How the body moves.
            pattern: Pattern,
            /// What it is for.
            intent: Intent,
        }
        optional {
            /// Order in lists.
            pos: Text<64>,
            /// What is held or moved.
            implement: Name,
            /// How sides are worked.
            sides: Sides,
            /// Ground contacts of one repetition.
            contacts: Small,
            /// How hard each contact is.
            impact: Impact,
            /// Measures that make sense for it, in words, comma between.
            measures: Text<200>,
            /// The exercise whose maximum its loads refer to.
            ref_max: Key,
            /// Which way its variations go: easier exercise.
            easier: Key,
            /// Harder exercise.
            harder: Key,
            /// What to watch for, in the club's words.
            caution: Note,
            /// How much a set of it counts in the share of a session, thousandths; 1000 when missing.
            weight: Thousandths,
        }
    }
}

record! {
    /// A short cue for an exercise.
    Cue = "cue" {
        required {
            /// The words.
            text: Name,
        }
        optional {
            /// The exercise; any when missing.
            ex: Key,
            /// Order.
            pos: Text<64>,
        }
    }
}

record! {
    /// A place to train and what it owns.
    Venue = "venue" {
        required {
            /// Its name.
            name: Name,
        }
        optional {
            /// Order.
            pos: Text<64>,
            /// Bars, by mass.
            bars: Loads,
            /// Plates: mass and pairs.
            plates: Plates,
            /// One collar's mass.
            collar: Load,
            /// Dumbbells, by mass of one.
            dumbbells: Loads,
            /// Heights of hurdles.
            hurdle_heights: Lengths,
            /// How many hurdles.
            hurdles: Small,
            /// Heights of boxes.
            boxes: Lengths,
            /// Surface to run on.
            surface: Name,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// How a test is done.
    Protocol = "test protocol" {
        required {
            /// Its name.
            name: Name,
            /// What it measures.
            measure: Measure,
            /// Which way is better.
            better: Better,
        }
        optional {
            /// Order.
            pos: Text<64>,
            /// The exercise, when it is one of the library.
            ex: Key,
            /// Unit of the value.
            unit: Text<24>,
            /// Trials of one test.
            trials: Count,
            /// Typical error of the test where the club knows it, thousandths of the unit.
            noise: Value,
            /// How it is done, in the club's words.
            note: Note,
        }
    }
}

record! {
    /// A session to copy from; its groups and exercises refer to it.
    Template = "session template" {
        required {
            /// Its title.
            title: Name,
        }
        optional {
            /// Order.
            pos: Text<64>,
            /// What it is about.
            focus: Name,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// What the club has set for itself. Missing: the value printed in `docs/meanings.md`.
    Settings = "club settings" {
        required {}
        optional {
            /// Name of the club.
            name: Name,
            /// How far a load may be off, thousandths of the load asked.
            load_tolerance: Thousandths,
            /// How far an effort may be off, thousandths of a point.
            effort_tolerance: Thousandths,
            /// Days after which a maximum is called old.
            max_age_days: Small,
            /// Contacts of a session above which a junior's plan is pointed out.
            junior_contacts: Reps,
            /// Share of a session from which it counts as done.
            done_from: Share,
            /// Share of a maximum from which a set is called heavy.
            heavy_from: Share,
            /// Days of silence after which an athlete is pointed out.
            silent_days: Small,
            /// How far an effort may be from the one asked before it is pointed out, thousandths of a
            /// point.
            effort_gap: Thousandths,
            /// A week over the mean of the three before it from which it is pointed out, thousandths.
            load_jump: Thousandths,
            /// Days over which what happened counts as news.
            news_days: Small,
            /// Days before the last planned session at which the end of a plan is pointed out.
            end_days: Small,
            /// Month in which a season begins, 1 to 12.
            season_month: Small,
        }
    }
}

record! {
    /// What the squad is, in a document of its own.
    SquadAbout = "squad" {
        required {}
        optional {
            /// Its name.
            name: Name,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// An athlete's place in a squad.
    Member = "member" {
        required {
            /// Who.
            athlete: PersonId,
            /// The name shown to coaches.
            name: Name,
        }
        optional {
            /// Event group, in the club's words.
            events: Name,
            /// Date of birth.
            born: Day,
            /// In which class the athlete competes.
            sex: Sex,
            /// Since when.
            joined: Day,
            /// Order.
            pos: Text<64>,
        }
    }
}

record! {
    /// A meet towards which the season is built.
    Meet = "meet" {
        required {
            /// Its name.
            name: Name,
            /// First day.
            date: Day,
            /// How much it matters.
            priority: Priority,
        }
        optional {
            /// Days that it takes.
            days: Count,
            /// Where.
            place: Name,
            /// Which events.
            events: Name,
        }
    }
}

record! {
    /// A session that the squad does together.
    SquadSession = "squad session" {
        required {
            /// Day.
            date: Day,
            /// Title.
            title: Name,
        }
        optional {
            /// Start, local.
            starts: MinuteOfDay,
            /// Where.
            venue: Key,
            /// From which template.
            template: Key,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// What a stretch of the season puts its weight on, for the whole squad.
    Emphasis = "emphasis" {
        required {
            /// In a few words.
            title: Name,
            /// First day.
            from: Day,
            /// Last day.
            to: Day,
        }
        optional {
            /// Aim.
            aim: Aim,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// A private remark of a coach about an athlete; only coaches read it.
    Remark = "coach's remark" {
        required {
            /// About whom.
            about: PersonId,
            /// By whom.
            by: PersonId,
            /// When.
            at: Moment,
            /// The words.
            text: Note,
        }
        optional {
            /// The session of the plan that it is about.
            session: Key,
        }
    }
}

record! {
    /// What a season's plan is.
    PlanAbout = "season" {
        required {}
        optional {
            /// Title.
            title: Name,
            /// First day.
            from: Day,
            /// Last day.
            to: Day,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// A stretch of the season with one aim.
    Phase = "phase" {
        required {
            /// Title.
            title: Name,
            /// First day.
            from: Day,
            /// Last day.
            to: Day,
            /// Aim.
            aim: Aim,
        }
        optional {
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// What is to be said about a week.
    Week = "week" {
        required {
            /// Its Monday.
            start: Day,
        }
        optional {
            /// Title.
            title: Name,
            /// Whether it is an easy week.
            easy: bool,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// A session on a day. Groups refer to it, so moving it moves all of it.
    Session = "session" {
        required {
            /// Day.
            date: Day,
            /// Title.
            title: Name,
        }
        optional {
            /// Order within the day.
            pos: Text<64>,
            /// What it is about.
            focus: Name,
            /// Where.
            venue: Key,
            /// Minutes that it should take.
            minutes: Minutes,
            /// How hard the whole session should be.
            effort: Effort,
            /// From which template.
            template: Key,
            /// From which squad session.
            squad_session: Key,
            /// Anything else.
            note: Note,
            /// Start, local.
            starts: MinuteOfDay,
        }
    }
}

record! {
    /// Exercises done together.
    Group = "group" {
        required {
            /// The session or template.
            of: Key,
            /// Order.
            pos: Text<64>,
            /// How they follow each other.
            form: Form,
        }
        optional {
            /// Rounds; a prescription's own sets count when missing.
            rounds: Count,
            /// Rest between rounds.
            rest: Rest,
            /// Rest from one exercise of the group to the next.
            change: Rest,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// One exercise in a group: what is asked of the athlete.
    Prescription = "prescription" {
        required {
            /// The group.
            of: Key,
            /// Order within it.
            pos: Text<64>,
            /// The exercise.
            ex: Key,
            /// Sets.
            sets: Count,
        }
        optional {
            /// How much each set asks.
            dose: Dose,
            /// How hard.
            intensity: Intensity,
            /// Sets that differ, in order.
            waves: Waves,
            /// Slowest and fastest bar speed wanted, beside another intensity.
            band: Intensity,
            /// Stop the set when bar speed has fallen by this share of its fastest.
            stop_loss: Share,
            /// Rest after each set.
            rest: Rest,
            /// Length of a pause.
            pause: Duration,
            /// Where the pause is.
            pause_at: Name,
            /// Tempo in seconds down, hold, up: "3-1-1".
            tempo: Text<24>,
            /// Range of motion.
            range: Name,
            /// Stance or grip.
            stance: Name,
            /// What is held, when not the exercise's own.
            implement: Name,
            /// Side.
            side: Side,
            /// How many hurdles, cones or boxes.
            hurdles: Small,
            /// Their height.
            height: Length,
            /// How they stand.
            spacing: Spacing,
            /// The gaps, in order; one for even, two for close and far.
            gaps: Lengths,
            /// Sideways offsets, in order.
            lateral: Offsets,
            /// What happens at the landing.
            landing: Landing,
            /// Ground contacts of one set, when not computed from the dose.
            contacts: Reps,
            /// Steps between hurdles.
            steps: Small,
            /// Distance between hurdles of a run.
            unit_gap: Length,
            /// Run-up or lead-in.
            run_up: Length,
            /// Surface.
            surface: Name,
            /// Cues of the library.
            cues: Keys,
            /// A cue in own words.
            cue: Name,
            /// Exercises that the athlete may take instead.
            swaps: Keys,
            /// How it goes on from week to week; makes proposals, changes nothing by itself.
            rule: Rule,
            /// Anything else.
            note: Note,
        }
    }
}

record! {
    /// "In phases with this aim, take that exercise instead."
    Condition = "condition" {
        required {
            /// In phases with this aim.
            aim: Aim,
            /// Where this exercise is asked.
            ex: Key,
            /// Take this one.
            take: Key,
        }
        optional {
            /// Why.
            note: Note,
        }
    }
}

record! {
    /// What a coach made of a proposed change of a prescription.
    Decision = "decision on a proposal" {
        required {
            /// The prescription that the proposal was about.
            item: Key,
            /// What the coach decided.
            ruling: Ruling,
            /// The proposal: the prescription and the session done on which it rests.
            about: ProposalId,
            /// By whom.
            by: PersonId,
            /// When.
            at: Moment,
        }
        optional {
            /// What the prescription asked before; missing when it was dismissed.
            before: Target,
            /// What it asked with the decision.
            after: Target,
            /// Why.
            note: Note,
        }
    }
}
