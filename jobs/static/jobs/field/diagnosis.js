/* Reads one valve's measurements by the same table as the server (jobs/core/diagnosis.py). A test runs both over a
   whole grid of inputs and compares every word. `table` is the bundle's `rules`. */
(function (root) {
  "use strict";

  const WORST_FIRST = { act: 0, watch: 1, ok: 2 };
  const PLACES = { current: 2, pressure: 0 };

  /* Fixed decimals as the server writes them: exact halves go to the even neighbour. */
  function fixed(value, places) {
    const size = Math.abs(value);
    const halves = size * 2 ** (places + 1);
    if (!Number.isInteger(halves) || halves % 2 !== 1) return value.toFixed(places);
    const scaled = Math.floor(size * 10 ** places);
    const even = scaled % 2 === 0 ? scaled : scaled + 1;
    return (value < 0 ? "-" : "") + (even / 10 ** places).toFixed(places);
  }

  function over(value, by) { return value === null || !by ? null : value / by; }
  function minus(value, other) { return value === null || other === null ? null : value - other; }

  function wireOhmPerKm(table, section, temperature) {
    const nominal = table.iec_60228_ohm_per_km.find(([mm2]) => Math.abs(section - mm2) <= 0.01 * mm2);
    const at20 = nominal ? nominal[1] : table.copper_ohm_mm2_per_m * 1000 / section;
    return atTemperature(table, at20, temperature);
  }

  function atTemperature(table, ohm, temperature) {
    return ohm * (1 + table.copper_per_k * (temperature - table.reference_c));
  }

  function wireOhm(table, baseline, temperature) {
    if (baseline.wire_length_m === null || baseline.wire_section_mm2 === null) return null;
    const hot = wireOhmPerKm(table, baseline.wire_section_mm2, temperature);
    const common = baseline.common_section_mm2 === null
      ? hot : wireOhmPerKm(table, baseline.common_section_mm2, temperature);
    return baseline.wire_length_m / 1000 * (hot + common);
  }

  function expectedCurrent(baseline, coilExpected) {
    if (baseline.output === "latching") return null;
    if (baseline.holding_va !== null) return baseline.holding_va / baseline.source_v;
    if (baseline.output === "dc24" && coilExpected) return baseline.source_v / coilExpected;
    return null;
  }

  function figures(table, reading, baseline) {
    const temperature = reading.temperature_c === null ? table.reference_c : reading.temperature_c;
    const wire = wireOhm(table, baseline, temperature);
    const coilExpected = baseline.coil_resistance_ohm === null
      ? null : atTemperature(table, baseline.coil_resistance_ohm, temperature);
    const subtracted = reading.at_coil || wire === null ? 0 : wire;
    const coil = reading.resistance_ohm === null ? null : Math.max(0, reading.resistance_ohm - subtracted);
    const currentExpected = expectedCurrent(baseline, coilExpected);
    const voltageExpected = wire === null || currentExpected === null
      ? null : baseline.source_v - currentExpected * wire;
    return {
      over_range: reading.over_range ? "yes" : "no",
      wire_ohm: wire,
      coil_ohm: reading.over_range ? null : coil,
      coil_expected_ohm: coilExpected,
      resistance_expected_ohm: coilExpected === null ? null : coilExpected + subtracted,
      coil_ratio: reading.over_range ? null : over(coil, coilExpected),
      voltage_v: reading.voltage_v,
      voltage_expected_v: voltageExpected,
      voltage_over_minimum: over(reading.voltage_v, baseline.minimum_v),
      voltage_short_v: minus(voltageExpected, reading.voltage_v),
      current_a: reading.current_a,
      current_expected_a: currentExpected,
      current_ratio: over(reading.current_a, currentExpected),
      flow_ratio: over(reading.flow_l_min, baseline.flow_l_min),
      pressure_ratio: over(reading.pressure_kpa, baseline.pressure_kpa),
      opens: reading.opens || null,
      closes: reading.closes || null,
    };
  }

  function holds(condition, known) {
    const value = known[condition.figure];
    if (value === null || value === undefined) return false;
    if (condition.equals !== null) return value === condition.equals;
    if (typeof value === "string") return false;
    return (condition.at_least === null || value >= condition.at_least)
      && (condition.below === null || value < condition.below);
  }

  function circuit(table, found) {
    return table.electrical_groups.some((group) => found.has(group) && found.get(group).level === "act") ? "bad" : "good";
  }

  /* The findings, worst first; the same fields as the server's. */
  function diagnose(table, reading, baseline) {
    const known = figures(table, reading, baseline);
    const found = new Map();
    for (const rule of table.rules) {
      if (rule.group === "opens") known.circuit = circuit(table, found);
      if (found.has(rule.group) || !rule.coils.includes(baseline.output)) continue;
      if (rule.conditions.every((condition) => holds(condition, known))) found.set(rule.group, rule);
    }
    const findings = [...found.values()].map((rule) => finding(table, rule, reading, baseline, known));
    return findings.sort((one, other) => WORST_FIRST[one.level] - WORST_FIRST[other.level]);
  }

  function finding(table, rule, reading, baseline, known) {
    const [measured, expected] = pair(rule.compared, reading, baseline, known);
    return {
      rule_id: rule.id, group: rule.group, kind: rule.kind, level: rule.level, title: rule.title,
      comparison: comparison(table, rule.compared, measured, expected, reading, known),
      causes: rule.causes, next_test: rule.next_test, caution: rule.caution, source: rule.source,
      fault_kind: rule.fault_kind, measured, expected,
      unit: table.units[rule.compared] || "",
      assumed: assumed(rule.compared, reading, baseline),
    };
  }

  function pair(compared, reading, baseline, known) {
    switch (compared) {
      case "resistance": return [reading.over_range ? null : reading.resistance_ohm, known.resistance_expected_ohm];
      case "voltage": return [reading.voltage_v, known.voltage_expected_v || baseline.minimum_v];
      case "current": return [reading.current_a, known.current_expected_a];
      case "flow": return [reading.flow_l_min, baseline.flow_l_min];
      case "pressure": return [reading.pressure_kpa, baseline.pressure_kpa];
      default: return [null, null];
    }
  }

  function short(value, compared) { return fixed(value, compared in PLACES ? PLACES[compared] : 1); }

  function comparison(table, compared, measured, expected, reading, known) {
    const unit = table.units[compared];
    if (!unit) return "";
    const shown = measured === null ? "over range" : `${short(measured, compared)} ${unit}`;
    if (expected === null) return `${shown}, nothing recorded to compare with`;
    const text = `${shown} against ${short(expected, compared)} ${unit} expected`;
    if (compared === "resistance") {
      const where = reading.at_coil ? "at the coil" : "at the terminals";
      const part = known.wire_ohm !== null && !reading.at_coil ? `, ${fixed(known.wire_ohm, 1)} Ω of it wire` : "";
      const temperature = reading.temperature_c === null ? table.reference_c : reading.temperature_c;
      return `${text} ${where} at ${fixed(temperature, 0)} °C${part}`;
    }
    if (compared === "voltage" && known.voltage_expected_v === null) {
      return `${shown} against a minimum of ${fixed(expected, 1)} V`;
    }
    return text;
  }

  function assumed(compared, reading, baseline) {
    if (compared === "voltage") {
      return [...(baseline.source_measured ? [] : [`supply ${fixed(baseline.source_v, 0)} V`]), `valve minimum ${fixed(baseline.minimum_v, 0)} V`];
    }
    if (compared !== "resistance") return [];
    const words = [];
    if (reading.temperature_c === null) words.push("20 °C, no temperature entered");
    if (!reading.at_coil && (baseline.wire_length_m === null || baseline.wire_section_mm2 === null)) {
      words.push("wire resistance 0 Ω, length or section not recorded");
    }
    return words;
  }

  root.Diagnosis = { diagnose, figures, fixed };
})(typeof self === "undefined" ? globalThis : self);
