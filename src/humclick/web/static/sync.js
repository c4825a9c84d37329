// Brings phone and server to the same events and photos: sends what waits, fetches what is new, and sends again what
// the server has lost. Both ways are unions, so whatever is not sure to have arrived is sent again. An entry leaves
// the outbox only for an answer that names it as kept: not for a page, a redirect or a status alone.
import * as keep from "./keep.js";
import { say } from "./notices.js";
import { sha256 } from "./photo.js";

const AT_ONCE = 200;
let busy, next, tried = false;

// Something answered that is not our server (a sign-in page), or our server cannot store or read now.
class Trouble extends Error {
  constructor(kind, why = "") { super(why || kind); this.kind = kind; }
}

// `told` is called with calls that changed. What comes back: whether the server was reached, and its trouble.
export function sync(told) {
  if (busy) return next ??= busy.then(() => { next = undefined; return sync(told); });
  busy = once(told).finally(() => { busy = undefined; });
  return busy;
}

async function once(told) {
  if (!navigator.onLine) return { reached: false, trouble: "offline" };
  const found = { reached: false, trouble: "" };
  try {
    await send(found);
    if (await pull(told, found)) await send(found);
    tried = true;
  } catch (error) {
    noted(found, error);
  }
  return found;
}

// Trouble with one call or photo holds up no other; a network that is gone ends the round.
function noted(found, error) {
  if (error instanceof Trouble) Object.assign(found, { trouble: error.kind, why: error.message });
  else Object.assign(found, { reached: false, trouble: "away" });
}

async function each(list, found, work) {
  for (const one of list) {
    try { await work(one); } catch (error) {
      if (!(error instanceof Trouble)) throw error;
      noted(found, error);
    }
  }
}

async function asked(path, request = {}) {
  const found = await fetch(path, { cache: "no-store", redirect: "manual", ...request });
  const json = found.headers.get("content-type")?.includes("json") && await found.json().catch(() => null);
  if (!json && found.status === 413) return { ok: false, status: 413, json: { error: say("too-large") } };
  if (!json) throw new Trouble(found.status >= 500 ? "storage" : "not-ours");
  if (![200, 400, 404, 413, 422].includes(found.status)) throw new Trouble("storage", json.error);
  return { ok: found.status === 200, status: found.status, json };
}

async function send(found) {
  const all = await keep.outbox();
  const waiting = all.filter(entry => !entry.aside && (!entry.refused || !tried)); // what was refused, once a start
  const byCall = new Map();
  for (const entry of waiting) if (entry.call) byCall.set(entry.call, [...(byCall.get(entry.call) ?? []), entry]);
  await each(byCall, found, async ([call, entries]) => {
    for (let at = 0; at < entries.length; at += AT_ONCE) await sendEvents(call, entries.slice(at, at + AT_ONCE));
  });
  await each(waiting.filter(entry => entry.hash), found, sendPhoto);
}

async function sendEvents(call, entries) {
  const tables = await Promise.all(entries.map(({ id }) => keep.table(call, id)));
  const request = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ events: tables.filter(Boolean) }) };
  const { ok, status, json } = await asked(`/api/calls/${encodeURIComponent(call)}/events`, request);
  if (ok && Array.isArray(json.results)) {
    const said = new Map(json.results.map(result => [result.id, result]));
    await keep.letGo(entries.filter(({ id }) => said.get(id)?.kept === true).map(({ key }) => key));
    for (const { key, id } of entries) {
      const result = said.get(id);
      if (result?.kept === false && result.error) await keep.refuse(key, result.error);
    }
  } else if (!ok && status !== 404 && entries.length > 1) { // refused as a whole: find out which one it is
    const half = Math.ceil(entries.length / 2);
    for (const some of [entries.slice(0, half), entries.slice(half)]) await sendEvents(call, some);
  } else if (!ok && status !== 404 && json.error) await keep.refuse(entries[0].key, json.error);
  else throw new Trouble("not-ours");
}

async function sendPhoto({ key, hash }) {
  const photo = await keep.photo(hash);
  if (!photo) return;
  const { ok, status, json } = await asked(`/api/photos/${hash}`, { method: "PUT", body: photo.blob });
  if (ok && json.sha256 === hash) await keep.letGo([key]);
  else if (!ok && status !== 404 && json.error) await keep.refuse(key, json.error);
  else throw new Trouble("not-ours");
}

// -- comparing ------------------------------------------------------------------------------------------------

const versions = new Map(); // of each call here, by how many events it has

// The same as humclick.web.store.version_of: two copies of one version hold the same events.
async function versionHere(call) {
  const count = await keep.count(call), last = versions.get(call);
  if (last?.count === count) return last.version;
  const text = (await keep.ids(call)).sort().join("\n");
  const version = (await sha256(new TextEncoder().encode(text))).slice(0, 16);
  versions.set(call, { count, version });
  return version;
}

// Fetches what is new; whether the server has lost anything that is now to be sent again.
async function pull(told, found) {
  const { ok, json } = await asked("/api/calls");
  if (!ok || !Array.isArray(json.calls)) throw new Trouble("not-ours");
  found.reached = true;
  const there = new Set(json.calls.map(line => line.id)), here = new Map((await keep.calls()).map(line => [line.id, line]));
  let lost = false;
  await each(json.calls, found, async ({ id, version }) => {
    const have = await versionHere(id), last = here.get(id);
    if (!version || (last?.seen === version && last.have === have)) return;
    if (have === version) { await keep.compared(id, version, have); return; }
    const news = await compare(id);
    if (news.added) told({ call: id });
    lost ||= news.lost;
  });
  for (const id of here.keys()) {
    if (there.has(id)) continue;
    lost = await keep.lost(id, await keep.ids(id), photosIn(await keep.events(id))) || lost;
  }
  await keep.lines(json.calls);
  return lost;
}

const photosIn = tables => tables.filter(table => table.kind === "photo").map(table => table.sha256);

// One call of both: what is new there is kept here, what is missing there goes into the outbox.
async function compare(id) {
  const { ok, json } = await asked(`/api/calls/${encodeURIComponent(id)}`);
  if (!ok || json.id !== id || !Array.isArray(json.events)) throw new Trouble("not-ours");
  const added = await keep.append(id, json.events, { summary: json.summary, send: false });
  const there = new Set(json.events.map(table => table.id)), ours = await keep.ids(id);
  await keep.isThere(id, ours.filter(event => there.has(event)));
  const photos = json.photos ? photosIn(await keep.events(id)).filter(hash => !json.photos.includes(hash)) : [];
  const lost = await keep.lost(id, ours.filter(event => !there.has(event)), photos);
  await keep.compared(id, json.version, await versionHere(id));
  return { added: added > 0, lost };
}

// One call from the server; whether it brought anything new.
export async function fetchCall(id) { return (await compare(id)).added; }
