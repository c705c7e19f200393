// The settings in forms, each kept by itself.
import { begin, byId, doing, element, figure, get, post, say, tell, undoWords } from "/static/desk.js";

const KINDS = {
  sites: [
    { key: "name", label: _("Name") },
    { key: "horizon", label: _("Where it is"), choices: { "": _("on the Earth"), none: _("in space, without a horizon") } },
    { key: "latitude_deg", label: _("Latitude, degrees") },
    { key: "longitude_deg", label: _("Longitude, degrees") },
    { key: "elevation_m", label: _("Height, m"), number: true },
  ],
  instruments: [
    { key: "name", label: _("Name") },
    { key: "mount", label: _("Mount"), choices: { unknown: _("I don't know"), altaz: _("alt-azimuth: moves up and sideways"), equatorial: _("equatorial: follows on one axis") } },
    { key: "mirrored", label: _("Are its pictures mirror images?"), choices: { unknown: _("I don't know"), no: _("no"), yes: _("yes, as with a star diagonal") } },
    { key: "camera_angle_deg", label: _("Camera angle, degrees (empty: I don't know)"), number: true },
    { key: "band", label: _("Light"), choices: { white: _("white light"), "h-alpha": _("H-alpha"), "calcium-k": _("calcium K"), other: _("other") } },
    { key: "filter", label: _("Filter") },
  ],
  observers: [
    { key: "name", label: _("Name") },
    { key: "code", label: _("Code in an observing programme") },
    { key: "relative_number_k", label: _("Own factor k (empty: that of the archive)"), number: true },
  ],
  factors: [
    { key: "observer", label: _("Observer") },
    { key: "instrument", label: _("Instrument") },
    { key: "relative_number_k", label: _("Factor k"), number: true },
    { key: "sigma", label: _("Its standard error"), number: true },
    { key: "against", label: _("Reduces to") },
  ],
};
const LOOKS = { natural: _("natural"), warm: _("warm"), mono: _("black and white"), flat: _("flattened: without the darkening towards the limb") };
const KEPT = { sites: (name) => _("The site {name} is kept"), instruments: (name) => _("The instrument {name} is kept"), observers: (name) => _("The observer {name} is kept"), factors: (name) => _("The factor of {name} is kept") };

// What is read from a field, and compared with it, is what stood in it.
const written = (value) => (typeof value === "number" ? figure(value) : String(value ?? ""));

let now;

async function keep(changes, words) {
  show(await post("/api/settings", { made_from: now.made_from, changes }));
  say(words);
}

function fieldOf(kind, number, entry, { key, label, number: isNumber, choices }) {
  const name = `${kind}[${number + 1}].${key}`;
  let field;
  if (choices) {
    field = element("select", { name }, ...Object.entries(choices).map(([value, words]) => element("option", { value }, words)));
    const value = entry[key];
    field.value = typeof value === "boolean" ? (value ? "yes" : "no") : (value ?? Object.keys(choices)[0]);
  } else {
    // Text, for a browser drops a comma from what it takes for a number; what was typed is read by the server.
    field = element("input", { name, value: written(entry[key]), inputmode: isNumber ? "decimal" : null, autocomplete: "off" });
  }
  field.dataset.key = key;
  if (key === "name" && entry.name !== undefined) field.readOnly = true;
  return element("label", {}, label, field);
}

function entryForm(kind, number, entry) {
  const fields = KINDS[kind];
  const form = element("form", { class: "fields entry" }, ...fields.map((field) => fieldOf(kind, number, entry, field)));
  form.append(element("div", { class: "doing" }, element("button", {}, Object.keys(entry).length ? _("Keep") : _("Add"))));
  form.onsubmit = (event) => {
    event.preventDefault();
    doing(async () => {
      const changed = { ...entry };
      for (const field of form.querySelectorAll("[data-key]")) {
        const { key } = field.dataset;
        const value = field.value.trim();
        if (value === "") delete changed[key];
        else if (field.tagName !== "SELECT") changed[key] = value === written(entry[key]) ? entry[key] : value;
        else if (!(field.tagName === "SELECT" && entry[key] === undefined && value === Object.keys(fields.find((one) => one.key === key).choices)[0])) changed[key] = typeof entry[key] === "boolean" ? value === "yes" : value;
      }
      const all = [...(now.values[kind] ?? [])];
      all[number] = changed;
      await keep({ [kind]: all }, KEPT[kind](changed.name ?? changed.observer));
    }, form)();
  };
  return form;
}

// The looks that are chosen, in order, then the others.
let looks;

function showLooks(focus) {
  const row = (name, at) => {
    const look = LOOKS[name] ?? name;
    const box = element("input", { type: "checkbox", name: `look-${name}` });
    box.checked = looks.has(name);
    box.onchange = () => looks.set(name, box.checked);
    const up = element("button", { type: "button", "aria-label": _("{look} one up"), "data-up": name }, "↑");
    up.disabled = at === 0;
    up.onclick = () => {
      const order = [...looks];
      order.splice(at - 1, 0, ...order.splice(at, 1));
      looks = new Map(order);
      showLooks(name);
    };
    return element("li", {}, up, element("label", {}, box, ` ${look}`));
  };
  byId("looks-list").replaceChildren(...[...looks.keys()].map(row));
  const button = focus && document.querySelector(`[data-up="${focus}"]`);
  if (button) (button.disabled ? button.nextElementSibling.firstChild : button).focus();
}

function readLooks() {
  const kept = now.values.looks ?? Object.keys(LOOKS);
  looks = new Map([...kept.map((name) => [name, true]), ...Object.keys(LOOKS).filter((name) => !kept.includes(name)).map((name) => [name, false])]);
  showLooks();
}

function showFits() {
  const { fits = "all" } = now.values;
  byId("fits").elements.fits.value = typeof fits === "number" ? "number" : fits;
  byId("fits-days").value = typeof fits === "number" ? fits : "";
  byId("fits-days").disabled = typeof fits !== "number";
}

const before = (field) => written(now.values[field.name] ?? field.dataset.usual);

function show(found) {
  if (now && now.values.language !== found.values.language) return location.reload();
  now = found;
  byId("undo").disabled = !now.undo;
  byId("redo").disabled = !now.redo;
  byId("undo-words").textContent = undoWords(now.undo);
  for (const field of byId("archive").elements) {
    if (!field.name) continue;
    const value = before(field);
    // Such as de-AT, which is spoken as de.
    if (field.options && ![...field.options].some((option) => option.value === value)) field.append(element("option", { value }, value));
    field.value = value;
  }
  readLooks();
  showFits();
  for (const kind of Object.keys(KINDS)) byId(kind).replaceChildren(...(now.values[kind] ?? []).map((entry, number) => entryForm(kind, number, entry)));
  return undefined;
}

function listen() {
  byId("zones").append(...(Intl.supportedValuesOf?.("timeZone") ?? []).map((value) => element("option", { value })));
  byId("archive").onsubmit = (event) => {
    event.preventDefault();
    doing(async () => {
      const changes = {};
      for (const field of byId("archive").elements) {
        if (!field.name) continue;
        const text = field.value.trim();
        if (text !== before(field)) changes[field.name] = text || null;
      }
      if (!Object.keys(changes).length) return say(_("Nothing has changed"));
      await keep(changes, _("Kept"));
      byId("archive-title").textContent = now.values.title;
      return undefined;
    })();
  };
  byId("looks").onsubmit = (event) => {
    event.preventDefault();
    const chosen = [...looks].filter(([, is]) => is).map(([name]) => name);
    doing(() => keep({ looks: chosen }, _("The looks are kept")))();
  };
  byId("fits").elements.fits.onchange = (event) => {
    byId("fits-days").disabled = event.target.value !== "number";
    if (!byId("fits-days").disabled) byId("fits-days").focus();
  };
  byId("fits").onsubmit = (event) => {
    event.preventDefault();
    const { value } = byId("fits").elements.fits;
    doing(() => keep({ fits: value === "number" ? byId("fits-days").value.trim() : value }, _("Kept")), byId("fits"))();
  };
  document.querySelectorAll("[data-add]").forEach((button) => {
    const kind = button.dataset.add;
    button.onclick = () => {
      const number = (now.values[kind] ?? []).length;
      if (byId(kind).children.length > number) return;
      byId(kind).append(entryForm(kind, number, {}));
      byId(kind).lastChild.querySelector("input").focus();
    };
  });
  for (const way of ["undo", "redo"]) byId(way).onclick = doing(async () => show(await post(`/api/settings/${way}`)));
}

begin(async () => {
  listen();
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  show(await get("/api/settings"));
});
