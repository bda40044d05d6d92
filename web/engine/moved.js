/* A board that turned or slid between two marks: orient/observation/mistakes/moved.py. */
import { DEGREE } from "../shared/sun.js";
import { adjust, linearised } from "./adjustment.js";
import { closingCost, isTimed, reading } from "./evidence.js";
import { inverse, solve, solveMany, sum, zeros } from "./matrix.js";

const CLEAR_TURN = 16;
const CLEAR_SHIFT = 19;
export const CLEAR_CLOSING = 6.63;
const FEWEST = 6;
const FEWEST_STANDING = 4;
const TURN_RAD = 1.5 * DEGREE;
const SHIFT_MM = 8;
const PRICE = 9;

/* Whether a turn or a slide between two marks explains what chance hardly ever does. The kept marks
   are asked, then all: a break may spare marks that were left out, and gains the price of leaving
   them out. On each side of it a kept mark stands: a wild mark at the end is no sign of a board
   that moved. `short` is how much less than a clear gain will do. */
export function clearlyMoved(board, fit, short = 0) {
  if (clear(breaks(...keptOf(board, fit)), -short)) return true;
  return !fit.kept.every(Boolean) && clear(breaks(board, fit, fit.kept), forced(board, fit) - short);
}

const keptOf = (board, fit) => [board.of(fit.kept), { ...fit, utc: fit.utc.filter((_, n) => fit.kept[n]) }];

const clear = (both, less) => both !== null
  && (both[0].gain - less > CLEAR_TURN || both[1].gain - less > CLEAR_SHIFT);

/* How much more the sum of squares is with the marks left out than at their price. */
const forced = (board, fit) =>
  leastSquares(board, fit) - leastSquares(...keptOf(board, fit)) - (fit.cost - fit.keptCost);

/* The least sum of squares, linear about the fit, but for a constant; NaN with a mark at night. */
function leastSquares(board, fit) {
  const linear = linearised(board, fit);
  if (!linear) return NaN;
  const step = solve(linear.normal, linear.right);
  return sum(linear.marks.flatMap(({ told }) => told.map((value) => value ** 2)))
    - sum(linear.right.map((value, k) => value * step[k]));
}

/* The turn, and the shift, between two marks that would lower the sum of squares most:
   {later, gain, size, u} each, `later` the numbers of the marks after the break. Linear about the
   fit. Null with few marks, or one at night. On each side of a break stands one of the marks
   `standing`, of all where not given. */
function breaks(board, fit, standing = board.marks.map(() => true)) {
  if (board.count < FEWEST || standing.filter(Boolean).length < FEWEST_STANDING) return null;
  const about = leftAbout(board, fit);
  if (!about) return null;
  const order = inTime(board);
  const stands = order.map((n) => standing[n]);
  const between = [stands.indexOf(true) + 1, stands.lastIndexOf(true)];
  return [best(order, between, columnsOf(board, about, true), about, 1),
    best(order, between, columnsOf(board, about, false), about, 2)];
}

/* The marks in the order in which they were made: by their times, else as written. */
export function inTime(board) {
  const order = board.marks.map((_, n) => n);
  if (!board.marks.every((mark) => isTimed(board, mark))) return order;
  return order.sort((a, b) => board.marks[a].watchUtc - board.marks[b].watchUtc || a - b);
}

/* What is left of the residuals when the unknowns have followed them; null with a mark at night. */
function leftAbout(board, fit) {
  const linear = linearised(board, fit);
  if (!linear) return null;
  const step = solve(linear.normal, linear.right);
  const left = linear.marks.map(({ told, design }) =>
    told.map((value, i) => value - sum(design[i].map((part, k) => part * step[k]))));
  return { ...linear, left };
}

/* How each mark's residuals would change with a turn, or with a shift, of the board: 2 × 1 or 2. */
function columnsOf(board, { marks }, turn) {
  if (!turn) return marks.map(({ whiten }) => whiten);
  return marks.map(({ whiten }, n) => {
    const { x, y } = board.marks[n];
    return whiten.map((row) => [row[0] * y - row[1] * x]);
  });
}

/* Sums over some marks, and what a break of those alone would be. */
function brokenAt(chosen, columns, { marks, left, normal }, steady) {
  const width = columns[0][0].length;
  const right = new Array(width).fill(0);
  const square = zeros(width);
  const shared = Array.from({ length: width }, () => new Array(normal.length).fill(0));
  for (const n of chosen) {
    for (let i = 0; i < 2; i += 1) {
      for (let j = 0; j < width; j += 1) {
        const column = columns[n][i][j];
        right[j] += column * left[n][i];
        for (let k = 0; k < width; k += 1) square[j][k] += column * columns[n][i][k];
        for (let k = 0; k < normal.length; k += 1) shared[j][k] += column * marks[n].design[i][k];
      }
    }
  }
  const taken = solveMany(normal, normal.map((_, k) => shared.map((row) => row[k])));
  const free = square.map((row, j) => row.map((value, k) =>
    value - sum(shared[j].map((part, m) => part * taken[m][k])) + (j === k ? steady : 0)));
  const size = solve(free, right);
  return { size, free, gain: sum(size.map((part, j) => part * right[j])) };
}

/* A turn shows in a single mark, first or last: only along its circle. A slide needs two. */
function best(order, [first, last], columns, about, fewest) {
  const trace = sum(columns.map((column) => sum(column.flat().map((value) => value ** 2))));
  const steady = 1e-9 * (1 + trace);
  let found = null;
  for (let place = Math.max(first, fewest); place <= Math.min(last, order.length - fewest); place += 1) {
    const each = brokenAt(order.slice(place), columns, about, steady);
    if (!found || each.gain > found.gain) found = { ...each, place };
  }
  const spread = inverse(found.free);
  return { later: order.slice(found.place), gain: found.gain, size: found.size,
    u: spread.map((row, n) => Math.sqrt(Math.max(row[n], 0))) };
}

/* The board turned, or slid, between two marks. */
export const moved = (record, fit) => [...[true, false].map((turn) => putBack(record, fit, turn)).filter(Boolean),
  ...(closingCost(record.board) > CLEAR_CLOSING ? [unseen(record.board, fit)] : [])];

/* The closing sight alone tells of a turn: no mark was made after it, or none before. */
function unseen(board, fit) {
  const { turn } = board.closing;
  const words = `the board was turned by ${Math.abs(turn / DEGREE).toFixed(1)}° before its first mark or after its `
    + "last, or the reference line was drawn wrong once, at the start or at the end";
  return reading(words, "moved", board, { price: PRICE, open: Math.abs(turn), turn, fit });
}

function putBack({ board }, stated, turn) {
  let [mended, fit, found, later, u] = [board, stated, null, null, null];
  let total = turn ? [0] : [0, 0];
  for (let n = 0; n < 4; n += 1) {
    const both = breaks(mended, fit);
    if (!both) return found;
    let each = both[turn ? 0 : 1];
    if (!found && each.gain < (turn ? CLEAR_TURN : CLEAR_SHIFT) / 2) return null;
    if (!found) ({ later, u } = each);
    else {
      const about = leftAbout(mended, fit);
      each = brokenAt(later, columnsOf(mended, about, turn), about, 1e-9);
    }
    total = total.map((part, k) => part + each.size[k]);
    mended = without(board, later, total);
    fit = adjust(mended, {}, fit);
    found = meant(board, mended, fit, later, total, u);
    if (each.size.every((part, k) => Math.abs(part) < 0.1 * u[k])) break;
  }
  return found;
}

/* The board with its later marks put back. */
function without(board, later, size) {
  const chosen = new Set(later);
  const [c, s] = [Math.cos(size[0]), Math.sin(size[0])];
  return board.with({}, board.marks.map((mark, n) => {
    if (!chosen.has(n)) return mark;
    const { x, y } = mark;
    return size.length === 2 ? { ...mark, x: x - size[0], y: y - size[1] }
      : { ...mark, x: x * c - y * s, y: y * c + x * s };
  }));
}

function meant(board, mended, fit, later, size, u) {
  const gone = new Set(later);
  const earlier = inTime(board).filter((n) => !gone.has(n)).pop();
  const between = `between mark ${board.marks[earlier].name} and mark ${board.marks[later[0]].name}`;
  const turn = size.length === 1;
  const wide = turn ? TURN_RAD : SHIFT_MM;
  const words = turn ? `the board was turned by ${Math.abs(size[0] / DEGREE).toFixed(1)}° ${between}`
    : `the board slid, or the rod was pushed, by ${Math.hypot(...size).toFixed(1)} mm ${between}`;
  // A freedom found among so many places, and how closely the marks fix it.
  const freedom = sum(u.map((each) => 2 * Math.log(wide / Math.max(each, 1e-6))))
    + sum(size.map((part) => (part / wide) ** 2));
  return reading(words, "moved", mended, {
    price: PRICE + freedom + 2 * Math.log(Math.max(1, board.count - 3)),
    open: turn ? Math.abs(size[0]) : 0,
    turn: turn ? size[0] : 0,
    fit,
    since: board.marks[earlier].watchUtc,
  });
}
