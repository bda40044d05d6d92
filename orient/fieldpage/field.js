/* Built by web/build.mjs; sources: engine/adjustment.js engine/board.js engine/byhand.js engine/chisquare.js engine/evidence.js engine/line.js engine/lookout.js engine/matrix.js engine/moved.js engine/reading.js engine/reduce.js engine/rows.js engine/shadow.js engine/slips.js engine/starts.js engine/statements.js engine/weighing.js field.js field/dom.js field/drawing.js field/log.js field/marking.js field/north.js field/send.js field/sensor.js field/setup.js field/store.js field/tables.js field/tilt.js field/timesignal.js field/tools.js shared/almanac.js shared/civil.js shared/panel.js shared/sun.js; 32ff980149f33fb0ce3d97525bd01c51c57925c1a1931170d30bd5fc1c32e68f */
(() => {
  // shared/civil.js
  function offset(site, utc) {
    let ahead = site.offsets[0][1];
    for (const [from, seconds2] of site.offsets) if (utc >= from) ahead = seconds2;
    return ahead;
  }
  function instant(site, civilSeconds2) {
    for (let n = 0; n + 1 < site.offsets.length; n += 1) {
      const [next, after] = site.offsets[n + 1];
      if (civilSeconds2 < next + Math.max(site.offsets[n][1], after)) {
        return civilSeconds2 - site.offsets[n][1];
      }
    }
    return civilSeconds2 - site.offsets[site.offsets.length - 1][1];
  }
  var civil = (site, utc) => new Date((utc + offset(site, utc)) * 1e3).toISOString();
  var two = (number2) => String(number2).padStart(2, "0");
  function hoursMinutes(site, utc) {
    return civil(site, Math.round(utc / 60) * 60).slice(11, 16);
  }
  function zoneName(site, utc) {
    const minutes = Math.round(Math.abs(offset(site, utc)) / 60);
    const sign = offset(site, utc) < 0 ? "−" : "+";
    return `${site.timezone}, UTC${sign}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
  }
  function civilSeconds(date, timeOfDay2) {
    return Date.parse(`${date}T00:00:00Z`) / 1e3 + timeOfDay2;
  }

  // shared/sun.js
  var DEGREE = Math.PI / 180;
  function unpacked(text, scale) {
    const bytes = atob(text);
    const values = new Float64Array(bytes.length / 3);
    for (let n = 0; n < values.length; n += 1) {
      const whole2 = bytes.charCodeAt(3 * n) << 24 | bytes.charCodeAt(3 * n + 1) << 16 | bytes.charCodeAt(3 * n + 2) << 8;
      values[n] = (whole2 >> 8) / scale;
    }
    return values;
  }
  var weightsAt = (t) => [
    -t * (t - 1) * (t - 2) / 6,
    (t + 1) * (t - 1) * (t - 2) / 2,
    -(t + 1) * t * (t - 2) / 2,
    (t + 1) * t * (t - 1) / 6
  ];
  var growthAt = (t) => [
    -(3 * t * t - 6 * t + 2) / 6,
    (3 * t * t - 4 * t - 1) / 2,
    -(3 * t * t - 2 * t - 2) / 2,
    (3 * t * t - 1) / 6
  ];
  function altitudeDeg([east, north, up]) {
    return Math.atan2(up, Math.hypot(east, north)) / DEGREE;
  }
  function refractionDeg(altitude, air) {
    if (!(altitude >= -1)) return 0;
    const lift = 1.02 / Math.tan((altitude + 10.3 / (altitude + 5.11)) * DEGREE);
    const density = air.pressure_hpa / 1010 * (283 / (273 + air.temperature_c));
    return density * lift / 60;
  }
  var Sun = class {
    constructor(site, table2) {
      this.step = table2.step_s;
      this.air = { pressure_hpa: site.pressure_hpa, temperature_c: site.temperature_c };
      this.runs = site.runs.map(([start, text]) => ({ start, values: unpacked(text, table2.scale) }));
    }
    /* The four samples about an instant, or null by night and outside the table. */
    around(utc) {
      const number2 = Math.floor(utc / this.step);
      const run = this.runs.find(({ start, values }) => number2 > start && number2 + 2 < start + values.length / 3);
      return run ? { values: run.values, first: 3 * (number2 - 1 - run.start), t: utc / this.step - number2 } : null;
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
        length: 1 / Math.tan(seen * DEGREE)
      };
    }
  };
  function mixed({ values, first }, weights) {
    return [0, 1, 2].map((axis) => weights.reduce((sum2, weight, n) => sum2 + weight * values[first + 3 * n + axis], 0));
  }

  // engine/shadow.js
  var [AZIMUTH, FOOT_X, FOOT_Y, SLOPE_X, SLOPE_Y, HEIGHT, WATCH, EDGE, LATITUDE] = [0, 1, 2, 3, 4, 5, 6, 7, 8];
  var UNKNOWNS = 9;
  function raiseLight([east, north, up], lift) {
    const level = Math.hypot(east, north);
    const stretch = level > 0 ? Math.cos(lift) - Math.sin(lift) * up / level : 1;
    return [east * stretch, north * stretch, up * Math.cos(lift) + level * Math.sin(lift)];
  }
  function shiftLatitude([east, north, up], shift) {
    return [
      east,
      north * Math.cos(shift) - up * Math.sin(shift),
      up * Math.cos(shift) + north * Math.sin(shift)
    ];
  }
  function lightAtBoard(toward, state, air) {
    const shifted = state[LATITUDE] ? shiftLatitude(toward, state[LATITUDE]) : toward;
    return raiseLight(shifted, refractionDeg(altitudeDeg(shifted), air) * DEGREE + state[EDGE]);
  }
  function toBoard([east, north, up], state) {
    const cosine = Math.cos(state[AZIMUTH]);
    const sine = Math.sin(state[AZIMUTH]);
    const right = east * cosine - north * sine;
    const ahead = east * sine + north * cosine;
    const drop = up - state[SLOPE_X] * right - state[SLOPE_Y] * ahead;
    return { right, ahead, drop, reach: drop > 0 ? state[HEIGHT] / drop : NaN };
  }
  function tip(light, state) {
    const { right, ahead, reach } = toBoard(light, state);
    const x = -reach * right;
    const y = -reach * ahead;
    const [slopeX, slopeY] = [state[SLOPE_X], state[SLOPE_Y]];
    const z = slopeX * x + slopeY * y;
    const normY = Math.sqrt(1 + slopeY ** 2);
    const normX = normY * Math.sqrt(1 + slopeX ** 2 + slopeY ** 2);
    return [
      state[FOOT_X] + ((1 + slopeY ** 2) * x - slopeX * slopeY * y + slopeX * z) / normX,
      state[FOOT_Y] + (y + slopeY * z) / normY
    ];
  }
  function tipPartials(light, rate, state) {
    const { right, ahead, drop, reach } = toBoard(light, state);
    const [east, north, up] = light;
    const level = Math.hypot(east, north);
    const lift = [level > 0 ? -up * east / level : -1, level > 0 ? -up * north / level : 0, level];
    const moved2 = (dRight, dAhead, dDrop) => {
      const shortening = reach * dDrop / drop;
      return [-reach * dRight + shortening * right, -reach * dAhead + shortening * ahead];
    };
    const movedLight = (change) => {
      const turned = toBoard(change, [state[AZIMUTH], 0, 0, 0, 0, 1]);
      const dDrop = change[2] - state[SLOPE_X] * turned.right - state[SLOPE_Y] * turned.ahead;
      return moved2(turned.right, turned.ahead, dDrop);
    };
    const columns = [
      moved2(-ahead, right, state[SLOPE_X] * ahead - state[SLOPE_Y] * right),
      [1, 0],
      [0, 1],
      moved2(0, 0, -right),
      moved2(0, 0, -ahead),
      [-right / drop, -ahead / drop],
      movedLight(rate.map((value) => -value)),
      movedLight(lift),
      movedLight([0, -up, north])
    ];
    return [columns.map(([x]) => x), columns.map(([, y]) => y)];
  }

  // engine/board.js
  var LOWEST_LIGHT_DEG = 0.5;
  var HALF_DAY_S = 43200;
  var Board = class _Board {
    /* `marks`: {x, y, watchUtc (NaN without a time), half (−1, 0, 1), ring, name}, mm and seconds.
       `stated`: {noon, height, watch, watchError, edge, semidiameter (rad), latitude, closing {turn, sd} (rad), tolerances}. */
    constructor(sun, stated3, marks) {
      this.sun = sun;
      this.marks = marks;
      Object.assign(this, stated3);
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
      return new _Board(sun, { ...own, noon, latitude, lit: null }, marks);
    }
    with(stated3, marks = this.marks) {
      const { sun, marks: _, ...own } = this;
      return new _Board(sun, { ...own, ...stated3 }, marks);
    }
    /* The standard uncertainty of each unknown before any mark; infinite for the azimuth. */
    priorSd() {
      const {
        plumb_sd_mm: plumb,
        level_sd_deg: level,
        height_sd_mm: height,
        watch_sd_s: watch,
        edge_sd_deg: edge
      } = this.tolerances;
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
  };
  var lengthOf = (mark) => Math.hypot(mark.x, mark.y);
  var directionOf = (mark) => Math.atan2(mark.x, mark.y);

  // engine/chisquare.js
  var STEPS = 500;
  var LANCZOS = [
    0.9999999999998099,
    676.5203681218851,
    -1259.1392167224028,
    771.3234287776531,
    -176.6150291621406,
    12.507343278686905,
    -0.13857109526572012,
    9984369578019572e-21,
    15056327351493116e-23
  ];
  function logGamma(x) {
    if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
    const z = x - 1;
    const base = z + 7.5;
    const series = LANCZOS.reduce((total, value, n) => total + (n ? value / (z + n) : value), 0);
    return 0.5 * Math.log(2 * Math.PI) + (z + 0.5) * Math.log(base) - base + Math.log(series);
  }
  function chanceOver(x, freedom) {
    const a = freedom / 2;
    const z = x / 2;
    if (z <= 0) return 1;
    const scale = Math.exp(a * Math.log(z) - z - logGamma(a));
    return z < a + 1 ? 1 - scale * seriesOf(a, z) : scale * fractionOf(a, z);
  }
  function seriesOf(a, z) {
    let term = 1 / a;
    let total = term;
    for (let n = 1; n < STEPS && term > total * 1e-17; n += 1) {
      term *= z / (a + n);
      total += term;
    }
    return total;
  }
  function fractionOf(a, z) {
    let b = z + 1 - a;
    let c = 1e300;
    let d = 1 / b;
    let value = d;
    for (let n = 1; n < STEPS; n += 1) {
      const top = -n * (n - a);
      b += 2;
      d = 1 / (top * d + b);
      c = b + top / c;
      value *= c * d;
      if (Math.abs(c * d - 1) < 1e-16) break;
    }
    return value;
  }
  function exceededWith(chance, freedom) {
    let low = 0;
    let high = freedom + 60 * Math.sqrt(freedom) + 60;
    for (let n = 0; n < 200 && high - low > 1e-12 * high; n += 1) {
      const middle = (low + high) / 2;
      if (chanceOver(middle, freedom) > chance) low = middle;
      else high = middle;
    }
    return (low + high) / 2;
  }

  // engine/matrix.js
  function solveMany(matrix, rightSides) {
    const size = matrix.length;
    const rows = matrix.map((row, n) => [...row, ...rightSides[n]]);
    for (let column = 0; column < size; column += 1) {
      let pivot = column;
      for (let n = column + 1; n < size; n += 1) {
        if (Math.abs(rows[n][column]) > Math.abs(rows[pivot][column])) pivot = n;
      }
      [rows[column], rows[pivot]] = [rows[pivot], rows[column]];
      for (let n = column + 1; n < size; n += 1) {
        const factor = rows[n][column] / rows[column][column];
        if (factor) for (let k = column; k < rows[n].length; k += 1) rows[n][k] -= factor * rows[column][k];
      }
    }
    for (let column = size - 1; column >= 0; column -= 1) {
      for (let k = size; k < rows[column].length; k += 1) {
        let value = rows[column][k];
        for (let n = column + 1; n < size; n += 1) value -= rows[column][n] * rows[n][k];
        rows[column][k] = value / rows[column][column];
      }
    }
    return rows.map((row) => row.slice(size));
  }
  var solve = (matrix, right) => solveMany(matrix, right.map((value) => [value])).map(([x]) => x);
  var inverse = (matrix) => solveMany(matrix, matrix.map((_, n) => matrix.map((__, k) => n === k ? 1 : 0)));
  var zeros = (size) => Array.from({ length: size }, () => new Array(size).fill(0));
  var sum = (values) => values.reduce((total, value) => total + value, 0);
  function median(values) {
    const ordered = [...values].sort((a, b) => a - b);
    const middle = Math.floor(ordered.length / 2);
    return ordered.length % 2 ? ordered[middle] : (ordered[middle - 1] + ordered[middle]) / 2;
  }
  var turnWithin = (angle) => Math.atan2(Math.sin(angle), Math.cos(angle));
  function logDeterminant(matrix) {
    const rows = matrix.map((row) => [...row]);
    let total = 0;
    for (let n = 0; n < rows.length; n += 1) {
      total += Math.log(rows[n][n]);
      for (let m = n + 1; m < rows.length; m += 1) {
        const factor = rows[m][n] / rows[n][n];
        for (let k = n; k < rows.length; k += 1) rows[m][k] -= factor * rows[n][k];
      }
    }
    return total;
  }
  function eigen(matrix) {
    const size = matrix.length;
    const a = matrix.map((row) => [...row]);
    const v = a.map((_, n) => a.map((__, k) => n === k ? 1 : 0));
    for (let sweep = 0; sweep < 60; sweep += 1) {
      let off = 0;
      for (let p = 0; p < size; p += 1) for (let q = p + 1; q < size; q += 1) off += a[p][q] ** 2;
      if (off < 1e-26) break;
      for (let p = 0; p < size; p += 1) for (let q = p + 1; q < size; q += 1) rotate(a, v, p, q);
    }
    return a.map((row, n) => ({ value: row[n], vector: v.map((each) => each[n]) }));
  }
  function rotate(a, v, p, q) {
    if (!a[p][q]) return;
    const angle = 0.5 * Math.atan2(2 * a[p][q], a[q][q] - a[p][p]);
    const [c, s] = [Math.cos(angle), Math.sin(angle)];
    for (const row of [...a, ...v]) [row[p], row[q]] = [c * row[p] - s * row[q], s * row[p] + c * row[q]];
    for (let k = 0; k < a.length; k += 1) {
      [a[p][k], a[q][k]] = [c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]];
    }
  }

  // engine/starts.js
  var WORST_MISS_MM = 15;
  var FARTHEST_WATCH_S = 15 * 3600;
  var OFFSET_STEP_S = 120;
  var AZIMUTH_STEP_DEG = 2;
  function starts(problem) {
    if (!problem.timed.some(Boolean)) return startsByShape(problem);
    if (problem.flatWatch) return startsByOffset(problem);
    const watchError = problem.prior[WATCH];
    const marks = problem.board.marks.filter((_, n) => problem.timed[n]);
    const turns = marks.map((mark) => problem.board.shadowAzimuth(mark.watchUtc - watchError) - directionOf(mark));
    return [startAt(problem, middleOf(turns), watchError)];
  }
  function middleOf(angles) {
    const known3 = angles.filter(Number.isFinite);
    if (!known3.length) return 0;
    const middle = Math.atan2(
      known3.reduce((total, angle) => total + Math.sin(angle), 0),
      known3.reduce((total, angle) => total + Math.cos(angle), 0)
    );
    return middle + median(known3.map((angle) => turnWithin(angle - middle)));
  }
  function startAt(problem, azimuth, watchError) {
    const values = [...problem.prior];
    [values[AZIMUTH], values[WATCH]] = [azimuth, watchError];
    const track = problem.timed.every(Boolean) ? null : trackOf(problem.board);
    const instants = problem.board.marks.map((mark, n) => problem.timed[n] ? mark.watchUtc - watchError : nearestOn(track, problem.board, mark, azimuth).utc);
    return { values, instants };
  }
  function startsByOffset(problem) {
    const { board } = problem;
    const marks = board.marks.filter((_, n) => problem.timed[n]);
    const level = board.nominal();
    level[WATCH] = 0;
    const tries = [];
    for (let n = 0; n * OFFSET_STEP_S < 2 * FARTHEST_WATCH_S; n += 1) {
      const offset2 = board.watchError - FARTHEST_WATCH_S + n * OFFSET_STEP_S;
      tries.push({ offset: offset2, ...laidOver(board, marks, offset2, level) });
    }
    const coarse = 20 + marks.reduce((total, mark) => total + Math.min(
      WORST_MISS_MM,
      0.25 * DEGREE * (lengthOf(mark) ** 2 + board.height ** 2) / board.height
    ) ** 2, 0);
    return bestMinima(tries.map(({ cost }) => cost), 5, coarse).map((n) => startAt(problem, tries[n].turn, tries[n].offset));
  }
  function laidOver(board, marks, offset2, level) {
    const tips = marks.map((mark) => board.tipAt(mark.watchUtc - offset2, level));
    let [cosine, sine] = [0, 0];
    tips.forEach(([x, y], n) => {
      if (Number.isNaN(x)) return;
      cosine += marks[n].x * x + marks[n].y * y;
      sine += marks[n].y * x - marks[n].x * y;
    });
    const mean2 = Math.atan2(sine, cosine);
    const away = tips.map(([x, y], n) => Number.isNaN(x) ? 0 : turnWithin(Math.atan2(marks[n].y, marks[n].x) - Math.atan2(y, x) - mean2));
    const [first, second] = [mean2, mean2 + median(away)].map((turn) => ({ turn, cost: missed(tips, marks, turn) }));
    return second.cost < first.cost ? second : first;
  }
  function missed(tips, marks, turn) {
    return tips.reduce((total, [x, y], n) => {
      if (Number.isNaN(x)) return total + WORST_MISS_MM ** 2;
      const miss = Math.hypot(
        marks[n].x - (x * Math.cos(turn) - y * Math.sin(turn)),
        marks[n].y - (x * Math.sin(turn) + y * Math.cos(turn))
      );
      return total + Math.min(miss, WORST_MISS_MM) ** 2;
    }, 0);
  }
  function startsByShape(problem) {
    const { board } = problem;
    const track = trackOf(board);
    const tries = [];
    for (let degrees2 = 0; degrees2 < 360; degrees2 += AZIMUTH_STEP_DEG) {
      const azimuth = degrees2 * DEGREE;
      const nearest = board.marks.map((mark) => nearestOn(track, board, mark, azimuth));
      const cost = nearest.reduce((total, { miss }) => total + Math.min(miss, WORST_MISS_MM) ** 2, 0);
      tries.push({ azimuth, cost, instants: nearest.map(({ utc }) => utc) });
    }
    const coarse = 20 + board.marks.reduce((total, mark) => total + Math.min(DEGREE * lengthOf(mark), WORST_MISS_MM) ** 2, 0);
    return bestMinima(tries.map(({ cost }) => cost), 3, coarse, true).map((n) => {
      const values = [...problem.prior];
      values[AZIMUTH] = tries[n].azimuth;
      return { values, instants: tries[n].instants };
    });
  }
  function trackOf(board) {
    const [first, last] = board.daylight();
    const state = board.nominal();
    const points = [];
    for (let utc2 = first; utc2 < last + 60; utc2 += 60) {
      const [x2, y2] = board.tipAt(utc2, state);
      if (Number.isFinite(x2)) points.push([utc2, x2, y2]);
    }
    const [utc, x, y] = [0, 1, 2].map((column) => Float64Array.from(points, (point) => point[column]));
    const along = new Float64Array(points.length);
    for (let n = 1; n < points.length; n += 1) along[n] = along[n - 1] + Math.hypot(x[n] - x[n - 1], y[n] - y[n - 1]);
    return { utc, x, y, along };
  }
  function nearestOn({ utc, x, y, along }, board, mark, azimuth) {
    const direction = directionOf(mark) + azimuth;
    const [u, v] = [lengthOf(mark) * Math.sin(direction), lengthOf(mark) * Math.cos(direction)];
    let [best2, place] = [Infinity, -1];
    let n = 0;
    let last = utc.length;
    if (mark.half > 0) while (n < last && utc[n] < board.noon) n += 1;
    if (mark.half < 0) while (last > 0 && utc[last - 1] > board.noon) last -= 1;
    while (n < last) {
      const miss = Math.sqrt((x[n] - u) ** 2 + (y[n] - v) ** 2);
      if (miss < best2) [best2, place] = [miss, n];
      const reach = along[n] + miss - best2 - 1e-9;
      n += 1;
      while (n < last && along[n] < reach) n += 1;
    }
    return { miss: best2, utc: place < 0 ? board.noon : utc[place] };
  }
  function bestMinima(cost, reach, coarse, around = false) {
    const size = cost.length;
    const at = (n) => cost[around ? (n + size) % size : Math.min(Math.max(n, 0), size - 1)];
    const limit = 4 * Math.min(...cost) + coarse;
    const minima = [];
    for (let n = 0; n < size; n += 1) {
      let least2 = Infinity;
      for (let k = n - reach; k <= n + reach; k += 1) least2 = Math.min(least2, at(k));
      if (cost[n] <= least2 && cost[n] <= limit) minima.push(n);
    }
    return minima.sort((a, b) => cost[a] - cost[b] || a - b).slice(0, 3);
  }

  // engine/adjustment.js
  var FALSE_ALARM = 3e-3;
  var MOST_BLUNDERS = 1 / 3;
  var DARK = 1e6;
  var SHORTEST_ROD = 0.02;
  var FLAT_AZIMUTH_RAD = 10;
  var FLAT_WATCH_S = 2 * HALF_DAY_S;
  var FLAT_LATITUDE_RAD = 1;
  var STEPS2 = 40;
  var UNLIKELY_COST = 12;
  var ROBUST_STEPS = 12;
  var LEAST_TAKEN = 0.05;
  var SUN_WIDTH_RAD = 93e-4;
  var SCALE = [1e-3, 1, 1, 1e-3, 1e-3, 1, 10, 1e-3, 1e-3];
  var SHARED_TERMS = { level: [3, 4], foot: [1, 2], height: [5], watch: [6], edge: [7] };
  function adjust(board, freed2 = {}, near = null) {
    const problem = problemOf(board, freed2);
    const begun2 = near ? [{ values: near.state, instants: near.utc }] : starts(problem);
    const tries = begun2.map(({ values, instants }) => solveRobustly(problem, values, instants));
    const costs = tries.map((each) => robustCost(problem, each));
    const least2 = Math.min(...costs);
    const fits = tries.filter((_, n) => costs[n] <= least2 + 2 * UNLIKELY_COST).map((each) => adjustFrom(problem, each)).sort((one, other) => one.cost - other.cost);
    const best2 = widened(fits[0], fits.slice(1));
    best2.rivals = fits.slice(1).filter((fit) => fit.cost - best2.cost < 2 * UNLIKELY_COST);
    return best2;
  }
  var azimuthU = (fit) => Math.sqrt(fit.covariance[AZIMUTH][AZIMUTH]);
  var bears = (fit) => fit.kept.filter((kept) => !kept).length / fit.kept.length <= MOST_BLUNDERS;
  var pulled = (fit) => fit.pullsCost > doubtfulCost(fit.pullsFreedom);
  var doubtful = (fit) => fit.freedom > 0 && fit.keptCost > doubtfulCost(fit.freedom, 0.01) || fit.pullsCost > doubtfulCost(fit.pullsFreedom, 0.01);
  var apartOf = (fit, other) => turnWithin(other.state[AZIMUTH] - fit.state[AZIMUTH]);
  function widened(best2, others) {
    let [likelihood, square] = [1, 0];
    for (const other of others) {
      const apart = apartOf(best2, other);
      const worse = other.cost - best2.cost;
      if (worse < UNLIKELY_COST && Math.abs(apart) > 3 * azimuthU(best2)) {
        likelihood += Math.exp(-worse / 2);
        square += Math.exp(-worse / 2) * apart ** 2;
      }
    }
    return square ? withVariance(best2, square / likelihood) : best2;
  }
  function withVariance(fit, square) {
    const covariance = fit.covariance.map((row) => [...row]);
    covariance[AZIMUTH][AZIMUTH] += square;
    return { ...fit, covariance };
  }
  function linearised(board, fit) {
    const problem = problemOf(board, {});
    const marks = linearise(problem, fit.state, fit.utc);
    if (!marks.every(Boolean)) return null;
    const { matrix, right } = normal(problem, marks, fit.state, marks.map(() => 1));
    return { marks, normal: matrix, right };
  }
  function problemOf(board, freed2) {
    const byTime2 = freed2.byTime !== false && board.watch !== "none";
    const timed2 = board.marks.map((mark) => byTime2 && Number.isFinite(mark.watchUtc));
    const running = Boolean(freed2.watch) || board.watch === "running";
    const priorSd = board.priorSd();
    priorSd[AZIMUTH] = FLAT_AZIMUTH_RAD;
    const flatWatch = timed2.some(Boolean) && running;
    if (!timed2.some(Boolean)) priorSd[WATCH] = 0;
    else if (running) priorSd[WATCH] = FLAT_WATCH_S;
    if (freed2.height) priorSd[HEIGHT] = board.height;
    if (freed2.latitude) priorSd[LATITUDE] = FLAT_LATITUDE_RAD;
    const free = priorSd.map((_, n) => n).filter((n) => priorSd[n] > 0);
    const stated3 = free.filter((n) => n !== AZIMUTH && n !== LATITUDE && !(n === WATCH && running) && !(n === HEIGHT && freed2.height));
    const threshold = timed2.map((with2) => exceeded(FALSE_ALARM / board.count, with2 ? 2 : 1));
    return { board, timed: timed2, prior: board.nominal(), priorSd, free, stated: stated3, threshold, flatWatch };
  }
  var known = /* @__PURE__ */ new Map();
  function exceeded(chance, freedom) {
    const key = `${chance} ${freedom}`;
    if (!known.has(key)) known.set(key, exceededWith(chance, freedom));
    return known.get(key);
  }
  var doubtfulCost = (freedom, chance = 1 / 300) => exceeded(chance, Math.max(freedom, 1));
  function linearise(problem, values, instants) {
    const farthest = problem.board.height / Math.tan(LOWEST_LIGHT_DEG * DEGREE);
    return problem.board.marks.map((mark, n) => {
      const utc = problem.timed[n] ? mark.watchUtc - values[WATCH] : instants[n];
      const found = problem.board.tipAndPartials(utc, values);
      if (!found || !(Math.hypot(...found.tip) <= farthest)) return null;
      const whole2 = [mark.x - found.tip[0], mark.y - found.tip[1]];
      const along = found.partials.map((row) => -row[WATCH]);
      const speed = Math.hypot(...along);
      const across = [-along[1] / speed, along[0] / speed];
      const miss = across[0] * whole2[0] + across[1] * whole2[1];
      const { whiten, scatter } = whitening(problem, n, along, across);
      const partials = found.partials.map((row) => problem.free.map((k) => row[k]));
      const scaled2 = partials.map((row) => row.map((value, k) => value * SCALE[problem.free[k]]));
      return {
        residual: problem.timed[n] ? whole2 : across.map((part) => part * miss),
        told: whiten.map((row) => row[0] * whole2[0] + row[1] * whole2[1]),
        design: whiten.map((row) => scaled2[0].map((x, k) => row[0] * x + row[1] * scaled2[1][k])),
        whiten,
        scatter,
        whole: whole2,
        partials,
        along
      };
    });
  }
  function whitening({ board, timed: timed2 }, n, along, across) {
    const mark = board.marks[n];
    const { mark_sd_mm: markSd, edge_scatter: edgeScatter = 0, time_sd_s: timeSd = 0 } = board.tolerances;
    const length = lengthOf(mark);
    const soft = Math.min(
      board.height,
      edgeScatter * SUN_WIDTH_RAD * (length ** 2 + board.height ** 2) / board.height
    );
    const spread = [mark.x, mark.y].map((part) => soft * part / Math.max(length, 1e-9));
    if (!timed2[n]) {
      const seen = markSd ** 2 + (across[0] * spread[0] + across[1] * spread[1]) ** 2;
      return { whiten: [across.map((part) => part / Math.sqrt(seen)), [0, 0]], scatter: Math.log(seen) };
    }
    const late = along.map((part) => timeSd * part);
    const xx = markSd ** 2 + spread[0] ** 2 + late[0] ** 2;
    const xy = spread[0] * spread[1] + late[0] * late[1];
    const yy = markSd ** 2 + spread[1] ** 2 + late[1] ** 2;
    const first = 1 / Math.sqrt(xx);
    const second = 1 / Math.sqrt(yy - xy ** 2 / xx);
    return { whiten: [[first, 0], [-second * xy / xx, second]], scatter: -2 * Math.log(first * second) };
  }
  function normal(problem, linear, values, weight) {
    const size = problem.free.length;
    const matrix = zeros(size);
    const right = new Array(size).fill(0);
    linear.forEach((mark, n) => {
      if (!mark || !weight[n]) return;
      for (let i = 0; i < 2; i += 1) {
        for (let k = 0; k < size; k += 1) {
          const weighted = weight[n] * mark.design[i][k];
          right[k] += weighted * mark.told[i];
          for (let l = 0; l < size; l += 1) matrix[k][l] += weighted * mark.design[i][l];
        }
      }
    });
    problem.free.forEach((unknown, k) => {
      const pull = (SCALE[unknown] / problem.priorSd[unknown]) ** 2;
      matrix[k][k] += pull;
      right[k] += pull * (problem.prior[unknown] - values[unknown]) / SCALE[unknown];
    });
    return { matrix, right };
  }
  var clip = (value, low, high) => Math.min(Math.max(value, low), high);
  function step(problem, values, instants, weight) {
    const linear = linearise(problem, values, instants);
    const { matrix, right } = normal(problem, linear, values, weight);
    const whole2 = solve(matrix, right);
    const reach = whole2.map(Math.abs);
    const limits = [200, 50, 50, 50, 50, 0.1 * problem.prior[HEIGHT], 180, 50, 100];
    const part = Math.min(1, ...problem.free.map((unknown, k) => limits[unknown] / Math.max(reach[k], 1e-12)));
    const move = whole2.map((value, k) => value * part * SCALE[problem.free[k]]);
    const moved2 = [...values];
    problem.free.forEach((unknown, k) => {
      moved2[unknown] += move[k];
    });
    moved2[HEIGHT] = Math.max(moved2[HEIGHT], SHORTEST_ROD * problem.prior[HEIGHT]);
    let size = Math.max(...reach);
    if (problem.timed.every(Boolean)) return { values: moved2, instants, size };
    const [first, last] = problem.board.daylight();
    const later = instants.map((utc, n) => {
      if (problem.timed[n]) return utc;
      const shifted = clip(utc + clip(shiftOf(linear[n], move), -1200, 1200), first, last);
      size = Math.max(size, Math.abs(shifted - utc) / 10);
      return shifted;
    });
    return { values: moved2, instants: later, size };
  }
  function shiftOf(mark, move) {
    if (!mark) return 0;
    const left = mark.whole.map((value, i) => value - sum(mark.partials[i].map((part, k) => part * move[k])));
    const speed2 = mark.along[0] ** 2 + mark.along[1] ** 2;
    return (mark.along[0] * left[0] + mark.along[1] * left[1]) / Math.max(speed2, 1e-12);
  }
  function solveFully(problem, begun2, weight) {
    let at = { ...begun2, size: Infinity };
    for (let n = 0; n < STEPS2 && !(at.size < 1e-7); n += 1) {
      at = step(problem, at.values, at.instants, weight);
    }
    return { ...at, converged: at.size < 1e-3 };
  }
  function solveRobustly(problem, values, instants) {
    let weight = problem.board.marks.map(() => 1);
    let at = { values, instants };
    for (let n = 0; n < ROBUST_STEPS; n += 1) {
      at = step(problem, at.values, at.instants, weight);
      const misfit = misfitOf(linearise(problem, at.values, at.instants));
      const noise = noiseOf(problem, misfit);
      const next = misfit.map((each) => Math.min(1, 1.5 * noise / Math.max(each, 1e-9)));
      const settled = at.size < 1e-3 && Math.max(...next.map((each, k) => Math.abs(each - weight[k]))) < 0.01;
      weight = next;
      if (settled) break;
    }
    return { ...at, weight };
  }
  var misfitOf = (linear) => linear.map((mark) => mark ? Math.hypot(...mark.told) : DARK);
  function noiseOf(problem, misfit) {
    const each = misfit.map((length, n) => length / (problem.timed[n] ? 1.177 : 0.674)).filter(Number.isFinite);
    return each.length ? Math.max(1, median(each)) : 1;
  }
  function priorMisfitOf(problem, values) {
    const misfit = new Array(UNKNOWNS).fill(0);
    for (const n of problem.free) misfit[n] = (values[n] - problem.prior[n]) / problem.priorSd[n];
    return misfit;
  }
  var anotherDay = ({ free, prior }, values) => free.includes(WATCH) && Math.abs(values[WATCH] - prior[WATCH]) > FARTHEST_WATCH_S ? DARK : 0;
  function robustCost(problem, { values, instants }) {
    if (!values.every(Number.isFinite)) return Infinity;
    const misfit = misfitOf(linearise(problem, values, instants));
    const dark = misfit.filter((each) => each >= DARK).length > MOST_BLUNDERS * misfit.length ? DARK : 0;
    return sum(misfit.map((each, n) => Math.min(each ** 2, problem.threshold[n]))) + sum(priorMisfitOf(problem, values).map((each) => each ** 2)) + dark + anotherDay(problem, values);
  }
  function adjustFrom(problem, { values, instants, weight }) {
    let kept = judge(problem, values, instants, weight, weight.map(() => true));
    let at = { values, instants, converged: false };
    for (let n = 0; n < 6; n += 1) {
      const only = kept.map(Number);
      at = solveFully(problem, at, only);
      const verdict = judge(problem, at.values, at.instants, only, kept);
      const same = verdict.every((good, k) => good === kept[k]);
      kept = verdict;
      if (same || n >= 3 && !at.converged) break;
    }
    return finish(problem, at, kept);
  }
  function judge(problem, values, instants, weight, included) {
    const linear = linearise(problem, values, instants);
    const spread = noiseOf(problem, misfitOf(linear).map((each, n) => included[n] ? each : NaN));
    const covariance = inverse(normal(problem, linear, values, weight).matrix);
    const good = linear.map((mark, n) => {
      if (!mark) return false;
      const share = included[n] ? -Math.min(weight[n], 1) : 1;
      const variance = varianceOfTold(mark, covariance).map((row, i) => row.map((value, j) => spread ** 2 * ((i === j) + share * value) + 0.01 * (i === j)));
      const weighted = solve(variance, mark.told);
      return mark.told[0] * weighted[0] + mark.told[1] * weighted[1] < problem.threshold[n];
    });
    const bad = good.filter((each) => !each).length / good.length;
    return bad <= MOST_BLUNDERS ? good : linear.map(Boolean);
  }
  function varianceOfTold(mark, covariance) {
    const spread = mark.design.map((row) => covariance.map((other) => sum(other.map((value, k) => value * row[k]))));
    return mark.design.map((row) => spread.map((other) => sum(row.map((value, k) => value * other[k]))));
  }
  function finish(problem, { values, instants, converged }, kept) {
    const { board, free } = problem;
    const linear = linearise(problem, values, instants);
    const { matrix } = normal(problem, linear, values, kept.map(Number));
    const covariance = wholeCovariance(free, inverse(matrix));
    const priorMisfit = priorMisfitOf(problem, values);
    const misfit = misfitOf(linear);
    const ofKept = sum(misfit.map((each, n) => kept[n] ? each ** 2 : 0)) + sum(priorMisfit.map((each) => each ** 2));
    const flat = free.length - problem.stated.length;
    const freedom = sum(kept.map((each, n) => each ? 1 + problem.timed[n] : 0)) - flat;
    const spread = freedom > 0 && ofKept > doubtfulCost(freedom) ? Math.sqrt(ofKept / freedom) : 1;
    const terms = termsOf(problem, linear, covariance, kept);
    const state = [...values];
    state[AZIMUTH] = (values[AZIMUTH] % (2 * Math.PI) + 2 * Math.PI) % (2 * Math.PI);
    return {
      state,
      covariance: covariance.map((row) => row.map((value) => value * spread ** 2)),
      residuals: linear.map((mark) => mark ? mark.residual : [NaN, NaN]),
      kept,
      utc: board.marks.map((mark, n) => problem.timed[n] ? mark.watchUtc - values[WATCH] : instants[n]),
      cost: ofKept + sum(problem.threshold.filter((_, n) => !kept[n])),
      keptCost: ofKept,
      freedom,
      spread,
      terms: Object.fromEntries(Object.entries(terms).map(([name, term]) => [name, Math.sqrt(term) * spread])),
      priorMisfit,
      ...pullsOf(problem, covariance, priorMisfit),
      scaleCost: sum(linear.map((mark, n) => mark && kept[n] ? mark.scatter : 0)),
      openCost: logDeterminant(matrix) + 2 * sum(free.map((n) => Math.log(problem.priorSd[n] / SCALE[n]))),
      information: matrix,
      problem,
      converged,
      rivals: []
    };
  }
  function wholeCovariance(free, scaled2) {
    const covariance = zeros(UNKNOWNS);
    free.forEach((row, i) => free.forEach((column, j) => {
      covariance[row][column] = scaled2[i][j] * SCALE[row] * SCALE[column];
    }));
    return covariance;
  }
  function pullsOf({ stated: stated3, priorSd }, covariance, misfit) {
    const taken = stated3.map((row) => stated3.map((column) => (row === column) - covariance[row][column] / (priorSd[row] * priorSd[column])));
    const pulls = eigen(taken).filter(({ value }) => value > LEAST_TAKEN).map(({ value, vector }) => sum(vector.map((part, k) => part * misfit[stated3[k]])) ** 2 / value);
    return { pullsCost: sum(pulls), pullsFreedom: pulls.length, worstPull: Math.max(0, ...pulls) };
  }
  function termsOf(problem, linear, covariance, kept) {
    const gain = covariance[AZIMUTH];
    const scaledGain = problem.free.map((n) => gain[n] / SCALE[n]);
    const marking = sum(linear.map((mark, n) => mark && kept[n] ? sum(mark.design.map((row) => sum(row.map((value, k) => value * scaledGain[k])) ** 2)) : 0));
    const shared = Object.entries(SHARED_TERMS).map(([name, unknowns]) => [
      name,
      sum(unknowns.filter((n) => problem.priorSd[n] > 0).map((n) => (gain[n] / problem.priorSd[n]) ** 2))
    ]);
    return { marking, ...Object.fromEntries(shared) };
  }
  function azimuthUWith(fit, utc) {
    const { board } = fit.problem;
    const [x, y] = board.tipAt(utc, fit.state);
    if (!Number.isFinite(x)) return null;
    const mark = { x, y, watchUtc: utc + fit.state[WATCH], half: 0 };
    const timed2 = fit.problem.timed.some(Boolean);
    const problem = { ...fit.problem, board: board.with({}, [mark]), timed: [timed2] };
    const [linear] = linearise(problem, fit.state, [utc]);
    if (!linear) return null;
    const matrix = fit.information.map((row, k) => row.map((value, l) => value + linear.design[0][k] * linear.design[0][l] + linear.design[1][k] * linear.design[1][l]));
    return Math.sqrt(wholeCovariance(fit.problem.free, inverse(matrix))[AZIMUTH][AZIMUTH]) * fit.spread;
  }

  // engine/evidence.js
  var ALIVE = 14;
  var ALIVE_MARK = 20;
  var WRONG_MARK = 7.8;
  var NEARBY_MM = 15;
  var ABOUT_NOON_S = 600;
  var HALF = 8;
  var HALVES = 22;
  var BACKWARDS = 8;
  var SHUFFLED = 3;
  var IN_ORDER = 0.8;
  var COVERAGE_95 = 1.959964;
  var byTime = (meant2) => meant2.freed.byTime !== false;
  var isTimed = (board, mark) => board.watch !== "none" && Number.isFinite(mark.watchUtc);
  function reading(words, kind, board, more = {}) {
    return {
      words,
      kind,
      board,
      price: 10,
      fit: null,
      scale: 1,
      extraCost: 0,
      open: 0,
      turn: 0,
      setsAside: [],
      freed: {},
      ...more
    };
  }
  function weighed(meant2, fit, spanMm) {
    if (!bears(fit) || !Number.isFinite(fit.cost)) return { meant: meant2, fit, evidence: Infinity };
    const { board } = meant2;
    const anywhere = 2 * Math.log(spanMm / Math.sqrt(2 * Math.PI));
    let evidence = fit.keptCost + fit.scaleCost + fit.openCost + senseCost(board, fit) + closingCost(board, meant2.turn) + meant2.extraCost + meant2.price - 4 * board.count * Math.log(meant2.scale);
    board.marks.forEach((mark, n) => {
      if (!fit.kept[n]) {
        const nearby = 2 * Math.log(NEARBY_MM) + (Math.hypot(...fit.residuals[n]) / NEARBY_MM) ** 2;
        const coordinates = byTime(meant2) && isTimed(board, mark) ? 2 : 1;
        evidence += WRONG_MARK + coordinates * (nearby < anywhere ? nearby : anywhere);
      } else if (!byTime(meant2) && isTimed(board, mark)) {
        evidence += anywhere;
      }
    });
    return { meant: meant2, fit, evidence };
  }
  var apartFrom = ({ fit, meant: meant2 }, azimuth) => Math.min(Math.PI, Math.abs(turnWithin(fit.state[AZIMUTH] - azimuth)) + meant2.open);
  function senseCost(board, fit) {
    const contrary = board.marks.filter(({ half }, n) => fit.kept[n] && half && half * (fit.utc[n] - board.noon) < -ABOUT_NOON_S).length;
    return Math.min(HALF * contrary, HALVES) + orderCost(board, fit);
  }
  function closingCost({ closing }, turn = 0) {
    return Number.isFinite(closing.turn) ? (turnWithin(closing.turn - turn) / closing.sd) ** 2 : 0;
  }
  function orderCost(board, fit) {
    const instants = fit.utc.filter((_, n) => fit.kept[n] && !isTimed(board, board.marks[n]));
    if (instants.length < 3) return 0;
    const signs = instants.flatMap((one, n) => instants.slice(n + 1).map((other) => Math.sign(other - one)));
    const agreement = sum(signs) / signs.length;
    if (agreement >= IN_ORDER) return 0;
    return agreement <= -IN_ORDER ? BACKWARDS : SHUFFLED;
  }
  function alive(readings) {
    const ordered = [...readings].sort((one, other) => one.evidence - other.evidence);
    return ordered.filter(({ meant: meant2, evidence }) => evidence <= ordered[0].evidence + (meant2.kind === "mark" ? ALIVE_MARK : ALIVE));
  }
  function coveringU(adopted, living) {
    const azimuth = adopted.fit.state[AZIMUTH];
    const best2 = Math.min(...living.map(({ evidence }) => evidence));
    let [likelihood, square, reach] = [0, 0, 0];
    for (const each of living) {
      const share = Math.exp(-(each.evidence - best2) / 2);
      const apart = apartFrom(each, azimuth);
      const own = each.fit.covariance[AZIMUTH][AZIMUTH];
      likelihood += share;
      square += share * (apart ** 2 + own);
      if (each.meant.kind === "mark") reach = Math.max(reach, Math.hypot(apart, Math.sqrt(own)) / COVERAGE_95);
      else if (apart > Math.sqrt(own)) reach = Math.max(reach, apart / COVERAGE_95);
    }
    return Math.max(Math.sqrt(square / likelihood), reach);
  }

  // shared/almanac.js
  var DAY_S = 86400;
  var PARALLAX = 8.794 / 3600 * DEGREE;
  var SUN_RATE = 2 * Math.PI / DAY_S;
  function covers(almanac, utc) {
    const number2 = utc / DAY_S - almanac.first;
    return number2 > 3 && number2 < almanac.declination_deg.length - 4;
  }
  var AnySun = class {
    constructor(almanac, latitude, longitude, air) {
      Object.assign(this, { almanac, latitude, longitude, air });
      [this.sine, this.cosine] = [Math.sin(latitude * DEGREE), Math.cos(latitude * DEGREE)];
    }
    /* Declination and hour angle here, radians. */
    place(utc) {
      const day = utc / DAY_S;
      const number2 = Math.floor(day);
      const at = (values) => between(values, number2 - this.almanac.first, day - number2) * DEGREE;
      return {
        declination: at(this.almanac.declination_deg),
        hour: at(this.almanac.equation_deg) + (day - number2) * 2 * Math.PI - Math.PI + this.longitude * DEGREE
      };
    }
    direction(utc) {
      const { declination, hour } = this.place(utc);
      const toward = this.level(
        Math.cos(declination) * Math.cos(hour),
        Math.cos(declination) * Math.sin(hour),
        Math.sin(declination)
      );
      toward[2] -= PARALLAX;
      const size = Math.hypot(...toward);
      return toward.map((part) => part / size);
    }
    /* How the direction changes per second: the sun's own motion in declination is a part in 10⁴. */
    rate(utc) {
      const { declination, hour } = this.place(utc);
      return this.level(-Math.cos(declination) * Math.sin(hour), Math.cos(declination) * Math.cos(hour), 0).map((part) => part * SUN_RATE);
    }
    /* East, north, up of a direction toward the meridian, the west and the pole. */
    level(meridian, west, pole) {
      return [-west, this.cosine * pole - this.sine * meridian, this.sine * pole + this.cosine * meridian];
    }
    /* The transit nearest to an instant. */
    noonNear(utc) {
      let instant2 = utc;
      for (let n = 0; n < 4; n += 1) {
        const { hour } = this.place(instant2);
        instant2 -= Math.atan2(Math.sin(hour), Math.cos(hour)) / SUN_RATE;
      }
      return instant2;
    }
  };
  function between(values, number2, part) {
    const [a, b, c, d] = [-1, 0, 1, 2].map((off) => values[number2 + off]);
    return -a * part * (part - 1) * (part - 2) / 6 + b * (part + 1) * (part - 1) * (part - 2) / 2 - c * (part + 1) * part * (part - 2) / 2 + d * (part + 1) * part * (part - 1) / 6;
  }

  // engine/rows.js
  var DAY_S2 = 2 * HALF_DAY_S;
  var WRITTEN_STEPS_S = [1800, 900, 600, 300, 60];
  var FEWEST_TIMES = 4;
  var suns = /* @__PURE__ */ new WeakMap();
  var NotHere = class extends Error {
  };
  function placeOf(table2, site, date) {
    const place = table2.sites.find((each) => each.site === site.site);
    if (!place) throw new NotHere(`This page has no site ${JSON.stringify(site.site)}.`);
    for (const name of ["latitude_deg", "longitude_deg"]) {
      if (given(site[name]) && Math.abs(number(site[name]) - place[name]) > 1e-6) {
        throw new NotHere(`This page has site ${site.site} at another ${name}: ${place[name]}.`);
      }
    }
    const day = place.days[date];
    if (!day) throw new NotHere(`This page has no sun for ${date}; it covers ${table2.span}.`);
    if (!suns.has(place)) suns.set(place, new Sun(place, table2));
    return { place, day, sun: suns.get(place) };
  }
  var given = (cell) => cell !== void 0 && cell !== null && cell !== "";
  var number = (cell) => given(cell) ? Number(cell) : NaN;
  function stated(table2, setup, name) {
    const default_ = name in table2.defaults ? table2.defaults[name] : null;
    return given(setup[name]) ? Number(setup[name]) : default_ === null ? NaN : Number(default_);
  }
  var word = (table2, setup, name) => given(setup[name]) ? String(setup[name]) : table2.defaults[name];
  function timeOfDay(text) {
    if (!given(text)) return NaN;
    const [hours, minutes, seconds2 = "0"] = String(text).split(":");
    return Number(hours) * 3600 + Number(minutes) * 60 + Number(seconds2);
  }
  function pointOf(row) {
    if (given(row.x_mm) && given(row.y_mm)) return { x: Number(row.x_mm), y: Number(row.y_mm) };
    const direction = number(row.angle_deg) * DEGREE;
    const length = number(row.length_mm);
    return { x: length * Math.sin(direction), y: length * Math.cos(direction) };
  }
  var yes = (cell) => !given(cell) || !/^(no|n|false|0)$/i.test(String(cell));
  var inUse = (row) => yes(row.use);
  var usable = (marks) => marks.filter((row) => inUse(row) && Number.isFinite(pointOf(row).x) && Number.isFinite(pointOf(row).y));
  function recordOf(table2, { site, setup, marks }) {
    const { place, day, sun } = placeOf(table2, site, setup.date);
    const rows = usable(marks);
    const board = boardOf(table2, setup, rows, day, sun, place);
    const [north, east] = [place.plumb_latitude_deg - place.latitude_deg, place.plumb_longitude_deg - place.longitude_deg];
    const sunAt = (latitude, longitude) => new AnySun(table2.almanac, latitude + north, longitude + east, sun.air);
    return {
      board,
      byAngle: rows.length > 0 && rows.every((row) => !given(row.x_mm)),
      aheadS: offset(place, day.noon),
      date: setup.date,
      latitude: place.latitude_deg,
      longitude: place.longitude_deg,
      at(date, latitude, longitude) {
        const midday = instant(place, civilSeconds(date, HALF_DAY_S));
        if (!covers(table2.almanac, midday)) return null;
        const other = sunAt(latitude, longitude);
        const noon = other.noonNear(midday);
        return board.under(other, noon, latitude + north, timedMarks(place, date, rows, noon + board.watchError));
      },
      onDay(days) {
        const shift = days * DAY_S2;
        if (!covers(table2.almanac, day.noon + shift)) return null;
        const other = sunAt(place.latitude_deg, place.longitude_deg);
        return board.under(
          other,
          other.noonNear(day.noon + shift),
          board.latitude,
          board.marks.map((mark) => ({ ...mark, watchUtc: mark.watchUtc + shift }))
        );
      }
    };
  }
  function boardOf(table2, setup, rows, day, sun, place) {
    const tolerances = { ...table2.tolerances };
    for (const name of Object.keys(tolerances)) {
      if (name in table2.defaults) tolerances[name] = stated(table2, setup, name);
    }
    Object.assign(tolerances, writtenSds(setup, rows, tolerances));
    if (!yes(setup.level_checked)) tolerances.level_sd_deg = Math.max(tolerances.level_sd_deg, table2.unchecked_level_deg);
    const semidiameter = day.semidiameter_deg * DEGREE;
    return new Board(sun, {
      noon: day.noon,
      height: stated(table2, setup, "gnomon_height_mm"),
      watch: word(table2, setup, "watch"),
      watchError: stated(table2, setup, "watch_error_s"),
      edge: word(table2, setup, "edge") === "dark" ? semidiameter : 0,
      semidiameter,
      latitude: place.plumb_latitude_deg,
      closing: closingOf(table2, setup),
      tolerances
    }, timedMarks(place, setup.date, rows, day.noon + stated(table2, setup, "watch_error_s")));
  }
  function closingOf(table2, setup) {
    const line = lineOf(table2, setup);
    return { turn: turnWithin((line.closeAngle - line.angle) * DEGREE), sd: Math.hypot(line.sd, line.closeSd) * DEGREE };
  }
  function writtenSds(setup, rows, { watch_sd_s: watchSd }) {
    if (given(setup.time_sd_s)) return { time_sd_s: Number(setup.time_sd_s) };
    const step2 = roundedTo(rows.map((row) => timeOfDay(row.time)).filter(Number.isFinite));
    const written = step2 / Math.sqrt(12);
    return { time_sd_s: written, watch_sd_s: Math.hypot(watchSd, step2 > 60 ? step2 / 2 : written) };
  }
  function roundedTo(times2) {
    const step2 = writtenStep(times2);
    const between2 = times2.slice(1).map((time, n) => time - times2[n]);
    const usual = median(between2);
    const even = between2.filter((each) => each === usual).length / between2.length >= 0.5;
    return step2 > 60 && even ? 60 : step2;
  }
  function writtenStep(times2) {
    if (times2.length < FEWEST_TIMES) return 0;
    return WRITTEN_STEPS_S.find((step2) => times2.every((time) => Math.abs(time / step2 - Math.round(time / step2)) * step2 < 0.01)) || 0;
  }
  function timedMarks(place, date, rows, noon) {
    const times2 = aboutNoon(instantsOf(place, date, rows.map((row) => timeOfDay(row.time))), noon);
    return rows.map((row, n) => ({
      ...pointOf(row),
      watchUtc: times2[n],
      half: { am: -1, pm: 1 }[row.half] || 0,
      ring: given(row.ring) ? String(row.ring) : "",
      name: given(row.mark) ? String(row.mark) : String(n + 1)
    }));
  }
  var instantsOf = (place, date, seconds2) => seconds2.map((time) => Number.isFinite(time) ? instant(place, civilSeconds(date, time)) : NaN);
  function aboutNoon(times2, noon) {
    const known3 = times2.filter(Number.isFinite).sort((a, b) => a - b);
    if (!known3.length || Math.max(...known3.map((utc) => Math.abs(utc - noon))) <= DAY_S2 / 2) return times2;
    const gaps = known3.map((utc, n) => (n + 1 < known3.length ? known3[n + 1] : known3[0] + DAY_S2) - utc);
    const start = known3[(gaps.indexOf(Math.max(...gaps)) + 1) % known3.length];
    const laid = times2.map((utc) => start + ((utc - start) % DAY_S2 + DAY_S2) % DAY_S2);
    const there = laid.filter(Number.isFinite);
    const middle = there.reduce((total, utc) => total + utc, 0) / there.length;
    return laid.map((utc) => utc + DAY_S2 * Math.round((noon - middle) / DAY_S2));
  }

  // engine/line.js
  function lineOf(table2, setup) {
    const opened2 = drawn(table2, setup, "reference_angle_deg", "reference_x_mm", "reference_y_mm");
    const closed = drawn(table2, setup, "reference_close_deg", "reference_close_x_mm", "reference_close_y_mm");
    return { angle: opened2.angle, sd: opened2.sd, closeAngle: closed.angle, closeSd: closed.sd };
  }
  function drawn(table2, setup, angleName, xName, yName) {
    const [x, y] = [number(setup[xName]), number(setup[yName])];
    const byPoint = Number.isFinite(x) && Number.isFinite(y) && (x !== 0 || y !== 0);
    const angle = byPoint ? (Math.atan2(x, y) / DEGREE + 360) % 360 : number(setup[angleName]);
    const own = byPoint ? Math.min(45, Math.hypot(stated(table2, setup, "mark_sd_mm"), stated(table2, setup, "plumb_sd_mm")) / Math.hypot(x, y) / DEGREE) : table2.angle_sd_deg;
    return { angle, sd: given(setup.reference_sd_deg) ? number(setup.reference_sd_deg) : own };
  }

  // engine/moved.js
  var CLEAR_TURN = 16;
  var CLEAR_SHIFT = 19;
  var CLEAR_CLOSING = 6.63;
  var FEWEST = 6;
  var FEWEST_STANDING = 4;
  var TURN_RAD = 1.5 * DEGREE;
  var SHIFT_MM = 8;
  var PRICE = 9;
  function clearlyMoved(board, fit, short = 0) {
    if (clear(breaks(...keptOf(board, fit)), -short)) return true;
    return !fit.kept.every(Boolean) && clear(breaks(board, fit, fit.kept), forced(board, fit) - short);
  }
  var keptOf = (board, fit) => [board.of(fit.kept), { ...fit, utc: fit.utc.filter((_, n) => fit.kept[n]) }];
  var clear = (both, less) => both !== null && (both[0].gain - less > CLEAR_TURN || both[1].gain - less > CLEAR_SHIFT);
  var forced = (board, fit) => leastSquares(board, fit) - leastSquares(...keptOf(board, fit)) - (fit.cost - fit.keptCost);
  function leastSquares(board, fit) {
    const linear = linearised(board, fit);
    if (!linear) return NaN;
    const step2 = solve(linear.normal, linear.right);
    return sum(linear.marks.flatMap(({ told }) => told.map((value) => value ** 2))) - sum(linear.right.map((value, k) => value * step2[k]));
  }
  function breaks(board, fit, standing = board.marks.map(() => true)) {
    if (board.count < FEWEST || standing.filter(Boolean).length < FEWEST_STANDING) return null;
    const about = leftAbout(board, fit);
    if (!about) return null;
    const order = inTime(board);
    const stands = order.map((n) => standing[n]);
    const between2 = [stands.indexOf(true) + 1, stands.lastIndexOf(true)];
    return [
      best(order, between2, columnsOf(board, about, true), about, 1),
      best(order, between2, columnsOf(board, about, false), about, 2)
    ];
  }
  function inTime(board) {
    const order = board.marks.map((_, n) => n);
    if (!board.marks.every((mark) => isTimed(board, mark))) return order;
    return order.sort((a, b) => board.marks[a].watchUtc - board.marks[b].watchUtc || a - b);
  }
  function leftAbout(board, fit) {
    const linear = linearised(board, fit);
    if (!linear) return null;
    const step2 = solve(linear.normal, linear.right);
    const left = linear.marks.map(({ told, design }) => told.map((value, i) => value - sum(design[i].map((part, k) => part * step2[k]))));
    return { ...linear, left };
  }
  function columnsOf(board, { marks }, turn) {
    if (!turn) return marks.map(({ whiten }) => whiten);
    return marks.map(({ whiten }, n) => {
      const { x, y } = board.marks[n];
      return whiten.map((row) => [row[0] * y - row[1] * x]);
    });
  }
  function brokenAt(chosen, columns, { marks, left, normal: normal2 }, steady) {
    const width = columns[0][0].length;
    const right = new Array(width).fill(0);
    const square = zeros(width);
    const shared = Array.from({ length: width }, () => new Array(normal2.length).fill(0));
    for (const n of chosen) {
      for (let i = 0; i < 2; i += 1) {
        for (let j = 0; j < width; j += 1) {
          const column = columns[n][i][j];
          right[j] += column * left[n][i];
          for (let k = 0; k < width; k += 1) square[j][k] += column * columns[n][i][k];
          for (let k = 0; k < normal2.length; k += 1) shared[j][k] += column * marks[n].design[i][k];
        }
      }
    }
    const taken = solveMany(normal2, normal2.map((_, k) => shared.map((row) => row[k])));
    const free = square.map((row, j) => row.map((value, k) => value - sum(shared[j].map((part, m) => part * taken[m][k])) + (j === k ? steady : 0)));
    const size = solve(free, right);
    return { size, free, gain: sum(size.map((part, j) => part * right[j])) };
  }
  function best(order, [first, last], columns, about, fewest) {
    const trace = sum(columns.map((column) => sum(column.flat().map((value) => value ** 2))));
    const steady = 1e-9 * (1 + trace);
    let found = null;
    for (let place = Math.max(first, fewest); place <= Math.min(last, order.length - fewest); place += 1) {
      const each = brokenAt(order.slice(place), columns, about, steady);
      if (!found || each.gain > found.gain) found = { ...each, place };
    }
    const spread = inverse(found.free);
    return {
      later: order.slice(found.place),
      gain: found.gain,
      size: found.size,
      u: spread.map((row, n) => Math.sqrt(Math.max(row[n], 0)))
    };
  }
  var moved = (record, fit) => [
    ...[true, false].map((turn) => putBack(record, fit, turn)).filter(Boolean),
    ...closingCost(record.board) > CLEAR_CLOSING ? [unseen(record.board, fit)] : []
  ];
  function unseen(board, fit) {
    const { turn } = board.closing;
    const words = `the board was turned by ${Math.abs(turn / DEGREE).toFixed(1)}° before its first mark or after its last, or the reference line was drawn wrong once, at the start or at the end`;
    return reading(words, "moved", board, { price: PRICE, open: Math.abs(turn), turn, fit });
  }
  function putBack({ board }, stated3, turn) {
    let [mended, fit, found, later, u] = [board, stated3, null, null, null];
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
  function without(board, later, size) {
    const chosen = new Set(later);
    const [c, s] = [Math.cos(size[0]), Math.sin(size[0])];
    return board.with({}, board.marks.map((mark, n) => {
      if (!chosen.has(n)) return mark;
      const { x, y } = mark;
      return size.length === 2 ? { ...mark, x: x - size[0], y: y - size[1] } : { ...mark, x: x * c - y * s, y: y * c + x * s };
    }));
  }
  function meant(board, mended, fit, later, size, u) {
    const gone = new Set(later);
    const earlier = inTime(board).filter((n) => !gone.has(n)).pop();
    const between2 = `between mark ${board.marks[earlier].name} and mark ${board.marks[later[0]].name}`;
    const turn = size.length === 1;
    const wide = turn ? TURN_RAD : SHIFT_MM;
    const words = turn ? `the board was turned by ${Math.abs(size[0] / DEGREE).toFixed(1)}° ${between2}` : `the board slid, or the rod was pushed, by ${Math.hypot(...size).toFixed(1)} mm ${between2}`;
    const freedom = sum(u.map((each) => 2 * Math.log(wide / Math.max(each, 1e-6)))) + sum(size.map((part) => (part / wide) ** 2));
    return reading(words, "moved", mended, {
      price: PRICE + freedom + 2 * Math.log(Math.max(1, board.count - 3)),
      open: turn ? Math.abs(size[0]) : 0,
      turn: turn ? size[0] : 0,
      fit,
      since: board.marks[earlier].watchUtc
    });
  }

  // engine/slips.js
  var HALF_HOUR_S = 1800;
  var DAY_S3 = 2 * HALF_DAY_S;
  var COMMON = { price: 15 };
  var FEWEST_MARKS = 4;
  var REACH = 5;
  var FEWEST_IN_REACH = 0.6;
  var slips = (record) => [
    mirrored,
    scaled,
    otherAngles,
    twelveHours,
    otherOrder,
    otherDate,
    otherPlace,
    otherWatch,
    otherEdge,
    otherDay
  ].flatMap((hypothesis) => hypothesis(record));
  var slip = (words, board, more) => reading(words, "slip", board, more);
  var changed = (board, change) => board.with({}, board.marks.map((mark, n) => ({ ...mark, ...change(mark, n) })));
  var times = (factor) => ({ x, y }) => ({ x: x * factor, y: y * factor });
  function mirrored({ board, byAngle }) {
    const other = changed(board, ({ x }) => ({ x: -x }));
    if (byAngle) return [slip("the angles were counted anticlockwise", other)];
    return [slip(
      "x and y are swapped, or all x, or all y, have the wrong sign (the sheet is mirrored)",
      other,
      { open: Math.PI }
    )];
  }
  var UNITS = [["centimetres", 10], ["inches", 25.4], ["metres", 1e3]];
  function scaled({ board }) {
    const high = (height) => board.with({ height });
    const rod = (why, height) => slip(`the rod's height is ${why}: ${height.toFixed(0)} mm, not ${board.height} mm`, high(height));
    return [
      ...UNITS.map(([unit, factor]) => slip(
        `the marks were measured in ${unit}, not in millimetres`,
        changed(board, times(factor)),
        { scale: factor }
      )),
      ...UNITS.slice(0, 2).map(([unit, factor]) => rod(`in ${unit}`, board.height * factor)),
      rod("ten times too large", board.height / 10)
    ];
  }
  function otherAngles({ board, byAngle }) {
    if (!byAngle) return [];
    const half = board.marks.map(({ x, y }) => Math.atan2(x, y) / DEGREE);
    const full = half.map((degrees2) => (degrees2 + 360) % 360);
    const placed = (words, degrees2, lengths = board.marks.map(lengthOf)) => slip(words, changed(board, (_, n) => ({ x: lengths[n] * Math.sin(degrees2[n] * DEGREE), y: lengths[n] * Math.cos(degrees2[n] * DEGREE) })));
    const all = (angles, change) => angles.map(change);
    const found = [
      ...[full, half].map((each) => placed(
        "the angles are in gon (400 to the circle), not in degrees",
        all(each, (degrees2) => degrees2 * 0.9)
      )),
      ...[full, half].map((each) => placed(
        "the angles are in radians, not in degrees",
        all(each, (degrees2) => degrees2 / DEGREE)
      ))
    ];
    const minutes = (degrees2) => degrees2 - Math.floor(degrees2);
    if (full.every((degrees2) => Number(minutes(degrees2).toFixed(6)) < 0.6)) {
      found.push(placed(
        "the angles are degrees and minutes typed as decimals",
        all(full, (degrees2) => Math.floor(degrees2) + minutes(degrees2) / 0.6)
      ));
    }
    if (board.marks.every((mark) => lengthOf(mark) > board.height)) {
      found.push(placed(
        "the lengths were measured from the rod's tip, not from its foot",
        full,
        board.marks.map((mark) => Math.sqrt(lengthOf(mark) ** 2 - board.height ** 2))
      ));
    }
    return found;
  }
  var TYPED = "the times after noon are of a 12-hour clock, typed without adding 12";
  var TYPED_LATE = "the times before noon are typed as if they were after it, 12 hours too much";
  function twelveHours({ board }) {
    if (!board.marks.some((mark) => isTimed(board, mark))) return [];
    let last = -Infinity;
    const told = board.marks.map(({ watchUtc: time }) => {
      const known3 = Number.isFinite(time);
      const light = known3 && board.light(time - board.watchError);
      if (known3) last = Math.max(last, time);
      return { night: known3 && !(light && light[2] > 0), early: known3 && time < board.noon, back: known3 && time < last - HALF_DAY_S / 2 };
    });
    const found = [];
    const shifted = (words, chosen, by) => {
      if (chosen.some(Boolean) && !chosen.every(Boolean)) {
        found.push(slip(words, changed(board, ({ watchUtc }, n) => ({ watchUtc: watchUtc + (chosen[n] ? by : 0) }))));
      }
    };
    shifted(TYPED, told.map(({ night, early }) => night && early), HALF_DAY_S);
    shifted(TYPED, told.map(({ back }) => back), HALF_DAY_S);
    shifted(TYPED_LATE, told.map(({ night, early }) => night && !early), -HALF_DAY_S);
    return found;
  }
  function otherOrder({ board }) {
    const timed2 = board.marks.map((_, n) => n).filter((n) => isTimed(board, board.marks[n]));
    if (timed2.length < FEWEST_MARKS) return [];
    const own = timed2.map((n) => board.marks[n].watchUtc);
    const given2 = (fresh) => changed(board, ({ watchUtc }, n) => ({ watchUtc: timed2.includes(n) ? fresh[timed2.indexOf(n)] : watchUtc }));
    const found = [slip("the times were written in the opposite order to the marks", given2([...own].reverse()))];
    const steps = own.slice(1).map((time, n) => time - own[n]);
    if (Math.max(...steps) - Math.min(...steps) < 60) return found;
    return [
      ...found,
      slip("each time stands one mark too late in the list", given2([...own.slice(1), NaN]), COMMON),
      slip("each time stands one mark too early in the list", given2([NaN, ...own.slice(0, -1)]), COMMON)
    ];
  }
  function otherWatch({ board, aheadS }) {
    if (board.watch !== "trusted" || !board.marks.some((mark) => isTimed(board, mark))) return [];
    const fit = adjust(board, { watch: true });
    const off = fit.state[WATCH] - board.watchError;
    const u = Math.sqrt(fit.covariance[WATCH][WATCH]);
    const found = [
      ["the watch's error has the wrong sign: it is plus when fast", -board.watchError],
      ["the watch's error is in minutes, not in seconds", 60 * board.watchError]
    ].filter(([, meant2]) => board.watchError && Math.abs(board.watchError + off - meant2) < Math.max(60, 3 * u)).map(([words, watchError]) => slip(words, board.with({ watchError })));
    const shift = HALF_HOUR_S * Math.round(off / HALF_HOUR_S);
    if (shift && Math.abs(off - shift) < Math.max(240, 4 * u)) {
      found.push(slip(
        watchWords(shift, aheadS),
        changed(board, ({ watchUtc }) => ({ watchUtc: thatDay(board, watchUtc - shift) })),
        { setsAside: ["watch"] }
      ));
    }
    return found;
  }
  var thatDay = (board, utc) => utc - DAY_S3 * Math.round((utc - board.noon) / DAY_S3);
  function watchWords(whole2, aheadS) {
    const shift = whole2 - DAY_S3 * Math.trunc(whole2 / (HALF_DAY_S + 1));
    const off = `the watch was ${Math.abs(shift) / 3600} h ${shift > 0 ? "ahead of" : "behind"} the site's clock`;
    if (Math.abs(shift + aheadS) < 60) return `${off}: it showed UTC`;
    if (Math.abs(shift) === 3600) return `${off}: summer time, or the zone next door`;
    if (shift === -HALF_DAY_S) return TYPED;
    if (shift === HALF_DAY_S) return TYPED_LATE;
    return `${off}: it kept another zone's time`;
  }
  function otherDate({ date, at, latitude, longitude }) {
    const [year, month, day] = date.split("-");
    if (Number(day) > 12 || day === month) return [];
    const meant2 = `${year}-${day}-${month}`;
    return known2(`day and month of the date are swapped: ${meant2}, not ${date}`, at(meant2, latitude, longitude));
  }
  var known2 = (words, board, more) => board ? [slip(words, board, more)] : [];
  function otherDay({ onDay }) {
    return [[1, {}], [2, COMMON], [7, COMMON], [10, COMMON], [30, COMMON], [31, COMMON]].flatMap(([days, price]) => [-1, 1].flatMap((sign) => known2(
      `the date is ${days} day${days > 1 ? "s" : ""} ${sign > 0 ? "later" : "earlier"} than was written`,
      onDay(sign * days),
      price
    )));
  }
  function otherPlace({ date, at, latitude, longitude }) {
    const found = [
      ["the latitude has the wrong sign", -latitude, longitude, {}],
      ["the longitude has the wrong sign", latitude, -longitude, {}],
      ["latitude and longitude have both the wrong sign", -latitude, -longitude, COMMON]
    ];
    if (Math.abs(longitude) <= 90) found.push(["latitude and longitude are swapped", longitude, latitude, {}]);
    const [north, east] = [minutesMeant(latitude), minutesMeant(longitude)];
    if (north !== null && east !== null) {
      found.push([`${latitude} and ${longitude} are degrees and minutes typed as decimals`, north, east, COMMON]);
    }
    return found.flatMap(([words, newLatitude, newLongitude, price]) => known2(words, at(date, newLatitude, newLongitude), { ...price, place: true }));
  }
  function minutesMeant(degrees2) {
    const all = Math.round(Math.abs(degrees2) * 1e6) / 1e4;
    const whole2 = Math.floor(all / 100);
    const hundredths = all - 100 * whole2;
    if (hundredths >= 60 || Math.abs(hundredths - Math.round(hundredths)) > 1e-6) return null;
    return Math.sign(degrees2) * (whole2 + hundredths / 60);
  }
  function otherEdge({ board }) {
    if (!board.edge) {
      return [slip(
        "the end of full shadow was marked, not the middle of its soft edge",
        board.with({ edge: board.semidiameter })
      )];
    }
    return [slip("the middle of the shadow's soft edge was marked, not the end of full shadow", board.with({ edge: 0 }))];
  }
  function possible(board) {
    const marks = board.marks.filter((mark) => isTimed(board, mark));
    if (!marks.length) return onTrack(board);
    const part = board.with({}, marks);
    return part.watch === "running" ? onTrackAtSomeTime(part) : byItsWatch(part);
  }
  function byItsWatch(board) {
    const state = board.nominal();
    const tips = board.marks.map(({ watchUtc }) => board.tipAt(watchUtc - board.watchError, state));
    const lit2 = tips.filter(([x]) => Number.isFinite(x));
    if (!lit2.length) return false;
    const turns = tips.map(([x, y], n) => Math.atan2(
      board.marks[n].y * x - board.marks[n].x * y,
      board.marks[n].x * x + board.marks[n].y * y
    )).filter(Number.isFinite);
    const middle = Math.atan2(sum(turns.map(Math.sin)), sum(turns.map(Math.cos)));
    return enough(missesOf(board, tips, middle + median(turns.map((turn) => turnWithin(turn - middle)))), sdOf(board));
  }
  function missesOf(board, tips, turn) {
    const [c, s] = [Math.cos(turn), Math.sin(turn)];
    return tips.map(([x, y], n) => Math.hypot(board.marks[n].x - (x * c - y * s), board.marks[n].y - (x * s + y * c)));
  }
  var enough = (misses, sds) => misses.filter((miss, n) => miss < REACH * sds[n]).length / misses.length >= FEWEST_IN_REACH;
  function onTrack(board) {
    const track = trackOf(board);
    const sds = sdOf(board);
    const reach = board.marks.map((mark) => 1.5 * DEGREE * lengthOf(mark));
    for (let degrees2 = 0; degrees2 < 360; degrees2 += 3) {
      const misses = board.marks.map((mark, n) => nearestOn(track, board, mark, degrees2 * DEGREE).miss - reach[n]);
      if (enough(misses, sds)) return true;
    }
    return false;
  }
  function onTrackAtSomeTime(board) {
    const state = board.nominal();
    const sds = sdOf(board.with({ tolerances: {
      ...board.tolerances,
      watch_sd_s: Math.max(150, board.tolerances.watch_sd_s)
    } }));
    for (let off = -54e3; off < 54e3; off += 600) {
      const tips = board.marks.map(({ watchUtc }) => board.tipAt(watchUtc - off, state));
      let [cosine, sine] = [0, 0];
      tips.forEach(([x, y], n) => {
        if (!Number.isFinite(x)) return;
        cosine += board.marks[n].x * x + board.marks[n].y * y;
        sine += board.marks[n].y * x - board.marks[n].x * y;
      });
      if (enough(missesOf(board, tips, Math.atan2(sine, cosine)), sds)) return true;
    }
    return false;
  }
  function sdOf({ marks, height, tolerances: own }) {
    const angle = Math.hypot(own.level_sd_deg, own.edge_sd_deg, own.watch_sd_s / 240) * DEGREE;
    return marks.map((mark) => {
      const length = lengthOf(mark);
      return Math.hypot(
        own.mark_sd_mm,
        own.plumb_sd_mm,
        (length ** 2 + height ** 2) / height * angle,
        own.height_sd_mm * length / height
      );
    });
  }

  // engine/statements.js
  var LEVEL_DEG = 1;
  var FOOT_MM = 6;
  var FAR_FOOT_MM = 30;
  var CORNER_MM = 250;
  var FEWEST_TO_SPARE = 3;
  var MOST_TO_SPARE = 7;
  var WATCH_S = 900;
  var HEIGHT_PART = 0.1;
  var LATITUDE_RAD = 1.5 * DEGREE;
  var coarser = (price, times2) => ({
    kind: "marking",
    price,
    wide: ({ tolerances }) => ({
      mark_sd_mm: times2 * tolerances.mark_sd_mm,
      edge_scatter: times2 * tolerances.edge_scatter
    })
  });
  function statements(board) {
    const timed2 = board.marks.some((mark) => isTimed(board, mark));
    const found = [
      { kind: "level", price: 6, wide: () => ({ level_sd_deg: LEVEL_DEG }) },
      { kind: "foot", price: 6, wide: () => ({ plumb_sd_mm: FOOT_MM }) },
      { kind: "foot", price: 8, wide: () => ({ plumb_sd_mm: FAR_FOOT_MM }) },
      {
        kind: "height",
        price: 7 - 2 * Math.log(1 / HEIGHT_PART),
        freed: { height: true },
        off: (state) => (state[HEIGHT] / board.height - 1) / HEIGHT_PART
      },
      {
        kind: "latitude",
        price: 8 - 2 * Math.log(FLAT_LATITUDE_RAD / LATITUDE_RAD),
        freed: { latitude: true },
        off: (state) => state[LATITUDE] / LATITUDE_RAD
      },
      coarser(5, 1.6),
      coarser(7, 2.4),
      coarser(10, 4),
      { kind: "edge", price: 6, wide: () => ({ edge_scatter: 0.2 }) }
    ];
    if (timed2 && board.watch === "trusted") {
      found.push({
        kind: "watch",
        price: 6 - 2 * Math.log(FLAT_WATCH_S / WATCH_S),
        freed: { watch: true },
        off: (state) => (state[WATCH] - board.watchError) / WATCH_S
      });
    }
    if (timed2) found.push({ kind: "times", price: 10.6, freed: { byTime: false } });
    const step2 = writtenStepS(board);
    if (step2) {
      found.push({ kind: "rounding", price: 4.6, wide: ({ tolerances }) => ({
        time_sd_s: step2 / Math.sqrt(12),
        // Cut, not rounded: all of them half a step early.
        watch_sd_s: Math.hypot(tolerances.watch_sd_s, step2 / 2)
      }) });
    }
    return found;
  }
  var writtenStepS = (board) => writtenStep(board.marks.filter((mark) => isTimed(board, mark)).map(({ watchUtc }) => watchUtc));
  function freed(board, chosen, near) {
    const tolerances = Object.assign({ ...board.tolerances }, ...chosen.map(({ wide }) => wide ? wide(board) : {}));
    const read = board.with({ tolerances });
    const free = Object.assign({}, ...chosen.map((each) => each.freed || {}));
    const kinds = chosen.map(({ kind }) => kind);
    const starts2 = free.watch || free.byTime === false ? [null] : near;
    return starts2.map((start) => adjust(read, free, start)).filter((fit) => fit.state[HEIGHT] > 1.01 * SHORTEST_ROD * board.height).map((fit) => reading(
      [...new Set(kinds.map((kind) => wordsOf(kind, board, read, fit)))].join(" and "),
      kinds.join("+"),
      read,
      { price: sum(chosen.map((each) => each.price + sizeCost(each.off ? each.off(fit.state) : 0))), fit, setsAside: kinds, freed: free }
    ));
  }
  var sizeCost = (off) => 2 * Math.log1p(off ** 2);
  var signed = (value, places) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(places)}`;
  var WORDS = {
    level: (board, read, { state }) => `the board was ${(Math.hypot(state[SLOPE_X], state[SLOPE_Y]) / DEGREE).toFixed(1)}° out of level`,
    foot: (board, read, { state }) => `the foot was marked ${Math.hypot(state[FOOT_X], state[FOOT_Y]).toFixed(0)} mm from the point plumb under the tip, or the rod leaned by as much`,
    corner: (board, read, { state }) => `the marks were not measured from the foot but from a point at x ${signed(-state[FOOT_X], 0)}, y ${signed(-state[FOOT_Y], 0)} mm from it`,
    height: heightWords,
    latitude: (board, read, { state }) => `the site's latitude is ${(board.latitude + state[LATITUDE] / DEGREE).toFixed(1)}°, not ${board.latitude.toFixed(1)}°, or the date is another day's`,
    marking: (board, read) => `the marks scatter about ${(read.tolerances.mark_sd_mm / board.tolerances.mark_sd_mm).toFixed(1)} times as much as was stated`,
    edge: () => "the marks scatter along the shadow, where its edge is soft, more than was stated",
    rounding: (board) => `the times were rounded or cut to ${(writtenStepS(board) / 60).toFixed(0)} min`,
    times: () => "the times are not those of the marks",
    watch: watchWords2
  };
  var wordsOf = (kind, board, read, fit) => WORDS[kind](board, read, fit);
  function heightWords(board, read, { state }) {
    const height = state[HEIGHT];
    const excess = board.height - height;
    if (excess > 10 && excess < 900) {
      return `the rod's height was measured from the ground, or from ${excess.toFixed(0)} mm under the board's face: it is ${height.toFixed(0)} mm`;
    }
    return `the rod's height is ${height.toFixed(1)} mm, not ${board.height} mm`;
  }
  function watchWords2(board, read, { state }) {
    const off = state[WATCH] - board.watchError;
    const words = `the watch was ${(Math.abs(off) / 60).toFixed(0)} min ${off > 0 ? "fast" : "slow"}`;
    return Math.abs(off) < 1800 ? `${words}, or the site's longitude is ${signed(off / 240, 1)}° off` : words;
  }
  var CORNER = { kind: "corner", price: 9, wide: () => ({ plumb_sd_mm: CORNER_MM }) };
  function fromElsewhere(board, stated3) {
    if (board.count < 5) return [];
    return shiftedStarts(board, stated3).flatMap((start) => freed(board, [CORNER], [start]));
  }
  function shiftedStarts(board, stated3) {
    const laid = possibleInstants(board).map((instants) => laidOverTips(board, instants)).filter(Boolean).sort((one, other) => one.miss - other.miss);
    const chosen = [];
    for (const each of laid) {
      if (chosen.every(({ instants }) => Math.abs(instants[0] - each.instants[0]) > 1800)) chosen.push(each);
      if (chosen.length === 2) break;
    }
    return chosen.map(({ instants, turn, x, y }) => {
      const state = [...stated3.state];
      const offsets = board.marks.map((mark, n) => ({ mark, off: mark.watchUtc - instants[n] })).filter(({ mark }) => isTimed(board, mark)).map(({ off }) => off);
      [state[AZIMUTH], state[FOOT_X], state[FOOT_Y], state[SLOPE_X], state[SLOPE_Y]] = [turn, x, y, 0, 0];
      [state[HEIGHT], state[WATCH]] = [board.height, offsets.length ? median(offsets) : board.watchError];
      return { ...stated3, state, utc: instants };
    });
  }
  function laidOverTips(board, instants) {
    const state = board.nominal();
    const tips = instants.map((utc) => board.tipAt(utc, state));
    if (!tips.every(([x2]) => Number.isFinite(x2))) return null;
    const { marks, count: count2 } = board;
    const middle = [0, 1].map((axis) => sum(tips.map((tip2) => tip2[axis])) / count2);
    const ours = [sum(marks.map(({ x: x2 }) => x2)) / count2, sum(marks.map(({ y: y2 }) => y2)) / count2];
    let [cosine, sine] = [0, 0];
    tips.forEach(([x2, y2], n) => {
      const [u, v] = [x2 - middle[0], y2 - middle[1]];
      const [p, q] = [marks[n].x - ours[0], marks[n].y - ours[1]];
      cosine += p * u + q * v;
      sine += q * u - p * v;
    });
    const turn = Math.atan2(sine, cosine);
    const [c, s] = [Math.cos(turn), Math.sin(turn)];
    const x = ours[0] - (middle[0] * c - middle[1] * s);
    const y = ours[1] - (middle[0] * s + middle[1] * c);
    const miss = sum(tips.map(([u, v], n) => (marks[n].x - (u * c - v * s) - x) ** 2 + (marks[n].y - (u * s + v * c) - y) ** 2));
    return { instants, turn, x, y, miss };
  }
  function possibleInstants(board) {
    const { marks } = board;
    if (marks.every((mark) => isTimed(board, mark))) {
      const offsets = board.watch === "running" ? counted(-12 * 3600, 12 * 3600, 300) : [0];
      return offsets.map((off) => marks.map(({ watchUtc }) => watchUtc - board.watchError - off));
    }
    const state = board.nominal();
    const track = counted(-36e3, 36001, 60).map((after) => {
      const [x, y] = board.tipAt(board.noon + after, state);
      return { utc: board.noon + after, x, y };
    }).filter(({ x, y }) => Math.hypot(x, y) < 8 * board.height);
    if (track.length < 10) return [];
    const along = lengthsAlong(track);
    const ofMarks = lengthsAlong(marks);
    const whole2 = along[along.length - 1];
    const used = ofMarks[ofMarks.length - 1];
    const starts2 = counted(0, Math.max(whole2 - used, 1), whole2 / 300);
    const at = (length) => interpolated(length, along, track);
    return [
      ...starts2.map((start) => ofMarks.map((part) => at(start + part))),
      ...starts2.map((start) => ofMarks.map((part) => at(start + used - part)))
    ];
  }
  var counted = (first, end, step2) => Array.from({ length: Math.max(0, Math.ceil((end - first) / step2)) }, (_, n) => first + n * step2);
  function lengthsAlong(points) {
    const lengths = [0];
    for (let n = 1; n < points.length; n += 1) {
      lengths.push(lengths[n - 1] + Math.hypot(points[n].x - points[n - 1].x, points[n].y - points[n - 1].y));
    }
    return lengths;
  }
  function interpolated(length, along, track) {
    let [low, high] = [0, along.length - 1];
    if (length <= 0) return track[0].utc;
    if (length >= along[high]) return track[high].utc;
    while (high - low > 1) {
      const middle = low + high >> 1;
      if (along[middle] <= length) low = middle;
      else high = middle;
    }
    const part = (length - along[low]) / (along[high] - along[low]);
    return track[low].utc + part * (track[high].utc - track[low].utc);
  }
  function withoutMarks(board, near = null) {
    if (board.count < FEWEST_TO_SPARE || board.count > MOST_TO_SPARE) return [];
    return board.marks.flatMap((mark, number2) => {
      const others = board.marks.map((_, n) => n !== number2);
      const start = near && { ...near, utc: near.utc.filter((_, n) => others[n]) };
      const best2 = adjust(board.of(others), {}, start);
      return [best2, ...best2.rivals].map((each) => {
        const fit = spreadOver(each, others);
        fit.residuals[number2] = missed2(board, fit, mark);
        return reading(`mark ${mark.name} is wrong`, "mark", board, { fit });
      });
    });
  }
  function missed2(board, fit, mark) {
    const instants = isTimed(board, mark) ? [mark.watchUtc - fit.state[WATCH]] : counted(-36e3, 36001, 60).map((after) => board.noon + after);
    let best2 = [NaN, NaN];
    for (const utc of instants) {
      const [x, y] = board.tipAt(utc, fit.state);
      const off = [x - mark.x, y - mark.y];
      if (Number.isFinite(off[0]) && !(Math.hypot(...off) >= Math.hypot(...best2))) best2 = off;
    }
    return best2;
  }
  function spreadOver(fit, chosen) {
    let next = 0;
    const whole2 = { kept: [], utc: [], residuals: [] };
    for (const there of chosen) {
      whole2.kept.push(there && fit.kept[next]);
      whole2.utc.push(there ? fit.utc[next] : NaN);
      whole2.residuals.push(there ? fit.residuals[next] : [NaN, NaN]);
      next += there;
    }
    return { ...fit, ...whole2 };
  }

  // engine/weighing.js
  var ALIKE = 6;
  var WORST_SPREAD = 4;
  var STRAINED = 6.63;
  var USUAL_PULL = 2.2;
  var NEARLY = 5;
  var ENOUGH = 48;
  var BEST_TO_JOIN = 4;
  var FEWEST_MARKS2 = 4;
  var MOST_SAID = 3;
  var AS_STATED = "as stated";
  var stated2 = (board, fit) => reading("the marks were written from the last to the first, or the half of the day is wrong", AS_STATED, board, { price: 0, fit });
  var spanOf = (board) => 2 * Math.max(median(board.marks.map(lengthOf)), board.height, 1);
  function spared(board, fit) {
    const span = spanOf(board);
    return alive([
      weighed(stated2(board, fit), fit, span),
      ...withoutMarks(board, fit).map((each) => weighed(each, each.fit, span))
    ]);
  }
  function contradicts(board, fit, readings) {
    if (plainly(board, fit) || doubtful(fit)) return true;
    return clearlyMoved(board, fit, NEARLY) || readings[0].meant.kind === "mark";
  }
  function plainly(board, fit) {
    if (tooManySpoilt(board, fit) || pulled(fit) || fit.spread > 1) return true;
    if (!fit.converged || !bears(fit) || senseCost(board, fit) > 5) return true;
    return closingCost(board) > CLEAR_CLOSING || clearlyMoved(board, fit);
  }
  function tooManySpoilt(board, fit) {
    const rejected = fit.kept.filter((kept) => !kept).length;
    if (board.count <= 8) return rejected > 0;
    const spoilt = inTime(board).map((n) => !fit.kept[n]);
    return spoilt.some((one, n) => one && spoilt[n + 1]) || rejected > Math.max(1, Math.floor(board.count / 8));
  }
  function honestU(fit, readings) {
    let u = azimuthU(fit);
    if (fit.worstPull > STRAINED) {
      const stated3 = sum(Object.entries(fit.terms).map(([name, term]) => name === "marking" ? 0 : term ** 2));
      u = Math.sqrt(u ** 2 + (fit.worstPull / USUAL_PULL - 1) * stated3);
    }
    return readings.length > 1 ? Math.max(u, coveringU(readings[0], readings)) : u;
  }
  function weigh(whole2, fitOfWhole) {
    const chosen = thinned(whole2.board);
    const record = chosen ? { ...whole2, board: whole2.board.of(chosen) } : whole2;
    const { board } = record;
    const fit = chosen ? adjust(board) : fitOfWhole;
    const span = spanOf(board);
    const all = (readings) => readings.map((each) => weighed(each, each.fit || adjust(each.board), span));
    const near = [fit];
    const own = all([fit, ...fit.rivals].map((each) => stated2(board, each)));
    own.push(...all(statements(board).flatMap((each) => freed(board, [each], near))));
    own.push(...all(fromElsewhere(board, fit)), ...all(withoutMarks(board)));
    const another = plainly(board, fit) ? slips(record).filter((each) => possible(each.board)) : [];
    const others = all([...moved(record, fit), ...another]);
    const best2 = least([...own, ...others]);
    if (!best2 || !sound(best2.fit)) own.push(...all(joined(board, own, near)));
    return verdictOf(whole2, record, chosen, own, others);
  }
  function thinned({ count: count2 }) {
    if (count2 <= ENOUGH) return null;
    const wanted = new Set(Array.from({ length: ENOUGH }, (_, n) => Math.trunc(n * (count2 - 1) / (ENOUGH - 1))));
    return Array.from({ length: count2 }, (_, n) => wanted.has(n));
  }
  function joined(board, own, near) {
    const known3 = [...new Map(statements(board).map((each) => [`${each.kind} ${each.price}`, each])).values()];
    const bestOf = ({ kind }) => Math.min(Infinity, ...own.filter(({ meant: meant2 }) => meant2.kind === kind).map(({ evidence }) => evidence));
    const single = [];
    for (const each of [...known3].sort((one, other) => compared(bestOf(one), bestOf(other)))) {
      const timeless = each.freed && each.freed.byTime === false;
      if (!timeless && single.every(({ kind }) => kind !== each.kind)) single.push(each);
    }
    const pairs2 = single.slice(0, BEST_TO_JOIN).flatMap((one, n) => single.slice(n + 1, BEST_TO_JOIN).map((other) => [one, other]));
    const everything = single.filter(({ kind }) => !["marking", "edge", "rounding"].includes(kind));
    const coarse = known3.filter(({ kind }) => kind === "marking").slice(-1);
    return [...pairs2, everything, [...everything, ...coarse]].flatMap((each) => freed(board, each, near));
  }
  var compared = (one, other) => one < other ? -1 : one > other ? 1 : 0;
  function least(readings) {
    const finite = readings.filter(({ evidence }) => Number.isFinite(evidence));
    return finite.length ? finite.reduce((best2, each) => each.evidence < best2.evidence ? each : best2) : null;
  }
  var sound = (fit) => fit.converged && fit.spread === 1 && !pulled(fit);
  function verdictOf(whole2, record, chosen, own, others) {
    const best2 = least([...own, ...others]);
    const stated3 = own.filter(({ meant: meant3 }) => meant3.kind === AS_STATED);
    const plain = plainly(record.board, own[0].fit);
    const better = best2 !== null && doesBetter(record.board, best2, stated3);
    const adopted = least(plain || better ? own : stated3);
    if (!adopted || !best2) {
      return { fit: opened(own[0].fit, Math.PI), adopted: own[0].meant, explanation: null, unexplained: true, ownU: 0 };
    }
    const living = alive([...own, ...others].filter(({ evidence }) => Number.isFinite(evidence)));
    let u = coveringU(adopted, living);
    if (!byTime(adopted.meant)) u = Math.max(u, apartFrom(own[0], adopted.fit.state[AZIMUTH]));
    if (best2.fit.spread > WORST_SPREAD) u = Math.PI;
    const unexplained = best2.fit.spread > 1 || !best2.fit.converged;
    const alike = living.filter(({ evidence }) => evidence <= best2.evidence + ALIKE);
    const torn = plain && coveringU(adopted, alike) > 1.5 * azimuthU(adopted.fit);
    const asked = (better || torn) && !unexplained && tells(record.board);
    const explanation = asked ? explained(best2, better, alike) : null;
    const { fit, meant: meant2 } = chosen ? ofAll(whole2.board, chosen, adopted) : adopted;
    return { fit: opened(fit, u), adopted: meant2, explanation, unexplained, ownU: azimuthU(fit) };
  }
  function doesBetter(board, best2, stated3) {
    return Math.min(...stated3.map(({ evidence }) => evidence)) > best2.evidence + ALIKE || readBackwards(board, best2);
  }
  var readBackwards = (board, best2) => best2.meant.kind === AS_STATED && senseCost(board, best2.fit) > 5;
  function explained(best2, better, alike) {
    const backwards = readBackwards(best2.meant.board, best2);
    const told = /* @__PURE__ */ new Map();
    for (const { meant: meant2 } of alike) {
      if (meant2.kind === "mark") continue;
      if (!backwards && meant2.kind === AS_STATED) continue;
      if (!better && meant2.setsAside.length) continue;
      const key = meant2.setsAside.join("+") || meant2.words;
      if (!told.has(key)) told.set(key, meant2);
    }
    return told.size ? [...told.values()].slice(0, MOST_SAID) : null;
  }
  function tells({ marks, count: count2, tolerances }) {
    const reach = (of) => Math.max(...marks.map(of)) - Math.min(...marks.map(of));
    return count2 >= FEWEST_MARKS2 && Math.hypot(reach(({ x }) => x), reach(({ y }) => y)) > tolerances.mark_sd_mm;
  }
  function opened(fit, u) {
    const covariance = fit.covariance.map((row) => [...row]);
    covariance[AZIMUTH][AZIMUTH] = Math.max(covariance[AZIMUTH][AZIMUTH], u ** 2);
    return { ...fit, covariance };
  }
  function ofAll(board, chosen, { meant: meant2, fit: of }) {
    const read = board.with({ tolerances: meant2.board.tolerances });
    const places = chosen.map((there, n) => there ? n : -1).filter((n) => n >= 0);
    const utc = board.marks.map((_, n) => {
      const after = places.findIndex((place) => place >= n);
      return of.utc[after < 0 ? places.length - 1 : after];
    });
    const fit = adjust(read, meant2.freed, { ...of, utc });
    return { fit, meant: { ...meant2, board: read, fit } };
  }

  // engine/lookout.js
  var WIDENED = 1.5;
  var WIDEST_U_DEG = 30;
  var FLAGS = {
    watch: "watch-doubtful",
    times: "watch-doubtful",
    rounding: "watch-doubtful",
    height: "height-doubtful",
    latitude: "height-doubtful",
    level: "level-doubtful",
    foot: "level-doubtful",
    corner: "level-doubtful",
    moved: "board-moved",
    marking: "scatter-large",
    edge: "scatter-large"
  };
  var WIDE = "Until it is put right the line is as uncertain as the readings are apart.";
  function lookout(board, read, line) {
    const told = marksLeftOut(board, read.fit);
    const doubt = doubtOf(read);
    if (doubt) told.unshift({ code: "record", ...doubt });
    const closing = closingSight(line);
    return { flags: flagsOf(read), told: closing ? [closing, ...told] : told };
  }
  var widened2 = ({ verdict, apart }) => apart || verdict && azimuthU(verdict.fit) > WIDENED * verdict.ownU;
  var likeliest = ({ fit, verdict, apart }) => !apart && !verdict.explanation && verdict.adopted.kind === AS_STATED && azimuthU(fit) <= WIDEST_U_DEG * DEGREE;
  function flagsOf(read) {
    const { fit, verdict } = read;
    const flags = [];
    if (verdict && verdict.explanation) {
      const [first, ...rest] = verdict.explanation.map(({ setsAside, kind }) => setsAside.length ? setsAside : [kind]);
      const shared = first.filter((kind) => rest.every((other) => other.includes(kind)));
      flags.push("record-doubtful", ...shared.filter((kind) => kind in FLAGS).map((kind) => FLAGS[kind]));
    }
    const unexplained = verdict && !verdict.explanation && (verdict.unexplained || fit.spread > 1);
    if (unexplained || verdict && !fit.converged) flags.push("scatter-large");
    if (widened2(read) && !likeliest(read)) flags.push("record-doubtful");
    return flags;
  }
  function doubtOf(read) {
    const { verdict } = read;
    if (verdict && verdict.explanation) {
      const moved2 = verdict.explanation.find(({ since }) => since !== void 0);
      const words = verdict.explanation.map((each) => each.words).join("; or: ");
      return {
        since: moved2 && Number.isFinite(moved2.since) ? moved2.since : null,
        text: `This would explain the marks: ${words}.${widened2(read) ? ` ${WIDE}` : ""}`
      };
    }
    if (verdict && verdict.unexplained) {
      return { text: `The marks contradict what was stated of the board, and no single mistake explains it. ${WIDE}` };
    }
    if (read.apart) {
      return { text: "Pairs, or timed marks, stand farther from the adjustment than chance allows: until that is explained the line is as uncertain as they are apart." };
    }
    if (!widened2(read)) return strainOf(read.fit);
    return { text: "So few marks can be read in more than one way, one of them being wrong perhaps: the line is as uncertain as the readings are apart. More marks settle it." };
  }
  function strainOf({ worstPull }) {
    if (!(worstPull > STRAINED)) return null;
    return { text: `The marks pull what was stated of the board (level, foot, height, watch, edge) ${Math.sqrt(worstPull).toFixed(1)} times as far as its tolerances say: the figure takes them to be too narrow.` };
  }
  function closingSight(line) {
    const apart = turnWithin((line.closeAngle - line.angle) * DEGREE) / DEGREE;
    if (!Number.isFinite(apart)) return null;
    const allowed = COVERAGE_95 * Math.hypot(line.sd, line.closeSd);
    if (Math.abs(apart) <= allowed) return null;
    return {
      code: "moved",
      apart,
      text: `The closing sight lies ${Math.abs(apart).toFixed(1)}° from the first, more than the ±${allowed.toFixed(1)}° that drawing both allows: the board has moved since then, or one of them is wrong.`
    };
  }
  function marksLeftOut(board, fit) {
    return board.marks.map((mark, n) => ({ mark, n })).filter(({ n }) => !fit.kept[n]).map(({ mark, n }) => {
      const off = Math.hypot(...fit.residuals[n]);
      const lies = Number.isFinite(off) ? `it lies ${off.toFixed(0)} mm from its place` : "the sun is not up at its time";
      const slips2 = slipsOfPen(mark).filter(({ x, y, later = 0 }) => {
        const [tipX, tipY] = board.tipAt(fit.utc[n] + later, fit.state);
        return Math.hypot(x - tipX, y - tipY) < 3 * board.tolerances.mark_sd_mm;
      });
      const hint = slips2.length === 1 ? ` It would fit if ${slips2[0].words}.` : "";
      return {
        code: "mark",
        mark: mark.name,
        text: `Mark ${mark.name} does not fit the others: ${lies}.${hint} Measure it again, or strike it out.`
      };
    });
  }
  var signed2 = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)}`;
  function slipsOfPen({ x, y }) {
    const slips2 = [
      { words: `its x were ${signed2(-x)} mm`, x: -x, y },
      { words: `its y were ${signed2(-y)} mm`, x, y: -y },
      { words: "its x and y were swapped", x: y, y: x },
      { words: "its time were 1 h later", x, y, later: 3600 },
      { words: "its time were 1 h earlier", x, y, later: -3600 },
      { words: "its time were 10 min later", x, y, later: 600 },
      { words: "its time were 10 min earlier", x, y, later: -600 }
    ];
    for (const step2 of [-100, -10, 10, 100]) {
      slips2.push({ words: `its x were ${signed2(x + step2)} mm`, x: x + step2, y });
      slips2.push({ words: `its y were ${signed2(y + step2)} mm`, x, y: y + step2 });
    }
    return slips2;
  }

  // engine/byhand.js
  var NOON_GAP_S = 300;
  var WIDEST_GAP = 2;
  var HUBER = 1.5;
  function timed(board) {
    if (board.watch !== "trusted") return null;
    const marks = board.marks.filter((mark) => Number.isFinite(mark.watchUtc) && lengthOf(mark) > 0);
    const seen = marks.map((mark) => lit(board, mark, mark.watchUtc - board.watchError)).filter(Boolean);
    if (!seen.length) return null;
    const middle = middleOf(seen.map(({ single }) => single));
    for (const each of seen) {
      each.partials = partialsOf(board, each, middle);
      each.sensitivity = aroundFoot(each.mark);
      each.own = board.tolerances.mark_sd_mm ** 2 * norm2(each.sensitivity);
      const turn = each.sensitivity[0] * each.partials[0][WATCH] + each.sensitivity[1] * each.partials[1][WATCH];
      each.common = (turn * board.tolerances.watch_sd_s) ** 2;
    }
    const mean2 = robustMean(
      seen.map(({ single }) => middle + turnWithin(single - middle)),
      seen.map(({ own }) => own),
      seen.map(({ common }) => common)
    );
    return result(board, seen, mean2.weight, mean2, seen.length, true);
  }
  function pairs(board, halves) {
    const all = board.marks.map((mark, n) => {
      const utc = halves[n] && lengthOf(mark) > 0 ? timeOfLength(board, lengthOf(mark), halves[n]) : NaN;
      const usable2 = Number.isFinite(utc) && Math.abs(utc - board.noon) > NOON_GAP_S;
      return usable2 ? lit(board, mark, utc) : null;
    });
    const shares = [...ringPairs(board, halves, all), ...interpolatedPairs(board, halves, all)];
    if (!shares.length) return null;
    const middle = middleOf(all.filter(Boolean).map(({ single }) => single));
    for (const each of all.filter(Boolean)) {
      each.partials = partialsOf(board, each, middle);
      each.sensitivity = byLength(each.mark, each.partials);
      each.single = middle + turnWithin(each.single - middle);
      each.own = board.tolerances.mark_sd_mm ** 2 * norm2(each.sensitivity);
    }
    const of = (share, value) => sum(share.map((part, n) => part ? value(part, all[n]) : 0));
    const mean2 = robustMean(
      shares.map((share) => of(share, (part, { single }) => part * single)),
      shares.map((share) => of(share, (part, { own }) => part ** 2 * own))
    );
    const weights = all.map((_, n) => sum(shares.map((share, k) => mean2.weight[k] * share[n])));
    return result(board, all.filter(Boolean), weights.filter((_, n) => all[n]), mean2, shares.length, false);
  }
  function shortest(board) {
    if (board.count < 3) return null;
    const lengths = board.marks.map(lengthOf);
    const ordered = [...lengths].sort((a, b) => a - b);
    const reach = Math.max(1.25 * ordered[0], ordered[Math.min(4, board.count - 1)]);
    const near = board.of(lengths.map((length) => length <= reach));
    if (near.count < 3) return null;
    const fit = adjust(near, { height: true, byTime: false });
    const fromNoon = fit.utc.filter((_, n) => fit.kept[n]).map((utc) => utc - board.noon);
    if (!fromNoon.length || Math.min(...fromNoon) > 0 || Math.max(...fromNoon) < 0) return null;
    return { azimuth: fit.state[AZIMUTH], u: azimuthU(fit), n: fromNoon.length };
  }
  function lit(board, mark, utc) {
    const light = board.light(utc);
    if (!light || !(light[2] > 0)) return null;
    return { mark, light, rate: board.sun.rate(utc), single: Math.atan2(-light[0], -light[1]) - directionOf(mark) };
  }
  function partialsOf(board, { light, rate }, azimuth) {
    const state = board.nominal();
    state[AZIMUTH] = azimuth;
    return tipPartials(light, rate, state).map((row) => row.map((value) => Number.isFinite(value) ? value : 0));
  }
  var norm2 = ([x, y]) => x * x + y * y;
  var aroundFoot = ({ x, y }) => [-y / norm2([x, y]), x / norm2([x, y])];
  function byLength({ x, y }, partials) {
    const length = Math.hypot(x, y);
    const [right, ahead] = [-partials[0][WATCH], -partials[1][WATCH]];
    const turn = (y * right - x * ahead) / length ** 2 / ((x * right + y * ahead) / length);
    return aroundFoot({ x, y }).map((part, axis) => part + [x, y][axis] * turn / length);
  }
  function timeOfLength(board, length, half) {
    const apparent = Math.atan2(board.height, length) / DEGREE - board.edge / DEGREE;
    let wanted = apparent;
    for (let n = 0; n < 4; n += 1) wanted = apparent - refractionDeg(wanted, board.sun.air);
    const above = (utc) => {
      const toward = board.sun.direction(utc);
      return toward ? altitudeDeg(toward) - wanted : -90;
    };
    let [inside, outside] = [board.noon, board.noon + half * 43200];
    if (!(above(inside) > 0)) return NaN;
    if (above(outside) > 0) return NaN;
    while (Math.abs(outside - inside) > 1e-4) {
      const middle = (inside + outside) / 2;
      if (above(middle) > 0) inside = middle;
      else outside = middle;
    }
    return Math.abs(above(inside)) < 1e-4 ? inside : NaN;
  }
  function ringPairs(board, halves, usable2) {
    const labels = [...new Set(board.marks.map(({ ring }) => ring).filter(Boolean))];
    return labels.map((label2) => [-1, 1].map((half) => board.marks.map((mark, n) => Boolean(usable2[n]) && mark.ring === label2 && halves[n] === half))).filter((sides) => sides.every((side) => side.some(Boolean))).map((sides) => board.marks.map((_, n) => sum(sides.map((side) => side[n] ? 0.5 / side.filter(Boolean).length : 0))));
  }
  function interpolatedPairs(board, halves, usable2) {
    const length = board.marks.map(lengthOf);
    const on = (half) => board.marks.map((_, n) => n).filter((n) => usable2[n] && !board.marks[n].ring && halves[n] === half);
    return [-1, 1].flatMap((side) => {
      const there = on(-side).sort((a, b) => length[a] - length[b]);
      return on(side).map((mark) => {
        const after = there.findIndex((n) => length[n] >= length[mark]);
        if (after < 1) return null;
        const [low, high] = [there[after - 1], there[after]];
        if (length[high] > WIDEST_GAP * length[low]) return null;
        const part = (length[mark] - length[low]) / Math.max(length[high] - length[low], 1e-9);
        const row = new Array(board.count).fill(0);
        [row[mark], row[low], row[high]] = [0.5, 0.5 * (1 - part), 0.5 * part];
        return row;
      }).filter(Boolean);
    });
  }
  function robustMean(values, variance, common = values.map(() => 0)) {
    const whole2 = variance.map((own, n) => own + common[n]);
    let mean2 = median(values);
    let share = [];
    for (let n = 0; n < 20; n += 1) {
      share = values.map((value, k) => Math.min(1, HUBER / Math.max(Math.abs(value - mean2) / Math.sqrt(whole2[k]), 1e-12)));
      const next = sum(values.map((value, k) => share[k] / whole2[k] * value)) / sum(share.map((part, k) => part / whole2[k]));
      if (Math.abs(next - mean2) < 1e-12) break;
      mean2 = next;
    }
    const scatter = sum(values.map((value, k) => share[k] * (value - mean2) ** 2 / whole2[k]));
    const freedom = values.length - 1;
    const excess = freedom > 0 && scatter > doubtfulCost(freedom) ? Math.sqrt(scatter / freedom) : 1;
    const total = sum(share.map((part, k) => part / whole2[k]));
    return { weight: share.map((part, k) => part / whole2[k] / total), mean: mean2, excess };
  }
  function result(board, marks, weights, { mean: mean2, excess }, n, byWatch) {
    const response = new Array(UNKNOWNS).fill(0);
    let marking = 0;
    marks.forEach(({ sensitivity, partials }, k) => {
      const weighted = sensitivity.map((part) => part * weights[k]);
      marking += norm2(weighted);
      for (let j = 0; j < UNKNOWNS; j += 1) response[j] += weighted[0] * partials[0][j] + weighted[1] * partials[1][j];
    });
    const priorSd = board.priorSd();
    const shared = sum(response.map((part, j) => j === AZIMUTH || j === WATCH && !byWatch ? 0 : (part * priorSd[j]) ** 2));
    const u = Math.sqrt(board.tolerances.mark_sd_mm ** 2 * marking * excess ** 2 + shared);
    return { azimuth: (mean2 % (2 * Math.PI) + 2 * Math.PI) % (2 * Math.PI), u, n };
  }

  // engine/reading.js
  var DOUBTFUL_PULL = 4;
  var CONTRARY = 4.5;
  var FURTHEST_LATITUDE_U_DEG = 5;
  function readBoard(record) {
    const { board } = record;
    const stated3 = adjust(board);
    const asStated = reading("as stated", "as stated", board);
    let latitude = latitudeOf(board, stated3, asStated);
    const readings = spared(board, stated3);
    const contradicted = contradicts(board, stated3, readings) || isAnother(latitude, board);
    const verdict = contradicted ? weigh(record, stated3) : null;
    const { fit: adopted, adopted: meant2 } = verdict || { fit: stated3, adopted: asStated };
    const fit = opened(adopted, honestU(adopted, contradicted ? [] : readings));
    if (contradicted) latitude = latitudeOf(board, fit, meant2);
    const halves = board.marks.map(({ half }, n) => half || (fit.utc[n] < board.noon ? -1 : 1));
    const byHand = methodsOf(board, fit, meant2, halves);
    const widest = contraryTo(fit, byHand);
    const methods = { ...byHand, adjustment: {
      azimuth: fit.state[AZIMUTH],
      u: Math.max(azimuthU(fit), widest),
      n: fit.kept.filter(Boolean).length
    } };
    return {
      fit: opened(fit, widest),
      meant: meant2,
      verdict,
      contradicted,
      apart: widest > 0,
      methods,
      latitude,
      halves,
      timed: byTime(meant2) && board.marks.some((mark) => isTimed(board, mark))
    };
  }
  var keptOf2 = (board, fit) => fit.kept.some(Boolean) ? board.of(fit.kept) : board;
  function methodsOf(board, fit, meant2, halves) {
    const believed = keptOf2(board, fit).with({
      watchError: fit.state[WATCH],
      height: meant2.freed.height ? fit.state[HEIGHT] : board.height
    });
    const own = fit.kept.some(Boolean) ? halves.filter((_, n) => fit.kept[n]) : halves;
    return {
      pairs: pairs(believed, own),
      shortest: shortest(believed),
      timed: byTime(meant2) && !meant2.freed.watch ? timed(believed) : null
    };
  }
  function contraryTo(fit, { pairs: byPairs, timed: byWatch }) {
    const own = azimuthU(fit);
    const apart = [byPairs, byWatch].filter(Boolean).map(({ azimuth, u }) => {
      const off = Math.abs(turnWithin(azimuth - fit.state[AZIMUTH]));
      return off > CONTRARY * Math.hypot(u, own) ? off / COVERAGE_95 : 0;
    });
    const worst = Math.max(0, ...apart);
    return worst > own ? worst : 0;
  }
  function latitudeOf(board, fit, meant2) {
    const kept = keptOf2(board, fit);
    if (kept.count < 3 || meant2.freed.height) return null;
    const utc = fit.kept.some(Boolean) ? fit.utc.filter((_, n) => fit.kept[n]) : fit.utc;
    const free = adjust(kept, { watch: meant2.freed.watch, byTime: meant2.freed.byTime, latitude: true }, { ...fit, utc });
    const u = Math.sqrt(free.covariance[LATITUDE][LATITUDE]) / DEGREE;
    const latitude = board.latitude + free.state[LATITUDE] / DEGREE;
    if (!free.converged || u > FURTHEST_LATITUDE_U_DEG || Math.abs(latitude) > 90) return null;
    return { latitude, u };
  }
  var isAnother = (found, board) => found !== null && Math.abs(found.latitude - board.latitude) > DOUBTFUL_PULL * found.u;

  // engine/reduce.js
  var NEAR_NOON_S = 18 * 240;
  function whole(table2, rows) {
    const { row, board, fit, told } = reduced(table2, rows);
    const leftOut = fit ? board.marks.filter((_, n) => !fit.kept[n]).map(({ name }) => name) : [];
    return { row, leftOut, told: told.map(({ code, text }) => ({ code, text })) };
  }
  var wrap360 = (degrees2) => (degrees2 % 360 + 360) % 360;
  var wrap180 = (degrees2) => wrap360(degrees2 + 180) - 180;
  function reduced(table2, { site, setup, marks }) {
    const row = Object.fromEntries(table2.keys.map((key) => [key, null]));
    const { place, day } = placeOf(table2, site, setup.date);
    Object.assign(row, {
      setup: setup.setup,
      site: setup.site,
      date: setup.date,
      reference_name: given(setup.reference_name) ? setup.reference_name : null,
      declination_deg: day.declination_deg,
      declination_u_deg: day.declination_u_deg,
      convergence_deg: place.convergence_deg,
      compass_reading_deg: given(setup.compass_reading_deg) ? number(setup.compass_reading_deg) : null,
      methods: { pairs: null, shortest: null, timed: null, adjustment: null },
      flags: [...day.flags]
    });
    const record = recordOf(table2, { site, setup, marks });
    const { board } = record;
    if (!board.count) return { row, board, fit: null, told: [] };
    const line = lineOf(table2, setup);
    const read = readBoard(record);
    const { fit } = read;
    const { flags, told } = lookout(board, read, line);
    const laplace = place.laplace_deg || 0;
    const left = place.laplace_deg === null ? deflectionU(table2, board) : 0;
    row.flags = [.../* @__PURE__ */ new Set([...flags, ...flagsOf2(board, read), ...row.flags])];
    row.methods = methodRows(read.methods, laplace, left);
    if (azimuthU(fit) / DEGREE <= WIDEST_U_DEG) {
      const azimuth = wrap360(fit.state[AZIMUTH] / DEGREE - laplace);
      const u = Math.hypot(azimuthU(fit) / DEGREE, left);
      Object.assign(row, {
        method: "adjustment",
        board_azimuth_deg: azimuth,
        board_azimuth_u_deg: u,
        north_on_board_deg: wrap360(-azimuth),
        ...directionOf2(table2, setup, place, day, line, azimuth, u)
      });
      if (read.timed) row.noon_watch = civil(place, board.noon + fit.state[WATCH]).slice(11, 19);
    }
    if (read.latitude) {
      Object.assign(row, { latitude_deg: read.latitude.latitude, latitude_u_deg: latitudeU(row, board, read.latitude) });
    }
    if (ofPlace(read)) Object.assign(row, { reference_grid_bearing_deg: null, reference_magnetic_bearing_deg: null });
    Object.assign(row, compassOf(table2, setup, row));
    return { row, board, fit, line, told, doubtful: Boolean(widened2(read)) };
  }
  var latitudeU = ({ flags }, board, { latitude, u }) => flags.includes("record-doubtful") ? Math.max(u, Math.abs(latitude - board.latitude) / COVERAGE_95) : u;
  var ofPlace = ({ verdict }) => Boolean(verdict && verdict.explanation && verdict.explanation.some(({ place }) => place));
  function methodRows(methods, laplace, left) {
    return Object.fromEntries(["pairs", "shortest", "timed", "adjustment"].map((name) => {
      const found = methods[name];
      if (!found || found.u / DEGREE > WIDEST_U_DEG) return [name, null];
      return [name, {
        board_azimuth_deg: wrap360(found.azimuth / DEGREE - laplace),
        board_azimuth_u_deg: Math.hypot(found.u / DEGREE, left),
        n: found.n
      }];
    }));
  }
  function deflectionU(table2, board) {
    const altitude = Math.atan2(board.height, median(board.marks.map(lengthOf)));
    return table2.deflection_rms_arcsec / 3600 * Math.tan(Math.min(altitude, 85 * DEGREE));
  }
  function directionOf2(table2, setup, place, day, line, azimuth, u) {
    if (!Number.isFinite(line.angle)) return {};
    const reference = wrap360(azimuth + line.angle);
    const bent = given(setup.reference_easting_m) || place.convergence_deg === null;
    return {
      reference_azimuth_deg: reference,
      reference_azimuth_u_deg: Math.hypot(u, line.sd),
      reference_grid_bearing_deg: bent ? null : wrap360(reference + place.datum_turn_deg - place.convergence_deg),
      reference_magnetic_bearing_deg: wrap360(reference - day.declination_deg)
    };
  }
  function compassOf(table2, setup, row) {
    if (row.compass_reading_deg === null || row.reference_magnetic_bearing_deg === null) return {};
    const apart = wrap180(row.compass_reading_deg - row.reference_magnetic_bearing_deg);
    const u = Math.hypot(
      row.reference_azimuth_u_deg,
      row.declination_u_deg,
      stated(table2, setup, "compass_sd_deg")
    );
    if (Math.abs(apart) > 1.959964 * u) row.flags.push("compass-differs");
    return { compass_difference_deg: apart, compass_difference_u_deg: u };
  }
  function flagsOf2(board, { fit, halves, methods, verdict }) {
    const kept = fit.kept.some(Boolean) ? fit.kept : fit.kept.map(() => true);
    const fromNoon = fit.utc.filter((_, n) => kept[n]).map((utc) => utc - board.noon);
    const explained2 = verdict && verdict.explanation;
    const flags = [];
    if (Math.max(...fromNoon.map(Math.abs)) <= NEAR_NOON_S) flags.push("near-noon");
    if (new Set(halves.filter((_, n) => kept[n])).size === 1) flags.push("one-sided");
    else if (!explained2 && (!methods.pairs || methods.pairs.n < 3)) flags.push("few-pairs");
    if (fit.kept.includes(false)) flags.push("blunder");
    return flags;
  }

  // field/dom.js
  var element = (id) => document.getElementById(id);
  function made(tag, attributes = {}, ...children) {
    const node = SVG_TAGS.has(tag) ? document.createElementNS(document.querySelector("svg").namespaceURI, tag) : document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else if (value !== null && value !== false) node.setAttribute(name, value === true ? "" : value);
    }
    node.append(...children.flat().filter((child) => child !== null && child !== void 0));
    return node;
  }
  var SVG_TAGS = /* @__PURE__ */ new Set(["svg", "path", "circle", "text"]);
  function say(id, text) {
    const place = element(id);
    if (place.textContent !== text) place.textContent = text;
  }
  function typed(text) {
    const plain = text.trim().replace(",", ".").replace("−", "-");
    if (!plain) return null;
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
  }
  var degrees = (value, places = 2) => `${value.toFixed(places)}°`.replace("-", "−");
  function bearing(value, places = 2) {
    const scale = 10 ** places;
    return `${(Math.round(value * scale) % (360 * scale) / scale).toFixed(places)}°`;
  }
  function plusMinus(uDeg) {
    const wide = 1.959964 * uDeg;
    return wide < 1 ? `± ${(wide * 60).toFixed(1)}′` : `± ${wide.toFixed(1)}°`;
  }
  function tappedAt(event) {
    const since = performance.now() - event.timeStamp;
    return Date.now() - (since > 0 && since < 6e4 ? since : 0);
  }

  // field/log.js
  var byOrder = (one, other) => one.number - other.number || (one.id < other.id ? -1 : 1);
  function gathered(entries) {
    const ordered = [...entries].sort(byOrder);
    const undone = /* @__PURE__ */ new Set();
    for (const entry of [...ordered].reverse()) {
      if (entry.kind === "undo" && !undone.has(entry.id)) undone.add(entry.target);
    }
    const log = { setups: [], comparisons: [], steps: [], last: null };
    for (const entry of ordered) {
      if (undone.has(entry.id) || !(entry.kind in TAKE)) continue;
      TAKE[entry.kind](log, entry);
      if (entry.kind !== "clock") log.last = entry;
    }
    return log;
  }
  var setupOf = (log, name) => log.setups.find((each) => each.setup === name);
  var TAKE = {
    setup(log, { setup, fields, at }) {
      const known3 = setupOf(log, setup);
      if (known3) Object.assign(known3.fields, fields);
      else log.setups.push({ setup, at, fields: { ...fields }, marks: [], readings: [], levels: [] });
    },
    mark(log, { setup, mark, at }) {
      const own = setupOf(log, setup);
      if (!own) return;
      let name = mark;
      while (own.marks.some((each) => each.mark === name)) name += "b";
      own.marks.push({ mark: name, at, fields: {} });
    },
    place(log, { setup, mark, fields }) {
      const own = setupOf(log, setup);
      const found = own && own.marks.find((each) => each.mark === mark);
      if (found) Object.assign(found.fields, fields);
    },
    reading(log, { id, setup, degrees: degrees2, at }) {
      const own = setupOf(log, setup);
      if (own) own.readings.push({ id, degrees: degrees2, at });
    },
    comparison(log, { fields, at }) {
      log.comparisons.push({ ...fields, at });
    },
    level(log, { setup, fields, at }) {
      const own = setupOf(log, setup);
      if (own) own.levels.push({ ...fields, at });
    },
    clock(log, { by_s: by, at }) {
      log.steps.push({ by, at });
    },
    undo() {
    }
  };
  function nextMark(setup) {
    const numbers = setup.marks.map(({ mark }) => parseInt(mark, 10)).filter(Number.isFinite);
    return String(Math.max(0, ...numbers) + 1);
  }
  function said(entry) {
    return {
      setup: () => `set-up ${entry.setup}`,
      mark: () => `mark ${entry.mark}`,
      place: () => `what was entered for mark ${entry.mark}`,
      reading: () => `the compass reading ${entry.degrees}°`,
      comparison: () => "the comparison of the clock",
      level: () => "the levelling",
      undo: () => "an undoing",
      clock: () => "a step of the clock"
    }[entry.kind]();
  }

  // field/timesignal.js
  var LAG_S = 0.1;
  var LAG_SD_S = 0.1;
  var FEWEST_TAPS = 3;
  var ASSUMED = {
    today: { error_s: 0, sd_s: 5, words: "had network today: 0 ± 10 s (95 %) is assumed" },
    days: { error_s: 0, sd_s: 20, words: "no network for days: 0 ± 40 s (95 %) is assumed" }
  };
  function compared2(taps, firstMs, intervalS = 1) {
    if (taps.length < FEWEST_TAPS || !Number.isFinite(firstMs)) return null;
    const late = taps.map((tap) => {
      const pips = Math.round((tap - taps[0]) / 1e3 / intervalS);
      return (tap - firstMs) / 1e3 - pips * intervalS;
    });
    const mean2 = late.reduce((total, each) => total + each, 0) / late.length;
    const scatter = Math.sqrt(late.reduce((total, each) => total + (each - mean2) ** 2, 0) / (late.length - 1));
    return {
      error_s: round(mean2 - LAG_S, 2),
      sd_s: round(Math.max(0.01, Math.hypot(scatter / Math.sqrt(late.length), LAG_SD_S)), 2),
      scatter_s: round(scatter, 3),
      taps: late.length
    };
  }
  var round = (value, places) => Math.round(value * 10 ** places) / 10 ** places;
  var RATE_SD_S = 1;
  var COMPARED_RATE_SD_S = 60;
  var RATE_WANDERS_S = 0.3;
  var READING_SD_S = 1;
  var settingsBefore = (steps, atMs) => steps.filter(({ at }) => at < atMs).length;
  function clockAt({ comparisons, steps }, atMs, assumed, named) {
    const setting = settingsBefore(steps, atMs);
    const valid = comparisons.filter(({ at }) => settingsBefore(steps, at) === setting);
    if (!valid.length) return { ...ASSUMED[assumed] || ASSUMED.today, compared: false };
    const days = valid.map(({ at }) => (Math.floor(at / 1e3) * 1e3 - atMs) / 864e5);
    const weights = valid.map(({ sd_s: sd }) => 1 / sd ** 2);
    const moment = (of) => weights.reduce((total, weight, n) => total + weight * of(n), 0);
    const rateSd = valid.length > 1 ? COMPARED_RATE_SD_S : RATE_SD_S;
    const [a, b, c] = [moment(() => 1) + 1e-12, moment((n) => days[n]), moment((n) => days[n] ** 2) + rateSd ** -2];
    const [p, q] = [moment((n) => valid[n].error_s), moment((n) => days[n] * valid[n].error_s)];
    const determinant = a * c - b * b;
    const own = Math.hypot(named ? READING_SD_S : 0, RATE_WANDERS_S * Math.min(...days.map(Math.abs)));
    return {
      error_s: round((c * p - b * q) / determinant, 4),
      sd_s: round(Math.hypot(Math.sqrt(c / determinant), own), 4),
      compared: true
    };
  }

  // field/tables.js
  var FORMAT = "orient field log";
  var VERSION = 1;
  var blank = (value) => value === void 0 || value === null || value === "";
  var filled = (row) => Object.fromEntries(Object.entries(row).filter(([, value]) => !blank(value)));
  function timepieceAt(log, name, at) {
    const setting = settingsBefore(log.steps, at);
    return setting ? `${name} set ${setting}` : name;
  }
  function watchOf(table2, log, setup) {
    const { watch, watch_error_s: error, watch_sd_s: sd, network, timepiece } = setup.fields;
    if (watch === "none") return {};
    if (!blank(sd)) return { watch_error_s: blank(error) ? 0 : error, watch_sd_s: sd };
    const named = !blank(timepiece);
    const at = middleOf2(table2, setup);
    const { compared: compared3, error_s: known3, sd_s: knownSd } = clockAt(log, at, network, named);
    const stated3 = { watch_error_s: known3, watch_sd_s: knownSd };
    if (!named) return stated3;
    return { ...stated3, timepiece: timepieceAt(log, timepiece, at), ...compared3 && { watch: "trusted" } };
  }
  function middleOf2(table2, { at, fields: { site, date } }) {
    const place = table2.sites.find((each) => each.site === site);
    const day = place && place.days[date];
    return day ? 1e3 * day.noon : at;
  }
  function watchRows(table2, log) {
    const named = /* @__PURE__ */ new Map();
    for (const { fields } of log.setups) {
      if (!blank(fields.timepiece) && !named.has(fields.timepiece)) named.set(fields.timepiece, fields.site);
    }
    return [...named].flatMap(([name, site]) => {
      const place = table2.sites.find((each) => each.site === site);
      return !place ? [] : log.comparisons.map(({ at, error_s: error, sd_s: sd }) => ({
        timepiece: timepieceAt(log, name, at),
        date: civil(place, at / 1e3).slice(0, 10),
        time: civil(place, at / 1e3).slice(11, 19),
        error_s: error,
        sd_s: sd
      }));
    });
  }
  function meanReading(readings) {
    if (!readings.length) return null;
    const part = (of) => readings.reduce((total, { degrees: degrees2 }) => total + of(degrees2 * Math.PI / 180), 0);
    const mean2 = Math.atan2(part(Math.sin), part(Math.cos)) * 180 / Math.PI;
    return Math.round((mean2 + 360) % 360 * 100) / 100;
  }
  function setupRow(table2, log, setup) {
    const { network: _, ...fields } = setup.fields;
    return filled({
      setup: setup.setup,
      ...fields,
      ...watchOf(table2, log, setup),
      compass_reading_deg: meanReading(setup.readings)
    });
  }
  var shownTime = (place, at) => civil(place, Math.round(at / 100) / 10).slice(11, 21);
  function readingRows(place, { setup, fields, readings }) {
    return readings.map(({ id, degrees: degrees2, at }) => filled({
      reading: id,
      site: fields.site,
      date: civil(place, at / 1e3).slice(0, 10),
      time: civil(place, at / 1e3).slice(11, 16),
      compass: fields.compass,
      observer: fields.observer,
      target: blank(fields.reference_name) ? `reference of ${setup}` : fields.reference_name,
      reading_deg: degrees2
    }));
  }
  var PLACES = ["x_mm", "y_mm", "length_mm", "angle_deg"];
  function markRows(place, setup) {
    return setup.marks.map(({ mark, at, fields }) => filled({ setup: setup.setup, mark, time: shownTime(place, at), ...fields }));
  }
  var isPlaced = (row) => PLACES.filter((name) => !blank(row[name])).length >= 2;
  function rowsOf(table2, log, setup) {
    const place = table2.sites.find((each) => each.site === setup.fields.site);
    return {
      site: { site: setup.fields.site },
      setup: setupRow(table2, log, setup),
      marks: place ? markRows(place, setup).filter(isPlaced) : []
    };
  }
  function fileOf(table2, log, entries, nowMs) {
    const tables = { setups: [], marks: [], readings: [], watches: watchRows(table2, log) };
    const unmeasured = [];
    for (const setup of log.setups) {
      const { setup: row, marks } = rowsOf(table2, log, setup);
      const { compass_reading_deg: _, ...own } = row;
      tables.setups.push(own);
      tables.marks.push(...marks);
      const place = table2.sites.find((each) => each.site === setup.fields.site);
      if (place) tables.readings.push(...readingRows(place, setup));
      const placed = new Set(marks.map(({ mark }) => mark));
      unmeasured.push(...setup.marks.filter(({ mark }) => !placed.has(mark)).map(({ mark }) => ({ setup: setup.setup, mark })));
    }
    return {
      format: FORMAT,
      version: VERSION,
      campaign: table2.campaign,
      made_utc: new Date(nowMs).toISOString(),
      tables,
      unmeasured,
      entries
    };
  }
  function fileName(table2, nowMs) {
    const stamp = new Date(nowMs).toISOString().replace(/[-:]/g, "").slice(0, 15);
    return `${table2.campaign.replace(/[^\p{L}\p{N}]+/gu, "-") || "log"}-${stamp}Z.json`;
  }

  // field/marking.js
  var FORMS = {
    xy: { columns: ["x_mm", "y_mm"], names: ["x", "y"], words: ["x right of the foot, mm", "y up the sheet, mm"] },
    polar: {
      columns: ["length_mm", "angle_deg"],
      names: ["length", "direction"],
      words: ["length from the foot, mm", "direction clockwise from +y, degrees"]
    }
  };
  function startMarking(field2) {
    const { table: table2, store } = field2;
    let reminded = 0;
    let awake = null;
    let sound2 = null;
    element("mark-button").addEventListener("click", mark);
    element("undo").addEventListener("click", undo);
    element("form-of-marks").addEventListener("change", () => field2.refresh());
    element("remind").addEventListener("change", () => sayNext());
    document.addEventListener("visibilitychange", stayAwake);
    function mark(event) {
      const at = Math.round(tappedAt(event) / 100) * 100;
      if (!field2.setup) {
        say("mark-says", "Start a set-up first (Board).");
        return;
      }
      const name = nextMark(field2.setup);
      store.add("mark", { setup: field2.setup.setup, mark: name }, at);
      reminded = at;
      say("mark-says", `Write ${name} beside it. ${shownTime(place(), at)}`);
      if (navigator.vibrate) navigator.vibrate(60);
      prepareSound();
      stayAwake();
      field2.refresh();
    }
    const place = () => table2.sites.find((each) => each.site === field2.setup.fields.site);
    function undo() {
      const { last } = field2.log;
      if (!last) {
        say("mark-says", "There is nothing to undo.");
        return;
      }
      store.add("undo", { target: last.id });
      say("mark-says", `Undone: ${said(last)}.`);
      field2.refresh(true);
    }
    function prepareSound() {
      const Sound = window.AudioContext || window.webkitAudioContext;
      if (!sound2 && Sound) sound2 = new Sound();
    }
    function beep() {
      if (navigator.vibrate) navigator.vibrate([300, 150, 300]);
      if (!sound2) return;
      const tone = sound2.createOscillator();
      tone.frequency.value = 880;
      tone.connect(sound2.destination);
      tone.start();
      tone.stop(sound2.currentTime + 0.6);
    }
    function stayAwake() {
      if (!("wakeLock" in navigator) || document.visibilityState !== "visible" || !field2.setup) return;
      if (awake && !awake.released) return;
      navigator.wakeLock.request("screen").then((lock) => {
        awake = lock;
      }, () => {
      });
    }
    function sayNext() {
      const every = Number(element("remind").value) * 6e4;
      const marks = field2.setup ? field2.setup.marks : [];
      if (!every || !marks.length) {
        say("remind-says", "");
        return;
      }
      const due = Math.max(...marks.map(({ at }) => at)) + every;
      const left = Math.ceil((due - Date.now()) / 6e4);
      say("remind-says", left > 0 ? `Next mark in ${left} min.` : "A mark is due.");
      if (Date.now() >= due && reminded < due && Date.now() - due < every) {
        reminded = Date.now();
        beep();
      }
    }
    function rowOf(row, shown) {
      const out = !inUse(row);
      return made(
        "tr",
        { class: out ? "struck" : "", "data-mark": row.mark },
        made("th", { scope: "row" }, row.mark),
        made("td", {}, cell(row, "time", `Time of mark ${row.mark}`, String(row.time), "time-cell")),
        shown.columns.map((column, n) => made("td", {}, cell(row, column, `Mark ${row.mark}: ${shown.words[n]}`, valueOf(row, column)))),
        made("td", {}, made("button", {
          type: "button",
          "aria-label": out ? `Take mark ${row.mark} in again` : `Strike out mark ${row.mark}`,
          onclick: () => change(row.mark, { use: out ? "yes" : "no" })
        }, out ? "↩" : "✕"))
      );
    }
    function cell(row, column, label2, value, style = "") {
      return made("input", {
        type: "text",
        inputmode: column === "time" ? "text" : "decimal",
        autocomplete: "off",
        "aria-label": label2,
        class: style,
        value,
        "data-column": column,
        onchange: (event) => entered(event.target, row, column)
      });
    }
    function valueOf(row, column) {
      if (row[column] !== void 0 && row[column] !== "") return String(row[column]);
      const { x, y } = pointOf(row);
      if (!Number.isFinite(x) || !Number.isFinite(y)) return "";
      const other = {
        x_mm: x,
        y_mm: y,
        length_mm: Math.hypot(x, y),
        angle_deg: (Math.atan2(x, y) * 180 / Math.PI + 360) % 360
      };
      return (Math.round(other[column] * 100) / 100).toString();
    }
    function entered(input, row, column) {
      input.setAttribute("aria-invalid", "false");
      if (column === "time") {
        const fine = /^([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?$/.test(input.value.trim());
        if (fine) change(row.mark, { time: input.value.trim() });
        else refuse(input, `Time of mark ${row.mark}: HH:MM:SS of the 24-hour clock.`);
        return;
      }
      const value = typed(input.value);
      const [low, high] = table2.limits[column];
      if (value !== null && !(value >= low && value <= high)) {
        refuse(input, `Mark ${row.mark}, ${column}: a number from ${low} to ${high}.`);
        return;
      }
      change(row.mark, placed(row, column, value === null ? "" : value));
    }
    function refuse(input, text) {
      input.setAttribute("aria-invalid", "true");
      say("mark-says", text);
    }
    function placed(row, column, value) {
      const shown = FORMS[element("form-of-marks").value];
      const other = Object.values(FORMS).find((form) => form !== shown);
      const fields = { [column]: value, ...Object.fromEntries(other.columns.map((name) => [name, ""])) };
      const partner2 = shown.columns.find((name) => name !== column);
      if (other.columns.some((name) => row[name] !== void 0 && row[name] !== "")) {
        fields[partner2] = Number(valueOf(row, partner2));
      }
      return fields;
    }
    function change(name, fields) {
      store.add("place", { setup: field2.setup.setup, mark: name, fields });
      field2.refresh();
    }
    function refreshRows() {
      const shown = FORMS[element("form-of-marks").value];
      say("first-name", shown.names[0]);
      say("second-name", shown.names[1]);
      const rows = field2.setup ? markRows(place(), field2.setup).reverse() : [];
      const held = document.activeElement;
      const key = held && held.dataset && held.dataset.column ? [held.closest("tr").dataset.mark, held.dataset.column] : null;
      element("mark-rows").replaceChildren(...rows.map((row) => rowOf(row, shown)));
      if (key) {
        const again = [...element("mark-rows").querySelectorAll("input")].find((input) => input.closest("tr").dataset.mark === key[0] && input.dataset.column === key[1]);
        if (again) again.focus();
      }
    }
    return {
      refresh() {
        element("mark-button").disabled = !field2.setup;
        say("mark-board", field2.setup ? `${field2.setup.setup} · ${zoneName(place(), Date.now() / 1e3)}` : "Start a set-up first (Board).");
        element("mark-button").textContent = field2.setup ? `MARK ${nextMark(field2.setup)}` : "MARK";
        refreshRows();
        sayNext();
      },
      tick() {
        if (field2.setup) say("clock-now", civil(place(), Date.now() / 1e3).slice(11, 19));
        sayNext();
      }
    };
  }

  // field/drawing.js
  var SIZE = 320;
  var EDGE2 = 24;
  var LARGER = 20;
  var NAMES_APART = 18;
  function drawing({ board, fit, row, line }) {
    const far = Math.max(board.height / 2, ...board.marks.map(({ x, y }) => Math.max(Math.abs(x), Math.abs(y))));
    const scale = (SIZE / 2 - EDGE2) / far;
    const at = (x, y) => [SIZE / 2 + scale * x, SIZE / 2 - scale * y];
    const end = (direction, length) => at(length * Math.sin(direction), length * Math.cos(direction));
    const parts2 = [made("path", { class: "axis", d: `M${EDGE2 / 2} ${SIZE / 2}H${SIZE - EDGE2 / 2}M${SIZE / 2} ${EDGE2 / 2}V${SIZE - EDGE2 / 2}` })];
    const [right, up] = [at(far, 0), at(0, far)];
    parts2.push(label(right[0] + 4, right[1] - 6, "+x", "note", "end"), label(up[0] + 6, up[1] + 4, "+y", "note", "start"));
    let named = null;
    board.marks.forEach((mark, n) => {
      const [x, y] = at(mark.x, mark.y);
      parts2.push(...markParts(x, y, fit.kept[n], fit.residuals[n], scale));
      if (fit.kept[n] && named && Math.hypot(x - named[0], y - named[1]) < NAMES_APART) return;
      named = [x, y];
      parts2.push(label(x + 5, y - 5, mark.name, "serial", "start"));
    });
    if (row.board_azimuth_deg !== null) {
      const north = -fit.state[AZIMUTH];
      const [x, y] = end(north, far * 0.94);
      const [tailX, tailY] = end(north + Math.PI, far * 0.94);
      parts2.push(made("path", { class: "true-north", d: `M${tailX} ${tailY}L${x} ${y}` }));
      parts2.push(label(...end(north, far * 1.05), "N", "letter", "middle"));
    }
    if (Number.isFinite(line.angle)) {
      const direction = line.angle * Math.PI / 180;
      const [x, y] = end(direction, far * 0.9);
      parts2.push(made("path", { class: "reference", d: `M${SIZE / 2} ${SIZE / 2}L${x} ${y}` }));
      parts2.push(label(...end(direction, far * 0.97), "R", "number", "middle"));
    }
    parts2.push(made("path", { class: "foot", d: `M${SIZE / 2 - 5} ${SIZE / 2}h10M${SIZE / 2} ${SIZE / 2 - 5}v10` }));
    const words = `The sheet from above: ${board.count} marks${row.board_azimuth_deg === null ? "" : ", true north N"}${Number.isFinite(line.angle) ? ", the reference line R" : ""}.`;
    return [
      made("svg", { class: "drawing", viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": words }, parts2),
      made("figcaption", {}, `${words} Misfits are drawn ${LARGER} times their size.`)
    ];
  }
  function markParts(x, y, kept, residual, scale) {
    const parts2 = [];
    if (kept && Number.isFinite(residual[0])) {
      parts2.push(made("path", {
        class: "residual",
        d: `M${x} ${y}l${-LARGER * scale * residual[0]} ${LARGER * scale * residual[1]}`
      }));
    }
    parts2.push(kept ? made("circle", { class: "mark", cx: x, cy: y, r: 3 }) : made("path", { class: "rejected", d: `M${x - 4} ${y - 4}l8 8M${x + 4} ${y - 4}l-8 8` }));
    return parts2;
  }
  var label = (x, y, text, style, anchor) => made("text", { x, y: y + 3, class: style, "text-anchor": anchor }, text);

  // field/north.js
  var OUTLOOK_STEP_S = 900;
  var NO_MARK = "-#";
  var DEGREE2 = Math.PI / 180;
  function startNorth(field2) {
    const { table: table2 } = field2;
    let waiting = null;
    function refresh2() {
      clearTimeout(waiting);
      if (element("part-north").hidden) waiting = setTimeout(reduceNow, 30);
      else reduceNow();
    }
    function reduceNow() {
      const rows = field2.setup ? rowsOf(table2, field2.log, field2.setup) : null;
      if (!rows || !rows.marks.length) {
        clear2("The line is shown once marks have their millimetres.");
        return;
      }
      let found;
      try {
        found = reduced(table2, rows);
      } catch (fault) {
        clear2(fault.message);
        return;
      }
      if (!found.fit) {
        clear2("All the marks are struck out.");
        return;
      }
      showTold(found);
      element("answer").replaceChildren(answer(found));
      element("drawing").replaceChildren(...drawing(found));
      say("outlook", outlook(found));
    }
    function clear2(words) {
      for (const id of ["told", "drawing"]) element(id).replaceChildren();
      element("told").dataset.said = "";
      say("told-here", "");
      element("answer").replaceChildren(made("p", {}, words));
      say("outlook", "");
    }
    function showTold({ told: found }) {
      const told = found.map(({ since, text: words, ...rest }) => ({
        ...rest,
        text: since ? `${words} ${movedSince(since)}` : words
      }));
      const text = told.map((each) => each.text).join("\n");
      say("told-here", told.length ? capital(told[0].text) : "");
      element("told-here").hidden = !told.length;
      if (element("told").dataset.said === text) return;
      element("told").dataset.said = text;
      element("told").replaceChildren(...told.map((each) => made("p", { class: "alarm-box", "data-code": each.code }, capital(each.text))));
    }
    const movedSince = (since) => `The board seems to have moved since ${hoursMinutes(place(), since)}: strike out the marks made since then, and start a new set-up with the line drawn again.`;
    const place = () => table2.sites.find((each) => each.site === field2.setup.fields.site);
    function outlook({ board, fit, row, doubtful: doubtful2 }) {
      if (doubtful2) return "What one more mark would bring is shown once what is told above is settled.";
      const day = place().days[field2.setup.fields.date];
      const now = Date.now() / 1e3;
      const [first, last] = board.daylight();
      let best2 = null;
      for (let utc = Math.max(now, first); utc < Math.min(last, day.noon + 43200); utc += OUTLOOK_STEP_S) {
        if (NO_MARK.includes(slotAt(day, utc))) continue;
        const u = azimuthUWith(fit, utc);
        if (u !== null && (!best2 || u < best2.u)) best2 = { utc, u };
      }
      if (!best2 || row.board_azimuth_deg === null) return "";
      const gain = `${plusMinus(azimuthU(fit) / DEGREE2)} to ${plusMinus(best2.u / DEGREE2)}`.replaceAll("± ", "±");
      if (best2.u > 0.98 * azimuthU(fit)) return "One more mark today hardly changes the figure.";
      return `One more mark helps most at ${hoursMinutes(place(), best2.utc)}: the board’s azimuth from ${gain} (95 %).`;
    }
    function slotAt(day, utc) {
      const local = civil(place(), utc);
      if (local.slice(0, 10) !== field2.setup.fields.date) return "-";
      return day.slots[Math.floor((local.slice(11, 13) * 3600 + local.slice(14, 16) * 60) / table2.slot_s)];
    }
    return { refresh: refresh2 };
  }
  var capital = (text) => text[0].toUpperCase() + text.slice(1);
  function answer({ row, fit, board, doubtful: doubtful2 }) {
    if (row.board_azimuth_deg === null) {
      return made("p", { class: "headline" }, doubtful2 ? "Until that is settled no direction is given." : "These marks do not fix a direction.");
    }
    const facts = [];
    if (row.reference_azimuth_deg !== null) {
      facts.push([
        `${row.reference_name || "Reference"}, true azimuth`,
        bearing(row.reference_azimuth_deg),
        plusMinus(row.reference_azimuth_u_deg),
        "headline"
      ]);
      if (row.reference_grid_bearing_deg !== null) {
        facts.push(["its grid bearing", bearing(row.reference_grid_bearing_deg), plusMinus(row.reference_azimuth_u_deg)]);
      }
      facts.push([
        "its magnetic bearing, by the model",
        bearing(row.reference_magnetic_bearing_deg, 1),
        plusMinus(Math.hypot(row.reference_azimuth_u_deg, row.declination_u_deg))
      ]);
    }
    facts.push([
      "True north on the sheet, clockwise from +y",
      bearing(row.north_on_board_deg),
      plusMinus(row.board_azimuth_u_deg),
      row.reference_azimuth_deg === null ? "headline" : ""
    ]);
    facts.push(["Board azimuth (of +y)", bearing(row.board_azimuth_deg), plusMinus(row.board_azimuth_u_deg)]);
    const kept = fit.kept.filter(Boolean).length;
    facts.push(["Marks", `${kept} of ${board.count}`, kept < board.count ? `${board.count - kept} left out` : "all used"]);
    if (row.noon_watch !== null) {
      facts.push([
        "Watch, minus true",
        `${fit.state[WATCH].toFixed(0)} s`.replace("-", "−"),
        `± ${(1.959964 * Math.sqrt(fit.covariance[WATCH][WATCH])).toFixed(0)} s`
      ]);
    }
    if (row.latitude_deg !== null) {
      facts.push(["Latitude by the board", degrees(row.latitude_deg), plusMinus(row.latitude_u_deg)]);
    }
    if (row.compass_difference_deg !== null) {
      const plus = row.compass_difference_deg >= 0 ? "+" : "";
      facts.push([
        "Compass against the model",
        `${plus}${degrees(row.compass_difference_deg, 1)}`,
        plusMinus(row.compass_difference_u_deg)
      ]);
    }
    return made("dl", { class: "answers-list" }, facts.map(([name, value, wide, style]) => made(
      "div",
      { class: style || "" },
      made("dt", {}, name),
      made("dd", {}, made("b", {}, value), " ", made("span", { class: "wide" }, wide))
    )));
  }

  // field/send.js
  function startSend(field2) {
    const { table: table2, store } = field2;
    element("download").addEventListener("click", download);
    element("share").addEventListener("click", share);
    element("copy-button").addEventListener("click", copy);
    element("share").hidden = !canShare();
    const text = () => JSON.stringify(fileOf(table2, field2.log, store.list(), Date.now()), null, 1);
    const file = () => new File([text()], fileName(table2, Date.now()), { type: "application/json" });
    function canShare() {
      return Boolean(navigator.canShare) && typeof File === "function" && navigator.canShare({ files: [new File(["{}"], "log.json", { type: "application/json" })] });
    }
    function download() {
      const made2 = file();
      const address = URL.createObjectURL(made2);
      const link = document.createElement("a");
      link.href = address;
      link.download = made2.name;
      link.click();
      setTimeout(() => URL.revokeObjectURL(address), 6e4);
      say("send-trouble", `Saved as ${made2.name}, where this browser keeps what it downloads.`);
    }
    function share() {
      navigator.share({ files: [file()] }).then(
        () => say("send-trouble", "Shared."),
        () => say("send-trouble", "Not shared: save it as a file instead.")
      );
    }
    function copy() {
      const area = element("copy");
      area.value = text();
      area.select();
      const done = () => say("send-trouble", "Copied.");
      const failed = () => say("send-trouble", "Not copied by itself: the text is selected, copy it by hand.");
      if (navigator.clipboard) navigator.clipboard.writeText(area.value).then(done, failed);
      else failed();
    }
    return {
      refresh() {
        const marks = field2.log.setups.reduce((total, { marks: own }) => total + own.length, 0);
        const { unmeasured } = fileOf(table2, field2.log, [], Date.now());
        const missing = unmeasured.length ? ` ${unmeasured.length} of the marks have no millimetres yet: they stay in the log, and come into the tables once they are measured.` : "";
        say("send-says", `${count(field2.log.setups.length, "set-up")}, ${count(marks, "mark")}.${missing}`);
        element("copy").value = text();
      }
    };
  }
  var count = (number2, what) => `${number2} ${what}${number2 === 1 ? "" : "s"}`;

  // field/setup.js
  var TEXTS = {
    "f-site": "site",
    "f-date": "date",
    "f-reference-name": "reference_name",
    "f-network": "network",
    "f-timepiece": "timepiece",
    "f-rod": "rod",
    "f-level": "level",
    "f-compass": "compass",
    "f-observer": "observer",
    "f-watch": "watch",
    "f-edge": "edge",
    "f-turned": "turned"
  };
  var NUMBERS = {
    "f-reference-x": "reference_x_mm",
    "f-reference-y": "reference_y_mm",
    "f-reference-angle": "reference_angle_deg",
    "f-mark-sd": "mark_sd_mm",
    "f-plumb-sd": "plumb_sd_mm",
    "f-level-sd": "level_sd_deg"
  };
  var CLOSING = {
    "f-close-x": "reference_close_x_mm",
    "f-close-y": "reference_close_y_mm",
    "f-close-angle": "reference_close_deg"
  };
  var HEIGHTS_APART_MM = 2;
  function startSetup(field2) {
    const { table: table2, store } = field2;
    element("f-site").addEventListener("change", () => freshName());
    element("f-date").addEventListener("change", () => freshName());
    element("nearest").addEventListener("click", nearest);
    element("in-hand").addEventListener("change", () => field2.take(element("in-hand").value));
    for (const id of ["f-height", "f-height-again"]) element(id).addEventListener("input", sayHeight);
    element("setup-form").addEventListener("submit", (event) => {
      event.preventDefault();
      save();
    });
    element("closing-form").addEventListener("submit", (event) => {
      event.preventDefault();
      saveClosing();
    });
    if (!("geolocation" in navigator)) element("nearest").disabled = true;
    freshDate();
    freshName();
    function freshDate() {
      const place = chosenSite();
      const today = civil(place, Date.now() / 1e3).slice(0, 10);
      element("f-date").value = today in place.days ? today : Object.keys(place.days)[0];
    }
    function chosenSite() {
      return table2.sites.find((each) => each.site === element("f-site").value);
    }
    function freshName() {
      const taken = new Set(field2.log.setups.map(({ setup }) => setup));
      const stem = `${element("f-site").value} ${element("f-date").value.slice(5)}`;
      let number2 = 1;
      while (taken.has(`${stem} ${store.tab.slice(0, 2)}${number2}`)) number2 += 1;
      element("f-setup").value = `${stem} ${store.tab.slice(0, 2)}${number2}`;
    }
    function nearest() {
      say("nearest-says", "Asking the telephone for its position …");
      navigator.geolocation.getCurrentPosition(
        ({ coords }) => {
          const found = nearestOf(table2.sites, coords);
          element("f-site").value = found.site;
          freshName();
          const far = found.away < 1e3 ? `${found.away.toFixed(0)} m` : `${(found.away / 1e3).toFixed(1)} km`;
          say("nearest-says", `${found.site} is nearest, ${far} away (position good to ${coords.accuracy.toFixed(0)} m).`);
        },
        () => say("nearest-says", "The telephone gives no position here: choose the site."),
        { timeout: 15e3, maximumAge: 6e4 }
      );
    }
    function sayHeight() {
      const { height, apart } = heights();
      if (!Number.isFinite(height) || apart === null) say("height-says", "");
      else if (apart > HEIGHTS_APART_MM) say("height-says", `They differ by ${apart.toFixed(1)} mm: measure a third time.`);
      else say("height-says", `Height ${height.toFixed(1)} mm.`);
    }
    function heights() {
      const [first, second] = ["f-height", "f-height-again"].map((id) => typed(element(id).value));
      if (first === null || second === null) return { height: first === null ? second : first, apart: null };
      return { height: (first + second) / 2, apart: Math.abs(first - second) };
    }
    function save() {
      const { fields, faults } = read();
      const name = element("setup-form").dataset.amends || element("f-setup").value.trim();
      if (!name) faults.push("Name of this set-up: it needs one.");
      if (!element("setup-form").dataset.amends && field2.log.setups.some(({ setup }) => setup === name)) {
        faults.push(`Name of this set-up: ${name} is taken.`);
      }
      tell("setup-faults", faults);
      if (faults.length) return;
      store.add("setup", { setup: name, fields });
      field2.take(name);
      field2.show("marks");
    }
    function read() {
      const faults = [];
      const fields = {};
      for (const [id, column] of Object.entries(TEXTS)) fields[column] = element(id).value.trim();
      for (const [id, column] of Object.entries(NUMBERS)) readNumber(id, column, fields, faults);
      const { height, apart } = heights();
      const [low, high] = table2.limits.gnomon_height_mm;
      if (height === null || !(height >= low && height <= high)) {
        faults.push(`Rod’s height: a number from ${low} to ${high} mm.`);
      } else {
        fields.gnomon_height_mm = Math.round(height * 100) / 100;
        if (apart !== null) {
          fields.height_sd_mm = Math.max(table2.tolerances.height_sd_mm, Math.round(apart * 50) / 100);
        }
      }
      checkPoint("reference_x_mm", "reference_y_mm", fields, faults);
      return { fields, faults };
    }
    function readNumber(id, column, fields, faults) {
      const value = typed(element(id).value);
      const [low, high] = table2.limits[column] || [-Infinity, Infinity];
      fields[column] = value === null ? "" : value;
      if (value !== null && !(value >= low && value <= high)) {
        faults.push(`${element(id).labels[0].firstChild.textContent.trim()}: a number from ${low} to ${high}.`);
      }
    }
    function checkPoint(x, y, fields, faults) {
      if (fields[x] === "" !== (fields[y] === "")) faults.push("A point on the line needs both x and y.");
      if (fields[x] === 0 && fields[y] === 0) faults.push("The point on the line must be away from the foot.");
    }
    function saveClosing() {
      const faults = [];
      const fields = {};
      for (const [id, column] of Object.entries(CLOSING)) readNumber(id, column, fields, faults);
      checkPoint("reference_close_x_mm", "reference_close_y_mm", fields, faults);
      const given2 = Object.values(fields).some((value) => value !== "");
      if (!field2.setup) faults.push("Start a set-up first.");
      else if (!given2) faults.push("Enter a point on the line, or its angle.");
      else if (!Number.isFinite(lineOf(table2, setupRow(table2, field2.log, field2.setup)).angle)) {
        faults.push("This set-up has no first sight to compare with.");
      }
      if (faults.length) {
        say("closing-says", faults.join(" "));
        return;
      }
      store.add("setup", { setup: field2.setup.setup, fields });
      field2.refresh();
    }
    return {
      refresh() {
        const select = element("in-hand");
        const names = field2.log.setups.map(({ setup }) => setup);
        select.replaceChildren(
          made("option", { value: "" }, names.length ? "a new set-up" : "none yet"),
          ...names.map((name) => made("option", { value: name, dir: "auto" }, name))
        );
        select.value = field2.setup ? field2.setup.setup : "";
        fill();
        sayClosing();
      }
    };
    function fill() {
      const { setup } = field2;
      const form = element("setup-form");
      const amends = setup ? setup.setup : "";
      element("save-setup").textContent = setup ? "Keep the changes" : "Start this set-up";
      element("f-setup").disabled = Boolean(setup);
      element("closing-form").hidden = !setup;
      say("in-hand-says", setup ? `${setup.marks.length} marks. What you change below is kept for it.` : "");
      if (form.dataset.amends === amends) return;
      form.dataset.amends = amends;
      for (const [id, column] of Object.entries({ ...TEXTS, ...NUMBERS, ...CLOSING })) {
        const value = setup ? setup.fields[column] : void 0;
        if (element(id).tagName === "SELECT" && value === void 0) element(id).selectedIndex = 0;
        else if (id !== "f-date" || value) element(id).value = value === void 0 ? "" : value;
      }
      element("f-height").value = setup ? setup.fields.gnomon_height_mm : "";
      element("f-height-again").value = "";
      if (setup) element("f-setup").value = setup.setup;
      else {
        freshDate();
        freshName();
      }
    }
    function sayClosing() {
      if (!field2.setup) return;
      const line = lineOf(table2, setupRow(table2, field2.log, field2.setup));
      const found = closingSight(line);
      if (found) say("closing-says", found.text);
      else if (Number.isFinite(line.closeAngle)) say("closing-says", "It agrees with the first sight: the board has not turned.");
      else say("closing-says", "");
    }
  }
  function nearestOf(sites, { latitude, longitude }) {
    const rad = Math.PI / 180;
    const away = ({ latitude_deg: lat, longitude_deg: lon }) => {
      const half = Math.sin((lat - latitude) * rad / 2) ** 2 + Math.cos(lat * rad) * Math.cos(latitude * rad) * Math.sin((lon - longitude) * rad / 2) ** 2;
      return 2 * 6371e3 * Math.asin(Math.min(1, Math.sqrt(half)));
    };
    return sites.map((site) => ({ site: site.site, away: away(site) })).reduce((best2, each) => each.away < best2.away ? each : best2);
  }
  function tell(id, faults) {
    element(id).hidden = !faults.length;
    element(id).textContent = faults.join(" ");
  }

  // field/store.js
  var DATABASE = "orient-field";
  var Store = class {
    constructor(campaign, { heard: heard2 = () => {
    }, changed: changed2 = () => {
    } } = {}) {
      this.prefix = `orient-field:${campaign}:`;
      this.campaign = campaign;
      this.tab = Math.random().toString(36).slice(2, 8);
      this.entries = /* @__PURE__ */ new Map();
      this.kept = /* @__PURE__ */ new Set();
      this.trouble = { local: "", database: "" };
      this.changed = changed2;
      this.heard = heard2;
      this.readLocal();
      this.opening = this.open();
      this.listen();
    }
    list() {
      return [...this.entries.values()];
    }
    /* Adds an entry and stores it; returns it. */
    add(kind, fields, at = Date.now()) {
      const number2 = Math.max(0, ...this.list().map((entry2) => entry2.number)) + 1;
      const entry = { id: `${this.tab}-${number2}`, number: number2, at, kind, ...fields };
      this.entries.set(entry.id, entry);
      this.keepLocal(entry);
      this.opening.then(() => this.keepInDatabase(entry));
      return entry;
    }
    /* Whether an entry is in neither of the two places. */
    get unkept() {
      return this.list().filter(({ id }) => !this.kept.has(id)).length;
    }
    // The local storage --------------------------------------------------------------------
    readLocal() {
      try {
        const storage = window.localStorage;
        for (let n = 0; n < storage.length; n += 1) {
          const key = storage.key(n);
          if (key.startsWith(this.prefix)) this.receive(storage.getItem(key));
        }
      } catch (fault) {
        this.trouble.local = reason(fault);
      }
    }
    receive(text) {
      try {
        const entry = JSON.parse(text);
        if (!entry || typeof entry.id !== "string" || !Number.isFinite(entry.number)) return false;
        const fresh = !this.entries.has(entry.id);
        this.entries.set(entry.id, entry);
        this.kept.add(entry.id);
        return fresh;
      } catch (_) {
        return false;
      }
    }
    keepLocal(entry) {
      try {
        window.localStorage.setItem(this.prefix + entry.id, JSON.stringify(entry));
        this.kept.add(entry.id);
        this.trouble.local = "";
      } catch (fault) {
        this.trouble.local = reason(fault);
      }
      this.changed();
    }
    /* Entries of another tab come in as they are made. */
    listen() {
      window.addEventListener("storage", ({ key, newValue }) => {
        if (key && key.startsWith(this.prefix) && newValue && this.receive(newValue)) this.heard();
      });
    }
    // The database ---------------------------------------------------------------------------
    async open() {
      await Promise.resolve();
      try {
        this.database = await promised(openRequest());
        const rows = await promised(this.database.transaction("entries").objectStore("entries").getAll());
        const fresh = rows.filter((row) => row.campaign === this.campaign && this.receive(row.text));
        if (fresh.length) this.heard();
        const there = new Set(rows.map((row) => row.key));
        for (const entry of this.list()) {
          if (!there.has(this.prefix + entry.id)) await this.keepInDatabase(entry);
        }
        for (const row of fresh) this.keepLocal(JSON.parse(row.text));
      } catch (fault) {
        this.trouble.database = reason(fault);
        this.changed();
      }
    }
    async keepInDatabase(entry) {
      if (!this.database) return;
      try {
        const options = { durability: "strict" };
        const transaction = this.database.transaction("entries", "readwrite", options);
        transaction.objectStore("entries").put({
          key: this.prefix + entry.id,
          campaign: this.campaign,
          text: JSON.stringify(entry)
        });
        await new Promise((done, failed) => {
          transaction.oncomplete = done;
          transaction.onabort = () => failed(transaction.error);
        });
        this.kept.add(entry.id);
        this.trouble.database = "";
      } catch (fault) {
        this.trouble.database = reason(fault);
      }
      this.changed();
    }
  };
  function openRequest() {
    const request = window.indexedDB.open(DATABASE, 1);
    request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "key" });
    return request;
  }
  function promised(request) {
    return new Promise((done, failed) => {
      request.onsuccess = () => done(request.result);
      request.onerror = () => failed(request.error);
      request.onblocked = () => failed(new Error("another tab holds the database"));
    });
  }
  function reason(fault) {
    if (fault && fault.name === "QuotaExceededError") return "it is full";
    return "this browser refuses it";
  }

  // field/tilt.js
  var DEGREE3 = Math.PI / 180;
  var SEAT_SD_DEG = 0.05;
  function slopes([x, y, z]) {
    return { x: Math.atan2(x, z) / DEGREE3, y: Math.atan2(y, z) / DEGREE3 };
  }
  function mean(pulls) {
    const middle = [0, 1, 2].map((axis) => pulls.reduce((total, pull) => total + pull[axis], 0) / pulls.length);
    const all = pulls.map(slopes);
    const centre = slopes(middle);
    const spread = (axis) => Math.sqrt(all.reduce((total, each) => total + (each[axis] - centre[axis]) ** 2, 0) / Math.max(1, all.length - 1));
    return { ...centre, sd: Math.max(spread("x"), spread("y")) / Math.sqrt(pulls.length) };
  }
  function boardTilt(first, turned) {
    return {
      x: (first.x - turned.x) / 2,
      y: (first.y - turned.y) / 2,
      own: Math.hypot(first.x + turned.x, first.y + turned.y) / 2,
      sd: Math.hypot(SEAT_SD_DEG / Math.SQRT2, first.sd / 2, turned.sd / 2)
    };
  }
  var levelSd = ({ x, y, sd }) => Math.hypot(Math.max(Math.abs(x), Math.abs(y)), sd);

  // field/sensor.js
  var READ_MS = 3e3;
  var FEWEST_PULLS = 10;
  function sensorTrouble() {
    if (!window.isSecureContext) {
      return "This page came over plain http, and browsers give such a page no sensor. Open it as a file to use the telephone as a level; a spirit level does as well.";
    }
    if (typeof DeviceMotionEvent === "undefined") {
      return "This device or browser has no sensor for a page: use a spirit level.";
    }
    return "";
  }
  async function readLevel(begins) {
    if (typeof DeviceMotionEvent.requestPermission === "function") {
      const answer2 = await DeviceMotionEvent.requestPermission().catch(() => "denied");
      if (answer2 !== "granted") throw new Error("The telephone did not allow its sensor: use a spirit level.");
    }
    begins();
    const pulls = await gathered2();
    if (pulls.length < FEWEST_PULLS) {
      throw new Error("No readings come from the sensor. Some browsers withhold them until motion sensors are allowed in their site settings. A spirit level does as well.");
    }
    const reading2 = mean(pulls);
    if (Math.abs(reading2.x) > 20 || Math.abs(reading2.y) > 20) {
      throw new Error("The telephone does not lie flat on the board.");
    }
    return reading2;
  }
  function gathered2() {
    return new Promise((done) => {
      const pulls = [];
      const take = ({ accelerationIncludingGravity: pull }) => {
        if (pull && pull.z !== null && pull.z !== 0) pulls.push([pull.x, pull.y, pull.z]);
      };
      window.addEventListener("devicemotion", take);
      setTimeout(() => {
        window.removeEventListener("devicemotion", take);
        done(pulls);
      }, READ_MS);
    });
  }

  // field/tools.js
  var seconds = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)} s`;
  function startTools(field2) {
    const clock = startClock(field2);
    const level = startLevel(field2);
    startCompass(field2);
    return {
      refresh() {
        clock.refresh();
        level.refresh();
      }
    };
  }
  function startClock(field2) {
    const { table: table2, store } = field2;
    let taps = [];
    element("pip").addEventListener("click", (event) => {
      taps.push(tappedAt(event));
      sayTaps();
    });
    element("pip-again").addEventListener("click", () => {
      taps = [];
      sayTaps();
    });
    element("pip-keep").addEventListener("click", () => {
      store.add("comparison", { fields: found() }, taps[taps.length - 1]);
      taps = [];
      sayTaps();
      field2.refresh();
    });
    for (const id of ["pip-time", "pip-step"]) element(id).addEventListener("input", sayTaps);
    const place = () => table2.sites.find((each) => each.site === (field2.setup ? field2.setup.fields.site : element("f-site").value));
    function firstPip() {
      const time = element("pip-time").value.trim();
      if (!/^\d{1,2}:\d{2}(:\d{2})?$/.test(time) || !taps.length) return NaN;
      const today = civil(place(), taps[0] / 1e3).slice(0, 10);
      const utc = instant(place(), civilSeconds(today, timeOfDay(time)));
      const days = Math.round((taps[0] / 1e3 - utc) / 86400);
      return 1e3 * (utc + 86400 * days);
    }
    const found = () => compared2(taps, firstPip(), Number(element("pip-step").value));
    function sayTaps() {
      const result2 = found();
      element("pip-keep").disabled = !result2;
      if (!taps.length) say("pip-says", "");
      else if (taps.length < FEWEST_TAPS) say("pip-says", `${taps.length} of at least ${FEWEST_TAPS} taps.`);
      else if (!result2) say("pip-says", `${taps.length} taps. Enter the true time of the first: HH:MM:SS.`);
      else {
        say("pip-says", `The telephone is ${seconds(result2.error_s)} against the signal, ± ${(1.959964 * result2.sd_s).toFixed(1)} s (95 %): ${result2.taps} taps scatter by ${result2.scatter_s.toFixed(2)} s, ${LAG_S} s is taken off for the tapper’s lag.`);
      }
    }
    return {
      refresh() {
        const { comparisons, steps } = field2.log;
        const lines = comparisons.map(({ at, error_s: error, sd_s: sd }) => `${civil(place(), at / 1e3).slice(0, 16).replace("T", " ")}: ${seconds(error)} ± ${(1.959964 * sd).toFixed(1)} s`);
        lines.push(...steps.map(({ at, by }) => `${civil(place(), at / 1e3).slice(0, 16).replace("T", " ")}: the telephone’s clock was set ${Math.abs(by).toFixed(1)} s ${by > 0 ? "forward" : "back"}; compare it again.`));
        if (!comparisons.length) {
          const assumed = ASSUMED[field2.setup ? field2.setup.fields.network : element("f-network").value] || ASSUMED.today;
          lines.push(`No comparison yet: the telephone ${assumed.words}.`);
        }
        element("comparisons").replaceChildren(...lines.map((line) => made("li", {}, line)));
      }
    };
  }
  function startLevel(field2) {
    let first = null;
    let tilt = null;
    element("level-first").addEventListener("click", () => read("level-first", (reading2) => {
      first = reading2;
      tilt = null;
      say("level-says", "First reading taken. Turn the telephone end for end on the same place.");
      element("level-turned").disabled = false;
    }));
    element("level-turned").addEventListener("click", () => read("level-turned", (reading2) => {
      tilt = boardTilt(first, reading2);
      sayTilt();
    }));
    element("level-keep").addEventListener("click", () => {
      const fields = { level_sd_deg: Math.round(1e3 * Math.max(0.01, levelSd(tilt))) / 1e3 };
      field2.store.add("level", { setup: field2.setup.setup, fields: { ...tilt } });
      field2.store.add("setup", { setup: field2.setup.setup, fields });
      say("level-says", `Kept: level within ${degrees(fields.level_sd_deg)} (1 σ), each axis.`);
      field2.refresh(true);
    });
    function read(button, done) {
      say("level-says", "Asking the browser for the sensor …");
      element(button).disabled = true;
      readLevel(() => say("level-says", "Hold still …")).then(done, (trouble2) => say("level-says", trouble2.message)).then(() => {
        element(button).disabled = false;
      });
    }
    function sayTilt() {
      const side = (value, plus, minus) => value >= 0 ? plus : minus;
      const along = (value, plus, minus) => `${degrees(Math.abs(value))} up toward ${side(value, plus, minus)}`;
      say("level-says", `The board stands ${along(tilt.x, "+x", "−x")} and ${along(tilt.y, "+y", "−y")}, ±${degrees(1.959964 * tilt.sd)} (95 %). Level it and read again, or keep it as it is.`);
      element("level-keep").disabled = !field2.setup;
    }
    const trouble = sensorTrouble();
    say("sensor-says", trouble);
    element("level-first").disabled = Boolean(trouble);
    return { refresh() {
      element("level-keep").disabled = !(field2.setup && tilt);
    } };
  }
  function startCompass(field2) {
    element("compass-keep").addEventListener("click", () => {
      const value = typed(element("compass-reading").value);
      if (!field2.setup) say("compass-says", "Start a set-up first (Board).");
      else if (value === null || !(value >= 0 && value <= 360)) say("compass-says", "A number from 0 to 360°.");
      else {
        field2.store.add("reading", { setup: field2.setup.setup, degrees: value });
        element("compass-reading").value = "";
        field2.refresh();
        say("compass-says", `Kept. ${field2.setup.readings.length} readings toward the reference.`);
      }
    });
  }

  // shared/panel.js
  var HALF_DAY_S2 = 43200;
  var DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  var element2 = (id) => document.getElementById(id);
  function partner(sun, utc, noon) {
    const side = utc < noon ? 1 : -1;
    const now = sun.shadow(utc);
    let near = 0;
    let far = HALF_DAY_S2;
    for (let n = 0; n < 40; n += 1) {
      const middle = (near + far) / 2;
      const there2 = sun.shadow(noon + side * middle);
      if (there2 && there2.altitude > now.altitude) near = middle;
      else far = middle;
    }
    const found = noon + side * far;
    const there = sun.shadow(found);
    return there && Math.abs(there.altitude - now.altitude) < 5e-3 ? found : null;
  }
  function startPanel(table2) {
    const suns2 = /* @__PURE__ */ new Map();
    function show2(id, value, digits, unit) {
      const place = element2(id);
      place.value = value === null ? "" : String(value);
      place.textContent = digits;
      if (unit) {
        const small = document.createElement("small");
        small.textContent = ` ${unit}`;
        place.append(small);
      }
    }
    function showShadow(seen, rod) {
      const told = seen && seen.length >= table2.shortest_shadow;
      const north = told ? (540 - seen.azimuth) % 360 - 180 : null;
      element2("needle").setAttribute("transform", `rotate(${told ? north : 0})`);
      element2("needle").style.opacity = told ? "1" : "0.15";
      show2(
        "azimuth",
        told ? seen.azimuth : null,
        told ? `${(Math.round(seen.azimuth * 10) % 3600 / 10).toFixed(1)}°` : "–"
      );
      show2(
        "north",
        north,
        told ? `${Math.abs(north).toFixed(1)}°` : "–",
        told ? north < 0 ? "to the left" : "to the right" : ""
      );
      const length = seen && rod > 0 ? seen.length * rod : null;
      show2(
        "length",
        length,
        length === null ? "–" : length.toFixed(length < 100 ? 1 : 0),
        length === null ? "" : "mm"
      );
      show2("altitude", seen ? seen.altitude : null, seen ? `${seen.altitude.toFixed(1)}°` : "–");
    }
    function showNoon(site, utc, noon) {
      const minutes = Math.floor(Math.abs(noon - utc) / 60);
      const apart = minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`;
      show2(
        "noon",
        noon - utc,
        noon >= utc ? `in ${apart}` : `${apart} ago`,
        `at ${civil(site, noon).slice(11, 19)}`
      );
    }
    function judge2(site, utc, day, seen) {
      if (!seen) return ["", "The sun is down.", goodHours(site, day)];
      const local = civil(site, utc);
      const seconds2 = Number(local.slice(11, 13)) * 3600 + Number(local.slice(14, 16)) * 60;
      const letter = day.slots[Math.floor(seconds2 / table2.slot_s)];
      const open = day.windows.find(([from, to]) => utc >= from && utc <= to);
      const worth = "01234".includes(letter) ? `The 95 % figure of a mark now and its partner: ${table2.words[letter]}.` : "";
      if (open) return ["good", `Good hour, until ${hoursMinutes(site, open[1])}.`, worth];
      const why = worth || `Now: ${table2.words[letter]}.`;
      return ["", "Not a good hour.", `${why} ${goodHours(site, day)}`];
    }
    function goodHours(site, day) {
      if (!day.windows.length) return "No good hours this day.";
      const spans = day.windows.map((span) => span.map((utc) => hoursMinutes(site, utc)).join("–"));
      return `Good hours this day: ${spans.join(" and ")}.`;
    }
    function say2(kind, verdict, more) {
      const place = element2("verdict");
      if (place.dataset.said === verdict + more) return;
      place.dataset.said = verdict + more;
      place.className = kind;
      place.textContent = verdict;
      const small = document.createElement("small");
      small.textContent = more;
      place.append(small);
    }
    function refresh2() {
      const site = table2.sites[Number(element2("site").value)];
      const entered = element2("time").value ? Date.parse(`${element2("time").value}Z`) / 1e3 : NaN;
      const utc = Number.isFinite(entered) ? instant(site, entered) : Date.now() / 1e3;
      const local = civil(site, utc);
      const weekday = DAYS[new Date(local).getUTCDay()];
      element2("shown").textContent = `${weekday} ${local.slice(0, 10)}, ${local.slice(11, 19)} (${zoneName(site, utc)})` + (Number.isFinite(entered) ? ", entered" : ", by the telephone’s clock");
      const day = dayOf(site, utc, local);
      const seen = day ? sunOf(site).shadow(utc) : null;
      showShadow(seen, Number(element2("rod").value));
      if (!day) {
        show2("noon", null, "–");
        show2("partner", null, "–");
        say2("", "Outside this plan.", `Its table is for ${table2.span}. Enter a time of those days, or make a new plan.`);
        return;
      }
      showNoon(site, utc, day.noon_utc_s);
      const again = seen ? partner(sunOf(site), utc, day.noon_utc_s) : null;
      show2(
        "partner",
        again,
        again === null ? "–" : hoursMinutes(site, again),
        again === null ? "" : "partner of a mark now"
      );
      say2(...judge2(site, utc, day, seen));
    }
    function dayOf(site, utc, local) {
      const [start, end] = site.span_utc_s;
      return utc >= start && utc < end ? site.days[local.slice(0, 10)] || null : null;
    }
    function sunOf(site) {
      if (!suns2.has(site)) suns2.set(site, new Sun(site, table2));
      return suns2.get(site);
    }
    for (const id of ["site", "rod", "time"]) element2(id).addEventListener("input", refresh2);
    element2("clock").addEventListener("click", () => {
      element2("time").value = "";
      refresh2();
    });
    element2("now").hidden = false;
    refresh2();
    setInterval(refresh2, 1e3);
  }

  // field.js
  var table = JSON.parse(document.getElementById("table").textContent);
  var STEP_MS = 500;
  window.orient = {
    reduce: (rows) => reduced(table, rows).row,
    whole: (rows) => whole(table, rows)
  };
  var begun = false;
  var field = {
    table,
    store: new Store(table.campaign, { heard, changed: () => sayKept() }),
    log: null,
    setup: null,
    /* Takes a set-up in hand. */
    take(name) {
      field.chosen = name;
      begun = true;
      refresh();
    },
    show,
    refresh
  };
  field.log = gathered(field.store.list());
  takeNewest();
  var parts = {
    setup: startSetup(field),
    marks: startMarking(field),
    north: startNorth(field),
    tools: startTools(field),
    send: startSend(field)
  };
  for (const button of document.querySelectorAll("#tabs button")) {
    button.addEventListener("click", () => show(button.dataset.part));
  }
  element("setup-form").addEventListener("input", () => {
    begun = true;
  });
  element("look").addEventListener("change", () => {
    document.documentElement.dataset.look = element("look").value;
  });
  startPanel(table);
  show(field.chosen ? "marks" : "setup");
  watchClock();
  setInterval(() => parts.marks.tick(), 1e3);
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {
  });
  function takeNewest() {
    field.chosen = field.log.setups.length ? field.log.setups[field.log.setups.length - 1].setup : "";
  }
  function heard() {
    field.log = gathered(field.store.list());
    const late = !begun && !field.chosen;
    if (late) takeNewest();
    if (late && field.chosen && !element("part-setup").hidden) show("marks");
    else refresh();
  }
  function show(name) {
    for (const button of document.querySelectorAll("#tabs button")) {
      if (button.dataset.part === name) button.setAttribute("aria-current", "page");
      else button.removeAttribute("aria-current");
    }
    for (const part of document.querySelectorAll(".part")) part.hidden = part.id !== `part-${name}`;
    window.scrollTo(0, 0);
    refresh();
  }
  function refresh(afresh = false) {
    field.log = gathered(field.store.list());
    field.setup = field.log.setups.find(({ setup }) => setup === field.chosen) || null;
    if (afresh) element("setup-form").dataset.amends = "?";
    for (const part of Object.values(parts)) part.refresh();
    sayKept();
  }
  function sayKept() {
    if (!field.store) return;
    const { trouble, unkept } = field.store;
    const count2 = field.store.list().length;
    const lost = trouble.local && trouble.database;
    element("alarm").hidden = !(lost || unkept);
    if (lost || unkept) {
      say("alarm", `NOT STORED on this telephone (${trouble.local || trouble.database}). The log is only on this page: do not close it, and copy it or save it as a file now (Send).`);
      say("kept", "");
    } else {
      const only = trouble.local || trouble.database ? " in one of two places" : "";
      say("kept", count2 ? `${count2} ${count2 === 1 ? "entry" : "entries"}, stored on this telephone${only}.` : "Every tap is stored on this telephone at once.");
    }
  }
  function watchClock() {
    const ahead = () => Date.now() - performance.now();
    let before = ahead();
    document.addEventListener("visibilitychange", () => {
      before = ahead();
    });
    setInterval(() => {
      const by = ahead() - before;
      before = ahead();
      if (Math.abs(by) > STEP_MS && document.visibilityState === "visible") {
        field.store.add("clock", { by_s: Math.round(by / 100) / 10 });
        refresh();
      }
    }, 5e3);
  }
})();
