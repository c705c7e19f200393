// Films: a form with a strip of what will come, the queue of those being made, and those that are kept.
import { ask, begin, byId, doing, element, figure, get, picture, post, say, tell, whenNews } from "/static/desk.js";

const PARTS = { film: _("film, MP4"), smaller: _("smaller, AV1"), clip: _("short clip"), still: _("still picture"), frames: _("list of frames") };
const ENDINGS = { film: ".mp4", smaller: "-av1.mp4", clip: "-loop.mp4", still: ".jpg", frames: ".json" };
const REST_MS = 120;
const form = byId("film");
const field = (name) => form.elements[name];
let now;

/** Return the settings of the film that the form asks for; what is left empty is left to the style. */
function filled() {
  const film = {};
  const style = field("film.style").value;
  const spans = { days: ["film.days"], dates: ["film.from", "film.to"], rotation: ["film.rotation"], eclipse: ["film.eclipse"] }[field("span").value];
  const foreign = new Set(["film.days", "film.from", "film.to", "film.rotation", "film.eclipse"].filter((name) => !spans.includes(name)));
  if (style !== "smooth") foreign.add("film.reach_days");
  if (style !== "corotating") foreign.add("film.view").add("film.longitude_deg");
  if (style === "corotating" && !field("film.view").value) foreign.add("film.axis").add("film.marks");
  field("film.eclipse").checked = field("span").value === "eclipse";
  for (const one of form.elements) {
    if (!one.name?.startsWith("film.") || foreign.has(one.name) || (one.type === "radio" && !one.checked)) continue;
    const key = one.name.slice(5);
    if (one.type === "checkbox") {
      if (one.checked) film[key] = true;
    } else if (one.value.trim() !== "") film[key] = one.value.trim();
  }
  return film;
}

function showFieldsOfStyle() {
  const style = field("film.style").value;
  const span = field("span").value;
  const isMap = style === "corotating" && !field("film.view").value;
  for (const [part, isShown] of Object.entries({ dates: span === "dates", rotation: span === "rotation", smooth: style === "smooth", corotating: style === "corotating", eclipse: now?.has_eclipse, disc: !isMap, band: now?.bands.length > 1 }))
    form.querySelectorAll(`.of-${part}`).forEach((one) => (one.hidden = !isShown));
  const ofEclipse = span === "eclipse";
  const words = { smooth: ofEclipse ? _("Seconds for an hour") : _("Seconds for a day"), each: _("Seconds for a picture") };
  byId("pace-words").textContent = style === "smooth" ? words.smooth : words.each;
  field("film.pace_s").placeholder = style === "smooth" ? (ofEclipse ? "12" : "2") : ofEclipse ? "0.4" : "1";
  field("film.size_px").placeholder = field("film.shape").value ? "1080" : "1024";
}

const date = (time) => `${time.slice(5, 7)}-${time.slice(8, 10)}`;

function length(seconds) {
  const whole = Math.round(seconds);
  return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${whole % 60} s`;
}

const observations = (n) => ngettext("{n} observation", "{n} observations", n);
const frameCount = (n) => ngettext("{n} frame", "{n} frames", n);
const blankFrames = (n) => ngettext("{n} frame is blank, for no picture is within reach", "{n} frames are blank, for no picture is within reach", n);

/** Draw the frames, which come side by side in one picture. */
async function drawStrip(strip) {
  const bytes = Uint8Array.from(atob(strip.jpeg), (sign) => sign.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
  const side = image.height;
  const frames = strip.shown.map(({ time_utc: time, kind }, number) => {
    const canvas = element("canvas", { width: side, height: side, "aria-hidden": "true" });
    canvas.getContext("2d").drawImage(image, number * side, 0, side, side, 0, 0, side, side);
    const clock = element("time", { datetime: time }, `${date(time)} ${time.slice(11, 16)}`);
    return element("li", { class: kind }, canvas, clock);
  });
  byId("strip").replaceChildren(...frames);
  const blank = strip.blank ? `; ${blankFrames(strip.blank)}` : "";
  byId("strip-words").textContent = `${strip.title}: ${observations(strip.observations)}, ${length(strip.length_s)}, ${frameCount(strip.frames)}${blank}`;
}

let due;
let asked = 0;
function askStrip() {
  clearTimeout(due);
  due = setTimeout(async () => {
    asked += 1;
    const mine = asked;
    byId("strip").setAttribute("aria-busy", "true");
    try {
      const strip = await post("/api/films/strip", { film: filled() });
      if (mine === asked) await drawStrip(strip);
    } catch (error) {
      if (mine !== asked) return;
      byId("strip").replaceChildren();
      byId("strip-words").textContent = (error.causes ?? [{ text: String(error.message) }]).map(({ text }) => text).join("; ");
    } finally {
      if (mine === asked) byId("strip").removeAttribute("aria-busy");
    }
  }, REST_MS);
}

async function save(name, part, fileName) {
  const blob = await (await ask(`/api/films/${name}/${part}`)).blob();
  const address = URL.createObjectURL(blob);
  const link = element("a", { href: address, download: fileName });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
}

/** A button that saves the film, and a choice of the other files that were made with it. */
function saving(name, stem, parts, film) {
  const choice = element("select", { "aria-label": _("What to save of {film}") }, ...parts.map((part) => element("option", { value: part }, PARTS[part])));
  const button = element("button", { type: "button", "aria-label": _("Save a copy of {film}") }, _("Save a copy"));
  button.onclick = doing(() => save(name, choice.value, `${stem}${ENDINGS[choice.value]}`));
  return [button, choice];
}

async function play(item, film) {
  const ground = item.querySelector(".ground");
  ground.querySelector(".play").disabled = true;
  const video = element("video", { controls: "", loop: "", playsinline: "", "aria-label": film.title });
  video.src = await picture(`/api/films/${film.name}/film`);
  ground.replaceChildren(video);
  video.focus();
  await video.play().catch(() => {}); // a browser may wait for a press on its own controls
}

function keptFilm(film) {
  const { title } = film;
  const item = element("li", { "data-film": film.name });
  const ground = element("div", { class: "ground" });
  const facts = [];
  if (film.made) {
    const still = element("img", { alt: "" });
    picture(`/api/films/${film.name}/still`).then((address) => (still.src = address), tell);
    const button = element("button", { type: "button", class: "play plain", "aria-label": _("Play {title}") });
    button.innerHTML = '<svg viewBox="0 0 48 48" aria-hidden="true"><circle cx="24" cy="24" r="22" fill="#000" fill-opacity=".45" stroke="currentColor" stroke-width="1.5"/><path d="M19 15l15 9-15 9z" fill="currentColor"/></svg>';
    button.onclick = doing(() => play(item, film));
    ground.append(still, button);
    facts.push(length(film.made.length_s), observations(film.made.observations), `${figure(film.made.parts.film / 1e6, 1)} MB`);
  }
  const forget = element("button", { type: "button", "aria-label": _("Forget {title}") }, _("Forget"));
  forget.onclick = doing(async () => {
    show(await post("/api/films/forget", { made_from: now.made_from, name: film.name }));
    say(_("Forgotten; Undo brings it back"));
    byId("undo").focus();
  });
  const buttons = element("div", { class: "doing" });
  if (film.made) buttons.append(...saving(film.name, film.name, Object.keys(film.made.parts), film.title));
  if (!film.made || film.late) {
    const again = element("button", { type: "button", class: "main", "aria-label": film.made ? _("Make anew: {title}") : _("Make: {title}") }, film.made ? _("Make anew") : _("Make"));
    again.onclick = doing(() => make(film.film, true));
    buttons.prepend(again);
  }
  buttons.append(forget);
  if (film.made) item.append(ground);
  item.append(element("h3", {}, film.title));
  if (facts.length || film.options.length) item.append(element("p", { class: "small" }, [...facts, ...film.options].join(" · ")));
  if (film.late) item.append(element("p", { class: "small late" }, film.made ? _("Its days have changed since it was made.") : _("It has to be made.")));
  item.append(buttons);
  return item;
}

function show(found) {
  now = found;
  const playing = document.querySelector(".kept video");
  const shown = JSON.stringify([found.films, found.made_from]);
  byId("undo").disabled = !now.undo;
  byId("redo").disabled = !now.redo;
  byId("undo-words").textContent = now.undo ?? "";
  byId("no-film").hidden = now.films.length > 0;
  if (byId("kept").dataset.shown !== shown && (!playing || playing.paused)) {
    byId("kept").dataset.shown = shown;
    byId("kept").replaceChildren(...now.films.map(keptFilm));
  }
  showFieldsOfStyle();
}

const LOOKS = { natural: _("natural"), warm: _("warm"), mono: _("black and white"), flat: _("flattened") };
const BANDS = { white: _("white light"), "h-alpha": _("H-alpha"), "calcium-k": _("calcium K"), other: _("other") };

function offer() {
  const look = LOOKS[now.looks[0]];
  field("film.look").replaceChildren(element("option", { value: "" }, _("usual: {look}")), ...Object.entries(LOOKS).map(([value, words]) => element("option", { value }, words)));
  field("film.rotation").replaceChildren(...now.rotations.map((number) => element("option", { value: number }, String(number))));
  field("film.band").replaceChildren(element("option", { value: "" }, _("white, or what there is")), ...now.bands.map((band) => element("option", { value: band }, BANDS[band])));
  for (const end of ["from", "to"]) {
    const one = field(`film.${end}`);
    [one.min, one.max] = [now.first ?? "", now.last ?? ""];
    one.value ||= (end === "from" ? now.first : now.last) ?? "";
  }
}

async function make(film, keep) {
  await post("/api/films/make", { film, keep });
  byId("queue-band").scrollIntoView({ block: "nearest" });
}

function queued(film) {
  const { words: title } = film;
  const item = element("li", { "data-job": film.id }, element("strong", {}, title));
  const bar = element("progress", { "aria-label": _("How far {title} is") });
  const words = element("span", { class: "small" });
  const buttons = element("div", { class: "doing" });
  const ending = film.state === "done" ? _("Done with it") : film.state === "refused" ? _("Take out") : _("Cancel");
  const end = element("button", { type: "button", "aria-label": `${ending}: ${title}` }, ending);
  end.onclick = doing(() => post(`/api/films/${film.id}/cancel`));
  if (film.state === "done") buttons.append(...saving(film.id, film.name, (film.parts ?? []), title));
  buttons.append(end);
  if (film.state === "waiting" || film.state === "working") item.append(bar);
  item.append(words, buttons);
  if (film.state === "refused") item.append(...film.causes.map((cause) => element("p", { class: "refused small" }, cause)));
  return item;
}

/** Keep what is there where only its progress changed: a button in use stays under the finger. */
function showQueue(films) {
  const list = byId("queue");
  byId("queue-band").hidden = !films.length;
  const old = new Map([...list.children].map((item) => [`${item.dataset.job} ${item.dataset.state}`, item]));
  const items = films.map((film) => {
    const kind = film.state === "working" ? "waiting" : film.state;
    const item = old.get(`${film.id} ${kind}`) ?? queued(film);
    item.dataset.state = kind;
    const bar = item.querySelector("progress");
    const { doing: step, done, total } = film;
    const words = item.querySelector(".small");
    if (film.state === "done") words.textContent = _("Made; it stays until the desk ends. Save it where you like.");
    if (film.state === "waiting") words.textContent = _("waits for its turn");
    if (film.state === "working") words.textContent = total ? _("{step}: {done} of {total}") : _("begins");
    if (bar) {
      if (film.total > 0 && film.state === "working") [bar.max, bar.value] = [film.total, film.done];
      else bar.removeAttribute("value");
    }
    return item;
  });
  if (items.length !== list.children.length || items.some((item, number) => list.children[number] !== item)) list.replaceChildren(...items);
}

let before = "";
function hear(news) {
  showQueue(news.films);
  const state = JSON.stringify([news.site.state, news.films.map(({ id, state: one }) => [id, one === "working" ? "waiting" : one])]);
  if (before && before !== state)
    get("/api/films").then((found) => {
      const isBuilt = now?.built;
      show(found);
      if (!isBuilt && found.built) offer();
      if (news.site.state === "in order") askStrip();
    }, tell);
  before = state;
}

whenNews(hear);
begin(async () => {
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  show(await get("/api/films"));
  offer();
  form.addEventListener("input", () => {
    showFieldsOfStyle();
    askStrip();
  });
  form.onsubmit = (event) => {
    event.preventDefault();
    doing(() => make(filled(), field("keep").value === "site"))();
  };
  for (const way of ["undo", "redo"]) byId(way).onclick = doing(async () => show(await post(`/api/films/${way}`)));
  askStrip();
});
