/* Reorders the steps of a program in place; they are stored with the form. Without it the arrow buttons save and move. */
"use strict";

(() => {
  const body = document.getElementById("step-rows");
  const order = document.getElementById("step-order");
  const said = document.getElementById("step-said");
  const rows = () => [...body.querySelectorAll("tr[data-step]")];
  if (!rows().length) return;

  // A form that came back with errors keeps the order it was sent with.
  const wanted = order.value.split(",").filter(Boolean);
  const byKey = new Map(rows().map((row) => [row.dataset.step, row]));
  if (wanted.length === byKey.size && wanted.every((key) => byKey.has(key))) {
    wanted.forEach((key) => body.append(byKey.get(key)));
  }

  function settle(moved) {
    const all = rows();
    order.value = all.map((row) => row.dataset.step).join(",");
    all.forEach((row, place) => {
      const [up, down] = row.querySelectorAll("button[name=move]");
      up.disabled = place === 0;
      down.disabled = place === all.length - 1;
    });
    if (moved) said.textContent = `${moved.dataset.name} is now number ${all.indexOf(moved) + 1} of ${all.length}. Not saved yet.`;
  }

  const steps = sortable({ lists: () => [body], rows, home: (row) => row.querySelector("td"), changed: settle });

  body.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=move]");
    if (!button) return;
    event.preventDefault();
    steps.shift(button.closest("tr"), button.value.endsWith(":up") ? -1 : 1);
    // At the end of the list the button that was pressed is switched off; the keyboard must not lose its place.
    (button.disabled ? button.parentElement.querySelector("button:not([disabled])") : button).focus();
  });

  settle(null);
})();
