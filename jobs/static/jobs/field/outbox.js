/* What happens to what was entered, without a browser: states of a record, what a reply means, and how records not yet
   sent change what a visit shows. Pure: no storage, no network, no clock. */
(function (root) {
  "use strict";

  const SCHEMA = 1;
  /* draft: being typed, in its own store. ready: to be sent. sending: on its way, to be sent again if no answer comes.
     gone: the server has it. held: sign in first. refused: a person decides. */
  const WAITING = ["ready", "sending", "held"];

  function isWaiting(item) { return WAITING.includes(item.state); }

  /* The next record to send of this person, in the order they were entered. */
  function next(items, user) {
    return items.filter((item) => item.user === user && isWaiting(item)).sort((a, b) => a.order - b.order)[0] || null;
  }

  function body(item, device) {
    return {
      schema: SCHEMA, device, sequence: item.sequence, kind: item.kind, visit: item.visit,
      recorded_at: item.recorded_at, data: item.data,
    };
  }

  /* What a reply makes of a record: [state, reason, go on with the next]. `reply` is null without an answer; `json` is
     null where the body is not our server's, as behind a hotel's sign-in page. */
  function settle(item, reply) {
    if (reply === null) return ["ready", "", false];
    const { status, json } = reply;
    const ours = json !== null && json.uuid === item.id;
    if ((status === 200 || status === 201) && ours) return ["gone", json.reason || "", true];
    if (reply.redirected || status === 401 || status === 403) return ["held", "Sign in again.", false];
    const again = status === 408 || status === 429 || status >= 500 || !ours;
    if (again) return ["ready", "", false];
    if (status >= 400) return ["refused", words(json), true];
    return ["ready", "", false];
  }

  function words(json) {
    const errors = Object.entries(json.errors || {}).map(([name, found]) => `${name}: ${found.join(" ")}`);
    return [json.reason, ...errors].filter(Boolean).join(" ");
  }

  /* A record can be taken back as long as no running number was given to it: then nobody else has seen it. */
  function canTakeBack(item) { return item.state === "ready" && item.sequence === null; }

  /* For each step the first earlier gate that is not done, or null. */
  function closedBy(steps) {
    let shut = null;
    return steps.map((step) => {
      const closed = shut;
      if (shut === null && step.gate && !(step.given && step.given.done)) shut = step;
      return closed;
    });
  }

  /* The most air this site takes: drip, where it is registered, caps whatever pipe was named; an unknown one counts as
     the weakest. */
  function airLimit(view, air) {
    const material = view.steps.find((step) => step.key === air.material_key);
    const named = view.site.has_drip ? "drip" : material && material.given ? material.given.text : "";
    return named in air.limit_kpa ? air.limit_kpa[named] : Math.min(...Object.values(air.limit_kpa));
  }

  /* That most if `pressure` is above it, else null. */
  function airProblem(view, air, pressure) {
    const most = airLimit(view, air);
    return pressure > most * air.rounding ? most : null;
  }

  /* The visit with this phone's own records on top, in order. Refused ones change nothing. */
  function overlay(visit, items, air) {
    const view = structuredClone(visit);
    const own = items.filter((item) => item.visit === visit.uuid && item.state !== "refused" && !item.decided);
    own.sort((a, b) => a.order - b.order);
    for (const item of own) if (CHANGES[item.kind]) CHANGES[item.kind](view, item, air);
    const closed = closedBy(view.steps);
    view.steps.forEach((step, at) => { step.closed_by = closed[at]; });
    return view;
  }

  const CHANGES = {
    visit_started(view, item) {
      if (view.state === "open" || view.state === "planned") { view.state = "started"; view.started_at = item.recorded_at; }
    },
    checklist_answer(view, item, air) {
      const step = view.steps.find((each) => each.pk === item.data.item);
      if (!step) return;
      step.given = { done: item.data.done, number: item.data.number, text: item.data.text };
      step.own = item.order;
      if (air && step.key === air.material_key) reopenAir(view, air);
    },
    measurement(view, item) {
      const valve = view.valves.find((each) => each.pk === item.data.valve);
      if (!valve) return;
      if (valve.known.includes(item.id)) return;
      valve.measured.unshift({ ...item.data, at: item.recorded_at, own: item.order });
      valve.known.push(item.id);
      for (const [name, value] of Object.entries(item.data)) {
        if (typeof value === "number" && name !== "valve") valve.last[name] = value;
      }
    },
    fault(view, item) {
      const named = view.places.concat(view.valves.map((valve) => ({ key: `valve-${valve.pk}`, name: valve.name })));
      const place = named.find((each) => each.key === item.data.place);
      view.faults.unshift({
        kind: item.data.kind, kind_name: item.kind_name || item.data.kind, severity: item.severity_name || item.data.severity,
        place: place ? place.name : "the site in general", own: item.order, found_at: item.recorded_at,
        description: item.data.description, repaired: Boolean(item.data.repair_note),
        valve: item.data.place.startsWith("valve-") ? Number(item.data.place.slice(6)) : null,
      });
    },
    fault_repaired(view, item) {
      const fault = view.faults.find((each) => each.pk === item.data.fault);
      if (fault) Object.assign(fault, { repaired: true, repair_note: item.data.note });
    },
    visit_finished(view) { view.state = "finished"; },
  };

  /* A limit confirmed for stronger pipe must be confirmed again for weaker pipe. */
  function reopenAir(view, air) {
    const limit = view.steps.find((step) => step.key === air.limit_key);
    if (limit && limit.given && limit.given.done && airProblem(view, air, limit.given.number) !== null) {
      limit.given = { ...limit.given, done: false };
    }
  }

  /* Air was connected and nobody has said that it was bled off again. An older bundle does not name these steps. */
  function airStillOn(view, air) {
    const done = (key) => view.steps.some((step) => step.key === key && step.given && step.given.done);
    return Boolean(air.connected_key) && done(air.connected_key) && !done(air.released_key);
  }

  /* What a finish would leave out, in words. */
  function missing(view) {
    const steps = view.steps.filter((step) => !(step.given && step.given.done)).map((step) => `step “${step.text}”`);
    const valves = view.measures_valves ? view.valves.filter((valve) => !valve.measured.length) : [];
    return steps.concat(valves.map((valve) => `${valve.name} not measured`));
  }

  /* The first valve not yet measured after this one, going round once. */
  function valveAfter(view, pk) {
    const here = view.valves.findIndex((valve) => valve.pk === pk);
    const round = view.valves.slice(here + 1).concat(view.valves.slice(0, here));
    return round.find((valve) => !valve.measured.length) || null;
  }

  /* Records that the fresh bundle already tells: those the server applied before it was asked for. */
  function settledBy(items, takenAt) {
    return items.filter((item) => item.state === "gone" && item.told === "applied" && item.gone_at < takenAt);
  }

  root.Outbox = {
    SCHEMA, airProblem, airStillOn, body, canTakeBack, closedBy, isWaiting, missing, next, overlay, settle, settledBy, valveAfter,
  };
})(typeof self === "undefined" ? globalThis : self);
