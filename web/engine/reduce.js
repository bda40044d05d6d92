/* A set-up's rows to the row of `orient reduce --format json`. */
import { civil } from "../shared/civil.js";
import { DEGREE } from "../shared/sun.js";
import { azimuthU } from "./adjustment.js";
import { lengthOf } from "./board.js";
import { COVERAGE_95 } from "./evidence.js";
import { lineOf } from "./line.js";
import { lookout, WIDEST_U_DEG, widened } from "./lookout.js";
import { median } from "./matrix.js";
import { readBoard } from "./reading.js";
import { given, number, placeOf, recordOf, stated } from "./rows.js";
import { AZIMUTH, WATCH } from "./shadow.js";

const NEAR_NOON_S = 18 * 240;

/* The answer with the marks left out and what is told at once, for tests and tools. */
export function whole(table, rows) {
  const { row, board, fit, told } = reduced(table, rows);
  const leftOut = fit ? board.marks.filter((_, n) => !fit.kept[n]).map(({ name }) => name) : [];
  return { row, leftOut, told: told.map(({ code, text }) => ({ code, text })) };
}

export const wrap360 = (degrees) => ((degrees % 360) + 360) % 360;
export const wrap180 = (degrees) => wrap360(degrees + 180) - 180;

/* The row, its fit and what is to be told at once. `row` has the keys that the page's table names,
   null where a value could not be had. */
export function reduced(table, { site, setup, marks }) {
  const row = Object.fromEntries(table.keys.map((key) => [key, null]));
  const { place, day } = placeOf(table, site, setup.date);
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
    flags: [...day.flags],
  });
  const record = recordOf(table, { site, setup, marks });
  const { board } = record;
  if (!board.count) return { row, board, fit: null, told: [] };
  const line = lineOf(table, setup);
  const read = readBoard(record);
  const { fit } = read;
  const { flags, told } = lookout(board, read, line);
  const laplace = place.laplace_deg || 0;
  const left = place.laplace_deg === null ? deflectionU(table, board) : 0;
  row.flags = [...new Set([...flags, ...flagsOf(board, read), ...row.flags])];
  row.methods = methodRows(read.methods, laplace, left);
  if (azimuthU(fit) / DEGREE <= WIDEST_U_DEG) {
    const azimuth = wrap360(fit.state[AZIMUTH] / DEGREE - laplace);
    const u = Math.hypot(azimuthU(fit) / DEGREE, left);
    Object.assign(row, {
      method: "adjustment",
      board_azimuth_deg: azimuth,
      board_azimuth_u_deg: u,
      north_on_board_deg: wrap360(-azimuth),
      ...directionOf(table, setup, place, day, line, azimuth, u),
    });
    if (read.timed) row.noon_watch = civil(place, board.noon + fit.state[WATCH]).slice(11, 19);
  }
  if (read.latitude) {
    Object.assign(row, { latitude_deg: read.latitude.latitude, latitude_u_deg: latitudeU(row, board, read.latitude) });
  }
  if (ofPlace(read)) Object.assign(row, { reference_grid_bearing_deg: null, reference_magnetic_bearing_deg: null });
  Object.assign(row, compassOf(table, setup, row));
  return { row, board, fit, line, told, doubtful: Boolean(widened(read)) };
}

/* How well the marks tell the latitude; of a record in doubt it reaches the site's too. */
const latitudeU = ({ flags }, board, { latitude, u }) =>
  (flags.includes("record-doubtful") ? Math.max(u, Math.abs(latitude - board.latitude) / COVERAGE_95) : u);

/* Whether the likeliest explanation puts the site elsewhere: what follows from its place is wrong. */
const ofPlace = ({ verdict }) => Boolean(verdict && verdict.explanation && verdict.explanation.some(({ place }) => place));

function methodRows(methods, laplace, left) {
  return Object.fromEntries(["pairs", "shortest", "timed", "adjustment"].map((name) => {
    const found = methods[name];
    if (!found || found.u / DEGREE > WIDEST_U_DEG) return [name, null];
    return [name, {
      board_azimuth_deg: wrap360(found.azimuth / DEGREE - laplace),
      board_azimuth_u_deg: Math.hypot(found.u / DEGREE, left),
      n: found.n,
    }];
  }));
}

/* What the unknown deflection of the vertical leaves open, degrees (grid.sun_deflection_u_deg). */
function deflectionU(table, board) {
  const altitude = Math.atan2(board.height, median(board.marks.map(lengthOf)));
  return table.deflection_rms_arcsec / 3600 * Math.tan(Math.min(altitude, 85 * DEGREE));
}

function directionOf(table, setup, place, day, line, azimuth, u) {
  if (!Number.isFinite(line.angle)) return {};
  const reference = wrap360(azimuth + line.angle);
  // A long line's bend needs the projection itself, which the page has not.
  const bent = given(setup.reference_easting_m) || place.convergence_deg === null;
  return {
    reference_azimuth_deg: reference,
    reference_azimuth_u_deg: Math.hypot(u, line.sd),
    reference_grid_bearing_deg: bent ? null : wrap360(reference + place.datum_turn_deg - place.convergence_deg),
    reference_magnetic_bearing_deg: wrap360(reference - day.declination_deg),
  };
}

function compassOf(table, setup, row) {
  if (row.compass_reading_deg === null || row.reference_magnetic_bearing_deg === null) return {};
  const apart = wrap180(row.compass_reading_deg - row.reference_magnetic_bearing_deg);
  const u = Math.hypot(row.reference_azimuth_u_deg, row.declination_u_deg,
    stated(table, setup, "compass_sd_deg"));
  if (Math.abs(apart) > 1.959964 * u) row.flags.push("compass-differs");
  return { compass_difference_deg: apart, compass_difference_u_deg: u };
}

function flagsOf(board, { fit, halves, methods, verdict }) {
  const kept = fit.kept.some(Boolean) ? fit.kept : fit.kept.map(() => true);
  const fromNoon = fit.utc.filter((_, n) => kept[n]).map((utc) => utc - board.noon);
  const explained = verdict && verdict.explanation;
  const flags = [];
  if (Math.max(...fromNoon.map(Math.abs)) <= NEAR_NOON_S) flags.push("near-noon");
  if (new Set(halves.filter((_, n) => kept[n])).size === 1) flags.push("one-sided");
  else if (!explained && (!methods.pairs || methods.pairs.n < 3)) flags.push("few-pairs");
  if (fit.kept.includes(false)) flags.push("blunder");
  return flags;
}
