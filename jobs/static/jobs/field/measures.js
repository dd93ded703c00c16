/* The figures of one valve, judged by the rulebook's own table: the page carries it as data, words in the firm's units. */
(function (root) {
  "use strict";

  const carried = root.document && root.document.getElementById("measures");
  const rules = carried ? JSON.parse(carried.textContent) : null;

  /* [record data in SI, errors by field] of what is typed. */
  function judge(rules, values, units) {
    const data = {}, errors = {};
    for (const field of rules.numbers) {
      const typed = root.Figures.read(values[field.name]);
      const read = typed !== null && !Number.isNaN(typed);
      const value = read ? root.Figures.toStored(typed, field.quantity && units[field.quantity]) : null;
      data[field.name] = value;
      if (Number.isNaN(typed)) errors[field.name] = rules.words.no_number;
      else if (read && value < field.least) errors[field.name] = field.too_low;
      else if (read && value > field.most) errors[field.name] = field.too_high;
    }
    for (const [name, empty] of Object.entries(rules.plain)) data[name] = values[name] || empty;
    const silent = rules.telling.every((name) => data[name] === null || data[name] === false || data[name] === "");
    if (silent && !Object.keys(errors).length) errors.coil_resistance_ohm = rules.words.nothing;
    if (data.open_circuit && data.coil_resistance_ohm !== null && !errors.coil_resistance_ohm) errors.open_circuit = rules.words.either;
    return [data, errors];
  }

  root.Measures = { judge, rules };
})(self);
