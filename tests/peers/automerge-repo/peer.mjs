// automerge-repo as its own small server sets it up: a Repo with the websocket adapter on top of files.

import { createServer } from "node:http";

import { Repo } from "@automerge/automerge-repo";
import { WebSocketServerAdapter } from "@automerge/automerge-repo-network-websocket";
import { NodeFSStorageAdapter } from "@automerge/automerge-repo-storage-nodefs";
import { WebSocketServer } from "ws";

import { CLIENT } from "../automerge-work.mjs";

export { fetch, fill, id, push, read, ready } from "../automerge-work.mjs";

export const about = { title: "automerge-repo 2.5.6", client: CLIENT };

export async function serve(folder) {
  const http = createServer();
  const sockets = new WebSocketServer({ server: http });
  const repo = new Repo({
    network: [new WebSocketServerAdapter(sockets)],
    storage: new NodeFSStorageAdapter(folder),
    peerId: `storage-server-${process.pid}`,
    sharePolicy: async () => false,
  });
  // It listens to nobody before it knows its store's name.
  await repo.storageId();
  await new Promise((next) => setTimeout(next, 100));
  await new Promise((done) => http.listen(0, "127.0.0.1", done));
  return http.address().port;
}
