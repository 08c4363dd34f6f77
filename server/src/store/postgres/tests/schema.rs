//! The tables over PostgreSQL are those of SQLite, column by column, so that one text is right for both.

use std::collections::{BTreeMap, BTreeSet};

use crate::store::contract::{On, house};
use crate::store::file::KNOWN_VERSION;
use crate::store::postgres::schema::STEPS;
use crate::store::{Db, Store, StoreError, open_reader, version};

/// By table and column: kind of value, whether it may be empty, its place in the key.
type Columns = BTreeMap<(String, String), (String, bool, i64)>;
/// By table: columns of each index beside the key, and whether they are unique.
type Indexes = BTreeSet<(String, String, bool)>;
/// Table and column, and the table that it points to.
type Pointers = BTreeSet<(String, String, String)>;

fn of_sqlite(db: &Db) -> Result<(Columns, Indexes, Pointers), StoreError> {
    let (mut columns, mut indexes, mut pointers) = (Columns::new(), Indexes::new(), Pointers::new());
    let mut ask = db.prepare(
        "SELECT t.name, c.name, c.type, c.\"notnull\" = 0 AND c.pk = 0, c.pk
         FROM sqlite_schema t, pragma_table_info(t.name) c WHERE t.type = 'table'",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        columns.insert((r.get(0)?, r.get(1)?), (r.get(2)?, r.get(3)?, r.get(4)?));
    }
    let mut ask = db.prepare(
        "SELECT t.name, (SELECT group_concat(name, ',') FROM (SELECT name FROM pragma_index_info(i.name) ORDER BY seqno)),
                i.\"unique\" FROM sqlite_schema t, pragma_index_list(t.name) i
         WHERE t.type = 'table' AND i.origin <> 'pk'",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        indexes.insert((r.get(0)?, r.get(1)?, r.get(2)?));
    }
    let mut ask = db.prepare(
        "SELECT t.name, f.\"from\", f.\"table\" FROM sqlite_schema t, pragma_foreign_key_list(t.name) f
         WHERE t.type = 'table'",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        pointers.insert((r.get(0)?, r.get(1)?, r.get(2)?));
    }
    Ok((columns, indexes, pointers))
}

fn of_postgres(db: &Db) -> Result<(Columns, Indexes, Pointers), StoreError> {
    let (mut columns, mut indexes, mut pointers) = (Columns::new(), Indexes::new(), Pointers::new());
    let mut ask = db.prepare(
        "SELECT t.relname, a.attname, CAST(format_type(a.atttypid, a.atttypmod) AS TEXT), NOT a.attnotnull,
                coalesce(array_position(CAST(i.indkey AS SMALLINT[]), a.attnum) + 1, 0), l.collname
         FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
         LEFT JOIN pg_index i ON i.indrelid = t.oid AND i.indisprimary
         LEFT JOIN pg_collation l ON l.oid = a.attcollation
         WHERE t.relkind = 'r' AND t.relnamespace = current_schema()::regnamespace AND t.relname <> 'migration'",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        let kind: String = r.get(2)?;
        let as_there = match kind.as_str() {
            "bigint" => "INTEGER",
            "bytea" => "BLOB",
            "double precision" => "REAL",
            "text" => "TEXT",
            other => other,
        };
        if kind == "text" {
            assert_eq!(r.get::<_, String>(5)?, "C", "text is ordered byte by byte, as there");
        }
        columns.insert((r.get(0)?, r.get(1)?), (as_there.to_owned(), r.get(3)?, r.get(4)?));
    }
    let mut ask = db.prepare(
        "SELECT t.relname,
                (SELECT string_agg(CAST(a.attname AS TEXT), ',' ORDER BY k.n)
                 FROM unnest(CAST(i.indkey AS SMALLINT[])) WITH ORDINALITY k (attnum, n)
                 JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = k.attnum),
                i.indisunique
         FROM pg_index i JOIN pg_class t ON t.oid = i.indrelid
         WHERE t.relnamespace = current_schema()::regnamespace AND NOT i.indisprimary AND t.relname <> 'migration'",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        indexes.insert((r.get(0)?, r.get(1)?, r.get(2)?));
    }
    let mut ask = db.prepare(
        "SELECT t.relname, a.attname, f.relname FROM pg_constraint c JOIN pg_class t ON t.oid = c.conrelid
         JOIN pg_class f ON f.oid = c.confrelid JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = c.conkey[1]
         WHERE c.contype = 'f' AND t.relnamespace = current_schema()::regnamespace",
    )?;
    let mut rows = ask.query([])?;
    while let Some(r) = rows.next()? {
        pointers.insert((r.get(0)?, r.get(1)?, r.get(2)?));
    }
    Ok((columns, indexes, pointers))
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn the_tables_are_those_of_sqlite() {
    let (lite, postgres) = (house(On::Sqlite), house(On::Postgres));
    let mut file = open_reader(&lite.dir.path().join("backstraight.db")).unwrap();
    let there = of_sqlite(&*file.transaction().unwrap()).unwrap();
    let here = postgres.store.read_blocking(of_postgres).unwrap();
    assert!(there.0.len() > 60 && there.1.len() > 5 && there.2.len() > 10, "{there:?}");
    assert_eq!(here.0, there.0);
    assert_eq!(here.1, there.1);
    assert_eq!(here.2, there.2);
}

#[test]
fn every_step_has_its_twin_of_the_same_name() {
    let names = |folder: &str| -> BTreeSet<String> {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(folder);
        let files = std::fs::read_dir(path).unwrap();
        files.map(|f| f.unwrap().file_name().into_string().unwrap()).collect()
    };
    assert_eq!(names("postgres"), names("sqlite"));
    assert_eq!(i64::try_from(STEPS.len()).unwrap(), KNOWN_VERSION);
}

#[test]
#[ignore = "needs PostgreSQL: cargo xtask postgres"]
fn a_newer_database_is_refused_and_the_audit_list_is_append_only() {
    let h = house(On::Postgres);
    assert_eq!(h.store.read_blocking(version).unwrap(), KNOWN_VERSION);
    for text in ["DELETE FROM audit", "UPDATE audit SET what = 'other'", "TRUNCATE audit"] {
        assert!(h.store.write_blocking(move |db| Ok(db.execute(text, [])?)).is_err(), "{text}");
    }
    let newer = |db: &Db| Ok(db.execute("INSERT INTO migration (number) VALUES (?1)", [KNOWN_VERSION + 1])?);
    h.store.write_blocking(newer).unwrap();
    let options = crate::store::StoreOptions { database: h.database.clone(), ..Default::default() };
    let folder = crate::folder::Folder::open(h.dir.path()).unwrap();
    assert!(matches!(Store::open(&folder, options), Err(StoreError::Newer { .. })));
}
