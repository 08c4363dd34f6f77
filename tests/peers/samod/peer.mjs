// samod, which speaks automerge-repo's protocol and keeps its files, as a program in Rust (`src/main.rs`).

import { fileURLToPath } from "node:url";

import { CLIENT } from "../automerge-work.mjs";

export { fetch, fill, id, push, read, ready } from "../automerge-work.mjs";

export const about = { title: "samod 0.16.0", client: CLIENT };

// Instead of `serve`: the program that prints its port.
export const command = (folder) => [fileURLToPath(new URL("target/release/peer-samod", import.meta.url)), folder];
