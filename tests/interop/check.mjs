// Opens documents that our code wrote with the JavaScript implementation of the open document
// format, and compares them with what our readers made of them. Usage: node check.mjs FOLDER
import { readFileSync } from "node:fs"
import { join } from "node:path"
import { isDeepStrictEqual } from "node:util"
import * as Automerge from "@automerge/automerge"
import { decode } from "cborg"

const folder = process.argv[2]
const expected = JSON.parse(readFileSync(join(folder, "expected.json"), "utf8"))
const inner = new Set(["work", "sets"])
const seen = { wholes: 0, records: 0, values: 0, met: 0, gone: 0, bytes: 0, times: 0, truths: 0 }
const wrong = []

// A stored value in the form of expected.json.
function shown(value) {
  if (value instanceof Date) return { ms: value.getTime() }
  if (value instanceof Uint8Array) return { hex: Buffer.from(value).toString("hex") }
  if (Automerge.isImmutableString(value)) return value.toString()
  return value
}

// A record in one value, as a record with fields: names and moments are ours to know.
function opened(bytes) {
  seen.wholes += 1
  const fields = {}
  for (const [number, value] of decode(bytes, { useMaps: true })) {
    const { name, moment } = expected.whole[number - 1]
    fields[name] = moment ? new Date(value * 1000) : value
  }
  return fields
}

function say(where, what, ours, theirs) {
  wrong.push(`${where}: ${what}: ours ${JSON.stringify(ours)}, theirs ${JSON.stringify(theirs)}`)
}

function same(where, ours, theirs) {
  seen.values += 1
  if (theirs !== null && typeof theirs === "object") seen[theirs.hex === undefined ? "times" : "bytes"] += 1
  if (typeof theirs === "boolean") seen.truths += 1
  if (!isDeepStrictEqual(ours, theirs)) say(where, "value", ours, theirs)
}

function record(where, ours, theirs) {
  seen.records += 1
  const met = new Map((ours["(met)"] ?? []).map((m) => [m.field, m.told]))
  const names = new Set([...Object.keys(ours), ...Object.keys(theirs)])
  names.delete("(met)")
  for (const name of names) {
    const at = `${where}/${name}`
    if (inner.has(name)) {
      records(at, ours[name], theirs[name])
    } else if (met.has(name)) {
      // Which of them is shown first is ours to say; that all are there is what matters here.
      seen.met += 1
      const order = (values) => values.map((v) => JSON.stringify(v)).sort()
      const told = order(met.get(name).map((t) => t.value))
      const kept = order(Object.values(Automerge.getConflicts(theirs, name) ?? {}).map(shown))
      if (!isDeepStrictEqual(told, kept)) say(at, "values that met", told, kept)
      same(at, ours[name] ?? null, name === "gone" && ours.gone !== undefined ? met.get(name)[0].value.ms : met.get(name)[0].value)
    } else if (name === "gone") {
      seen.gone += ours.gone === undefined ? 0 : 1
      same(at, ours.gone ?? null, shown(theirs.gone)?.ms ?? null)
    } else {
      same(at, ours[name] ?? null, shown(theirs[name]) ?? null)
    }
  }
}

function records(where, ours, theirs) {
  const keys = [Object.keys(ours).sort(), Object.keys(theirs).sort()]
  if (!isDeepStrictEqual(...keys)) say(where, "keys", ...keys)
  for (const key of keys[0]) {
    const found = theirs[key] instanceof Uint8Array ? opened(theirs[key]) : theirs[key]
    if (found !== undefined) record(`${where}/${key}`, ours[key], found)
  }
}

for (const [kind, { heads, content }] of Object.entries(expected.documents)) {
  const doc = Automerge.load(readFileSync(join(folder, `${kind}.automerge`)))
  const found = Automerge.getHeads(doc).sort()
  if (!isDeepStrictEqual(heads, found)) say(kind, "heads", heads, found)
  same(kind, kind, shown(doc.kind))
  same(kind, 1, doc.v)
  const roots = Object.keys(doc).filter((name) => name !== "kind" && name !== "v").sort()
  if (!isDeepStrictEqual(Object.keys(content).sort(), roots)) say(kind, "root maps", Object.keys(content), roots)
  for (const root of roots) records(`${kind}/${root}`, content[root], doc[root])
}

// A comparison of nothing would always hold.
for (const [what, count] of Object.entries(seen)) if (count === 0) wrong.push(`no ${what} were compared`)
console.log(`${Object.keys(expected.documents).length} documents:`, Object.entries(seen).map(([k, n]) => `${n} ${k}`).join(", "))
if (wrong.length > 0) {
  console.error(wrong.slice(0, 40).join("\n"))
  console.error(`${wrong.length} differences`)
  process.exit(1)
}
