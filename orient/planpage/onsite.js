/* Built by web/build.mjs; sources: plan.js plan/browse.js shared/civil.js shared/panel.js shared/sun.js; 0256b6ef56f368a697da9b9b97c909f6c9da9681f848174b47aabd460528878b */
(() => {
  // plan/browse.js
  var byId = (id) => document.getElementById(id);
  function choices() {
    return {
      search: byId("search").value.trim().toLowerCase(),
      flag: byId("by-flag").value,
      region: byId("by-region").value,
      day: byId("by-day").value
    };
  }
  function fits(row, wanted) {
    const { flags, region } = row.dataset;
    const name = row.cells[0].textContent.toLowerCase();
    if (wanted.search && !name.includes(wanted.search)) return false;
    if (wanted.flag && !flags.split(" ").includes(wanted.flag)) return false;
    if (wanted.region && region !== wanted.region) return false;
    return !wanted.day || row.cells[Number(wanted.day) + 1].classList.contains("good");
  }
  function sectionOf(row) {
    return byId(`site-${row.dataset.number}`);
  }
  function filter(rows) {
    const wanted = choices();
    let left = 0;
    for (const row of rows) {
      const shown = fits(row, wanted);
      row.hidden = !shown;
      sectionOf(row).hidden = !shown;
      if (shown) left += 1;
    }
    byId("found").value = left === rows.length ? "" : `${left} of ${rows.length} sites`;
    byId("none-found").hidden = left > 0;
    document.querySelectorAll(".matrix thead th").forEach((head, column) => {
      head.classList.toggle("chosen", wanted.day !== "" && column === Number(wanted.day) + 1);
    });
  }
  var number = (text, missing) => text === "" ? missing : Number(text);
  var ORDERS = {
    table: (a, b) => a.dataset.number - b.dataset.number,
    name: (a, b) => a.cells[0].textContent.localeCompare(b.cells[0].textContent),
    good: (a, b) => b.dataset.good - a.dataset.good,
    least: (a, b) => number(a.dataset.least, Infinity) - number(b.dataset.least, Infinity) || 0
  };
  function order(rows) {
    const compare = ORDERS[byId("order").value];
    const sorted = [...rows].sort((a, b) => compare(a, b) || ORDERS.table(a, b));
    for (const row of sorted) {
      row.parentNode.append(row);
      const section = sectionOf(row);
      section.parentNode.append(section);
    }
  }
  function openAll(open) {
    for (const each of document.querySelectorAll(".site details")) each.open = open;
  }
  function openNamed() {
    const section = location.hash.startsWith("#site-") && byId(location.hash.slice(1));
    if (section) {
      section.querySelector("details").open = true;
      section.scrollIntoView();
    }
  }
  function startBrowsing() {
    const rows = [...document.querySelectorAll(".matrix tbody tr")];
    for (const id of ["search", "by-flag", "by-region", "by-day"]) {
      byId(id).addEventListener("input", () => filter(rows));
    }
    byId("order").addEventListener("input", () => order(rows));
    byId("find").addEventListener("submit", (event) => event.preventDefault());
    const button = byId("open-all");
    button.addEventListener("click", () => {
      const open = button.textContent === "Open all";
      openAll(open);
      button.textContent = open ? "Close all" : "Open all";
    });
    byId("print-all").addEventListener("click", () => {
      openAll(true);
      window.print();
    });
    byId("large").addEventListener("click", () => {
      const large = document.documentElement.classList.toggle("large");
      byId("large").setAttribute("aria-pressed", String(large));
    });
    window.addEventListener("hashchange", openNamed);
    openNamed();
  }

  // shared/civil.js
  function offset(site, utc) {
    let ahead = site.offsets[0][1];
    for (const [from, seconds] of site.offsets) if (utc >= from) ahead = seconds;
    return ahead;
  }
  function instant(site, civilSeconds) {
    for (let n = 0; n + 1 < site.offsets.length; n += 1) {
      const [next, after] = site.offsets[n + 1];
      if (civilSeconds < next + Math.max(site.offsets[n][1], after)) {
        return civilSeconds - site.offsets[n][1];
      }
    }
    return civilSeconds - site.offsets[site.offsets.length - 1][1];
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
    constructor(site, table) {
      this.step = table.step_s;
      this.air = { pressure_hpa: site.pressure_hpa, temperature_c: site.temperature_c };
      this.runs = site.runs.map(([start, text]) => ({ start, values: unpacked(text, table.scale) }));
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
    return [0, 1, 2].map((axis) => weights.reduce((sum, weight, n) => sum + weight * values[first + 3 * n + axis], 0));
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
  function startPanel(table) {
    const suns = /* @__PURE__ */ new Map();
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
      const told = seen && seen.length >= table.shortest_shadow;
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
    function judge(site, utc, day, seen) {
      if (!seen) return ["", "The sun is down.", goodHours(site, day)];
      const local = civil(site, utc);
      const seconds = Number(local.slice(11, 13)) * 3600 + Number(local.slice(14, 16)) * 60;
      const letter = day.slots[Math.floor(seconds / table.slot_s)];
      const open = day.windows.find(([from, to]) => utc >= from && utc <= to);
      const worth = "01234".includes(letter) ? `The 95 % figure of a mark now and its partner: ${table.words[letter]}.` : "";
      if (open) return ["good", `Good hour, until ${hoursMinutes(site, open[1])}.`, worth];
      const why = worth || `Now: ${table.words[letter]}.`;
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
      const site = table.sites[Number(element("site").value)];
      const entered = element("time").value ? Date.parse(`${element("time").value}Z`) / 1e3 : NaN;
      const utc = Number.isFinite(entered) ? instant(site, entered) : Date.now() / 1e3;
      const local = civil(site, utc);
      const weekday = DAYS[new Date(local).getUTCDay()];
      element("shown").textContent = `${weekday} ${local.slice(0, 10)}, ${local.slice(11, 19)} (${zoneName(site, utc)})` + (Number.isFinite(entered) ? ", entered" : ", by the telephone’s clock");
      const day = dayOf(site, utc, local);
      const seen = day ? sunOf(site).shadow(utc) : null;
      showShadow(seen, Number(element("rod").value));
      if (!day) {
        show("noon", null, "–");
        show("partner", null, "–");
        say("", "Outside this plan.", `Its table is for ${table.span}. Enter a time of those days, or make a new plan.`);
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
      say(...judge(site, utc, day, seen));
    }
    function dayOf(site, utc, local) {
      const [start, end] = site.span_utc_s;
      return utc >= start && utc < end ? site.days[local.slice(0, 10)] || null : null;
    }
    function sunOf(site) {
      if (!suns.has(site)) suns.set(site, new Sun(site, table));
      return suns.get(site);
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

  // plan.js
  startPanel(JSON.parse(document.getElementById("table").textContent));
  startBrowsing();
})();
