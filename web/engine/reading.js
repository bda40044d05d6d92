/* How a board is read: as stated, or with something stated set aside (reduction.py). */
import { adjust, apartOf, SHORTEST_ROD, withVariance } from "./adjustment.js";
import { HEIGHT, WATCH } from "./shadow.js";

const DOUBTFUL_PULL = 4;
const CLEAR_GAIN = 30;

const AS_STATED = { name: "as stated" };
const OTHERS = [
  { name: "watch wrong", watch: true },
  { name: "height wrong", height: true },
  { name: "watch and height wrong", watch: true, height: true },
  { name: "times wrong", byTime: false },
  { name: "times and height wrong", height: true, byTime: false },
];

/* The fit to adopt, the reading that it is of, and all that were tried: [{reading, fit}]. */
export function adopted(board) {
  const fit = adjust(board);
  const asStated = { reading: AS_STATED, fit };
  if (!suspicious(board, fit)) return { ...asStated, tried: [asStated] };
  const timed = board.watch !== "none" && board.marks.some((mark) => Number.isFinite(mark.watchUtc));
  const tried = [asStated];
  let best = { ...asStated, cost: fit.cost };
  for (const reading of OTHERS) {
    if (reading.watch && (!timed || board.watch === "running")) continue;
    if (reading.byTime === false && !timed) continue;
    const other = adjust(board, reading);
    tried.push({ reading, fit: other });
    if (other.state[HEIGHT] <= 1.01 * SHORTEST_ROD * board.height) continue;
    const cost = other.cost + priceOf(reading, board);
    if (cost < best.cost) best = { reading, fit: other, cost };
  }
  const aside = best.reading !== AS_STATED;
  if (aside && (best.fit.spread > 1 || best.reading.byTime === false)) {
    best.fit = withVariance(best.fit, apartOf(best.fit, fit) ** 2);
  }
  return { reading: best.reading, fit: best.fit, tried };
}

/* Each statement set aside must pay for itself; times set aside leave half the residuals, which
   must pay for the half that is gone. */
const priceOf = (reading, board) => CLEAR_GAIN * (Boolean(reading.watch) + Boolean(reading.height))
  + (reading.byTime === false ? CLEAR_GAIN + 2 * board.count : 0);

function suspicious(board, fit) {
  const pulled = Math.max(Math.abs(fit.priorMisfit[WATCH]), Math.abs(fit.priorMisfit[HEIGHT]));
  const rejected = fit.kept.filter((kept) => !kept).length;
  return pulled > DOUBTFUL_PULL || rejected > Math.max(1, Math.floor(board.count / 12))
    || fit.spread > 1 || !fit.converged;
}
