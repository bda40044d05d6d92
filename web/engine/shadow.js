/* The shadow of a rod's tip on a board, level or not: orient/numbers/shadow.py in the page.

   A state is an array in the order of UNKNOWNS there: board azimuth (rad), foot x, y (mm),
   slope x, y, height (mm), watch error (s), edge (rad), latitude (rad). */
import { altitudeDeg, DEGREE, refractionDeg } from "../shared/sun.js";

export const [AZIMUTH, FOOT_X, FOOT_Y, SLOPE_X, SLOPE_Y, HEIGHT, WATCH, EDGE, LATITUDE] =
  [0, 1, 2, 3, 4, 5, 6, 7, 8];
export const UNKNOWNS = 9;

/* A direction lifted in altitude by an angle, its azimuth kept. */
export function raiseLight([east, north, up], lift) {
  const level = Math.hypot(east, north);
  const stretch = level > 0 ? Math.cos(lift) - Math.sin(lift) * up / level : 1;
  return [east * stretch, north * stretch, up * Math.cos(lift) + level * Math.sin(lift)];
}

/* The same light in the axes of a site farther north by `shift`. */
export function shiftLatitude([east, north, up], shift) {
  return [east, north * Math.cos(shift) - up * Math.sin(shift),
    up * Math.cos(shift) + north * Math.sin(shift)];
}

/* The light as it reaches a board in a state: latitude, refraction and edge in it. */
export function lightAtBoard(toward, state, air) {
  const shifted = state[LATITUDE] ? shiftLatitude(toward, state[LATITUDE]) : toward;
  return raiseLight(shifted, refractionDeg(altitudeDeg(shifted), air) * DEGREE + state[EDGE]);
}

/* The light in axes turned with the board, and the reach of its ray from tip to board. */
function toBoard([east, north, up], state) {
  const cosine = Math.cos(state[AZIMUTH]);
  const sine = Math.sin(state[AZIMUTH]);
  const right = east * cosine - north * sine;
  const ahead = east * sine + north * cosine;
  const drop = up - state[SLOPE_X] * right - state[SLOPE_Y] * ahead;
  return { right, ahead, drop, reach: drop > 0 ? state[HEIGHT] / drop : NaN };
}

/* Where the tip's shadow falls, [x, y] in mm; NaN where no light comes from above the board. */
export function tip(light, state) {
  const { right, ahead, reach } = toBoard(light, state);
  const x = -reach * right;
  const y = -reach * ahead;
  const [slopeX, slopeY] = [state[SLOPE_X], state[SLOPE_Y]];
  const z = slopeX * x + slopeY * y;
  const normY = Math.sqrt(1 + slopeY ** 2);
  const normX = normY * Math.sqrt(1 + slopeX ** 2 + slopeY ** 2);
  return [
    state[FOOT_X] + ((1 + slopeY ** 2) * x - slopeX * slopeY * y + slopeX * z) / normX,
    state[FOOT_Y] + (y + slopeY * z) / normY,
  ];
}

/* How the tip moves with each unknown: [change of x, change of y], each of length UNKNOWNS.
   `rate` is the light's change per second. */
export function tipPartials(light, rate, state) {
  const { right, ahead, drop, reach } = toBoard(light, state);
  const [east, north, up] = light;
  const level = Math.hypot(east, north);
  const lift = [level > 0 ? -up * east / level : -1, level > 0 ? -up * north / level : 0, level];
  const moved = (dRight, dAhead, dDrop) => {
    const shortening = reach * dDrop / drop;
    return [-reach * dRight + shortening * right, -reach * dAhead + shortening * ahead];
  };
  const movedLight = (change) => {
    const turned = toBoard(change, [state[AZIMUTH], 0, 0, 0, 0, 1]);
    const dDrop = change[2] - state[SLOPE_X] * turned.right - state[SLOPE_Y] * turned.ahead;
    return moved(turned.right, turned.ahead, dDrop);
  };
  const columns = [
    moved(-ahead, right, state[SLOPE_X] * ahead - state[SLOPE_Y] * right),
    [1, 0],
    [0, 1],
    moved(0, 0, -right),
    moved(0, 0, -ahead),
    [-right / drop, -ahead / drop],
    movedLight(rate.map((value) => -value)),
    movedLight(lift),
    movedLight([0, -up, north]),
  ];
  return [columns.map(([x]) => x), columns.map(([, y]) => y)];
}
