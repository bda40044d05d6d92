/* A board as its crew recorded it: orient/observation/board.py in the page. */
import { altitudeDeg, DEGREE } from "../shared/sun.js";
import { AZIMUTH, EDGE, HEIGHT, lightAtBoard, tip, tipPartials, UNKNOWNS, WATCH } from "./shadow.js";

export const LOWEST_LIGHT_DEG = 0.5;
export const HALF_DAY_S = 43200;

export class Board {
  /* `marks`: {x, y, watchUtc (NaN without a time), half (−1, 0, 1), ring, name}, mm and seconds.
     `stated`: {noon, height, watch, watchError, edge, semidiameter (rad), latitude, closing {turn, sd} (rad), tolerances}. */
  constructor(sun, stated, marks) {
    this.sun = sun;
    this.marks = marks;
    Object.assign(this, stated);
  }

  get count() {
    return this.marks.length;
  }

  nominal() {
    const state = new Array(UNKNOWNS).fill(0);
    [state[HEIGHT], state[WATCH], state[EDGE]] = [this.height, this.watchError, this.edge];
    return state;
  }

  /* The same board with other marks, or with something else stated of it. */
  of(chosen) {
    return this.with({}, this.marks.filter((_, n) => chosen[n]));
  }

  /* The same marks under another sun, at another noon. */
  under(sun, noon, latitude, marks = this.marks) {
    const { sun: _, marks: __, ...own } = this;
    return new Board(sun, { ...own, noon, latitude, lit: null }, marks);
  }

  with(stated, marks = this.marks) {
    const { sun, marks: _, ...own } = this;
    return new Board(sun, { ...own, ...stated }, marks);
  }

  /* The standard uncertainty of each unknown before any mark; infinite for the azimuth. */
  priorSd() {
    const { plumb_sd_mm: plumb, level_sd_deg: level, height_sd_mm: height, watch_sd_s: watch,
      edge_sd_deg: edge } = this.tolerances;
    const slope = Math.tan(level * DEGREE);
    return [Infinity, plumb, plumb, slope, slope, height, watch, edge * DEGREE, 0];
  }

  light(utc, state = this.nominal()) {
    const toward = this.sun.direction(utc);
    return toward && lightAtBoard(toward, state, this.sun.air);
  }

  tipAt(utc, state) {
    const light = this.light(utc, state);
    return light ? tip(light, state) : [NaN, NaN];
  }

  /* The tip and its partials; null where there is no light. */
  tipAndPartials(utc, state) {
    const light = this.light(utc, state);
    if (!light) return null;
    return { tip: tip(light, state), partials: tipPartials(light, this.sun.rate(utc), state) };
  }

  shadowAzimuth(utc) {
    const light = this.light(utc);
    return light ? Math.atan2(-light[0], -light[1]) : NaN;
  }

  /* First and last instant of the day with light enough for a shadow. */
  daylight() {
    if (!this.lit) {
      let [first, last] = [NaN, NaN];
      for (let after = -HALF_DAY_S; after <= HALF_DAY_S; after += 60) {
        const toward = this.sun.direction(this.noon + after);
        if (toward && altitudeDeg(toward) > LOWEST_LIGHT_DEG) {
          if (Number.isNaN(first)) first = this.noon + after;
          last = this.noon + after;
        }
      }
      this.lit = Number.isNaN(first) ? [this.noon, this.noon] : [first, last];
    }
    return this.lit;
  }
}

export const lengthOf = (mark) => Math.hypot(mark.x, mark.y);

/* Board direction of a mark, clockwise from +y, radians. */
export const directionOf = (mark) => Math.atan2(mark.x, mark.y);

export { AZIMUTH };
