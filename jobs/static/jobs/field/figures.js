/* Numbers as a person types and reads them, in the firm's units; SI inside. */
(function (root) {
  "use strict";

  /* A typed number, null for nothing typed, NaN for what is none. A lone decimal comma counts as a point; "1,000" is
     refused, since it may mean a thousand or one. */
  function read(typed) {
    const text = String(typed === undefined || typed === null ? "" : typed).trim()
      .replace(/^(-?\d+),(\d{1,2}|\d{4,})$/, "$1.$2");
    if (text === "") return null;
    return /^-?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : NaN;
  }

  function toStored(shown, unit) { return unit ? (shown - unit.offset) * unit.size : shown; }
  function toShown(value, unit) { return unit ? value / unit.size + unit.offset : value; }

  function shown(value, unit, decimals) {
    if (value === null || value === undefined) return null;
    return root.Diagnosis.fixed(toShown(value, unit), unit ? unit.decimals : decimals);
  }

  function withUnit(value, unit) { return value === null || value === undefined ? "" : `${shown(value, unit)} ${unit.label}`; }

  const DAY = { weekday: "long", day: "numeric", month: "long" };
  function day(iso) { return new Date(`${iso}T12:00:00`).toLocaleDateString("en-GB", DAY); }
  function time(iso) { return new Date(iso).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" }); }
  function moment(iso) {
    return new Date(iso).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  }
  function date(iso) { return new Date(iso).toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" }); }

  root.Figures = { date, day, moment, read, shown, time, toStored, withUnit };
})(self);
