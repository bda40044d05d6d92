/* From the log to rows of the campaign's tables, and the one file that carries everything home. */
import { civil } from "../shared/civil.js";
import { clockAt, settingsBefore } from "./timesignal.js";

export const FORMAT = "orient field log";
export const VERSION = 1;

const blank = (value) => value === undefined || value === null || value === "";
const filled = (row) => Object.fromEntries(Object.entries(row).filter(([, value]) => !blank(value)));

/* A telephone's name among the watches: once its clock was set it is another. */
function timepieceAt(log, name, at) {
  const setting = settingsBefore(log.steps, at);
  return setting ? `${name} set ${setting}` : name;
}

/* The watch as the set-up's row states it: as the crew entered it, by its comparisons, or assumed.
   With a name it is one of the tables' watches, known at noon by all its comparisons. */
export function watchOf(table, log, setup) {
  const { watch, watch_error_s: error, watch_sd_s: sd, network, timepiece } = setup.fields;
  if (watch === "none") return {};
  if (!blank(sd)) return { watch_error_s: blank(error) ? 0 : error, watch_sd_s: sd };
  const named = !blank(timepiece);
  const at = middleOf(table, setup);
  const { compared, error_s: known, sd_s: knownSd } = clockAt(log, at, network, named);
  const stated = { watch_error_s: known, watch_sd_s: knownSd };
  if (!named) return stated;
  return { ...stated, timepiece: timepieceAt(log, timepiece, at), ...(compared && { watch: "trusted" }) };
}

/* Noon of the set-up's day, ms. */
function middleOf(table, { at, fields: { site, date } }) {
  const place = table.sites.find((each) => each.site === site);
  const day = place && place.days[date];
  return day ? 1000 * day.noon : at;
}

/* The clock's comparisons under each name that the telephone was given, a row each. */
function watchRows(table, log) {
  const named = new Map();
  for (const { fields } of log.setups) {
    if (!blank(fields.timepiece) && !named.has(fields.timepiece)) named.set(fields.timepiece, fields.site);
  }
  return [...named].flatMap(([name, site]) => {
    const place = table.sites.find((each) => each.site === site);
    return !place ? [] : log.comparisons.map(({ at, error_s: error, sd_s: sd }) => ({
      timepiece: timepieceAt(log, name, at),
      date: civil(place, at / 1000).slice(0, 10),
      time: civil(place, at / 1000).slice(11, 19),
      error_s: error,
      sd_s: sd,
    }));
  });
}

/* The circular mean of compass readings, degrees; null without any. */
export function meanReading(readings) {
  if (!readings.length) return null;
  const part = (of) => readings.reduce((total, { degrees }) => total + of(degrees * Math.PI / 180), 0);
  const mean = Math.atan2(part(Math.sin), part(Math.cos)) * 180 / Math.PI;
  return Math.round(((mean + 360) % 360) * 100) / 100;
}

export function setupRow(table, log, setup) {
  const { network: _, ...fields } = setup.fields;
  return filled({
    setup: setup.setup,
    ...fields,
    ...watchOf(table, log, setup),
    compass_reading_deg: meanReading(setup.readings),
  });
}

/* What the telephone showed when a mark was made, by the site's clock, to a tenth. */
export const shownTime = (place, at) => civil(place, Math.round(at / 100) / 10).slice(11, 21);

/* Compass readings toward the set-up's line, a row each. */
export function readingRows(place, { setup, fields, readings }) {
  return readings.map(({ id, degrees, at }) => filled({
    reading: id,
    site: fields.site,
    date: civil(place, at / 1000).slice(0, 10),
    time: civil(place, at / 1000).slice(11, 16),
    compass: fields.compass,
    observer: fields.observer,
    target: blank(fields.reference_name) ? `reference of ${setup}` : fields.reference_name,
    reading_deg: degrees,
  }));
}

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
    setup: setupRow(table, log, setup),
    marks: place ? markRows(place, setup).filter(isPlaced) : [],
  };
}

/* Everything as one file. A mark that was never measured cannot stand in the table: it stays with
   the entries, and `unmeasured` names it. */
export function fileOf(table, log, entries, nowMs) {
  const tables = { setups: [], marks: [], readings: [], watches: watchRows(table, log) };
  const unmeasured = [];
  for (const setup of log.setups) {
    const { setup: row, marks } = rowsOf(table, log, setup);
    // Each compass reading has a row of its own: none stands with the set-up too.
    const { compass_reading_deg: _, ...own } = row;
    tables.setups.push(own);
    tables.marks.push(...marks);
    const place = table.sites.find((each) => each.site === setup.fields.site);
    if (place) tables.readings.push(...readingRows(place, setup));
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
