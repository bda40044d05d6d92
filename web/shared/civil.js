/* The clock of a site: `offsets` are [utc_s, seconds ahead of UTC] from each instant on. */

export function offset(site, utc) {
  let ahead = site.offsets[0][1];
  for (const [from, seconds] of site.offsets) if (utc >= from) ahead = seconds;
  return ahead;
}

/* The instant of a clock time, both in seconds; of an hour shown twice the first, as the
   tables have it. */
export function instant(site, civilSeconds) {
  for (let n = 0; n + 1 < site.offsets.length; n += 1) {
    const [next, after] = site.offsets[n + 1];
    if (civilSeconds < next + Math.max(site.offsets[n][1], after)) {
      return civilSeconds - site.offsets[n][1];
    }
  }
  return civilSeconds - site.offsets[site.offsets.length - 1][1];
}

/* The site's clock at an instant as ISO text, thousandths of a second in it. */
export const civil = (site, utc) => new Date((utc + offset(site, utc)) * 1000).toISOString();

export const two = (number) => String(number).padStart(2, "0");

export function hoursMinutes(site, utc) {
  return civil(site, Math.round(utc / 60) * 60).slice(11, 16);
}

export function zoneName(site, utc) {
  const minutes = Math.round(Math.abs(offset(site, utc)) / 60);
  const sign = offset(site, utc) < 0 ? "−" : "+";
  return `${site.timezone}, UTC${sign}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

/* Seconds since 1970 that a date and a time of day name, no zone in it. */
export function civilSeconds(date, timeOfDay) {
  return Date.parse(`${date}T00:00:00Z`) / 1000 + timeOfDay;
}
