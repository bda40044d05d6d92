/* Search, filters, order and what is open on the page of many sites. */

const byId = (id) => document.getElementById(id);

/* The choices as they stand in the form. */
function choices() {
  return {
    search: byId("search").value.trim().toLowerCase(),
    flag: byId("by-flag").value,
    region: byId("by-region").value,
    day: byId("by-day").value,
  };
}

/* Whether a row of the table of sites and days is to be shown. */
export function fits(row, wanted) {
  const { flags, region } = row.dataset;
  const name = row.cells[0].textContent.toLowerCase();
  if (wanted.search && !name.includes(wanted.search)) return false;
  if (wanted.flag && !flags.split(" ").includes(wanted.flag)) return false;
  if (wanted.region && region !== wanted.region) return false;
  return !wanted.day || row.cells[Number(wanted.day) + 1].classList.contains("good");
}

function sectionOf(row) {
  return byId(`site-${row.dataset.number}`);
}

function filter(rows) {
  const wanted = choices();
  let left = 0;
  for (const row of rows) {
    const shown = fits(row, wanted);
    row.hidden = !shown;
    sectionOf(row).hidden = !shown;
    if (shown) left += 1;
  }
  byId("found").value = left === rows.length ? "" : `${left} of ${rows.length} sites`;
  byId("none-found").hidden = left > 0;
  document.querySelectorAll(".matrix thead th").forEach((head, column) => {
    head.classList.toggle("chosen", wanted.day !== "" && column === Number(wanted.day) + 1);
  });
}

const number = (text, missing) => (text === "" ? missing : Number(text));
const ORDERS = {
  table: (a, b) => a.dataset.number - b.dataset.number,
  name: (a, b) => a.cells[0].textContent.localeCompare(b.cells[0].textContent),
  good: (a, b) => b.dataset.good - a.dataset.good,
  least: (a, b) => number(a.dataset.least, Infinity) - number(b.dataset.least, Infinity) || 0,
};

function order(rows) {
  const compare = ORDERS[byId("order").value];
  const sorted = [...rows].sort((a, b) => compare(a, b) || ORDERS.table(a, b));
  for (const row of sorted) {
    row.parentNode.append(row);
    const section = sectionOf(row);
    section.parentNode.append(section);
  }
}

function openAll(open) {
  for (const each of document.querySelectorAll(".site details")) each.open = open;
}

/* A link to a site opens it. */
function openNamed() {
  const section = location.hash.startsWith("#site-") && byId(location.hash.slice(1));
  if (section) {
    section.querySelector("details").open = true;
    section.scrollIntoView();
  }
}

export function startBrowsing() {
  const rows = [...document.querySelectorAll(".matrix tbody tr")];
  for (const id of ["search", "by-flag", "by-region", "by-day"]) {
    byId(id).addEventListener("input", () => filter(rows));
  }
  byId("order").addEventListener("input", () => order(rows));
  byId("find").addEventListener("submit", (event) => event.preventDefault());
  const button = byId("open-all");
  button.addEventListener("click", () => {
    const open = button.textContent === "Open all";
    openAll(open);
    button.textContent = open ? "Close all" : "Open all";
  });
  byId("print-all").addEventListener("click", () => {
    openAll(true);
    window.print();
  });
  byId("large").addEventListener("click", () => {
    const large = document.documentElement.classList.toggle("large");
    byId("large").setAttribute("aria-pressed", String(large));
  });
  window.addEventListener("hashchange", openNamed);
  openNamed();
}
