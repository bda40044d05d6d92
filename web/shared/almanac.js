/* The sun of any place on any day of the page's almanac, to about 0.0001°: for records that may
   name another day or place than they mean. `Sun` is exact, for the page's own sites and days.

   `almanac`: {first, declination_deg, equation_deg}, a value a day from 0 h UTC of day `first`
   since 1970; the equation is the sun's hour angle at Greenwich less the mean sun's. */
import { DEGREE } from "./sun.js";

const DAY_S = 86400;
const PARALLAX = 8.794 / 3600 * DEGREE;
const SUN_RATE = 2 * Math.PI / DAY_S;

/* Whether an almanac has the whole day around an instant. */
export function covers(almanac, utc) {
  const number = utc / DAY_S - almanac.first;
  return number > 3 && number < almanac.declination_deg.length - 4;
}

export class AnySun {
  constructor(almanac, latitude, longitude, air) {
    Object.assign(this, { almanac, latitude, longitude, air });
    [this.sine, this.cosine] = [Math.sin(latitude * DEGREE), Math.cos(latitude * DEGREE)];
  }

  /* Declination and hour angle here, radians. */
  place(utc) {
    const day = utc / DAY_S;
    const number = Math.floor(day);
    const at = (values) => between(values, number - this.almanac.first, day - number) * DEGREE;
    return {
      declination: at(this.almanac.declination_deg),
      hour: at(this.almanac.equation_deg) + (day - number) * 2 * Math.PI - Math.PI + this.longitude * DEGREE,
    };
  }

  direction(utc) {
    const { declination, hour } = this.place(utc);
    const toward = this.level(Math.cos(declination) * Math.cos(hour),
      Math.cos(declination) * Math.sin(hour), Math.sin(declination));
    toward[2] -= PARALLAX;
    const size = Math.hypot(...toward);
    return toward.map((part) => part / size);
  }

  /* How the direction changes per second: the sun's own motion in declination is a part in 10⁴. */
  rate(utc) {
    const { declination, hour } = this.place(utc);
    return this.level(-Math.cos(declination) * Math.sin(hour), Math.cos(declination) * Math.cos(hour), 0)
      .map((part) => part * SUN_RATE);
  }

  /* East, north, up of a direction toward the meridian, the west and the pole. */
  level(meridian, west, pole) {
    return [-west, this.cosine * pole - this.sine * meridian, this.sine * pole + this.cosine * meridian];
  }

  /* The transit nearest to an instant. */
  noonNear(utc) {
    let instant = utc;
    for (let n = 0; n < 4; n += 1) {
      const { hour } = this.place(instant);
      instant -= Math.atan2(Math.sin(hour), Math.cos(hour)) / SUN_RATE;
    }
    return instant;
  }
}

/* A cubic through the four values about one, `part` of a step after it. */
function between(values, number, part) {
  const [a, b, c, d] = [-1, 0, 1, 2].map((off) => values[number + off]);
  return -a * part * (part - 1) * (part - 2) / 6 + b * (part + 1) * (part - 1) * (part - 2) / 2
    - c * (part + 1) * part * (part - 2) / 2 + d * (part + 1) * part * (part - 1) / 6;
}
