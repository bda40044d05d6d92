/* From the log to rows of the campaign's tables, and the one file that carries everything home. */
import { civil } from "../shared/civil.js";
import { clockAt } from "./timesignal.js";

export const FORMAT = "orient field log";
export const VERSION = 1;

const blank = (value) => value === undefined || value === null || value === "";
const filled = (row) => Object.fromEntries(Object.entries(row).filter(([, value]) => !blank(value)));

/* The watch as the set-up's row states it: compared, assumed, or as the crew entered it. */
export function watchOf(log, setup) {
  const { watch, watch_error_s: error, watch_sd_s: sd, network } = setup.fields;
  if (watch === "none") return {};
  if (!blank(sd)) return { watch_error_s: blank(error) ? 0 : error, watch_sd_s: sd };
  const instants = setup.marks.map(({ at }) => at);
  const middle = instants.length ? (Math.min(...instants) + Math.max(...instants)) / 2 : setup.at;
  const known = clockAt(log.comparisons, log.steps, middle, network);
  return { watch_error_s: known.error_s, watch_sd_s: known.sd_s };
}

/* The circular mean of compass readings, degrees; null without any. */
export function meanReading(readings) {
  if (!readings.length) return null;
  const part = (of) => readings.reduce((total, { degrees }) => total + of(degrees * Math.PI / 180), 0);
  const mean = Math.atan2(part(Math.sin), part(Math.cos)) * 180 / Math.PI;
  return Math.round(((mean + 360) % 360) * 100) / 100;
}

export function setupRow(log, setup) {
  const { network: _, ...fields } = setup.fields;
  return filled({
    setup: setup.setup,
    ...fields,
    ...watchOf(log, setup),
    compass_reading_deg: meanReading(setup.readings),
  });
}

/* What the telephone showed when a mark was made, by the site's clock, to a tenth. */
export const shownTime = (place, at) => civil(place, Math.round(at / 100) / 10).slice(11, 21);

const PLACES = ["x_mm", "y_mm", "length_mm", "angle_deg"];

export function markRows(place, setup) {
  return setup.marks.map(({ mark, at, fields }) =>
    filled({ setup: setup.setup, mark, time: shownTime(place, at), ...fields }));
}

const isPlaced = (row) => PLACES.filter((name) => !blank(row[name])).length >= 2;

/* Rows of a set-up as `orient.reduce` takes them. */
export function rowsOf(table, log, setup) {
  const place = table.sites.find((each) => each.site === setup.fields.site);
  return {
    site: { site: setup.fields.site },
    setup: setupRow(log, setup),
    marks: place ? markRows(place, setup).filter(isPlaced) : [],
  };
}

/* Everything as one file. A mark that was never measured cannot stand in the table: it stays with
   the entries, and `unmeasured` names it. */
export function fileOf(table, log, entries, nowMs) {
  const tables = { setups: [], marks: [] };
  const unmeasured = [];
  for (const setup of log.setups) {
    const { setup: row, marks } = rowsOf(table, log, setup);
    tables.setups.push(row);
    tables.marks.push(...marks);
    const placed = new Set(marks.map(({ mark }) => mark));
    unmeasured.push(...setup.marks.filter(({ mark }) => !placed.has(mark))
      .map(({ mark }) => ({ setup: setup.setup, mark })));
  }
  return {
    format: FORMAT,
    version: VERSION,
    campaign: table.campaign,
    made_utc: new Date(nowMs).toISOString(),
    tables,
    unmeasured,
    entries,
  };
}

export function fileName(table, nowMs) {
  const stamp = new Date(nowMs).toISOString().replace(/[-:]/g, "").slice(0, 15);
  return `${table.campaign.replace(/[^\p{L}\p{N}]+/gu, "-") || "log"}-${stamp}Z.json`;
}
