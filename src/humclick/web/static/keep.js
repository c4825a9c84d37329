// What this phone keeps, in IndexedDB: calls as single events, photos, what is still to be sent.
// What `append` has returned from is on the disk. Two tabs may write at once: an event is only ever added.
const STORES = {
  calls: { keyPath: "id" }, // {id, summary, seen, have: versions of the server's copy and of ours when last compared}
  events: { keyPath: ["call", "id"] }, // {call, id, table}
  photos: { keyPath: "hash" }, // {hash, blob, width, height}
  outbox: { keyPath: "key" }, // {key, call, id} or {key, hash}; refused: why the server will not have it; aside: put away
  screens: { keyPath: "path" }, // the last look of each page, shown while Python starts
  own: { keyPath: "name" }, // {name, value}: device, settings
};

let opened;
function db() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("humclick", 1);
    asked.onupgradeneeded = () => {
      for (const [name, options] of Object.entries(STORES)) asked.result.createObjectStore(name, options);
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => { asked.result.close(); opened = undefined; };
      asked.result.onclose = () => { opened = undefined; };
      resolve(asked.result);
    };
    asked.onerror = () => { opened = undefined; reject(asked.error); };
  });
  return opened;
}

const got = request => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});
const done = transaction => new Promise((resolve, reject) => {
  transaction.oncomplete = () => resolve();
  transaction.onerror = transaction.onabort = () => reject(transaction.error ?? new Error("not kept"));
});

async function writing(names, work) {
  const transaction = (await db()).transaction(names, "readwrite", { durability: "strict" });
  const end = done(transaction);
  try { await work(transaction); } catch (error) {
    end.catch(() => undefined);
    try { transaction.abort(); } catch { /* over already */ }
    throw error;
  }
  await end;
}
const reading = async name => (await db()).transaction(name).objectStore(name);
const ofCall = id => IDBKeyRange.bound([id, ""], [id, "\uffff"]);

export async function events(id) {
  return (await got((await reading("events")).getAll(ofCall(id)))).map(each => each.table);
}

// Ids of a call's events. Events are only ever added, so as many are the same.
export async function ids(id) {
  return (await got((await reading("events")).getAllKeys(ofCall(id)))).map(([, event]) => event);
}

export async function count(id) { return got((await reading("events")).count(ofCall(id))); }

export async function has(id) {
  return (await got((await reading("calls")).getKey(id))) !== undefined;
}

export async function calls() { return got((await reading("calls")).getAll()); }

const eventKey = (call, id) => `event ${call} ${id}`, photoKey = hash => `a photo ${hash}`;

// Events new to this call; `send` false where the server has them.
export async function append(id, tables, { summary, send = true } = {}) {
  let added = 0;
  await writing(["calls", "events", "outbox"], async transaction => {
    const [lines, kept, outbox] = ["calls", "events", "outbox"].map(name => transaction.objectStore(name));
    const line = (await got(lines.get(id))) ?? { id, summary: null, seen: "", have: "" };
    for (const table of tables) {
      if ((await got(kept.getKey([id, table.id]))) !== undefined) continue;
      kept.add({ call: id, id: table.id, table });
      added += 1;
      if (send) outbox.put({ key: eventKey(id, table.id), call: id, id: table.id });
    }
    if (summary) line.summary = summary;
    lines.put(line);
  });
  return added;
}

export async function lines(summaries) {
  await writing(["calls"], async transaction => {
    const kept = transaction.objectStore("calls");
    for (const summary of summaries) {
      const line = await got(kept.get(summary.id));
      if (line && line.seen === summary.version && summary.state) kept.put({ ...line, summary });
    }
  });
}

export async function photo(hash) { return got((await reading("photos")).get(hash)); }

export async function keepPhoto(hash, blob, width, height) {
  await writing(["photos", "outbox"], async transaction => {
    transaction.objectStore("photos").put({ hash, blob, width, height });
    transaction.objectStore("outbox").put({ key: photoKey(hash), hash });
  });
}

export async function outbox() { return got((await reading("outbox")).getAll()); }

async function changed(keys, change) {
  if (keys.length) await writing(["outbox"], async transaction => {
    const store = transaction.objectStore("outbox");
    for (const key of keys) {
      const entry = await got(store.get(key));
      if (entry) store.put(change(entry));
    }
  });
}

// The one way out of the outbox: the server has said by name that it keeps it.
export async function letGo(keys) {
  if (keys.length) await writing(["outbox"], async transaction => {
    for (const key of keys) transaction.objectStore("outbox").delete(key);
  });
}

export const refuse = (key, refused) => changed([key], entry => ({ ...entry, refused }));
export const setAside = keys => changed(keys, entry => ({ ...entry, aside: true }));
export const sendAgain = keys => changed(keys, ({ refused, aside, ...entry }) => entry);

// What the server turned out not to have, though it was let go before; whether anything is new to the outbox.
export async function lost(call, ids, hashes) {
  let added = false;
  await writing(["outbox", "photos"], async transaction => {
    const [box, photos] = ["outbox", "photos"].map(name => transaction.objectStore(name));
    for (const id of ids) {
      if ((await got(box.getKey(eventKey(call, id)))) !== undefined) continue;
      box.put({ key: eventKey(call, id), call, id });
      added = true;
    }
    for (const hash of hashes) {
      const there = (await got(box.getKey(photoKey(hash)))) !== undefined;
      if (there || (await got(photos.getKey(hash))) === undefined) continue;
      box.put({ key: photoKey(hash), hash });
      added = true;
    }
  });
  return added;
}

// What the server has of a call, by its own list; of what it refused it may have another under the same id.
export async function isThere(call, ids) {
  const there = new Set(ids);
  await letGo((await outbox()).filter(entry => entry.call === call && there.has(entry.id) && !entry.refused).map(({ key }) => key));
}

export async function compared(id, seen, have) {
  await writing(["calls"], async transaction => {
    const kept = transaction.objectStore("calls"), line = await got(kept.get(id));
    if (line) kept.put({ ...line, seen, have });
  });
}

export async function table(call, id) { return (await got((await reading("events")).get([call, id])))?.table; }

export async function screen(path) { return got((await reading("screens")).get(path)); }

export async function keepScreen(screen) {
  const transaction = (await db()).transaction("screens", "readwrite");
  transaction.objectStore("screens").put(screen);
  await done(transaction);
}

export async function own(name) { return (await got((await reading("own")).get(name)))?.value; }

export async function keepOwn(name, value) {
  await writing(["own"], async transaction => { transaction.objectStore("own").put({ name, value }); });
}
