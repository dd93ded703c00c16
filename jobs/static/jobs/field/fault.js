/* A fault: what, where, its severity, in words, with photos taken here and now. */
(function (root) {
  "use strict";

  const { h } = root.Dom;
  const LONGEST_SIDE_PX = 1600;
  const QUALITY = 0.82;

  /* Upright, at most 1600 px, a plain JPEG: drawing it again leaves place and camera data behind. */
  async function shrink(file) {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST_SIDE_PX / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
    if (!blob) throw new Error("The picture could not be made smaller.");
    return blob.arrayBuffer();
  }

  async function addPhotos(app, form, files, errors) {
    for (const file of files) {
      let bytes;
      try {
        bytes = await shrink(file);
      } catch (error) {
        errors.push(`${file.name}: this phone cannot read it as a picture. Set the camera to JPEG, or take it again.`);
        continue;
      }
      const photo = { id: crypto.randomUUID(), record: null, draft: form.key, user: app.person.id, bytes,
        taken_at: new Date().toISOString(), state: "ready", reason: "" };
      await root.Store.put("photos", photo);
      form.keep("photos", [...(form.values.photos || []), photo.id]);
    }
    await form.saving;
  }

  async function previews(app, form, place) {
    const shown = [];
    for (const id of form.values.photos || []) {
      const photo = await root.Store.get("photos", id);
      if (!photo) continue;
      const url = URL.createObjectURL(new Blob([photo.bytes], { type: "image/jpeg" }));
      shown.push(h("li", {}, h("img", { src: url, alt: `Photo ${shown.length + 1}`, onload: () => URL.revokeObjectURL(url) }),
        h("button", { type: "button", class: "second small", onclick: async () => {
          form.keep("photos", form.values.photos.filter((each) => each !== id));
          await form.saving;
          await root.Store.remove("photos", id);
          previews(app, form, place);
        } }, `Remove photo ${shown.length + 1}`)));
    }
    place.replaceChildren(...shown);
  }

  function readForm(values) {
    const errors = {};
    if (!values.kind) errors.kind = "Choose what is wrong.";
    if (!values.severity) errors.severity = "Choose the severity.";
    if (values.kind === "other" && !(values.description || "").trim()) errors.description = "Say in words what is wrong.";
    if (values.repaired && !(values.repair_note || "").trim()) errors.repair_note = "Say what was done.";
    if (!values.repaired && (values.repair_note || "").trim()) errors.repair_note = "Tick that it was repaired on the spot, or clear this field.";
    const text = (name) => (values[name] || "").trim();
    return [{
      kind: values.kind, severity: values.severity, place: values.place || "", description: text("description"),
      part_needed: text("part_needed"), repair_note: values.repaired ? text("repair_note") : "", photos: values.photos || [],
    }, errors];
  }

  async function screen(app, view, query) {
    const place = query.get("place") || "";
    const form = await root.Dom.draftForm(`fault/${view.uuid}/${place}/${query.get("kind") || ""}`, {
      place, kind: query.get("kind") || "", description: query.get("description") || "",
    }, app.storageFailed);
    const places = [["", "The site in general"], ...view.valves.map((valve) => [`valve-${valve.pk}`, `valve: ${valve.name}`]),
      ...view.places.map((each) => [each.key, each.name])];
    const pictures = h("ul", { class: "photos" });
    const told = h("div", { role: "alert" });
    const camera = h("input", { type: "file", id: "camera", accept: "image/*", capture: "environment", multiple: true,
      onchange: async (event) => {
        const errors = [];
        try {
          await addPhotos(app, form, [...event.target.files], errors);
        } catch (error) { app.storageFailed(error); }
        event.target.value = "";
        told.replaceChildren(...errors.map((words) => h("p", { class: "error" }, words)));
        await previews(app, form, pictures);
      } });
    const fields = h("form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } },
      root.Dom.selectField(form, "place", "Where", places),
      root.Dom.selectField(form, "kind", "What is wrong", [["", "Choose"], ...app.bundle.fault_kinds]),
      root.Dom.choiceField(form, "severity", "Severity", app.bundle.severities),
      root.Dom.textField(form, "description", "In words", { rows: 3, longest: 4000 }),
      h("div", { class: "field" }, h("label", { for: "camera" }, "Photos"), camera,
        h("p", { class: "help" }, "Made smaller on the phone; where they were taken is left out.")), told, pictures,
      root.Dom.textField(form, "part_needed", "Part needed", { longest: 120 }),
      root.Dom.checkField(form, "repaired", "Repaired on the spot"),
      root.Dom.textField(form, "repair_note", "What was done"),
      h("p", { class: "actions" }, h("button", { class: "wide" }, "Keep this fault")));

    async function save() {
      const [data, errors] = readForm(form.values);
      if (!root.Dom.showErrors(fields, errors)) return;
      await form.saving;
      const kind = app.bundle.fault_kinds.find(([value]) => value === data.kind)[1];
      const severity = app.bundle.severities.find(([value]) => value === data.severity)[1];
      const kept = await app.add("fault", view.uuid, data, form.key, { words: "Fault kept.", draft: form.key,
        value: { ...form.values }, back: location.hash }, { kind_name: kind, severity_name: severity });
      if (kept) app.go(place.startsWith("valve-") ? `visit/${view.uuid}/valve/${place.slice(6)}` : `visit/${view.uuid}`);
    }

    await previews(app, form, pictures);
    return [app.head(view), h("h1", {}, "Record a fault"), fields];
  }

  /* What was done about a fault that is recorded. */
  async function repairScreen(app, view, pk) {
    const fault = view.faults.find((each) => each.pk === pk);
    if (!fault) return app.notHere();
    const form = await root.Dom.draftForm(`repaired/${view.uuid}/${pk}`, {}, app.storageFailed);
    const fields = h("form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } },
      root.Dom.textField(form, "note", "What was done", { rows: 3, longest: 300 }),
      h("p", { class: "actions" }, h("button", { class: "wide" }, "Keep this repair")));

    async function save() {
      const note = (form.values.note || "").trim();
      if (!root.Dom.showErrors(fields, note ? {} : { note: "Say what was done." })) return;
      await form.saving;
      const kept = await app.add("fault_repaired", view.uuid, { fault: pk, note }, form.key,
        { words: "Repair kept.", draft: form.key, value: { ...form.values }, back: location.hash });
      if (kept) app.go(`visit/${view.uuid}`);
    }
    return [app.head(view), h("h1", {}, "Repaired"), h("p", {}, h("strong", {}, fault.kind_name), ` · ${fault.place}`),
      fault.description && h("p", { class: "words" }, fault.description), fields];
  }

  root.FaultScreen = { repairScreen, screen };
})(self);
