/* The reference line of a set-up, by its angle or by a point on it, and drawn again at the end:
   orient/tables/reference_line.py in the page. */
import { DEGREE } from "../shared/sun.js";
import { given, number, stated } from "./rows.js";

/* Directions and their standard uncertainties in degrees; NaN where there is no line. */
export function lineOf(table, setup) {
  const opened = drawn(table, setup, "reference_angle_deg", "reference_x_mm", "reference_y_mm");
  const closed = drawn(table, setup, "reference_close_deg", "reference_close_x_mm", "reference_close_y_mm");
  return { angle: opened.angle, sd: opened.sd, closeAngle: closed.angle, closeSd: closed.sd };
}

function drawn(table, setup, angleName, xName, yName) {
  const [x, y] = [number(setup[xName]), number(setup[yName])];
  const byPoint = Number.isFinite(x) && Number.isFinite(y) && (x !== 0 || y !== 0);
  const angle = byPoint ? (Math.atan2(x, y) / DEGREE + 360) % 360 : number(setup[angleName]);
  const own = byPoint
    ? Math.min(45, Math.hypot(stated(table, setup, "mark_sd_mm"), stated(table, setup, "plumb_sd_mm"))
      / Math.hypot(x, y) / DEGREE)
    : table.angle_sd_deg;
  return { angle, sd: given(setup.reference_sd_deg) ? number(setup.reference_sd_deg) : own };
}
