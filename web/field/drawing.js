/* The board as drawn: marks, their residuals made larger, true north, the reference line. */
import { AZIMUTH } from "../engine/shadow.js";
import { made } from "./dom.js";

const SIZE = 320;
const EDGE = 24;
const LARGER = 20;
const NAMES_APART = 18;

export function drawing({ board, fit, row, line }) {
  const far = Math.max(board.height / 2, ...board.marks.map(({ x, y }) => Math.max(Math.abs(x), Math.abs(y))));
  const scale = (SIZE / 2 - EDGE) / far;
  const at = (x, y) => [SIZE / 2 + scale * x, SIZE / 2 - scale * y];
  const end = (direction, length) => at(length * Math.sin(direction), length * Math.cos(direction));
  const parts = [made("path", { class: "axis", d: `M${EDGE / 2} ${SIZE / 2}H${SIZE - EDGE / 2}M${SIZE / 2} ${EDGE / 2}V${SIZE - EDGE / 2}` })];
  const [right, up] = [at(far, 0), at(0, far)];
  parts.push(label(right[0] + 4, right[1] - 6, "+x", "note", "end"), label(up[0] + 6, up[1] + 4, "+y", "note", "start"));
  let named = null;
  board.marks.forEach((mark, n) => {
    const [x, y] = at(mark.x, mark.y);
    parts.push(...markParts(x, y, fit.kept[n], fit.residuals[n], scale));
    // Names that would run into each other are left out, those of marks left out never.
    if (fit.kept[n] && named && Math.hypot(x - named[0], y - named[1]) < NAMES_APART) return;
    named = [x, y];
    parts.push(label(x + 5, y - 5, mark.name, "serial", "start"));
  });
  if (row.board_azimuth_deg !== null) {
    const north = -fit.state[AZIMUTH];
    const [x, y] = end(north, far * 0.94);
    const [tailX, tailY] = end(north + Math.PI, far * 0.94);
    parts.push(made("path", { class: "true-north", d: `M${tailX} ${tailY}L${x} ${y}` }));
    parts.push(label(...end(north, far * 1.05), "N", "letter", "middle"));
  }
  if (Number.isFinite(line.angle)) {
    const direction = line.angle * Math.PI / 180;
    const [x, y] = end(direction, far * 0.9);
    parts.push(made("path", { class: "reference", d: `M${SIZE / 2} ${SIZE / 2}L${x} ${y}` }));
    parts.push(label(...end(direction, far * 0.97), "R", "number", "middle"));
  }
  parts.push(made("path", { class: "foot", d: `M${SIZE / 2 - 5} ${SIZE / 2}h10M${SIZE / 2} ${SIZE / 2 - 5}v10` }));
  const words = `The sheet from above: ${board.count} marks${row.board_azimuth_deg === null ? "" : ", true north N"}`
    + `${Number.isFinite(line.angle) ? ", the reference line R" : ""}.`;
  return [
    made("svg", { class: "drawing", viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": words }, parts),
    made("figcaption", {}, `${words} Misfits are drawn ${LARGER} times their size.`),
  ];
}

function markParts(x, y, kept, residual, scale) {
  const parts = [];
  if (kept && Number.isFinite(residual[0])) {
    parts.push(made("path", { class: "residual",
      d: `M${x} ${y}l${-LARGER * scale * residual[0]} ${LARGER * scale * residual[1]}` }));
  }
  parts.push(kept ? made("circle", { class: "mark", cx: x, cy: y, r: 3 })
    : made("path", { class: "rejected", d: `M${x - 4} ${y - 4}l8 8M${x + 4} ${y - 4}l-8 8` }));
  return parts;
}

const label = (x, y, text, style, anchor) =>
  made("text", { x, y: y + 3, class: style, "text-anchor": anchor }, text);
