// The way to Python in its worker.
const waiting = new Map();
let worker, last = 0;

export let isReady = false;
let said;
export const ready = new Promise(resolve => { said = resolve; });

export function start() {
  worker = new Worker(new URL("worker.js", import.meta.url), { type: "module" });
  worker.addEventListener("message", ({ data: { id, found, error } }) => {
    const { resolve, reject } = waiting.get(id) ?? {};
    waiting.delete(id);
    if (error === undefined) resolve?.(found); else reject?.(new Error(error));
  });
  worker.addEventListener("error", event => {
    for (const { reject } of waiting.values()) reject(new Error(event.message || "the worker ended"));
    waiting.clear();
  });
  const asked = ask("ready");
  asked.then(() => { isReady = true; said(); }, () => undefined);
  return asked;
}

export function ask(what, given, transfer = []) {
  return new Promise((resolve, reject) => {
    waiting.set(++last, { resolve, reject });
    worker.postMessage({ id: last, what, given }, transfer);
  });
}

export const answer = async request => JSON.parse(await ask("answer", JSON.stringify(request)));
