/* Adds to the disc: keys for what lies over it, the memory of that choice, and the picture's own pixels on the page.
   Without it the boxes work by themselves, and the link leads to the picture. */
"use strict";

(() => {
  const { recall, remember, plain } = northlimb;
  const MOST = 16, BAR_PX = 180;
  const find = document.querySelector.bind(document);
  const within = (value, most, least = 0) => Math.min(Math.max(value, least), most);

  const boxes = document.querySelectorAll("[data-shows]");
  for (const box of boxes) {
    const { shows } = box.dataset;
    box.checked = recall()[shows] ?? box.checked;
    box.addEventListener("change", () => {
      for (const one of boxes) if (one.dataset.shows === shows) one.checked = box.checked;
      remember(shows, box.checked);
    });
  }

  const [dialog, view, arrow, up] = ["", "-view", "-north", "-up"].map((part) => find(`.zoom${part}`));
  const dots = () => window.devicePixelRatio || 1;
  // The picture, its place in the view's middle, CSS pixels to one of its own, and whether north is up.
  let shown, x, y, size, turned;

  /* The picture's axes on the screen: a pixel to its right goes (a, b) right and down, one down goes (c, d). */
  function axes() {
    const { hand, north } = shown;
    return turned ? [hand * Math.cos(north), hand * Math.sin(north), -Math.sin(north), Math.cos(north)] : [1, 0, 0, 1];
  }

  function draw() {
    const { scale, earth, hand, north, image } = shown;
    const [a, b, c, d] = axes().map((part) => part * size);
    // In whole pixels of the screen, or pixels of the picture would be smeared over two.
    const whole = (place) => Math.round(place * dots()) / dots();
    const right = whole(view.clientWidth / 2 - a * (x + 0.5) - c * (y + 0.5));
    const down = whole(view.clientHeight / 2 - b * (x + 0.5) - d * (y + 0.5));
    image.style.transform = `matrix(${[a, b, c, d, right, down]})`;
    image.style.imageRendering = size * dots() < 2 ? "auto" : "pixelated";
    arrow.style.transform = `rotate(${turned ? 0 : Math.atan2(-hand * Math.sin(north), Math.cos(north))}rad)`;
    const longest = BAR_PX * scale / size, ten = 10 ** Math.floor(Math.log10(longest));
    const seconds = ten * [5, 2, 1].find((times) => times * ten <= longest);
    find(".zoom-bar").style.width = `${seconds * size / scale}px`;
    find(".zoom-seconds").textContent = `${seconds}″`;
    find(".zoom-earth").style.width = `${earth * size / scale}px`;
  }

  function tell() {
    const each = size * dots(), { hand, known } = shown;
    const came = `as it came${hand < 0 ? ", a mirror image" : ""}${known ? "" : ", north not known"}`;
    find(".zoom-told").textContent = `The picture’s own pixels, ${turned ? "turned north up on the screen" : came}; `
      + `${+each.toFixed(2)} ${each === 1 ? "pixel" : "pixels"} of the screen to each.`;
    up.setAttribute("aria-pressed", turned);
    draw();
  }

  function resize(factor) {
    const { width, height } = shown;
    const whole = Math.min(view.clientWidth / width, view.clientHeight / height, 1 / dots());
    size = within(size * factor, MOST / dots(), whole);
    tell();
  }

  /* Move the middle by so many pixels of the screen; it stays on the picture. */
  function move(right, down) {
    const [a, b, c, d] = axes();
    x = within(x + (a * right + b * down) / size, shown.width - 1);
    y = within(y + (c * right + d * down) / size, shown.height - 1);
    draw();
  }

  let opener;
  function open(link) {
    opener = link;
    const { x: right, y: down, width, height, scale, earth, north, mirrored } = link.dataset;
    const image = Object.assign(new Image(), { src: link.href, alt: "The picture as it came" });
    shown = { width, height, scale, earth, image, known: north !== "", north: north * Math.PI / 180, hand: mirrored ? -1 : 1 };
    [x, y] = [Number(right), Number(down)];
    size = 1 / dots();
    turned = false;
    view.replaceChildren(image, arrow);
    arrow.hidden = up.hidden = !shown.known;
    find(".zoom-arcsec").textContent = `the Earth, ${earth}″`;
    dialog.showModal();
    tell();
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
  find(".zoom-own").addEventListener("click", () => resize(1 / dots() / size));
  up.addEventListener("click", () => { turned = !turned; tell(); });
  find(".zoom-close").addEventListener("click", () => dialog.close());
  // A key may have opened it with the focus nowhere.
  dialog.addEventListener("close", () => opener.focus({ preventScroll: true }));
  view.addEventListener("wheel", (event) => resize(2 ** (-event.deltaY / 300)), { passive: true });
  new ResizeObserver(() => { if (dialog.open) draw(); }).observe(view);

  // How far the pointer has gone since it went down: one that stayed brings its place to the middle.
  let way, from;
  view.addEventListener("pointerdown", (event) => {
    way = 0;
    from = event;
    view.setPointerCapture(event.pointerId);
  });
  view.addEventListener("pointermove", (event) => {
    if (!event.buttons || !event.isPrimary) return;
    const [right, down] = [from.clientX - event.clientX, from.clientY - event.clientY];
    way += Math.hypot(right, down);
    from = event;
    move(right, down);
  });
  view.addEventListener("click", (event) => {
    const box = view.getBoundingClientRect();
    if (way < 5) move(event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2);
  });

  for (const link of document.querySelectorAll(".zoom-link")) {
    link.addEventListener("click", (event) => {
      if (!plain(event) || event.shiftKey) return;
      event.preventDefault();
      open(link);
    });
  }
})();
