/* The tools: the clock against a time signal, the telephone as a level, the compass. */
import { civil, civilSeconds, instant } from "../shared/civil.js";
import { timeOfDay } from "../engine/rows.js";
import { degrees, element, made, say, tappedAt, typed } from "./dom.js";
import { readLevel, sensorTrouble } from "./sensor.js";
import { boardTilt, levelSd } from "./tilt.js";
import { ASSUMED, compared, FEWEST_TAPS, LAG_S } from "./timesignal.js";

const seconds = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)} s`;

export function startTools(field) {
  const clock = startClock(field);
  const level = startLevel(field);
  startCompass(field);
  return {
    refresh() {
      clock.refresh();
      level.refresh();
    },
  };
}

function startClock(field) {
  const { table, store } = field;
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
    field.refresh();
  });
  for (const id of ["pip-time", "pip-step"]) element(id).addEventListener("input", sayTaps);

  const place = () => table.sites.find((each) =>
    each.site === (field.setup ? field.setup.fields.site : element("f-site").value));

  /* The true instant of the first pip, on the day of the tap. */
  function firstPip() {
    const time = element("pip-time").value.trim();
    if (!/^\d{1,2}:\d{2}(:\d{2})?$/.test(time) || !taps.length) return NaN;
    const today = civil(place(), taps[0] / 1000).slice(0, 10);
    const utc = instant(place(), civilSeconds(today, timeOfDay(time)));
    // Around midnight the day by the telephone may be the next one already.
    const days = Math.round((taps[0] / 1000 - utc) / 86400);
    return 1000 * (utc + 86400 * days);
  }

  const found = () => compared(taps, firstPip(), Number(element("pip-step").value));

  function sayTaps() {
    const result = found();
    element("pip-keep").disabled = !result;
    if (!taps.length) say("pip-says", "");
    else if (taps.length < FEWEST_TAPS) say("pip-says", `${taps.length} of at least ${FEWEST_TAPS} taps.`);
    else if (!result) say("pip-says", `${taps.length} taps. Enter the true time of the first: HH:MM:SS.`);
    else {
      say("pip-says", `The telephone is ${seconds(result.error_s)} against the signal, ± `
        + `${(1.959964 * result.sd_s).toFixed(1)} s (95 %): ${result.taps} taps scatter by `
        + `${result.scatter_s.toFixed(2)} s, ${LAG_S} s is taken off for the tapper’s lag.`);
    }
  }

  return {
    refresh() {
      const { comparisons, steps } = field.log;
      const lines = comparisons.map(({ at, error_s: error, sd_s: sd }) =>
        `${civil(place(), at / 1000).slice(0, 16).replace("T", " ")}: ${seconds(error)} ± ${(1.959964 * sd).toFixed(1)} s`);
      lines.push(...steps.map(({ at, by }) => `${civil(place(), at / 1000).slice(0, 16).replace("T", " ")}: `
        + `the telephone’s clock was set ${Math.abs(by).toFixed(1)} s ${by > 0 ? "forward" : "back"}; compare it again.`));
      if (!comparisons.length) {
        const assumed = ASSUMED[field.setup ? field.setup.fields.network : element("f-network").value] || ASSUMED.today;
        lines.push(`No comparison yet: the telephone ${assumed.words}.`);
      }
      element("comparisons").replaceChildren(...lines.map((line) => made("li", {}, line)));
    },
  };
}

function startLevel(field) {
  let first = null;
  let tilt = null;
  element("level-first").addEventListener("click", () => read("level-first", (reading) => {
    first = reading;
    tilt = null;
    say("level-says", "First reading taken. Turn the telephone end for end on the same place.");
    element("level-turned").disabled = false;
  }));
  element("level-turned").addEventListener("click", () => read("level-turned", (reading) => {
    tilt = boardTilt(first, reading);
    sayTilt();
  }));
  element("level-keep").addEventListener("click", () => {
    const fields = { level_sd_deg: Math.round(1000 * Math.max(0.01, levelSd(tilt))) / 1000 };
    field.store.add("level", { setup: field.setup.setup, fields: { ...tilt } });
    field.store.add("setup", { setup: field.setup.setup, fields });
    say("level-says", `Kept: level within ${degrees(fields.level_sd_deg)} (1 σ), each axis.`);
    field.refresh(true);
  });

  function read(button, done) {
    say("level-says", "Asking the browser for the sensor …");
    element(button).disabled = true;
    readLevel(() => say("level-says", "Hold still …")).then(done, (trouble) => say("level-says", trouble.message))
      .then(() => { element(button).disabled = false; });
  }

  function sayTilt() {
    const side = (value, plus, minus) => (value >= 0 ? plus : minus);
    const along = (value, plus, minus) =>
      `${degrees(Math.abs(value))} up toward ${side(value, plus, minus)}`;
    say("level-says", `The board stands ${along(tilt.x, "+x", "−x")} and ${along(tilt.y, "+y", "−y")}, `
      + `±${degrees(1.959964 * tilt.sd)} (95 %). Level it and read again, or keep it as it is.`);
    element("level-keep").disabled = !field.setup;
  }

  const trouble = sensorTrouble();
  say("sensor-says", trouble);
  element("level-first").disabled = Boolean(trouble);
  return { refresh() { element("level-keep").disabled = !(field.setup && tilt); } };
}

function startCompass(field) {
  element("compass-keep").addEventListener("click", () => {
    const value = typed(element("compass-reading").value);
    if (!field.setup) say("compass-says", "Start a set-up first (Board).");
    else if (value === null || !(value >= 0 && value <= 360)) say("compass-says", "A number from 0 to 360°.");
    else {
      field.store.add("reading", { setup: field.setup.setup, degrees: value });
      element("compass-reading").value = "";
      field.refresh();
      say("compass-says", `Kept. ${field.setup.readings.length} readings toward the reference.`);
    }
  });
}
