/* How likely one reading of a record is against another, and which readings are alive:
   orient/observation/mistakes/evidence.py in the page; names and values are explained there.

   A reading ("meant"): {words, kind, board, price, fit, scale, extraCost, open and turn (rad), setsAside,
   freed: what `adjust` is to set free}. */
import { AZIMUTH } from "./board.js";
import { bears } from "./adjustment.js";
import { sum, turnWithin } from "./matrix.js";

const ALIVE = 14;
const ALIVE_MARK = 20;
const WRONG_MARK = 7.8;
const NEARBY_MM = 15;
const ABOUT_NOON_S = 600;
const HALF = 8;
const HALVES = 22;
const BACKWARDS = 8;
const SHUFFLED = 3;
const IN_ORDER = 0.8;
export const COVERAGE_95 = 1.959964;

export const byTime = (meant) => meant.freed.byTime !== false;
export const isTimed = (board, mark) => board.watch !== "none" && Number.isFinite(mark.watchUtc);

/* A reading with what blanks stand for. */
export function reading(words, kind, board, more = {}) {
  return { words, kind, board, price: 10, fit: null, scale: 1, extraCost: 0, open: 0, turn: 0,
    setsAside: [], freed: {}, ...more };
}

/* {meant, fit, evidence}; infinite where it rests on too few of the marks. */
export function weighed(meant, fit, spanMm) {
  if (!bears(fit) || !Number.isFinite(fit.cost)) return { meant, fit, evidence: Infinity };
  const { board } = meant;
  const anywhere = 2 * Math.log(spanMm / Math.sqrt(2 * Math.PI));
  let evidence = fit.keptCost + fit.scaleCost + fit.openCost + senseCost(board, fit) + closingCost(board, meant.turn)
    + meant.extraCost + meant.price - 4 * board.count * Math.log(meant.scale);
  board.marks.forEach((mark, n) => {
    if (!fit.kept[n]) {
      const nearby = 2 * Math.log(NEARBY_MM) + (Math.hypot(...fit.residuals[n]) / NEARBY_MM) ** 2;
      const coordinates = byTime(meant) && isTimed(board, mark) ? 2 : 1;
      evidence += WRONG_MARK + coordinates * (nearby < anywhere ? nearby : anywhere);
    } else if (!byTime(meant) && isTimed(board, mark)) {
      // A time without sense could have stood anywhere along the track.
      evidence += anywhere;
    }
  });
  return { meant, fit, evidence };
}

/* The farthest that a reading may turn the board from an azimuth, at most π. */
export const apartFrom = ({ fit, meant }, azimuth) =>
  Math.min(Math.PI, Math.abs(turnWithin(fit.state[AZIMUTH] - azimuth)) + meant.open);

/* What it costs that marks stand on another side of noon than told, or run backwards. */
export function senseCost(board, fit) {
  const contrary = board.marks.filter(({ half }, n) =>
    fit.kept[n] && half && half * (fit.utc[n] - board.noon) < -ABOUT_NOON_S).length;
  return Math.min(HALF * contrary, HALVES) + orderCost(board, fit);
}

/* What it costs that the reference line drawn again at the end lies elsewhere. */
export function closingCost({ closing }, turn = 0) {
  return Number.isFinite(closing.turn) ? (turnWithin(closing.turn - turn) / closing.sd) ** 2 : 0;
}

function orderCost(board, fit) {
  const instants = fit.utc.filter((_, n) => fit.kept[n] && !isTimed(board, board.marks[n]));
  if (instants.length < 3) return 0;
  const signs = instants.flatMap((one, n) => instants.slice(n + 1).map((other) => Math.sign(other - one)));
  const agreement = sum(signs) / signs.length;
  if (agreement >= IN_ORDER) return 0;
  return agreement <= -IN_ORDER ? BACKWARDS : SHUFFLED;
}

/* The readings that are not out of the question, likeliest first. */
export function alive(readings) {
  const ordered = [...readings].sort((one, other) => one.evidence - other.evidence);
  return ordered.filter(({ meant, evidence }) =>
    evidence <= ordered[0].evidence + (meant.kind === "mark" ? ALIVE_MARK : ALIVE));
}

/* Standard uncertainty of the adopted azimuth that covers every reading alive, rad. */
export function coveringU(adopted, living) {
  const azimuth = adopted.fit.state[AZIMUTH];
  const best = Math.min(...living.map(({ evidence }) => evidence));
  let [likelihood, square, reach] = [0, 0, 0];
  for (const each of living) {
    const share = Math.exp(-(each.evidence - best) / 2);
    const apart = apartFrom(each, azimuth);
    const own = each.fit.covariance[AZIMUTH][AZIMUTH];
    likelihood += share;
    square += share * (apart ** 2 + own);
    // Where a mark may be wrong the rest do not bear each other out: their own spread counts too.
    if (each.meant.kind === "mark") reach = Math.max(reach, Math.hypot(apart, Math.sqrt(own)) / COVERAGE_95);
    else if (apart > Math.sqrt(own)) reach = Math.max(reach, apart / COVERAGE_95);
  }
  return Math.max(Math.sqrt(square / likelihood), reach);
}
