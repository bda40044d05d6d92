/* What is to be told at once, while the board still stands: marks that do not fit, mistakes that
   would explain a board that contradicts itself, a closing sight that differs.

   A smaller catalogue than that of orient/observation/mistakes, with its prices: what the page
   cannot tell apart it leaves as wide as the readings lie apart. */
import { adjust, apartOf, azimuthU, pulled, withVariance } from "./adjustment.js";
import { lengthOf } from "./board.js";
import { median, turnWithin } from "./matrix.js";
import { FOOT_X, FOOT_Y, HEIGHT, WATCH } from "./shadow.js";
import { middleOf } from "./starts.js";

const SLIP = 10;
const FREED = 30;
const CLEAR_GAIN = 30;
const ALIKE = 12;
const FEWEST_MARKS = 4;
const FEW_MARKS = 8;
// Marks that scatter more than this many times what was stated fix no line.
const WORST_SPREAD = 4;
const COVERAGE_95 = 1.959964;
const DEGREE = Math.PI / 180;

/* The fit to state, as wide as what is alive, with its flags and [{code, text, mark, since}] to tell;
   `since` is the watch's instant after which the board seems to have moved. */
export function lookout(board, { fit, reading, tried }, line) {
  const flags = [
    ...(reading.watch || reading.byTime === false ? ["watch-doubtful"] : []),
    ...(reading.height ? ["height-doubtful"] : []),
  ];
  const told = marksLeftOut(board, fit);
  let stated = fit;
  const doubtful = tried.length > 1 || pulled(fit);
  if (doubtful && board.count >= FEWEST_MARKS) {
    const found = explained(board, tried);
    if (found.length) {
      flags.push("record-doubtful");
      const since = found[0].since || null;
      told.unshift({ code: "record", since, text: `${found.map(({ words }) => words).join("; or: ")}.` });
      stated = widened(stated, Math.max(...found.map(({ fit: other, open }) =>
        Math.min(Math.PI, Math.abs(apartOf(stated, other)) + open))));
    } else if (!settled(board, fit)) {
      told.unshift({ code: "record", text: "The marks contradict what was stated of the board, and "
        + "no single mistake explains it. The line is as uncertain as the readings lie apart." });
      const readings = [...tried, ...moved(board)];
      const apart = readings.map(({ fit: other, open = 0 }) => Math.abs(apartOf(stated, other)) + open);
      stated = widened(stated, fit.spread > WORST_SPREAD ? Math.PI : Math.min(Math.PI, Math.max(...apart)));
    }
  }
  if (board.count <= FEW_MARKS && fit.kept.includes(false) && stated === fit) {
    // Of few marks one may be wrong unseen: the line is as wide as without any one of them.
    told.unshift({ code: "record", text: "With so few marks, one of which does not fit, another may be wrong "
      + "unseen: the line is as uncertain as it would be without any one of them. More marks settle it." });
    stated = withVariance(stated, Math.max(...withoutEach(board).map((other) => apartOf(fit, other) ** 2)));
  }
  const closing = closingSight(line);
  if (closing) {
    flags.push("board-moved");
    told.unshift(closing);
    stated = withVariance(stated, (closing.apart * DEGREE) ** 2);
  }
  return { fit: stated, flags, told };
}

const widened = (fit, apart) => (apart > 3 * azimuthU(fit) ? withVariance(fit, apart ** 2) : fit);

/* Whether the line as drawn at the end differs from the first by more than drawing allows. */
export function closingSight(line) {
  const apart = turnWithin((line.closeAngle - line.angle) * DEGREE) / DEGREE;
  if (!Number.isFinite(apart)) return null;
  const allowed = COVERAGE_95 * Math.hypot(line.sd, line.closeSd);
  if (Math.abs(apart) <= allowed) return null;
  return {
    code: "moved",
    apart,
    text: `The closing sight lies ${Math.abs(apart).toFixed(1)}° from the first, more than the `
      + `± ${allowed.toFixed(1)}° that drawing both allows: the board has moved since then, or one of them is wrong.`,
  };
}

const withoutEach = (board) => board.marks.map((_, left) => adjust(board.of(board.marks.map((__, n) => n !== left))));

// One mark at a time ---------------------------------------------------------------------

function marksLeftOut(board, fit) {
  return board.marks.map((mark, n) => ({ mark, n })).filter(({ n }) => !fit.kept[n])
    .map(({ mark, n }) => {
      const off = Math.hypot(...fit.residuals[n]);
      const lies = Number.isFinite(off) ? `it lies ${off.toFixed(0)} mm from its place`
        : "the sun is not up at its time";
      const slips = slipsOfPen(mark).filter(({ x, y, later = 0 }) => {
        const [tipX, tipY] = board.tipAt(fit.utc[n] + later, fit.state);
        return Math.hypot(x - tipX, y - tipY) < 3 * board.tolerances.mark_sd_mm;
      });
      const hint = slips.length === 1 ? ` It would fit if ${slips[0].words}.` : "";
      return { code: "mark", mark: mark.name,
        text: `Mark ${mark.name} does not fit the others: ${lies}.${hint} Measure it again, or strike it out.` };
    });
}

const signed = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)}`;

function slipsOfPen({ x, y }) {
  const slips = [
    { words: `its x were ${signed(-x)} mm`, x: -x, y },
    { words: `its y were ${signed(-y)} mm`, x, y: -y },
    { words: "its x and y were swapped", x: y, y: x },
    { words: "its time were 1 h later", x, y, later: 3600 },
    { words: "its time were 1 h earlier", x, y, later: -3600 },
    { words: "its time were 10 min later", x, y, later: 600 },
    { words: "its time were 10 min earlier", x, y, later: -600 },
  ];
  for (const step of [-100, -10, 10, 100]) {
    slips.push({ words: `its x were ${signed(x + step)} mm`, x: x + step, y });
    slips.push({ words: `its y were ${signed(y + step)} mm`, x, y: y + step });
  }
  return slips;
}

// The board as a whole -------------------------------------------------------------------

/* What would explain the marks, likeliest first: [{words, fit, open}]; none where nothing does. */
function explained(board, tried) {
  const before = tried[0].fit;
  let candidates = believable([...mirrored(board), ...scaled(board), ...byWatch(board, tried)]);
  if (!candidates.length) candidates = believable([...byHeight(board, tried), ...moved(board), ...byFoot(board)]);
  const scored = candidates.map((each) => ({ ...each, score: scoreOf(each) }))
    .sort((one, other) => one.score - other.score);
  if (!scored.length || scored[0].score > before.cost - CLEAR_GAIN) return [];
  return scored.filter(({ score }) => score < scored[0].score + ALIKE).slice(0, 3);
}

/* The density of the marks as recorded: each of their two coordinates grows by the scale. */
const scoreOf = ({ fit, price, scale = 1, board }) => fit.cost + price - 4 * board.count * Math.log(scale);

const believable = (readings) => readings.map((each) => ({ open: 0, ...each, fit: each.fit || adjust(each.board) }))
  .filter(({ board, fit }) => settled(board, fit));

/* Whether the marks lie as the tolerances allow. */
function settled(board, fit) {
  const rejected = fit.kept.filter((kept) => !kept).length;
  const unforced = Math.max(...fit.priorMisfit.map(Math.abs)) < 4;
  return fit.converged && fit.spread === 1 && rejected <= Math.max(1, Math.floor(board.count / 5)) && unforced;
}

const changed = (board, change) => board.with({}, board.marks.map((mark, n) => ({ ...mark, ...change(mark, n) })));

/* Each of the mistakes turns the sheet's north another way, and the marks cannot tell them apart. */
const mirrored = (board) => [{
  words: "x and y look swapped, or all x, or all y, have the wrong sign (the sheet is mirrored)",
  board: changed(board, ({ x }) => ({ x: -x })),
  price: SLIP,
  open: Math.PI,
}];

function scaled(board) {
  return [["centimetres", 10], ["inches", 25.4]].flatMap(([unit, factor]) => [
    { words: `the marks look measured in ${unit}, not in millimetres`, price: SLIP, scale: factor,
      board: changed(board, ({ x, y }) => ({ x: x * factor, y: y * factor })) },
    { words: `the rod's height looks to be in ${unit}: ${(board.height * factor).toFixed(0)} mm`,
      price: SLIP, board: board.with({ height: board.height * factor }) },
  ]);
}

function byWatch(board, tried) {
  const freed = tried.find(({ reading }) => reading.name === "watch wrong");
  if (!freed || board.watch !== "trusted") return [];
  const off = freed.fit.state[WATCH] - board.watchError;
  const u = Math.sqrt(freed.fit.covariance[WATCH][WATCH]);
  const readings = [{ words: `the watch looks ${Math.abs(off / 60).toFixed(0)} min ${off > 0 ? "fast" : "slow"}`,
    board, fit: freed.fit, price: FREED }];
  const halves = Math.round(off / 1800);
  if (halves && Math.abs(off - 1800 * halves) < Math.max(240, 4 * u)) {
    const hours = Math.abs(halves / 2);
    readings.unshift({
      words: `the watch looks ${hours} h ${halves > 0 ? "ahead of" : "behind"} the site's clock `
        + "(summer time, or another zone)",
      board: changed(board, ({ watchUtc }) => ({ watchUtc: watchUtc - 1800 * halves })),
      price: SLIP,
    });
  }
  return readings;
}

function byHeight(board, tried) {
  const freed = tried.find(({ reading }) => reading.name === "height wrong");
  if (!freed) return [];
  const height = freed.fit.state[HEIGHT];
  return [{ words: `the rod looks ${height.toFixed(1)} mm tall, not ${board.height} mm`, board,
    fit: freed.fit, price: FREED }];
}

function byFoot(board) {
  const wide = board.with({ tolerances: { ...board.tolerances, plumb_sd_mm: 40 } });
  const fit = adjust(wide);
  const off = Math.hypot(fit.state[FOOT_X], fit.state[FOOT_Y]);
  if (off <= 4 * board.tolerances.plumb_sd_mm) return [];
  return [{ words: `the foot looks marked ${off.toFixed(0)} mm from the point plumb under the tip`,
    board: wide, fit, price: FREED + SLIP }];
}

/* The board turned between two marks: later ones lie turned about the foot. */
function moved(board) {
  const all = board.marks.every((mark) => Number.isFinite(mark.watchUtc));
  if (board.watch !== "trusted" || !all || board.count < 2 * FEWEST_MARKS) return [];
  const order = board.marks.map((_, n) => n).sort((a, b) => board.marks[a].watchUtc - board.marks[b].watchUtc);
  const marks = order.map((n) => board.marks[n]);
  const turns = marks.map((mark) => Math.atan2(mark.x, mark.y)
    - board.shadowAzimuth(mark.watchUtc - board.watchError));
  if (!turns.every(Number.isFinite)) return [];
  const middle = middleOf(turns);
  const angles = turns.map((turn) => turnWithin(turn - middle));
  const { after, step } = breakOf(angles, marks.map(lengthOf));
  const later = new Set(order.slice(after));
  let by = step;
  let turned = turnedBack(board, later, by);
  let fit = adjust(turned);
  for (let n = 0; n < 3; n += 1) {
    by += stillTurned(turned, fit, later);
    turned = turnedBack(board, later, by);
    fit = adjust(turned);
  }
  return [{
    words: `the board looks turned by ${Math.abs(by / DEGREE).toFixed(1)}° between mark ${marks[after - 1].name} `
      + `and mark ${marks[after].name}`,
    since: marks[after - 1].watchUtc,
    board: turned,
    fit,
    price: FREED + SLIP,
    open: Math.abs(by),
  }];
}

/* Where a row of angles steps, and by how much, by the least sum of absolute misses. */
function breakOf(angles, lengths) {
  const missed = (from, to) => {
    const middle = median(angles.slice(from, to));
    let total = 0;
    for (let n = from; n < to; n += 1) total += Math.abs(angles[n] - middle) * lengths[n];
    return total;
  };
  let best = { after: 2, miss: Infinity };
  for (let place = 2; place < angles.length - 1; place += 1) {
    const miss = missed(0, place) + missed(place, angles.length);
    if (miss < best.miss) best = { after: place, miss };
  }
  return { after: best.after, step: median(angles.slice(best.after)) - median(angles.slice(0, best.after)) };
}

/* A turn of `by` clockwise on the sheet taken off the later marks. */
function turnedBack(board, later, by) {
  const [cosine, sine] = [Math.cos(by), Math.sin(by)];
  return changed(board, ({ x, y }, n) => (later.has(n)
    ? { x: x * cosine - y * sine, y: x * sine + y * cosine } : {}));
}

/* How much the later marks are still turned clockwise against the others, by their residuals. */
function stillTurned(board, fit, later) {
  const of = (isLater) => {
    let [across, weight] = [0, 0];
    board.marks.forEach(({ x, y }, n) => {
      if (!fit.kept[n] || later.has(n) !== isLater) return;
      across += y * fit.residuals[n][0] - x * fit.residuals[n][1];
      weight += x * x + y * y;
    });
    return weight ? across / weight : NaN;
  };
  const turn = of(true) - of(false);
  return Number.isFinite(turn) ? turn : 0;
}
