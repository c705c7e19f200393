/* Lays two discs over each other: a divider, a blink, and the second turned back to the moment of the first.
   It is carried triangle by triangle, for a page opened as a file may draw its pictures but not read their pixels. */
"use strict";

(() => {
  const SIDE = 1024, MIDDLE = 512, RADIUS = 460.8, RAD = Math.PI / 180, CELL_DEG = 2.5;
  const root = document.querySelector(".comparison");
  const find = (selector) => root.querySelector(selector);
  const [atEquator, sineSquared] = root.dataset.law.split(" ").map((rate) => rate * RAD);
  const distance = Number(root.dataset.distance), toLimb = Math.sqrt(distance ** 2 - 1);
  const shots = [...document.querySelectorAll("[data-src]")].map((item) => ({
    ...item.dataset, words: item.querySelector("a").textContent,
    days: Date.parse(item.dataset.time) / 864e5, b0: item.dataset.b0 * RAD, l0: item.dataset.l0 * RAD,
  }));
  if (shots.length < 2) return;

  const turn = (angle, u, v) => [u * Math.cos(angle) + v * Math.sin(angle), v * Math.cos(angle) - u * Math.sin(angle)];
  function seen(west, north, towards) {
    const near = toLimb * RADIUS / (distance - towards);
    return [MIDDLE + west * near, MIDDLE - north * near, towards - 1 / distance];
  }

  /* Where a direction, as the first picture is seen, lies on both, and by how much the second showed it. */
  function corner(latitude, longitude, first, second) {
    let west = Math.cos(latitude) * Math.sin(longitude), north = Math.sin(latitude);
    let towards = Math.cos(latitude) * Math.cos(longitude);
    const [x, y, mu] = seen(west, north, towards);
    [north, towards] = turn(first.b0, north, towards);
    const days = second.days - first.days;
    [west, towards] = turn(first.l0 - second.l0 + days * (atEquator + sineSquared * north ** 2), west, towards);
    [north, towards] = turn(-second.b0, north, towards);
    const [fromX, fromY, fromMu] = seen(west, north, towards);
    return { x, y, fromX, fromY, shown: fromMu - Math.min(0.06, mu / 2 + 0.001) };
  }

  function patch(pen, image, p, q, r) {
    // What the second did not show is cut off; the rest is grown a little, to leave no seams.
    const kept = [[p, q], [q, r], [r, p]].flatMap(([one, next]) => {
      const part = one.shown / (one.shown - next.shown);
      const here = one.shown >= 0 ? [one] : [];
      if (one.shown >= 0 === next.shown >= 0) return here;
      return [...here, { x: one.x + part * (next.x - one.x), y: one.y + part * (next.y - one.y) }];
    });
    const [ux, uy, vx, vy] = [q.fromX - p.fromX, q.fromY - p.fromY, r.fromX - p.fromX, r.fromY - p.fromY];
    const area = ux * vy - vx * uy;
    if (kept.length < 3 || Math.abs(area) < 1e-6) return;
    const along = (s, t) => [(s * vy - t * uy) / area, (t * ux - s * vx) / area];
    const [a, c] = along(q.x - p.x, r.x - p.x), [b, d] = along(q.y - p.y, r.y - p.y);
    const mean = (axis) => kept.reduce((sum, one) => sum + one[axis], 0) / kept.length;
    const mx = mean("x"), my = mean("y");
    pen.save();
    pen.beginPath();
    for (const { x, y } of kept) {
      const grown = 1 + 0.7 / Math.max(Math.hypot(x - mx, y - my), 0.7);
      pen.lineTo(mx + (x - mx) * grown, my + (y - my) * grown);
    }
    pen.clip();
    pen.transform(a, b, c, d, p.x - a * p.fromX - c * p.fromY, p.y - b * p.fromX - d * p.fromY);
    pen.drawImage(image, 0, 0, SIDE, SIDE);
    pen.restore();
  }

  /* Draw the second as it was at the moment of the first. */
  function carry(pen, image, first, second) {
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
  const blink = find(".blink"), moment = find(".moment"), told = find("[role=status]");
  const chosen = shots.slice(-2);
  let carried = false, pace = 1, beat = 0, over = false, asked = 0;

  function cut() {
    const at = beat ? 100 * over : divider.value;
    discs[1].style.clipPath = `inset(0 0 0 ${at}%)`;
  }

  async function draw() {
    const mine = asked += 1;
    const [first, second] = chosen;
    const images = await Promise.all(chosen.map(({ src }) => {
      const image = Object.assign(new Image(), { src });
      return image.decode().then(() => image, () => null);
    }));
    // Others were chosen meanwhile.
    if (mine !== asked) return;
    discs.forEach((disc, i) => {
      const pen = disc.getContext("2d");
      disc.width = SIDE;
      // Twice, for the seams between triangles let a little through.
      if (images[i] && i && carried) [1, 2].forEach(() => carry(pen, images[i], first, second));
      else if (images[i]) pen.drawImage(images[i], 0, 0, SIDE, SIDE);
    });
    const days = second.days - first.days;
    const way = carried ? `, turned ${days < 0 ? "on" : "back"} by ${Math.abs(days).toFixed(2)} days` : "";
    told.textContent = `Left: ${first.words}. Right: ${second.words}${way}.`;
  }

  function setBlink(on) {
    clearInterval(beat);
    beat = on ? setInterval(() => { over = !over; cut(); }, 1000 / pace) : 0;
    blink.setAttribute("aria-pressed", on);
    cut();
  }
  blink.addEventListener("click", () => setBlink(!beat));
  moment.addEventListener("click", () => {
    carried = !carried;
    moment.setAttribute("aria-pressed", carried);
    draw();
  });
  for (const button of root.querySelectorAll("[data-faster]")) button.addEventListener("click", () => {
    // Changes a second: two are one flash; WCAG 2.2 (2.3.1) allows three flashes.
    pace = Math.min(Math.max(pace * button.dataset.faster, 0.5), 2);
    find(".pace").textContent = `${pace} a second`;
    setBlink(beat > 0);
  });
  divider.addEventListener("input", () => setBlink(false));
  // The focused divider, and whatever else arrows move, hears them itself; up and down scroll the page.
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
      chosen[i] = shots.find(({ id }) => id === named[i]) || chosen[i];
      picker.selectedIndex = shots.indexOf(chosen[i]);
    });
  }
  pickers.forEach((picker, i) => {
    for (const { words } of shots) picker.add(new Option(words));
    picker.addEventListener("change", () => {
      chosen[i] = shots[picker.selectedIndex];
      location.replace(`#${chosen.map(({ id }) => id)}`);
      draw();
    });
  });
  fromAddress();
  addEventListener("hashchange", () => { fromAddress(); draw(); });
  for (const part of root.querySelectorAll(".pair, .stage, .plate-bar")) part.hidden = part.matches(".pair");
  cut();
  draw();
})();
