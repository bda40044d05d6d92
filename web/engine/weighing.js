/* A board that contradicts its record, read in every way that it may have been meant:
   orient/observation/mistakes/weighing.py in the page, where it is explained. */
import { adjust, azimuthU, bears, doubtful, pulled } from "./adjustment.js";
import { AZIMUTH, lengthOf } from "./board.js";
import { alive, apartFrom, byTime, closingCost, coveringU, reading, senseCost, weighed } from "./evidence.js";
import { median, sum } from "./matrix.js";
import { clearlyMoved, CLEAR_CLOSING, inTime, moved } from "./moved.js";
import { possible, slips } from "./slips.js";
import { freed, fromElsewhere, statements, withoutMarks } from "./statements.js";

const ALIKE = 6;
const WORST_SPREAD = 4;
export const STRAINED = 6.63;
const USUAL_PULL = 2.2;
// A turn or a slide that gains so much less than a clear one is weighed.
const NEARLY = 5;
const ENOUGH = 48;
const BEST_TO_JOIN = 4;
const FEWEST_MARKS = 4;
const MOST_SAID = 3;
export const AS_STATED = "as stated";

const stated = (board, fit) => reading("the marks were written from the last to the first, or the half of the "
  + "day is wrong", AS_STATED, board, { price: 0, fit });

const spanOf = (board) => 2 * Math.max(median(board.marks.map(lengthOf)), board.height, 1);

/* The board as stated, and with few marks without each that may be wrong unseen. */
export function spared(board, fit) {
  const span = spanOf(board);
  return alive([weighed(stated(board, fit), fit, span),
    ...withoutMarks(board, fit).map((each) => weighed(each, each.fit, span))]);
}

/* Whether the marks contradict anything that was stated of the board; `readings` are of `spared`. */
export function contradicts(board, fit, readings) {
  if (plainly(board, fit) || doubtful(fit)) return true;
  return clearlyMoved(board, fit, NEARLY) || readings[0].meant.kind === "mark";
}

/* Whether they do so as hardly any board without a mistake: then slips are asked about. */
function plainly(board, fit) {
  if (tooManySpoilt(board, fit) || pulled(fit) || fit.spread > 1) return true;
  if (!fit.converged || !bears(fit) || senseCost(board, fit) > 5) return true;
  return closingCost(board) > CLEAR_CLOSING || clearlyMoved(board, fit);
}

function tooManySpoilt(board, fit) {
  const rejected = fit.kept.filter((kept) => !kept).length;
  if (board.count <= 8) return rejected > 0;
  const spoilt = inTime(board).map((n) => !fit.kept[n]);
  return spoilt.some((one, n) => one && spoilt[n + 1]) || rejected > Math.max(1, Math.floor(board.count / 8));
}

/* Standard uncertainty of an azimuth that does not contradict its record outright: pulls beyond
   chance widen the stated tolerances, and of few marks each may be wrong. */
export function honestU(fit, readings) {
  let u = azimuthU(fit);
  if (fit.worstPull > STRAINED) {
    const stated = sum(Object.entries(fit.terms).map(([name, term]) => (name === "marking" ? 0 : term ** 2)));
    u = Math.sqrt(u ** 2 + (fit.worstPull / USUAL_PULL - 1) * stated);
  }
  return readings.length > 1 ? Math.max(u, coveringU(readings[0], readings)) : u;
}

/* Weighs every reading of a record: {fit, adopted, explanation, unexplained, ownU}. The fit's
   azimuth is as uncertain as the readings alive are apart; `explanation` are the readings that
   would explain the marks better than the record as it stands, null without any. */
export function weigh(whole, fitOfWhole) {
  const chosen = thinned(whole.board);
  const record = chosen ? { ...whole, board: whole.board.of(chosen) } : whole;
  const { board } = record;
  const fit = chosen ? adjust(board) : fitOfWhole;
  const span = spanOf(board);
  const all = (readings) => readings.map((each) => weighed(each, each.fit || adjust(each.board), span));
  const near = [fit];
  const own = all([fit, ...fit.rivals].map((each) => stated(board, each)));
  own.push(...all(statements(board).flatMap((each) => freed(board, [each], near))));
  own.push(...all(fromElsewhere(board, fit)), ...all(withoutMarks(board)));
  // A slip does not merely strain what was stated.
  const another = plainly(board, fit) ? slips(record).filter((each) => possible(each.board)) : [];
  const others = all([...moved(record, fit), ...another]);
  const best = least([...own, ...others]);
  if (!best || !sound(best.fit)) own.push(...all(joined(board, own, near)));
  return verdictOf(whole, record, chosen, own, others);
}

/* Enough marks to tell readings apart, where a board has more; null where it has not. */
function thinned({ count }) {
  if (count <= ENOUGH) return null;
  const wanted = new Set(Array.from({ length: ENOUGH }, (_, n) => Math.trunc(n * (count - 1) / (ENOUGH - 1))));
  return Array.from({ length: count }, (_, n) => wanted.has(n));
}

/* The statements that did best, two together; then everything at once. */
function joined(board, own, near) {
  const known = [...new Map(statements(board).map((each) => [`${each.kind} ${each.price}`, each])).values()];
  const bestOf = ({ kind }) => Math.min(Infinity, ...own.filter(({ meant }) => meant.kind === kind)
    .map(({ evidence }) => evidence));
  const single = [];
  for (const each of [...known].sort((one, other) => compared(bestOf(one), bestOf(other)))) {
    const timeless = each.freed && each.freed.byTime === false;
    if (!timeless && single.every(({ kind }) => kind !== each.kind)) single.push(each);
  }
  const pairs = single.slice(0, BEST_TO_JOIN).flatMap((one, n) =>
    single.slice(n + 1, BEST_TO_JOIN).map((other) => [one, other]));
  const everything = single.filter(({ kind }) => !["marking", "edge", "rounding"].includes(kind));
  const coarse = known.filter(({ kind }) => kind === "marking").slice(-1);
  return [...pairs, everything, [...everything, ...coarse]].flatMap((each) => freed(board, each, near));
}

const compared = (one, other) => (one < other ? -1 : one > other ? 1 : 0);

function least(readings) {
  const finite = readings.filter(({ evidence }) => Number.isFinite(evidence));
  return finite.length ? finite.reduce((best, each) => (each.evidence < best.evidence ? each : best)) : null;
}

const sound = (fit) => fit.converged && fit.spread === 1 && !pulled(fit);

function verdictOf(whole, record, chosen, own, others) {
  const best = least([...own, ...others]);
  const stated = own.filter(({ meant }) => meant.kind === AS_STATED);
  const plain = plainly(record.board, own[0].fit);
  const better = best !== null && doesBetter(record.board, best, stated);
  // What the marks only strain is not set aside.
  const adopted = least(plain || better ? own : stated);
  if (!adopted || !best) {
    return { fit: opened(own[0].fit, Math.PI), adopted: own[0].meant, explanation: null, unexplained: true, ownU: 0 };
  }
  const living = alive([...own, ...others].filter(({ evidence }) => Number.isFinite(evidence)));
  let u = coveringU(adopted, living);
  // Times without sense are no explanation: something else may be wrong.
  if (!byTime(adopted.meant)) u = Math.max(u, apartFrom(own[0], adopted.fit.state[AZIMUTH]));
  if (best.fit.spread > WORST_SPREAD) u = Math.PI;
  const unexplained = best.fit.spread > 1 || !best.fit.converged;
  const alike = living.filter(({ evidence }) => evidence <= best.evidence + ALIKE);
  const torn = plain && coveringU(adopted, alike) > 1.5 * azimuthU(adopted.fit);
  const asked = (better || torn) && !unexplained && tells(record.board);
  const explanation = asked ? explained(best, better, alike) : null;
  const { fit, meant } = chosen ? ofAll(whole.board, chosen, adopted) : adopted;
  return { fit: opened(fit, u), adopted: meant, explanation, unexplained, ownU: azimuthU(fit) };
}

/* Whether a reading does clearly better than the record as it stands. */
function doesBetter(board, best, stated) {
  return Math.min(...stated.map(({ evidence }) => evidence)) > best.evidence + ALIKE || readBackwards(board, best);
}

const readBackwards = (board, best) => best.meant.kind === AS_STATED && senseCost(board, best.fit) > 5;

/* The readings to be told of, of those as likely as the best, one of each kind; null where there
   is none. */
function explained(best, better, alike) {
  const backwards = readBackwards(best.meant.board, best);
  const told = new Map();
  for (const { meant } of alike) {
    if (meant.kind === "mark") continue;
    if (!backwards && meant.kind === AS_STATED) continue;
    // What was stated explains the marks as well: only a slip can be asked about.
    if (!better && meant.setsAside.length) continue;
    const key = meant.setsAside.join("+") || meant.words;
    if (!told.has(key)) told.set(key, meant);
  }
  return told.size ? [...told.values()].slice(0, MOST_SAID) : null;
}

/* Whether marks are enough, and far enough apart, to accuse anything: else all would fit. */
function tells({ marks, count, tolerances }) {
  const reach = (of) => Math.max(...marks.map(of)) - Math.min(...marks.map(of));
  return count >= FEWEST_MARKS && Math.hypot(reach(({ x }) => x), reach(({ y }) => y)) > tolerances.mark_sd_mm;
}

/* The fit, its azimuth no better known than that. */
export function opened(fit, u) {
  const covariance = fit.covariance.map((row) => [...row]);
  covariance[AZIMUTH][AZIMUTH] = Math.max(covariance[AZIMUTH][AZIMUTH], u ** 2);
  return { ...fit, covariance };
}

/* The adopted reading of a thinned board, adjusted to all its marks. */
function ofAll(board, chosen, { meant, fit: of }) {
  const read = board.with({ tolerances: meant.board.tolerances });
  const places = chosen.map((there, n) => (there ? n : -1)).filter((n) => n >= 0);
  const utc = board.marks.map((_, n) => {
    const after = places.findIndex((place) => place >= n);
    return of.utc[after < 0 ? places.length - 1 : after];
  });
  const fit = adjust(read, meant.freed, { ...of, utc });
  return { fit, meant: { ...meant, board: read, fit } };
}
