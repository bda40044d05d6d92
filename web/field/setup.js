/* The part for the board: starting a set-up, and its closing sight. */
import { civil } from "../shared/civil.js";
import { closingSight } from "../engine/lookout.js";
import { lineOf } from "../engine/line.js";
import { element, made, say, typed } from "./dom.js";
import { setupRow } from "./tables.js";

/* Fields of the form and the columns that they fill: text, or a number. */
const TEXTS = {
  "f-site": "site", "f-date": "date", "f-reference-name": "reference_name", "f-network": "network",
  "f-timepiece": "timepiece", "f-rod": "rod", "f-level": "level", "f-compass": "compass",
  "f-observer": "observer", "f-watch": "watch", "f-edge": "edge", "f-turned": "turned",
};
const NUMBERS = {
  "f-reference-x": "reference_x_mm", "f-reference-y": "reference_y_mm",
  "f-reference-angle": "reference_angle_deg", "f-mark-sd": "mark_sd_mm",
  "f-plumb-sd": "plumb_sd_mm", "f-level-sd": "level_sd_deg",
};
const CLOSING = {
  "f-close-x": "reference_close_x_mm", "f-close-y": "reference_close_y_mm",
  "f-close-angle": "reference_close_deg",
};
/* Two measurements of one rod that differ by more are worth a third. */
const HEIGHTS_APART_MM = 2;

export function startSetup(field) {
  const { table, store } = field;

  element("f-site").addEventListener("change", () => freshName());
  element("f-date").addEventListener("change", () => freshName());
  element("nearest").addEventListener("click", nearest);
  element("in-hand").addEventListener("change", () => field.take(element("in-hand").value));
  for (const id of ["f-height", "f-height-again"]) element(id).addEventListener("input", sayHeight);
  element("setup-form").addEventListener("submit", (event) => {
    event.preventDefault();
    save();
  });
  element("closing-form").addEventListener("submit", (event) => {
    event.preventDefault();
    saveClosing();
  });
  if (!("geolocation" in navigator)) element("nearest").disabled = true;
  freshDate();
  freshName();

  function freshDate() {
    const place = chosenSite();
    const today = civil(place, Date.now() / 1000).slice(0, 10);
    element("f-date").value = today in place.days ? today : Object.keys(place.days)[0];
  }

  function chosenSite() {
    return table.sites.find((each) => each.site === element("f-site").value);
  }

  /* A name that no set-up of the log has: the site, the day, a number. */
  function freshName() {
    const taken = new Set(field.log.setups.map(({ setup }) => setup));
    const stem = `${element("f-site").value} ${element("f-date").value.slice(5)}`;
    let number = 1;
    while (taken.has(`${stem} ${store.tab.slice(0, 2)}${number}`)) number += 1;
    element("f-setup").value = `${stem} ${store.tab.slice(0, 2)}${number}`;
  }

  function nearest() {
    say("nearest-says", "Asking the telephone for its position …");
    navigator.geolocation.getCurrentPosition(({ coords }) => {
      const found = nearestOf(table.sites, coords);
      element("f-site").value = found.site;
      freshName();
      const far = found.away < 1000 ? `${found.away.toFixed(0)} m` : `${(found.away / 1000).toFixed(1)} km`;
      say("nearest-says", `${found.site} is nearest, ${far} away (position good to ${coords.accuracy.toFixed(0)} m).`);
    }, () => say("nearest-says", "The telephone gives no position here: choose the site."),
    { timeout: 15000, maximumAge: 60000 });
  }

  function sayHeight() {
    const { height, apart } = heights();
    if (!Number.isFinite(height) || apart === null) say("height-says", "");
    else if (apart > HEIGHTS_APART_MM) say("height-says", `They differ by ${apart.toFixed(1)} mm: measure a third time.`);
    else say("height-says", `Height ${height.toFixed(1)} mm.`);
  }

  function heights() {
    const [first, second] = ["f-height", "f-height-again"].map((id) => typed(element(id).value));
    if (first === null || second === null) return { height: first === null ? second : first, apart: null };
    return { height: (first + second) / 2, apart: Math.abs(first - second) };
  }

  function save() {
    const { fields, faults } = read();
    const name = element("setup-form").dataset.amends || element("f-setup").value.trim();
    if (!name) faults.push("Name of this set-up: it needs one.");
    if (!element("setup-form").dataset.amends && field.log.setups.some(({ setup }) => setup === name)) {
      faults.push(`Name of this set-up: ${name} is taken.`);
    }
    tell("setup-faults", faults);
    if (faults.length) return;
    store.add("setup", { setup: name, fields });
    field.take(name);
    field.show("marks");
  }

  function read() {
    const faults = [];
    const fields = {};
    for (const [id, column] of Object.entries(TEXTS)) fields[column] = element(id).value.trim();
    for (const [id, column] of Object.entries(NUMBERS)) readNumber(id, column, fields, faults);
    const { height, apart } = heights();
    const [low, high] = table.limits.gnomon_height_mm;
    if (height === null || !(height >= low && height <= high)) {
      faults.push(`Rod’s height: a number from ${low} to ${high} mm.`);
    } else {
      fields.gnomon_height_mm = Math.round(height * 100) / 100;
      if (apart !== null) {
        fields.height_sd_mm = Math.max(table.tolerances.height_sd_mm, Math.round(apart * 50) / 100);
      }
    }
    checkPoint("reference_x_mm", "reference_y_mm", fields, faults);
    return { fields, faults };
  }

  function readNumber(id, column, fields, faults) {
    const value = typed(element(id).value);
    const [low, high] = table.limits[column] || [-Infinity, Infinity];
    fields[column] = value === null ? "" : value;
    if (value !== null && !(value >= low && value <= high)) {
      faults.push(`${element(id).labels[0].firstChild.textContent.trim()}: a number from ${low} to ${high}.`);
    }
  }

  function checkPoint(x, y, fields, faults) {
    if ((fields[x] === "") !== (fields[y] === "")) faults.push("A point on the line needs both x and y.");
    if (fields[x] === 0 && fields[y] === 0) faults.push("The point on the line must be away from the foot.");
  }

  function saveClosing() {
    const faults = [];
    const fields = {};
    for (const [id, column] of Object.entries(CLOSING)) readNumber(id, column, fields, faults);
    checkPoint("reference_close_x_mm", "reference_close_y_mm", fields, faults);
    const given = Object.values(fields).some((value) => value !== "");
    if (!field.setup) faults.push("Start a set-up first.");
    else if (!given) faults.push("Enter a point on the line, or its angle.");
    else if (!Number.isFinite(lineOf(table, setupRow(table, field.log, field.setup)).angle)) {
      faults.push("This set-up has no first sight to compare with.");
    }
    if (faults.length) {
      say("closing-says", faults.join(" "));
      return;
    }
    store.add("setup", { setup: field.setup.setup, fields });
    field.refresh();
  }

  return {
    refresh() {
      const select = element("in-hand");
      const names = field.log.setups.map(({ setup }) => setup);
      select.replaceChildren(made("option", { value: "" }, names.length ? "a new set-up" : "none yet"),
        ...names.map((name) => made("option", { value: name, dir: "auto" }, name)));
      select.value = field.setup ? field.setup.setup : "";
      fill();
      sayClosing();
    },
  };

  /* The form shows the set-up in hand, to be corrected, or stands ready for a new one. */
  function fill() {
    const { setup } = field;
    const form = element("setup-form");
    const amends = setup ? setup.setup : "";
    element("save-setup").textContent = setup ? "Keep the changes" : "Start this set-up";
    element("f-setup").disabled = Boolean(setup);
    element("closing-form").hidden = !setup;
    say("in-hand-says", setup ? `${setup.marks.length} marks. What you change below is kept for it.` : "");
    if (form.dataset.amends === amends) return;
    form.dataset.amends = amends;
    for (const [id, column] of Object.entries({ ...TEXTS, ...NUMBERS, ...CLOSING })) {
      const value = setup ? setup.fields[column] : undefined;
      if (element(id).tagName === "SELECT" && value === undefined) element(id).selectedIndex = 0;
      else if (id !== "f-date" || value) element(id).value = value === undefined ? "" : value;
    }
    element("f-height").value = setup ? setup.fields.gnomon_height_mm : "";
    element("f-height-again").value = "";
    if (setup) element("f-setup").value = setup.setup;
    else {
      freshDate();
      freshName();
    }
  }

  function sayClosing() {
    if (!field.setup) return;
    const line = lineOf(table, setupRow(table, field.log, field.setup));
    const found = closingSight(line);
    if (found) say("closing-says", found.text);
    else if (Number.isFinite(line.closeAngle)) say("closing-says", "It agrees with the first sight: the board has not turned.");
    else say("closing-says", "");
  }
}

/* The site nearest to a position, and how far it is in metres (a sphere will do for choosing). */
export function nearestOf(sites, { latitude, longitude }) {
  const rad = Math.PI / 180;
  const away = ({ latitude_deg: lat, longitude_deg: lon }) => {
    const half = Math.sin((lat - latitude) * rad / 2) ** 2 + Math.cos(lat * rad) * Math.cos(latitude * rad)
      * Math.sin((lon - longitude) * rad / 2) ** 2;
    return 2 * 6371000 * Math.asin(Math.min(1, Math.sqrt(half)));
  };
  return sites.map((site) => ({ site: site.site, away: away(site) }))
    .reduce((best, each) => (each.away < best.away ? each : best));
}

function tell(id, faults) {
  element(id).hidden = !faults.length;
  element(id).textContent = faults.join(" ");
}
