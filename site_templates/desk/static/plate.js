// The picture with all that is drawn over it. Its units are pixels of the picture, (0, 0) the middle of the first one.
import { figure } from "/static/desk.js";
import { WayUp, directionAt, gridLines, wrapped } from "/static/geometry.js";

const SVG = "http://www.w3.org/2000/svg";
const HALF = 1.2; // of the view, in radii
const RIM = 1.075; // where the handle of north is, in radii
const LETTERS = "ABCDEFGHIJ";

export function shape(name, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) if (value !== null && value !== undefined) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

const byNumber = (number) => _("group {number}");
export const groupName = (groups, at) => groups[at].name ?? byNumber(at + 1);
const northAt = (angle) => _("{angle} degrees");
const STATUS = { counted: _("counted"), dust: _("dust"), "left out": _("left out") };

function spotWords(spot, groups) {
  const area = figure(spot.area_msh);
  const status = STATUS[spot.status];
  const group = spot.group === null ? null : groups[spot.group] ? groupName(groups, spot.group) : byNumber(spot.group + 1);
  return group === null ? _("Spot of {area} millionths, {status}") : _("Spot of {area} millionths, {status}, in {group}");
}

const path = (places) => `M${places.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`;

export class Plate {
  /** `does` is told of what a hand does: turn, spot, lasso, point. */
  constructor(box, does) {
    this.box = box;
    this.does = does;
    this.zoom = 1;
    this.svg = shape("svg", { class: "sheet", role: "group", "aria-label": _("The picture with its limb, grid, spots and groups") });
    for (const layer of ["image", "other", "grid", "axis", "limb", "groups", "spots", "rim", "hand"])
      this.svg.append((this[layer] = shape("g", { class: layer })));
    box.replaceChildren(this.svg);
    this.svg.addEventListener("pointerdown", (event) => this.#down(event));
    this.svg.addEventListener("pointermove", (event) => this.#move(event));
    this.svg.addEventListener("pointerup", (event) => this.#up(event));
    this.svg.addEventListener("pointercancel", () => this.#cancel());
    new ResizeObserver(() => this.drawSpots()).observe(this.svg);
  }

  show(view, address) {
    this.view = view;
    if (address) {
      const { width_px, height_px } = view.picture;
      this.image.replaceChildren(shape("image", { href: address, x: -0.5, y: -0.5, width: width_px, height: height_px }));
    }
    this.look();
    this.drawSpots();
  }

  showOther(address) {
    this.other.replaceChildren(...(address ? [shape("image", { href: address, x: -0.5, y: -0.5, width: 1024, height: 1024 })] : []));
    this.turn(this.north, this.mirrored);
  }

  /** How much is shown, about which place. */
  look(zoom = this.zoom, middle) {
    const { disc } = this.view;
    this.zoom = zoom;
    this.middle = zoom === 1 ? [disc.x_px, disc.y_px] : (middle ?? this.middle ?? [disc.x_px, disc.y_px]);
    const half = (HALF * disc.radius_px) / zoom;
    this.svg.setAttribute("viewBox", [this.middle[0] - half, this.middle[1] - half, 2 * half, 2 * half].map((x) => x.toFixed(2)).join(" "));
    this.svg.style.setProperty("--px", `${this.pixel()}px`);
    this.drawSpots();
  }

  /** A pixel of the screen, in pixels of the picture. */
  pixel() {
    return (2 * HALF * this.view.disc.radius_px) / this.zoom / (this.svg.clientWidth || 600);
  }

  turn(north, mirrored) {
    this.north = north;
    this.mirrored = mirrored;
    const { disc, sun } = this.view;
    const known = north !== null;
    const wayUp = new WayUp(disc, north ?? 0, mirrored);
    this.limb.replaceChildren(
      shape("ellipse", {
        cx: disc.x_px,
        cy: disc.y_px,
        rx: disc.radius_px * (1 - disc.flattening),
        ry: disc.radius_px,
        transform: `rotate(${90 - disc.short_axis_angle_deg} ${disc.x_px} ${disc.y_px})`,
      }),
    );
    const lines = known ? gridLines(wayUp, sun.b0_deg, 10) : [];
    this.grid.replaceChildren(
      shape("path", { d: lines.filter((line) => !line.main).map((line) => path(line.run)).join("") }),
      shape("path", { class: "middle", d: lines.filter((line) => line.main).map((line) => path(line.run)).join("") }),
    );
    this.axis.replaceChildren();
    if (known) {
      this.axis.append(shape("path", { d: path([wayUp.toPicture(0, 1), wayUp.toPicture(0, RIM)]) + path([wayUp.toPicture(0, -1), wayUp.toPicture(0, -RIM)]) }));
      for (const [letter, west, up] of [["S", 0, -1], ["E", -1, 0], ["W", 1, 0]]) {
        const [x, y] = wayUp.toPicture(west * (RIM + 0.03), up * (RIM + 0.03));
        this.axis.append(shape("text", { x, y, "font-size": disc.radius_px * 0.06 }, letter));
      }
    }
    this.other.setAttribute("transform", `matrix(${wayUp.matrixOfFrame().map((x) => x.toFixed(5)).join(" ")})`);
    this.#drawRim(wayUp, known);
  }

  #drawRim(wayUp, known) {
    const { disc, orientation } = this.view;
    const had = this.handle && this.handle === document.activeElement;
    this.rim.replaceChildren();
    orientation.evidence.forEach((one, number) => {
      const own = new WayUp(disc, one.north_angle_deg, one.mirrored);
      // Pieces that agree would have their letters upon each other: each stands beside the one before.
      const near = orientation.evidence.slice(0, number).filter((other) => Math.abs(wrapped(other.north_angle_deg - one.north_angle_deg)) < 5).length;
      const aside = -near * 4 * (Math.PI / 180);
      const [x, y] = own.toPicture(Math.sin(aside) * 1.155, Math.cos(aside) * 1.155);
      const tick = [own.toPicture(0, 1.015), own.toPicture(0, 1.11)];
      const wide = [];
      for (let step = -10; step <= 10; step += 1) {
        const at = (step / 10) * Math.min(one.sigma_deg, 60) * (Math.PI / 180);
        wide.push(own.toPicture(Math.sin(at) * 1.03, Math.cos(at) * 1.03));
      }
      this.rim.append(
        shape(
          "g",
          { class: one.mirrored === this.mirrored ? "piece" : "piece otherwise" },
          shape("path", { class: "sigma", d: path(wide) }),
          shape("path", { d: path(tick) }),
          shape("text", { x, y, "font-size": disc.radius_px * 0.05 }, LETTERS[number] ?? "·"),
        ),
      );
    });
    const [x, y] = wayUp.toPicture(0, RIM);
    this.handle = shape(
      "g",
      {
        class: known ? "handle" : "handle unknown",
        id: "north-handle",
        role: "slider",
        tabindex: 0,
        "aria-label": _("North. Arrow keys turn by one degree, with Shift by a tenth"),
        "aria-valuemin": -180,
        "aria-valuemax": 180,
        "aria-valuenow": (this.north ?? 0).toFixed(1),
        "aria-valuetext": known ? northAt(figure(this.north, 1)) : _("unknown"),
      },
      shape("circle", { cx: x, cy: y, r: disc.radius_px * 0.048 }),
      shape("text", { x, y, "font-size": disc.radius_px * 0.065 }, known ? "N" : "?"),
    );
    this.handle.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: 1, ArrowUp: 1, ArrowRight: -1, ArrowDown: -1 }[event.key];
      if (!way) return;
      event.preventDefault();
      this.does.turn((this.north ?? 0) + way * (event.shiftKey ? 0.1 : 1));
    });
    this.rim.append(this.handle);
    if (had) this.handle.focus();
  }

  drawSpots() {
    if (!this.view) return;
    const pixel = this.pixel();
    const had = document.activeElement?.dataset?.spot;
    this.spots.replaceChildren(
      ...this.view.spots.map((spot, number) => {
        const radius = Math.max(spot.radius_px * 1.7, 5 * pixel);
        const chosen = this.chosen?.has(number);
        const words = spotWords(spot, this.view.groups);
        const made = shape(
          "g",
          { class: `spot ${spot.status.replace(" ", "-")}${chosen ? " chosen" : ""}`, role: "button", tabindex: 0, "aria-pressed": Boolean(chosen), "aria-label": words, "data-spot": number },
          shape("circle", { class: "reach", cx: spot.x_px, cy: spot.y_px, r: Math.max(radius, 11 * pixel) }),
          shape("circle", { class: "ring", cx: spot.x_px, cy: spot.y_px, r: radius }),
        );
        if (spot.status === "dust") {
          const away = radius * 0.7;
          made.append(shape("path", { class: "ring", d: path([[spot.x_px - away, spot.y_px - away], [spot.x_px + away, spot.y_px + away]]) }));
        }
        made.addEventListener("keydown", (event) => {
          if (event.key === "Enter" || event.key === " ") {
            event.preventDefault();
            this.does.spot(number, event.key === " " || event.shiftKey);
          } else if (event.key === "Delete" || event.key === "Backspace") {
            event.preventDefault();
            this.does.spot(number, false);
            this.does.dust();
          }
        });
        return made;
      }),
    );
    if (had !== undefined) this.spots.children[had]?.focus();
    this.groups.replaceChildren(
      ...this.view.groups.map((group, number) => {
        const tops = this.view.spots.filter((spot) => spot.group === number).map((spot) => spot.y_px - Math.max(spot.radius_px * 1.7, 5 * pixel));
        const y = Math.min(...(tops.length ? tops : [group.y_px - 8 * pixel])) - 10 * pixel;
        return shape("text", { x: group.x_px, y, "font-size": 13 * pixel, class: this.group === number ? "chosen" : null }, groupName(this.view.groups, number));
      }),
    );
  }

  place(event) {
    const inverse = this.svg.getScreenCTM().inverse();
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(inverse);
    return [at.x, at.y];
  }

  #away([x, y]) {
    const { disc } = this.view;
    return Math.hypot(x - disc.x_px, y - disc.y_px) / disc.radius_px;
  }

  #down(event) {
    if (!this.view || event.button !== 0) return;
    const at = this.place(event);
    const spot = event.target.closest?.("[data-spot]");
    this.svg.setPointerCapture(event.pointerId);
    this.held = { at, spot: spot ? Number(spot.dataset.spot) : null, more: event.shiftKey || event.ctrlKey || event.metaKey, line: [at], moved: false };
    if (this.adding) this.held.kind = "point";
    else if (spot === null && this.#away(at) > 0.985) {
      this.held.kind = "turn";
      this.held.from = directionAt(this.view.disc, ...at, this.mirrored);
      this.held.north = this.north ?? this.held.from;
    } else this.held.kind = "lasso";
  }

  #move(event) {
    const held = this.held;
    if (!held) return;
    const at = this.place(event);
    if (Math.hypot(at[0] - held.at[0], at[1] - held.at[1]) > 5 * this.pixel()) held.moved = true;
    if (!held.moved) return;
    if (held.kind === "turn") {
      const now = directionAt(this.view.disc, ...at, this.mirrored);
      this.does.turn(held.north + (now - held.from));
    } else if (held.kind === "lasso") {
      held.line.push(at);
      this.hand.replaceChildren(shape("path", { class: "lasso", d: `${path(held.line)}Z` }));
    }
  }

  #up(event) {
    const held = this.held;
    this.#cancel();
    if (!held) return;
    if (held.kind === "point") this.does.point(...this.place(event));
    else if (!held.moved && held.spot !== null) this.does.spot(held.spot, held.more);
    else if (!held.moved && held.kind === "lasso") this.does.nothing();
    else if (held.moved && held.kind === "lasso") this.does.lasso(this.view.spots.flatMap((spot, number) => (isWithin([spot.x_px, spot.y_px], held.line) ? [number] : [])));
  }

  #cancel() {
    this.held = null;
    if (!this.adding) this.hand.replaceChildren();
  }

  /** A cross to be put where a spot was missed: by a click, or by the arrow keys and Enter. */
  startAdding() {
    this.adding = this.zoom > 1 ? [...this.middle] : [this.view.disc.x_px, this.view.disc.y_px];
    const draw = () => {
      const [x, y] = this.adding;
      const long = 14 * this.pixel();
      cross.setAttribute("d", path([[x - long, y], [x + long, y]]) + path([[x, y - long], [x, y + long]]));
    };
    const cross = shape("path", { class: "cross", tabindex: 0, role: "button", "aria-label": _("The place of the missed spot. Arrow keys move it, Enter adds it, Escape leaves it") });
    cross.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (way) {
        event.preventDefault();
        const step = (event.shiftKey ? 1 : 8) * this.pixel();
        this.adding = [this.adding[0] + way[0] * step, this.adding[1] + way[1] * step];
        draw();
      } else if (event.key === "Enter") this.does.point(...this.adding);
      else if (event.key === "Escape") this.does.nothing();
    });
    draw();
    this.hand.replaceChildren(cross);
    cross.focus();
  }

  stopAdding() {
    this.adding = null;
    this.hand.replaceChildren();
  }
}

function isWithin([x, y], line) {
  let within = false;
  for (let at = 0, before = line.length - 1; at < line.length; before = at, at += 1) {
    const [ax, ay] = line[at];
    const [bx, by] = line[before];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) within = !within;
  }
  return within;
}
