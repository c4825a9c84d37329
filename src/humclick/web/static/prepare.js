// Has the answers to a form worked out before it is sent: to each of its buttons, and to its field as typed; and
// a page before its link is tapped. One at a time, so that what is really asked never waits for more than one;
// nothing is kept.
const REST = 250, TYPED = 100; // milliseconds of quiet before
let timer, waiting = [], busy = false;

export function stop() {
  clearTimeout(timer);
  waiting = [];
}

export function prepare(elements, ask) {
  stop();
  const wanted = [];
  for (const form of elements) {
    if (form.matches("a")) { wanted.push(() => ask(form)); continue; }
    const buttons = [...form.querySelectorAll("button[name][value]:not([data-keypad])")];
    if (buttons.length) wanted.push(...buttons.map(button => () => ask(form, new FormData(form, button))));
    else if (!form.querySelector("[data-keypad]")) wanted.push(() => ask(form, new FormData(form)));
  }
  if (wanted.length) timer = setTimeout(() => work(wanted), REST);
}

export function typed(form, ask) {
  stop();
  if ([...form.elements].some(field => field.type === "text" && field.value)) timer = setTimeout(() => work([() => ask(form, new FormData(form))]), TYPED);
}

async function work(wanted) {
  waiting = wanted;
  if (busy) return;
  busy = true;
  while (waiting.length) await waiting.shift()().catch(() => undefined);
  busy = false;
}
