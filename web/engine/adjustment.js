/* The least-squares adjustment of a board: orient/observation/adjustment.py in the page.

   All unknowns but the azimuth carry their stated tolerance as a prior observation. A mark with
   a time gives two residuals, one without a single residual across the shadow's track. Residuals
   are divided by what a mark scatters by. tests/test_field_engine.py holds the answers to
   Python's. */
import { DEGREE } from "../shared/sun.js";
import { HALF_DAY_S, lengthOf, LOWEST_LIGHT_DEG } from "./board.js";
import { exceededWith } from "./chisquare.js";
import { eigen, inverse, logDeterminant, median, solve, sum, turnWithin, zeros } from "./matrix.js";
import { AZIMUTH, HEIGHT, LATITUDE, UNKNOWNS, WATCH } from "./shadow.js";
import { FARTHEST_WATCH_S, starts } from "./starts.js";

// The names and values are those of the Python module, where each is explained.
const FALSE_ALARM = 0.003;
const MOST_BLUNDERS = 1 / 3;
/* The misfit of a mark at night. */
const DARK = 1e6;
export const SHORTEST_ROD = 0.02;
const FLAT_AZIMUTH_RAD = 10;
export const FLAT_WATCH_S = 2 * HALF_DAY_S;
export const FLAT_LATITUDE_RAD = 1;
const STEPS = 40;
const UNLIKELY_COST = 12;
const ROBUST_STEPS = 12;
const LEAST_TAKEN = 0.05;
const SUN_WIDTH_RAD = 0.0093;
const SCALE = [1e-3, 1, 1, 1e-3, 1e-3, 1, 10, 1e-3, 1e-3];

/* Terms of the azimuth's variance, and the unknowns that each stands for. */
const SHARED_TERMS = { level: [3, 4], foot: [1, 2], height: [5], watch: [6], edge: [7] };

/* Adjusts a board to its marks. `freed`: {watch, height, latitude} to solve for whatever was
   stated, {byTime: false} to set the times aside; `near` is a fit to begin from.

   The fit: state, covariance, residuals (mm), kept, utc, cost, keptCost, freedom, spread, terms (rad),
   priorMisfit, pullsCost, pullsFreedom, worstPull, scaleCost, openCost, rivals, converged. */
export function adjust(board, freed = {}, near = null) {
  const problem = problemOf(board, freed);
  const begun = near ? [{ values: near.state, instants: near.utc }] : starts(problem);
  const tries = begun.map(({ values, instants }) => solveRobustly(problem, values, instants));
  const costs = tries.map((each) => robustCost(problem, each));
  const least = Math.min(...costs);
  const fits = tries.filter((_, n) => costs[n] <= least + 2 * UNLIKELY_COST)
    .map((each) => adjustFrom(problem, each))
    .sort((one, other) => one.cost - other.cost);
  const best = widened(fits[0], fits.slice(1));
  best.rivals = fits.slice(1).filter((fit) => fit.cost - best.cost < 2 * UNLIKELY_COST);
  return best;
}

export const azimuthU = (fit) => Math.sqrt(fit.covariance[AZIMUTH][AZIMUTH]);

/* Whether a fit rests on two thirds of the marks. */
export const bears = (fit) => fit.kept.filter((kept) => !kept).length / fit.kept.length <= MOST_BLUNDERS;

/* Whether the marks contradict what was stated as one board in 300 does by chance. */
export const pulled = (fit) => fit.pullsCost > doubtfulCost(fit.pullsFreedom);

/* Whether they do so, or scatter so, as one board in a hundred does. */
export const doubtful = (fit) => (fit.freedom > 0 && fit.keptCost > doubtfulCost(fit.freedom, 0.01))
  || fit.pullsCost > doubtfulCost(fit.pullsFreedom, 0.01);

const apartOf = (fit, other) => turnWithin(other.state[AZIMUTH] - fit.state[AZIMUTH]);

/* The best fit, its azimuth as uncertain as others that fit hardly worse make it. */
function widened(best, others) {
  let [likelihood, square] = [1, 0];
  for (const other of others) {
    const apart = apartOf(best, other);
    const worse = other.cost - best.cost;
    if (worse < UNLIKELY_COST && Math.abs(apart) > 3 * azimuthU(best)) {
      likelihood += Math.exp(-worse / 2);
      square += Math.exp(-worse / 2) * apart ** 2;
    }
  }
  return square ? withVariance(best, square / likelihood) : best;
}

/* The same fit, its azimuth's variance greater by so much. */
function withVariance(fit, square) {
  const covariance = fit.covariance.map((row) => [...row]);
  covariance[AZIMUTH][AZIMUTH] += square;
  return { ...fit, covariance };
}

/* The board as stated, linear about a fit of it: its marks' residuals (`told`), their `design` and
   `whiten`, the normal matrix of all of them and the right-hand side; null with a mark at night. */
export function linearised(board, fit) {
  const problem = problemOf(board, {});
  const marks = linearise(problem, fit.state, fit.utc);
  if (!marks.every(Boolean)) return null;
  const { matrix, right } = normal(problem, marks, fit.state, marks.map(() => 1));
  return { marks, normal: matrix, right };
}

function problemOf(board, freed) {
  const byTime = freed.byTime !== false && board.watch !== "none";
  const timed = board.marks.map((mark) => byTime && Number.isFinite(mark.watchUtc));
  const running = Boolean(freed.watch) || board.watch === "running";
  const priorSd = board.priorSd();
  priorSd[AZIMUTH] = FLAT_AZIMUTH_RAD;
  const flatWatch = timed.some(Boolean) && running;
  if (!timed.some(Boolean)) priorSd[WATCH] = 0;
  else if (running) priorSd[WATCH] = FLAT_WATCH_S;
  if (freed.height) priorSd[HEIGHT] = board.height;
  if (freed.latitude) priorSd[LATITUDE] = FLAT_LATITUDE_RAD;
  const free = priorSd.map((_, n) => n).filter((n) => priorSd[n] > 0);
  const stated = free.filter((n) => n !== AZIMUTH && n !== LATITUDE
    && !(n === WATCH && running) && !(n === HEIGHT && freed.height));
  const threshold = timed.map((with2) => exceeded(FALSE_ALARM / board.count, with2 ? 2 : 1));
  return { board, timed, prior: board.nominal(), priorSd, free, stated, threshold, flatWatch };
}

const known = new Map();

function exceeded(chance, freedom) {
  const key = `${chance} ${freedom}`;
  if (!known.has(key)) known.set(key, exceededWith(chance, freedom));
  return known.get(key);
}

export const doubtfulCost = (freedom, chance = 1 / 300) => exceeded(chance, Math.max(freedom, 1));

/* Each mark's residuals about a state, and how the unknowns would change them; null in the place
   of a mark that has no light. */
function linearise(problem, values, instants) {
  const farthest = problem.board.height / Math.tan(LOWEST_LIGHT_DEG * DEGREE);
  return problem.board.marks.map((mark, n) => {
    const utc = problem.timed[n] ? mark.watchUtc - values[WATCH] : instants[n];
    const found = problem.board.tipAndPartials(utc, values);
    if (!found || !(Math.hypot(...found.tip) <= farthest)) return null;
    const whole = [mark.x - found.tip[0], mark.y - found.tip[1]];
    const along = found.partials.map((row) => -row[WATCH]);
    const speed = Math.hypot(...along);
    const across = [-along[1] / speed, along[0] / speed];
    const miss = across[0] * whole[0] + across[1] * whole[1];
    const { whiten, scatter } = whitening(problem, n, along, across);
    const partials = found.partials.map((row) => problem.free.map((k) => row[k]));
    const scaled = partials.map((row) => row.map((value, k) => value * SCALE[problem.free[k]]));
    return {
      residual: problem.timed[n] ? whole : across.map((part) => part * miss),
      told: whiten.map((row) => row[0] * whole[0] + row[1] * whole[1]),
      design: whiten.map((row) => scaled[0].map((x, k) => row[0] * x + row[1] * scaled[1][k])),
      whiten,
      scatter,
      whole,
      partials,
      along,
    };
  });
}

/* What turns a mark's millimetres into standard uncertainties, and the logarithm of its variance:
   marking, the soft edge along the shadow, and what its time is worth along the track. */
function whitening({ board, timed }, n, along, across) {
  const mark = board.marks[n];
  const { mark_sd_mm: markSd, edge_scatter: edgeScatter = 0, time_sd_s: timeSd = 0 } = board.tolerances;
  const length = lengthOf(mark);
  const soft = Math.min(board.height,
    edgeScatter * SUN_WIDTH_RAD * (length ** 2 + board.height ** 2) / board.height);
  const spread = [mark.x, mark.y].map((part) => soft * part / Math.max(length, 1e-9));
  if (!timed[n]) {
    const seen = markSd ** 2 + (across[0] * spread[0] + across[1] * spread[1]) ** 2;
    return { whiten: [across.map((part) => part / Math.sqrt(seen)), [0, 0]], scatter: Math.log(seen) };
  }
  const late = along.map((part) => timeSd * part);
  const xx = markSd ** 2 + spread[0] ** 2 + late[0] ** 2;
  const xy = spread[0] * spread[1] + late[0] * late[1];
  const yy = markSd ** 2 + spread[1] ** 2 + late[1] ** 2;
  // The inverse of the lower Cholesky factor of the mark's covariance.
  const first = 1 / Math.sqrt(xx);
  const second = 1 / Math.sqrt(yy - xy ** 2 / xx);
  return { whiten: [[first, 0], [-second * xy / xx, second]], scatter: -2 * Math.log(first * second) };
}

/* Normal matrix and right-hand side in units of the unknowns' own scales. */
function normal(problem, linear, values, weight) {
  const size = problem.free.length;
  const matrix = zeros(size);
  const right = new Array(size).fill(0);
  linear.forEach((mark, n) => {
    if (!mark || !weight[n]) return;
    for (let i = 0; i < 2; i += 1) {
      for (let k = 0; k < size; k += 1) {
        const weighted = weight[n] * mark.design[i][k];
        right[k] += weighted * mark.told[i];
        for (let l = 0; l < size; l += 1) matrix[k][l] += weighted * mark.design[i][l];
      }
    }
  });
  problem.free.forEach((unknown, k) => {
    const pull = (SCALE[unknown] / problem.priorSd[unknown]) ** 2;
    matrix[k][k] += pull;
    right[k] += pull * (problem.prior[unknown] - values[unknown]) / SCALE[unknown];
  });
  return { matrix, right };
}

const clip = (value, low, high) => Math.min(Math.max(value, low), high);

/* One Gauss–Newton step: the new unknowns and instants, and the step's natural size. */
function step(problem, values, instants, weight) {
  const linear = linearise(problem, values, instants);
  const { matrix, right } = normal(problem, linear, values, weight);
  const whole = solve(matrix, right);
  const reach = whole.map(Math.abs);
  // Steps no longer than the linear form can be trusted for: 0.2 rad, half an hour.
  const limits = [200, 50, 50, 50, 50, 0.1 * problem.prior[HEIGHT], 180, 50, 100];
  const part = Math.min(1, ...problem.free.map((unknown, k) => limits[unknown] / Math.max(reach[k], 1e-12)));
  const move = whole.map((value, k) => value * part * SCALE[problem.free[k]]);
  const moved = [...values];
  problem.free.forEach((unknown, k) => { moved[unknown] += move[k]; });
  moved[HEIGHT] = Math.max(moved[HEIGHT], SHORTEST_ROD * problem.prior[HEIGHT]);
  let size = Math.max(...reach);
  if (problem.timed.every(Boolean)) return { values: moved, instants, size };
  const [first, last] = problem.board.daylight();
  const later = instants.map((utc, n) => {
    if (problem.timed[n]) return utc;
    const shifted = clip(utc + clip(shiftOf(linear[n], move), -1200, 1200), first, last);
    size = Math.max(size, Math.abs(shifted - utc) / 10);
    return shifted;
  });
  return { values: moved, instants: later, size };
}

/* How much later a mark without a time is, seconds, once the unknowns have moved. */
function shiftOf(mark, move) {
  if (!mark) return 0;
  const left = mark.whole.map((value, i) => value - sum(mark.partials[i].map((part, k) => part * move[k])));
  const speed2 = mark.along[0] ** 2 + mark.along[1] ** 2;
  return (mark.along[0] * left[0] + mark.along[1] * left[1]) / Math.max(speed2, 1e-12);
}

function solveFully(problem, begun, weight) {
  let at = { ...begun, size: Infinity };
  for (let n = 0; n < STEPS && !(at.size < 1e-7); n += 1) {
    at = step(problem, at.values, at.instants, weight);
  }
  return { ...at, converged: at.size < 1e-3 };
}

/* Iterates with weights that fall with the misfit (Huber), so that no blunder steers. */
function solveRobustly(problem, values, instants) {
  let weight = problem.board.marks.map(() => 1);
  let at = { values, instants };
  for (let n = 0; n < ROBUST_STEPS; n += 1) {
    at = step(problem, at.values, at.instants, weight);
    const misfit = misfitOf(linearise(problem, at.values, at.instants));
    const noise = noiseOf(problem, misfit);
    const next = misfit.map((each) => Math.min(1, 1.5 * noise / Math.max(each, 1e-9)));
    const settled = at.size < 1e-3 && Math.max(...next.map((each, k) => Math.abs(each - weight[k]))) < 0.01;
    weight = next;
    if (settled) break;
  }
  return { ...at, weight };
}

/* Length of each mark's residual in units of its scatter; huge without light. */
const misfitOf = (linear) => linear.map((mark) => (mark ? Math.hypot(...mark.told) : DARK));

/* How many times the stated tolerance the marks scatter, from their median; at least 1. */
function noiseOf(problem, misfit) {
  // Medians of the length of a standard normal residual in two and in one dimension.
  const each = misfit.map((length, n) => length / (problem.timed[n] ? 1.177 : 0.674))
    .filter(Number.isFinite);
  return each.length ? Math.max(1, median(each)) : 1;
}

function priorMisfitOf(problem, values) {
  const misfit = new Array(UNKNOWNS).fill(0);
  for (const n of problem.free) misfit[n] = (values[n] - problem.prior[n]) / problem.priorSd[n];
  return misfit;
}

/* Nor is the next day, whose sun stands almost where this one's does. */
const anotherDay = ({ free, prior }, values) =>
  (free.includes(WATCH) && Math.abs(values[WATCH] - prior[WATCH]) > FARTHEST_WATCH_S ? DARK : 0);

/* Sum of squares in which no mark counts for more than a rejected one. */
function robustCost(problem, { values, instants }) {
  if (!values.every(Number.isFinite)) return Infinity;
  const misfit = misfitOf(linearise(problem, values, instants));
  // Marks at night are no way out: a start that has them there yields to any that has not.
  const dark = misfit.filter((each) => each >= DARK).length > MOST_BLUNDERS * misfit.length ? DARK : 0;
  return sum(misfit.map((each, n) => Math.min(each ** 2, problem.threshold[n])))
    + sum(priorMisfitOf(problem, values).map((each) => each ** 2)) + dark + anotherDay(problem, values);
}

function adjustFrom(problem, { values, instants, weight }) {
  let kept = judge(problem, values, instants, weight, weight.map(() => true));
  let at = { values, instants, converged: false };
  for (let n = 0; n < 6; n += 1) {
    const only = kept.map(Number);
    at = solveFully(problem, at, only);
    const verdict = judge(problem, at.values, at.instants, only, kept);
    const same = verdict.every((good, k) => good === kept[k]);
    kept = verdict;
    // Marks about which nothing settles, four times over, are no reading: that is the end.
    if (same || (n >= 3 && !at.converged)) break;
  }
  return finish(problem, at, kept);
}

/* Which marks agree with all the others, each tested against a fit without it. */
function judge(problem, values, instants, weight, included) {
  const linear = linearise(problem, values, instants);
  const spread = noiseOf(problem, misfitOf(linear).map((each, n) => (included[n] ? each : NaN)));
  const covariance = inverse(normal(problem, linear, values, weight).matrix);
  const good = linear.map((mark, n) => {
    if (!mark) return false;
    // A mark that took part has drawn the fit toward itself: its residual is the smaller.
    const share = included[n] ? -Math.min(weight[n], 1) : 1;
    const variance = varianceOfTold(mark, covariance)
      .map((row, i) => row.map((value, j) => spread ** 2 * ((i === j) + share * value) + 0.01 * (i === j)));
    const weighted = solve(variance, mark.told);
    return mark.told[0] * weighted[0] + mark.told[1] * weighted[1] < problem.threshold[n];
  });
  const bad = good.filter((each) => !each).length / good.length;
  return bad <= MOST_BLUNDERS ? good : linear.map(Boolean);
}

/* design · covariance · designᵀ of one mark, 2 × 2. */
export function varianceOfTold(mark, covariance) {
  const spread = mark.design.map((row) =>
    covariance.map((other) => sum(other.map((value, k) => value * row[k]))));
  return mark.design.map((row) => spread.map((other) => sum(row.map((value, k) => value * other[k]))));
}

function finish(problem, { values, instants, converged }, kept) {
  const { board, free } = problem;
  const linear = linearise(problem, values, instants);
  const { matrix } = normal(problem, linear, values, kept.map(Number));
  const covariance = wholeCovariance(free, inverse(matrix));
  const priorMisfit = priorMisfitOf(problem, values);
  const misfit = misfitOf(linear);
  const ofKept = sum(misfit.map((each, n) => (kept[n] ? each ** 2 : 0)))
    + sum(priorMisfit.map((each) => each ** 2));
  const flat = free.length - problem.stated.length;
  const freedom = sum(kept.map((each, n) => (each ? 1 + problem.timed[n] : 0))) - flat;
  const spread = freedom > 0 && ofKept > doubtfulCost(freedom) ? Math.sqrt(ofKept / freedom) : 1;
  const terms = termsOf(problem, linear, covariance, kept);
  const state = [...values];
  state[AZIMUTH] = (values[AZIMUTH] % (2 * Math.PI) + 2 * Math.PI) % (2 * Math.PI);
  return {
    state,
    covariance: covariance.map((row) => row.map((value) => value * spread ** 2)),
    residuals: linear.map((mark) => (mark ? mark.residual : [NaN, NaN])),
    kept,
    utc: board.marks.map((mark, n) => (problem.timed[n] ? mark.watchUtc - values[WATCH] : instants[n])),
    cost: ofKept + sum(problem.threshold.filter((_, n) => !kept[n])),
    keptCost: ofKept,
    freedom,
    spread,
    terms: Object.fromEntries(Object.entries(terms).map(([name, term]) => [name, Math.sqrt(term) * spread])),
    priorMisfit,
    ...pullsOf(problem, covariance, priorMisfit),
    scaleCost: sum(linear.map((mark, n) => (mark && kept[n] ? mark.scatter : 0))),
    openCost: logDeterminant(matrix)
      + 2 * sum(free.map((n) => Math.log(problem.priorSd[n] / SCALE[n]))),
    information: matrix,
    problem,
    converged,
    rivals: [],
  };
}

function wholeCovariance(free, scaled) {
  const covariance = zeros(UNKNOWNS);
  free.forEach((row, i) => free.forEach((column, j) => {
    covariance[row][column] = scaled[i][j] * SCALE[row] * SCALE[column];
  }));
  return covariance;
}

/* Chi-square of what was stated against what the marks alone say, its freedom, and the most of it
   that lies along one direction. */
function pullsOf({ stated, priorSd }, covariance, misfit) {
  const taken = stated.map((row) => stated.map((column) =>
    (row === column) - covariance[row][column] / (priorSd[row] * priorSd[column])));
  const pulls = eigen(taken).filter(({ value }) => value > LEAST_TAKEN)
    .map(({ value, vector }) => sum(vector.map((part, k) => part * misfit[stated[k]])) ** 2 / value);
  return { pullsCost: sum(pulls), pullsFreedom: pulls.length, worstPull: Math.max(0, ...pulls) };
}

/* The azimuth's variance by where it comes from, rad²: the terms add up to it. */
function termsOf(problem, linear, covariance, kept) {
  const gain = covariance[AZIMUTH];
  const scaledGain = problem.free.map((n) => gain[n] / SCALE[n]);
  const marking = sum(linear.map((mark, n) => (mark && kept[n] ? sum(mark.design.map((row) =>
    sum(row.map((value, k) => value * scaledGain[k])) ** 2)) : 0)));
  const shared = Object.entries(SHARED_TERMS).map(([name, unknowns]) => [name,
    sum(unknowns.filter((n) => problem.priorSd[n] > 0).map((n) => (gain[n] / problem.priorSd[n]) ** 2))]);
  return { marking, ...Object.fromEntries(shared) };
}

/* What a mark made at an instant would add: the azimuth's standard uncertainty with it, rad. */
export function azimuthUWith(fit, utc) {
  const { board } = fit.problem;
  const [x, y] = board.tipAt(utc, fit.state);
  if (!Number.isFinite(x)) return null;
  const mark = { x, y, watchUtc: utc + fit.state[WATCH], half: 0 };
  const timed = fit.problem.timed.some(Boolean);
  const problem = { ...fit.problem, board: board.with({}, [mark]), timed: [timed] };
  const [linear] = linearise(problem, fit.state, [utc]);
  if (!linear) return null;
  const matrix = fit.information.map((row, k) => row.map((value, l) =>
    value + linear.design[0][k] * linear.design[0][l] + linear.design[1][k] * linear.design[1][l]));
  return Math.sqrt(wholeCovariance(fit.problem.free, inverse(matrix))[AZIMUTH][AZIMUTH]) * fit.spread;
}
