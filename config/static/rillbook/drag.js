/* Rows of one list or of several change places: dragged with mouse, pen or finger, or by arrow keys within their list. */
"use strict";

const EDGE_PX = 60; // so near to the edge of the window the page follows
const FOLLOW_PX = 12; // a frame

/* What the page tells:
   lists()            the lists as they stand
   rows(list)         the rows in it that may move, in order
   zone(list)         the ground that belongs to a list: what is dropped there goes into it
   home(row)          the element that gets the handle, as its first child
   mayMove(row, keys) whether this may begin now
   changed(row, undo) the row has another place; undo() puts all rows back where they were */
function sortable({ lists, rows, zone = (list) => list, home, mayMove = () => true, changed }) {
  const listOf = (row) => lists().find((list) => list.contains(row));
  const middle = (row) => row.getBoundingClientRect().top + row.offsetHeight / 2;

  function remember(...some) {
    const stood = some.map((list) => [list, [...list.childNodes]]);
    return () => stood.forEach(([list, nodes]) => list.replaceChildren(...nodes));
  }

  function put(node, list, next) {
    const last = rows(list).filter((row) => row !== node).at(-1);
    if (next) next.before(node);
    else if (last) last.after(node);
    else list.append(node);
  }

  function shift(row, by, keys = true) {
    const list = listOf(row);
    const all = rows(list);
    const other = all[all.indexOf(row) + by];
    if (!other || !mayMove(row, keys)) return;
    const undo = remember(list);
    // The other one steps over the row: a row that is itself moved in the page loses the focus.
    if (by < 0) row.after(other);
    else row.before(other);
    changed(row, undo);
  }

  function listAt(y) {
    const away = (list) => {
      const { top, bottom } = zone(list).getBoundingClientRect();
      return Math.max(top - y, y - bottom, 0);
    };
    return lists().reduce((nearest, list) => (away(list) < away(nearest) ? list : nearest));
  }

  function markFor(row) {
    const mark = document.createElement(row.tagName);
    mark.className = "drop-mark";
    if (row.cells) mark.append(Object.assign(document.createElement("td"), { colSpan: row.cells.length }));
    return mark;
  }

  // The row stays where it is in the page until it is dropped: moved, it would lose the pointer.
  function drag(event, row, handle) {
    if (event.button !== 0 || !mayMove(row, false)) return;
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
    row.classList.add("dragged");
    const from = listOf(row);
    const mark = markFor(row);
    const began = event.clientY + window.scrollY;
    let y = event.clientY;
    let list = from;
    let next = null;
    let frame = 0;

    function aim() {
      row.style.transform = `translateY(${y + window.scrollY - began}px)`;
      list = listAt(y);
      next = rows(list).find((one) => one !== row && y < middle(one));
      put(mark, list, next);
    }
    function follow() {
      if (y < EDGE_PX) window.scrollBy(0, -FOLLOW_PX);
      else if (y > window.innerHeight - EDGE_PX) window.scrollBy(0, FOLLOW_PX);
      aim();
      frame = requestAnimationFrame(follow);
    }
    function end(dropped) {
      watched.abort();
      cancelAnimationFrame(frame);
      if (dropped) aim();
      mark.remove();
      row.classList.remove("dragged");
      row.style.transform = "";
      if (!dropped) return;
      const before = rows(from).indexOf(row);
      const undo = remember(...new Set([from, list]));
      put(row, list, next);
      if (list === from && rows(from).indexOf(row) === before) undo();
      else changed(row, undo);
    }
    const watched = new AbortController();
    const watch = (on, name, what) => on.addEventListener(name, what, { signal: watched.signal });
    watch(handle, "pointermove", (at) => { y = at.clientY; });
    watch(handle, "pointerup", (at) => { y = at.clientY; end(true); });
    watch(handle, "pointercancel", () => end(false));
    watch(document, "keydown", (key) => { if (key.key === "Escape") end(false); });
    follow();
  }

  function addHandles() {
    for (const row of lists().flatMap(rows)) {
      if (row.querySelector(".handle")) continue;
      const handle = document.createElement("button");
      handle.type = "button";
      handle.className = "handle";
      handle.textContent = "⠿";
      handle.setAttribute("aria-label", `Move ${row.dataset.name}: drag, or press arrow up or down`);
      handle.addEventListener("pointerdown", (event) => drag(event, row, handle));
      handle.addEventListener("keydown", (event) => {
        const by = { ArrowUp: -1, ArrowDown: 1 }[event.key];
        if (!by) return;
        event.preventDefault();
        shift(row, by);
      });
      home(row).prepend(handle);
    }
  }

  addHandles();
  return { addHandles, shift };
}
