/* Adds to the disc: keys for its overlays, storage of that choice, and a viewer of the picture at full size.
   Without it the checkboxes still work, and the link leads to the picture. */
"use strict";

(() => {
  const { load, save, plain } = northlimb;
  const MAX_ZOOM = 16, BAR_PX = 180;
  const find = document.querySelector.bind(document);
  const clamp = (value, max, min = 0) => Math.min(Math.max(value, min), max);

  const boxes = document.querySelectorAll("[data-shows]");
  for (const box of boxes) {
    const { shows } = box.dataset;
    box.checked = load()[shows] ?? box.checked;
    box.addEventListener("change", () => {
      for (const one of boxes) if (one.dataset.shows === shows) one.checked = box.checked;
      save(shows, box.checked);
    });
  }

  /* A look in place of the disc's own, in its place: the picture of the list of looks, with its tint. */
  for (const choice of document.querySelectorAll(".look-choice")) {
    const select = choice.querySelector("select"), article = choice.closest(".observation");
    const square = article.querySelector(".plate-square"), picture = square.querySelector(".disc-link");
    const own = [...picture.childNodes];
    // The home page shows the disc without the list of its looks.
    for (const one of [...select.options]) if (one.value && !document.getElementById(one.value)) one.remove();
    if (select.options.length < 2) continue;
    const show = () => {
      const look = select.value && document.getElementById(select.value);
      square.className = `plate-square${look ? ` ${[...look.classList].filter((name) => name.startsWith("tint-")).join(" ")}` : ""}`;
      picture.replaceChildren(...(look ? [...look.querySelector(".thumb-square").cloneNode(true).childNodes] : own));
      for (const image of picture.querySelectorAll("img")) image.loading = "eager";
    };
    const words = () => select.selectedOptions[0].textContent;
    const kept = [...select.options].find((one) => one.textContent === load().look);
    if (kept) { kept.selected = true; show(); }
    select.addEventListener("change", () => { save("look", words()); show(); });
    choice.hidden = false;
  }

  const [dialog, view, arrow, up] = ["", "-view", "-north", "-up"].map((part) => find(`.zoom${part}`));
  const dots = () => window.devicePixelRatio || 1;
  // The picture, its point at the centre of the view, CSS pixels per picture pixel, and whether north is up.
  let shown, x, y, size, rotated;

  /* The picture's axes on the screen: one pixel to the right is (a, b) right and down, one pixel down is (c, d). */
  function axes() {
    const { parity, north } = shown;
    return rotated ? [parity * Math.cos(north), parity * Math.sin(north), -Math.sin(north), Math.cos(north)] : [1, 0, 0, 1];
  }

  function draw() {
    const { scale, earth, parity, north, image } = shown;
    const [a, b, c, d] = axes().map((part) => part * size);
    // In whole screen pixels, to keep picture pixels sharp.
    const whole = (value) => Math.round(value * dots()) / dots();
    const right = whole(view.clientWidth / 2 - a * (x + 0.5) - c * (y + 0.5));
    const down = whole(view.clientHeight / 2 - b * (x + 0.5) - d * (y + 0.5));
    image.style.transform = `matrix(${[a, b, c, d, right, down]})`;
    image.style.imageRendering = size * dots() < 2 ? "auto" : "pixelated";
    arrow.style.transform = `rotate(${rotated ? 0 : Math.atan2(-parity * Math.sin(north), Math.cos(north))}rad)`;
    const longest = BAR_PX * scale / size, ten = 10 ** Math.floor(Math.log10(longest));
    const seconds = ten * [5, 2, 1].find((times) => times * ten <= longest);
    find(".zoom-bar").style.width = `${seconds * size / scale}px`;
    find(".zoom-seconds").textContent = `${seconds.toLocaleString(document.body.lang, { useGrouping: false })}″`;
    find(".zoom-earth").style.width = `${earth * size / scale}px`;
  }

  function updateStatus() {
    const each = size * dots(), { parity, known } = shown;
    const percent = (+(100 * each).toFixed(1)).toLocaleString(document.body.lang, { useGrouping: false });
    const told = rotated ? [_("Rotated north up")] : [_("Original orientation")];
    if (!rotated && parity < 0) told.push(_("a mirror image"));
    if (!rotated && !known) told.push(_("north not known"));
    find(".zoom-status").textContent = `${told.join(", ")}; ${percent} %.`;
    up.setAttribute("aria-pressed", rotated);
    draw();
  }

  const whole = () => Math.min(view.clientWidth / shown.width, view.clientHeight / shown.height, 1 / dots());

  function resize(factor) {
    size = clamp(size * factor, MAX_ZOOM / dots(), whole());
    updateStatus();
  }

  /* Where a point of the screen is seen from the middle of the view, CSS pixels. */
  function fromMiddle({ clientX, clientY }) {
    const box = view.getBoundingClientRect();
    return [clientX - box.left - box.width / 2, clientY - box.top - box.height / 2];
  }

  /* Zoom so that what is at a place of the view stays there. */
  function resizeAt(factor, [right, down]) {
    const before = size;
    size = clamp(size * factor, MAX_ZOOM / dots(), whole());
    const kept = 1 - before / size; /* of the way from the middle */
    move(right * kept * size / before, down * kept * size / before);
    updateStatus();
  }

  /* Move the centre of the view by CSS pixels; it stays on the picture. */
  function move(right, down) {
    const [a, b, c, d] = axes();
    x = clamp(x + (a * right + b * down) / size, shown.width - 1);
    y = clamp(y + (c * right + d * down) / size, shown.height - 1);
    draw();
  }

  let opener;
  function open(link, { from = link, upright = false } = {}) {
    opener = from;
    const { x: right, y: down, width, height, scale, earth, north, mirrored } = link.dataset;
    const image = Object.assign(new Image(), { src: link.href, alt: _("The picture in its original orientation") });
    shown = { width, height, scale, earth, image, known: north !== "", north: north * Math.PI / 180, parity: mirrored ? -1 : 1 };
    [x, y] = [Number(right), Number(down)];
    size = 1 / dots();
    rotated = upright && shown.known;
    view.replaceChildren(image, arrow);
    arrow.hidden = up.hidden = !shown.known;
    const size_of_earth = Number(earth).toLocaleString(document.body.lang, { minimumFractionDigits: 2 });
    find(".zoom-arcsec").textContent = _("the Earth, {size_of_earth}″");
    dialog.showModal();
    if (upright) size = whole();
    updateStatus();
  }

  const moves = { ArrowLeft: [-80, 0], ArrowRight: [80, 0], ArrowUp: [0, -80], ArrowDown: [0, 80] };
  const sizes = { "+": 2, "=": 2, "-": 0.5 };
  dialog.addEventListener("keydown", (event) => {
    const { key } = event;
    if (!plain(event) || !(key in moves || key in sizes)) return;
    event.preventDefault();
    if (key in sizes) resize(sizes[key]); else move(...moves[key]);
  });
  for (const button of dialog.querySelectorAll("[data-size]")) button.addEventListener("click", () => resize(button.dataset.size));
  find(".zoom-actual").addEventListener("click", () => resize(1 / dots() / size));
  up.addEventListener("click", () => { rotated = !rotated; updateStatus(); });
  find(".zoom-close").addEventListener("click", () => dialog.close());
  // A key may have opened it without a focused element.
  dialog.addEventListener("close", () => opener.focus({ preventScroll: true }));
  view.addEventListener("wheel", (event) => resizeAt(2 ** (-event.deltaY / 300), fromMiddle(event)), { passive: true });
  new ResizeObserver(() => { if (dialog.open) draw(); }).observe(view);

  // Fingers and pointers that are down, by their ids; how far they have moved since; the last tap.
  const down = new Map();
  let path = 0, tapped = { time: -Infinity };
  const middle = () => {
    const all = [...down.values()], mean = (of) => all.reduce((sum, one) => sum + one[of], 0) / all.length;
    const at = { clientX: mean("clientX"), clientY: mean("clientY") };
    return { ...at, apart: Math.hypot(...["clientX", "clientY"].map((of) => all[0][of] - all[all.length - 1][of])) };
  };
  view.addEventListener("pointerdown", (event) => {
    if (!down.size) path = 0;
    down.set(event.pointerId, event);
    view.setPointerCapture(event.pointerId);
  });
  view.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    const before = middle();
    down.set(event.pointerId, event);
    const now = middle(), [right, below] = [before.clientX - now.clientX, before.clientY - now.clientY];
    path += Math.hypot(right, below) + Math.abs(now.apart - before.apart);
    move(right, below);
    if (before.apart && now.apart) resizeAt(now.apart / before.apart, fromMiddle(now));
  });
  for (const gone of ["pointerup", "pointercancel"]) view.addEventListener(gone, (event) => down.delete(event.pointerId));
  view.addEventListener("click", (event) => {
    if (path >= 5) return;
    const twice = event.timeStamp - tapped.time < 350 && Math.hypot(event.clientX - tapped.x, event.clientY - tapped.y) < 40;
    tapped = twice ? { time: -Infinity } : { time: event.timeStamp, x: event.clientX, y: event.clientY };
    // The first tap has brought the place to the middle.
    if (twice) resizeAt(size > 0.99 * MAX_ZOOM / dots() ? 0 : 2.5, [0, 0]); else move(...fromMiddle(event));
  });

  for (const link of document.querySelectorAll(".zoom-link")) {
    link.addEventListener("click", (event) => {
      if (!plain(event) || event.shiftKey) return;
      event.preventDefault();
      open(link);
    });
  }
  for (const link of document.querySelectorAll(".disc-link")) {
    const original = link.closest(".plate").querySelector(".zoom-link");
    link.addEventListener("click", (event) => {
      if (!original || !plain(event) || event.shiftKey || event.button) return;
      event.preventDefault();
      open(original, { from: link, upright: true });
    });
  }
})();
