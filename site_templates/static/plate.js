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
    find(".zoom-seconds").textContent = `${seconds}″`;
    find(".zoom-earth").style.width = `${earth * size / scale}px`;
  }

  function updateStatus() {
    const each = size * dots(), { parity, known } = shown;
    const original = `Original orientation${parity < 0 ? ", a mirror image" : ""}${known ? "" : ", north not known"}`;
    find(".zoom-status").textContent = `${rotated ? "Rotated north up" : original}; ${+(100 * each).toFixed(1)} %.`;
    up.setAttribute("aria-pressed", rotated);
    draw();
  }

  function resize(factor) {
    const { width, height } = shown;
    const whole = Math.min(view.clientWidth / width, view.clientHeight / height, 1 / dots());
    size = clamp(size * factor, MAX_ZOOM / dots(), whole);
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
  function open(link) {
    opener = link;
    const { x: right, y: down, width, height, scale, earth, north, mirrored } = link.dataset;
    const image = Object.assign(new Image(), { src: link.href, alt: "The picture in its original orientation" });
    shown = { width, height, scale, earth, image, known: north !== "", north: north * Math.PI / 180, parity: mirrored ? -1 : 1 };
    [x, y] = [Number(right), Number(down)];
    size = 1 / dots();
    rotated = false;
    view.replaceChildren(image, arrow);
    arrow.hidden = up.hidden = !shown.known;
    find(".zoom-arcsec").textContent = `the Earth, ${earth}″`;
    dialog.showModal();
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
  view.addEventListener("wheel", (event) => resize(2 ** (-event.deltaY / 300)), { passive: true });
  new ResizeObserver(() => { if (dialog.open) draw(); }).observe(view);

  // Distance of the pointer since it was pressed: a tap without movement centres that point.
  let path, from;
  view.addEventListener("pointerdown", (event) => {
    path = 0;
    from = event;
    view.setPointerCapture(event.pointerId);
  });
  view.addEventListener("pointermove", (event) => {
    if (!event.buttons || !event.isPrimary) return;
    const [right, down] = [from.clientX - event.clientX, from.clientY - event.clientY];
    path += Math.hypot(right, down);
    from = event;
    move(right, down);
  });
  view.addEventListener("click", (event) => {
    const box = view.getBoundingClientRect();
    if (path < 5) move(event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2);
  });

  for (const link of document.querySelectorAll(".zoom-link")) {
    link.addEventListener("click", (event) => {
      if (!plain(event) || event.shiftKey) return;
      event.preventDefault();
      open(link);
    });
  }
})();
