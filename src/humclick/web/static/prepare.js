// Has the answers to a form worked out before it is sent: to each of its buttons, and to its field as typed. One
// at a time, so that what is really asked never waits for more than one; nothing is kept.
const REST = 250, TYPED = 100; // milliseconds of quiet before
let timer, waiting = [], busy = false;

export function stop() {
  clearTimeout(timer);
  waiting = [];
}

export function prepare(form, ask) {
  stop();
  if (!form) return;
  const buttons = [...form.querySelectorAll("button[name][value]:not([data-keypad])")];
  timer = setTimeout(() => work(buttons.map(button => () => ask(form, new FormData(form, button)))), REST);
}

export function typed(form, ask) {
  stop();
  if (form.elements.value?.value) timer = setTimeout(() => work([() => ask(form, new FormData(form))]), TYPED);
}

async function work(wanted) {
  waiting = wanted;
  if (busy) return;
  busy = true;
  while (waiting.length) await waiting.shift()().catch(() => undefined);
  busy = false;
}
