//! Whether apps that were compiled for one surface of the phone library work with another: functions may be
//! added, nothing else may change. Knows lines of text, no language.

use std::collections::BTreeMap;

/// What an app of `before` would miss or misread with `now`, one line each.
pub(super) fn breaks(before: &str, now: &str) -> Vec<String> {
    let now_lines: BTreeMap<&str, ()> = now.lines().map(|line| (line, ())).collect();
    let gone = before.lines().filter(|line| !now_lines.contains_key(line));
    let mut out: Vec<String> = gone.map(|line| format!("gone or changed: {line}")).collect();
    // One more value of an enum, one more kind of error or one more call that an app has to answer is read
    // wrongly by apps that do not know it.
    let known: Vec<&str> = before.lines().filter_map(owner).collect();
    for line in now.lines().filter(|line| !before.lines().any(|b| b == *line)) {
        if owner(line).is_some_and(|owner| known.contains(&owner)) {
            out.push(format!("an app does not know: {line}"));
        }
    }
    out.sort();
    out
}

/// What a line adds to, where adding is a change: `enum Area`, `error DoorError`, `outside Courier`.
fn owner(line: &str) -> Option<&str> {
    let kind = ["enum ", "error ", "outside "].into_iter().find(|kind| line.starts_with(kind))?;
    let end = line.get(kind.len()..)?.find(['[', '.']).map_or(line.len(), |at| at + kind.len());
    line.get(..end)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEFORE: &str = "enum Area[00] Log\nfunction a()\nobject Install\nobject Install.today() -> Today\n\
                          outside Courier.carry[0](parcel: Parcel)\nrecord Today {day: string, most: uint32 = 16}\n";

    #[test]
    fn functions_records_and_objects_may_be_added() {
        let now = format!(
            "{BEFORE}function b()\nobject Install.more()\nrecord More {{x: string}}\nenum New[00] One\n"
        );
        assert_eq!(breaks(BEFORE, &now), Vec::<String>::new());
    }

    #[test]
    fn anything_else_is_a_break() {
        let same = |from: &str, to: &str| breaks(BEFORE, &BEFORE.replace(from, to));
        assert_eq!(same("day: string", "day: string, x: string").len(), 1);
        assert_eq!(same("most: uint32 = 16", "most: uint32 = 4").len(), 1, "another default");
        assert_eq!(same("function a()\n", "").len(), 1);
        assert_eq!(same("today() -> Today", "today(now: Now) -> Today").len(), 1);
        assert_eq!(breaks(BEFORE, &format!("{BEFORE}enum Area[01] Plan\n")).len(), 1);
        assert_eq!(breaks(BEFORE, &format!("{BEFORE}outside Courier.more[1]()\n")).len(), 1);
    }
}
