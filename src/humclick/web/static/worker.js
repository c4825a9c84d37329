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
  py.unpackArchive(await engine, "zip", { extractDir: SITE });
  const name = module => py.pyimport(module);
  return { py, engine: name("humclick.web.engine"), name };
})();

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
