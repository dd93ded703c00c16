/* One valve: number pads, last and as-new values, and at once what the figures mean. */
(function (root) {
  "use strict";

  const { h } = root.Dom;
  const { rules } = root.Measures;
  const FIELD_OF_GROUP = { resistance: "coil_resistance_ohm", voltage: "voltage_v", current: "current_a", flow: "flow_l_min",
    pressure: "pressure_kpa", opens: "opens", closes: "closes" };

  function draftKey(view, valve) { return `valve/${view.uuid}/${valve.pk}`; }

  function readForm(values, units) { return root.Measures.judge(rules, values, units); }

  function reading(data) {
    return {
      resistance_ohm: data.coil_resistance_ohm, over_range: Boolean(data.open_circuit), at_coil: false,
      voltage_v: data.voltage_v, current_a: data.current_a, flow_l_min: data.flow_l_min,
      pressure_kpa: data.pressure_kpa, opens: data.opens, closes: data.closes, temperature_c: data.temperature_c,
    };
  }

  function findings(app, valve, data) { return root.Diagnosis.diagnose(app.bundle.rules, reading(data), valve.baseline); }

  function worst(app, valve) {
    if (!valve.measured.length) return ["soft", "not yet"];
    const found = findings(app, valve, valve.measured[0]);
    const level = found.length ? found[0].level : "ok";
    return { ok: ["good", "within expectation"], watch: ["warn", "look here"], act: ["bad", "look here"] }[level];
  }

  /* What this visit's figures say must be acted on, where nobody has recorded that fault. */
  function withoutFault(app, view) {
    const known = new Set(view.faults.map((fault) => `${fault.valve} ${fault.kind}`));
    return view.valves.filter((valve) => valve.measured.length).flatMap((valve) => findings(app, valve, valve.measured[0])
      .filter((found) => found.level === "act" && found.fault_kind && !known.has(`${valve.pk} ${found.fault_kind}`))
      .map((found) => ({ valve, found })));
  }

  function inFirmUnits(app, found) {
    const unit = { "L/min": app.bundle.units.flow, kPa: app.bundle.units.pressure }[found.unit];
    if (!unit || found.expected === null || found.measured === null) {
      return found.comparison.replace(/(-?\d+(?:\.\d+)?) °C/, (all, degrees) => root.Figures.withUnit(Number(degrees), { ...app.bundle.units.temperature, decimals: 0 }));
    }
    return `${root.Figures.withUnit(found.measured, unit)} against ${root.Figures.withUnit(found.expected, unit)} expected`;
  }

  function findingCard(app, view, valve, found) {
    const words = inFirmUnits(app, found) + found.assumed.map((each) => `; assumed: ${each}`).join("");
    const query = new URLSearchParams({ place: `valve-${valve.pk}`, kind: found.fault_kind,
      description: found.title + (found.comparison ? ` (${found.comparison})` : "") });
    const known = view.faults.find((fault) => fault.valve === valve.pk && fault.kind === found.fault_kind);
    return h("div", { class: `finding ${found.level}` },
      h("h3", {}, found.level === "ok" ? `✓ ${found.title}` : found.title),
      words && h("p", {}, words),
      found.level !== "ok" && [
        found.causes.length > 0 && [h("p", {}, "Likely causes, the likeliest first:"), h("ol", {}, found.causes.map((cause) => h("li", {}, cause)))],
        found.caution && h("p", { class: "caution" }, found.caution),
        found.next_test && h("p", {}, h("strong", {}, "Next test. "), found.next_test),
        h("p", { class: "quiet" }, `Limits: ${found.source}.`),
        found.fault_kind && (known ? h("p", { class: "quiet" }, `Already recorded ${root.Figures.date(known.found_at)}.`)
          : h("p", {}, h("a", { class: "button second", href: `#visit/${view.uuid}/fault?${query}` }, "Record as fault"))),
      ]);
  }

  function showFindings(app, view, valve, place, data, fields) {
    const found = findings(app, valve, data);
    if (fields) showVerdicts(fields, found);
    const tag = found.length ? { ok: "good", watch: "warn", act: "bad" }[found[0].level] : "";
    place.className = found.length ? `result ${tag}` : "";
    place.replaceChildren(...(found.length
      ? [h("h2", {}, found[0].level === "ok" ? "Within expectation" : "Look here"), ...found.map((each) => findingCard(app, view, valve, each))]
      : []));
  }

  /* The verdict in a few words right under the figure it is about; the whole of it stands below. */
  function showVerdicts(fields, found) {
    const words = Object.fromEntries(found.map((each) => [FIELD_OF_GROUP[each.group], each]));
    fields.querySelectorAll(".field").forEach((field) => {
      const each = words[field.dataset.field];
      let line = field.querySelector(".verdict");
      if (!line && !each) return;
      if (!line) { line = h("p", {}); field.append(line); }
      line.className = `verdict ${each ? each.level : ""}`;
      line.textContent = each ? `${each.level === "ok" ? "✓ " : ""}${each.title}` : "";
    });
  }

  function tried(form, name) {
    return root.Dom.choiceField(form, name, rules.labels[name], [...rules.choices[name], ["", "not tried"]]);
  }

  function numberField(app, form, valve, field) {
    const unit = field.quantity && app.bundle.units[field.quantity];
    const caution = (app.bundle.measuring || {})[field.name]; // a day taken along earlier has none
    return [caution && h("p", { class: "caution" }, caution), root.Dom.textField(form, field.name, rules.labels[field.name], {
      numeric: true, unit: unit ? unit.label : field.unit,
      beside: [["last", root.Figures.shown(valve.last[field.name], unit, field.decimals)],
        [field.expected ? "expected" : "as new", root.Figures.shown(valve.as_new[field.name], unit, field.decimals)]],
    })];
  }

  async function screen(app, view, pk) {
    const valve = view.valves.find((each) => each.pk === pk);
    if (!valve) return app.notHere();
    const form = await root.Dom.draftForm(draftKey(view, valve), {}, app.storageFailed);
    const place = view.valves.indexOf(valve) + 1;
    const following = root.Outbox.valveAfter(view, pk);
    const gate = view.steps.find((step) => step.gate && !(step.given && step.given.done));
    const result = h("section", { "aria-live": "polite", "aria-label": "What the figures mean" });
    const asked = rules.numbers.filter((field) => !field.winter || view.kind === "winterisation");
    const more = asked.filter((field) => field.more);
    const fields = h("form", { class: "measure", novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } },
      asked.filter((field) => !field.more).slice(0, 1).map((field) => numberField(app, form, valve, field)),
      root.Dom.checkField(form, "open_circuit", rules.labels.open_circuit),
      asked.filter((field) => !field.more).slice(1).map((field) => numberField(app, form, valve, field)),
      tried(form, "opens"),
      tried(form, "closes"),
      h("details", { open: more.some((field) => form.values[field.name]) },
        h("summary", {}, "Pressure, current, temperature"), more.map((field) => numberField(app, form, valve, field))),
      root.Dom.textField(form, "note", rules.labels.note, { rows: 2, longest: rules.longest_note }),
      result,
      h("p", { class: "actions" }, h("button", { class: "wide" }, following && following.pk !== pk ? `Save, next ${following.name}` : "Save")));
    const tooMuch = h("p", { class: "caution", role: "alert", hidden: true });
    const airField = fields.querySelector("[data-field=air_pressure_kpa]");
    if (airField) airField.append(tooMuch);
    form.changed = () => {
      const [data, errors] = readForm(form.values, app.bundle.units);
      root.Dom.forgetCorrected(fields, errors);
      const most = root.Outbox.airProblem(view, app.bundle.air, data.air_pressure_kpa);
      tooMuch.hidden = most === null;
      if (most !== null) tooMuch.textContent = `More than this site takes: at most ${root.Figures.withUnit(most, app.bundle.units.pressure)} by common practice. Shut the air, keep away, bleed to zero, then look for damage.`;
      showFindings(app, view, valve, result, data, fields);
    };
    form.changed();

    async function save() {
      const [data, errors] = readForm(form.values, app.bundle.units);
      if (!root.Dom.showErrors(fields, errors)) return;
      await form.saving;
      const typed = { ...form.values };
      const kept = await app.add("measurement", view.uuid, { valve: pk, seen: valve.known, ...data }, form.key,
        { words: `${valve.name} saved.`, draft: form.key, value: typed, back: location.hash });
      if (kept) app.go(following && following.pk !== pk ? `visit/${view.uuid}/valve/${following.pk}` : `visit/${view.uuid}`);
    }

    const latest = valve.measured[0];
    const before = h("section");
    if (latest) showFindings(app, view, valve, before, latest);
    return [
      app.head(view), h("h1", {}, valve.name),
      h("p", { class: "quiet" }, `${valve.where} · valve ${place} of ${view.valves.length}`),
      gate && view.state === "started" && h("div", { class: "message warning" }, h("strong", {}, "Not done yet: "), gate.text),
      latest && [before, h("p", { class: "quiet" }, `Saved ${root.Figures.time(latest.at)}.`)],
      view.state === "started" || view.state === "finished"
        ? (latest && !form.kept ? h("details", {}, h("summary", {}, "Measure this valve again"), fields) : fields)
        : h("p", { class: "message warning" }, "Figures can be entered once the visit is started."),
      h("p", { class: "links" }, h("a", { href: `#visit/${view.uuid}/fault?place=valve-${pk}` }, "Record a fault here"),
        following && following.pk !== pk && h("a", { href: `#visit/${view.uuid}/valve/${following.pk}` }, `Skip to ${following.name}`)),
      valve.history.length > 0 && history(app, valve),
    ];
  }

  function history(app, valve) {
    return [h("h2", {}, "Measured before"), h("ul", { class: "plain" }, valve.history.map((row) => h("li", {},
      `${root.Figures.date(row.at)}: `, [
        row.open_circuit ? "no reading" : row.coil_resistance_ohm !== null && `${root.Figures.shown(row.coil_resistance_ohm, null, 1)} Ω`,
        row.voltage_v !== null && `${root.Figures.shown(row.voltage_v, null, 1)} V`,
        row.flow_l_min !== null && root.Figures.withUnit(row.flow_l_min, app.bundle.units.flow),
        row.air_pressure_kpa != null && `air ${root.Figures.withUnit(row.air_pressure_kpa, app.bundle.units.pressure)}`,
        row.air_min != null && `air on ${root.Figures.shown(row.air_min, null, 1)} min`,
        row.opens && `opens: ${row.opens}`, row.closes && `closes: ${row.closes}`, row.note,
      ].filter(Boolean).join(", "))))];
  }

  root.ValveScreen = { readForm, screen, withoutFault, worst };
})(self);
