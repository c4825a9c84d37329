// Python in a worker: it answers as the server does. Nothing is kept here; it may be ended at any time.
import places from "./places.js";

const SITE = "/lib/python3.14/site-packages";

const boot = (async () => {
  const engine = fetch(places.engine + "engine.zip").then(found => {
    if (!found.ok) throw new Error(`engine.zip: ${found.status}`);
    return found.arrayBuffer();
  });
  engine.catch(() => undefined);
  const { loadPyodide } = await import(places.runtime + "pyodide.mjs");
  const py = await loadPyodide({ indexURL: places.runtime });
  unpack(py.FS, new Uint8Array(await engine));
  const name = module => py.pyimport(module);
  py.runPython("import gc, importlib; gc.disable(); importlib.invalidate_caches()");
  name("humclick.web.prepared").use();
  const found = name("humclick.web.engine");
  py.runPython("gc.freeze(); gc.enable()"); // what was read in stays, and need not be looked through again
  return { py, engine: found, name };
})();

// The build's zip has its files as they are (stored, not deflated): they are put in place without a copy.
function unpack(FS, zip) {
  const view = new DataView(zip.buffer), text = new TextDecoder(), made = new Set();
  let end = zip.length - 22;
  while (view.getUint32(end, true) !== 0x06054b50) end -= 1;
  let at = view.getUint32(end + 16, true);
  for (let left = view.getUint16(end + 10, true); left > 0; left -= 1) {
    const [size, start] = [24, 42].map(n => view.getUint32(at + n, true));
    const [name, extra, words] = [28, 30, 32].map(n => view.getUint16(at + n, true));
    const path = `${SITE}/${text.decode(zip.subarray(at + 46, at + 46 + name))}`, folder = path.slice(0, path.lastIndexOf("/"));
    const from = start + 30 + view.getUint16(start + 26, true) + view.getUint16(start + 28, true);
    if (!made.has(folder)) { FS.mkdirTree(folder); made.add(folder); }
    FS.writeFile(path, zip.subarray(from, from + size), { canOwn: true });
    at += 46 + name + extra + words;
  }
}

const work = {
  ready: async () => { await boot; return true; },
  answer: async request => (await boot).engine.answer(request),
  // Both ways the photos travel as [hash, ArrayBuffer].
  pack: async ({ call, photos }) => {
    const { py, name } = await boot;
    const given = py.toPy(new Map(photos.map(([hash, data]) => [hash, new Uint8Array(data)])));
    const made = name("humclick.web.parcel").pack_tables(call, given);
    try { return made.toJs(); } finally { made.destroy(); given.destroy(); }
  },
  recording: async ({ data, asked }) => {
    const { py, name } = await boot;
    const given = py.toPy(new Uint8Array(data));
    try { return JSON.parse(name("humclick.web.listening").recording_json(given, asked)); } finally { given.destroy(); }
  },
  unpack: async data => {
    const { py, name } = await boot;
    const given = py.toPy(new Uint8Array(data));
    const found = name("humclick.web.parcel").unpack_tables(given);
    try {
      const [text, photos] = found.toJs({ dict_converter: entries => [...entries] });
      return { call: JSON.parse(text), photos };
    } finally { found.destroy(); given.destroy(); }
  },
};

addEventListener("message", async ({ data: { id, what, given } }) => {
  try {
    postMessage({ id, found: await work[what](given) });
  } catch (error) {
    postMessage({ id, error: String(error?.message ?? error).trim().split("\n").pop() });
  }
});
