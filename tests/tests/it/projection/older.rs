//! A database of before there were rows of a board.

use std::path::Path;

use super::Story;

/// A store as the version before left it is brought up to date and gets its rows, by itself.
#[test]
fn a_store_of_the_version_before_gets_its_rows() {
    let mut story = Story::begin(79);
    story.unasked(0);
    story.exchange_all();
    story.stand.stop();
    as_it_was_in_the_first_version(&story.stand.data().join("backstraight.db"));
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

/// Puts a file in the place of `newest` that has the tables of the first version, with all rows that these held.
fn as_it_was_in_the_first_version(newest: &Path) {
    let first = newest.with_extension("first");
    let db = rusqlite::Connection::open(&first).unwrap();
    db.execute_batch(include_str!("../../../../server/migrations/sqlite/0001_init.sql")).unwrap();
    db.execute("ATTACH ?1 AS newest", [newest.to_str().unwrap()]).unwrap();
    let list = |ask: &str| -> Vec<String> {
        let mut ask = db.prepare(ask).unwrap();
        ask.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect()
    };
    db.pragma_update(None, "foreign_keys", false).unwrap();
    for table in list("SELECT name FROM main.sqlite_schema WHERE type = 'table'") {
        let columns = list(&format!("SELECT name FROM pragma_table_info('{table}')")).join(", ");
        db.execute_batch(&format!(
            "INSERT INTO main.{table} ({columns}) SELECT {columns} FROM newest.{table}"
        ))
        .unwrap();
    }
    let lost: i64 = db.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0)).unwrap();
    assert_eq!(lost, 0);
    // Rows of a board had no form yet.
    db.execute_batch("DELETE FROM meta WHERE key = 'board_form'; DETACH newest; PRAGMA user_version = 1")
        .unwrap();
    drop(db);
    for end in ["-wal", "-shm"] {
        let beside = format!("{}{end}", newest.display());
        if Path::new(&beside).exists() {
            std::fs::remove_file(beside).unwrap();
        }
    }
    std::fs::rename(first, newest).unwrap();
}
