//! Logs that stay closed while the rows of the board follow them.

use super::*;

/// One more session in a log is read from what came in: the log, here one that cannot be opened, is left alone.
#[test]
fn one_more_session_opens_no_log() {
    let mut story = Story::begin(79);
    story.unasked(0);
    story.exchange(0);
    story.check("one session in the log");
    let db = rusqlite::Connection::open(story.stand.data().join("backstraight.db")).unwrap();
    let log = DocName::Log(story.person(0), story.today().month());
    let damage = "UPDATE chunk SET body = x'00' WHERE doc = (SELECT id FROM doc WHERE name = ?1)
                  AND n <= (SELECT n FROM board_doc b JOIN doc d ON d.id = b.doc WHERE d.name = ?1)";
    story.stand.clock.set(story.now().plus_ms(MINUTE));
    story.unasked(0);
    story.exchange(0);
    assert!(db.execute(damage, [log.to_bytes()]).unwrap() > 0);
    let store = story.stand.store();
    let caught = project::catch_up(&store, &clock(&story.stand), 1, &|_| {}).unwrap();
    assert_eq!((caught.done, caught.left), (1, 0));
    let today = story.today();
    let board = story.rows(today, today, today);
    let person = story.person(0).to_string();
    let line = board.athletes.iter().find(|a| a.id == person).unwrap();
    let extras = line.sessions.iter().filter(|s| s.title == "stairs").count();
    assert_eq!(extras, 2);
}
