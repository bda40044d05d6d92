/* Small helps with the page's elements. */

export const element = (id) => document.getElementById(id);

/* A new element with attributes, listeners (`onclick`) and children, texts among them. */
export function made(tag, attributes = {}, ...children) {
  const node = SVG_TAGS.has(tag)
    ? document.createElementNS(document.querySelector("svg").namespaceURI, tag)
    : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value !== null && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

const SVG_TAGS = new Set(["svg", "path", "circle", "text"]);

/* Writes a text where it changed, so that a screen reader does not say it again and again. */
export function say(id, text) {
  const place = element(id);
  if (place.textContent !== text) place.textContent = text;
}

/* A number as people type it: a comma for the point, a true minus; NaN where it is none, null
   where nothing is typed. */
export function typed(text) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (!plain) return null;
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

export const degrees = (value, places = 2) => `${value.toFixed(places)}°`.replace("-", "−");

/* A bearing, 0 to under 360 as it is written. */
export function bearing(value, places = 2) {
  const scale = 10 ** places;
  return `${(Math.round(value * scale) % (360 * scale) / scale).toFixed(places)}°`;
}

/* ± of a 95 % figure: minutes of arc under a degree. */
export function plusMinus(uDeg) {
  const wide = 1.959964 * uDeg;
  return wide < 1 ? `± ${(wide * 60).toFixed(1)}′` : `± ${wide.toFixed(1)}°`;
}

/* When a tap was made, ms since 1970: the page may have been busy since then. */
export function tappedAt(event) {
  const since = performance.now() - event.timeStamp;
  return Date.now() - (since > 0 && since < 60000 ? since : 0);
}
