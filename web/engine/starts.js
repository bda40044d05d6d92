/* Where an adjustment begins: unknowns and instants near each possible reading of a board. */
import { DEGREE } from "../shared/sun.js";
import { directionOf, lengthOf } from "./board.js";
import { median, turnWithin } from "./matrix.js";
import { AZIMUTH, WATCH } from "./shadow.js";

// What one mark can cost at most while starts are looked for.
const WORST_MISS_MM = 15;
// A watch whose setting is unknown is within this of the site's clock: else the day is another.
export const FARTHEST_WATCH_S = 15 * 3600;
const OFFSET_STEP_S = 120;
const AZIMUTH_STEP_DEG = 2;

export function starts(problem) {
  if (!problem.timed.some(Boolean)) return startsByShape(problem);
  if (problem.flatWatch) return startsByOffset(problem);
  const watchError = problem.prior[WATCH];
  const marks = problem.board.marks.filter((_, n) => problem.timed[n]);
  const turns = marks.map((mark) =>
    problem.board.shadowAzimuth(mark.watchUtc - watchError) - directionOf(mark));
  return [startAt(problem, middleOf(turns), watchError)];
}

/* The median of angles about their mean: one blunder does not move it. */
export function middleOf(angles) {
  const known = angles.filter(Number.isFinite);
  if (!known.length) return 0;
  const middle = Math.atan2(known.reduce((total, angle) => total + Math.sin(angle), 0),
    known.reduce((total, angle) => total + Math.cos(angle), 0));
  return middle + median(known.map((angle) => turnWithin(angle - middle)));
}

function startAt(problem, azimuth, watchError) {
  const values = [...problem.prior];
  [values[AZIMUTH], values[WATCH]] = [azimuth, watchError];
  const track = problem.timed.every(Boolean) ? null : trackOf(problem.board);
  const instants = problem.board.marks.map((mark, n) =>
    (problem.timed[n] ? mark.watchUtc - watchError : nearestOn(track, problem.board, mark, azimuth).utc));
  return { values, instants };
}

/* Every setting of the watch, two minutes apart; the best few. */
function startsByOffset(problem) {
  const { board } = problem;
  const marks = board.marks.filter((_, n) => problem.timed[n]);
  const level = board.nominal();
  level[WATCH] = 0;
  const tries = [];
  for (let n = 0; n * OFFSET_STEP_S < 2 * FARTHEST_WATCH_S; n += 1) {
    const offset = board.watchError - FARTHEST_WATCH_S + n * OFFSET_STEP_S;
    tries.push({ offset, ...laidOver(board, marks, offset, level) });
  }
  // In half a step of the watch, a minute, the sun turns by 0.25° and the tip runs thus far.
  const coarse = 20 + marks.reduce((total, mark) => total + Math.min(WORST_MISS_MM,
    0.25 * DEGREE * (lengthOf(mark) ** 2 + board.height ** 2) / board.height) ** 2, 0);
  return bestMinima(tries.map(({ cost }) => cost), 5, coarse)
    .map((n) => startAt(problem, tries[n].turn, tries[n].offset));
}

/* The marks laid over the tips of one setting of the watch: the turn between them, the misses. */
function laidOver(board, marks, offset, level) {
  const tips = marks.map((mark) => board.tipAt(mark.watchUtc - offset, level));
  let [cosine, sine] = [0, 0];
  tips.forEach(([x, y], n) => {
    if (Number.isNaN(x)) return;
    // marked · conj(predicted), in the complex plane
    cosine += marks[n].x * x + marks[n].y * y;
    sine += marks[n].y * x - marks[n].x * y;
  });
  const mean = Math.atan2(sine, cosine);
  // The median of the angles about their mean: one wild mark of a few does not move it.
  const away = tips.map(([x, y], n) => (Number.isNaN(x) ? 0
    : turnWithin(Math.atan2(marks[n].y, marks[n].x) - Math.atan2(y, x) - mean)));
  const [first, second] = [mean, mean + median(away)].map((turn) => ({ turn, cost: missed(tips, marks, turn) }));
  return second.cost < first.cost ? second : first;
}

function missed(tips, marks, turn) {
  return tips.reduce((total, [x, y], n) => {
    if (Number.isNaN(x)) return total + WORST_MISS_MM ** 2;
    const miss = Math.hypot(marks[n].x - (x * Math.cos(turn) - y * Math.sin(turn)),
      marks[n].y - (x * Math.sin(turn) + y * Math.cos(turn)));
    return total + Math.min(miss, WORST_MISS_MM) ** 2;
  }, 0);
}

/* The day's track laid over the marks, turned two degrees at a time; the best few. */
function startsByShape(problem) {
  const { board } = problem;
  const track = trackOf(board);
  const tries = [];
  for (let degrees = 0; degrees < 360; degrees += AZIMUTH_STEP_DEG) {
    const azimuth = degrees * DEGREE;
    const nearest = board.marks.map((mark) => nearestOn(track, board, mark, azimuth));
    const cost = nearest.reduce((total, { miss }) => total + Math.min(miss, WORST_MISS_MM) ** 2, 0);
    tries.push({ azimuth, cost, instants: nearest.map(({ utc }) => utc) });
  }
  // Half a step of azimuth throws a mark off by this much at its own distance.
  const coarse = 20 + board.marks.reduce((total, mark) =>
    total + Math.min(DEGREE * lengthOf(mark), WORST_MISS_MM) ** 2, 0);
  return bestMinima(tries.map(({ cost }) => cost), 3, coarse, true).map((n) => {
    const values = [...problem.prior];
    values[AZIMUTH] = tries[n].azimuth;
    return { values, instants: tries[n].instants };
  });
}

/* The tips of a level board set to north, minute by minute of the day's light: columns, and how far
   along the track each lies. */
export function trackOf(board) {
  const [first, last] = board.daylight();
  const state = board.nominal();
  const points = [];
  for (let utc = first; utc < last + 60; utc += 60) {
    const [x, y] = board.tipAt(utc, state);
    if (Number.isFinite(x)) points.push([utc, x, y]);
  }
  const [utc, x, y] = [0, 1, 2].map((column) => Float64Array.from(points, (point) => point[column]));
  const along = new Float64Array(points.length);
  for (let n = 1; n < points.length; n += 1) along[n] = along[n - 1] + Math.hypot(x[n] - x[n - 1], y[n] - y[n - 1]);
  return { utc, x, y, along };
}

/* How near a mark comes to the track, and when the tip was there; a known half is kept to. */
export function nearestOn({ utc, x, y, along }, board, mark, azimuth) {
  const direction = directionOf(mark) + azimuth;
  const [u, v] = [lengthOf(mark) * Math.sin(direction), lengthOf(mark) * Math.cos(direction)];
  let [best, place] = [Infinity, -1];
  let n = 0;
  let last = utc.length;
  if (mark.half > 0) while (n < last && utc[n] < board.noon) n += 1;
  if (mark.half < 0) while (last > 0 && utc[last - 1] > board.noon) last -= 1;
  while (n < last) {
    const miss = Math.sqrt((x[n] - u) ** 2 + (y[n] - v) ** 2);
    if (miss < best) [best, place] = [miss, n];
    // The track comes no nearer by more than its own length.
    const reach = along[n] + miss - best - 1e-9;
    n += 1;
    while (n < last && along[n] < reach) n += 1;
  }
  return { miss: best, utc: place < 0 ? board.noon : utc[place] };
}

/* Up to three low minima, lowest first, each the least within its reach. `coarse` is how much
   the cost may be too high between two tries that both missed the best. */
function bestMinima(cost, reach, coarse, around = false) {
  const size = cost.length;
  const at = (n) => cost[around ? (n + size) % size : Math.min(Math.max(n, 0), size - 1)];
  const limit = 4 * Math.min(...cost) + coarse;
  const minima = [];
  for (let n = 0; n < size; n += 1) {
    let least = Infinity;
    for (let k = n - reach; k <= n + reach; k += 1) least = Math.min(least, at(k));
    if (cost[n] <= least && cost[n] <= limit) minima.push(n);
  }
  return minima.sort((a, b) => cost[a] - cost[b] || a - b).slice(0, 3);
}
