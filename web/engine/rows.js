/* From rows of the tables to a board: the columns and what a blank stands for, as
   orient/tables/columns.py and campaign.py have them; the page's table brings the defaults. */
import { AnySun, covers } from "../shared/almanac.js";
import { civilSeconds, instant, offset } from "../shared/civil.js";
import { DEGREE, Sun } from "../shared/sun.js";
import { Board, HALF_DAY_S } from "./board.js";
import { lineOf } from "./line.js";
import { median, turnWithin } from "./matrix.js";

const DAY_S = 2 * HALF_DAY_S;
const WRITTEN_STEPS_S = [1800, 900, 600, 300, 60];
const FEWEST_TIMES = 4;
const suns = new WeakMap();

export class NotHere extends Error {}

/* The place of the page's table that a site's row names, with its sun and the figures of a date. */
export function placeOf(table, site, date) {
  const place = table.sites.find((each) => each.site === site.site);
  if (!place) throw new NotHere(`This page has no site ${JSON.stringify(site.site)}.`);
  for (const name of ["latitude_deg", "longitude_deg"]) {
    if (given(site[name]) && Math.abs(number(site[name]) - place[name]) > 1e-6) {
      throw new NotHere(`This page has site ${site.site} at another ${name}: ${place[name]}.`);
    }
  }
  const day = place.days[date];
  if (!day) throw new NotHere(`This page has no sun for ${date}; it covers ${table.span}.`);
  if (!suns.has(place)) suns.set(place, new Sun(place, table));
  return { place, day, sun: suns.get(place) };
}

export const given = (cell) => cell !== undefined && cell !== null && cell !== "";

/* A cell as a number; NaN where it is blank or no number. */
export const number = (cell) => (given(cell) ? Number(cell) : NaN);

/* A number of the set-ups table, its default where it is blank. */
export function stated(table, setup, name) {
  const default_ = name in table.defaults ? table.defaults[name] : null;
  return given(setup[name]) ? Number(setup[name]) : default_ === null ? NaN : Number(default_);
}

const word = (table, setup, name) => (given(setup[name]) ? String(setup[name]) : table.defaults[name]);

/* Seconds since midnight of a watch time HH:MM or HH:MM:SS; NaN where blank. */
export function timeOfDay(text) {
  if (!given(text)) return NaN;
  const [hours, minutes, seconds = "0"] = String(text).split(":");
  return Number(hours) * 3600 + Number(minutes) * 60 + Number(seconds);
}

/* Where a mark or a line's point lies, mm from the foot: by x and y, or by length and direction. */
export function pointOf(row) {
  if (given(row.x_mm) && given(row.y_mm)) return { x: Number(row.x_mm), y: Number(row.y_mm) };
  const direction = number(row.angle_deg) * DEGREE;
  const length = number(row.length_mm);
  return { x: length * Math.sin(direction), y: length * Math.cos(direction) };
}

const yes = (cell) => !given(cell) || !/^(no|n|false|0)$/i.test(String(cell));

export const inUse = (row) => yes(row.use);

/* The marks of a set-up that are in use and have a place on the board. */
export const usable = (marks) =>
  marks.filter((row) => inUse(row) && Number.isFinite(pointOf(row).x) && Number.isFinite(pointOf(row).y));

/* The record of a set-up's rows, as `slips` reads it. */
export function recordOf(table, { site, setup, marks }) {
  const { place, day, sun } = placeOf(table, site, setup.date);
  const rows = usable(marks);
  const board = boardOf(table, setup, rows, day, sun, place);
  const [north, east] = [place.plumb_latitude_deg - place.latitude_deg, place.plumb_longitude_deg - place.longitude_deg];
  const sunAt = (latitude, longitude) => new AnySun(table.almanac, latitude + north, longitude + east, sun.air);
  return {
    board,
    byAngle: rows.length > 0 && rows.every((row) => !given(row.x_mm)),
    aheadS: offset(place, day.noon),
    date: setup.date,
    latitude: place.latitude_deg,
    longitude: place.longitude_deg,
    at(date, latitude, longitude) {
      const midday = instant(place, civilSeconds(date, HALF_DAY_S));
      if (!covers(table.almanac, midday)) return null;
      const other = sunAt(latitude, longitude);
      const noon = other.noonNear(midday);
      return board.under(other, noon, latitude + north, timedMarks(place, date, rows, noon + board.watchError));
    },
    onDay(days) {
      const shift = days * DAY_S;
      if (!covers(table.almanac, day.noon + shift)) return null;
      const other = sunAt(place.latitude_deg, place.longitude_deg);
      return board.under(other, other.noonNear(day.noon + shift), board.latitude,
        board.marks.map((mark) => ({ ...mark, watchUtc: mark.watchUtc + shift })));
    },
  };
}

function boardOf(table, setup, rows, day, sun, place) {
  const tolerances = { ...table.tolerances };
  for (const name of Object.keys(tolerances)) {
    if (name in table.defaults) tolerances[name] = stated(table, setup, name);
  }
  Object.assign(tolerances, writtenSds(setup, rows, tolerances));
  // A board that was levelled by eye is no better level than that.
  if (!yes(setup.level_checked)) tolerances.level_sd_deg = Math.max(tolerances.level_sd_deg, table.unchecked_level_deg);
  const semidiameter = day.semidiameter_deg * DEGREE;
  return new Board(sun, {
    noon: day.noon,
    height: stated(table, setup, "gnomon_height_mm"),
    watch: word(table, setup, "watch"),
    watchError: stated(table, setup, "watch_error_s"),
    edge: word(table, setup, "edge") === "dark" ? semidiameter : 0,
    semidiameter,
    latitude: place.plumb_latitude_deg,
    closing: closingOf(table, setup),
    tolerances,
  }, timedMarks(place, setup.date, rows, day.noon + stated(table, setup, "watch_error_s")));
}

/* How far clockwise the reference line drawn again lies from the first; so far the board has turned
   the other way. */
function closingOf(table, setup) {
  const line = lineOf(table, setup);
  return { turn: turnWithin((line.closeAngle - line.angle) * DEGREE), sd: Math.hypot(line.sd, line.closeSd) * DEGREE };
}

/* How far each time, and the watch's setting, may be off. Times written in whole steps carry half a
   step either way, and where they were cut rather than rounded all of them the same way: as steps
   longer than a minute are as a rule. */
function writtenSds(setup, rows, { watch_sd_s: watchSd }) {
  if (given(setup.time_sd_s)) return { time_sd_s: Number(setup.time_sd_s) };
  const step = roundedTo(rows.map((row) => timeOfDay(row.time)).filter(Number.isFinite));
  const written = step / Math.sqrt(12);
  return { time_sd_s: written, watch_sd_s: Math.hypot(watchSd, step > 60 ? step / 2 : written) };
}

/* The step to which times were rounded or cut, seconds; 0 where seconds were written. Marks made at
   even intervals were made on the tick, to the minute. */
function roundedTo(times) {
  const step = writtenStep(times);
  const between = times.slice(1).map((time, n) => time - times[n]);
  const usual = median(between);
  const even = between.filter((each) => each === usual).length / between.length >= 0.5;
  return step > 60 && even ? 60 : step;
}

/* The step, a minute or more, of which every time is a multiple; 0 where there is none. */
export function writtenStep(times) {
  if (times.length < FEWEST_TIMES) return 0;
  return WRITTEN_STEPS_S.find((step) =>
    times.every((time) => Math.abs(time / step - Math.round(time / step)) * step < 0.01)) || 0;
}

function timedMarks(place, date, rows, noon) {
  const times = aboutNoon(instantsOf(place, date, rows.map((row) => timeOfDay(row.time))), noon);
  return rows.map((row, n) => ({
    ...pointOf(row),
    watchUtc: times[n],
    half: { am: -1, pm: 1 }[row.half] || 0,
    ring: given(row.ring) ? String(row.ring) : "",
    name: given(row.mark) ? String(row.mark) : String(n + 1),
  }));
}

const instantsOf = (place, date, seconds) =>
  seconds.map((time) => (Number.isFinite(time) ? instant(place, civilSeconds(date, time)) : NaN));

/* The day laid about noon as the watch shows it: cut where the watch rested longest, where midnight falls within it. */
function aboutNoon(times, noon) {
  const known = times.filter(Number.isFinite).sort((a, b) => a - b);
  if (!known.length || Math.max(...known.map((utc) => Math.abs(utc - noon))) <= DAY_S / 2) return times;
  const gaps = known.map((utc, n) => (n + 1 < known.length ? known[n + 1] : known[0] + DAY_S) - utc);
  const start = known[(gaps.indexOf(Math.max(...gaps)) + 1) % known.length];
  const laid = times.map((utc) => start + (((utc - start) % DAY_S) + DAY_S) % DAY_S);
  const there = laid.filter(Number.isFinite);
  const middle = there.reduce((total, utc) => total + utc, 0) / there.length;
  return laid.map((utc) => utc + DAY_S * Math.round((noon - middle) / DAY_S));
}
