/* Single-key shortcuts: each activates the control it is shown beside. They can be turned off, which is stored. */
"use strict";

const northlimb = (() => {
  const STORAGE_KEY = "northlimb-looking";

  // A browser may refuse storage, in private windows or for files.
  function load() {
    try { return JSON.parse(localStorage.getItem(STORAGE_KEY)) || {}; } catch { return {}; }
  }
  function save(name, value) {
    try { localStorage.setItem(STORAGE_KEY, JSON.stringify({ ...load(), [name]: value })); } catch { /* not allowed */ }
  }
  const plain = (event) => !(event.ctrlKey || event.altKey || event.metaKey);

  const box = document.querySelector(".keys-choice input");
  const hints = [...document.querySelectorAll("kbd")];
  const show = () => { for (const hint of hints) hint.hidden = !box.checked; };
  if (box) {
    box.checked = load().keys !== false;
    box.parentElement.hidden = false;
    box.addEventListener("change", () => { save("keys", box.checked); show(); });
    show();
    document.addEventListener("keydown", (event) => {
      const hint = hints.find((one) => one.textContent === event.key.toUpperCase());
      if (!box.checked || !hint || !plain(event) || event.target.matches?.("select, :read-write, dialog *")) return;
      event.preventDefault();
      /* The checkbox itself: a click on its label would move the focus there, and scroll. */
      (hint.closest("label")?.control ?? hint.closest("button, a")).click();
    });
  }

  return { load, save, plain, keysOn: () => !box || box.checked };
})();
