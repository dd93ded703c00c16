/* Sends what waits, one record after the other, then the photos in pieces. Everything may be sent twice: the server
   takes each once. Only an answer that names the record makes it gone. */
(function (root) {
  "use strict";

  const PIECE_BYTES = 256 * 1024;
  const PATIENCE_MS = 30000;

  /* An answer of our server, or null: no network, or something else answered in its place. */
  async function ask(url, options) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    try {
      const response = await fetch(url, { redirect: "manual", cache: "no-store", credentials: "same-origin",
        signal: stop.signal, ...options });
      let json = null;
      if ((response.headers.get("Content-Type") || "").startsWith("application/json")) json = await response.json();
      return { status: response.status, redirected: response.type === "opaqueredirect", json };
    } catch (error) {
      return null;
    } finally {
      clearTimeout(timer);
    }
  }

  /* Who is signed in and a fresh token; null while the server cannot be reached. */
  async function session() {
    const reply = await ask("/field/session");
    return reply && reply.status === 200 && reply.json && reply.json.app === "rillbook" ? reply.json : null;
  }

  function alone(work) {
    if (navigator.locks) return navigator.locks.request("rillbook-send", { ifAvailable: true }, (lock) => lock && work());
    return work();
  }

  /* One round of sending. Returns {reached, signedIn, sent}; `tell` is called after every change. */
  async function flush(tell) {
    return (await alone(() => round(tell))) || { reached: null, signedIn: null, sent: 0 };
  }

  async function round(tell) {
    const items = await root.Store.all("outbox");
    const now = await session();
    if (now === null) return { reached: false, signedIn: null, sent: 0 };
    if (now.user === null) {
      for (const item of items.filter((each) => each.state === "ready" || each.state === "sending")) {
        await root.Store.change(item.order, { state: "held", reason: "Sign in again." });
      }
      await tell();
      return { reached: true, signedIn: null, sent: 0 };
    }
    const device = await root.Store.device(now.user.id);
    const result = { reached: true, signedIn: now.user, access: now.access, sent: 0 };
    if (await records(now, device, result, tell)) await photos(now, result, tell);
    return result;
  }

  async function records(now, device, result, tell) {
    for (;;) {
      const due = root.Outbox.next(await root.Store.all("outbox"), now.user.id);
      if (due === null) return true;
      const item = await root.Store.number(due);
      if (item === null) continue;
      const reply = await ask(`/field/records/${item.id}`, {
        method: "PUT",
        headers: { "Content-Type": "application/json", "X-CSRFToken": now.csrf, "X-Phone-Time": new Date().toISOString() },
        body: JSON.stringify(root.Outbox.body(item, device)),
      });
      const [state, reason, goOn] = root.Outbox.settle(item, reply);
      const told = state === "gone" ? { told: reply.json.state, gone_at: Date.now() } : {};
      await root.Store.change(item.order, { state, reason, ...told });
      if (state === "gone") result.sent += 1;
      await tell();
      if (!goOn) return false;
    }
  }

  async function photos(now, result, tell) {
    const known = new Map((await root.Store.all("outbox")).map((item) => [item.id, item]));
    for (const photo of await root.Store.all("photos")) {
      const record = known.get(photo.record);
      if (photo.user !== now.user.id || !root.Outbox.isWaiting(photo)) continue;
      if (photo.record && record && record.state !== "gone") continue; // its fault goes first
      if (!photo.record) continue; // still a draft
      if (!(await onePhoto(photo, now, tell))) return;
      result.sent += 1;
    }
  }

  /* Send the pieces the server lacks. False: stop for now. */
  async function onePhoto(photo, now, tell) {
    let from = null;
    for (;;) {
      const piece = from === null ? new ArrayBuffer(0) : photo.bytes.slice(from, from + PIECE_BYTES);
      const range = from === null ? "*" : `${from}-${from + piece.byteLength - 1}`;
      const reply = await ask(`/field/photos/${photo.id}`, {
        method: "PUT",
        headers: { "Content-Type": "image/jpeg", "X-CSRFToken": now.csrf, "X-Record": photo.record,
          "X-Taken-At": photo.taken_at, "Content-Range": `bytes ${range}/${photo.bytes.byteLength}` },
        body: piece,
      });
      if (reply && reply.status === 202 && reply.json && reply.json.uuid === photo.id) { from = reply.json.next; continue; }
      const [state, reason, goOn] = root.Outbox.settle(photo, reply);
      if (state === "gone") await root.Store.remove("photos", photo.id);
      else await root.Store.put("photos", { ...photo, state, reason });
      await tell();
      return goOn;
    }
  }

  root.Send = { ask, flush, session };
})(typeof self === "undefined" ? globalThis : self);
