/* The day, a visit with its checklist, its end, and what was sent. */
(function (root) {
  "use strict";

  const { h } = root.Dom;

  function counts(view) {
    const done = view.steps.filter((step) => step.given && step.given.done).length;
    const measured = view.valves.filter((valve) => valve.measured.length).length;
    const faults = view.faults.filter((fault) => !fault.repaired).length;
    return [`${done} of ${view.steps.length} steps`, view.measures_valves && view.valves.length > 0 && `${measured} of ${view.valves.length} valves`,
      faults > 0 && `${faults} open fault${faults === 1 ? "" : "s"}`].filter(Boolean).join(" · ");
  }

  const STATE = { open: "to do", planned: "planned", started: "started", finished: "finished" };
  function stateTag(view) {
    return h("span", { class: `tag ${{ finished: "good", started: "warn" }[view.state] || "soft"}` }, STATE[view.state]);
  }

  function dayScreen(app) {
    const views = app.bundle ? app.bundle.visits.map((visit) => app.view(visit)) : [];
    return [
      h("h1", {}, app.bundle ? root.Figures.day(app.bundle.date) : "In the field"),
      h("p", {}, h("button", { id: "take", class: "second wide", onclick: () => app.takeAlong() }, "Take today along")),
      h("p", { class: "quiet", id: "refreshed" }, app.bundle ? `On this phone since ${root.Figures.moment(new Date(app.bundle.taken_at).toISOString())}.`
        : "Nothing is on this phone yet. Take the day along while you have signal."),
      views.map((view) => h("section", { class: `card stop${view.state === "finished" ? " done" : ""}` },
        h("span", { class: "at" }, view.arrives_at || "–"),
        h("div", {}, h("h2", {}, h("a", { href: `#visit/${view.uuid}` }, view.site.name)),
          h("p", {}, view.kind_name, " · ", stateTag(view)), h("p", {}, view.site.address), h("p", { class: "quiet" }, counts(view))))),
      h("p", { class: "quiet" }, "Without signal only this page opens: keep it on the phone's home screen."),
      app.bundle && !views.length && h("p", { class: "empty" }, "No visits are planned for you on this day."),
    ];
  }

  function stepItem(app, view, step) {
    const done = step.given && step.given.done;
    const live = view.state === "started" && (!step.closed_by || done);
    return h("li", { id: `step-${step.pk}`, class: [done && "done", step.gate && "gate", step.closed_by && "closed"].filter(Boolean).join(" ") || null },
      h("div", { class: "row" }, h("div", {}, h("p", {}, done && h("strong", {}, "✓ "), step.text, done && givenWords(app, step))),
        live && done && h("button", { class: "second small", "aria-label": `Undo: ${step.text}`, onclick: () => app.undoStep(view, step) }, "Undo"),
        live && !done && step.answer === "tick" && h("button", { class: "small", "aria-label": `Done: ${step.text}`,
          onclick: () => app.answer(view, step, { done: true, number: null, text: "" }) }, "Done")),
      step.caution && view.state !== "finished" && !done && !step.closed_by && h("p", { class: "caution" }, step.caution),
      live && !done && step.answer !== "tick" && h("div", { class: "own", "data-step": step.pk }));
  }

  function givenWords(app, step) {
    const unit = app.bundle.units[step.unit_kind];
    const label = Object.fromEntries(step.options)[step.given.text] || step.given.text;
    const number = step.given.number;
    return [number !== null && number !== undefined && h("strong", { class: "figure" }, ` ${unit ? root.Figures.withUnit(number, unit) : number}`),
      label && h("strong", { class: "words" }, ` ${label}`)];
  }

  /* Steps that are answered by a number, a choice or words have a little form of their own. */
  async function stepForm(app, view, step) {
    const form = await root.Dom.draftForm(`step/${view.uuid}/${step.pk}`, {}, app.storageFailed);
    const unit = app.bundle.units[step.unit_kind];
    const air = step.key === app.bundle.air.limit_key;
    const fields = h("form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } },
      step.answer === "number" && root.Dom.textField(form, "number", step.text, { numeric: true, unit: unit ? unit.label : "" }),
      step.answer === "choice" && root.Dom.choiceField(form, "text", step.text, step.options),
      step.answer === "text" && root.Dom.textField(form, "text", step.text, { rows: 2, longest: 2000 }),
      air && root.Dom.checkField(form, "acknowledged", "I read the limits, and the regulator is set to this, its outlet shut."),
      h("button", { class: "small" }, "Save this step"));
    // Ids repeat from step to step otherwise.
    fields.querySelectorAll("[id]").forEach((element) => { element.id = `${element.id}-${step.pk}`; });
    fields.querySelectorAll("label[for]").forEach((label) => label.setAttribute("for", `${label.getAttribute("for")}-${step.pk}`));
    fields.querySelectorAll("input[type=radio]").forEach((radio) => { radio.name = `${radio.name}-${step.pk}`; });

    async function save() {
      const errors = {};
      const typed = step.answer === "number" ? root.Figures.read(form.values.number) : null;
      const number = typed === null || Number.isNaN(typed) ? null : root.Figures.toStored(typed, unit);
      const text = step.answer === "number" ? "" : (form.values.text || "").trim();
      if (step.answer === "number" && (number === null || number < 0)) errors.number = "Enter a number, such as 34.5. Nothing was saved.";
      if (step.answer !== "number" && !text) errors.text = step.answer === "choice" ? "Choose one." : "Say it in words.";
      if (air && !errors.number) Object.assign(errors, airErrors(app, view, number, form.values.acknowledged === true));
      if (!root.Dom.showErrors(fields, errors)) return;
      await form.saving;
      await app.answer(view, step, { done: true, number, text }, form.key);
    }
    return fields;
  }

  function airErrors(app, view, limit, acknowledged) {
    const highest = root.Outbox.airProblem(view, app.bundle.air, limit);
    const errors = {};
    if (limit !== null && limit <= 0) errors.number = "Enter the air pressure limit, above 0.";
    if (highest !== null) errors.number = `Too high for ${view.site.has_drip ? "this site's drip zones" : "this pipe"}: at most ${root.Figures.withUnit(highest, app.bundle.units.pressure)} by common practice.`;
    if (!acknowledged) errors.acknowledged = "Tick this when the regulator is set.";
    return errors;
  }

  async function visitScreen(app, view) {
    const measured = view.valves.filter((valve) => valve.measured.length).length;
    const first = view.valves.find((valve) => !valve.measured.length);
    const steps = h("ol", { class: "steps" });
    let shut = null;
    for (const step of view.steps) {
      if (step.closed_by && step.closed_by !== shut) steps.append(h("li", { class: "shut" }, h("strong", {}, "Closed"), ` until this is done: ${step.closed_by.text}`));
      shut = step.closed_by;
      const item = stepItem(app, view, step);
      const own = item.querySelector(".own");
      if (own) own.append(await stepForm(app, view, step));
      steps.append(item);
    }
    return [
      h("p", { class: "crumbs" }, h("a", { href: "#" }, "‹ The day")),
      h("h1", {}, view.site.name),
      h("p", {}, view.kind_name, " · ", stateTag(view), view.arrives_at && ` · arrival ${view.arrives_at}`, ` · ${view.service_min} min planned`),
      h("p", {}, view.site.address),
      h("p", { class: "links" }, h("a", { href: view.site.geo }, "Map"), view.site.tel && h("a", { href: view.site.tel }, `Call ${view.site.contact}`)),
      (view.state === "planned" || view.state === "open") && h("button", { class: "wide", onclick: () => app.start(view) }, "Start the visit"),
      view.state === "started" && h("p", { class: "quiet" }, `Started ${root.Figures.moment(view.started_at)}.`),
      view.site.access_notes && [h("h2", {}, "Getting in"), h("p", { class: "words" }, view.site.access_notes)],
      view.instructions && [h("h2", {}, "From the office"), h("p", { class: "words" }, view.instructions)],
      view.to_set.length > 0 && [h("h2", {}, "Schedule to set"), h("p", {}, `${view.to_set_label}: `, h("strong", {}, view.to_set.map((row) => `set ${row.name}`).join(", ")))],
      await pictures("Drawings", view.site.drawings || [], "image/svg+xml", (drawing) => [drawing.url, drawing.title]),
      await pictures("Photos of the site", view.site.photos, "image/jpeg", (photo) => [photo.pk, photo.caption || "Photo of the site"]),
      h("details", { open: view.state === "planned" || view.state === "open" }, h("summary", {}, "Cautions for this visit"),
        h("div", { class: "message warning" }, h("ul", {}, app.bundle.cautions[view.kind].map((words) => h("li", {}, words))))),
      h("h2", { id: "checklist" }, "Checklist ", h("span", { class: "quiet" }, `${view.steps.filter((step) => step.given && step.given.done).length} of ${view.steps.length}`)),
      steps,
      h("h2", { id: "valves" }, "Valves ", view.measures_valves && h("span", { class: "quiet" }, `${measured} of ${view.valves.length}`)),
      first && view.state === "started" && view.measures_valves && h("p", {}, h("a", { class: "button wide", href: `#visit/${view.uuid}/valve/${first.pk}` }, `Measure ${first.name}`)),
      h("ul", { class: "plain valves" }, view.valves.map((valve) => {
        const [tag, words] = root.ValveScreen.worst(app, valve);
        return h("li", {}, h("a", { href: `#visit/${view.uuid}/valve/${valve.pk}` }, h("span", {}, valve.name, h("small", {}, valve.where)), h("span", { class: `tag ${tag}` }, words)));
      })),
      h("h2", { id: "faults" }, "Faults"),
      view.faults.length ? h("ul", { class: "plain" }, view.faults.map((fault) => h("li", {}, h("strong", {}, fault.kind_name), ` · ${fault.place} · ${fault.severity}`,
        fault.repaired ? ` · repaired${fault.repair_note ? `: ${fault.repair_note}` : ""}` : ` · found ${root.Figures.date(fault.found_at)}`,
        fault.severity === "unsafe" && !fault.repaired && h("p", { class: "caution" }, "Keep people away and make it safe before anything else; mains power, backflow assemblies and drinking water pipes are for people licensed for them."),
        fault.description && h("p", { class: "words" }, fault.description),
        fault.pk && !fault.repaired && (view.state === "started" || view.state === "finished")
          && h("p", {}, h("a", { class: "button second", href: `#visit/${view.uuid}/repaired/${fault.pk}` }, "It is repaired"))))) : h("p", { class: "quiet" }, "None."),
      h("p", { class: "actions" }, h("a", { class: "button second", href: `#visit/${view.uuid}/fault` }, "Record a fault")),
      view.state === "started" && h("p", { class: "actions" }, h("a", { class: "button wide", href: `#visit/${view.uuid}/finish` }, "Finish the visit")),
    ];
  }

  /* The pictures that are on this phone, folded away; `of(each)` gives [its key, its words]. */
  async function pictures(title, list, type, of) {
    const shown = [];
    for (const each of list) {
      const [key, words] = of(each);
      const bytes = await root.Store.get("thumbs", key);
      if (!bytes) continue;
      const url = URL.createObjectURL(new Blob([bytes], { type }));
      shown.push(h("li", {}, h("img", { src: url, alt: words, onload: () => URL.revokeObjectURL(url) })));
    }
    const look = type === "image/svg+xml" ? "drawings" : "photos";
    return shown.length ? h("details", {}, h("summary", {}, `${title} (${shown.length})`), h("ul", { class: look }, shown)) : null;
  }

  async function finishScreen(app, view) {
    if (view.state !== "started") { app.go(`visit/${view.uuid}`); return []; }
    if (root.Outbox.airStillOn(view, app.bundle.air)) {
      return [app.head(view), h("h1", {}, "Finish the visit"), h("div", { class: "message error", role: "alert" }, app.bundle.air.still_on),
        h("p", { class: "actions" }, h("a", { class: "button wide", href: `#visit/${view.uuid}` }, "Back to the checklist"))];
    }
    const missing = root.Outbox.missing(view);
    const notRecorded = root.ValveScreen.withoutFault(app, view);
    const form = await root.Dom.draftForm(`finish/${view.uuid}`, {}, app.storageFailed);
    const fields = h("form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } },
      missing.length > 0 && [h("div", { class: "message warning" }, h("p", {}, "Not done:"), h("ul", {}, missing.map((words) => h("li", {}, words)))),
        root.Dom.textField(form, "accept_reason", "Why these are left out")],
      notRecorded.length > 0 && h("div", { class: "message warning" }, h("p", {}, "Measured, not recorded as a fault:"),
        h("ul", {}, notRecorded.map(({ valve, found }) => h("li", {}, `${valve.name}: ${found.title} `,
          h("a", { href: `#visit/${view.uuid}/fault?place=valve-${valve.pk}&kind=${found.fault_kind}` }, "Record it"))))),
      root.Dom.textField(form, "notes", "Notes for the office and the report", { rows: 3, longest: 4000 }),
      view.to_set.map((row) => root.Dom.checkField(form, `set-${row.pk}`, `${view.to_set_label} is set at ${row.name}`)),
      h("details", {}, h("summary", {}, "Times on site"),
        h("p", { class: "quiet" }, `Started ${root.Figures.moment(view.started_at)}, by this phone's clock. Finished: when you press the button.`),
        timeField(form, "started_at", "Started, if that is wrong"), timeField(form, "finished_at", "Finished, if not now"),
        root.Dom.textField(form, "times_reason", "Why the times are changed")),
      root.Dom.textField(form, "signed_by", "Client's name at sign-off", { longest: 120, optional: true }),
      h("p", { class: "actions" }, h("button", { class: "wide" }, "Finish the visit")));

    async function save() {
      const iso = (name) => (form.values[name] ? new Date(form.values[name]).toISOString() : null);
      const errors = {};
      if (missing.length && !(form.values.accept_reason || "").trim()) errors.accept_reason = "Say why these are left out.";
      if ((iso("started_at") || iso("finished_at")) && !(form.values.times_reason || "").trim()) errors.times_reason = "Say why the times are changed.";
      if ((iso("finished_at") || new Date().toISOString()) < (iso("started_at") || view.started_at)) errors.finished_at = "The visit must finish after it starts.";
      if (errors.times_reason || errors.finished_at) fields.querySelector("details").open = true;
      if (!root.Dom.showErrors(fields, errors)) return;
      await form.saving;
      const text = (name) => (form.values[name] || "").trim();
      const kept = await app.add("visit_finished", view.uuid, {
        notes: text("notes"), signed_by: text("signed_by"), accept_reason: missing.length ? text("accept_reason") : "",
        started_at: iso("started_at"), finished_at: iso("finished_at"), times_reason: text("times_reason"),
        set_at: view.to_set.filter((row) => form.values[`set-${row.pk}`]).map((row) => row.pk),
      }, form.key, { words: `${view.site.name} is finished.`, draft: form.key, value: { ...form.values }, back: location.hash });
      if (kept) app.go("");
    }
    return [app.head(view), h("h1", {}, "Finish the visit"), fields];
  }

  function timeField(form, name, label) {
    const id = `field-${name}`;
    return h("div", { class: "field", "data-field": name }, h("label", { for: id }, label),
      h("input", { type: "datetime-local", id, value: form.values[name] || "", onchange: (event) => form.keep(name, event.target.value) }));
  }

  const KINDS = { visit_started: "Visit started", checklist_answer: "Checklist step", measurement: "Valve measured", fault: "Fault", fault_repaired: "Fault repaired", visit_finished: "Visit finished" };
  const WORDS = { ready: "not sent", sending: "not sent", held: "waits for sign-in", refused: "refused, a person decides", gone: "the office decides" };

  /* What waits, what was refused, what the office decides on; and the way out if sending never works. */
  async function sentScreen(app) {
    const shown = app.items.filter((item) => item.state !== "gone" || (item.told !== "applied" && !item.seen)).sort((a, b) => a.order - b.order);
    const photos = (await root.Store.all("photos")).filter((photo) => photo.record);
    return [
      h("p", { class: "crumbs" }, h("a", { href: "#" }, "‹ The day")),
      h("h1", {}, "What waits"),
      h("p", { class: "row" }, h("button", { onclick: () => app.sendNow() }, "Send now"),
        h("button", { class: "second", id: "export", onclick: () => app.exportAll() }, "Export as a file")),
      h("p", { class: "quiet" }, "If sending never works, export the file and hand it to the office. Importing it twice changes nothing."),
      shown.length ? h("ul", { class: "plain valves" }, shown.map((item) => h("li", { class: "row apart" },
        h("span", {}, KINDS[item.kind], h("small", {}, ` ${app.siteOf(item.visit)} · ${root.Figures.moment(item.recorded_at)}${item.user === app.person.id ? "" : " · another person's"}`),
          item.reason && h("p", { class: "error" }, item.reason)),
        h("span", { class: `tag ${item.state === "refused" ? "bad" : "warn"}` }, WORDS[item.state]),
        (item.state === "refused" || item.state === "gone") && h("button", { class: "second small", onclick: () => app.seen(item) }, "Seen")))) : h("p", { class: "empty" }, "Everything was sent."),
      photos.length > 0 && h("p", {}, `${photos.length} photo${photos.length === 1 ? "" : "s"} not sent.`,
        photos.filter((photo) => photo.reason).map((photo) => h("span", { class: "error" }, ` ${photo.reason}`))),
      h("h2", {}, "This phone"),
      h("p", {}, h("button", { class: "second", onclick: () => app.signOut() }, "Sign out")),
    ];
  }

  root.Screens = { dayScreen, finishScreen, sentScreen, visitScreen };
})(self);
