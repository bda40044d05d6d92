/* What was stated of a board, set free one by one and together, each at its own price:
   orient/observation/mistakes/statements.py in the page, where prices are explained. */
import { DEGREE } from "../shared/sun.js";
import { adjust, FLAT_LATITUDE_RAD, FLAT_WATCH_S, SHORTEST_ROD } from "./adjustment.js";
import { AZIMUTH } from "./board.js";
import { isTimed, reading } from "./evidence.js";
import { median, sum } from "./matrix.js";
import { writtenStep } from "./rows.js";
import { FOOT_X, FOOT_Y, HEIGHT, LATITUDE, SLOPE_X, SLOPE_Y, WATCH } from "./shadow.js";

const LEVEL_DEG = 1;
const FOOT_MM = 6;
const FAR_FOOT_MM = 30;
const CORNER_MM = 250;
const FEWEST_TO_SPARE = 3;
const MOST_TO_SPARE = 7;
const WATCH_S = 900;
const HEIGHT_PART = 0.1;
const LATITUDE_RAD = 1.5 * DEGREE;

const coarser = (price, times) => ({
  kind: "marking",
  price,
  wide: ({ tolerances }) => ({
    mark_sd_mm: times * tolerances.mark_sd_mm,
    edge_scatter: times * tolerances.edge_scatter,
  }),
});

/* The statements that a board's record makes: {kind, price, wide, freed}. */
export function statements(board) {
  const timed = board.marks.some((mark) => isTimed(board, mark));
  const found = [
    { kind: "level", price: 6, wide: () => ({ level_sd_deg: LEVEL_DEG }) },
    { kind: "foot", price: 6, wide: () => ({ plumb_sd_mm: FOOT_MM }) },
    { kind: "foot", price: 8, wide: () => ({ plumb_sd_mm: FAR_FOOT_MM }) },
    { kind: "height", price: 7 - 2 * Math.log(1 / HEIGHT_PART), freed: { height: true },
      off: (state) => (state[HEIGHT] / board.height - 1) / HEIGHT_PART },
    { kind: "latitude", price: 8 - 2 * Math.log(FLAT_LATITUDE_RAD / LATITUDE_RAD), freed: { latitude: true },
      off: (state) => state[LATITUDE] / LATITUDE_RAD },
    coarser(5, 1.6),
    coarser(7, 2.4),
    coarser(10, 4),
    { kind: "edge", price: 6, wide: () => ({ edge_scatter: 0.2 }) },
  ];
  if (timed && board.watch === "trusted") {
    found.push({ kind: "watch", price: 6 - 2 * Math.log(FLAT_WATCH_S / WATCH_S), freed: { watch: true },
      off: (state) => (state[WATCH] - board.watchError) / WATCH_S });
  }
  if (timed) found.push({ kind: "times", price: 10.6, freed: { byTime: false } });
  const step = writtenStepS(board);
  if (step) {
    found.push({ kind: "rounding", price: 4.6, wide: ({ tolerances }) => ({
      time_sd_s: step / Math.sqrt(12),
      // Cut, not rounded: all of them half a step early.
      watch_sd_s: Math.hypot(tolerances.watch_sd_s, step / 2),
    }) });
  }
  return found;
}

const writtenStepS = (board) =>
  writtenStep(board.marks.filter((mark) => isTimed(board, mark)).map(({ watchUtc }) => watchUtc));

/* The board with some statements set free, adjusted from fits already had; a watch set free is
   sought over the whole day. */
export function freed(board, chosen, near) {
  const tolerances = Object.assign({ ...board.tolerances }, ...chosen.map(({ wide }) => (wide ? wide(board) : {})));
  const read = board.with({ tolerances });
  const free = Object.assign({}, ...chosen.map((each) => each.freed || {}));
  const kinds = chosen.map(({ kind }) => kind);
  const starts = free.watch || free.byTime === false ? [null] : near;
  return starts.map((start) => adjust(read, free, start))
    .filter((fit) => fit.state[HEIGHT] > 1.01 * SHORTEST_ROD * board.height)
    .map((fit) => reading(
      [...new Set(kinds.map((kind) => wordsOf(kind, board, read, fit)))].join(" and "),
      kinds.join("+"),
      read,
      { price: sum(chosen.map((each) => each.price + sizeCost(each.off ? each.off(fit.state) : 0))), fit, setsAside: kinds, freed: free },
    ));
}

/* What it costs that a statement is so far off: far ones are rare, but made. */
const sizeCost = (off) => 2 * Math.log1p(off ** 2);

// Words --------------------------------------------------------------------------------------

const signed = (value, places) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(places)}`;

const WORDS = {
  level: (board, read, { state }) =>
    `the board was ${(Math.hypot(state[SLOPE_X], state[SLOPE_Y]) / DEGREE).toFixed(1)}° out of level`,
  foot: (board, read, { state }) =>
    `the foot was marked ${Math.hypot(state[FOOT_X], state[FOOT_Y]).toFixed(0)} mm from the point plumb under the `
      + "tip, or the rod leaned by as much",
  corner: (board, read, { state }) =>
    `the marks were not measured from the foot but from a point at x ${signed(-state[FOOT_X], 0)}, `
      + `y ${signed(-state[FOOT_Y], 0)} mm from it`,
  height: heightWords,
  latitude: (board, read, { state }) =>
    `the site's latitude is ${(board.latitude + state[LATITUDE] / DEGREE).toFixed(1)}°, not `
      + `${board.latitude.toFixed(1)}°, or the date is another day's`,
  marking: (board, read) =>
    `the marks scatter about ${(read.tolerances.mark_sd_mm / board.tolerances.mark_sd_mm).toFixed(1)} times as much `
      + "as was stated",
  edge: () => "the marks scatter along the shadow, where its edge is soft, more than was stated",
  rounding: (board) => `the times were rounded or cut to ${(writtenStepS(board) / 60).toFixed(0)} min`,
  times: () => "the times are not those of the marks",
  watch: watchWords,
};

const wordsOf = (kind, board, read, fit) => WORDS[kind](board, read, fit);

function heightWords(board, read, { state }) {
  const height = state[HEIGHT];
  const excess = board.height - height;
  if (excess > 10 && excess < 900) {
    return `the rod's height was measured from the ground, or from ${excess.toFixed(0)} mm under the board's face: `
      + `it is ${height.toFixed(0)} mm`;
  }
  return `the rod's height is ${height.toFixed(1)} mm, not ${board.height} mm`;
}

function watchWords(board, read, { state }) {
  const off = state[WATCH] - board.watchError;
  const words = `the watch was ${(Math.abs(off) / 60).toFixed(0)} min ${off > 0 ? "fast" : "slow"}`;
  return Math.abs(off) < 1800 ? `${words}, or the site's longitude is ${signed(off / 240, 1)}° off` : words;
}

// Marks measured from elsewhere ----------------------------------------------------------------

const CORNER = { kind: "corner", price: 9, wide: () => ({ plumb_sd_mm: CORNER_MM }) };

/* Marks measured from another point than the foot: turned and shifted to fit the track. */
export function fromElsewhere(board, stated) {
  if (board.count < 5) return [];
  return shiftedStarts(board, stated).flatMap((start) => freed(board, [CORNER], [start]));
}

function shiftedStarts(board, stated) {
  const laid = possibleInstants(board).map((instants) => laidOverTips(board, instants)).filter(Boolean)
    .sort((one, other) => one.miss - other.miss);
  const chosen = [];
  for (const each of laid) {
    if (chosen.every(({ instants }) => Math.abs(instants[0] - each.instants[0]) > 1800)) chosen.push(each);
    if (chosen.length === 2) break;
  }
  return chosen.map(({ instants, turn, x, y }) => {
    const state = [...stated.state];
    const offsets = board.marks.map((mark, n) => ({ mark, off: mark.watchUtc - instants[n] }))
      .filter(({ mark }) => isTimed(board, mark)).map(({ off }) => off);
    [state[AZIMUTH], state[FOOT_X], state[FOOT_Y], state[SLOPE_X], state[SLOPE_Y]] = [turn, x, y, 0, 0];
    [state[HEIGHT], state[WATCH]] = [board.height, offsets.length ? median(offsets) : board.watchError];
    return { ...stated, state, utc: instants };
  });
}

/* The tips at some instants turned and shifted onto the marks; null where one has no light. */
function laidOverTips(board, instants) {
  const state = board.nominal();
  const tips = instants.map((utc) => board.tipAt(utc, state));
  if (!tips.every(([x]) => Number.isFinite(x))) return null;
  const { marks, count } = board;
  const middle = [0, 1].map((axis) => sum(tips.map((tip) => tip[axis])) / count);
  const ours = [sum(marks.map(({ x }) => x)) / count, sum(marks.map(({ y }) => y)) / count];
  let [cosine, sine] = [0, 0];
  tips.forEach(([x, y], n) => {
    const [u, v] = [x - middle[0], y - middle[1]];
    const [p, q] = [marks[n].x - ours[0], marks[n].y - ours[1]];
    cosine += p * u + q * v;
    sine += q * u - p * v;
  });
  const turn = Math.atan2(sine, cosine);
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const x = ours[0] - (middle[0] * c - middle[1] * s);
  const y = ours[1] - (middle[0] * s + middle[1] * c);
  const miss = sum(tips.map(([u, v], n) =>
    (marks[n].x - (u * c - v * s) - x) ** 2 + (marks[n].y - (u * s + v * c) - y) ** 2));
  return { instants, turn, x, y, miss };
}

/* When the marks may have been made: by the watch, or along the day's track. */
function possibleInstants(board) {
  const { marks } = board;
  if (marks.every((mark) => isTimed(board, mark))) {
    const offsets = board.watch === "running" ? counted(-12 * 3600, 12 * 3600, 300) : [0];
    return offsets.map((off) => marks.map(({ watchUtc }) => watchUtc - board.watchError - off));
  }
  const state = board.nominal();
  const track = counted(-36000, 36001, 60).map((after) => {
    const [x, y] = board.tipAt(board.noon + after, state);
    return { utc: board.noon + after, x, y };
  }).filter(({ x, y }) => Math.hypot(x, y) < 8 * board.height);
  if (track.length < 10) return [];
  const along = lengthsAlong(track);
  const ofMarks = lengthsAlong(marks);
  const whole = along[along.length - 1];
  const used = ofMarks[ofMarks.length - 1];
  const starts = counted(0, Math.max(whole - used, 1), whole / 300);
  const at = (length) => interpolated(length, along, track);
  return [...starts.map((start) => ofMarks.map((part) => at(start + part))),
    ...starts.map((start) => ofMarks.map((part) => at(start + used - part)))];
}

/* From `first`, steps apart, to before `end`. */
const counted = (first, end, step) =>
  Array.from({ length: Math.max(0, Math.ceil((end - first) / step)) }, (_, n) => first + n * step);

function lengthsAlong(points) {
  const lengths = [0];
  for (let n = 1; n < points.length; n += 1) {
    lengths.push(lengths[n - 1] + Math.hypot(points[n].x - points[n - 1].x, points[n].y - points[n - 1].y));
  }
  return lengths;
}

function interpolated(length, along, track) {
  let [low, high] = [0, along.length - 1];
  if (length <= 0) return track[0].utc;
  if (length >= along[high]) return track[high].utc;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (along[middle] <= length) low = middle;
    else high = middle;
  }
  const part = (length - along[low]) / (along[high] - along[low]);
  return track[low].utc + part * (track[high].utc - track[low].utc);
}

// Marks left out -------------------------------------------------------------------------------

/* Few marks: each left out in turn, that another may be the wrong one. */
export function withoutMarks(board, near = null) {
  if (board.count < FEWEST_TO_SPARE || board.count > MOST_TO_SPARE) return [];
  return board.marks.flatMap((mark, number) => {
    const others = board.marks.map((_, n) => n !== number);
    const start = near && { ...near, utc: near.utc.filter((_, n) => others[n]) };
    const best = adjust(board.of(others), {}, start);
    return [best, ...best.rivals].map((each) => {
      const fit = spreadOver(each, others);
      fit.residuals[number] = missed(board, fit, mark);
      return reading(`mark ${mark.name} is wrong`, "mark", board, { fit });
    });
  });
}

/* How far a mark lies from where the others have the tip, at its time or ever. */
function missed(board, fit, mark) {
  const instants = isTimed(board, mark) ? [mark.watchUtc - fit.state[WATCH]]
    : counted(-36000, 36001, 60).map((after) => board.noon + after);
  let best = [NaN, NaN];
  for (const utc of instants) {
    const [x, y] = board.tipAt(utc, fit.state);
    const off = [x - mark.x, y - mark.y];
    if (Number.isFinite(off[0]) && !(Math.hypot(...off) >= Math.hypot(...best))) best = off;
  }
  return best;
}

/* A fit of some of the marks as one of them all, the others left out. */
function spreadOver(fit, chosen) {
  let next = 0;
  const whole = { kept: [], utc: [], residuals: [] };
  for (const there of chosen) {
    whole.kept.push(there && fit.kept[next]);
    whole.utc.push(there ? fit.utc[next] : NaN);
    whole.residuals.push(there ? fit.residuals[next] : [NaN, NaN]);
    next += there;
  }
  return { ...fit, ...whole };
}

