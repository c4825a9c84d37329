// Where this phone and its server stand: one line on every page, and what the server would not take.
import { box, say } from "./notices.js";

const line = () => document.querySelector("#standing p"), more = () => document.querySelector("#standing button");
const clock = at => new Date(at).toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
const counted = (key, n) => (n ? say(n === 1 ? `${key}-one` : key, { n }) : "");
const waits = entry => !entry.refused && !entry.aside, refused = entry => entry.refused && !entry.aside;

// `entries` are those of the outbox, `server` what the last round came to, `at` when the server was reached last.
export function stand(entries, server, at, what) {
  const waiting = entries.filter(waits).length, not = entries.filter(refused), aside = entries.filter(entry => entry.aside);
  const root = document.documentElement.dataset;
  Object.assign(root, { waiting, refused: not.length, aside: aside.length, server: server.reached ? "reached" : "away" });
  const well = server.reached && !server.trouble, away = !server.reached && !server.fresh && (!server.trouble || server.trouble === "away");
  const said = [
    waiting ? counted("to-send", waiting) : well && !not.length ? say("all-sent") : "",
    counted("not-taken", not.length),
    server.trouble && !away ? say(`server-${server.trouble}`) : "",
    away && !at ? say("server-away") : "",
  ];
  const time = at && (well || away || server.trouble === "offline") ? say(away ? "server-last" : "server-at", { at: clock(at) }) : "";
  put(said.filter(Boolean).join(" · "), time, well);
  more().hidden = !aside.length;
  more().textContent = counted("aside", aside.length);
  more().onclick = () => ask("aside", aside, what, ["send-again"]);
  ask("refused", not, what, ["send-again", "set-aside"]);
}

// Only a change is read out; that the server still answers is none.
function put(text, reached, well) {
  const p = line(), time = document.createElement("span");
  if (p.firstChild?.textContent !== text || p.dataset.well !== String(well)) p.replaceChildren(text, time);
  p.dataset.well = String(well);
  p.lastChild.replaceWith(time);
  if (well) time.setAttribute("aria-hidden", "true");
  time.textContent = reached && (text ? ` · ${reached}` : reached);
}

const FEW = 3;
const named = ({ table, entry }) => [table?.kind ?? "photo", table?.probe ?? table?.part ?? table?.gate, table?.value ?? table?.text ?? table?.words]
  .filter(Boolean).join(" ") + (entry.refused ? `: ${entry.refused}` : "");

// What was refused, or put away, with what can be done about it.
async function ask(key, entries, what, buttons) {
  const shown = await Promise.all(entries.slice(0, FEW).map(async entry => ({ entry, table: await what.table(entry) })));
  const rest = entries.length > FEW ? [`+ ${entries.length - FEW}`] : [];
  const actions = buttons.map(name => [say(name), () => what[name](entries.map(entry => entry.key))]);
  box(key, entries.length ? [counted(`${key}-box`, entries.length), ...shown.map(named), ...rest] : [], actions);
}
