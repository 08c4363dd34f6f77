// The work as an Automerge document, and a device that speaks automerge-repo's wire protocol with what the Automerge
// library says; both servers of that protocol keep the same files. All devices share one document.

import { cpSync, readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";

import * as A from "@automerge/automerge";
import { Repo, cbor, stringifyAutomergeUrl } from "@automerge/automerge-repo";
import { NodeFSStorageAdapter } from "@automerge/automerge-repo-storage-nodefs";
import { WebSocket } from "ws";

import { EARLIER, ENTRIES } from "./work.mjs";

export const CLIENT = "ours, on automerge-repo's wire protocol and its document library";

// The document id of a name is base58 of 16 bytes with a checksum; the library makes it.
export function id(n) {
  const bytes = new Uint8Array(16).fill(1);
  new DataView(bytes.buffer).setUint32(0, n + 1);
  return stringifyAutomergeUrl({ documentId: bytes }).replace("automerge:", "");
}

let made;
// The document with the earlier entries alone, and whole.
function documents() {
  if (made) return made;
  // The same bytes in every process: the server's store was filled by another one.
  const at = { time: 1_790_000_000 };
  const add = (doc, [key, entry]) => A.change(doc, at, (d) => void (d.entries[key] = entry));
  let doc = A.change(A.init({ actor: "01".repeat(16) }), at, (d) => void (d.entries = {}));
  for (const entry of ENTRIES.slice(0, EARLIER)) doc = add(doc, entry);
  const earlier = A.save(doc);
  // Another start of the app.
  doc = A.load(earlier, { actor: "02".repeat(16) });
  for (const entry of ENTRIES.slice(EARLIER)) doc = add(doc, entry);
  return (made = { earlier, whole: { doc }, heads: A.getHeads(doc) });
}

export function ready() {
  documents();
}

const place = (folder, documentId) => join(folder, documentId.slice(0, 2), documentId.slice(2));

export async function fill(folder, [first, ...others]) {
  const repo = new Repo({ storage: new NodeFSStorageAdapter(folder) });
  repo.import(documents().earlier, { docId: first });
  await repo.flush();
  // The files of a document do not name it.
  for (const documentId of others) cpSync(place(folder, first), place(folder, documentId), { recursive: true });
}

const same = (a, b) => a.length === b.length && [...a].sort().every((head, n) => head === [...b].sort()[n]);

// Speaks of what `held.doc` is, until `enough` says so of it and of what the server has told of its heads.
function speak(port, documentId, held, enough) {
  return new Promise((done, failed) => {
    const socket = new WebSocket(`ws://127.0.0.1:${port}`);
    socket.binaryType = "arraybuffer";
    const senderId = `device-${documentId}-${Math.random().toString(36).slice(2)}`;
    let targetId;
    let state = A.initSyncState();
    let first = true;
    const send = (message) => socket.send(cbor.encode(message));
    const answer = () => {
      const [next, data] = A.generateSyncMessage(held.doc, state);
      state = next;
      const type = first && A.getHeads(held.doc).length === 0 ? "request" : "sync";
      first = false;
      if (data) send({ type, senderId, targetId, documentId, data });
    };
    socket.on("open", () =>
      send({ type: "join", senderId, peerMetadata: { isEphemeral: true }, supportedProtocolVersions: ["1"] }),
    );
    socket.on("message", (bytes) => {
      const message = cbor.decode(new Uint8Array(bytes));
      if (message.type === "peer") {
        targetId = message.senderId;
        answer();
      } else if (message.type === "sync" && message.documentId === documentId) {
        [held.doc, state] = A.receiveSyncMessage(held.doc, state, message.data);
        if (enough(held.doc, state.theirHeads)) done(() => socket.close());
        answer();
      } else if (message.type === "error") failed(new Error(message.message));
    });
    socket.on("error", failed);
    socket.on("close", () => failed(new Error("the server hung up")));
  });
}

export function push(port, documentId, told = () => {}) {
  const { whole, heads } = documents();
  return speak(port, documentId, whole, (_, theirs) => theirs !== null && same(theirs, heads) && (told(), true));
}

export async function fetch(port, documentId) {
  const has = (doc, theirs) => theirs !== null && theirs.length > 0 && same(A.getHeads(doc), theirs);
  const held = { doc: A.init() };
  const hangUp = await speak(port, documentId, held, has);
  hangUp();
  return Object.keys(held.doc.entries ?? {}).length;
}

export async function read(folder, ids) {
  return ids.map((documentId) => {
    const at = place(folder, documentId);
    const of = (kind) => {
      try {
        return readdirSync(join(at, kind)).map((name) => readFileSync(join(at, kind, name)));
      } catch {
        return [];
      }
    };
    const doc = A.loadIncremental(A.init(), Buffer.concat([...of("snapshot"), ...of("incremental")]));
    return Object.keys(doc.entries ?? {}).length;
  });
}
