// What the script itself has to say, in the page's language; the words come from the same catalogue as the pages.
import words from "./words.js";

export function say(key, values = {}) {
  const own = words[document.documentElement.lang] ?? words.en;
  return Object.entries(values).reduce((text, [name, value]) => text.replaceAll(`{${name}}`, value), own[key] ?? key);
}

function place() {
  let found = document.getElementById("notices");
  if (!found) {
    found = document.createElement("div");
    found.id = "notices";
    found.className = "notices";
    found.setAttribute("role", "status");
    document.querySelector("main").before(found);
  }
  return found;
}

// Shown until it is put away; a second one of the same key takes its place. `stays` has no button; `go` leads on, and
// `read` hears that it was read.
export function notice(key, values, { stays = false, go, goes, read } = {}) {
  drop(key);
  const box = document.createElement("p");
  box.className = "notice";
  box.dataset.notice = key;
  box.append(say(key, values));
  if (go) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.go = "";
    button.textContent = say(goes);
    button.addEventListener("click", go);
    box.append(" ", button);
  }
  if (!stays) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = say("understood");
    button.addEventListener("click", () => { box.remove(); read?.(); });
    box.append(" ", button);
  }
  place().append(box);
}

// As a notice, of several lines and with its own buttons; without lines it is taken away.
export function box(key, lines, actions) {
  const old = document.querySelector(`#notices [data-notice="${key}"]`), text = JSON.stringify(lines);
  if ((old?.dataset.text ?? "[]") === text) return;
  old?.remove();
  if (!lines.length) return;
  const made = document.createElement("div");
  made.className = "notice";
  Object.assign(made.dataset, { notice: key, text });
  for (const line of lines) made.append(Object.assign(document.createElement("p"), { textContent: line }));
  for (const [label, act] of actions) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: label });
    button.addEventListener("click", () => { made.remove(); act(); });
    made.append(button);
  }
  place().append(made);
}

export function drop(key) {
  document.querySelector(`#notices [data-notice="${key}"]`)?.remove();
}

export function announce(text) {
  const region = document.getElementById("announce");
  if (region && text) { region.textContent = ""; setTimeout(() => { region.textContent = text; }, 50); }
}
