/* What is to be told at once, while the board still stands: mistakes that would explain a board
   that contradicts itself, marks that do not fit, a closing sight that differs. */
import { DEGREE } from "../shared/sun.js";
import { azimuthU } from "./adjustment.js";
import { COVERAGE_95 } from "./evidence.js";
import { turnWithin } from "./matrix.js";
import { AS_STATED, STRAINED } from "./weighing.js";

const WIDENED = 1.5;
/* An azimuth with a standard uncertainty over this is none. */
export const WIDEST_U_DEG = 30;
/* Flags of the statements that every reading told of sets aside. */
const FLAGS = {
  watch: "watch-doubtful", times: "watch-doubtful", rounding: "watch-doubtful",
  height: "height-doubtful", latitude: "height-doubtful",
  level: "level-doubtful", foot: "level-doubtful", corner: "level-doubtful",
  moved: "board-moved", marking: "scatter-large", edge: "scatter-large",
};
const WIDE = "Until it is put right the line is as uncertain as the readings are apart.";

/* The flags of a board, and [{code, text, mark, since}] to tell; `since` is the watch's
   instant after which the board seems to have moved. */
export function lookout(board, read, line) {
  const told = marksLeftOut(board, read.fit);
  const doubt = doubtOf(read);
  if (doubt) told.unshift({ code: "record", ...doubt });
  const closing = closingSight(line);
  return { flags: flagsOf(read), told: closing ? [closing, ...told] : told };
}

export const widened = ({ verdict, apart }) => apart || (verdict && azimuthU(verdict.fit) > WIDENED * verdict.ownU);

/* Whether the record as it stands is the likeliest all the same: then it is not accused. */
const likeliest = ({ fit, verdict, apart }) => !apart && !verdict.explanation && verdict.adopted.kind === AS_STATED
  && azimuthU(fit) <= WIDEST_U_DEG * DEGREE;

function flagsOf(read) {
  const { fit, verdict } = read;
  const flags = [];
  if (verdict && verdict.explanation) {
    const [first, ...rest] = verdict.explanation.map(({ setsAside, kind }) => (setsAside.length ? setsAside : [kind]));
    const shared = first.filter((kind) => rest.every((other) => other.includes(kind)));
    flags.push("record-doubtful", ...shared.filter((kind) => kind in FLAGS).map((kind) => FLAGS[kind]));
  }
  const unexplained = verdict && !verdict.explanation && (verdict.unexplained || fit.spread > 1);
  if (unexplained || (verdict && !fit.converged)) flags.push("scatter-large");
  if (widened(read) && !likeliest(read)) flags.push("record-doubtful");
  return flags;
}

/* What the record leaves in doubt, in words; null where nothing. */
function doubtOf(read) {
  const { verdict } = read;
  if (verdict && verdict.explanation) {
    const moved = verdict.explanation.find(({ since }) => since !== undefined);
    const words = verdict.explanation.map((each) => each.words).join("; or: ");
    return { since: moved && Number.isFinite(moved.since) ? moved.since : null,
      text: `This would explain the marks: ${words}.${widened(read) ? ` ${WIDE}` : ""}` };
  }
  if (verdict && verdict.unexplained) {
    return { text: `The marks contradict what was stated of the board, and no single mistake explains it. ${WIDE}` };
  }
  if (read.apart) {
    return { text: "Pairs, or timed marks, stand farther from the adjustment than chance allows: until that is "
      + "explained the line is as uncertain as they are apart." };
  }
  if (!widened(read)) return strainOf(read.fit);
  return { text: "So few marks can be read in more than one way, one of them being wrong perhaps: the line is as "
    + "uncertain as the readings are apart. More marks settle it." };
}

function strainOf({ worstPull }) {
  if (!(worstPull > STRAINED)) return null;
  return { text: `The marks pull what was stated of the board (level, foot, height, watch, edge) ${Math.sqrt(worstPull).toFixed(1)} `
    + "times as far as its tolerances say: the figure takes them to be too narrow." };
}

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
      + `±${allowed.toFixed(1)}° that drawing both allows: the board has moved since then, or one of them is wrong.`,
  };
}

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
