// New pictures: dropped, looked at, put right, filed.
import { Refused, begin, byId, doing, element, figure, get, picture, post, say, tell, token, whenNews } from "/static/desk.js";
import { WayUp } from "/static/geometry.js";
import { shape } from "/static/plate.js";

const AT_ONCE = 2;
const cards = new Map(); // by id here, or by a number while a picture is on its way
let names = { sites: [], instruments: [], time_zone: "UTC" };
let waiting = [];
let sending = 0;

const list = byId("cards");
const megabytes = (bytes) => (bytes < 1e6 ? `${Math.max(1, Math.round(bytes / 1e3))} kB` : `${figure(bytes / 1e6, 1)} MB`);

// Sending

function send() {
  while (sending < AT_ONCE && waiting.length) {
    sending += 1;
    sendOne(waiting.shift());
  }
}

function sendOne({ file, note, card }) {
  const request = new XMLHttpRequest();
  request.open("POST", `/api/arrivals/new?name=${encodeURIComponent(file.name)}`);
  request.setRequestHeader("northlimb-desk", token());
  request.setRequestHeader("content-type", "application/octet-stream");
  request.upload.onprogress = (event) => (card.querySelector("progress").value = event.loaded / event.total);
  request.onloadend = doing(async () => {
    sending -= 1;
    send();
    if (request.status !== 200) {
      const causes = request.status && request.responseText.startsWith("{") ? JSON.parse(request.responseText).causes : [{ field: null, text: _("was not received whole; drop it again") }];
      card.querySelector(".words").textContent = causes.map((cause) => cause.text).join("; ");
      card.querySelector("progress").remove();
      throw new Refused(request.status, causes.map((cause) => ({ ...cause, text: `${file.name}: ${cause.text}` })));
    }
    card.remove();
    let arrival = JSON.parse(request.responseText);
    if (note) arrival = await post(`/api/arrivals/${arrival.id}/note`, { text: await note.text() });
    show(arrival);
  });
  request.send(file);
}

function take(files) {
  const stem = (file) => file.name.replace(/\.[^.]*$/, "");
  const notes = new Map(files.filter((file) => /\.toml$/i.test(file.name)).map((file) => [stem(file), file]));
  for (const file of files) {
    const { name } = file;
    const size = megabytes(file.size);
    if (/\.toml$/i.test(file.name) || file.name.startsWith(".")) continue;
    const card = element(
      "li",
      { class: "arrival" },
      element("h2", {}, name),
      element("progress", { max: 1, value: 0, "aria-label": _("{name} on its way") }),
      element("p", { class: "small words" }, _("on its way, {size}")),
    );
    list.append(card);
    waiting.push({ file, note: notes.get(stem(file)), card });
  }
  send();
}

async function filesOf(entry) {
  if (entry.isFile) return [await new Promise((done, failed) => entry.file(done, failed))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((done, failed) => reader.readEntries(done, failed));
    if (!some.length) return found;
    for (const inner of some) found.push(...(await filesOf(inner)));
  }
}

// Cards

function limbDrawing(arrival, address) {
  const { width_px, height_px } = arrival.picture;
  const { disc, name, orientation } = arrival;
  const known = (orientation?.north_angle_deg ?? null) !== null;
  const svg = shape("svg", { class: "sheet", role: "img", viewBox: `-0.5 -0.5 ${width_px} ${height_px}`, "aria-label": known ? _("{name} with its limb and north") : _("{name} with its limb") });
  svg.append(
    shape("image", { href: address, x: -0.5, y: -0.5, width: width_px, height: height_px }),
    shape(
      "g",
      { class: "limb" },
      shape("ellipse", { cx: disc.x_px, cy: disc.y_px, rx: disc.radius_px * (1 - disc.flattening), ry: disc.radius_px, transform: `rotate(${90 - disc.short_axis_angle_deg} ${disc.x_px} ${disc.y_px})` }),
    ),
  );
  if (known) {
    const wayUp = new WayUp(disc, orientation.north_angle_deg, Boolean(orientation.mirrored));
    const [[x1, y1], [x2, y2], [x, y]] = [0.82, 1, 0.72].map((radii) => wayUp.toPicture(0, radii));
    svg.append(shape("g", { class: "axis" }, shape("path", { class: "seam", d: `M${x1} ${y1}L${x2} ${y2}` }), shape("text", { class: "seam", x, y, "font-size": disc.radius_px * 0.16 }, "N")));
  }
  return svg;
}

async function drawing(arrival) {
  if (!arrival.shown) return "";
  const box = element("div", { class: arrival.disc ? "ground natural" : "ground" });
  const address = await picture(`/api/arrivals/${arrival.id}/image`);
  box.append(arrival.disc ? limbDrawing(arrival, address) : element("img", { src: address, alt: arrival.name }));
  return box;
}

function northWords({ orientation }) {
  if (!orientation) return "";
  if (orientation.north_angle_deg === null) return _("north unknown yet");
  const angle = figure(orientation.north_angle_deg, 1);
  const sigma = figure(orientation.sigma_deg, 1);
  return orientation.mirrored ? _("north at {angle}° ± {sigma}°, mirrored") : _("north at {angle}° ± {sigma}°");
}

function factsOf(arrival) {
  const source = arrival.time_from;
  const rows = [
    [_("time"), arrival.time_utc && `${arrival.time_utc.replace("T", " ").replace("Z", "")} UTC`, source && _("from {source}")],
    [_("instrument"), arrival.instrument, arrival.site],
    [_("north"), northWords(arrival)],
  ].filter((row) => row[1]);
  const table = element("table", { class: "facts" }, element("tbody"));
  for (const [name, value, more] of rows)
    table.tBodies[0].append(element("tr", {}, element("th", { scope: "row" }, name), element("td", {}, value, more ? element("span", { class: "meaning" }, more) : "")));
  return rows.length ? table : "";
}

const KEPT = new Map([
  ["measured", _("an observation, measured")],
  ["unmeasured", _("the whole Sun, shown only")],
  ["extra", _("a further picture of the day")],
]);

function select(name, values, chosen, label) {
  const named = values instanceof Map ? [...values] : values.map((value) => [value, value]);
  const field = element("select", { name }, ...named.map(([value, words]) => element("option", { value }, words)));
  if (chosen) field.value = chosen;
  return element("label", {}, label, field);
}

function form(arrival, open) {
  const zone = names.time_zone;
  const fields = element(
    "form",
    { class: "fields" },
    element("label", {}, _("Time, middle of the capture (without a zone it is of {zone})"), element("input", { name: "time", autocomplete: "off", placeholder: "2026-06-03T10:15" })),
    select("instrument", names.instruments, arrival.instrument, _("Instrument")),
    select("site", names.sites, arrival.site, _("Site")),
    select("kept", KEPT, arrival.kept, _("Kept as")),
    element("label", {}, _("Caption of a further picture"), element("input", { name: "caption", autocomplete: "off", value: arrival.caption })),
    element("label", {}, _("Note for the day"), element("input", { name: "note", autocomplete: "off" })),
    element("div", { class: "doing" }, element("button", {}, _("Set"))),
  );
  fields.onsubmit = (event) => {
    event.preventDefault();
    const data = Object.fromEntries([...new FormData(fields)].filter(([name, value]) => value && value !== arrival[name]));
    change(arrival, data);
  };
  return element("details", open ? { open: "" } : {}, element("summary", {}, _("Put right")), fields);
}

const change = (arrival, data) =>
  doing(async () => {
    show(await post(`/api/arrivals/${arrival.id}/state`, data));
  }, cards.get(arrival.id).card)();

function remedies(arrival) {
  const offered = [];
  const button = (words, data) => {
    const made = element("button", { type: "button" }, words);
    made.onclick = () => change(arrival, data);
    offered.push(made);
  };
  if (arrival.remedies?.includes("unmeasured")) button(_("Keep it as the whole Sun, unmeasured"), { kept: "unmeasured" });
  if (arrival.remedies?.includes("extra")) button(_("Keep it as a further picture of the day"), { kept: "extra" });
  const leave = element("button", { type: "button", class: "plain" }, _("Leave it out"));
  leave.onclick = doing(async () => {
    await post(`/api/arrivals/${arrival.id}/leave-out`);
    cards.get(arrival.id)?.card.remove();
    cards.delete(arrival.id);
    showTogether();
  });
  return element("div", { class: "doing" }, ...offered, leave);
}

const canBeFiled = (arrival) => arrival.state === "looked" && !arrival.causes?.length && !arrival.known_as;

async function show(arrival) {
  const before = cards.get(arrival.id);
  const { name, known_as: file } = arrival;
  const size = megabytes(arrival.size_bytes);
  const card = element("li", { class: "arrival", "data-arrival": arrival.id });
  cards.set(arrival.id, { arrival, card, chosen: before?.chosen ?? true });
  const kept = { unmeasured: _("shown only, unmeasured"), extra: _("a further picture of its day") }[arrival.kept];
  const choice = element("input", { type: "checkbox", "aria-label": _("Choose {name}") });
  choice.checked = before?.chosen ?? true;
  choice.onchange = () => {
    cards.get(arrival.id).chosen = choice.checked;
    showTogether();
  };
  card.append(element("h2", {}, arrival.state === "looked" ? choice : "", arrival.name));
  if (arrival.state !== "looked") card.append(element("p", { class: "small" }, _("{size} here; being looked at …")));
  else {
    card.append(await drawing(arrival));
    if (kept) card.append(element("p", { class: "kicker" }, kept));
    if (arrival.known_as) card.append(element("p", { class: "refused" }, _("In the archive already, as {file}")));
    for (const cause of arrival.causes ?? []) card.append(element("p", { class: "refused" }, cause));
    card.append(factsOf(arrival));
    if (arrival.doubts?.length) card.append(element("ul", { class: "cautions small" }, ...arrival.doubts.map((words) => element("li", {}, words))));
    if (!arrival.known_as) card.append(form(arrival, arrival.remedies?.some((one) => one === "time" || one === "facts")));
    card.append(remedies(arrival));
  }
  const there = document.querySelector(`[data-arrival="${arrival.id}"]`);
  if (there) there.replaceWith(card);
  else list.append(card);
  showTogether();
}

function chosen() {
  return [...cards.values()].filter((one) => one.chosen && canBeFiled(one.arrival)).map((one) => one.arrival);
}

function fileWords(n) {
  if (!n) return _("Nothing to file yet");
  return n === 1 ? _("File this picture") : ngettext("File {n} picture", "File {n} pictures", n);
}

const chosenWords = (n) => ngettext("{n} chosen", "{n} chosen", n);
const filedWords = (n) => ngettext("{n} filed", "{n} filed", n);

function showTogether() {
  const ready = chosen();
  byId("together").hidden = !cards.size;
  byId("file").disabled = !ready.length;
  byId("file").textContent = fileWords(ready.length);
  const several = [...cards.values()].filter((one) => one.chosen && one.arrival.state === "looked" && !one.arrival.known_as).length;
  byId("several").hidden = several < 2;
  byId("several-words").textContent = chosenWords(several);
}

async function refresh() {
  const found = await get("/api/arrivals");
  names = found;
  byId("several-site").replaceChildren(...names.sites.map((name) => element("option", {}, name)));
  byId("several-instrument").replaceChildren(...names.instruments.map((name) => element("option", {}, name)));
  for (const arrival of found.arrivals) {
    const known = cards.get(arrival.id)?.arrival;
    if (!known || known.state !== arrival.state) await show(arrival);
  }
}

function listen() {
  const drop = byId("drop");
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) drop.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    const files = [...event.dataTransfer.files];
    doing(async () => take(entries.length ? (await Promise.all(entries.map(filesOf))).flat() : files))();
  });
  document.addEventListener("paste", (event) => {
    if (event.clipboardData.files.length) take([...event.clipboardData.files]);
  });
  for (const id of ["choose", "choose-folder"])
    byId(id).onchange = (event) => {
      take([...event.target.files]);
      event.target.value = "";
    };
  byId("several").onsubmit = (event) => {
    event.preventDefault();
    doing(async () => {
      const data = { site: byId("several-site").value, instrument: byId("several-instrument").value };
      for (const { arrival, chosen: is } of [...cards.values()]) if (is && arrival.state === "looked") await show(await post(`/api/arrivals/${arrival.id}/state`, data));
    })();
  };
  byId("file").onclick = doing(async () => {
    const some = chosen();
    byId("file").disabled = true;
    byId("file").textContent = _("Being filed …");
    try {
      const done = await post("/api/arrivals/file", { ids: some.map((arrival) => arrival.id) });
      const filed = done.filed.filter((one) => one.status === "added");
      for (const one of done.filed)
        if (one.status === "added" || one.status === "known") {
          const { id } = one;
          cards.get(one.arrival)?.card.replaceWith(
            element("li", { class: "arrival" }, element("h2", {}, one.name), element("p", {}, id ? element("a", { href: `/picture#${id}` }, _("filed as {id}")) : _("filed with its day")), ...one.warnings.map((words) => element("p", { class: "small" }, words))),
          );
          cards.delete(one.arrival);
        }
      const refused = done.filed.filter((one) => one.causes.length);
      if (refused.length) tell(new Refused(422, refused.flatMap((one) => one.causes.map((text) => ({ field: null, text: `${one.name}: ${text}` })))));
      say(filedWords(filed.length));
    } finally {
      showTogether();
    }
  });
  whenNews((news) => {
    if (news.looked?.some((id) => !cards.has(id) || cards.get(id).arrival.state !== "looked")) refresh().catch(tell);
  });
}

begin(async () => {
  listen();
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  await refresh();
});
