/* Compares two discs: divider, blink, and the second disc derotated to the time of the first.
   It is drawn triangle by triangle, because a page opened as a file may draw its pictures but not read their pixels. */
"use strict";

(() => {
  const SIDE = 1024, CENTRE = 512, RADIUS = 460.8, RAD = Math.PI / 180, CELL_DEG = 2.5;
  const root = document.querySelector(".comparison");
  const find = (selector) => root.querySelector(selector);
  const [atEquator, sineSquared] = root.dataset.law.split(" ").map((rate) => rate * RAD);
  const distance = Number(root.dataset.distance), toLimb = Math.sqrt(distance ** 2 - 1);
  const entries = [...document.querySelectorAll("[data-src]")].map((item) => ({
    ...item.dataset, words: item.querySelector("a").textContent,
    days: Date.parse(item.dataset.time) / 864e5, b0: item.dataset.b0 * RAD, l0: item.dataset.l0 * RAD,
  }));
  if (entries.length < 2) return;

  const rotate = (angle, u, v) => [u * Math.cos(angle) + v * Math.sin(angle), v * Math.cos(angle) - u * Math.sin(angle)];
  function project(west, north, towards) {
    const near = toLimb * RADIUS / (distance - towards);
    return [CENTRE + west * near, CENTRE - north * near, towards - 1 / distance];
  }

  /* Positions of a point, given in the first picture's view, on both discs, and how far inside the second's limb it is. */
  function corner(latitude, longitude, first, second) {
    let west = Math.cos(latitude) * Math.sin(longitude), north = Math.sin(latitude);
    let towards = Math.cos(latitude) * Math.cos(longitude);
    const [x, y, mu] = project(west, north, towards);
    [north, towards] = rotate(first.b0, north, towards);
    const days = second.days - first.days;
    [west, towards] = rotate(first.l0 - second.l0 + days * (atEquator + sineSquared * north ** 2), west, towards);
    [north, towards] = rotate(-second.b0, north, towards);
    const [fromX, fromY, fromMu] = project(west, north, towards);
    return { x, y, fromX, fromY, shown: fromMu - Math.min(0.06, mu / 2 + 0.001) };
  }

  function patch(pen, image, p, q, r) {
    // Clip what was beyond the second's limb; enlarge the rest slightly, to avoid seams.
    const visible = [[p, q], [q, r], [r, p]].flatMap(([one, next]) => {
      const part = one.shown / (one.shown - next.shown);
      const here = one.shown >= 0 ? [one] : [];
      if (one.shown >= 0 === next.shown >= 0) return here;
      return [...here, { x: one.x + part * (next.x - one.x), y: one.y + part * (next.y - one.y) }];
    });
    const [ux, uy, vx, vy] = [q.fromX - p.fromX, q.fromY - p.fromY, r.fromX - p.fromX, r.fromY - p.fromY];
    const area = ux * vy - vx * uy;
    if (visible.length < 3 || Math.abs(area) < 1e-6) return;
    const along = (s, t) => [(s * vy - t * uy) / area, (t * ux - s * vx) / area];
    const [a, c] = along(q.x - p.x, r.x - p.x), [b, d] = along(q.y - p.y, r.y - p.y);
    const mean = (axis) => visible.reduce((sum, one) => sum + one[axis], 0) / visible.length;
    const mx = mean("x"), my = mean("y");
    pen.save();
    pen.beginPath();
    for (const { x, y } of visible) {
      const grown = 1 + 0.7 / Math.max(Math.hypot(x - mx, y - my), 0.7);
      pen.lineTo(mx + (x - mx) * grown, my + (y - my) * grown);
    }
    pen.clip();
    pen.transform(a, b, c, d, p.x - a * p.fromX - c * p.fromY, p.y - b * p.fromX - d * p.fromY);
    pen.drawImage(image, 0, 0, SIDE, SIDE);
    pen.restore();
  }

  /* Draw the second disc derotated to the time of the first. */
  function drawDerotated(pen, image, first, second) {
    let row = [];
    for (let latitude = -90; latitude <= 90; latitude += CELL_DEG) {
      const below = row;
      row = [];
      for (let longitude = -90; longitude <= 90; longitude += CELL_DEG) {
        const i = row.push(corner(latitude * RAD, longitude * RAD, first, second)) - 1;
        if (!below.length || !i) continue;
        patch(pen, image, below[i - 1], below[i], row[i]);
        patch(pen, image, below[i - 1], row[i], row[i - 1]);
      }
    }
  }

  const discs = root.querySelectorAll("canvas"), divider = find("[type=range]");
  const blink = find(".blink"), sameTime = find(".moment"), status = find("[role=status]");
  const chosen = entries.slice(-2);
  let derotated = false, changes = 1, timer = 0, secondShown = false, requests = 0;

  function updateDivider() {
    const at = timer ? 100 * secondShown : divider.value;
    discs[1].style.clipPath = `inset(0 0 0 ${at}%)`;
  }

  async function draw() {
    const request = requests += 1;
    const [first, second] = chosen;
    const images = await Promise.all(chosen.map(({ src }) => {
      const image = Object.assign(new Image(), { src });
      return image.decode().then(() => image, () => null);
    }));
    // Others have been chosen meanwhile.
    if (request !== requests) return;
    discs.forEach((disc, i) => {
      const pen = disc.getContext("2d");
      disc.width = SIDE;
      // Twice, because seams between triangles are slightly transparent.
      if (images[i] && i && derotated) [1, 2].forEach(() => drawDerotated(pen, images[i], first, second));
      else if (images[i]) pen.drawImage(images[i], 0, 0, SIDE, SIDE);
    });
    const days = second.days - first.days;
    const left = first.words, right = second.words;
    const span = Math.abs(days).toLocaleString(document.body.lang, { minimumFractionDigits: 2, maximumFractionDigits: 2 });
    if (!derotated) status.textContent = _("Left: {left}. Right: {right}.");
    else if (days < 0) status.textContent = _("Left: {left}. Right: {right}, derotated forward by {span} days.");
    else status.textContent = _("Left: {left}. Right: {right}, derotated back by {span} days.");
  }

  function setBlink(on) {
    clearInterval(timer);
    timer = on ? setInterval(() => { secondShown = !secondShown; updateDivider(); }, 1000 / changes) : 0;
    blink.setAttribute("aria-pressed", on);
    updateDivider();
  }
  blink.addEventListener("click", () => setBlink(!timer));
  sameTime.addEventListener("click", () => {
    derotated = !derotated;
    sameTime.setAttribute("aria-pressed", derotated);
    draw();
  });
  for (const button of root.querySelectorAll("[data-faster]")) button.addEventListener("click", () => {
    // Changes per second: two make one flash; WCAG 2.2 (2.3.1) allows three flashes.
    changes = Math.min(Math.max(changes * button.dataset.faster, 0.5), 2);
    const pace = changes.toLocaleString(document.body.lang);
    find(".pace").textContent = _("{pace} per second");
    setBlink(timer > 0);
  });
  divider.addEventListener("input", () => setBlink(false));
  // The focused divider, and other controls with arrow keys, handle them themselves; up and down scroll the page.
  const ownArrows = "input:not([type=checkbox]), select, textarea, video, dialog *, [contenteditable], [contenteditable] *";
  document.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!way || event.shiftKey || !northlimb.keysOn() || !northlimb.plain(event) || event.target.matches?.(ownArrows)) return;
    event.preventDefault();
    divider.value = Number(divider.value) + way;
    setBlink(false);
  });

  const pickers = [...root.querySelectorAll(".choice")];
  function fromAddress() {
    const named = location.hash.slice(1).split(",");
    pickers.forEach((picker, i) => {
      chosen[i] = entries.find(({ id }) => id === named[i]) || chosen[i];
      picker.selectedIndex = entries.indexOf(chosen[i]);
    });
  }
  pickers.forEach((picker, i) => {
    for (const { words } of entries) picker.add(new Option(words));
    picker.addEventListener("change", () => {
      chosen[i] = entries[picker.selectedIndex];
      location.replace(`#${chosen.map(({ id }) => id)}`);
      draw();
    });
  });
  fromAddress();
  addEventListener("hashchange", () => { fromAddress(); draw(); });
  for (const part of root.querySelectorAll(".pair, .stage, .plate-bar")) part.hidden = part.matches(".pair");
  updateDivider();
  draw();
})();
