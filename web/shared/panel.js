/* The panel for use on site: the shadow, true north from it, noon and the hours, by the clock
   or for a time entered. It belongs to the plan page and to the field page alike; both have its
   elements from orient/pages/panel.html.j2. */
import { civil, hoursMinutes, instant, offset, two, zoneName } from "./civil.js";
import { Sun } from "./sun.js";

const HALF_DAY_S = 43200;
const DAYS = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const element = (id) => document.getElementById(id);

/* The instant across noon at which the shadow has the same length, or null. */
function partner(sun, utc, noon) {
  const side = utc < noon ? 1 : -1;
  const now = sun.shadow(utc);
  let near = 0;
  let far = HALF_DAY_S;
  for (let n = 0; n < 40; n += 1) {
    const middle = (near + far) / 2;
    const there = sun.shadow(noon + side * middle);
    if (there && there.altitude > now.altitude) near = middle;
    else far = middle;
  }
  const found = noon + side * far;
  const there = sun.shadow(found);
  return there && Math.abs(there.altitude - now.altitude) < 0.005 ? found : null;
}

/* Starts the panel on the page's table. */
export function startPanel(table) {
  const suns = new Map();

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
    // A time without seconds ends after the minutes; Z makes the telephone's own zone no part of it.
    const entered = element("time").value ? Date.parse(`${element("time").value}Z`) / 1000 : NaN;
    const utc = Number.isFinite(entered) ? instant(site, entered) : Date.now() / 1000;
    const local = civil(site, utc);
    const weekday = DAYS[new Date(local).getUTCDay()];
    element("shown").textContent =
      `${weekday} ${local.slice(0, 10)}, ${local.slice(11, 19)} (${zoneName(site, utc)})`
      + (Number.isFinite(entered) ? ", entered" : ", by the telephone’s clock");
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
    show("partner", again, again === null ? "–" : hoursMinutes(site, again),
      again === null ? "" : "partner of a mark now");
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
  setInterval(refresh, 1000);
}
