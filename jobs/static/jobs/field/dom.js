/* Small tools for building a screen: elements, fields, and forms that keep every keystroke on the phone at once. */
(function (root) {
  "use strict";

  /* h("p", {class: "quiet", onclick: fn}, "words", h(...)): text is always text, never markup. */
  function h(tag, attributes, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
      else if (name === "value" || name === "checked") element[name] = value;
      else element.setAttribute(name, value === true ? "" : value);
    }
    element.append(...children.flat(4).filter((child) => child !== null && child !== undefined && child !== false));
    return element;
  }

  /* A number or a line of text with what stands beside it; `name` is the key in the draft. */
  function textField(form, name, label, options) {
    const { unit = "", numeric = false, help = "", beside = [], rows = 0, longest = 300, optional = false } = options || {};
    const id = `field-${name}`;
    const typed = form.values[name] || "";
    const attributes = {
      id, name, value: typed, autocomplete: "off", maxlength: numeric ? 20 : longest,
      oninput: (event) => form.keep(name, event.target.value),
    };
    const input = rows ? h("textarea", { ...attributes, rows })
      : h("input", { ...attributes, type: "text", inputmode: numeric ? "decimal" : "text",
        enterkeyhint: "next" });
    if (help) input.setAttribute("aria-describedby", `${id}-help`);
    const facts = beside.filter(([, value]) => value !== null);
    return h("div", { class: "field", "data-field": name },
      h("label", { for: id }, label, unit && h("span", { class: "unit" }, ` ${unit}`), optional && h("span", { class: "optional" }, " (if wanted)")),
      h("div", { class: "beside" }, input,
        facts.length > 0 && h("dl", {}, facts.map(([word, value]) => [h("dt", {}, word), h("dd", {}, value)]))),
      help && h("p", { class: "help", id: `${id}-help` }, help));
  }

  /* One of a few words as buttons a thumb can hit. */
  function choiceField(form, name, label, choices) {
    return h("div", { class: "field", "data-field": name }, h("fieldset", {}, h("legend", {}, label),
      h("div", {}, choices.map(([value, shown]) => h("label", {},
        h("input", { type: "radio", name, value, checked: (form.values[name] || "") === value,
          onchange: () => form.keep(name, value) }), ` ${shown}`)))));
  }

  function checkField(form, name, label) {
    const id = `field-${name}`;
    return h("div", { class: "field check", "data-field": name },
      h("label", { for: id }, label),
      h("input", { type: "checkbox", id, checked: form.values[name] === true,
        onchange: (event) => form.keep(name, event.target.checked) }));
  }

  function selectField(form, name, label, choices) {
    const id = `field-${name}`;
    const select = h("select", { id, name, onchange: (event) => form.keep(name, event.target.value) },
      choices.map(([value, shown]) => h("option", { value }, shown)));
    select.value = form.values[name] || "";
    return h("div", { class: "field", "data-field": name }, h("label", { for: id }, label), select);
  }

  /* Put words beside a field, or take them away. */
  /* An error goes when what it was about is repaired; new ones wait for the button. */
  function forgetCorrected(within, errors) {
    within.querySelectorAll(".field.wrong").forEach((field) => {
      if (errors[field.dataset.field]) return;
      field.classList.remove("wrong");
      field.querySelectorAll(".error").forEach((old) => { if (!old.hidden) old.remove(); });
    });
  }

  function showErrors(within, errors) {
    within.querySelectorAll(".field").forEach((field) => {
      const words = errors[field.dataset.field];
      field.classList.toggle("wrong", Boolean(words));
      field.querySelectorAll(".error").forEach((old) => old.remove());
      if (words) field.append(h("p", { class: "error", role: "alert" }, words));
    });
    const first = within.querySelector(".field.wrong");
    if (first) {
      first.scrollIntoView({ block: "center" });
      const input = first.querySelector("input, textarea, select");
      if (input) input.focus({ preventScroll: true });
    }
    return first === null;
  }

  /* What is typed on one screen. Each change goes to the disk at once; `failed` is told if the phone keeps nothing. */
  async function draftForm(key, initial, failed) {
    const kept = await root.Store.get("drafts", key);
    const form = { key, values: { ...initial, ...(kept || {}) }, changed: null, saving: Promise.resolve(), kept: Boolean(kept) };
    form.keep = (name, value) => {
      form.values[name] = value;
      const copy = { ...form.values };
      form.saving = form.saving.then(() => root.Store.put("drafts", copy, key)).catch(failed);
      if (form.changed) form.changed(name);
    };
    return form;
  }

  root.Dom = { checkField, choiceField, draftForm, forgetCorrected, h, selectField, showErrors, textField };
})(self);
