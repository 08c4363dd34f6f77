// The server of y-websocket with its LevelDB, as its own program starts it. Its protocol has no acknowledgement: the
// client, which is ours, asks again when it has sent everything, and what answers has been read after that.

import { createServer } from "node:http";

import * as decoding from "lib0/decoding";
import * as encoding from "lib0/encoding";
import { WebSocket, WebSocketServer } from "ws";
import { LeveldbPersistence } from "y-leveldb";
import * as sync from "y-protocols/sync";
import * as Y from "yjs";

import { documents, entriesOf } from "../y-work.mjs";

export const about = {
  title: "y-websocket server 0.1.1, LevelDB",
  client: "ours, on its protocol library; what is called acknowledged is the answer to a question asked after all was sent",
};
export const id = (n) => `document-${n}`;

export async function serve(folder) {
  process.env.YPERSISTENCE = folder;
  // What it says of itself is not the port.
  console.info = () => {};
  const { setupWSConnection } = await import("@y/websocket-server/utils");
  const http = createServer();
  const sockets = new WebSocketServer({ noServer: true });
  sockets.on("connection", setupWSConnection);
  http.on("upgrade", (request, socket, head) =>
    sockets.handleUpgrade(request, socket, head, (ws) => sockets.emit("connection", ws, request)),
  );
  await new Promise((done) => http.listen(0, "127.0.0.1", done));
  return http.address().port;
}

let made;
const work = () => (made ??= documents(Y));

export function ready() {
  work();
}

export async function fill(folder, ids) {
  const store = new LeveldbPersistence(folder);
  for (const name of ids) await store.storeUpdate(name, work().earlier);
  await store.destroy();
}

const SYNC = 0;
function message(write) {
  const encoder = encoding.createEncoder();
  encoding.writeVarUint(encoder, SYNC);
  write(encoder);
  return encoding.toUint8Array(encoder);
}

// Speaks until `heard`, told of each kind of message after it was read, gives true.
function speak(port, name, doc, heard) {
  return new Promise((done, failed) => {
    const socket = new WebSocket(`ws://127.0.0.1:${port}/${name}`);
    socket.binaryType = "arraybuffer";
    const ask = () => socket.send(message((e) => sync.writeSyncStep1(e, doc)));
    socket.on("open", ask);
    socket.on("message", (bytes) => {
      const decoder = decoding.createDecoder(new Uint8Array(bytes));
      if (decoding.readVarUint(decoder) !== SYNC) return;
      let kind;
      const answer = message((encoder) => (kind = sync.readSyncMessage(decoder, encoder, doc, socket)));
      if (answer.length > 1) socket.send(answer);
      if (heard(kind, ask)) done(() => socket.close());
    });
    socket.on("error", failed);
    socket.on("close", () => failed(new Error("the server hung up")));
  });
}

export function push(port, name, told = () => {}) {
  let sent = false;
  let answers = 0;
  return speak(port, name, work().whole, (kind, ask) => {
    if (kind === sync.messageYjsSyncStep1 && !sent) {
      // The server has asked, and has by now been given everything that it has not.
      sent = true;
      ask();
    }
    // The first answer is to the first question, which came before everything was sent.
    if (kind === sync.messageYjsSyncStep2) answers += 1;
    if (answers < 2) return false;
    told();
    return true;
  });
}

export async function fetch(port, name) {
  const doc = new Y.Doc();
  // The server answers before it has read its store, and tells the rest afterwards: it is asked until nothing is new.
  let before = -1;
  const hangUp = await speak(port, name, doc, (kind, ask) => {
    if (kind !== sync.messageYjsSyncStep2) return false;
    if (entriesOf(doc) > 0 && entriesOf(doc) === before) return true;
    before = entriesOf(doc);
    setTimeout(ask, 200);
    return false;
  });
  hangUp();
  return entriesOf(doc);
}

export async function read(folder, ids) {
  const store = new LeveldbPersistence(folder);
  const counts = [];
  for (const name of ids) counts.push(entriesOf(await store.getYDoc(name)));
  return counts;
}
