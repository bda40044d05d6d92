const state = JSON.parse(document.getElementById("state").textContent);
const past = [];
let chosen = -1;
const byId = (id) => document.getElementById(id);

function element(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const key in attributes) made.setAttribute(key, attributes[key]);
  return made;
}

function cell(text) {
  return /[",\n;]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
}

function rows() {
  const lines = state.marks.map((mark, at) =>
    [cell(state.setup), at + 1, mark.x.toFixed(2), mark.y.toFixed(2)].join(","));
  return ["setup,mark,x_mm,y_mm", ...lines].join("\n") + "\n";
}

/* Where the track passes nearest: how far, and when the tip was there. */
function tracked(mark) {
  let best = null;
  for (const [x, y, time] of state.track) {
    const apart = Math.hypot(mark.x - x, mark.y - y);
    if (!best || apart < best.apart) best = { apart, time };
  }
  return best;
}

function said(mark, number) {
  const near = tracked(mark);
  const when = near ? `; the tip was near there about ${near.time}` : "";
  return `Mark ${number}: x ${mark.x.toFixed(2)}, y ${mark.y.toFixed(2)} mm` +
    `, ± ${(1.96 * mark.u).toFixed(2)} mm${when}`;
}

function sheet(page) {
  const shown = element("svg", {
    viewBox: `0 0 ${page.width} ${page.height}`, role: "group", "aria-label": "page " + page.page,
  });
  shown.append(element("image", { href: page.image, width: page.width, height: page.height }));
  byId("sheets").append(shown);
  /* Circles and numbers keep their size on the screen. */
  const unit = page.width / (shown.getBoundingClientRect().width || page.width);
  const at = (x, y) => [(x - page.left) * page.px, (page.top - y) * page.px];
  if (state.track.length) shown.append(element("polyline", {
    points: state.track.map(([x, y]) => at(x, y).join(",")).join(" "),
    "stroke-width": 1.5 * unit, "stroke-dasharray": `${2 * unit} ${4 * unit}`,
  }));
  state.marks.forEach((mark, number) => {
    if (mark.page === page.page) shown.append(circle(mark, number, at(mark.x, mark.y), unit));
  });
  shown.addEventListener("click", (event) => {
    if (event.target.closest("g")) return;
    const box = shown.getBoundingClientRect();
    const pixels = page.width / box.width / page.px;
    keep();
    state.marks.push({
      page: page.page, u: 0.3, c: 1,
      x: page.left + (event.clientX - box.left) * pixels,
      y: page.top - (event.clientY - box.top) * pixels,
    });
    chosen = state.marks.length - 1;
    draw();
  });
}

function circle(mark, number, [x, y], unit) {
  const group = element("g", {
    tabindex: 0, role: "button", "data-mark": number, "aria-label": said(mark, number + 1),
    class: mark.c < 0.7 ? "doubt" : "",
  });
  group.append(element("circle", { cx: x, cy: y, r: 9 * unit, "stroke-width": 2 * unit }));
  const label = element("text", {
    x: x + 10 * unit, y: y - 6 * unit, "font-size": 14 * unit, "stroke-width": 3 * unit,
  });
  label.textContent = number + 1;
  group.append(label);
  group.addEventListener("click", () => choose(number));
  group.addEventListener("focus", () => choose(number));
  return group;
}

function choose(number) {
  chosen = number;
  for (const group of document.querySelectorAll("#sheets g"))
    group.classList.toggle("chosen", Number(group.dataset.mark) === chosen);
  const mark = state.marks[chosen];
  byId("said").textContent = mark ? said(mark, chosen + 1) : `${state.marks.length} marks`;
}

function draw() {
  const focused = document.activeElement && document.activeElement.closest("#sheets g");
  byId("sheets").replaceChildren();
  state.pages.forEach(sheet);
  byId("rows").value = rows();
  byId("rows").rows = state.marks.length + 2;
  choose(chosen);
  const group = document.querySelector(`#sheets g[data-mark="${chosen}"]`);
  if (focused && group) group.focus({ preventScroll: true });
}

function keep() {
  past.push(JSON.stringify([state.marks, chosen]));
}

function undo() {
  if (!past.length) return;
  [state.marks, chosen] = JSON.parse(past.pop());
  draw();
}

function move(by) {
  const to = chosen + by;
  if (chosen < 0 || to < 0 || to >= state.marks.length) return;
  keep();
  const [mark] = state.marks.splice(chosen, 1);
  state.marks.splice(to, 0, mark);
  chosen = to;
  draw();
}

function drop() {
  if (chosen < 0) return;
  keep();
  state.marks.splice(chosen, 1);
  chosen = Math.min(chosen, state.marks.length - 1);
  draw();
}

const actions = { drop, undo, less: () => move(-1), more: () => move(1) };
for (const id in actions) byId(id).addEventListener("click", actions[id]);
byId("copy").addEventListener("click", () => {
  byId("rows").select();
  if (navigator.clipboard) navigator.clipboard.writeText(rows());
  else document.execCommand("copy");
});
byId("file").addEventListener("click", () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([rows()], { type: "text/csv" }));
  link.download = "marks-from-photo.csv";
  link.click();
});
const keys = { Delete: "drop", Backspace: "drop", ",": "less", ".": "more", u: "undo" };
addEventListener("keydown", (event) => {
  if (event.target.tagName === "TEXTAREA" || event.ctrlKey || event.metaKey) return;
  if (event.key in keys) actions[keys[event.key]]();
});
addEventListener("resize", draw);
draw();
