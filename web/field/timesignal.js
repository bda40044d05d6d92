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

/* A clock between comparisons drifts so much a day, standard uncertainty. */
const DRIFT_SD_S_PER_DAY = 1;

/* What is known of the clock at an instant (ms): by the comparison nearest to it, else assumed. */
export function clockAt(comparisons, steps, atMs, assumed) {
  const valid = comparisons.filter((each) => !steps.some(({ at }) => between(at, each.at, atMs)));
  if (!valid.length) return { ...ASSUMED[assumed] || ASSUMED.today, compared: false };
  const nearest = valid.reduce((best, each) =>
    (Math.abs(each.at - atMs) < Math.abs(best.at - atMs) ? each : best));
  const days = Math.abs(nearest.at - atMs) / 86400000;
  return {
    error_s: nearest.error_s,
    sd_s: round(Math.hypot(nearest.sd_s, DRIFT_SD_S_PER_DAY * days), 2),
    compared: true,
  };
}

const between = (at, one, other) => at > Math.min(one, other) && at < Math.max(one, other);
