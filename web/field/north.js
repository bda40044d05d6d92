/* The part for north: the line, what does not fit, the board as drawn, what one more mark adds. */
import { azimuthU, azimuthUWith } from "../engine/adjustment.js";
import { reduced } from "../engine/reduce.js";
import { WATCH } from "../engine/shadow.js";
import { civil, hoursMinutes } from "../shared/civil.js";
import { drawing } from "./drawing.js";
import { bearing, degrees, element, made, plusMinus, say } from "./dom.js";
import { rowsOf } from "./tables.js";

const OUTLOOK_STEP_S = 900;
// Hours in which the plan has the sun too low, or the shadow off the board.
const NO_MARK = "-#";
const DEGREE = Math.PI / 180;

export function startNorth(field) {
  const { table } = field;

  let waiting = null;

  /* A board that contradicts itself takes a second to read: what was tapped is shown first. */
  function refresh() {
    clearTimeout(waiting);
    if (element("part-north").hidden) waiting = setTimeout(reduceNow, 30);
    else reduceNow();
  }

  function reduceNow() {
    const rows = field.setup ? rowsOf(table, field.log, field.setup) : null;
    if (!rows || !rows.marks.length) {
      clear("The line is shown once marks have their millimetres.");
      return;
    }
    let found;
    try {
      found = reduced(table, rows);
    } catch (fault) {
      clear(fault.message);
      return;
    }
    if (!found.fit) {
      clear("All the marks are struck out.");
      return;
    }
    showTold(found);
    element("answer").replaceChildren(answer(found));
    element("drawing").replaceChildren(...drawing(found));
    say("outlook", outlook(found));
  }

  function clear(words) {
    for (const id of ["told", "drawing"]) element(id).replaceChildren();
    element("told").dataset.said = "";
    say("told-here", "");
    element("answer").replaceChildren(made("p", {}, words));
    say("outlook", "");
  }

  function showTold({ told: found }) {
    const told = found.map(({ since, text: words, ...rest }) => ({ ...rest,
      text: since ? `${words} ${movedSince(since)}` : words }));
    const text = told.map((each) => each.text).join("\n");
    say("told-here", told.length ? capital(told[0].text) : "");
    element("told-here").hidden = !told.length;
    if (element("told").dataset.said === text) return;
    element("told").dataset.said = text;
    element("told").replaceChildren(...told.map((each) =>
      made("p", { class: "alarm-box", "data-code": each.code }, capital(each.text))));
  }

  const movedSince = (since) => `The board seems to have moved since ${hoursMinutes(place(), since)}: strike out the `
    + "marks made since then, and start a new set-up with the line drawn again.";

  const place = () => table.sites.find((each) => each.site === field.setup.fields.site);

  /* What one more mark would bring, at the hour of this day that brings most. */
  function outlook({ board, fit, row, doubtful }) {
    if (doubtful) return "What one more mark would bring is shown once what is told above is settled.";
    const day = place().days[field.setup.fields.date];
    const now = Date.now() / 1000;
    const [first, last] = board.daylight();
    let best = null;
    for (let utc = Math.max(now, first); utc < Math.min(last, day.noon + 43200); utc += OUTLOOK_STEP_S) {
      if (NO_MARK.includes(slotAt(day, utc))) continue;
      const u = azimuthUWith(fit, utc);
      if (u !== null && (!best || u < best.u)) best = { utc, u };
    }
    if (!best || row.board_azimuth_deg === null) return "";
    const gain = `${plusMinus(azimuthU(fit) / DEGREE)} to ${plusMinus(best.u / DEGREE)}`.replaceAll("± ", "±");
    if (best.u > 0.98 * azimuthU(fit)) return "One more mark today hardly changes the figure.";
    return `One more mark helps most at ${hoursMinutes(place(), best.utc)}: the board’s azimuth from ${gain} (95 %).`;
  }

  function slotAt(day, utc) {
    const local = civil(place(), utc);
    if (local.slice(0, 10) !== field.setup.fields.date) return "-";
    return day.slots[Math.floor((local.slice(11, 13) * 3600 + local.slice(14, 16) * 60) / table.slot_s)];
  }

  return { refresh };
}

const capital = (text) => text[0].toUpperCase() + text.slice(1);

function answer({ row, fit, board, doubtful }) {
  if (row.board_azimuth_deg === null) {
    return made("p", { class: "headline" }, doubtful ? "Until that is settled no direction is given."
      : "These marks do not fix a direction.");
  }
  const facts = [];
  if (row.reference_azimuth_deg !== null) {
    facts.push([`${row.reference_name || "Reference"}, true azimuth`, bearing(row.reference_azimuth_deg),
      plusMinus(row.reference_azimuth_u_deg), "headline"]);
    if (row.reference_grid_bearing_deg !== null) {
      facts.push(["its grid bearing", bearing(row.reference_grid_bearing_deg), plusMinus(row.reference_azimuth_u_deg)]);
    }
    facts.push(["its magnetic bearing, by the model", bearing(row.reference_magnetic_bearing_deg, 1),
      plusMinus(Math.hypot(row.reference_azimuth_u_deg, row.declination_u_deg))]);
  }
  facts.push(["True north on the sheet, clockwise from +y", bearing(row.north_on_board_deg),
    plusMinus(row.board_azimuth_u_deg), row.reference_azimuth_deg === null ? "headline" : ""]);
  facts.push(["Board azimuth (of +y)", bearing(row.board_azimuth_deg), plusMinus(row.board_azimuth_u_deg)]);
  const kept = fit.kept.filter(Boolean).length;
  facts.push(["Marks", `${kept} of ${board.count}`, kept < board.count ? `${board.count - kept} left out` : "all used"]);
  if (row.noon_watch !== null) {
    facts.push(["Watch, minus true", `${fit.state[WATCH].toFixed(0)} s`.replace("-", "−"),
      `± ${(1.959964 * Math.sqrt(fit.covariance[WATCH][WATCH])).toFixed(0)} s`]);
  }
  if (row.latitude_deg !== null) {
    facts.push(["Latitude by the board", degrees(row.latitude_deg), plusMinus(row.latitude_u_deg)]);
  }
  if (row.compass_difference_deg !== null) {
    const plus = row.compass_difference_deg >= 0 ? "+" : "";
    facts.push(["Compass against the model", `${plus}${degrees(row.compass_difference_deg, 1)}`,
      plusMinus(row.compass_difference_u_deg)]);
  }
  return made("dl", { class: "answers-list" }, facts.map(([name, value, wide, style]) =>
    made("div", { class: style || "" }, made("dt", {}, name),
      made("dd", {}, made("b", {}, value), " ", made("span", { class: "wide" }, wide)))));
}
