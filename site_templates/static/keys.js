/* Single keys: each works what it stands beside on the page. The reader can turn them off, and is remembered. */
"use strict";

const northlimb = (() => {
  const PLACE = "northlimb-looking";

  // A browser may refuse to remember: in private windows, or for files.
  function recall() {
    try { return JSON.parse(localStorage.getItem(PLACE)) || {}; } catch { return {}; }
  }
  function remember(name, value) {
    try { localStorage.setItem(PLACE, JSON.stringify({ ...recall(), [name]: value })); } catch { /* not allowed */ }
  }
  const plain = (event) => !(event.ctrlKey || event.altKey || event.metaKey);

  const box = document.querySelector(".keys-choice input");
  const hints = [...document.querySelectorAll("kbd")];
  const show = () => { for (const hint of hints) hint.hidden = !box.checked; };
  if (box) {
    box.checked = recall().keys !== false;
    box.parentElement.hidden = false;
    box.addEventListener("change", () => { remember("keys", box.checked); show(); });
    show();
    document.addEventListener("keydown", (event) => {
      const hint = hints.find((one) => one.textContent === event.key.toUpperCase());
      if (!box.checked || !hint || !plain(event) || event.target.matches?.("select, :read-write, dialog *")) return;
      event.preventDefault();
      /* The box itself: a click on its label would take the focus there, and scroll. */
      (hint.closest("label")?.control ?? hint.closest("button, a")).click();
    });
  }

  return { recall, remember, plain, keysOn: () => !box || box.checked };
})();
