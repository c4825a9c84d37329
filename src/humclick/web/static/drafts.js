// What is typed and not yet sent: kept on this device field by field, put back where it was typed, and never left in
// silence. It goes only when the form that holds it was taken.
const formsIn = root => [...root.querySelectorAll("form[method=post]")];
const chosen = field => field.type === "radio" || field.type === "checkbox";
const fieldsOf = form => [...form.elements].filter(field => field.name && field.matches("input, textarea, select")
  && !["hidden", "password", "submit"].includes(field.type) && !field.dataset.filter);

// A form is known by where it goes, what it is about, and which of several alike it is.
function nameOf(form) {
  const about = ["probe", "sha256", "arrangement"].map(name => form.elements[name]?.value ?? "").join(" ");
  const action = form.getAttribute("action");
  const alike = formsIn(form.closest("main") ?? document).filter(each => each.getAttribute("action") === action);
  return JSON.stringify([action, about.trim(), alike.indexOf(form)]);
}
const keyOf = (form, field) => JSON.stringify([nameOf(form), field.name, chosen(field) ? field.value : ""]);

function changed(field) {
  if (field.type === "file") return field.files.length > 0;
  if (chosen(field)) return field.checked !== field.defaultChecked;
  if (field.tagName !== "SELECT") return field.value !== field.defaultValue;
  const first = Math.max(0, [...field.options].findIndex(option => option.defaultSelected));
  return field.selectedIndex !== first;
}

const here = new Map(); // where the browser keeps nothing, the page does
const place = path => `draft ${path}`;

function read(path) {
  try {
    const kept = JSON.parse(localStorage.getItem(place(path)) ?? "null");
    return kept && !("action" in kept) ? kept : here.get(path) ?? {};
  } catch { return here.get(path) ?? {}; }
}

function write(path, drafts) {
  here.set(path, drafts);
  try {
    if (Object.keys(drafts).length) localStorage.setItem(place(path), JSON.stringify(drafts));
    else localStorage.removeItem(place(path));
  } catch { /* a full store must not stop the typing */ }
}

// Something was typed or chosen: kept at once.
export function typed(field, path) {
  const form = field.form;
  if (!form || !fieldsOf(form).includes(field) || field.type === "file") return;
  const drafts = read(path);
  for (const each of fieldsOf(form).filter(other => other.name === field.name)) {
    const key = keyOf(form, each);
    if (changed(each)) drafts[key] = chosen(each) ? each.checked : each.value;
    else delete drafts[key];
  }
  write(path, drafts);
}

// What was typed on a page before stands in it again.
export function putBack(main, path) {
  const drafts = read(path);
  for (const form of formsIn(main)) {
    for (const field of fieldsOf(form)) {
      const kept = drafts[keyOf(form, field)];
      if (kept === undefined) continue;
      if (chosen(field)) field.checked = kept; else field.value = kept;
      field.closest("details")?.setAttribute("open", "");
    }
  }
}

// The form was taken: what it held is kept for good.
export function taken(form, path) {
  const name = nameOf(form), drafts = read(path);
  for (const key of Object.keys(drafts)) if (JSON.parse(key)[0] === name) delete drafts[key];
  write(path, drafts);
}

// What stands typed in a page and was not taken: by its place, what a reader calls it.
export function pending(main, path) {
  const drafts = read(path), found = new Map();
  for (const form of formsIn(main)) {
    for (const field of fieldsOf(form)) {
      const key = keyOf(form, field), file = field.type === "file" && field.files.length > 0;
      if (!file && !(key in drafts)) continue;
      if (field.type === "radio" || field.tagName === "SELECT") continue; // put back, and no text
      const label = field.labels?.[0]?.textContent.trim() || field.name;
      const said = file ? field.files[0].name : field.type === "checkbox" ? "" : field.value.trim();
      if (file || said || field.type === "checkbox") found.set(key, said ? `${label} “${said.slice(0, 60)}”` : label);
    }
  }
  return found;
}
