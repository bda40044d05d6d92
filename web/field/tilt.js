/* The board's tilt by the telephone's own sensor, laid on it twice, turned end for end.

   A reading is the mean pull [x, y, z] along the telephone's axes (right, top, out of the
   screen). Lying with its top toward the board's +y it shows the board's slope and its own error;
   turned end for end the slope changes sign and the error does not. */

const DEGREE = Math.PI / 180;
/* How well a telephone lies on a board, each axis (*common practice, no source*). */
export const SEAT_SD_DEG = 0.05;

/* Slopes of the telephone's right and top, degrees; plus where that side is the higher. */
export function slopes([x, y, z]) {
  return { x: Math.atan2(x, z) / DEGREE, y: Math.atan2(y, z) / DEGREE };
}

/* Mean and scatter of many pulls. */
export function mean(pulls) {
  const middle = [0, 1, 2].map((axis) => pulls.reduce((total, pull) => total + pull[axis], 0) / pulls.length);
  const all = pulls.map(slopes);
  const centre = slopes(middle);
  const spread = (axis) => Math.sqrt(all.reduce((total, each) => total + (each[axis] - centre[axis]) ** 2, 0)
    / Math.max(1, all.length - 1));
  return { ...centre, sd: Math.max(spread("x"), spread("y")) / Math.sqrt(pulls.length) };
}

/* The board's own slopes from the two readings, the sensor's error between them, and how well the
   slopes are known, degrees. */
export function boardTilt(first, turned) {
  return {
    x: (first.x - turned.x) / 2,
    y: (first.y - turned.y) / 2,
    own: Math.hypot(first.x + turned.x, first.y + turned.y) / 2,
    sd: Math.hypot(SEAT_SD_DEG / Math.SQRT2, first.sd / 2, turned.sd / 2),
  };
}

/* What the record can say of a board that stays as it is: level within this, each axis. */
export const levelSd = ({ x, y, sd }) => Math.hypot(Math.max(Math.abs(x), Math.abs(y)), sd);
