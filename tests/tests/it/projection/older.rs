//! A database of before there were rows of a board.

use super::Story;

/// A store as the version before left it is brought up to date and gets its rows, by itself.
#[test]
fn a_store_of_the_version_before_gets_its_rows() {
    let mut story = Story::begin(79);
    story.unasked(0);
    story.exchange_all();
    story.stand.stop();
    let db = rusqlite::Connection::open(story.stand.data().join("backstraight.db")).unwrap();
    let tables: Vec<String> = {
        let mut ask = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'").unwrap();
        ask.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let newer = ["calendar", "job", "quarantine", "erased_person", "erased_doc"];
    for table in tables.iter().filter(|t| newer.contains(&t.as_str()) || t.starts_with("board_")) {
        db.execute_batch(&format!("DROP TABLE {table}")).unwrap();
    }
    db.execute_batch(
        "DROP TABLE guardianship; DROP TABLE consent; DROP TABLE sign_in; DROP TABLE passkey;
         DROP TABLE spent; DROP TABLE owner_link; DROP INDEX invite_secret;
         ALTER TABLE club DROP COLUMN majority; ALTER TABLE invite DROP COLUMN secret_mac;
         ALTER TABLE install DROP COLUMN refreshed_at; ALTER TABLE person DROP COLUMN born;
         ALTER TABLE person DROP COLUMN left_at;
         ALTER TABLE person DROP COLUMN care_version; ALTER TABLE install DROP COLUMN old_app;
         ALTER TABLE club DROP COLUMN erase_after_months;
         DELETE FROM meta WHERE key = 'board_form';
         PRAGMA user_version = 1",
    )
    .unwrap();
    drop(db);
    story.stand.projector = true;
    story.stand.start();
    let (today, begun) = (story.today(), std::time::Instant::now());
    let days = (today.plus(-60), today.plus(60));
    while story.rows(days.0, days.1, today) != story.fresh(days.0, days.1, today) {
        assert!(begun.elapsed().as_secs() < 20, "nobody makes the rows");
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    assert!(story.rows(days.0, days.1, today).athletes.iter().all(|a| !a.sessions.is_empty()));
}
