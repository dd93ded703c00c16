/* Everything the phone keeps, in IndexedDB. A write is done when it is on the disk ("strict"), not before. */
(function (root) {
  "use strict";

  const NAME = "rillbook-field";
  let opened = null;

  function wait(request) {
    return new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  }

  /* Open, and open again after the system closed it, as phones do in the background. */
  function open() {
    if (opened) return opened;
    opened = new Promise((resolve, reject) => {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => {
        const db = request.result;
        db.createObjectStore("meta");
        db.createObjectStore("drafts");
        db.createObjectStore("thumbs");
        db.createObjectStore("outbox", { keyPath: "order", autoIncrement: true }).createIndex("id", "id", { unique: true });
        db.createObjectStore("photos", { keyPath: "id" });
      };
      request.onerror = () => reject(request.error);
      request.onblocked = () => reject(new Error("Another tab holds an older version of this page open."));
      request.onsuccess = () => {
        request.result.onclose = () => { opened = null; };
        request.result.onversionchange = () => { request.result.close(); opened = null; };
        resolve(request.result);
      };
    });
    opened.catch(() => { opened = null; });
    return opened;
  }

  /* Run `work(store, store, ...)` in one transaction; resolves with its result once everything is kept. */
  async function write(names, work) {
    const db = await open();
    let tx;
    try {
      tx = db.transaction(names, "readwrite", { durability: "strict" });
    } catch (error) {
      opened = null; // closed under us: once more on a fresh connection
      tx = (await open()).transaction(names, "readwrite", { durability: "strict" });
    }
    const done = new Promise((resolve, reject) => {
      tx.oncomplete = resolve;
      tx.onabort = () => reject(tx.error || new Error("Not kept."));
      tx.onerror = () => reject(tx.error);
    });
    const result = work(...names.map((name) => tx.objectStore(name)));
    await done;
    return result;
  }

  async function read(name, work) {
    const store = (await open()).transaction(name).objectStore(name);
    return wait(work(store));
  }

  const get = (name, key) => read(name, (store) => store.get(key));
  const all = (name) => read(name, (store) => store.getAll());
  const keys = (name) => read(name, (store) => store.getAllKeys());
  const put = (name, value, key) => write([name], (store) => { key === undefined ? store.put(value) : store.put(value, key); });
  const remove = (name, key) => write([name], (store) => { store.delete(key); });

  /* A new record is kept and its draft removed in one step, so that it is never both or neither. */
  async function addRecord(item, draft) {
    await write(["outbox", "drafts"], (outbox, drafts) => {
      outbox.add({ ...item, sequence: null, state: "ready", reason: "", told: "" });
      if (draft) drafts.delete(draft);
    });
  }

  /* Take a record back that was never sent; false if it was. What it said becomes the draft again. */
  async function takeBack(order, draft, value) {
    const result = { done: false };
    await write(["outbox", "drafts"], (outbox, drafts) => {
      outbox.get(order).onsuccess = (event) => {
        const item = event.target.result;
        if (!item || !root.Outbox.canTakeBack(item)) return;
        outbox.delete(order);
        if (draft) drafts.put(value, draft);
        result.done = true;
      };
    });
    return result.done;
  }

  /* Give a record its running number just before it is sent for the first time, so that numbers have no gaps. */
  async function number(item) {
    const key = `sequence:${item.user}`;
    const result = { item: null };
    await write(["meta", "outbox"], (meta, outbox) => {
      outbox.get(item.order).onsuccess = (event) => {
        const fresh = event.target.result;
        if (!fresh) return; // taken back since
        meta.get(key).onsuccess = (counted) => {
          if (fresh.sequence === null) {
            fresh.sequence = (counted.target.result || 0) + 1;
            meta.put(fresh.sequence, key);
          }
          fresh.state = "sending";
          outbox.put(fresh);
          result.item = fresh;
        };
      };
    });
    return result.item;
  }

  async function change(order, changes) {
    await write(["outbox"], (outbox) => {
      outbox.get(order).onsuccess = (event) => {
        if (event.target.result) outbox.put({ ...event.target.result, ...changes });
      };
    });
  }

  /* This person's page on this phone. */
  async function device(user) {
    const key = `device:${user}`;
    const known = await get("meta", key);
    if (known) return known;
    await write(["meta"], (meta) => {
      meta.get(key).onsuccess = (event) => { if (!event.target.result) meta.put(crypto.randomUUID(), key); };
    });
    return get("meta", key);
  }

  root.Store = { addRecord, all, change, device, get, keys, number, put, remove, takeBack, write };
})(typeof self === "undefined" ? globalThis : self);
