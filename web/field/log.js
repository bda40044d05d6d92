/* The log: entries that are only ever added, and what they come to.

   An entry: {id, number, at (ms since 1970 by the telephone), kind, …}. Two tabs add entries of
   their own names; putting two logs together is putting the entries in one heap. Nothing is
   taken out: a correction is an entry, undoing is an entry.

   kinds: setup {setup, fields} · mark {setup, mark} · place {setup, mark, fields} ·
   reading {setup, degrees} · comparison {fields} · level {setup, fields} · clock {by_s} ·
   undo {target} */

export const byOrder = (one, other) => one.number - other.number || (one.id < other.id ? -1 : 1);

/* What the entries come to: set-ups with their marks, comparisons of the clock, steps of it. */
export function gathered(entries) {
  const ordered = [...entries].sort(byOrder);
  const undone = new Set();
  // The latest word counts: an undoing that is itself undone has no say.
  for (const entry of [...ordered].reverse()) {
    if (entry.kind === "undo" && !undone.has(entry.id)) undone.add(entry.target);
  }
  const log = { setups: [], comparisons: [], steps: [], last: null };
  for (const entry of ordered) {
    if (undone.has(entry.id) || !(entry.kind in TAKE)) continue;
    TAKE[entry.kind](log, entry);
    if (entry.kind !== "clock") log.last = entry;
  }
  return log;
}

const setupOf = (log, name) => log.setups.find((each) => each.setup === name);

const TAKE = {
  setup(log, { setup, fields, at }) {
    const known = setupOf(log, setup);
    if (known) Object.assign(known.fields, fields);
    else log.setups.push({ setup, at, fields: { ...fields }, marks: [], readings: [], levels: [] });
  },
  mark(log, { setup, mark, at }) {
    const own = setupOf(log, setup);
    if (!own) return;
    let name = mark;
    // Two tabs may have said the same number: neither mark is lost.
    while (own.marks.some((each) => each.mark === name)) name += "b";
    own.marks.push({ mark: name, at, fields: {} });
  },
  place(log, { setup, mark, fields }) {
    const own = setupOf(log, setup);
    const found = own && own.marks.find((each) => each.mark === mark);
    if (found) Object.assign(found.fields, fields);
  },
  reading(log, { id, setup, degrees, at }) {
    const own = setupOf(log, setup);
    if (own) own.readings.push({ id, degrees, at });
  },
  comparison(log, { fields, at }) {
    log.comparisons.push({ ...fields, at });
  },
  level(log, { setup, fields, at }) {
    const own = setupOf(log, setup);
    if (own) own.levels.push({ ...fields, at });
  },
  clock(log, { by_s: by, at }) {
    log.steps.push({ by, at });
  },
  undo() {},
};

/* What the next mark of a set-up is to be called. */
export function nextMark(setup) {
  const numbers = setup.marks.map(({ mark }) => parseInt(mark, 10)).filter(Number.isFinite);
  return String(Math.max(0, ...numbers) + 1);
}

/* An entry in words, for what is undone. */
export function said(entry) {
  return {
    setup: () => `set-up ${entry.setup}`,
    mark: () => `mark ${entry.mark}`,
    place: () => `what was entered for mark ${entry.mark}`,
    reading: () => `the compass reading ${entry.degrees}°`,
    comparison: () => "the comparison of the clock",
    level: () => "the levelling",
    undo: () => "an undoing",
    clock: () => "a step of the clock",
  }[entry.kind]();
}
