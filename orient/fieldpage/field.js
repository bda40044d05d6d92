/* Built by web/build.mjs; sources: engine/adjustment.js engine/board.js engine/chisquare.js engine/line.js engine/lookout.js engine/matrix.js engine/reading.js engine/reduce.js engine/rows.js engine/shadow.js engine/starts.js field.js shared/civil.js shared/panel.js shared/sun.js; d0138ac574e547ea19085c86f3809ba83d77bbe753c5e51a2bd3a8f2b7fa990b */
(() => {
  // shared/civil.js
  function offset(site, utc) {
    let ahead = site.offsets[0][1];
    for (const [from, seconds] of site.offsets) if (utc >= from) ahead = seconds;
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
      const whole = bytes.charCodeAt(3 * n) << 24 | bytes.charCodeAt(3 * n + 1) << 16 | bytes.charCodeAt(3 * n + 2) << 8;
      values[n] = (whole >> 8) / scale;
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

  // shared/panel.js
  var HALF_DAY_S = 43200;
  var DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  var element = (id) => document.getElementById(id);
  function partner(sun, utc, noon) {
    const side = utc < noon ? 1 : -1;
    const now = sun.shadow(utc);
    let near = 0;
    let far = HALF_DAY_S;
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
    function show(id, value, digits, unit) {
      const place = element(id);
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
      element("needle").setAttribute("transform", `rotate(${told ? north : 0})`);
      element("needle").style.opacity = told ? "1" : "0.15";
      show(
        "azimuth",
        told ? seen.azimuth : null,
        told ? `${(Math.round(seen.azimuth * 10) % 3600 / 10).toFixed(1)}°` : "–"
      );
      show(
        "north",
        north,
        told ? `${Math.abs(north).toFixed(1)}°` : "–",
        told ? north < 0 ? "to the left" : "to the right" : ""
      );
      const length = seen && rod > 0 ? seen.length * rod : null;
      show(
        "length",
        length,
        length === null ? "–" : length.toFixed(length < 100 ? 1 : 0),
        length === null ? "" : "mm"
      );
      show("altitude", seen ? seen.altitude : null, seen ? `${seen.altitude.toFixed(1)}°` : "–");
    }
    function showNoon(site, utc, noon) {
      const minutes = Math.floor(Math.abs(noon - utc) / 60);
      const apart = minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`;
      show(
        "noon",
        noon - utc,
        noon >= utc ? `in ${apart}` : `${apart} ago`,
        `at ${civil(site, noon).slice(11, 19)}`
      );
    }
    function judge2(site, utc, day, seen) {
      if (!seen) return ["", "The sun is down.", goodHours(site, day)];
      const local = civil(site, utc);
      const seconds = Number(local.slice(11, 13)) * 3600 + Number(local.slice(14, 16)) * 60;
      const letter = day.slots[Math.floor(seconds / table2.slot_s)];
      const open = day.windows.find(([from, to]) => utc >= from && utc <= to);
      const worth = "01234".includes(letter) ? `A mark now and its partner: ± ${table2.words[letter]}, 95 %.` : "";
      if (open) return ["good", `Good hour, until ${hoursMinutes(site, open[1])}.`, worth];
      const why = worth || `Now: ${table2.words[letter]}.`;
      return ["", "Not a good hour.", `${why} ${goodHours(site, day)}`];
    }
    function goodHours(site, day) {
      if (!day.windows.length) return "No good hours this day.";
      const spans = day.windows.map((span) => span.map((utc) => hoursMinutes(site, utc)).join("–"));
      return `Good hours this day: ${spans.join(" and ")}.`;
    }
    function say(kind, verdict, more) {
      const place = element("verdict");
      if (place.dataset.said === verdict + more) return;
      place.dataset.said = verdict + more;
      place.className = kind;
      place.textContent = verdict;
      const small = document.createElement("small");
      small.textContent = more;
      place.append(small);
    }
    function refresh() {
      const site = table2.sites[Number(element("site").value)];
      const entered = element("time").value ? Date.parse(`${element("time").value}Z`) / 1e3 : NaN;
      const utc = Number.isFinite(entered) ? instant(site, entered) : Date.now() / 1e3;
      const local = civil(site, utc);
      const weekday = DAYS[new Date(local).getUTCDay()];
      element("shown").textContent = `${weekday} ${local.slice(0, 10)}, ${local.slice(11, 19)} (${zoneName(site, utc)})` + (Number.isFinite(entered) ? ", entered" : ", by the phone’s clock");
      const day = dayOf(site, utc, local);
      const seen = day ? sunOf(site).shadow(utc) : null;
      showShadow(seen, Number(element("rod").value));
      if (!day) {
        show("noon", null, "–");
        show("partner", null, "–");
        say("", "Outside this plan.", `Its table is for ${table2.span}. Enter a time of those days, or make a new plan.`);
        return;
      }
      showNoon(site, utc, day.noon_utc_s);
      const again = seen ? partner(sunOf(site), utc, day.noon_utc_s) : null;
      show(
        "partner",
        again,
        again === null ? "–" : hoursMinutes(site, again),
        again === null ? "" : "partner of a mark now"
      );
      say(...judge2(site, utc, day, seen));
    }
    function dayOf(site, utc, local) {
      const [start, end] = site.span_utc_s;
      return utc >= start && utc < end ? site.days[local.slice(0, 10)] || null : null;
    }
    function sunOf(site) {
      if (!suns2.has(site)) suns2.set(site, new Sun(site, table2));
      return suns2.get(site);
    }
    for (const id of ["site", "rod", "time"]) element(id).addEventListener("input", refresh);
    element("clock").addEventListener("click", () => {
      element("time").value = "";
      refresh();
    });
    element("now").hidden = false;
    refresh();
    setInterval(refresh, 1e3);
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
  var HALF_DAY_S2 = 43200;
  var Board = class _Board {
    /* `marks`: {x, y, watchUtc (NaN without a time), half (−1, 0, 1), name}, mm and seconds.
       `stated`: {noon, height, watch, watchError, edge (rad), tolerances}. */
    constructor(sun, stated2, marks) {
      this.sun = sun;
      this.marks = marks;
      Object.assign(this, stated2);
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
    with(stated2, marks = this.marks) {
      const { sun, marks: _, ...own } = this;
      return new _Board(sun, { ...own, ...stated2 }, marks);
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
        for (let after = -HALF_DAY_S2; after <= HALF_DAY_S2; after += 60) {
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
  var OFFSET_REACH_S = 15 * 3600;
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
    const known2 = angles.filter(Number.isFinite);
    if (!known2.length) return 0;
    const middle = Math.atan2(
      known2.reduce((total, angle) => total + Math.sin(angle), 0),
      known2.reduce((total, angle) => total + Math.cos(angle), 0)
    );
    return middle + median(known2.map((angle) => turnWithin(angle - middle)));
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
    for (let n = 0; n * OFFSET_STEP_S < 2 * OFFSET_REACH_S; n += 1) {
      const offset2 = board.watchError - OFFSET_REACH_S + n * OFFSET_STEP_S;
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
    const turn = Math.atan2(sine, cosine);
    const cost = tips.reduce((total, [x, y], n) => {
      if (Number.isNaN(x)) return total + WORST_MISS_MM ** 2;
      const miss = Math.hypot(
        marks[n].x - (x * Math.cos(turn) - y * Math.sin(turn)),
        marks[n].y - (x * Math.sin(turn) + y * Math.cos(turn))
      );
      return total + Math.min(miss, WORST_MISS_MM) ** 2;
    }, 0);
    return { turn, cost };
  }
  function startsByShape(problem) {
    const { board } = problem;
    const track = trackOf(board);
    const tries = [];
    for (let degrees = 0; degrees < 360; degrees += AZIMUTH_STEP_DEG) {
      const azimuth = degrees * DEGREE;
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
    const track = [];
    for (let utc = first; utc < last + 60; utc += 60) {
      const [x, y] = board.tipAt(utc, state);
      if (Number.isFinite(x)) track.push({ utc, x, y });
    }
    return track;
  }
  function nearestOn(track, board, mark, azimuth) {
    const direction = directionOf(mark) + azimuth;
    const [x, y] = [lengthOf(mark) * Math.sin(direction), lengthOf(mark) * Math.cos(direction)];
    let [best, utc] = [Infinity, board.noon];
    for (const point of track) {
      const side = point.utc - board.noon;
      if (mark.half * side < 0) continue;
      const square = (point.x - x) ** 2 + (point.y - y) ** 2;
      if (square < best) [best, utc] = [square, point.utc];
    }
    return { miss: Math.sqrt(best), utc };
  }
  function bestMinima(cost, reach, coarse, around = false) {
    const size = cost.length;
    const at = (n) => cost[around ? (n + size) % size : Math.min(Math.max(n, 0), size - 1)];
    const limit = 4 * Math.min(...cost) + coarse;
    const minima = [];
    for (let n = 0; n < size; n += 1) {
      let least = Infinity;
      for (let k = n - reach; k <= n + reach; k += 1) least = Math.min(least, at(k));
      if (cost[n] <= least && cost[n] <= limit) minima.push(n);
    }
    return minima.sort((a, b) => cost[a] - cost[b] || a - b).slice(0, 3);
  }

  // engine/adjustment.js
  var FALSE_ALARM = 3e-3;
  var MOST_BLUNDERS = 1 / 3;
  var SHORTEST_ROD = 0.02;
  var FLAT_AZIMUTH_RAD = 10;
  var FLAT_WATCH_S = 2 * HALF_DAY_S2;
  var FLAT_LATITUDE_RAD = 1;
  var STEPS2 = 40;
  var UNLIKELY_COST = 12;
  var ROBUST_STEPS = 12;
  var LEAST_TAKEN = 0.05;
  var SUN_WIDTH_RAD = 93e-4;
  var SCALE = [1e-3, 1, 1, 1e-3, 1e-3, 1, 10, 1e-3, 1e-3];
  var SHARED_TERMS = { level: [3, 4], foot: [1, 2], height: [5], watch: [6], edge: [7] };
  function adjust(board, freed = {}, near = null) {
    const problem = problemOf(board, freed);
    const begun = near ? [{ values: near.state, instants: near.utc }] : starts(problem);
    const tries = begun.map(({ values, instants }) => solveRobustly(problem, values, instants));
    const costs = tries.map((each) => robustCost(problem, each));
    const least = Math.min(...costs);
    const fits = tries.filter((_, n) => costs[n] <= least + 2 * UNLIKELY_COST).map((each) => adjustFrom(problem, each)).sort((one, other) => one.cost - other.cost);
    const best = widened(fits[0], fits.slice(1));
    best.rivals = fits.slice(1).filter((fit) => fit.cost - best.cost < 2 * UNLIKELY_COST);
    return best;
  }
  var azimuthU = (fit) => Math.sqrt(fit.covariance[AZIMUTH][AZIMUTH]);
  var pulled = (fit) => fit.pullsCost > doubtfulCost(fit.pullsFreedom);
  var apartOf = (fit, other) => turnWithin(other.state[AZIMUTH] - fit.state[AZIMUTH]);
  function widened(best, others) {
    let [likelihood, square] = [1, 0];
    for (const other of others) {
      const apart = apartOf(best, other);
      const worse = other.cost - best.cost;
      if (worse < UNLIKELY_COST && Math.abs(apart) > 3 * azimuthU(best)) {
        likelihood += Math.exp(-worse / 2);
        square += Math.exp(-worse / 2) * apart ** 2;
      }
    }
    return square ? withVariance(best, square / likelihood) : best;
  }
  function withVariance(fit, square) {
    const covariance = fit.covariance.map((row) => [...row]);
    covariance[AZIMUTH][AZIMUTH] += square;
    return { ...fit, covariance };
  }
  function problemOf(board, freed) {
    const byTime = freed.byTime !== false && board.watch !== "none";
    const timed2 = board.marks.map((mark) => byTime && Number.isFinite(mark.watchUtc));
    const running = Boolean(freed.watch) || board.watch === "running";
    const priorSd = board.priorSd();
    priorSd[AZIMUTH] = FLAT_AZIMUTH_RAD;
    const flatWatch = timed2.some(Boolean) && running;
    if (!timed2.some(Boolean)) priorSd[WATCH] = 0;
    else if (running) priorSd[WATCH] = FLAT_WATCH_S;
    if (freed.height) priorSd[HEIGHT] = board.height;
    if (freed.latitude) priorSd[LATITUDE] = FLAT_LATITUDE_RAD;
    const free = priorSd.map((_, n) => n).filter((n) => priorSd[n] > 0);
    const stated2 = free.filter((n) => n !== AZIMUTH && n !== LATITUDE && !(n === WATCH && running) && !(n === HEIGHT && freed.height));
    const threshold = timed2.map((with2) => exceeded(FALSE_ALARM / board.count, with2 ? 2 : 1));
    return { board, timed: timed2, prior: board.nominal(), priorSd, free, stated: stated2, threshold, flatWatch };
  }
  var known = /* @__PURE__ */ new Map();
  function exceeded(chance, freedom) {
    const key = `${chance} ${freedom}`;
    if (!known.has(key)) known.set(key, exceededWith(chance, freedom));
    return known.get(key);
  }
  var doubtfulCost = (freedom) => exceeded(1 / 300, Math.max(freedom, 1));
  function linearise(problem, values, instants) {
    const farthest = problem.board.height / Math.tan(LOWEST_LIGHT_DEG * DEGREE);
    return problem.board.marks.map((mark, n) => {
      const utc = problem.timed[n] ? mark.watchUtc - values[WATCH] : instants[n];
      const found = problem.board.tipAndPartials(utc, values);
      if (!found || !(Math.hypot(...found.tip) <= farthest)) return null;
      const whole = [mark.x - found.tip[0], mark.y - found.tip[1]];
      const along = found.partials.map((row) => -row[WATCH]);
      const speed = Math.hypot(...along);
      const across = [-along[1] / speed, along[0] / speed];
      const miss = across[0] * whole[0] + across[1] * whole[1];
      const { whiten, scatter } = whitening(problem, n, along, across);
      const partials = found.partials.map((row) => problem.free.map((k) => row[k]));
      const scaled2 = partials.map((row) => row.map((value, k) => value * SCALE[problem.free[k]]));
      return {
        residual: problem.timed[n] ? whole : across.map((part) => part * miss),
        told: whiten.map((row) => row[0] * whole[0] + row[1] * whole[1]),
        design: whiten.map((row) => scaled2[0].map((x, k) => row[0] * x + row[1] * scaled2[1][k])),
        scatter,
        whole,
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
    const whole = solve(matrix, right);
    const reach = whole.map(Math.abs);
    const limits = [200, 50, 50, 50, 50, 0.1 * problem.prior[HEIGHT], 180, 50, 100];
    const part = Math.min(1, ...problem.free.map((unknown, k) => limits[unknown] / Math.max(reach[k], 1e-12)));
    const move = whole.map((value, k) => value * part * SCALE[problem.free[k]]);
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
  function solveFully(problem, begun, weight) {
    let at = { ...begun, size: Infinity };
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
      const settled2 = at.size < 1e-3 && Math.max(...next.map((each, k) => Math.abs(each - weight[k]))) < 0.01;
      weight = next;
      if (settled2) break;
    }
    return { ...at, weight };
  }
  var misfitOf = (linear) => linear.map((mark) => mark ? Math.hypot(...mark.told) : 1e6);
  function noiseOf(problem, misfit) {
    const each = misfit.map((length, n) => length / (problem.timed[n] ? 1.177 : 0.674)).filter(Number.isFinite);
    return each.length ? Math.max(1, median(each)) : 1;
  }
  function priorMisfitOf(problem, values) {
    const misfit = new Array(UNKNOWNS).fill(0);
    for (const n of problem.free) misfit[n] = (values[n] - problem.prior[n]) / problem.priorSd[n];
    return misfit;
  }
  function robustCost(problem, { values, instants }) {
    if (!values.every(Number.isFinite)) return Infinity;
    const misfit = misfitOf(linearise(problem, values, instants));
    return sum(misfit.map((each, n) => Math.min(each ** 2, problem.threshold[n]))) + sum(priorMisfitOf(problem, values).map((each) => each ** 2));
  }
  function adjustFrom(problem, { values, instants, weight }) {
    let kept = judge(problem, values, instants, weight, weight.map(() => true));
    let at = { values, instants, converged: false };
    for (let n = 0; n < 6; n += 1) {
      const only = kept.map(Number);
      at = solveFully(problem, at, only);
      const verdict = judge(problem, at.values, at.instants, only, kept);
      if (verdict.every((good, k) => good === kept[k])) break;
      kept = verdict;
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
  function pullsOf({ stated: stated2, priorSd }, covariance, misfit) {
    const taken = stated2.map((row) => stated2.map((column) => (row === column) - covariance[row][column] / (priorSd[row] * priorSd[column])));
    const axes = eigen(taken).filter(({ value }) => value > LEAST_TAKEN);
    return {
      pullsCost: sum(axes.map(({ value, vector }) => sum(vector.map((part, k) => part * misfit[stated2[k]])) ** 2 / value)),
      pullsFreedom: axes.length
    };
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

  // engine/rows.js
  var DAY_S = 2 * HALF_DAY_S2;
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
    const [hours, minutes, seconds = "0"] = String(text).split(":");
    return Number(hours) * 3600 + Number(minutes) * 60 + Number(seconds);
  }
  function pointOf(row) {
    if (given(row.x_mm) && given(row.y_mm)) return { x: Number(row.x_mm), y: Number(row.y_mm) };
    const direction = number(row.angle_deg) * DEGREE;
    const length = number(row.length_mm);
    return { x: length * Math.sin(direction), y: length * Math.cos(direction) };
  }
  var inUse = (row) => !given(row.use) || !/^(no|n|false|0)$/i.test(String(row.use));
  var usable = (marks) => marks.filter((row) => inUse(row) && Number.isFinite(pointOf(row).x) && Number.isFinite(pointOf(row).y));
  function boardOf(table2, { site, setup, marks }) {
    const { place, day, sun } = placeOf(table2, site, setup.date);
    const rows = usable(marks);
    const seconds = rows.map((row) => timeOfDay(row.time));
    const times = aboutNoon(instantsOf(place, setup.date, seconds), day.noon);
    const tolerances = { ...table2.tolerances };
    for (const name of Object.keys(tolerances)) {
      if (name in table2.defaults) tolerances[name] = stated(table2, setup, name);
    }
    return new Board(sun, {
      noon: day.noon,
      height: stated(table2, setup, "gnomon_height_mm"),
      watch: word(table2, setup, "watch"),
      watchError: stated(table2, setup, "watch_error_s"),
      edge: word(table2, setup, "edge") === "dark" ? day.semidiameter_deg * DEGREE : 0,
      latitude: place.plumb_latitude_deg,
      tolerances
    }, rows.map((row, n) => ({
      ...pointOf(row),
      watchUtc: times[n],
      half: { am: -1, pm: 1 }[row.half] || 0,
      name: given(row.mark) ? String(row.mark) : String(n + 1)
    })));
  }
  var instantsOf = (place, date, seconds) => seconds.map((time) => Number.isFinite(time) ? instant(place, civilSeconds(date, time)) : NaN);
  function aboutNoon(times, noon) {
    const known2 = times.filter(Number.isFinite).sort((a, b) => a - b);
    if (!known2.length || Math.max(...known2.map((utc) => Math.abs(utc - noon))) <= DAY_S / 2) return times;
    const gaps = known2.map((utc, n) => (n + 1 < known2.length ? known2[n + 1] : known2[0] + DAY_S) - utc);
    const start = known2[(gaps.indexOf(Math.max(...gaps)) + 1) % known2.length];
    const laid = times.map((utc) => start + ((utc - start) % DAY_S + DAY_S) % DAY_S);
    const there = laid.filter(Number.isFinite);
    const middle = there.reduce((total, utc) => total + utc, 0) / there.length;
    return laid.map((utc) => utc + DAY_S * Math.round((noon - middle) / DAY_S));
  }

  // engine/line.js
  function lineOf(table2, setup) {
    const opened = drawn(table2, setup, "reference_angle_deg", "reference_x_mm", "reference_y_mm");
    const closed = drawn(table2, setup, "reference_close_deg", "reference_close_x_mm", "reference_close_y_mm");
    return { angle: opened.angle, sd: opened.sd, closeAngle: closed.angle, closeSd: closed.sd };
  }
  function drawn(table2, setup, angleName, xName, yName) {
    const [x, y] = [number(setup[xName]), number(setup[yName])];
    const byPoint = Number.isFinite(x) && Number.isFinite(y) && (x !== 0 || y !== 0);
    const angle = byPoint ? (Math.atan2(x, y) / DEGREE + 360) % 360 : number(setup[angleName]);
    const own = byPoint ? Math.min(45, Math.hypot(stated(table2, setup, "mark_sd_mm"), stated(table2, setup, "plumb_sd_mm")) / Math.hypot(x, y) / DEGREE) : table2.angle_sd_deg;
    return { angle, sd: given(setup.reference_sd_deg) ? number(setup.reference_sd_deg) : own };
  }

  // engine/lookout.js
  var SLIP = 10;
  var FREED = 30;
  var CLEAR_GAIN = 30;
  var ALIKE = 12;
  var FEWEST_MARKS = 4;
  var COVERAGE_95 = 1.959964;
  var DEGREE2 = Math.PI / 180;
  function lookout(board, { fit, reading, tried }, line) {
    const flags = [
      ...reading.watch || reading.byTime === false ? ["watch-doubtful"] : [],
      ...reading.height ? ["height-doubtful"] : []
    ];
    const told = marksLeftOut(board, fit);
    let stated2 = fit;
    const doubtful = tried.length > 1 || pulled(fit);
    if (doubtful && board.count >= FEWEST_MARKS) {
      const found = explained(board, tried);
      if (found.length) {
        flags.push("record-doubtful");
        told.unshift({ code: "record", text: `${found.map(({ words }) => words).join("; or: ")}.` });
        stated2 = widened2(stated2, Math.max(...found.map(({ fit: other, open }) => Math.min(Math.PI, Math.abs(apartOf(stated2, other)) + open))));
      } else if (!settled(board, fit)) {
        told.unshift({ code: "record", text: "The marks contradict what was stated of the board, and no single mistake explains it. The line is as uncertain as the readings lie apart." });
        stated2 = widened2(stated2, Math.max(...tried.map((other) => Math.abs(apartOf(stated2, other.fit)))));
      }
    }
    const closing = closingSight(line);
    if (closing) {
      flags.push("board-moved");
      told.unshift(closing);
      stated2 = withVariance(stated2, (closing.apart * DEGREE2) ** 2);
    }
    return { fit: stated2, flags, told };
  }
  var widened2 = (fit, apart) => apart > 3 * azimuthU(fit) ? withVariance(fit, apart ** 2) : fit;
  function closingSight(line) {
    const apart = turnWithin((line.closeAngle - line.angle) * DEGREE2) / DEGREE2;
    if (!Number.isFinite(apart)) return null;
    const allowed = COVERAGE_95 * Math.hypot(line.sd, line.closeSd);
    if (Math.abs(apart) <= allowed) return null;
    return {
      code: "moved",
      apart,
      text: `The closing sight lies ${Math.abs(apart).toFixed(1)}° from the first, more than the ± ${allowed.toFixed(1)}° that drawing both allows: the board has moved since then, or one of them is wrong.`
    };
  }
  function marksLeftOut(board, fit) {
    return board.marks.map((mark, n) => ({ mark, n })).filter(({ n }) => !fit.kept[n]).map(({ mark, n }) => {
      const off = Math.hypot(...fit.residuals[n]);
      const lies = Number.isFinite(off) ? `it lies ${off.toFixed(0)} mm from its place` : "the sun is not up at its time";
      const slips = slipsOfPen(mark).filter(({ x, y, later = 0 }) => {
        const [tipX, tipY] = board.tipAt(fit.utc[n] + later, fit.state);
        return Math.hypot(x - tipX, y - tipY) < 3 * board.tolerances.mark_sd_mm;
      });
      const hint = slips.length === 1 ? ` It would fit if ${slips[0].words}.` : "";
      return {
        code: "mark",
        mark: mark.name,
        text: `Mark ${mark.name} does not fit the others: ${lies}.${hint} Measure it again, or strike it out.`
      };
    });
  }
  var signed = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)}`;
  function slipsOfPen({ x, y }) {
    const slips = [
      { words: `its x were ${signed(-x)} mm`, x: -x, y },
      { words: `its y were ${signed(-y)} mm`, x, y: -y },
      { words: "its x and y were swapped", x: y, y: x },
      { words: "its time were 1 h later", x, y, later: 3600 },
      { words: "its time were 1 h earlier", x, y, later: -3600 },
      { words: "its time were 10 min later", x, y, later: 600 },
      { words: "its time were 10 min earlier", x, y, later: -600 }
    ];
    for (const step2 of [-100, -10, 10, 100]) {
      slips.push({ words: `its x were ${signed(x + step2)} mm`, x: x + step2, y });
      slips.push({ words: `its y were ${signed(y + step2)} mm`, x, y: y + step2 });
    }
    return slips;
  }
  function explained(board, tried) {
    const before = tried[0].fit;
    let candidates = believable([...mirrored(board), ...scaled(board), ...byWatch(board, tried)]);
    if (!candidates.length) candidates = believable([...byHeight(board, tried), ...moved(board), ...byFoot(board)]);
    const scored = candidates.map((each) => ({ ...each, score: scoreOf(each) })).sort((one, other) => one.score - other.score);
    if (!scored.length || scored[0].score > before.cost - CLEAR_GAIN) return [];
    return scored.filter(({ score }) => score < scored[0].score + ALIKE).slice(0, 3);
  }
  var scoreOf = ({ fit, price, scale = 1, board }) => fit.cost + price - 4 * board.count * Math.log(scale);
  var believable = (readings) => readings.map((each) => ({ open: 0, ...each, fit: each.fit || adjust(each.board) })).filter(({ board, fit }) => settled(board, fit));
  function settled(board, fit) {
    const rejected = fit.kept.filter((kept) => !kept).length;
    const unforced = Math.max(...fit.priorMisfit.map(Math.abs)) < 4;
    return fit.converged && fit.spread === 1 && rejected <= Math.max(1, Math.floor(board.count / 5)) && unforced;
  }
  var changed = (board, change) => board.with({}, board.marks.map((mark, n) => ({ ...mark, ...change(mark, n) })));
  var mirrored = (board) => [{
    words: "x and y look swapped, or all x, or all y, have the wrong sign (the sheet is mirrored)",
    board: changed(board, ({ x }) => ({ x: -x })),
    price: SLIP,
    open: Math.PI
  }];
  function scaled(board) {
    return [["centimetres", 10], ["inches", 25.4]].flatMap(([unit, factor]) => [
      {
        words: `the marks look measured in ${unit}, not in millimetres`,
        price: SLIP,
        scale: factor,
        board: changed(board, ({ x, y }) => ({ x: x * factor, y: y * factor }))
      },
      {
        words: `the rod's height looks to be in ${unit}: ${(board.height * factor).toFixed(0)} mm`,
        price: SLIP,
        board: board.with({ height: board.height * factor })
      }
    ]);
  }
  function byWatch(board, tried) {
    const freed = tried.find(({ reading }) => reading.name === "watch wrong");
    if (!freed || board.watch !== "trusted") return [];
    const off = freed.fit.state[WATCH] - board.watchError;
    const u = Math.sqrt(freed.fit.covariance[WATCH][WATCH]);
    const readings = [{
      words: `the watch looks ${Math.abs(off / 60).toFixed(0)} min ${off > 0 ? "fast" : "slow"}`,
      board,
      fit: freed.fit,
      price: FREED
    }];
    const halves = Math.round(off / 1800);
    if (halves && Math.abs(off - 1800 * halves) < Math.max(240, 4 * u)) {
      const hours = Math.abs(halves / 2);
      readings.unshift({
        words: `the watch looks ${hours} h ${halves > 0 ? "ahead of" : "behind"} the site's clock (summer time, or another zone)`,
        board: changed(board, ({ watchUtc }) => ({ watchUtc: watchUtc - 1800 * halves })),
        price: SLIP
      });
    }
    return readings;
  }
  function byHeight(board, tried) {
    const freed = tried.find(({ reading }) => reading.name === "height wrong");
    if (!freed) return [];
    const height = freed.fit.state[HEIGHT];
    return [{
      words: `the rod looks ${height.toFixed(1)} mm tall, not ${board.height} mm`,
      board,
      fit: freed.fit,
      price: FREED
    }];
  }
  function byFoot(board) {
    const wide = board.with({ tolerances: { ...board.tolerances, plumb_sd_mm: 40 } });
    const fit = adjust(wide);
    const off = Math.hypot(fit.state[FOOT_X], fit.state[FOOT_Y]);
    if (off <= 4 * board.tolerances.plumb_sd_mm) return [];
    return [{
      words: `the foot looks marked ${off.toFixed(0)} mm from the point plumb under the tip`,
      board: wide,
      fit,
      price: FREED + SLIP
    }];
  }
  function moved(board) {
    const all = board.marks.every((mark) => Number.isFinite(mark.watchUtc));
    if (board.watch !== "trusted" || !all || board.count < 2 * FEWEST_MARKS) return [];
    const order = board.marks.map((_, n) => n).sort((a, b) => board.marks[a].watchUtc - board.marks[b].watchUtc);
    const marks = order.map((n) => board.marks[n]);
    const turns = marks.map((mark) => Math.atan2(mark.x, mark.y) - board.shadowAzimuth(mark.watchUtc - board.watchError));
    if (!turns.every(Number.isFinite)) return [];
    const middle = middleOf(turns);
    const angles = turns.map((turn) => turnWithin(turn - middle));
    const { after, step: step2 } = breakOf(angles, marks.map(lengthOf));
    const later = new Set(order.slice(after));
    let by = step2;
    let turned = turnedBack(board, later, by);
    let fit = adjust(turned);
    for (let n = 0; n < 3; n += 1) {
      by += stillTurned(turned, fit, later);
      turned = turnedBack(board, later, by);
      fit = adjust(turned);
    }
    const time = new Date(marks[after].watchUtc * 1e3);
    return [{
      words: `the board looks turned by ${Math.abs(by / DEGREE2).toFixed(1)}° between mark ${marks[after - 1].name} and mark ${marks[after].name}`,
      since: time,
      board: turned,
      fit,
      price: FREED + SLIP,
      open: Math.abs(by)
    }];
  }
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
  function turnedBack(board, later, by) {
    const [cosine, sine] = [Math.cos(by), Math.sin(by)];
    return changed(board, ({ x, y }, n) => later.has(n) ? { x: x * cosine - y * sine, y: x * sine + y * cosine } : {});
  }
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

  // engine/reading.js
  var DOUBTFUL_PULL = 4;
  var CLEAR_GAIN2 = 30;
  var AS_STATED = { name: "as stated" };
  var OTHERS = [
    { name: "watch wrong", watch: true },
    { name: "height wrong", height: true },
    { name: "watch and height wrong", watch: true, height: true },
    { name: "times wrong", byTime: false },
    { name: "times and height wrong", height: true, byTime: false }
  ];
  function adopted(board) {
    const fit = adjust(board);
    const asStated = { reading: AS_STATED, fit };
    if (!suspicious(board, fit)) return { ...asStated, tried: [asStated] };
    const timed2 = board.watch !== "none" && board.marks.some((mark) => Number.isFinite(mark.watchUtc));
    const tried = [asStated];
    let best = { ...asStated, cost: fit.cost };
    for (const reading of OTHERS) {
      if (reading.watch && (!timed2 || board.watch === "running")) continue;
      if (reading.byTime === false && !timed2) continue;
      const other = adjust(board, reading);
      tried.push({ reading, fit: other });
      if (other.state[HEIGHT] <= 1.01 * SHORTEST_ROD * board.height) continue;
      const cost = other.cost + priceOf(reading, board);
      if (cost < best.cost) best = { reading, fit: other, cost };
    }
    const aside = best.reading !== AS_STATED;
    if (aside && (best.fit.spread > 1 || best.reading.byTime === false)) {
      best.fit = withVariance(best.fit, apartOf(best.fit, fit) ** 2);
    }
    return { reading: best.reading, fit: best.fit, tried };
  }
  var priceOf = (reading, board) => CLEAR_GAIN2 * (Boolean(reading.watch) + Boolean(reading.height)) + (reading.byTime === false ? CLEAR_GAIN2 + 2 * board.count : 0);
  function suspicious(board, fit) {
    const pulled2 = Math.max(Math.abs(fit.priorMisfit[WATCH]), Math.abs(fit.priorMisfit[HEIGHT]));
    const rejected = fit.kept.filter((kept) => !kept).length;
    return pulled2 > DOUBTFUL_PULL || rejected > Math.max(1, Math.floor(board.count / 5)) || fit.spread > 1 || !fit.converged;
  }

  // engine/reduce.js
  var WIDEST_U_DEG = 30;
  var NEAR_NOON_S = 18 * 240;
  var FURTHEST_LATITUDE_U_DEG = 5;
  var wrap360 = (degrees) => (degrees % 360 + 360) % 360;
  var wrap180 = (degrees) => wrap360(degrees + 180) - 180;
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
    const board = boardOf(table2, { site, setup, marks });
    if (!board.count) return { row, board, fit: null, told: [] };
    const line = lineOf(table2, setup);
    const { fit, reading, tried } = adopted(board);
    const seen = lookout(board, { fit, reading, tried }, line);
    const adoptedFit = seen.fit;
    const laplace = place.laplace_deg || 0;
    const left = place.laplace_deg === null ? deflectionU(table2, board) : 0;
    const u = Math.hypot(azimuthU(adoptedFit) / DEGREE, left);
    const determined = azimuthU(adoptedFit) / DEGREE <= WIDEST_U_DEG;
    row.flags = [.../* @__PURE__ */ new Set([...seen.flags, ...flagsOf(board, adoptedFit), ...row.flags])];
    if (determined) {
      const azimuth = wrap360(adoptedFit.state[AZIMUTH] / DEGREE - laplace);
      Object.assign(row, {
        method: "adjustment",
        board_azimuth_deg: azimuth,
        board_azimuth_u_deg: u,
        north_on_board_deg: wrap360(-azimuth),
        ...directionOf2(table2, setup, place, day, line, azimuth, u)
      });
      row.methods.adjustment = {
        board_azimuth_deg: azimuth,
        board_azimuth_u_deg: u,
        n: adoptedFit.kept.filter(Boolean).length
      };
      if (timed(board) && reading.byTime !== false) {
        row.noon_watch = civil(place, board.noon + adoptedFit.state[WATCH]).slice(11, 19);
      }
    }
    Object.assign(row, latitudeOf(board, adoptedFit, reading), compassOf(table2, setup, row));
    return { row, board, fit: adoptedFit, line, told: seen.told };
  }
  var timed = (board) => board.watch !== "none" && board.marks.some((mark) => Number.isFinite(mark.watchUtc));
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
  function latitudeOf(board, fit, reading) {
    const anyKept = fit.kept.some(Boolean);
    const kept = anyKept ? board.of(fit.kept) : board;
    if (kept.count < 3 || reading.height) return {};
    const near = { state: fit.state, utc: fit.utc.filter((_, n) => !anyKept || fit.kept[n]) };
    const free = adjust(kept, { ...reading, latitude: true }, near);
    const u = Math.sqrt(free.covariance[LATITUDE][LATITUDE]) / DEGREE;
    const found = board.latitude + free.state[LATITUDE] / DEGREE;
    if (!free.converged || u > FURTHEST_LATITUDE_U_DEG || Math.abs(found) > 90) return {};
    return { latitude_deg: found, latitude_u_deg: u };
  }
  function flagsOf(board, fit) {
    const kept = fit.kept.some(Boolean) ? fit.kept : fit.kept.map(() => true);
    const fromNoon = fit.utc.filter((_, n) => kept[n]).map((utc) => utc - board.noon);
    const halves = board.marks.map((mark, n) => mark.half || (fit.utc[n] < board.noon ? -1 : 1)).filter((_, n) => kept[n]);
    const flags = [];
    if (Math.max(...fromNoon.map(Math.abs)) <= NEAR_NOON_S) flags.push("near-noon");
    if (new Set(halves).size === 1) flags.push("one-sided");
    if (fit.kept.includes(false)) flags.push("blunder");
    return flags;
  }

  // field.js
  var table = JSON.parse(document.getElementById("table").textContent);
  window.orient = { reduce: (rows) => reduced(table, rows).row };
  startPanel(table);
})();
