// Loro's websocket SimpleServer. It has hooks for a store and none of its own: ours writes each document to a file of
// its own beside, and renames it. The client is the official one; all devices share one document.

import { readFileSync, renameSync, writeFileSync } from "node:fs";
import { join } from "node:path";

import { LoroAdaptor } from "loro-adaptors/loro";
import { LoroDoc, LoroMap } from "loro-crdt";
import { WebSocket } from "ws";

import { EARLIER, ENTRIES } from "../work.mjs";

// Its client speaks by the socket of browsers.
globalThis.WebSocket ??= WebSocket;

export const about = { title: "Loro SimpleServer 0.6.2, files by hooks of ours", client: "official" };
export const id = (n) => `document-${n}`;

const file = (folder, name) => join(folder, `${name}.loro`);

function load(folder, name) {
  try {
    return readFileSync(file(folder, name));
  } catch {
    return null;
  }
}

export async function serve(folder) {
  const { SimpleServer } = await import("loro-websocket/server");
  const { createServer } = await import("node:net");
  // It takes no port of the system's choice.
  const port = await new Promise((done) => {
    const probe = createServer().listen(0, "127.0.0.1", () => {
      const { port } = probe.address();
      probe.close(() => done(port));
    });
  });
  const server = new SimpleServer({
    port,
    host: "127.0.0.1",
    onLoadDocument: async (name) => load(folder, name),
    onSaveDocument: async (name, _, data) => {
      writeFileSync(`${file(folder, name)}.new`, data);
      renameSync(`${file(folder, name)}.new`, file(folder, name));
    },
  });
  await server.start();
  return port;
}

let made;
// The snapshot with the earlier entries alone, and the whole document.
function work() {
  if (made) return made;
  const doc = new LoroDoc();
  doc.setPeerId("1");
  const add = ([key, entry]) => {
    const map = doc.getMap("entries").setContainer(key, new LoroMap());
    for (const [field, value] of Object.entries(entry)) map.set(field, value);
    doc.commit();
  };
  ENTRIES.slice(0, EARLIER).forEach(add);
  const earlier = doc.export({ mode: "snapshot" });
  doc.setPeerId("2");
  ENTRIES.slice(EARLIER).forEach(add);
  return (made = { earlier, whole: doc });
}

export function ready() {
  work();
}

export async function fill(folder, ids) {
  for (const name of ids) writeFileSync(file(folder, name), work().earlier);
}

const entriesOf = (doc) => doc.getMap("entries").size;

async function enter(port, name, doc, said = () => {}, refused = () => {}) {
  const { LoroWebsocketClient } = await import("loro-websocket");
  const client = new LoroWebsocketClient({ url: `ws://127.0.0.1:${port}` });
  // The client tells nobody of an acknowledgement; it lets go of what was sent.
  const letGo = client.consumeSentBatch.bind(client);
  client.consumeSentBatch = (...of) => {
    const sent = letGo(...of);
    said();
    return sent;
  };
  await client.waitConnected();
  const crdtAdaptor = new LoroAdaptor(doc, { onUpdateError: (_, code) => refused(new Error(`refused: ${code}`)) });
  const room = await client.join({ roomId: name, crdtAdaptor });
  return [room, () => client.destroy()];
}

export function push(port, name, told = () => {}) {
  return new Promise((done, failed) => {
    let hangUp;
    const said = () => {
      told();
      // After the reason of a refusal, if it was one.
      setImmediate(() => done(() => hangUp?.()));
    };
    enter(port, name, work().whole, said, failed).then(([, over]) => (hangUp = over), failed);
  });
}

export async function fetch(port, name) {
  const doc = new LoroDoc();
  const [room, hangUp] = await enter(port, name, doc);
  await room.waitForReachingServerVersion();
  hangUp();
  return entriesOf(doc);
}

export async function read(folder, ids) {
  return ids.map((name) => {
    const bytes = load(folder, name);
    const doc = new LoroDoc();
    if (bytes) doc.import(bytes);
    return entriesOf(doc);
  });
}
