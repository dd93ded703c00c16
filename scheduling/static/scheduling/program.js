/* Reorders the steps of a program in place: by mouse, finger or keys. Without it the arrow buttons save and move. */
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

  function shift(row, by) {
    const all = rows();
    const place = all.indexOf(row) + by;
    if (place < 0 || place >= all.length) return;
    if (by < 0) all[place].before(row);
    else all[place].after(row);
    settle(row);
  }

  body.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=move]");
    if (!button) return;
    event.preventDefault();
    shift(button.closest("tr"), button.value.endsWith(":up") ? -1 : 1);
    // At the end of the list the button that was pressed is switched off; the keyboard must not lose its place.
    (button.disabled ? button.parentElement.querySelector("button:not([disabled])") : button).focus();
  });

  function startDrag(event, row, handle) {
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
    row.classList.add("dragged");
    const middle = (one) => one.getBoundingClientRect().top + one.offsetHeight / 2;
    const move = (at) => {
      // The others step over the dragged row: a row that is itself moved in the page loses the pointer.
      let other = row.previousElementSibling;
      while (other && at.clientY < middle(other)) {
        row.after(other);
        other = row.previousElementSibling;
      }
      other = row.nextElementSibling;
      while (other && at.clientY > middle(other)) {
        row.before(other);
        other = row.nextElementSibling;
      }
      // Near the edge of the window the page follows the finger.
      if (at.clientY < 60) window.scrollBy(0, -12);
      else if (at.clientY > window.innerHeight - 60) window.scrollBy(0, 12);
    };
    const stop = () => {
      row.classList.remove("dragged");
      ["pointermove", "pointerup", "pointercancel"].forEach((name, n) => handle.removeEventListener(name, n ? stop : move));
      settle(row);
    };
    handle.addEventListener("pointermove", move);
    handle.addEventListener("pointerup", stop);
    handle.addEventListener("pointercancel", stop);
  }

  rows().forEach((row) => {
    const handle = document.createElement("button");
    handle.type = "button";
    handle.className = "handle";
    handle.textContent = "⠿";
    handle.setAttribute("aria-label", `Move ${row.dataset.name}: drag, or press arrow up or down`);
    handle.addEventListener("pointerdown", (event) => startDrag(event, row, handle));
    handle.addEventListener("keydown", (event) => {
      const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
      if (!by) return;
      event.preventDefault();
      shift(row, by);
      handle.focus();
    });
    row.querySelector("td").prepend(handle);
  });
  settle(null);
})();
