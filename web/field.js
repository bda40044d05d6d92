/* The script of the field page: the log and its parts. `orient` is for tests and tools: `reduce`
   takes rows with the tables' column names and gives the row of `orient reduce`, `whole` also the
   marks left out and what is told at once. */
import { reduced, whole } from "./engine/reduce.js";
import { element, say } from "./field/dom.js";
import { gathered } from "./field/log.js";
import { startMarking } from "./field/marking.js";
import { startNorth } from "./field/north.js";
import { startSend } from "./field/send.js";
import { startSetup } from "./field/setup.js";
import { Store } from "./field/store.js";
import { startTools } from "./field/tools.js";
import { startPanel } from "./shared/panel.js";

const table = JSON.parse(document.getElementById("table").textContent);
/* A step of the telephone's clock by more than this is worth a word. */
const STEP_MS = 500;

window.orient = {
  reduce: (rows) => reduced(table, rows).row,
  whole: (rows) => whole(table, rows),
};

/* Whether the person has said what is in hand, or is filling the form of a new set-up. */
let begun = false;
const field = {
  table,
  store: new Store(table.campaign, { heard, changed: () => sayKept() }),
  log: null,
  setup: null,
  /* Takes a set-up in hand. */
  take(name) {
    field.chosen = name;
    begun = true;
    refresh();
  },
  show,
  refresh,
};
field.log = gathered(field.store.list());
takeNewest();
const parts = {
  setup: startSetup(field),
  marks: startMarking(field),
  north: startNorth(field),
  tools: startTools(field),
  send: startSend(field),
};

for (const button of document.querySelectorAll("#tabs button")) {
  button.addEventListener("click", () => show(button.dataset.part));
}
element("setup-form").addEventListener("input", () => { begun = true; });
element("look").addEventListener("change", () => { document.documentElement.dataset.look = element("look").value; });
startPanel(table);
show(field.chosen ? "marks" : "setup");
watchClock();
setInterval(() => parts.marks.tick(), 1000);
if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});

function takeNewest() {
  field.chosen = field.log.setups.length ? field.log.setups[field.log.setups.length - 1].setup : "";
}

/* Entries that came after the page stood, from the database or from another tab. */
function heard() {
  field.log = gathered(field.store.list());
  const late = !begun && !field.chosen;
  if (late) takeNewest();
  if (late && field.chosen && !element("part-setup").hidden) show("marks");
  else refresh();
}

function show(name) {
  for (const button of document.querySelectorAll("#tabs button")) {
    if (button.dataset.part === name) button.setAttribute("aria-current", "page");
    else button.removeAttribute("aria-current");
  }
  for (const part of document.querySelectorAll(".part")) part.hidden = part.id !== `part-${name}`;
  window.scrollTo(0, 0);
  refresh();
}

/* Reads the log anew and has every part show it; `afresh` fills the form anew too. */
function refresh(afresh = false) {
  field.log = gathered(field.store.list());
  field.setup = field.log.setups.find(({ setup }) => setup === field.chosen) || null;
  if (afresh) element("setup-form").dataset.amends = "?";
  for (const part of Object.values(parts)) part.refresh();
  sayKept();
}

function sayKept() {
  if (!field.store) return;
  const { trouble, unkept } = field.store;
  const count = field.store.list().length;
  const lost = trouble.local && trouble.database;
  element("alarm").hidden = !(lost || unkept);
  if (lost || unkept) {
    say("alarm", `NOT STORED on this telephone (${trouble.local || trouble.database}). The log is only on this page: `
      + "do not close it, and copy it or save it as a file now (Send).");
    say("kept", "");
  } else {
    const only = trouble.local || trouble.database ? " in one of two places" : "";
    say("kept", count ? `${count} ${count === 1 ? "entry" : "entries"}, stored on this telephone${only}.` : "Every tap is stored on this telephone at once.");
  }
}

/* Notes where the telephone's clock was set while the page was watching. A telephone that sleeps
   stops the page's own count: then the watching begins anew. */
function watchClock() {
  const ahead = () => Date.now() - performance.now();
  let before = ahead();
  document.addEventListener("visibilitychange", () => { before = ahead(); });
  setInterval(() => {
    const by = ahead() - before;
    before = ahead();
    if (Math.abs(by) > STEP_MS && document.visibilityState === "visible") {
      field.store.add("clock", { by_s: Math.round(by / 100) / 10 });
      refresh();
    }
  }, 5000);
}
