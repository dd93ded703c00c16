/* The page: what is on this phone, which screen stands open, when to send. */
(function (root) {
  "use strict";

  const { h } = root.Dom;
  const SEND_EVERY_MS = 30000;
  const TREMBLE_MS = 400, TREMBLE_PX = 30;
  const UNDO_MS = 6000; // sending waits so long after an entry, so that it can be taken back

  const app = { person: null, bundle: null, items: [], undo: null, working: false, storage: "" };
  const $ = (id) => document.getElementById(id);

  app.view = (visit) => root.Outbox.overlay(visit, app.items, app.bundle.air);
  app.head = (view) => h("p", { class: "crumbs" }, h("a", { href: `#visit/${view.uuid}` }, `‹ ${view.site.name}`));
  app.notHere = () => [h("h1", {}, "Not on this phone"), h("p", {}, "Take today along while you have signal."), h("p", {}, h("a", { href: "#" }, "To the day"))];
  app.go = (hash) => { if (location.hash.replace(/^#/, "") === hash) show(true); else location.hash = hash; };
  app.siteOf = (uuid) => {
    const visit = app.bundle && app.bundle.visits.find((each) => each.uuid === uuid);
    return visit ? visit.site.name : "an earlier visit";
  };

  async function reload() { app.items = await root.Store.all("outbox"); await status(); }

  /* Said plainly and left standing: from here on nothing is safe. */
  app.storageFailed = (error) => {
    const full = error && error.name === "QuotaExceededError";
    app.storage = full ? "This phone's storage is full. What you type now is NOT kept. Make room, or send and take along less."
      : "This browser keeps nothing here (a private window, or storage is switched off). What you type is NOT kept: use an ordinary window, or paper.";
    const box = $("storage");
    box.textContent = app.storage;
    box.hidden = false;
  };

  /* Keep a record. `undo`: {words, draft, value, back}. False if the phone could not keep it. */
  app.add = async (kind, visit, data, draft, undo, more) => {
    const item = { id: crypto.randomUUID(), user: app.person.id, kind, visit, data, recorded_at: new Date().toISOString(), ...more };
    try {
      await root.Store.addRecord(item, draft);
      for (const id of data.photos || []) {
        const photo = await root.Store.get("photos", id);
        if (photo) await root.Store.put("photos", { ...photo, record: item.id });
      }
    } catch (error) {
      app.storageFailed(error);
      return false;
    }
    await reload();
    offerUndo(item, undo);
    sendSoon();
    return true;
  };

  function offerUndo(item, undo) {
    const kept = undo && app.items.find((each) => each.id === item.id);
    app.undo = kept ? { ...undo, item: kept } : null;
    const bar = $("undo");
    bar.hidden = !app.undo;
    if (app.undo) bar.replaceChildren(h("span", { role: "status" }, undo.words), h("button", { class: "second small", onclick: takeBack }, "Undo"));
  }

  async function takeBack() {
    const { item, draft, value, back } = app.undo;
    offerUndo(null, null);
    const done = await root.Store.takeBack(item.order, draft, value);
    for (const id of (done && item.data.photos) || []) {
      const photo = await root.Store.get("photos", id);
      if (photo) await root.Store.put("photos", { ...photo, record: null });
    }
    await reload();
    if (!done) say("It was sent already. Enter it again: the newest counts.");
    if (done && back && back !== location.hash) location.hash = back;
    else show(true);
  }

  app.start = async (view) => { if (await app.add("visit_started", view.uuid, {}, null, { words: "Visit started." })) show(true); };
  app.answer = async (view, step, answer, draft) => {
    const seen = step.given ? { done: step.given.done, number: step.given.number, text: step.given.text } : null;
    const kept = await app.add("checklist_answer", view.uuid, { item: step.pk, seen, ...answer }, draft, null);
    if (kept) await show(false, `step-${step.pk}`);
  };
  app.undoStep = async (view, step) => {
    const item = app.items.find((each) => each.order === step.own);
    if (item && root.Outbox.canTakeBack(item) && (await root.Store.takeBack(item.order))) { await reload(); await show(false, `step-${step.pk}`); return; }
    await app.answer(view, step, { done: false, number: step.given.number, text: step.given.text });
  };
  app.seen = async (item) => {
    await root.Store.change(item.order, item.state === "refused" ? { state: "gone", told: "refused", gone_at: Date.now(), seen: true, decided: true } : { seen: true });
    await reload();
    show(false);
  };

  function useDay(bundle) {
    app.bundle = bundle || null;
    if (bundle) root.Figures.writeFor(bundle.locale);
  }

  /* Store the day with its drawings and thumbnails; own records that it already tells are dropped from the phone. */
  app.takeAlong = async () => {
    say("Fetching the day …");
    const takenAt = Date.now();
    const reply = await root.Send.ask("/field/bundle");
    if (!reply || reply.status !== 200 || !reply.json || !reply.json.user) {
      say(reply && (reply.redirected || reply.status === 401 || reply.status === 403) ? "Sign in to fetch the day." : "No signal. The day on this phone stays as it is.");
      await status();
      return false;
    }
    const bundle = { ...reply.json, taken_at: takenAt };
    const settled = root.Outbox.settledBy(await root.Store.all("outbox"), takenAt).filter((item) => item.user === bundle.user.id);
    try {
      await root.Store.write(["meta", "outbox"], (meta, outbox) => {
        meta.put(bundle, `bundle:${bundle.user.id}`);
        meta.put(bundle.user, "person");
        settled.forEach((item) => outbox.delete(item.order));
      });
      app.person = bundle.user;
      useDay(bundle);
      await reload();
      await show(false);
      await fetchPictures(bundle);
    } catch (error) {
      app.storageFailed(error);
      return false;
    }
    if (navigator.storage && navigator.storage.persist) app.persisted = await navigator.storage.persist();
    say(`The day is on this phone.${await roomWords()}`);
    return true;
  };

  async function fetchPictures(bundle) {
    const wanted = new Set(bundle.visits.flatMap((visit) => visit.site.photos.map((photo) => photo.pk)));
    // A drawing follows the register: it is fetched again each time, and the old one stays until the new one is here.
    const drawings = new Set(bundle.visits.flatMap((visit) => visit.site.drawings.map((drawing) => drawing.url)));
    for (const key of await root.Store.keys("thumbs")) if (!wanted.delete(key) && !drawings.has(key)) await root.Store.remove("thumbs", key);
    const keep = async (address, key) => {
      const response = await fetch(address, { redirect: "manual" }).catch(() => null);
      if (response && response.ok) await root.Store.put("thumbs", await response.arrayBuffer(), key);
    };
    for (const url of drawings) await keep(url, url);
    for (const pk of wanted) await keep(`/field/thumbnails/${pk}.jpg`, pk);
  }

  async function roomWords() {
    if (!navigator.storage || !navigator.storage.estimate) return "";
    const { quota, usage } = await navigator.storage.estimate();
    const left = Math.round((quota - usage) / 1e6);
    if (left < 100) return ` Only ${left} MB of room are left: few photos will fit.`;
    return app.persisted === false ? " The phone may clear it when room gets short: send soon." : "";
  }

  app.exportAll = async () => {
    const device = await root.Store.device(app.person.id);
    const waiting = app.items.filter((item) => item.user === app.person.id && (item.state !== "gone" || item.told !== "applied")).sort((a, b) => a.order - b.order);
    const records = [];
    for (const item of waiting) {
      const numbered = item.sequence === null ? await root.Store.number(item) : item;
      if (numbered) records.push({ id: numbered.id, body: root.Outbox.body(numbered, device) });
    }
    const drafts = await root.Store.all("drafts");
    const parcel = { app: "rillbook", user: app.person, exported_at: new Date().toISOString(), records, drafts };
    const url = URL.createObjectURL(new Blob([JSON.stringify(parcel, null, 1)], { type: "application/json" }));
    h("a", { href: url, download: `field-records-${parcel.exported_at.slice(0, 16).replace(":", "")}.json` }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    await reload();
    const photos = (await root.Store.all("photos")).filter((photo) => photo.record).length;
    say(`${records.length} record${records.length === 1 ? "" : "s"} exported. They stay on the phone until they are sent.`
      + (photos ? ` ${photos} photo${photos === 1 ? " is" : "s are"} not in the file: send ${photos === 1 ? "it" : "them"} when there is signal.` : ""));
  };

  app.signOut = async () => {
    const count = await waitingCount();
    const leave = async () => {
      const now = await root.Send.session();
      if (!now) { say("No signal: you can sign out when there is."); return; }
      await fetch("/sign-out/", { method: "POST", redirect: "manual", headers: { "X-CSRFToken": now.csrf } });
      await root.Store.write(["meta", "thumbs"], (meta, thumbs) => { meta.delete(`bundle:${app.person.id}`); thumbs.clear(); });
      location.href = "/sign-in/?next=/field/";
    };
    if (!count) { await leave(); return; }
    $("screen").prepend(h("div", { class: "message warning", role: "alert" },
      h("p", {}, h("strong", {}, `${count} not sent. `), "They stay on this phone and go when you sign in here again. Nobody else can send them."),
      h("p", { class: "row" }, h("button", { onclick: () => app.sendNow() }, "Send first"), h("button", { class: "second", onclick: () => app.exportAll() }, "Export as a file"),
        h("button", { class: "second", onclick: leave }, "Sign out all the same"))));
  };

  async function waitingCount() {
    const photos = await root.Store.all("photos");
    return app.items.filter(root.Outbox.isWaiting).length + photos.filter((photo) => photo.record && root.Outbox.isWaiting(photo)).length;
  }

  async function status(round) {
    const count = await waitingCount();
    const refused = app.items.filter((item) => item.state === "refused").length;
    const held = app.items.some((item) => item.state === "held");
    $("unsent").textContent = count ? `${count} not sent` : "All sent";
    $("unsent").className = `tag ${count ? "warn" : "good"}`;
    const words = [refused && `${refused} refused`, round && round.reached === false && "no signal"].filter(Boolean).join(", ");
    $("network").textContent = words;
    $("sign-in").hidden = !(held || (round && round.reached && !round.signedIn));
  }

  function say(words) { $("said").textContent = words; $("said").hidden = !words; }

  let timer = null;
  function sendSoon() { clearTimeout(timer); timer = setTimeout(() => app.sendNow(), UNDO_MS); }

  app.sendNow = async () => {
    clearTimeout(timer);
    offerUndo(null, null);
    const round = await root.Send.flush(reload);
    if (round.reached === null) return;
    if (round.signedIn && (!app.person || app.person.id !== round.signedIn.id)) await become(round.signedIn);
    await reload();
    await status(round);
    if (round.sent && /^#sent/.test(location.hash)) show(false);
  };

  async function become(person) {
    await root.Store.put("meta", person, "person");
    app.person = person;
    useDay(await root.Store.get("meta", `bundle:${person.id}`));
    await show(false);
    if (!app.bundle) await app.takeAlong();
  }

  let shown = 0;
  async function show(moved, focusId) {
    const turn = ++shown;
    const [path, query] = location.hash.replace(/^#/, "").split("?");
    const [word, uuid, part, pk] = path.split("/");
    const visit = word === "visit" && app.bundle && app.bundle.visits.find((each) => each.uuid === uuid);
    const build = async () => {
      if (word === "sent") return root.Screens.sentScreen(app);
      if (word !== "visit") return root.Screens.dayScreen(app);
      if (!visit) return app.notHere();
      const view = app.view(visit);
      if (part === "valve") return root.ValveScreen.screen(app, view, Number(pk));
      if (part === "fault") return root.FaultScreen.screen(app, view, new URLSearchParams(query));
      if (part === "repaired") return root.FaultScreen.repairScreen(app, view, Number(pk));
      if (part === "finish") return root.Screens.finishScreen(app, view);
      return root.Screens.visitScreen(app, view);
    };
    const parts = (await build()).flat(4).filter((each) => each !== null && each !== undefined && each !== false);
    if (turn !== shown) return; // a newer screen overtook this one
    const top = moved ? 0 : window.scrollY;
    $("screen").replaceChildren(...parts);
    window.scrollTo(0, top);
    focus(moved, focusId);
    document.documentElement.dataset.ready = location.hash || "#";
  }

  function focus(moved, id) {
    const target = id ? document.querySelector(`#${id} button, #${id} input`) : moved && ($("field-coil_resistance_ohm") || $("screen").querySelector("h1"));
    if (!target) return;
    if (target.tagName === "H1") target.tabIndex = -1;
    target.focus({ preventScroll: true });
  }

  /* A second tap at the same place within moments is a tremble of the hand: it must not press what stands there by now. */
  const tap = { at: -TREMBLE_MS, x: 0, y: 0 };
  function onceATap(event) {
    if (!event.detail) return; // from the keyboard
    const again = event.timeStamp - tap.at < TREMBLE_MS && Math.hypot(event.clientX - tap.x, event.clientY - tap.y) < TREMBLE_PX;
    if (again && event.target.closest("button, a")) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    Object.assign(tap, { at: event.timeStamp, x: event.clientX, y: event.clientY });
  }

  async function boot() {
    window.addEventListener("hashchange", () => { say(""); show(true); });
    window.addEventListener("online", () => app.sendNow());
    document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") app.sendNow(); });
    document.addEventListener("click", onceATap, true);
    // While something can still be taken back, its own timer sends.
    setInterval(() => { if (!app.undo) app.sendNow(); }, SEND_EVERY_MS);
    try {
      await root.Store.put("meta", Date.now(), "opened");
      app.person = (await root.Store.get("meta", "person")) || null;
      if (app.person) useDay(await root.Store.get("meta", `bundle:${app.person.id}`));
      await reload();
    } catch (error) {
      app.storageFailed(error);
    }
    await show(true);
    performance.mark("usable");
    if ("serviceWorker" in navigator) {
      navigator.serviceWorker.register("/field/worker.js").catch(() => say("This page cannot be kept for offline use here. It needs https."));
    } else {
      say("This page cannot be kept for offline use here. It needs https and an ordinary window.");
    }
    await app.sendNow();
    if (app.bundle === null || (app.bundle.date !== today() && !(await waitingCount()))) await app.takeAlong();
  }

  function today() {
    const now = new Date();
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
  }

  root.Field = app; // for tests and for support
  boot();
})(self);
