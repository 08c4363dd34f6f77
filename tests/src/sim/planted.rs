//! Faults that are put into the simulated world on purpose, one at a time: each is a slip that somebody could make in a
//! disk, a network or a server, and the simulator is only worth its name when it finds every one.

/// A planted fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Planted {
    /// Now and then a disk says that a change is stored, and forgets it.
    AppendForgets,
    /// A full disk says that a change is stored.
    FullSaysSaved,
    /// Now and then a device remembers how far it has read, but not what it read.
    TakeForgetsChanges,
    /// What an exchange brought is stored in two writes, its row first.
    TakeIsTorn,
    /// Changes go before the compact form that covers them is there.
    CompactIsTorn,
    /// A restored server says that it is the same as before.
    RestoreKeepsEpoch,
    /// A server is set back to an earlier state and nobody is told: what it acknowledged was not durable.
    AcknowledgesTooEarly,
    /// Each start of an app takes the same random bits, and so the same actor and the same keys.
    StartsAlike,
    /// An answer that was lost reaches another device than the one that asked.
    AnswerGoesAstray,
    /// A request is carried out with the rights of whoever asked before.
    CallerIsMixedUp,
    /// Whoever was withdrawn is still answered.
    WithdrawnIsServed,
    /// When a coach comes by, the athletes count as heard.
    CoachCountsAsAthlete,
    /// A request is carried out with the rights of whoever it writes about, not of whoever sent it.
    ContentsSayWho,
    /// A request that cannot be read takes the server down.
    MalformedStops,
    /// A device says that it keeps a parcel for somebody, and does not.
    ParcelIsDropped,
    /// The server says that it has a parcel, and did not look at it.
    ParcelCountsUnread,
    /// Two servers that are thought to share a database have one each, the second a copy.
    TwoDatabases,
    /// Bytes of a disk are read as they are, whatever their checksum says.
    RotIsOverlooked,
    /// A server whose changes rotted says that it is the same as before.
    MendKeepsEpoch,
    /// Athletes count as heard although what they said rotted.
    MendKeepsHeard,
    /// An older server counts an athlete as heard of whom it did not take everything.
    RefusedCountsAsHeard,
    /// An older app skips what it does not know and goes on as if it had it.
    UnknownIsSkipped,
    /// A parcel that a server did not take is thrown away.
    RefusedParcelIsDropped,
}

impl Planted {
    /// Every one.
    pub const ALL: [Planted; 23] = [
        Planted::AppendForgets,
        Planted::FullSaysSaved,
        Planted::TakeForgetsChanges,
        Planted::TakeIsTorn,
        Planted::CompactIsTorn,
        Planted::RestoreKeepsEpoch,
        Planted::AcknowledgesTooEarly,
        Planted::StartsAlike,
        Planted::AnswerGoesAstray,
        Planted::CallerIsMixedUp,
        Planted::WithdrawnIsServed,
        Planted::CoachCountsAsAthlete,
        Planted::ContentsSayWho,
        Planted::MalformedStops,
        Planted::ParcelIsDropped,
        Planted::ParcelCountsUnread,
        Planted::TwoDatabases,
        Planted::RotIsOverlooked,
        Planted::MendKeepsEpoch,
        Planted::MendKeepsHeard,
        Planted::RefusedCountsAsHeard,
        Planted::UnknownIsSkipped,
        Planted::RefusedParcelIsDropped,
    ];

    /// Its name on the command line.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Planted::AppendForgets => "append-forgets",
            Planted::FullSaysSaved => "full-says-saved",
            Planted::TakeForgetsChanges => "take-forgets-changes",
            Planted::TakeIsTorn => "take-is-torn",
            Planted::CompactIsTorn => "compact-is-torn",
            Planted::RestoreKeepsEpoch => "restore-keeps-epoch",
            Planted::AcknowledgesTooEarly => "acknowledges-too-early",
            Planted::StartsAlike => "starts-alike",
            Planted::AnswerGoesAstray => "answer-goes-astray",
            Planted::CallerIsMixedUp => "caller-is-mixed-up",
            Planted::WithdrawnIsServed => "withdrawn-is-served",
            Planted::CoachCountsAsAthlete => "coach-counts-as-athlete",
            Planted::ContentsSayWho => "contents-say-who",
            Planted::MalformedStops => "malformed-stops",
            Planted::ParcelIsDropped => "parcel-is-dropped",
            Planted::ParcelCountsUnread => "parcel-counts-unread",
            Planted::TwoDatabases => "two-databases",
            Planted::RotIsOverlooked => "rot-is-overlooked",
            Planted::MendKeepsEpoch => "mend-keeps-epoch",
            Planted::MendKeepsHeard => "mend-keeps-heard",
            Planted::RefusedCountsAsHeard => "refused-counts-as-heard",
            Planted::UnknownIsSkipped => "unknown-is-skipped",
            Planted::RefusedParcelIsDropped => "refused-parcel-is-dropped",
        }
    }
}

impl std::str::FromStr for Planted {
    type Err = String;

    fn from_str(word: &str) -> Result<Planted, String> {
        let found = Planted::ALL.into_iter().find(|p| p.word() == word);
        found.ok_or_else(|| format!("no planted fault is called {word}"))
    }
}
