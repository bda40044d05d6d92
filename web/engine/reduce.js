/* A set-up's rows to the row of `orient reduce --format json`. */
import { civil } from "../shared/civil.js";
import { DEGREE } from "../shared/sun.js";
import { adjust, azimuthU } from "./adjustment.js";
import { lengthOf } from "./board.js";
import { lineOf } from "./line.js";
import { lookout } from "./lookout.js";
import { median } from "./matrix.js";
import { adopted } from "./reading.js";
import { boardOf, given, number, placeOf, stated } from "./rows.js";
import { AZIMUTH, LATITUDE, WATCH } from "./shadow.js";

const WIDEST_U_DEG = 30;
const NEAR_NOON_S = 18 * 240;
const FURTHEST_LATITUDE_U_DEG = 5;

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
  const board = boardOf(table, { site, setup, marks });
  if (!board.count) return { row, board, fit: null, told: [] };
  const line = lineOf(table, setup);
  const { fit, reading, tried } = adopted(board);
  const seen = lookout(board, { fit, reading, tried }, line);
  const adoptedFit = seen.fit;
  const laplace = place.laplace_deg || 0;
  const left = place.laplace_deg === null ? deflectionU(table, board) : 0;
  const u = Math.hypot(azimuthU(adoptedFit) / DEGREE, left);
  const determined = azimuthU(adoptedFit) / DEGREE <= WIDEST_U_DEG;
  row.flags = [...new Set([...seen.flags, ...flagsOf(board, adoptedFit), ...row.flags])];
  if (determined) {
    const azimuth = wrap360(adoptedFit.state[AZIMUTH] / DEGREE - laplace);
    Object.assign(row, {
      method: "adjustment",
      board_azimuth_deg: azimuth,
      board_azimuth_u_deg: u,
      north_on_board_deg: wrap360(-azimuth),
      ...directionOf(table, setup, place, day, line, azimuth, u),
    });
    row.methods.adjustment = {
      board_azimuth_deg: azimuth,
      board_azimuth_u_deg: u,
      n: adoptedFit.kept.filter(Boolean).length,
    };
    if (timed(board) && reading.byTime !== false) {
      row.noon_watch = civil(place, board.noon + adoptedFit.state[WATCH]).slice(11, 19);
    }
  }
  Object.assign(row, latitudeOf(board, adoptedFit, reading), compassOf(table, setup, row));
  return { row, board, fit: adoptedFit, line, told: seen.told };
}

const timed = (board) =>
  board.watch !== "none" && board.marks.some((mark) => Number.isFinite(mark.watchUtc));

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

/* Latitude by the board alone: the adjustment again, the site's latitude forgotten. */
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
  const halves = board.marks.map((mark, n) => mark.half || (fit.utc[n] < board.noon ? -1 : 1))
    .filter((_, n) => kept[n]);
  const flags = [];
  if (Math.max(...fromNoon.map(Math.abs)) <= NEAR_NOON_S) flags.push("near-noon");
  if (new Set(halves).size === 1) flags.push("one-sided");
  if (fit.kept.includes(false)) flags.push("blunder");
  return flags;
}
