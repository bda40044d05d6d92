/* The part for the marks: the button, the numbers to write, the millimetres. */
import { civil, zoneName } from "../shared/civil.js";
import { inUse, pointOf } from "../engine/rows.js";
import { element, made, say, tappedAt, typed } from "./dom.js";
import { nextMark, said } from "./log.js";
import { markRows, shownTime } from "./tables.js";

const FORMS = {
  xy: { columns: ["x_mm", "y_mm"], names: ["x", "y"], words: ["x right of the foot, mm", "y up the sheet, mm"] },
  polar: {
    columns: ["length_mm", "angle_deg"],
    names: ["length", "direction"],
    words: ["length from the foot, mm", "direction clockwise from +y, degrees"],
  },
};

export function startMarking(field) {
  const { table, store } = field;
  let reminded = 0;
  let awake = null;
  let sound = null;

  element("mark-button").addEventListener("click", mark);
  element("undo").addEventListener("click", undo);
  element("form-of-marks").addEventListener("change", () => field.refresh());
  element("remind").addEventListener("change", () => sayNext());
  document.addEventListener("visibilitychange", stayAwake);

  /* The instant is the tap's own: a page at work on a doubtful board hears of it later. */
  function mark(event) {
    const at = Math.round(tappedAt(event) / 100) * 100;
    if (!field.setup) {
      say("mark-says", "Start a set-up first (Board).");
      return;
    }
    const name = nextMark(field.setup);
    store.add("mark", { setup: field.setup.setup, mark: name }, at);
    reminded = at;
    say("mark-says", `Write ${name} beside it. ${shownTime(place(), at)}`);
    if (navigator.vibrate) navigator.vibrate(60);
    prepareSound();
    stayAwake();
    field.refresh();
  }

  const place = () => table.sites.find((each) => each.site === field.setup.fields.site);

  function undo() {
    const { last } = field.log;
    if (!last) {
      say("mark-says", "There is nothing to undo.");
      return;
    }
    store.add("undo", { target: last.id });
    say("mark-says", `Undone: ${said(last)}.`);
    field.refresh(true);
  }

  // Reminding and staying awake --------------------------------------------------------------

  function prepareSound() {
    const Sound = window.AudioContext || window.webkitAudioContext;
    if (!sound && Sound) sound = new Sound();
  }

  function beep() {
    if (navigator.vibrate) navigator.vibrate([300, 150, 300]);
    if (!sound) return;
    const tone = sound.createOscillator();
    tone.frequency.value = 880;
    tone.connect(sound.destination);
    tone.start();
    tone.stop(sound.currentTime + 0.6);
  }

  function stayAwake() {
    if (!("wakeLock" in navigator) || document.visibilityState !== "visible" || !field.setup) return;
    if (awake && !awake.released) return;
    navigator.wakeLock.request("screen").then((lock) => { awake = lock; }, () => {});
  }

  function sayNext() {
    const every = Number(element("remind").value) * 60000;
    const marks = field.setup ? field.setup.marks : [];
    if (!every || !marks.length) {
      say("remind-says", "");
      return;
    }
    const due = Math.max(...marks.map(({ at }) => at)) + every;
    const left = Math.ceil((due - Date.now()) / 60000);
    say("remind-says", left > 0 ? `Next mark in ${left} min.` : "A mark is due.");
    if (Date.now() >= due && reminded < due && Date.now() - due < every) {
      reminded = Date.now();
      beep();
    }
  }

  // The table --------------------------------------------------------------------------------

  function rowOf(row, shown) {
    const out = !inUse(row);
    return made("tr", { class: out ? "struck" : "", "data-mark": row.mark },
      made("th", { scope: "row" }, row.mark),
      made("td", {}, cell(row, "time", `Time of mark ${row.mark}`, String(row.time), "time-cell")),
      shown.columns.map((column, n) =>
        made("td", {}, cell(row, column, `Mark ${row.mark}: ${shown.words[n]}`, valueOf(row, column)))),
      made("td", {}, made("button", {
        type: "button",
        "aria-label": out ? `Take mark ${row.mark} in again` : `Strike out mark ${row.mark}`,
        onclick: () => change(row.mark, { use: out ? "yes" : "no" }),
      }, out ? "↩" : "✕")));
  }

  function cell(row, column, label, value, style = "") {
    return made("input", {
      type: "text",
      inputmode: column === "time" ? "text" : "decimal",
      autocomplete: "off",
      "aria-label": label,
      class: style,
      value,
      "data-column": column,
      onchange: (event) => entered(event.target, row, column),
    });
  }

  /* A place given in one form is shown in the other too. */
  function valueOf(row, column) {
    if (row[column] !== undefined && row[column] !== "") return String(row[column]);
    const { x, y } = pointOf(row);
    if (!Number.isFinite(x) || !Number.isFinite(y)) return "";
    const other = {
      x_mm: x, y_mm: y, length_mm: Math.hypot(x, y),
      angle_deg: (Math.atan2(x, y) * 180 / Math.PI + 360) % 360,
    };
    return (Math.round(other[column] * 100) / 100).toString();
  }

  function entered(input, row, column) {
    input.setAttribute("aria-invalid", "false");
    if (column === "time") {
      const fine = /^([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?$/.test(input.value.trim());
      if (fine) change(row.mark, { time: input.value.trim() });
      else refuse(input, `Time of mark ${row.mark}: HH:MM:SS of the 24-hour clock.`);
      return;
    }
    const value = typed(input.value);
    const [low, high] = table.limits[column];
    if (value !== null && !(value >= low && value <= high)) {
      refuse(input, `Mark ${row.mark}, ${column}: a number from ${low} to ${high}.`);
      return;
    }
    change(row.mark, placed(row, column, value === null ? "" : value));
  }

  function refuse(input, text) {
    input.setAttribute("aria-invalid", "true");
    say("mark-says", text);
  }

  /* A place stands in the table in one form: writing in one clears the other. */
  function placed(row, column, value) {
    const shown = FORMS[element("form-of-marks").value];
    const other = Object.values(FORMS).find((form) => form !== shown);
    const fields = { [column]: value, ...Object.fromEntries(other.columns.map((name) => [name, ""])) };
    const partner = shown.columns.find((name) => name !== column);
    if (other.columns.some((name) => row[name] !== undefined && row[name] !== "")) {
      fields[partner] = Number(valueOf(row, partner));
    }
    return fields;
  }

  function change(name, fields) {
    store.add("place", { setup: field.setup.setup, mark: name, fields });
    field.refresh();
  }

  function refreshRows() {
    const shown = FORMS[element("form-of-marks").value];
    say("first-name", shown.names[0]);
    say("second-name", shown.names[1]);
    const rows = field.setup ? markRows(place(), field.setup).reverse() : [];
    const held = document.activeElement;
    const key = held && held.dataset && held.dataset.column
      ? [held.closest("tr").dataset.mark, held.dataset.column] : null;
    element("mark-rows").replaceChildren(...rows.map((row) => rowOf(row, shown)));
    if (key) {
      const again = [...element("mark-rows").querySelectorAll("input")].find((input) =>
        input.closest("tr").dataset.mark === key[0] && input.dataset.column === key[1]);
      if (again) again.focus();
    }
  }

  return {
    refresh() {
      element("mark-button").disabled = !field.setup;
      say("mark-board", field.setup ? `${field.setup.setup} · ${zoneName(place(), Date.now() / 1000)}`
        : "Start a set-up first (Board).");
      element("mark-button").textContent = field.setup ? `MARK ${nextMark(field.setup)}` : "MARK";
      refreshRows();
      sayNext();
    },
    tick() {
      if (field.setup) say("clock-now", civil(place(), Date.now() / 1000).slice(11, 19));
      sayNext();
    },
  };
}
