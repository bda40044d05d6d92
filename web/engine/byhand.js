/* The methods a person can do by hand: orient/observation/byhand.py in the page. Each gives
   {azimuth, u (rad), n}, null where the board has no marks for it. */
import { altitudeDeg, DEGREE, refractionDeg } from "../shared/sun.js";
import { adjust, azimuthU, doubtfulCost } from "./adjustment.js";
import { AZIMUTH, directionOf, lengthOf } from "./board.js";
import { median, sum, turnWithin } from "./matrix.js";
import { tipPartials, UNKNOWNS, WATCH } from "./shadow.js";
import { middleOf } from "./starts.js";

const NOON_GAP_S = 300;
const WIDEST_GAP = 2;
const HUBER = 1.5;

/* By the watch: the sun's azimuth less each mark's direction. */
export function timed(board) {
  if (board.watch !== "trusted") return null;
  const marks = board.marks.filter((mark) => Number.isFinite(mark.watchUtc) && lengthOf(mark) > 0);
  const seen = marks.map((mark) => lit(board, mark, mark.watchUtc - board.watchError)).filter(Boolean);
  if (!seen.length) return null;
  const middle = middleOf(seen.map(({ single }) => single));
  for (const each of seen) {
    each.partials = partialsOf(board, each, middle);
    each.sensitivity = aroundFoot(each.mark);
    each.own = board.tolerances.mark_sd_mm ** 2 * norm2(each.sensitivity);
    const turn = each.sensitivity[0] * each.partials[0][WATCH] + each.sensitivity[1] * each.partials[1][WATCH];
    each.common = (turn * board.tolerances.watch_sd_s) ** 2;
  }
  const mean = robustMean(seen.map(({ single }) => middle + turnWithin(single - middle)),
    seen.map(({ own }) => own), seen.map(({ common }) => common));
  return result(board, seen, mean.weight, mean, seen.length, true);
}

/* By equal-altitude pairs. `halves`: −1 in the morning, +1 in the afternoon, of each mark. */
export function pairs(board, halves) {
  const all = board.marks.map((mark, n) => {
    const utc = halves[n] && lengthOf(mark) > 0 ? timeOfLength(board, lengthOf(mark), halves[n]) : NaN;
    const usable = Number.isFinite(utc) && Math.abs(utc - board.noon) > NOON_GAP_S;
    return usable ? lit(board, mark, utc) : null;
  });
  const shares = [...ringPairs(board, halves, all), ...interpolatedPairs(board, halves, all)];
  if (!shares.length) return null;
  const middle = middleOf(all.filter(Boolean).map(({ single }) => single));
  for (const each of all.filter(Boolean)) {
    each.partials = partialsOf(board, each, middle);
    each.sensitivity = byLength(each.mark, each.partials);
    each.single = middle + turnWithin(each.single - middle);
    each.own = board.tolerances.mark_sd_mm ** 2 * norm2(each.sensitivity);
  }
  const of = (share, value) => sum(share.map((part, n) => (part ? value(part, all[n]) : 0)));
  const mean = robustMean(shares.map((share) => of(share, (part, { single }) => part * single)),
    shares.map((share) => of(share, (part, { own }) => part ** 2 * own)));
  const weights = all.map((_, n) => sum(shares.map((share, k) => mean.weight[k] * share[n])));
  return result(board, all.filter(Boolean), weights.filter((_, n) => all[n]), mean, shares.length, false);
}

/* By the shortest shadow: the day's track fitted to the marks around noon. */
export function shortest(board) {
  if (board.count < 3) return null;
  const lengths = board.marks.map(lengthOf);
  const ordered = [...lengths].sort((a, b) => a - b);
  const reach = Math.max(1.25 * ordered[0], ordered[Math.min(4, board.count - 1)]);
  const near = board.of(lengths.map((length) => length <= reach));
  if (near.count < 3) return null;
  const fit = adjust(near, { height: true, byTime: false });
  const fromNoon = fit.utc.filter((_, n) => fit.kept[n]).map((utc) => utc - board.noon);
  if (!fromNoon.length || Math.min(...fromNoon) > 0 || Math.max(...fromNoon) < 0) return null;
  return { azimuth: fit.state[AZIMUTH], u: azimuthU(fit), n: fromNoon.length };
}

// One mark -------------------------------------------------------------------------------------

/* A mark with the light at an instant, and the board azimuth by it alone; null by night. */
function lit(board, mark, utc) {
  const light = board.light(utc);
  if (!light || !(light[2] > 0)) return null;
  return { mark, light, rate: board.sun.rate(utc), single: Math.atan2(-light[0], -light[1]) - directionOf(mark) };
}

function partialsOf(board, { light, rate }, azimuth) {
  const state = board.nominal();
  state[AZIMUTH] = azimuth;
  return tipPartials(light, rate, state).map((row) => row.map((value) => (Number.isFinite(value) ? value : 0)));
}

const norm2 = ([x, y]) => x * x + y * y;

/* Radians of the board's azimuth per millimetre of x and y, the sun's azimuth being known. */
const aroundFoot = ({ x, y }) => [-y / norm2([x, y]), x / norm2([x, y])];

/* The same, the sun's azimuth being known by the shadow's length. */
function byLength({ x, y }, partials) {
  const length = Math.hypot(x, y);
  const [right, ahead] = [-partials[0][WATCH], -partials[1][WATCH]];
  const turn = (y * right - x * ahead) / length ** 2 / ((x * right + y * ahead) / length);
  return aroundFoot({ x, y }).map((part, axis) => part + [x, y][axis] * turn / length);
}

/* When the shadow has a length, before (−1) or after noon; NaN where it never has. */
function timeOfLength(board, length, half) {
  const apparent = Math.atan2(board.height, length) / DEGREE - board.edge / DEGREE;
  let wanted = apparent;
  for (let n = 0; n < 4; n += 1) wanted = apparent - refractionDeg(wanted, board.sun.air);
  const above = (utc) => {
    const toward = board.sun.direction(utc);
    return toward ? altitudeDeg(toward) - wanted : -90;
  };
  let [inside, outside] = [board.noon, board.noon + half * 43200];
  if (!(above(inside) > 0)) return NaN;
  if (above(outside) > 0) return NaN;
  while (Math.abs(outside - inside) > 1e-4) {
    const middle = (inside + outside) / 2;
    if (above(middle) > 0) inside = middle;
    else outside = middle;
  }
  // Where the sun goes out of the table before it is so low there is no such instant.
  return Math.abs(above(inside)) < 1e-4 ? inside : NaN;
}

// Pairs ----------------------------------------------------------------------------------------

/* Shares for each ring crossed on both sides; several crossings are averaged. */
function ringPairs(board, halves, usable) {
  const labels = [...new Set(board.marks.map(({ ring }) => ring).filter(Boolean))];
  return labels.map((label) => [-1, 1].map((half) => board.marks.map((mark, n) =>
    Boolean(usable[n]) && mark.ring === label && halves[n] === half)))
    .filter((sides) => sides.every((side) => side.some(Boolean)))
    .map((sides) => board.marks.map((_, n) => sum(sides.map((side) =>
      (side[n] ? 0.5 / side.filter(Boolean).length : 0)))));
}

/* Shares for each unringed mark that the other half-day can be interpolated to. */
function interpolatedPairs(board, halves, usable) {
  const length = board.marks.map(lengthOf);
  const on = (half) => board.marks.map((_, n) => n)
    .filter((n) => usable[n] && !board.marks[n].ring && halves[n] === half);
  return [-1, 1].flatMap((side) => {
    const there = on(-side).sort((a, b) => length[a] - length[b]);
    return on(side).map((mark) => {
      const after = there.findIndex((n) => length[n] >= length[mark]);
      if (after < 1) return null;
      const [low, high] = [there[after - 1], there[after]];
      if (length[high] > WIDEST_GAP * length[low]) return null;
      const part = (length[mark] - length[low]) / Math.max(length[high] - length[low], 1e-9);
      const row = new Array(board.count).fill(0);
      [row[mark], row[low], row[high]] = [0.5, 0.5 * (1 - part), 0.5 * part];
      return row;
    }).filter(Boolean);
  });
}

// Means ----------------------------------------------------------------------------------------

/* Weights that sum to one (inverse variance, Huber), the mean, and the excess scatter. */
function robustMean(values, variance, common = values.map(() => 0)) {
  const whole = variance.map((own, n) => own + common[n]);
  let mean = median(values);
  let share = [];
  for (let n = 0; n < 20; n += 1) {
    share = values.map((value, k) => Math.min(1, HUBER / Math.max(Math.abs(value - mean) / Math.sqrt(whole[k]), 1e-12)));
    const next = sum(values.map((value, k) => share[k] / whole[k] * value)) / sum(share.map((part, k) => part / whole[k]));
    if (Math.abs(next - mean) < 1e-12) break;
    mean = next;
  }
  const scatter = sum(values.map((value, k) => share[k] * (value - mean) ** 2 / whole[k]));
  const freedom = values.length - 1;
  const excess = freedom > 0 && scatter > doubtfulCost(freedom) ? Math.sqrt(scatter / freedom) : 1;
  const total = sum(share.map((part, k) => part / whole[k]));
  return { weight: share.map((part, k) => part / whole[k] / total), mean, excess };
}

function result(board, marks, weights, { mean, excess }, n, byWatch) {
  const response = new Array(UNKNOWNS).fill(0);
  let marking = 0;
  marks.forEach(({ sensitivity, partials }, k) => {
    const weighted = sensitivity.map((part) => part * weights[k]);
    marking += norm2(weighted);
    for (let j = 0; j < UNKNOWNS; j += 1) response[j] += weighted[0] * partials[0][j] + weighted[1] * partials[1][j];
  });
  const priorSd = board.priorSd();
  const shared = sum(response.map((part, j) =>
    (j === AZIMUTH || (j === WATCH && !byWatch) ? 0 : (part * priorSd[j]) ** 2)));
  const u = Math.sqrt(board.tolerances.mark_sd_mm ** 2 * marking * excess ** 2 + shared);
  return { azimuth: (mean % (2 * Math.PI) + 2 * Math.PI) % (2 * Math.PI), u, n };
}
