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
  const keysOn = () => !box || box.checked;
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

  /* To the page before and after: by the arrow keys, or a finger drawn across the disc. */
  const leadTo = (way) => document.querySelector(`.steps a[rel="${way}"]`)?.click();
  document.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: "prev", ArrowRight: "next" }[event.key];
    if (!way || !keysOn() || !plain(event) || event.shiftKey || event.defaultPrevented) return;
    if (!event.target.matches?.("select, input, :read-write, dialog *, .scroll, video")) leadTo(way);
  });
  for (const plate of document.querySelectorAll(".leading .plate-square")) {
    let from;
    plate.addEventListener("touchstart", ({ touches }) => { from = touches.length === 1 ? touches[0] : null; }, { passive: true });
    plate.addEventListener("touchmove", ({ touches }) => { if (touches.length > 1) from = null; }, { passive: true });
    plate.addEventListener("touchend", (event) => {
      const [to] = event.changedTouches;
      if (!from || (window.visualViewport?.scale ?? 1) > 1.05) return;
      const [right, down] = [to.clientX - from.clientX, to.clientY - from.clientY];
      if (Math.abs(right) < 60 || Math.abs(right) < 2 * Math.abs(down)) return;
      event.preventDefault(); /* no click on the disc */
      leadTo(right > 0 ? "prev" : "next");
    });
  }

  /* The page's address, given to what the computer shares with, or copied: the public one, where the page knows it. */
  const sharing = document.querySelector(".sharing");
  if (sharing && (navigator.share || navigator.clipboard)) {
    sharing.hidden = false;
    sharing.querySelector("button").addEventListener("click", async () => {
      const url = document.querySelector('link[rel="canonical"]')?.href ?? location.href;
      if (navigator.share) {
        try { await navigator.share({ title: document.title, url }); return; } catch (error) { if (error.name === "AbortError") return; }
      }
      try {
        await navigator.clipboard.writeText(url);
        sharing.querySelector("[role=status]").textContent = _("The address is copied.");
      } catch { sharing.querySelector("[role=status]").textContent = url; }
    });
  }

  return { load, save, plain, keysOn };
})();
