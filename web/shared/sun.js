/* The sun of one site, looked up in the table that came with the page.

   Directions are unit vectors [east, north, up], unrefracted, instants seconds of UTC since
   1970. The table has a sample every `step_s` while the sun is up or nearly so; between them a
   cubic through four samples is as good as the samples (orient/pages/lookup.py). */

export const DEGREE = Math.PI / 180;

/* Samples of a run: east, north, up, each of three bytes, two's complement. */
function unpacked(text, scale) {
  const bytes = atob(text);
  const values = new Float64Array(bytes.length / 3);
  for (let n = 0; n < values.length; n += 1) {
    const whole = (bytes.charCodeAt(3 * n) << 24) | (bytes.charCodeAt(3 * n + 1) << 16)
      | (bytes.charCodeAt(3 * n + 2) << 8);
    values[n] = (whole >> 8) / scale;
  }
  return values;
}

/* Weights of the samples −1, 0, 1, 2 steps from the one before an instant. */
const weightsAt = (t) => [-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2,
  -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6];

/* How those weights grow with t. */
const growthAt = (t) => [-(3 * t * t - 6 * t + 2) / 6, (3 * t * t - 4 * t - 1) / 2,
  -(3 * t * t - 2 * t - 2) / 2, (3 * t * t - 1) / 6];

export function altitudeDeg([east, north, up]) {
  return Math.atan2(up, Math.hypot(east, north)) / DEGREE;
}

/* How much the air lifts a body of a true altitude, degrees: Saemundsson's formula, as
   `refraction_deg` of orient/numbers/sun.py has it. */
export function refractionDeg(altitude, air) {
  if (!(altitude >= -1)) return 0;
  const lift = 1.02 / Math.tan((altitude + 10.3 / (altitude + 5.11)) * DEGREE);
  const density = air.pressure_hpa / 1010 * (283 / (273 + air.temperature_c));
  return density * lift / 60;
}

export class Sun {
  constructor(site, table) {
    this.step = table.step_s;
    this.air = { pressure_hpa: site.pressure_hpa, temperature_c: site.temperature_c };
    this.runs = site.runs.map(([start, text]) => ({ start, values: unpacked(text, table.scale) }));
  }

  /* The four samples about an instant, or null by night and outside the table. */
  around(utc) {
    const number = Math.floor(utc / this.step);
    const run = this.runs.find(({ start, values }) =>
      number > start && number + 2 < start + values.length / 3);
    return run ? { values: run.values, first: 3 * (number - 1 - run.start), t: utc / this.step - number }
      : null;
  }

  direction(utc) {
    const found = this.around(utc);
    return found && mixed(found, weightsAt(found.t));
  }

  /* How the direction changes per second; null where it is not known. */
  rate(utc) {
    const found = this.around(utc);
    return found && mixed(found, growthAt(found.t)).map((change) => change / this.step);
  }

  /* Refracted altitude and azimuth of the shadow, degrees; null where the sun is down. */
  shadow(utc) {
    const toward = this.direction(utc);
    if (!toward) return null;
    const altitude = altitudeDeg(toward);
    const seen = altitude + refractionDeg(altitude, this.air);
    if (seen <= 0) return null;
    return {
      azimuth: (Math.atan2(-toward[0], -toward[1]) / DEGREE + 360) % 360,
      altitude: seen,
      length: 1 / Math.tan(seen * DEGREE),
    };
  }
}

function mixed({ values, first }, weights) {
  return [0, 1, 2].map((axis) =>
    weights.reduce((sum, weight, n) => sum + weight * values[first + 3 * n + axis], 0));
}
