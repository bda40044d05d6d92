/* The chi-square distribution: what a sum of squares exceeds with a given chance. */

const STEPS = 500;

/* Logarithm of Γ by Lanczos's series (g = 7, n = 9): 15 figures. */
const LANCZOS = [0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313,
  -176.61502916214059, 12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6,
  1.5056327351493116e-7];

export function logGamma(x) {
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  const z = x - 1;
  const base = z + 7.5;
  const series = LANCZOS.reduce((total, value, n) => total + (n ? value / (z + n) : value), 0);
  return 0.5 * Math.log(2 * Math.PI) + (z + 0.5) * Math.log(base) - base + Math.log(series);
}

/* Chance that a chi-square of so many degrees of freedom is over x: Q(freedom/2, x/2). */
export function chanceOver(x, freedom) {
  const a = freedom / 2;
  const z = x / 2;
  if (z <= 0) return 1;
  const scale = Math.exp(a * Math.log(z) - z - logGamma(a));
  return z < a + 1 ? 1 - scale * seriesOf(a, z) : scale * fractionOf(a, z);
}

function seriesOf(a, z) {
  let term = 1 / a;
  let total = term;
  for (let n = 1; n < STEPS && term > total * 1e-17; n += 1) {
    term *= z / (a + n);
    total += term;
  }
  return total;
}

/* Lentz's way through the continued fraction of the upper incomplete gamma function. */
function fractionOf(a, z) {
  let b = z + 1 - a;
  let c = 1e300;
  let d = 1 / b;
  let value = d;
  for (let n = 1; n < STEPS; n += 1) {
    const top = -n * (n - a);
    b += 2;
    d = 1 / (top * d + b);
    c = b + top / c;
    value *= c * d;
    if (Math.abs(c * d - 1) < 1e-16) break;
  }
  return value;
}

/* What a chi-square of so many degrees of freedom exceeds with the given chance. */
export function exceededWith(chance, freedom) {
  let low = 0;
  let high = freedom + 60 * Math.sqrt(freedom) + 60;
  for (let n = 0; n < 200 && high - low > 1e-12 * high; n += 1) {
    const middle = (low + high) / 2;
    if (chanceOver(middle, freedom) > chance) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
