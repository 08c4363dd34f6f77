// The PouchDB server on LevelDB, a database for each device and in it a document for each entry. The client is the
// official replicator, from one database in memory that all devices share and on from the place that the server has.

import { cpSync, existsSync } from "node:fs";
import { createServer } from "node:http";
import { join } from "node:path";

import express from "express";
import expressPouchDB from "express-pouchdb";
import PouchDB from "pouchdb";
import memory from "pouchdb-adapter-memory";
import listAll from "pouchdb-all-dbs";

import { EARLIER, ENTRIES, FRESH } from "../work.mjs";

export const about = { title: "PouchDB server 4.2.0 of PouchDB 9.0.0", client: "official" };
export const id = (n) => `database-${n}`;

export async function serve(folder) {
  const app = express();
  const Kept = PouchDB.defaults({ prefix: `${folder}/` });
  app.use("/", expressPouchDB(Kept, { mode: "minimumForPouchDB", inMemoryConfig: true, logPath: "/dev/null" }));
  const http = createServer(app);
  await new Promise((done) => http.listen(0, "127.0.0.1", done));
  return http.address().port;
}

const entries = ENTRIES.map(([key, entry]) => ({ _id: key, ...entry }));

let made;
// The database of the devices, and the place in it from which on the server has nothing.
function work() {
  made ??= (async () => {
    PouchDB.plugin(memory);
    const db = new PouchDB("devices", { adapter: "memory" });
    await db.bulkDocs(entries.slice(0, EARLIER));
    const { update_seq: since } = await db.info();
    await db.bulkDocs(entries.slice(EARLIER));
    const keys = entries.slice(0, EARLIER).map((entry) => entry._id);
    return { db, since, earlier: await db.allDocs({ include_docs: true, keys }) };
  })();
  return made;
}

export async function ready() {
  await work();
}

export async function fill(folder, ids) {
  const docs = (await work()).earlier.rows.map((row) => row.doc);
  const Kept = PouchDB.defaults({ prefix: `${folder}/` });
  // The server knows no database that is not in its list.
  listAll(Kept);
  const [first, ...others] = ids;
  const db = new Kept(first);
  // As they are on the devices, revisions among it.
  await db.bulkDocs(docs, { new_edits: false });
  await db.close();
  for (const name of others) {
    cpSync(join(folder, first), join(folder, name), { recursive: true });
    await new Kept(name).close();
  }
  // The list is written behind.
  while ((await Kept.allDbs()).length < ids.length) await new Promise((next) => setTimeout(next, 50));
}

export async function push(port, name, told = () => {}) {
  const { db, since } = await work();
  const target = new PouchDB(`http://127.0.0.1:${port}/${name}`, { skip_setup: true });
  await new Promise((done, failed) => {
    const going = PouchDB.replicate(db, target, { since });
    going.on("complete", (all) => {
      if (all.docs_written !== FRESH) return failed(new Error(`${all.docs_written} written`));
      told();
      done();
    });
    going.on("error", failed);
  });
  return () => {};
}

export async function fetch(port, name) {
  return (await new PouchDB(`http://127.0.0.1:${port}/${name}`, { skip_setup: true }).info()).doc_count;
}

export async function read(folder, ids) {
  const counts = [];
  for (const name of ids) {
    const at = join(folder, name);
    if (!existsSync(at)) {
      counts.push(0);
      continue;
    }
    const db = new PouchDB(at);
    counts.push((await db.info()).doc_count);
    await db.close();
  }
  return counts;
}
