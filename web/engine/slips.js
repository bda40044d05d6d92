/* The slips that crews make, each as the boards that a record may have meant:
   orient/observation/mistakes/search.py in the page, and what can be ruled out at a glance.

   A record: {board, byAngle, aheadS, date, at: (date, latitude, longitude) → board or null,
   onDay: days → board or null, latitude, longitude}. */
import { DEGREE } from "../shared/sun.js";
import { adjust } from "./adjustment.js";
import { HALF_DAY_S, lengthOf } from "./board.js";
import { isTimed, reading } from "./evidence.js";
import { median, sum, turnWithin } from "./matrix.js";
import { WATCH } from "./shadow.js";
import { nearestOn, trackOf } from "./starts.js";

const HALF_HOUR_S = 1800;
const DAY_S = 2 * HALF_DAY_S;
const COMMON = { price: 15 };
const FEWEST_MARKS = 4;
const REACH = 5;
const FEWEST_IN_REACH = 0.6;

export const slips = (record) => [mirrored, scaled, otherAngles, twelveHours, otherOrder, otherDate,
  otherPlace, otherWatch, otherEdge, otherDay].flatMap((hypothesis) => hypothesis(record));

const slip = (words, board, more) => reading(words, "slip", board, more);

/* The board, its marks each changed. */
const changed = (board, change) => board.with({}, board.marks.map((mark, n) => ({ ...mark, ...change(mark, n) })));
const times = (factor) => ({ x, y }) => ({ x: x * factor, y: y * factor });

function mirrored({ board, byAngle }) {
  const other = changed(board, ({ x }) => ({ x: -x }));
  if (byAngle) return [slip("the angles were counted anticlockwise", other)];
  // Each turns the sheet's north another way, and the marks cannot tell them apart.
  return [slip("x and y are swapped, or all x, or all y, have the wrong sign (the sheet is mirrored)",
    other, { open: Math.PI })];
}

const UNITS = [["centimetres", 10], ["inches", 25.4], ["metres", 1000]];

function scaled({ board }) {
  const high = (height) => board.with({ height });
  const rod = (why, height) => slip(`the rod's height is ${why}: ${height.toFixed(0)} mm, not ${board.height} mm`, high(height));
  return [
    ...UNITS.map(([unit, factor]) => slip(`the marks were measured in ${unit}, not in millimetres`,
      changed(board, times(factor)), { scale: factor })),
    ...UNITS.slice(0, 2).map(([unit, factor]) => rod(`in ${unit}`, board.height * factor)),
    rod("ten times too large", board.height / 10),
  ];
}

/* Angles in other units, and lengths from another end: only where they were recorded. */
function otherAngles({ board, byAngle }) {
  if (!byAngle) return [];
  const half = board.marks.map(({ x, y }) => Math.atan2(x, y) / DEGREE);
  const full = half.map((degrees) => (degrees + 360) % 360);
  const placed = (words, degrees, lengths = board.marks.map(lengthOf)) => slip(words, changed(board, (_, n) => (
    { x: lengths[n] * Math.sin(degrees[n] * DEGREE), y: lengths[n] * Math.cos(degrees[n] * DEGREE) })));
  const all = (angles, change) => angles.map(change);
  const found = [
    ...[full, half].map((each) => placed("the angles are in gon (400 to the circle), not in degrees",
      all(each, (degrees) => degrees * 0.9))),
    ...[full, half].map((each) => placed("the angles are in radians, not in degrees",
      all(each, (degrees) => degrees / DEGREE))),
  ];
  const minutes = (degrees) => degrees - Math.floor(degrees);
  if (full.every((degrees) => Number(minutes(degrees).toFixed(6)) < 0.6)) {
    found.push(placed("the angles are degrees and minutes typed as decimals",
      all(full, (degrees) => Math.floor(degrees) + minutes(degrees) / 0.6)));
  }
  if (board.marks.every((mark) => lengthOf(mark) > board.height)) {
    found.push(placed("the lengths were measured from the rod's tip, not from its foot", full,
      board.marks.map((mark) => Math.sqrt(lengthOf(mark) ** 2 - board.height ** 2))));
  }
  return found;
}

// Times ----------------------------------------------------------------------------------------

const TYPED = "the times after noon are of a 12-hour clock, typed without adding 12";
const TYPED_LATE = "the times before noon are typed as if they were after it, 12 hours too much";

/* Some times off by half a day: at night, or earlier than the marks before them. */
function twelveHours({ board }) {
  if (!board.marks.some((mark) => isTimed(board, mark))) return [];
  let last = -Infinity;
  const told = board.marks.map(({ watchUtc: time }) => {
    const known = Number.isFinite(time);
    const light = known && board.light(time - board.watchError);
    if (known) last = Math.max(last, time);
    return { night: known && !(light && light[2] > 0), early: known && time < board.noon, back: known && time < last - HALF_DAY_S / 2 };
  });
  const found = [];
  const shifted = (words, chosen, by) => {
    if (chosen.some(Boolean) && !chosen.every(Boolean)) {
      found.push(slip(words, changed(board, ({ watchUtc }, n) => ({ watchUtc: watchUtc + (chosen[n] ? by : 0) }))));
    }
  };
  shifted(TYPED, told.map(({ night, early }) => night && early), HALF_DAY_S);
  shifted(TYPED, told.map(({ back }) => back), HALF_DAY_S);
  shifted(TYPED_LATE, told.map(({ night, early }) => night && !early), -HALF_DAY_S);
  return found;
}

function otherOrder({ board }) {
  const timed = board.marks.map((_, n) => n).filter((n) => isTimed(board, board.marks[n]));
  if (timed.length < FEWEST_MARKS) return [];
  const own = timed.map((n) => board.marks[n].watchUtc);
  const given = (fresh) => changed(board, ({ watchUtc }, n) =>
    ({ watchUtc: timed.includes(n) ? fresh[timed.indexOf(n)] : watchUtc }));
  const found = [slip("the times were written in the opposite order to the marks", given([...own].reverse()))];
  const steps = own.slice(1).map((time, n) => time - own[n]);
  // At even intervals this is the same as a watch that is wrong by one of them.
  if (Math.max(...steps) - Math.min(...steps) < 60) return found;
  return [...found,
    slip("each time stands one mark too late in the list", given([...own.slice(1), NaN]), COMMON),
    slip("each time stands one mark too early in the list", given([NaN, ...own.slice(0, -1)]), COMMON)];
}

/* The watch wrong by a whole number of half hours, or its stated error misread. */
function otherWatch({ board, aheadS }) {
  if (board.watch !== "trusted" || !board.marks.some((mark) => isTimed(board, mark))) return [];
  const fit = adjust(board, { watch: true });
  const off = fit.state[WATCH] - board.watchError;
  const u = Math.sqrt(fit.covariance[WATCH][WATCH]);
  const found = [
    ["the watch's error has the wrong sign: it is plus when fast", -board.watchError],
    ["the watch's error is in minutes, not in seconds", 60 * board.watchError],
  ].filter(([, meant]) => board.watchError && Math.abs(board.watchError + off - meant) < Math.max(60, 3 * u))
    .map(([words, watchError]) => slip(words, board.with({ watchError })));
  const shift = HALF_HOUR_S * Math.round(off / HALF_HOUR_S);
  if (shift && Math.abs(off - shift) < Math.max(240, 4 * u)) {
    found.push(slip(watchWords(shift, aheadS),
      changed(board, ({ watchUtc }) => ({ watchUtc: thatDay(board, watchUtc - shift) })), { setsAside: ["watch"] }));
  }
  return found;
}

/* An instant on the board's own day: a watch of another zone may be past midnight by then. */
const thatDay = (board, utc) => utc - DAY_S * Math.round((utc - board.noon) / DAY_S);

function watchWords(whole, aheadS) {
  const shift = whole - DAY_S * Math.trunc(whole / (HALF_DAY_S + 1));
  const off = `the watch was ${Math.abs(shift) / 3600} h ${shift > 0 ? "ahead of" : "behind"} the site's clock`;
  if (Math.abs(shift + aheadS) < 60) return `${off}: it showed UTC`;
  if (Math.abs(shift) === 3600) return `${off}: summer time, or the zone next door`;
  if (shift === -HALF_DAY_S) return TYPED;
  if (shift === HALF_DAY_S) return TYPED_LATE;
  return `${off}: it kept another zone's time`;
}

// Day, place, edge -----------------------------------------------------------------------------

function otherDate({ date, at, latitude, longitude }) {
  const [year, month, day] = date.split("-");
  if (Number(day) > 12 || day === month) return [];
  const meant = `${year}-${day}-${month}`;
  return known(`day and month of the date are swapped: ${meant}, not ${date}`, at(meant, latitude, longitude));
}

const known = (words, board, more) => (board ? [slip(words, board, more)] : []);

function otherDay({ onDay }) {
  return [[1, {}], [2, COMMON], [7, COMMON], [10, COMMON], [30, COMMON], [31, COMMON]].flatMap(([days, price]) =>
    [-1, 1].flatMap((sign) => known(
      `the date is ${days} day${days > 1 ? "s" : ""} ${sign > 0 ? "later" : "earlier"} than was written`,
      onDay(sign * days), price)));
}

function otherPlace({ date, at, latitude, longitude }) {
  const found = [
    ["the latitude has the wrong sign", -latitude, longitude, {}],
    ["the longitude has the wrong sign", latitude, -longitude, {}],
    ["latitude and longitude have both the wrong sign", -latitude, -longitude, COMMON],
  ];
  if (Math.abs(longitude) <= 90) found.push(["latitude and longitude are swapped", longitude, latitude, {}]);
  const [north, east] = [minutesMeant(latitude), minutesMeant(longitude)];
  if (north !== null && east !== null) {
    found.push([`${latitude} and ${longitude} are degrees and minutes typed as decimals`, north, east, COMMON]);
  }
  return found.flatMap(([words, newLatitude, newLongitude, price]) =>
    known(words, at(date, newLatitude, newLongitude), { ...price, place: true }));
}

/* 52.30 read as 52°30′; null where what stands behind the point cannot be minutes. */
function minutesMeant(degrees) {
  const all = Math.round(Math.abs(degrees) * 1e6) / 1e4;
  const whole = Math.floor(all / 100);
  const hundredths = all - 100 * whole;
  if (hundredths >= 60 || Math.abs(hundredths - Math.round(hundredths)) > 1e-6) return null;
  return Math.sign(degrees) * (whole + hundredths / 60);
}

function otherEdge({ board }) {
  if (!board.edge) {
    return [slip("the end of full shadow was marked, not the middle of its soft edge",
      board.with({ edge: board.semidiameter }))];
  }
  return [slip("the middle of the shadow's soft edge was marked, not the end of full shadow", board.with({ edge: 0 }))];
}

// What can be ruled out at a glance ------------------------------------------------------------

/* Whether most marks lie near enough to where the board as stated would have them: a full
   adjustment of a board that cannot fit is slow, and most readings are such. */
export function possible(board) {
  const marks = board.marks.filter((mark) => isTimed(board, mark));
  if (!marks.length) return onTrack(board);
  const part = board.with({}, marks);
  return part.watch === "running" ? onTrackAtSomeTime(part) : byItsWatch(part);
}

function byItsWatch(board) {
  const state = board.nominal();
  const tips = board.marks.map(({ watchUtc }) => board.tipAt(watchUtc - board.watchError, state));
  const lit = tips.filter(([x]) => Number.isFinite(x));
  if (!lit.length) return false;
  const turns = tips.map(([x, y], n) => Math.atan2(board.marks[n].y * x - board.marks[n].x * y,
    board.marks[n].x * x + board.marks[n].y * y)).filter(Number.isFinite);
  const middle = Math.atan2(sum(turns.map(Math.sin)), sum(turns.map(Math.cos)));
  return enough(missesOf(board, tips, middle + median(turns.map((turn) => turnWithin(turn - middle)))), sdOf(board));
}

function missesOf(board, tips, turn) {
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return tips.map(([x, y], n) =>
    Math.hypot(board.marks[n].x - (x * c - y * s), board.marks[n].y - (x * s + y * c)));
}

const enough = (misses, sds) =>
  misses.filter((miss, n) => miss < REACH * sds[n]).length / misses.length >= FEWEST_IN_REACH;

/* Without times: the day's track laid over the marks, turned by degrees. */
function onTrack(board) {
  const track = trackOf(board);
  const sds = sdOf(board);
  const reach = board.marks.map((mark) => 1.5 * DEGREE * lengthOf(mark));
  for (let degrees = 0; degrees < 360; degrees += 3) {
    const misses = board.marks.map((mark, n) => nearestOn(track, board, mark, degrees * DEGREE).miss - reach[n]);
    if (enough(misses, sds)) return true;
  }
  return false;
}

/* With a watch whose setting is unknown: every ten minutes of the day. */
function onTrackAtSomeTime(board) {
  const state = board.nominal();
  const sds = sdOf(board.with({ tolerances: { ...board.tolerances,
    watch_sd_s: Math.max(150, board.tolerances.watch_sd_s) } }));
  for (let off = -54000; off < 54000; off += 600) {
    const tips = board.marks.map(({ watchUtc }) => board.tipAt(watchUtc - off, state));
    let [cosine, sine] = [0, 0];
    tips.forEach(([x, y], n) => {
      if (!Number.isFinite(x)) return;
      cosine += board.marks[n].x * x + board.marks[n].y * y;
      sine += board.marks[n].y * x - board.marks[n].x * y;
    });
    if (enough(missesOf(board, tips, Math.atan2(sine, cosine)), sds)) return true;
  }
  return false;
}

/* About how far a mark may lie from its nominal place by all the tolerances. */
function sdOf({ marks, height, tolerances: own }) {
  const angle = Math.hypot(own.level_sd_deg, own.edge_sd_deg, own.watch_sd_s / 240) * DEGREE;
  return marks.map((mark) => {
    const length = lengthOf(mark);
    return Math.hypot(own.mark_sd_mm, own.plumb_sd_mm, (length ** 2 + height ** 2) / height * angle,
      own.height_sd_mm * length / height);
  });
}
