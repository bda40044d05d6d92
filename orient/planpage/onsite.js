/* The panel for use on site. It looks the sun up in the table that came with the page and
   turns directions into words; the sun itself was reckoned where the page was made. */
"use strict";
(function () {
  const table = JSON.parse(document.getElementById("table").textContent);
  const element = (id) => document.getElementById(id);
  const DEGREE = Math.PI / 180;
  const HALF_DAY_S = 43200;
  const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];

  // The table ------------------------------------------------------------------------

  /* Samples of a run: east, north, up, each of three bytes, two's complement. */
  function unpacked(text) {
    const bytes = atob(text);
    const values = new Float64Array(bytes.length / 3);
    for (let n = 0; n < values.length; n += 1) {
      const whole = (bytes.charCodeAt(3 * n) << 24) | (bytes.charCodeAt(3 * n + 1) << 16)
        | (bytes.charCodeAt(3 * n + 2) << 8);
      values[n] = (whole >> 8) / table.scale;
    }
    return values;
  }

  function runsOf(site) {
    if (!site.unpacked) {
      site.unpacked = site.runs.map(([start, text]) => ({ start, values: unpacked(text) }));
    }
    return site.unpacked;
  }

  /* Unit vector toward the unrefracted sun, a cubic through four samples; null by night. */
  function direction(site, utc) {
    const number = Math.floor(utc / table.step_s);
    const t = utc / table.step_s - number;
    const run = runsOf(site).find(({ start, values }) =>
      number > start && number + 2 < start + values.length / 3);
    if (!run) return null;
    const weights = [-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2,
      -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6];
    return [0, 1, 2].map((axis) => weights.reduce((sum, weight, n) =>
      sum + weight * run.values[3 * (number - 1 + n - run.start) + axis], 0));
  }

  /* Where the shadow of a rod of 1 falls; null where the sun is down. */
  function shadow(site, utc) {
    const toward = direction(site, utc);
    if (!toward) return null;
    const [east, north, up] = toward;
    const altitude = Math.atan2(up, Math.hypot(east, north)) / DEGREE;
    const place = Math.min(Math.max(altitude - table.lift_from_deg, 0), site.lift_deg.length - 1.001);
    const below = Math.floor(place);
    const lift = site.lift_deg[below]
      + (place - below) * (site.lift_deg[below + 1] - site.lift_deg[below]);
    const seen = altitude + lift;
    if (seen <= 0) return null;
    return {
      azimuth: (Math.atan2(-east, -north) / DEGREE + 360) % 360,
      altitude: seen,
      length: 1 / Math.tan(seen * DEGREE),
    };
  }

  /* The instant across noon at which the shadow has the same length, or null. */
  function partner(site, utc, noon) {
    const side = utc < noon ? 1 : -1;
    const now = shadow(site, utc);
    let near = 0;
    let far = HALF_DAY_S;
    for (let n = 0; n < 40; n += 1) {
      const middle = (near + far) / 2;
      const there = shadow(site, noon + side * middle);
      if (there && there.altitude > now.altitude) near = middle;
      else far = middle;
    }
    const found = noon + side * far;
    const there = shadow(site, found);
    return there && Math.abs(there.altitude - now.altitude) < 0.005 ? found : null;
  }

  // The site's clock -----------------------------------------------------------------

  function offset(site, utc) {
    let ahead = site.offsets[0][1];
    for (const [from, seconds] of site.offsets) if (utc >= from) ahead = seconds;
    return ahead;
  }

  /* The instant of a clock time; of an hour shown twice the first, as the tables have it. */
  function instant(site, civil) {
    for (let n = 0; n + 1 < site.offsets.length; n += 1) {
      const [next, after] = site.offsets[n + 1];
      if (civil < next + Math.max(site.offsets[n][1], after)) return civil - site.offsets[n][1];
    }
    return civil - site.offsets[site.offsets.length - 1][1];
  }

  const civil = (site, utc) => new Date((utc + offset(site, utc)) * 1000).toISOString();
  const two = (number) => String(number).padStart(2, "0");

  function hoursMinutes(site, utc) {
    return civil(site, Math.round(utc / 60) * 60).slice(11, 16);
  }

  function zoneName(site, utc) {
    const minutes = Math.round(Math.abs(offset(site, utc)) / 60);
    const sign = offset(site, utc) < 0 ? "−" : "+";
    return `${site.timezone}, UTC${sign}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
  }

  // What is shown --------------------------------------------------------------------

  /* Digits with their unit; the full value stands in the element's `value`. */
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
    show("azimuth", told ? seen.azimuth : null,
      told ? `${(Math.round(seen.azimuth * 10) % 3600 / 10).toFixed(1)}°` : "–");
    show("north", north, told ? `${Math.abs(north).toFixed(1)}°` : "–",
      told ? (north < 0 ? "to the left" : "to the right") : "");
    const length = seen && rod > 0 ? seen.length * rod : null;
    show("length", length, length === null ? "–" : length.toFixed(length < 100 ? 1 : 0),
      length === null ? "" : "mm");
    show("altitude", seen ? seen.altitude : null, seen ? `${seen.altitude.toFixed(1)}°` : "–");
  }

  function showNoon(site, utc, noon) {
    const minutes = Math.floor(Math.abs(noon - utc) / 60);
    const apart = minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${two(minutes % 60)} min`;
    show("noon", noon - utc, noon >= utc ? `in ${apart}` : `${apart} ago`,
      `at ${civil(site, noon).slice(11, 19)}`);
  }

  function judge(site, utc, day, seen) {
    if (!seen) return ["", "The sun is down.", goodHours(site, day)];
    const local = civil(site, utc);
    const seconds = Number(local.slice(11, 13)) * 3600 + Number(local.slice(14, 16)) * 60;
    const letter = day.slots[Math.floor(seconds / table.slot_s)];
    const open = day.windows.find(([from, to]) => utc >= from && utc <= to);
    const worth = "01234".includes(letter) ? `A mark now and its partner: ± ${table.words[letter]}, 95 %.` : "";
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
    // Rewritten only when it changes, or a screen reader would never fall silent.
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
    // A time without seconds ends after the minutes; Z makes the phone's own zone no part of it.
    const entered = element("time").value ? Date.parse(`${element("time").value}Z`) / 1000 : NaN;
    const utc = Number.isFinite(entered) ? instant(site, entered) : Date.now() / 1000;
    const local = civil(site, utc);
    const weekday = DAYS[new Date(local).getUTCDay()];
    element("shown").textContent =
      `${weekday} ${local.slice(0, 10)}, ${local.slice(11, 19)} (${zoneName(site, utc)})`
      + (Number.isFinite(entered) ? ", entered" : ", by the phone’s clock");
    const day = dayOf(site, utc, local);
    const seen = day ? shadow(site, utc) : null;
    showShadow(seen, Number(element("rod").value));
    if (!day) {
      show("noon", null, "–");
      show("partner", null, "–");
      say("", "Outside this plan.", `Its table is for ${table.span}. Enter a time of those days, or make a new plan.`);
      return;
    }
    showNoon(site, utc, day.noon_utc_s);
    const again = seen ? partner(site, utc, day.noon_utc_s) : null;
    show("partner", again, again === null ? "–" : hoursMinutes(site, again),
      again === null ? "" : "partner of a mark now");
    say(...judge(site, utc, day, seen));
  }

  function dayOf(site, utc, local) {
    const [start, end] = site.span_utc_s;
    return utc >= start && utc < end ? site.days[local.slice(0, 10)] || null : null;
  }

  for (const id of ["site", "rod", "time"]) element(id).addEventListener("input", refresh);
  element("clock").addEventListener("click", () => {
    element("time").value = "";
    refresh();
  });
  element("now").hidden = false;
  refresh();
  setInterval(refresh, 1000);
}());
