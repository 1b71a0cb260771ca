// What the device keeps of runs under way: the sheet, the events known to the server and those it has not got yet.
// Nothing of it is secret; it is forgotten when a run has ended and all is sent, and at the login page.

const DATABASE = "bittern-runner";
export const KEPT_MS = 24 * 3600e3;

const settle = (request) => new Promise((done, failed) => {
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

const finish = (transaction) => new Promise((done, failed) => {
  transaction.oncomplete = () => done();
  transaction.onabort = () => failed(transaction.error ?? new Error("not kept"));
  transaction.onerror = () => failed(transaction.error);
});

// Version 4 of RFC 9562; crypto.randomUUID is missing where the page has no secure connection.
export const makeId = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [8, 12, 16, 20, 32].map((end, place) => hex.slice([0, 8, 12, 16, 20][place], end)).join("-");
};

export class DeviceStore {
  static async open() {
    const request = indexedDB.open(DATABASE, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("runs", { keyPath: "run" });
      request.result.createObjectStore("device", { keyPath: "name" });
    };
    return new DeviceStore(await settle(request));
  }

  constructor(database) {
    this.database = database;
    this.lasting = true;
    // Another window wants to remove the whole: it must not wait for this one.
    database.onversionchange = () => database.close();
  }

  // The id of this device, made at its first run.
  async device() {
    const transaction = this.#write("device");
    const found = await settle(transaction.objectStore("device").get("id"));
    const id = found?.value ?? makeId();
    if (!found) transaction.objectStore("device").put({ name: "id", value: id });
    await finish(transaction);
    return id;
  }

  async read(run) {
    return (await settle(this.database.transaction("runs").objectStore("runs").get(run))) ?? null;
  }

  // One change: make(record) returns the new record. No other window changes it in between, and when the promise
  // is fulfilled it is on the disk: a flat battery comes too late.
  async change(run, make) {
    const transaction = this.#write("runs");
    const runs = transaction.objectStore("runs");
    const finished = finish(transaction);
    let made;
    try {
      made = make((await settle(runs.get(run))) ?? null);
      runs.put({ ...made, run, kept_ms: Date.now() });
    } catch (error) {
      finished.catch(() => {});
      try { transaction.abort(); } catch { /* It has come to its end by itself. */ }
      throw error;
    }
    await finished;
    return made;
  }

  async forget(run) {
    const transaction = this.#write("runs");
    transaction.objectStore("runs").delete(run);
    await finish(transaction);
  }

  // Everything but events that the server has not got; with `older_ms` only what was not touched for so long.
  async clear({ older_ms = 0 } = {}) {
    const transaction = this.#write("runs");
    const finished = finish(transaction);
    const runs = transaction.objectStore("runs");
    let left = 0;
    for (const record of await settle(runs.getAll())) {
      if (record.unsent.length || Date.now() - record.kept_ms < older_ms) left += 1;
      else runs.delete(record.run);
    }
    await finished;
    return left;
  }

  #write(name) {
    return this.database.transaction(name, "readwrite", { durability: "strict" });
  }
}

// Where the browser keeps nothing, as in some private windows: gone with the page, which says so.
export class PassingStore {
  // barred: this device may keep runs, but the page cannot read them now.
  constructor({ barred = false } = {}) {
    this.lasting = false;
    this.barred = barred;
    this.id = makeId();
    this.runs = new Map();
  }

  async device() { return this.id; }
  async read(run) { return this.runs.get(run) ?? null; }
  async change(run, make) {
    const made = make(this.runs.get(run) ?? null);
    this.runs.set(run, made);
    return made;
  }

  async forget(run) { this.runs.delete(run); }
  async clear() { return 0; }
}

// A browser that was killed may hold the store for some moments after it was started again.
const PAUSES_MS = [100, 200, 400, 800, 1600];

export const openStore = async (open = DeviceStore.open, pauses_ms = PAUSES_MS) => {
  for (const pause_ms of [...pauses_ms, null]) {
    try {
      return await open();
    } catch (error) {
      const barred = error?.name === "UnknownError";
      if (!barred || pause_ms === null) return new PassingStore({ barred });
      await new Promise((done) => setTimeout(done, pause_ms));
    }
  }
};
