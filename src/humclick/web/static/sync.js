// Brings phone and server to the same events: sends what waits, fetches what is new. Both ways are unions, so
// whatever is not sure to have arrived is sent again.
import * as keep from "./keep.js";

const AT_ONCE = 200;
let busy, wanted = false;

// `told` is called with the ids of calls that changed, and with what the server will not have.
export function sync(told) {
  if (busy) { wanted = true; return busy; }
  busy = once(told).catch(() => ({ reached: false })).finally(() => {
    busy = undefined;
    if (wanted) { wanted = false; sync(told); }
  });
  return busy;
}

async function once(told) {
  if (!navigator.onLine) return { reached: false };
  await send(told);
  await pull(told);
  return { reached: true };
}

async function send(told) {
  const waiting = (await keep.outbox()).filter(each => !each.refused);
  for (const { key, hash } of waiting.filter(each => each.hash)) {
    const photo = await keep.photo(hash);
    if (photo) await handOver([key], `/api/photos/${hash}`, { method: "PUT", body: photo.blob }, told);
    else await keep.sent([key]);
  }
  const byCall = new Map();
  for (const each of waiting.filter(each => each.call)) byCall.set(each.call, [...(byCall.get(each.call) ?? []), each]);
  for (const [call, all] of byCall) {
    const found = await Promise.all(all.map(async ({ key, id }) => ({ key, table: await keep.table(call, id) })));
    for (let at = 0; at < found.length; at += AT_ONCE) {
      const some = found.slice(at, at + AT_ONCE), events = some.map(each => each.table).filter(Boolean);
      const headers = { "Content-Type": "application/json" };
      const request = { method: "POST", headers, body: JSON.stringify({ events }) };
      await handOver(some.map(each => each.key), `/api/calls/${call}/events`, request, told);
    }
  }
}

async function handOver(keys, path, request, told) {
  const found = await fetch(path, request);
  if (found.ok) return keep.sent(keys);
  if (![400, 409, 413, 422].includes(found.status)) throw new Error(`${path}: ${found.status}`);
  const why = (await found.json().catch(() => ({}))).error ?? String(found.status);
  await keep.sent(keys, why);
  told({ refused: why });
}

async function pull(told) {
  const found = await fetch("/api/calls");
  if (!found.ok) throw new Error(`calls: ${found.status}`);
  const { calls } = await found.json();
  const seen = new Map((await keep.calls()).map(line => [line.id, line.seen]));
  for (const line of calls) {
    if (!line.version || seen.get(line.id) === line.version) continue;
    if (await fetchCall(line.id)) told({ call: line.id });
  }
  await keep.lines(calls);
}

// One call from the server; whether it brought anything new.
export async function fetchCall(id) {
  const found = await fetch(`/api/calls/${encodeURIComponent(id)}`);
  if (!found.ok) return false;
  const { events, version, summary } = await found.json();
  return (await keep.append(id, events, { seen: version, summary, send: false })) > 0;
}
