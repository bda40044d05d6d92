/* The telephone's clock held against a time signal: taps at pips, error and uncertainty. */

/* People tap a little after a sound, 0.1 s give or take as much (*common practice, no source*). */
export const LAG_S = 0.1;
export const LAG_SD_S = 0.1;
export const FEWEST_TAPS = 3;

/* Without a comparison: how far a telephone's clock may be off. Published statistics of telephones
   with network show common offsets of 5 s, some of 15 s; without any a clock drifts by up to 2 s a
   day (*common practice, no source*). */
export const ASSUMED = {
  today: { error_s: 0, sd_s: 5, words: "had network today: 0 ± 10 s (95 %) is assumed" },
  days: { error_s: 0, sd_s: 20, words: "no network for days: 0 ± 40 s (95 %) is assumed" },
};

/* Taps (ms by the telephone) at pips, the first at the true instant `firstMs`, the others whole
   intervals later; a pip that was missed leaves a gap and no harm.

   Returns {error_s, sd_s, scatter_s, taps}: telephone minus true, plus when fast, the tapper's lag
   taken off; null with too few taps. */
export function compared(taps, firstMs, intervalS = 1) {
  if (taps.length < FEWEST_TAPS || !Number.isFinite(firstMs)) return null;
  const late = taps.map((tap) => {
    const pips = Math.round((tap - taps[0]) / 1000 / intervalS);
    return (tap - firstMs) / 1000 - pips * intervalS;
  });
  const mean = late.reduce((total, each) => total + each, 0) / late.length;
  const scatter = Math.sqrt(late.reduce((total, each) => total + (each - mean) ** 2, 0) / (late.length - 1));
  return {
    error_s: round(mean - LAG_S, 2),
    sd_s: round(Math.max(0.01, Math.hypot(scatter / Math.sqrt(late.length), LAG_SD_S)), 2),
    scatter_s: round(scatter, 3),
    taps: late.length,
  };
}

const round = (value, places) => Math.round(value * 10 ** places) / 10 ** places;

/* A clock's rate (s a day), known of it before two comparisons show it and after, how it wanders
   away from them, and how well a watch in the tables is read: orient/observation/joint/watches.py. */
const RATE_SD_S = 1;
const COMPARED_RATE_SD_S = 60;
const RATE_WANDERS_S = 0.3;
const READING_SD_S = 1;

/* How often the clock had been set before an instant: each setting makes it another watch. */
export const settingsBefore = (steps, atMs) => steps.filter(({ at }) => at < atMs).length;

/* What is known of the clock at an instant (ms): by the comparisons since it was last set and
   before it was set again, else assumed. A `named` one stands in the tables as a watch among others. */
export function clockAt({ comparisons, steps }, atMs, assumed, named) {
  const setting = settingsBefore(steps, atMs);
  const valid = comparisons.filter(({ at }) => settingsBefore(steps, at) === setting);
  if (!valid.length) return { ...ASSUMED[assumed] || ASSUMED.today, compared: false };
  const days = valid.map(({ at }) => (Math.floor(at / 1000) * 1000 - atMs) / 86400000);
  const weights = valid.map(({ sd_s: sd }) => 1 / sd ** 2);
  const moment = (of) => weights.reduce((total, weight, n) => total + weight * of(n), 0);
  // Error and rate by least squares, as the tables' own comparisons are adjusted.
  const rateSd = valid.length > 1 ? COMPARED_RATE_SD_S : RATE_SD_S;
  const [a, b, c] = [moment(() => 1) + 1e-12, moment((n) => days[n]), moment((n) => days[n] ** 2) + rateSd ** -2];
  const [p, q] = [moment((n) => valid[n].error_s), moment((n) => days[n] * valid[n].error_s)];
  const determinant = a * c - b * b;
  const own = Math.hypot(named ? READING_SD_S : 0, RATE_WANDERS_S * Math.min(...days.map(Math.abs)));
  return {
    error_s: round((c * p - b * q) / determinant, 4),
    sd_s: round(Math.hypot(Math.sqrt(c / determinant), own), 4),
    compared: true,
  };
}
