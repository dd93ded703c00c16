/* Stops of the day board are dragged within a technician's day and into another one's. Each drop is stored at once, and
   the server's fresh cards take the place of the old ones. Without it the arrow buttons and "Move" do the same. */
"use strict";

(() => {
  const lists = () => [...document.querySelectorAll("ol[data-arrange]")];
  const rows = (list) => [...list.querySelectorAll("li[data-visit]")];
  const cardOf = (node) => node.closest(".day");
  const NO_ANSWER = "No answer from the server. The list is shown as it was; load the page again to see what is stored.";
  const SIGNED_OUT = "You are signed out: nothing was stored. Load the page again.";
  let sent = null; // the row whose new place is being stored
  let again = false; // that row was moved on by the keys since

  function say(cardId, words, refused) {
    const line = document.getElementById(cardId)?.querySelector(".said");
    if (!line) return;
    line.classList.toggle("refused", refused);
    line.textContent = words;
  }

  async function send(row) {
    const list = row.closest("ol");
    const body = new URLSearchParams({
      csrfmiddlewaretoken: document.querySelector("[name=csrfmiddlewaretoken]").value,
      visit: row.dataset.visit,
      visits: rows(list).map((one) => one.dataset.visit).join(","),
      board: list.dataset.board,
    });
    let answer, text;
    try {
      answer = await fetch(list.dataset.arrange, { method: "POST", body, credentials: "same-origin", redirect: "manual" });
      text = await answer.text();
    } catch {
      return { refused: NO_ANSWER };
    }
    if (answer.type === "opaqueredirect") return { refused: SIGNED_OUT };
    if (answer.status === 422) return { refused: `${text} The list is as it was.` };
    if (!answer.ok) return { refused: `The server could not store this (${answer.status}). The list is as it was.` };
    return { cards: [...new DOMParser().parseFromString(text, "text/html").querySelectorAll(".day")] };
  }

  function show(cards) {
    for (const card of cards) {
      const old = document.getElementById(card.id);
      if (!old) continue;
      const here = old.contains(document.activeElement) ? document.activeElement.closest("li[data-visit]") : null;
      dropMaps(old);
      old.replaceWith(card);
      stops.addHandles();
      showMaps(card);
      // The keyboard must not lose its place.
      if (here) document.querySelector(`#${here.id} .handle`)?.focus({ preventScroll: true });
    }
  }

  async function changed(row, undo) {
    if (sent) {
      again = true;
      return;
    }
    sent = row;
    const cardId = cardOf(row).id;
    const name = row.dataset.name;
    let back = undo;
    do {
      again = false;
      const answer = await send(row);
      if (answer.refused) {
        const focused = row.contains(document.activeElement);
        back();
        if (focused) document.querySelector(`#${row.id} .handle`)?.focus();
        say(cardId, answer.refused, true);
        break;
      }
      back = () => show(answer.cards); // what is stored by now
      if (again) continue;
      back();
      const place = document.querySelector(`#${row.id} .no`)?.textContent;
      say(cardId, `${name} is now number ${place}. The times are new.`, false);
    } while (again);
    sent = null;
  }

  const stops = sortable({
    lists,
    rows,
    zone: cardOf,
    home: (row) => row.querySelector(".tools"),
    mayMove: (row, keys) => !sent || (keys && row === sent),
    changed,
  });
})();
