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

  /* For reading, with a true minus; `shown` may stand in a field to be typed over. */
  function withUnit(value, unit) {
    return value === null || value === undefined ? "" : `${shown(value, unit).replace("-", "\u2212")} ${unit.label}`;
  }

  let locale = "en-GB";
  function writeFor(code) { locale = code || locale; } // a day taken along before this was kept has no locale

  const CLOCK = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  const DAY = { day: "numeric", month: "short", year: "numeric" };
  function day(iso) { return new Date(`${iso}T12:00:00`).toLocaleDateString(locale, { weekday: "long", ...DAY, month: "long" }); }
  function time(iso) { return new Date(iso).toLocaleTimeString(locale, CLOCK); }
  function date(iso) { return new Date(iso).toLocaleDateString(locale, DAY); }
  function moment(iso) { return `${date(iso)}, ${time(iso)}`; }

  root.Figures = { date, day, moment, read, shown, time, toStored, withUnit, writeFor };
})(self);
