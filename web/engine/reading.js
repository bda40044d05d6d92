/* How a board is read, and how well that tells its azimuth: orient/observation/reduction.py in the
   page. What contradicts itself is read in every way that it may have been meant. */
import { DEGREE } from "../shared/sun.js";
import { adjust, azimuthU } from "./adjustment.js";
import { AZIMUTH } from "./board.js";
import { pairs, shortest, timed } from "./byhand.js";
import { byTime, COVERAGE_95, isTimed, reading } from "./evidence.js";
import { turnWithin } from "./matrix.js";
import { HEIGHT, LATITUDE, WATCH } from "./shadow.js";
import { contradicts, honestU, opened, spared, weigh } from "./weighing.js";

const DOUBTFUL_PULL = 4;
const CONTRARY = 4.5;
const FURTHEST_LATITUDE_U_DEG = 5;

/* {fit, meant, verdict, contradicted, apart, methods, latitude, halves, timed} of a record: `verdict`
   is null where nothing contradicts, `apart` tells that a method by hand widened the line. */
export function readBoard(record) {
  const { board } = record;
  const stated = adjust(board);
  const asStated = reading("as stated", "as stated", board);
  let latitude = latitudeOf(board, stated, asStated);
  const readings = spared(board, stated);
  const contradicted = contradicts(board, stated, readings) || isAnother(latitude, board);
  const verdict = contradicted ? weigh(record, stated) : null;
  const { fit: adopted, adopted: meant } = verdict || { fit: stated, adopted: asStated };
  const fit = opened(adopted, honestU(adopted, contradicted ? [] : readings));
  if (contradicted) latitude = latitudeOf(board, fit, meant);
  const halves = board.marks.map(({ half }, n) => half || (fit.utc[n] < board.noon ? -1 : 1));
  const byHand = methodsOf(board, fit, meant, halves);
  const widest = contraryTo(fit, byHand);
  const methods = { ...byHand, adjustment: { azimuth: fit.state[AZIMUTH], u: Math.max(azimuthU(fit), widest),
    n: fit.kept.filter(Boolean).length } };
  return { fit: opened(fit, widest), meant, verdict, contradicted, apart: widest > 0, methods, latitude, halves,
    timed: byTime(meant) && board.marks.some((mark) => isTimed(board, mark)) };
}

export const keptOf = (board, fit) => (fit.kept.some(Boolean) ? board.of(fit.kept) : board);

function methodsOf(board, fit, meant, halves) {
  const believed = keptOf(board, fit).with({
    watchError: fit.state[WATCH],
    height: meant.freed.height ? fit.state[HEIGHT] : board.height,
  });
  const own = fit.kept.some(Boolean) ? halves.filter((_, n) => fit.kept[n]) : halves;
  return {
    pairs: pairs(believed, own),
    shortest: shortest(believed),
    timed: byTime(meant) && !meant.freed.watch ? timed(believed) : null,
  };
}

/* How uncertain a method by hand, far from the adjustment, makes the line; 0 where none is. */
function contraryTo(fit, { pairs: byPairs, timed: byWatch }) {
  const own = azimuthU(fit);
  const apart = [byPairs, byWatch].filter(Boolean).map(({ azimuth, u }) => {
    const off = Math.abs(turnWithin(azimuth - fit.state[AZIMUTH]));
    return off > CONTRARY * Math.hypot(u, own) ? off / COVERAGE_95 : 0;
  });
  const worst = Math.max(0, ...apart);
  return worst > own ? worst : 0;
}

/* Latitude by the board alone, {latitude, u} in degrees: the adjustment again, the site's latitude
   forgotten; null where it cannot be had. */
function latitudeOf(board, fit, meant) {
  const kept = keptOf(board, fit);
  if (kept.count < 3 || meant.freed.height) return null;
  const utc = fit.kept.some(Boolean) ? fit.utc.filter((_, n) => fit.kept[n]) : fit.utc;
  const free = adjust(kept, { watch: meant.freed.watch, byTime: meant.freed.byTime, latitude: true }, { ...fit, utc });
  const u = Math.sqrt(free.covariance[LATITUDE][LATITUDE]) / DEGREE;
  const latitude = board.latitude + free.state[LATITUDE] / DEGREE;
  if (!free.converged || u > FURTHEST_LATITUDE_U_DEG || Math.abs(latitude) > 90) return null;
  return { latitude, u };
}

const isAnother = (found, board) =>
  found !== null && Math.abs(found.latitude - board.latitude) > DOUBTFUL_PULL * found.u;
