// What elements ask for by data- attributes; the list stands in humclick/web/pages/__init__.py.
import { announce, notice, say } from "./notices.js";
import * as sound from "./sound.js";

const clicked = {
  keypad(button) {
    const field = document.getElementById(button.dataset.for);
    if (!field) return;
    const key = button.dataset.keypad;
    const alone = /^[A-Z]{2}/.test(field.value);
    if (key === "⌫") field.value = alone ? "" : field.value.slice(0, -1);
    else if (key === "OL" || alone) field.value = key;
    else field.value += key;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  },
  async share() {
    const text = document.querySelector("main").innerText;
    if (navigator.share) return navigator.share({ title: document.title, text }).catch(() => undefined);
    await navigator.clipboard.writeText(text);
    announce(say("copied"));
  },
  print() { window.print(); },
  async record(button) {
    const field = button.form?.querySelector("input[type=file]");
    const label = button.textContent;
    try {
      const running = await sound.record();
      button.textContent = say("stop");
      button.setAttribute("aria-pressed", "true");
      await Promise.race([running.over, new Promise(resolve => button.addEventListener("click", event => {
        event.stopPropagation();
        resolve();
      }, { once: true }))]);
      const files = new DataTransfer();
      files.items.add(await running.stop());
      if (field) { field.files = files.files; field.dispatchEvent(new Event("change", { bubbles: true })); }
    } catch {
      notice("no-microphone");
    } finally {
      button.textContent = label;
      button.removeAttribute("aria-pressed");
    }
  },
};

document.addEventListener("click", event => {
  const button = event.target.closest("[data-keypad], [data-share], [data-print], [data-record]");
  if (button) {
    const what = Object.keys(clicked).find(name => name in button.dataset);
    if (what === "record" && button.hasAttribute("aria-pressed")) return;
    event.preventDefault();
    clicked[what](button);
    return;
  }
  const picture = event.target.closest("[data-mark]");
  const form = picture && formOf(picture);
  if (form) {
    const box = picture.getBoundingClientRect();
    const place = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    ["x", "y"].forEach((name, n) => {
      if (form.elements[name]) form.elements[name].value = (100 * Math.min(1, Math.max(0, place[n]))).toFixed(1);
    });
    form.dispatchEvent(new Event("marked", { bubbles: true }));
  }
});

document.addEventListener("input", event => {
  const list = event.target.dataset?.filter && document.getElementById(event.target.dataset.filter);
  if (!list) return;
  const wanted = event.target.value.toLocaleLowerCase().split(/\s+/).filter(Boolean);
  for (const entry of list.querySelectorAll("li")) {
    const text = entry.textContent.toLocaleLowerCase();
    entry.hidden = !wanted.every(word => text.includes(word));
  }
});

// Timers know when they end, not how long they have run: a locked screen or a killed browser loses nothing.
function tick() {
  for (const timer of document.querySelectorAll("[data-timer]")) {
    const left = Math.ceil((Date.parse(timer.dataset.timer) - Date.now()) / 1000);
    if (Number.isNaN(left) || timer.classList.contains("over")) continue;
    if (left > 0) {
      timer.textContent = `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
      timer.dataset.ran = "";
    } else {
      timer.classList.add("over");
      timer.textContent = timer.dataset.over ?? "0:00";
      if ("ran" in timer.dataset) { announce(timer.textContent); navigator.vibrate?.([200, 100, 200]); }
    }
  }
}
setInterval(tick, 500);
document.addEventListener("visibilitychange", tick);

// After each change of <main>: what depends on whether this browser can do it.
export function settle(root) {
  const can = { record: isSecureContext && navigator.mediaDevices, share: navigator.share ?? navigator.clipboard };
  for (const [name, able] of Object.entries(can)) {
    for (const each of root.querySelectorAll(`[data-${name}]`)) each.hidden = !able;
  }
  for (const picture of root.querySelectorAll("[data-mark]")) markAgain(picture);
  tick();
}

const formOf = picture => document.getElementById(picture.dataset.mark) ?? picture.closest("form");

// A pin where the tap was, drawn over the picture.
function markAgain(picture) {
  const form = formOf(picture);
  form?.addEventListener("marked", () => {
    let pin = picture.parentElement.querySelector(".mark-new");
    if (!pin) {
      pin = document.createElement("span");
      pin.className = "mark-new";
      picture.after(pin);
    }
    pin.style.left = `${form.elements.x.value}%`;
    pin.style.top = `${form.elements.y.value}%`;
  });
}
