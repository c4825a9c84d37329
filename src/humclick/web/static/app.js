// The page's own script. It carries clicks to Python and puts the answers into the page; it decides nothing.
//
// While Python starts on a first visit, the server answers; from then on this phone answers itself, keeps every
// event in its own store before the page goes on, and `sync.js` brings the server to the same. Without a secure
// context or a runtime there is no such store, and the server goes on answering.
import { settle } from "./behaviours.js";
import * as drafts from "./drafts.js";
import * as engine from "./engine.js";
import * as keep from "./keep.js";
import { announce, drop, notice, say } from "./notices.js";
import { taken } from "./photo.js";
import places from "./places.js";
import * as ahead from "./prepare.js";
import { stand } from "./standing.js";
import { fetchCall, sync } from "./sync.js";

const main = document.querySelector("main"), header = document.querySelector("header");
document.documentElement.classList.add("js"); // what only a script can do is shown from here on
const able = isSecureContext && places.offline && "indexedDB" in window;
const begunEmpty = main.childElementCount === 0; // the document kept for starts without a network
const tabs = "BroadcastChannel" in window ? new BroadcastChannel("humclick") : null;
const here = () => location.pathname + location.search;
const callIn = path => /^\/call\/([^/?]+)/.exec(path)?.[1] ?? "";
let device = "", settings = {}, shown = here(), shows = 0, looked = Date.now(), visiting = 0, posting = false, warm = false;

// -- asking ---------------------------------------------------------------------------------------------------

function pairs(entries) {
  const found = {};
  for (const [name, value] of entries) {
    if (name in found) found[name] = [].concat(found[name], value); else found[name] = value;
  }
  return found;
}

function now() {
  const at = new Date(), off = -at.getTimezoneOffset(), two = n => String(Math.floor(Math.abs(n))).padStart(2, "0");
  const local = new Date(at.getTime() + off * 60_000).toISOString().slice(0, -1);
  return `${local}${off < 0 ? "-" : "+"}${two(off / 60)}:${two(off % 60)}`;
}

async function photosOf(tables) {
  const taken = tables.filter(each => each.kind === "photo");
  return Promise.all(taken.map(async ({ sha256, caption = "" }) => {
    const kept = await keep.photo(sha256);
    return { hash: sha256, caption, width: kept?.width ?? 0, height: kept?.height ?? 0 };
  }));
}

async function askPhone(path, method, form, { prepare = false } = {}) {
  await engine.ready;
  const url = new URL(path, location.origin), id = callIn(path);
  let call = null, photos = [];
  if (id && ((await keep.has(id)) || (await fetchCall(id).catch(() => false)))) {
    call = { id, events: await keep.events(id) };
    photos = await photosOf(call.events);
  }
  const list = url.pathname === "/" || url.pathname === "/new";
  const reply = await engine.answer({
    path: url.pathname, method, query: pairs(url.searchParams), form, now: now(), device,
    language: document.documentElement.lang || "en", call, photos, place: "browser", secure: true, settings,
    follow: method === "POST", prepare,
    calls: list ? (await keep.calls()).map(line => line.summary).filter(Boolean) : null,
  });
  if (reply.append.length && !prepare) {
    await keep.append(reply.id, reply.append, { summary: reply.summary });
    changed(reply.id);
  }
  return reply;
}

async function askServer(path, method, body) {
  const headers = { "X-Humclick-Part": "1", "X-Humclick-Device": encodeURIComponent(device) };
  const found = await fetch(path, { method, body, headers, redirect: "manual" });
  const kind = found.headers.get("content-type") ?? "";
  if (!kind.includes("json")) throw new Error(kind.includes("text/plain") ? await found.text() : say("server-not-ours"));
  const reply = await found.json();
  if (able && reply.append?.length) await fetchCall(reply.id).catch(() => undefined);
  return reply;
}

// On a first visit the server answers until this phone has weighed the machine once, which takes longest.
const atPhone = () => able && (warm || begunEmpty);

const inAdvance = (element, data) => (data ? askPhone(element.getAttribute("action"), "POST", pairs(data), { prepare: true })
  : askPhone(element.getAttribute("href"), "GET", {}, { prepare: true }));

async function ask(path, method, data) {
  if (atPhone()) return askPhone(path, method, pairs(data ? [...data].filter(([, v]) => typeof v === "string") : []));
  try {
    return await askServer(path, method, data);
  } catch (error) {
    if (!able || !(error instanceof TypeError) || method !== "GET") throw error;
    return askPhone(path, method, {}); // the network went while Python started
  }
}

// -- showing --------------------------------------------------------------------------------------------------

function put(element, html) {
  element.replaceChildren(...new DOMParser().parseFromString(html, "text/html").body.childNodes);
}

function show(reply, path, { keepFields = false } = {}) {
  const fields = keepFields ? [...main.querySelectorAll("input[name], textarea[name]")]
    .filter(field => field.type === "text" || field.tagName === "TEXTAREA").map(field => [field.name, field.value]) : [];
  const focused = keepFields ? document.activeElement?.id : "", left = drafts.pending(main, shown), from = shown;
  put(main, reply.html);
  if (reply.header) put(header, reply.header);
  if (reply.title) document.title = `${reply.title} · Hum & Click`;
  if (reply.language) document.documentElement.lang = reply.language;
  for (const [name, value] of fields) {
    const field = main.querySelector(`[name="${CSS.escape(name)}"]`);
    if (field && !field.value) field.value = value;
  }
  settle(document);
  drafts.putBack(main, path);
  sayWhatIsLeft(left, drafts.pending(main, path), from);
  if (atPhone()) ahead.prepare(main.querySelectorAll("[data-prepare]"), inAdvance);
  if (focused) document.getElementById(focused)?.focus();
  else if (!keepFields) {
    const head = main.querySelector("[autofocus]") ?? main.querySelector("h1");
    if (head && !head.matches("input, button, a, select, textarea")) head.tabIndex = -1;
    head?.focus({ preventScroll: true });
    window.scrollTo(0, 0);
  }
  announce(reply.announce);
  shown = path;
  document.documentElement.dataset.shown = String(++shows);
}

// What stood typed and is not in the page any more is said until it stands in a page again, or somebody has read it.
const unsaid = new Map();
function sayWhatIsLeft(left, standing, from) {
  for (const [key, what] of left) unsaid.set(key, what);
  for (const [key, what] of standing) if (unsaid.get(key) === what) unsaid.delete(key);
  const what = [...unsaid.values()].join(", "), back = { go: () => visit(from), goes: "to-what-was-typed" };
  if (what) notice("typed-not-kept", { what }, { ...back, read: () => unsaid.clear() }); else drop("typed-not-kept");
}

const frame = () => new Promise(resolve => requestAnimationFrame(() => setTimeout(resolve)));

async function visit(path, { method = "GET", data, form, push = true, keepFields = false } = {}) {
  const mine = ++visiting, from = performance.now(), asked = method;
  const slow = setTimeout(() => main.setAttribute("aria-busy", "true"), 150);
  ahead.stop();
  try {
    let reply = await ask(path, method, data);
    await keepSettings(reply);
    const said = reply.announce;
    if (form && reply.go) drafts.taken(form, shown);
    for (let steps = 0; reply.go && steps < 5; steps += 1) {
      path = reply.go;
      method = "GET";
      reply = reply.html ? { ...reply, go: null, status: 200 } : await ask(path, method);
    }
    if (mine !== visiting) return;
    show({ ...reply, announce: reply.announce || said }, path, { keepFields });
    if (method === "GET" && push && path !== here()) history.pushState(null, "", path);
    if (method === "GET" && able && reply.status === 200) later(() => keepLook(path, reply));
    await frame();
    performance.measure(`screen after ${asked}`, { start: from });
  } catch (error) {
    failed(error);
  } finally {
    clearTimeout(slow);
    main.removeAttribute("aria-busy");
  }
}

// The last look of a page is shown again while Python starts, if its call has the same events still.
const held = async path => (callIn(path) ? (await keep.events(callIn(path))).length : 0);

const lookNow = () => ({ html: main.innerHTML, header: header.innerHTML, title: document.title.replace(/ · Hum & Click$/, "") });

async function keepLook(path, { html, header, title, language }) {
  await keep.keepScreen({ path, html, header, title, language, held: await held(path) });
}

const later = work => ("requestIdleCallback" in window ? requestIdleCallback : setTimeout)(() => work().catch(() => undefined));

function failed(error) {
  const full = error?.name === "QuotaExceededError";
  notice(full ? "not-kept-full" : error instanceof TypeError ? "no-server" : "not-done", { why: error?.message ?? error });
}

async function keepSettings(reply) {
  if (!reply.settings) return;
  settings = reply.settings;
  look();
  if (able) await keep.keepOwn("settings", settings);
  if (able) await standing();
}

function look() {
  const root = document.documentElement;
  if (settings.theme) root.dataset.theme = settings.theme;
  if (settings.language) root.lang = settings.language;
}

// -- links, forms, drafts -----------------------------------------------------------------------------------------

function ours(element, address) {
  const url = new URL(address, location.origin);
  return element.closest("main, header") && element.closest("[data-swap]")?.dataset.swap !== "no"
    && url.origin === location.origin && !/^\/(api|static|offline|photos)\//.test(url.pathname) ? url : null;
}

document.addEventListener("click", event => {
  const link = event.target.closest("a[href]");
  if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
  const parcel = /^\/api\/calls\/([^/]+)\/parcel$/.exec(new URL(link.href).pathname);
  if (parcel && atPhone()) { event.preventDefault(); handOut(parcel[1]).catch(failed); return; }
  if (link.target || link.hasAttribute("download") || link.getAttribute("href").startsWith("#")) return;
  const url = ours(link, link.href);
  if (!url) return;
  event.preventDefault();
  visit(url.pathname + url.search);
});

document.addEventListener("submit", event => {
  const form = event.target, button = event.submitter;
  const method = (button?.formMethod || form.method || "get").toUpperCase();
  const url = ours(form, button?.getAttribute("formaction") ?? form.getAttribute("action") ?? here());
  if (!url || event.defaultPrevented) return;
  event.preventDefault();
  const data = new FormData(form, button);
  if (method === "GET") {
    visit(`${url.pathname}?${new URLSearchParams(data)}`);
  } else if (!posting) { // a second tap of a gloved thumb is not a second reading
    posting = true;
    post(url.pathname + url.search, form, data).catch(failed).finally(() => { posting = false; });
  }
});

async function post(path, form, data) {
  const files = [...data.entries()].filter(([, value]) => value instanceof File);
  for (const [name, file] of files) if (!file.size) data.delete(name);
  const given = files.filter(([, file]) => file.size);
  if (path === "/import" && given.length && atPhone()) return takeIn(given[0][1]);
  if (/^\/call\/[^/]+\/recordings$/.test(path) && atPhone()) return listen(callIn(path), given[0]?.[1]);
  if (given.length && atPhone() && form.querySelector("[data-camera]")) {
    for (const [name, file] of given) {
      const photo = await taken(file);
      await keep.keepPhoto(photo.hash, photo.blob, photo.width, photo.height);
      const one = new FormData();
      for (const [key, value] of data.entries()) if (typeof value === "string") one.append(key, value);
      one.delete(name);
      for (const [key, value] of [["sha256", photo.hash], ["width", photo.width], ["height", photo.height]]) one.set(key, value);
      await visit(path, { method: "POST", data: one, form });
    }
  } else await visit(path, { method: "POST", data, form });
  if (able) room();
}

document.addEventListener("change", event => {
  const field = event.target;
  if (field.matches?.("input[type=file][data-camera]") && field.files.length && !field.form.querySelector("[type=submit], button:not([type])")) {
    field.form.requestSubmit();
  }
});

// What is typed and not yet sent outlives the browser.
document.addEventListener("input", event => {
  const field = event.target, form = field.form;
  if (!field.name || !field.closest("main form[method=post]")) return;
  if (form.matches("[data-prepare]") && !["radio", "checkbox", "file"].includes(field.type) && atPhone()) ahead.typed(form, inAdvance);
  drafts.typed(field, shown);
});

addEventListener("popstate", () => visit(here(), { push: false }));

// A recording is read by the server where it can be reached, for that is quicker; else here, by the same Python.
async function listen(id, file) {
  if (!file) return notice("no-recording");
  main.setAttribute("aria-busy", "true");
  try {
    const { reached } = await sync(told);
    const address = `/api/calls/${id}/recordings?file=${encodeURIComponent(file.name)}`;
    const request = { method: "POST", body: file, headers: { "X-Humclick-Device": device }, redirect: "manual" };
    const found = reached && await fetch(address, request).then(async answer => ({ status: answer.status, ...await answer.json() })).catch(() => null);
    if (found?.status === 422) throw new Error(found.error);
    if (found?.event?.id) await keep.append(id, [found.event], { send: false });
    else {
      const asked = JSON.stringify({ name: file.name, events: await keep.events(id), now: now(), device });
      const event = await engine.ask("recording", { data: await file.arrayBuffer(), asked });
      await keep.append(id, [event]);
    }
  } finally { main.removeAttribute("aria-busy"); }
  changed(id);
  await visit(`/call/${id}/recordings`);
}

// -- parcels --------------------------------------------------------------------------------------------------------

async function handOut(id) {
  const events = await keep.events(id), photos = [];
  for (const { hash } of await photosOf(events)) {
    const kept = await keep.photo(hash);
    if (kept) photos.push([hash, await kept.blob.arrayBuffer()]);
  }
  const made = await engine.ask("pack", { call: JSON.stringify({ id, events }), photos }, photos.map(([, data]) => data));
  const file = new File([made], `call-${id}.zip`, { type: "application/zip" });
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = file.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

async function takeIn(file) {
  const data = await file.arrayBuffer();
  const { call, photos } = await engine.ask("unpack", data, [data]);
  for (const [hash, bytes] of photos) {
    const blob = new Blob([bytes]), size = await createImageBitmap(blob);
    await keep.keepPhoto(hash, blob, size.width, size.height);
    size.close();
  }
  await keep.append(call.id, call.events, { summary: call.summary });
  changed(call.id);
  await visit(`/call/${call.id}`);
}

// -- other tabs, the server, room ---------------------------------------------------------------------------------------

function changed(id) {
  tabs?.postMessage({ call: id });
  send();
}

function again({ call }) {
  if (!engine.isReady || posting) return;
  if (callIn(shown) === call || shown === "/") visit(shown, { push: false, keepFields: true });
}
tabs?.addEventListener("message", ({ data }) => again(data));

function told(news) { tabs?.postMessage(news); again(news); }

// What can be done with entries the server would not take.
const entries = {
  table: entry => (entry.call ? keep.table(entry.call, entry.id) : undefined),
  "send-again": async keys => { await keep.sendAgain(keys); await send(); },
  "set-aside": async keys => { await keep.setAside(keys); await send(); },
};
let server = { reached: false, trouble: "", fresh: true }, reachedAt = 0;
const standing = async () => stand(await keep.outbox(), server, reachedAt, entries);

async function send() {
  const slow = setTimeout(standing, 1500); // what is sent at once does not flicker
  server = await sync(told);
  clearTimeout(slow);
  const { reached } = server;
  if (reached) {
    if (Date.now() - reachedAt > 60_000) keep.keepOwn("reached", Date.now()).catch(() => undefined);
    reachedAt = Date.now();
  }
  await standing();
  if (reached && Date.now() - looked > 600_000) {
    looked = Date.now();
    (await navigator.serviceWorker?.getRegistration())?.update().catch(() => undefined);
  }
  if (reached && shown === "/" && engine.isReady && !posting) visit("/", { push: false, keepFields: true });
}

async function room() {
  const { usage = 0, quota = 0 } = (await navigator.storage?.estimate?.()) ?? {};
  if (quota && (quota - usage < 50e6 || usage > 0.9 * quota)) notice("nearly-full", { left: Math.round((quota - usage) / 1e6) });
}

// -- beginning ---------------------------------------------------------------------------------------------------------

async function begin() {
  settle(document);
  drafts.putBack(main, here());
  if (!able) {
    if (!isSecureContext) notice("not-secure", {}, { stays: true });
    else if (!places.offline) notice("no-runtime", {}, { stays: true });
    document.querySelector("#standing p").textContent = say("straight");
    return;
  }
  const starting = engine.start();
  starting.catch(error => notice("no-python", { why: error.message }));
  device = await keep.own("device");
  if (!device) await keep.keepOwn("device", device = `phone-${crypto.randomUUID().slice(0, 8)}`);
  document.cookie = `humclick-device=${device}; path=/; max-age=31536000; samesite=lax`;
  reachedAt = (await keep.own("reached")) ?? 0;
  standing().catch(() => undefined);
  settings = (await keep.own("settings")) ?? {};
  look();
  if (begunEmpty) {
    const last = await keep.screen(here());
    const same = last && last.held === (await held(here()));
    if (same) show(last, here());
    const fresh = visit(here(), { push: false, keepFields: same });
    await (same ? starting : fresh);
    pythonHere();
    await fresh;
    beReady();
  } else {
    await starting;
    pythonHere();
    await askPhone(shown, "GET", {}).catch(() => undefined);
    warm = true;
    ahead.prepare(main.querySelectorAll("[data-prepare]"), inAdvance);
    beReady();
    later(() => keepLook(here(), { ...lookNow(), language: document.documentElement.lang }));
  }
  for (const name of ["online", "pageshow"]) addEventListener(name, send);
  document.addEventListener("visibilitychange", () => document.hidden || send());
  setInterval(send, 30_000); // a server that comes back tells nobody
  await register();
  await send();
  navigator.storage?.persist?.();
  room();
}

function pythonHere() { // from here on a form is answered on this phone
  document.documentElement.dataset.python = "here";
  performance.mark("ready");
}

function beReady() {
  document.documentElement.dataset.ready = "phone";
  performance.mark("weighed");
}

async function register() {
  if (!navigator.serviceWorker) return;
  let controlled = Boolean(navigator.serviceWorker.controller);
  if (controlled) document.documentElement.dataset.offline = "ready";
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    document.documentElement.dataset.offline = "ready";
    if (controlled) notice("updated");
    controlled = true;
  });
  await navigator.serviceWorker.register("/sw.js").catch(() => notice("no-cache"));
}

document.addEventListener("error", async event => { // a photo that neither server nor service worker could show
  const hash = event.target.matches?.("img") && /\/photos\/([0-9a-f]{64})$/.exec(event.target.src)?.[1];
  const kept = hash && able && (await keep.photo(hash));
  if (kept) event.target.src = URL.createObjectURL(kept.blob);
}, true);

begin().catch(failed);
