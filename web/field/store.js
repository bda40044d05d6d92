/* Where the log is kept on the telephone: each entry at once, in two places that fail apart.

   The local storage takes an entry before the tap has ended; the database writes it through to
   the disk, so that a flat battery loses nothing. Either alone is enough. Where both refuse, the
   entries stay on the page and `trouble` says so. */

const DATABASE = "orient-field";

export class Store {
  constructor(campaign, { heard = () => {}, changed = () => {} } = {}) {
    this.prefix = `orient-field:${campaign}:`;
    this.campaign = campaign;
    this.tab = Math.random().toString(36).slice(2, 8);
    this.entries = new Map();
    this.kept = new Set();
    this.trouble = { local: "", database: "" };
    this.changed = changed;
    this.heard = heard;
    this.readLocal();
    this.opening = this.open();
    this.listen();
  }

  list() {
    return [...this.entries.values()];
  }

  /* Adds an entry and stores it; returns it. */
  add(kind, fields, at = Date.now()) {
    const number = Math.max(0, ...this.list().map((entry) => entry.number)) + 1;
    const entry = { id: `${this.tab}-${number}`, number, at, kind, ...fields };
    this.entries.set(entry.id, entry);
    this.keepLocal(entry);
    this.opening.then(() => this.keepInDatabase(entry));
    return entry;
  }

  /* Whether an entry is in neither of the two places. */
  get unkept() {
    return this.list().filter(({ id }) => !this.kept.has(id)).length;
  }

  // The local storage --------------------------------------------------------------------

  readLocal() {
    try {
      const storage = window.localStorage;
      for (let n = 0; n < storage.length; n += 1) {
        const key = storage.key(n);
        if (key.startsWith(this.prefix)) this.receive(storage.getItem(key));
      }
    } catch (fault) {
      this.trouble.local = reason(fault);
    }
  }

  receive(text) {
    try {
      const entry = JSON.parse(text);
      if (!entry || typeof entry.id !== "string" || !Number.isFinite(entry.number)) return false;
      const fresh = !this.entries.has(entry.id);
      this.entries.set(entry.id, entry);
      this.kept.add(entry.id);
      return fresh;
    } catch (_) {
      return false;
    }
  }

  keepLocal(entry) {
    try {
      window.localStorage.setItem(this.prefix + entry.id, JSON.stringify(entry));
      this.kept.add(entry.id);
      this.trouble.local = "";
    } catch (fault) {
      this.trouble.local = reason(fault);
    }
    this.changed();
  }

  /* Entries of another tab come in as they are made. */
  listen() {
    window.addEventListener("storage", ({ key, newValue }) => {
      if (key && key.startsWith(this.prefix) && newValue && this.receive(newValue)) this.heard();
    });
  }

  // The database ---------------------------------------------------------------------------

  async open() {
    // Only once the page stands: a browser may refuse at once.
    await Promise.resolve();
    try {
      this.database = await promised(openRequest());
      const rows = await promised(this.database.transaction("entries").objectStore("entries").getAll());
      const fresh = rows.filter((row) => row.campaign === this.campaign && this.receive(row.text));
      if (fresh.length) this.heard();
      // What one place has and the other lacks is made good.
      const there = new Set(rows.map((row) => row.key));
      for (const entry of this.list()) {
        if (!there.has(this.prefix + entry.id)) await this.keepInDatabase(entry);
      }
      for (const row of fresh) this.keepLocal(JSON.parse(row.text));
    } catch (fault) {
      this.trouble.database = reason(fault);
      this.changed();
    }
  }

  async keepInDatabase(entry) {
    if (!this.database) return;
    try {
      const options = { durability: "strict" };
      const transaction = this.database.transaction("entries", "readwrite", options);
      transaction.objectStore("entries").put({
        key: this.prefix + entry.id,
        campaign: this.campaign,
        text: JSON.stringify(entry),
      });
      await new Promise((done, failed) => {
        transaction.oncomplete = done;
        transaction.onabort = () => failed(transaction.error);
      });
      this.kept.add(entry.id);
      this.trouble.database = "";
    } catch (fault) {
      this.trouble.database = reason(fault);
    }
    this.changed();
  }
}

function openRequest() {
  const request = window.indexedDB.open(DATABASE, 1);
  request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "key" });
  return request;
}

function promised(request) {
  return new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
    request.onblocked = () => failed(new Error("another tab holds the database"));
  });
}

function reason(fault) {
  if (fault && fault.name === "QuotaExceededError") return "it is full";
  return "this browser refuses it";
}
