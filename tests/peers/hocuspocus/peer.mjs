// Hocuspocus with its SQLite extension, as its documentation starts it. The client is the official provider; all
// devices share one document, in which nothing changes while they send.

import { join } from "node:path";

import { SQLite, schema, upsertQuery, selectQuery } from "@hocuspocus/extension-sqlite";
import { HocuspocusProvider, HocuspocusProviderWebsocket } from "@hocuspocus/provider";
import { Server } from "@hocuspocus/server";
import Database from "better-sqlite3";
import { WebSocket } from "ws";
import * as Y from "yjs";

import { documents, entriesOf } from "../y-work.mjs";

export const about = { title: "Hocuspocus 4.7.0, SQLite", client: "official" };
export const id = (n) => `document-${n}`;

const file = (folder) => join(folder, "documents.sqlite");

export async function serve(folder) {
  const server = new Server({
    port: 0,
    address: "127.0.0.1",
    quiet: true,
    extensions: [new SQLite({ database: file(folder) })],
  });
  await server.listen();
  return server.httpServer.address().port;
}

let made;
const work = () => (made ??= documents(Y));

export function ready() {
  work();
}

export async function fill(folder, ids) {
  const db = new Database(file(folder));
  db.exec(schema);
  const put = db.prepare(upsertQuery);
  db.transaction(() => ids.forEach((name) => put.run({ name, data: Buffer.from(work().earlier) })))();
  db.close();
}

function enter(port, name, document, heard) {
  const websocketProvider = new HocuspocusProviderWebsocket({
    url: `ws://127.0.0.1:${port}`,
    WebSocketPolyfill: WebSocket,
  });
  const provider = new HocuspocusProvider({ websocketProvider, name, document, awareness: null, ...heard });
  provider.attach();
  return () => {
    provider.destroy();
    websocketProvider.destroy();
  };
}

export function push(port, name, told = () => {}) {
  return new Promise((done) => {
    let heard = false;
    const hangUp = enter(port, name, work().whole, {
      // Nothing unsynced: the server has said of everything that it has it.
      onUnsyncedChanges: ({ number }) => {
        if (number !== 0 || heard) return;
        heard = true;
        told();
        setImmediate(() => done(hangUp));
      },
    });
  });
}

export function fetch(port, name) {
  return new Promise((done) => {
    const document = new Y.Doc();
    const hangUp = enter(port, name, document, {
      onSynced: () => {
        done(entriesOf(document));
        setImmediate(() => hangUp());
      },
    });
  });
}

export async function read(folder, ids) {
  const db = new Database(file(folder), { fileMustExist: true });
  const find = db.prepare(selectQuery);
  return ids.map((name) => {
    const doc = new Y.Doc();
    const row = find.get({ name });
    if (row) Y.applyUpdate(doc, row.data);
    return entriesOf(doc);
  });
}
