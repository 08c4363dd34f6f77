// The work as a Yjs document: nested maps, so that fields merge one by one. Knows no server.

import { EARLIER, ENTRIES } from "./work.mjs";

// The state with the earlier entries alone, and the whole document.
export function documents(Y) {
  const add = (doc, [key, entry]) => doc.getMap("entries").set(key, new Y.Map(Object.entries(entry)));
  const doc = new Y.Doc();
  doc.clientID = 1;
  for (const entry of ENTRIES.slice(0, EARLIER)) add(doc, entry);
  const earlier = Y.encodeStateAsUpdate(doc);
  doc.clientID = 2;
  for (const entry of ENTRIES.slice(EARLIER)) add(doc, entry);
  return { earlier, whole: doc };
}

export const entriesOf = (doc) => doc.getMap("entries").size;
