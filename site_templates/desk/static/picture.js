// The page of a picture: what was found in it, and what a hand puts right.
import { begin, byId, doing, element, figure, get, picture, post, say, tell, titled, undoWords } from "/static/desk.js";
import { wrapped } from "/static/geometry.js";
import { Plate, groupName } from "/static/plate.js";
import { shiftPanel } from "/static/shift.js";

const LETTERS = "ABCDEFGHIJ";
const signed = (value, digits = 1) => `${value < 0 ? "−" : "+"}${figure(Math.abs(value), digits)}`;
const latitude = (value) => (value === null || value === undefined ? "" : `${value < 0 ? "S" : "N"}${figure(Math.abs(value), 1)}°`);
const meridian = (value) => (value === null || value === undefined ? "" : `${value < 0 ? "E" : "W"}${figure(Math.abs(value), 1)}°`);

let view;
let notes;
let plate;
let north = null;
let mirrored = false;
let chosen = new Set();
let group = null;
let blinking;

const address = (rest = "") => `/api/pictures/${view.id}${rest}`;

const does = {
  turn(angle) {
    north = wrapped(Math.round(angle * 10) / 10);
    drawNorth();
  },
  spot(number, more) {
    if (!more) chosen = new Set(chosen.size === 1 && chosen.has(number) ? [] : [number]);
    else if (!chosen.delete(number)) chosen.add(number);
    group = null;
    drawChosen();
  },
  lasso(numbers) {
    chosen = new Set(numbers);
    group = null;
    drawChosen();
  },
  nothing() {
    chosen = new Set();
    group = null;
    endAdding();
    drawChosen();
  },
  point: doing(async (x_px, y_px) => {
    const near = nearestGroup(x_px, y_px);
    endAdding();
    await correct({ action: "add spot", x_px, y_px, group: near }, near === null ? _("A group of one spot added") : addedTo(nameOf(near)));
  }),
  dust: doing(() => correct({ action: "dust", spots: [...chosen] }, _("Left out as no spot"))),
};

const nameOf = (number) => groupName(view.groups, number);
const addedTo = (group) => _("A spot added to {group}");
const spotsTogether = (n, area) => ngettext("{n} spot of {area} MSH together", "{n} spots of {area} MSH together", n);
const REASONS = { dust: _("dust"), "left out": _("left out") };

function oneSpot(spot) {
  const area = figure(spot.area_msh);
  const place = `${latitude(spot.latitude_deg)} ${meridian(spot.meridian_deg)}`;
  const words = spot.latitude_deg === undefined ? _("One spot of {area} MSH") : _("One spot of {area} MSH, at {place}");
  return spot.status === "counted" ? words : `${words}: ${REASONS[spot.status]}`;
}

function nearestGroup(x, y) {
  const reach = view.disc.radius_px * 0.14;
  const away = view.groups.map((one) => Math.hypot(one.x_px - x, one.y_px - y));
  const least = Math.min(...away, Infinity);
  return least < reach ? away.indexOf(least) : null;
}

function endAdding() {
  plate.stopAdding();
  byId("add-spot").setAttribute("aria-pressed", "false");
}

async function correct(form, words) {
  show(await post(address("/correct"), { made_from: view.made_from, ...form }));
  say(words);
}

function drawNorth() {
  plate.turn(north, mirrored);
  const { orientation } = view;
  byId("angle").textContent = north === null ? _("unknown") : `${signed(north)}°`;
  const same = orientation.north_angle_deg !== null && Math.abs(wrapped(north - orientation.north_angle_deg)) < 0.051 && mirrored === Boolean(orientation.mirrored);
  byId("state-north").disabled = north === null || (same && view.stated_north_deg !== null);
  byId("leave-north").disabled = view.stated_north_deg === null && (same || north === null);
  byId("leave-north").textContent = view.stated_north_deg === null ? _("Back to what was found") : _("Leave to the program");
  byId("mirrored").checked = mirrored;
}

function drawChosen() {
  plate.chosen = chosen;
  plate.group = group;
  plate.drawSpots();
  const spots = [...chosen].map((number) => view.spots[number]);
  byId("chosen").hidden = !spots.length;
  const area = spots.reduce((sum, spot) => sum + spot.area_msh, 0);
  byId("chosen-words").textContent =
    spots.length === 1 ? oneSpot(spots[0]) : spotsTogether(spots.length, area.toFixed(0));
  const dust = spots.filter((spot) => spot.status === "dust").length;
  byId("not-spot").hidden = dust === spots.length;
  byId("after-all").hidden = !dust;
  byId("one-group").hidden = dust === spots.length || view.orientation.north_angle_deg === null;
  for (const row of byId("groups").rows) row.toggleAttribute("data-chosen", Number(row.dataset.group) === group);
  byId("group-doing").hidden = group === null;
  if (group === null) return;
  byId("group-name").value = view.groups[group].name ?? "";
  byId("join-with").replaceChildren(...view.groups.flatMap((_, at) => (at === group ? [] : [element("option", { value: at }, nameOf(at))])));
}

function drawGroups() {
  byId("groups-table").hidden = !view.groups.length;
  byId("groups").replaceChildren(
    ...view.groups.map((one, number) => {
      const button = element("button", { type: "button", class: "link" }, nameOf(number));
      button.onclick = () => {
        group = group === number ? null : number;
        chosen = new Set();
        drawChosen();
      };
      const words = one.by_hand ? element("span", { class: "meaning" }, one.sure ? _("by hand") : _("by hand; which spots are its own is a guess")) : "";
      return element(
        "tr",
        { "data-group": number },
        element("th", { scope: "row" }, button, words),
        element("td", {}, String(one.spots)),
        element("td", {}, one.area_msh === null ? "" : one.area_msh.toFixed(0)),
        element("td", {}, latitude(one.latitude_deg)),
        element("td", {}, meridian(one.meridian_deg)),
      );
    }),
  );
  const { counts } = view;
  byId("counts").textContent = counts
    ? [`R ${counts.relative_number.toFixed(0)}${counts.stated ? `, ${_("by hand")}` : ""}`, ...(view.spot_area_msh === null ? [] : [`${view.spot_area_msh.toFixed(0)} MSH`])].join(" · ")
    : _("not counted");
  byId("as-measured").hidden = !view.groups_by_hand;
  byId("add-spot").disabled = view.orientation.north_angle_deg === null;
  byId("count-groups").value = counts?.groups ?? "";
  byId("count-spots").value = counts?.spots ?? "";
  byId("count-measured").hidden = view.counts_by_hand === null;
}

const mirroredAngle = (angle) => _("{angle}° mirrored");

function drawEvidence() {
  const { orientation } = view;
  byId("north-status").textContent = { solved: _("solved"), assumed: _("from the mount alone"), unknown: _("unknown") }[orientation.status] + (orientation.sigma_deg === null ? "" : ` · ± ${figure(orientation.sigma_deg, 2)}°`);
  byId("evidence").replaceChildren(
    ...orientation.evidence.map((one, number) =>
      element(
        "tr",
        {},
        element("th", { scope: "row" }, element("span", { class: "letter" }, LETTERS[number] ?? ""), ` ${one.kind}`, one.note ? element("span", { class: "meaning" }, one.note) : ""),
        element("td", {}, one.mirrored ? mirroredAngle(signed(one.north_angle_deg)) : `${signed(one.north_angle_deg)}°`),
        element("td", {}, `${figure(one.sigma_deg, 1)}°`),
      ),
    ),
  );
  const remarks = [...orientation.disputes, ...view.remarks];
  byId("remarks").hidden = !remarks.length;
  byId("remarks").replaceChildren(...remarks.map((words) => element("li", {}, words)));
}

function shownFact(name) {
  const value = view.facts[name] ?? "";
  return typeof value === "number" ? figure(value) : value;
}

function drawFacts() {
  const source = view.time_from;
  const form = byId("facts");
  for (const field of form.elements) {
    if (!field.name) continue;
    if (field.tagName === "SELECT") {
      const names = field.name === "site" ? view.sites : view.instruments;
      field.replaceChildren(...names.map((name) => element("option", { value: name }, name)));
      field.value = view[field.name];
    } else field.value = shownFact(field.name);
  }
  byId("time-text").value = view.time_utc;
  byId("time-from").textContent = source === "amended" ? _("The time was corrected by hand.") : source ? _("The time is from {source}.") : "";
}

function drawNotes() {
  if (document.activeElement !== byId("notes")) byId("notes").value = notes.text;
  byId("notes-shown").innerHTML = notes.html; // cleaned by the same code as the site's
  byId("undo-notes").disabled = !notes.undo;
  byId("redo-notes").disabled = !notes.redo;
  byId("keep-notes").disabled = byId("notes").value === notes.text;
}

function show(found) {
  const same = view?.id === found.id;
  view = found;
  if (!same) history.replaceState(null, "", `#${view.id}`);
  ({ north_angle_deg: north } = view.orientation);
  north = north === null ? null : wrapped(Math.round(north * 10) / 10);
  mirrored = Boolean(view.orientation.mirrored);
  chosen = new Set();
  group = null;
  const at = view.time_utc;
  byId("when").textContent = `${at.slice(0, 10)}, ${at.slice(11, 16)} UTC`;
  titled(at.slice(0, 10));
  byId("with").textContent = `${view.instrument}, ${view.site}`;
  for (const way of ["earlier", "later"]) {
    byId(way).hidden = !view[way];
    byId(way).href = `/picture#${view[way]}`;
  }
  byId("undo").disabled = !view.undo;
  byId("redo").disabled = !view.redo;
  byId("undo-words").textContent = undoWords(view.undo);
  plate.show(view);
  drawNorth();
  drawEvidence();
  drawGroups();
  drawChosen();
  drawFacts();
  (view.warnings ?? []).forEach((words) => say(words));
}

const otherDay = (day) => _("{day}, brought to this moment");

async function open() {
  const id = location.hash.slice(1);
  view = undefined;
  byId("others").hidden = true;
  byId("main").setAttribute("aria-busy", "true");
  const found = await get(`/api/pictures/${encodeURIComponent(id)}`);
  plate = new Plate(byId("plate"), does);
  view = found;
  show(found);
  byId("main").removeAttribute("aria-busy");
  plate.show(view, await picture(address("/image")));
  notes = await get(`/api/days/${view.day}/notes`);
  drawNotes();
  byId("other").hidden = !view.other;
  setOther("off");
  byId("hint").textContent = _("Drag outside the limb to turn north.");
  if (view.other) byId("other-legend").textContent = otherDay(view.other.day);
}

const setOther = doing(async (how) => {
  clearInterval(blinking);
  const field = document.querySelector(`[name="other"][value="${how}"]`);
  field.checked = true;
  if (how !== "off" && !plate.other.firstChild) plate.showOther(await picture(address("/neighbour")));
  if (how === "off" && plate) plate.showOther(null);
  plate.svg.dataset.other = how === "blink" ? "off" : how;
  if (how !== "blink") return;
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  plate.svg.dataset.other = "alone";
  blinking = setInterval(() => (plate.svg.dataset.other = plate.svg.dataset.other === "alone" ? "off" : "alone"), still ? 2500 : 700);
});

function listen() {
  window.addEventListener("hashchange", doing(open));
  document.querySelectorAll("[data-layer]").forEach((box) => (box.onchange = () => plate.svg.classList.toggle(`without-${box.dataset.layer}`, !box.checked)));
  document.querySelectorAll("[data-turn]").forEach((button) => (button.onclick = () => does.turn((north ?? 0) + Number(button.dataset.turn))));
  document.querySelectorAll('[name="other"]').forEach((field) => (field.onchange = () => setOther(field.value)));
  byId("mirrored").onchange = (event) => {
    mirrored = event.target.checked;
    drawNorth();
  };
  byId("state-north").onclick = doing(() => correct({ action: "north", north_angle_deg: north, mirrored }, _("North stated")));
  byId("leave-north").onclick = doing(async () => {
    if (view.stated_north_deg === null) show(view);
    else await correct({ action: "leave north" }, _("North left to the program"));
  });
  byId("not-spot").onclick = does.dust;
  byId("after-all").onclick = doing(() => correct({ action: "spot after all", spots: [...chosen] }, _("A spot after all")));
  byId("one-group").onclick = doing(() => correct({ action: "gather", spots: [...chosen] }, _("One group")));
  byId("choose-none").onclick = byId("choose-no-group").onclick = () => does.nothing();
  byId("rename").onsubmit = doing(async (event) => {
    event.preventDefault();
    await correct({ action: "rename", group, name: byId("group-name").value.trim() || null }, _("Named"));
  });
  byId("rename").addEventListener("submit", (event) => event.preventDefault());
  byId("join").onclick = doing(() => correct({ action: "join", group, other: Number(byId("join-with").value) }, _("Joined")));
  byId("remove-group").onclick = doing(() => correct({ action: "remove group", group }, _("Taken out")));
  byId("as-measured").onclick = doing(() => correct({ action: "groups as measured" }, _("Groups as measured")));
  byId("add-spot").onclick = () => {
    if (plate.adding) return endAdding();
    byId("add-spot").setAttribute("aria-pressed", "true");
    say(_("Point at the spot, or move the cross by the arrow keys and press Enter"));
    return plate.startAdding();
  };
  byId("count").onsubmit = (event) => {
    event.preventDefault();
    const counts = { groups: byId("count-groups").value.trim(), spots: byId("count-spots").value.trim() };
    doing(() => correct({ action: "count", counts }, _("Counted by hand")), byId("count"))();
  };
  byId("count-measured").onclick = doing(() => correct({ action: "count as measured" }, _("Count as measured")));
  for (const [id, way] of [["undo", "/undo"], ["redo", "/redo"]])
    byId(id).onclick = doing(async () => {
      const found = await post(address(way));
      show(found);
      const change = found.stepped;
      say(way === "/undo" ? _("Undone: {change}") : _("Done again: {change}"));
    });
  for (const [id, way] of [["undo-notes", "/undo"], ["redo-notes", "/redo"]])
    byId(id).onclick = doing(async () => {
      notes = await post(address(way), { of: "notes" });
      byId("notes").value = notes.text;
      drawNotes();
    });
  let typed;
  byId("notes").oninput = () => {
    byId("keep-notes").disabled = byId("notes").value === notes.text;
    clearTimeout(typed);
    typed = setTimeout(
      doing(async () => {
        byId("notes-shown").innerHTML = (await post("/api/notes/preview", { text: byId("notes").value })).html;
      }),
      250,
    );
  };
  byId("keep-notes").onclick = doing(async () => {
    notes = await post(`/api/days/${view.day}/notes`, { made_from: notes.made_from, text: byId("notes").value });
    drawNotes();
    say(_("Notes kept"));
  });
  byId("facts").onsubmit = (event) => {
    event.preventDefault();
    doing(keepFacts, byId("facts"))();
  };
  byId("time").onsubmit = (event) => {
    event.preventDefault();
    doing(async () => {
      const before = view.time_utc;
      show(await post(address("/time"), { made_from: view.made_from, time: byId("time-text").value }));
      say(_("The time is changed"));
      await offerShift((Date.parse(view.time_utc) - Date.parse(before)) / 1000);
    }, byId("time"))();
  };
  byId("remove").onclick = doing(async () => {
    await post(address("/remove"));
    location.href = "/";
  });
  byId("closer").onclick = () => look(Math.min(plate.zoom * 2, 8));
  byId("whole").onclick = () => look(1);
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select") || !(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    event.preventDefault();
    byId(event.shiftKey ? "redo" : "undo").click();
  });
  window.addEventListener("beforeunload", (event) => {
    if (notes && byId("notes").value !== notes.text) event.preventDefault();
  });
}

/** A clock or a zone that was wrong once was so for other pictures too: of this instrument, from this day on. */
async function offerShift(shift_s) {
  byId("others").hidden = Math.abs(shift_s) < 60;
  if (byId("others").hidden) return;
  const start = { shift_s, first: view.day, instrument: view.instrument, without: [view.id] };
  const others = await shiftPanel(byId("shift"), start, async () => show(await get(address())));
  byId("others").hidden = !others;
}

function look(zoom) {
  const [first] = chosen;
  const middle = first === undefined ? undefined : [view.spots[first].x_px, view.spots[first].y_px];
  plate.look(zoom, middle);
  byId("whole").disabled = zoom === 1;
  byId("closer").disabled = zoom >= 8;
}

async function keepFacts() {
  const facts = {};
  for (const field of byId("facts").elements) {
    if (!field.name) continue;
    const value = field.value.trim();
    const before = field.tagName === "SELECT" ? view[field.name] : shownFact(field.name);
    if (value !== before) facts[field.name] = value || null;
  }
  if (!Object.keys(facts).length) return say(_("Nothing has changed"));
  show(await post(address("/facts"), { made_from: view.made_from, facts }));
  return say(_("Facts kept"));
}

begin(async () => {
  listen();
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  await open();
});
