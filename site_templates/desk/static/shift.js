// The times of many pictures shifted at once: which they are is shown before.
import { doing, element, get, post, say, undoWords } from "/static/desk.js";

const MOST_LISTED = 40;

const NAMES = { hours: _("hours"), minutes: _("minutes"), seconds: _("seconds") };
const notWhole = (field, typed) => _("{field}: ‘{typed}’ is not a whole number; write 12");
const shiftWords = (n) => (n === 1 ? _("Shift this one") : n ? ngettext("Shift these {n}", "Shift these {n}", n) : _("Shift these"));
const picturesBy = (n, by) => ngettext("{n} picture by {by}; times are UTC", "{n} pictures by {by}; times are UTC", n);
const shifted = (n, by) => ngettext("Shifted: {n} picture by {by}", "Shifted: {n} pictures by {by}", n);
const andMore = (n, day) => ngettext("and {n} more, to {day}", "and {n} more, to {day}", n);

export function spoken(seconds) {
  const whole = Math.abs(Math.round(seconds));
  const parts = [[Math.floor(whole / 3600), "h"], [Math.floor((whole % 3600) / 60), "min"], [whole % 60, "s"]];
  return `${seconds < 0 ? "−" : "+"}${parts.filter(([value]) => value).map(([value, unit]) => `${value} ${unit}`).join(" ") || "0 s"}`;
}

const clock = (time) => `${time.slice(0, 10)} ${time.slice(11, time.length - 1)}`;
const moved = (time, seconds) => clock(new Date(Date.parse(time) + seconds * 1000).toISOString().replace(/\.\d+/, ""));
const number = (name, value) => element("input", { name, inputmode: "numeric", autocomplete: "off", value });
const labelled = (words, field) => element("label", {}, words, field);

/** Put the form into a box; return how many pictures it finds. Those in `start.without` are left out. */
export async function shiftPanel(box, start, onMoved = () => {}) {
  let known = await get("/api/shift");
  let chosen = [];
  let asked = 0;
  const whole = Math.abs(start.shift_s ?? 0);
  const way = element("select", { name: "way" }, element("option", { value: "-1" }, _("earlier")), element("option", { value: "1" }, _("later")));
  way.value = (start.shift_s ?? -1) < 0 ? "-1" : "1";
  const instrument = element("select", { name: "instrument" }, element("option", { value: "" }, _("any")), ...known.instruments.map((name) => element("option", { value: name }, name)));
  instrument.value = start.instrument ?? "";
  const fields = element(
    "form",
    { class: "fields shift" },
    labelled(_("Hours"), number("hours", Math.floor(whole / 3600))),
    labelled(_("Minutes"), number("minutes", Math.floor((whole % 3600) / 60))),
    labelled(_("Seconds"), number("seconds", whole % 60)),
    labelled(_("Which way"), way),
    labelled(_("From day"), element("input", { name: "first", type: "date", value: start.first })),
    labelled(_("To day"), element("input", { name: "last", type: "date", value: start.last })),
    labelled(_("Instrument"), instrument),
  );
  const words = element("p", { role: "status" });
  const list = element("ol", { class: "shifted" });
  const shift = element("button", { type: "button", class: "main", disabled: "" }, _("Shift them"));
  const undo = element("button", { type: "button" }, _("Undo"));
  const redo = element("button", { type: "button" }, _("Redo"));
  const last = element("span", { class: "small" });
  box.replaceChildren(fields, words, list, element("div", { class: "doing" }, shift, undo, redo, last));
  box.hidden = false;

  const value = (name) => fields.elements[name].value;
  const PARTS = ["hours", "minutes", "seconds"];
  const wrong = () => PARTS.filter((name) => !/^\d{0,6}$/.test(value(name).trim()));
  const seconds = () => Number(value("way")) * PARTS.reduce((sum, name) => 60 * sum + Number(value(name)), 0);

  function offer() {
    undo.disabled = !known.undo;
    redo.disabled = !known.redo;
    last.textContent = undoWords(known.undo);
  }

  function draw() {
    for (const name of PARTS) {
      if (wrong().includes(name)) fields.elements[name].setAttribute("aria-invalid", "true");
      else fields.elements[name].removeAttribute("aria-invalid");
    }
    if (wrong().length) {
      shift.disabled = true;
      list.replaceChildren();
      words.textContent = wrong().map((name) => notWhole(NAMES[name], value(name).trim())).join("; ");
      return;
    }
    const by = seconds();
    shift.disabled = !chosen.length || !by;
    shift.textContent = shiftWords(chosen.length);
    words.textContent = chosen.length ? picturesBy(chosen.length, spoken(by)) : _("No picture of those days and that instrument");
    list.replaceChildren(...chosen.slice(0, MOST_LISTED).map((one) => element("li", {}, `${clock(one.time_utc)} → ${moved(one.time_utc, by).slice(11)}`)));
    if (chosen.length > MOST_LISTED) list.append(element("li", {}, andMore(chosen.length - MOST_LISTED, chosen.at(-1).id.slice(0, 10))));
  }

  async function look() {
    const mine = ++asked;
    const form = { first: value("first") || null, last: value("last") || null, instrument: value("instrument") || null, without: start.without ?? [] };
    const found = await post("/api/shift/look", form).then((answer) => answer.pictures, (error) => (error.status === 422 ? [] : Promise.reject(error)));
    if (mine !== asked) return;
    chosen = found;
    draw();
  }

  const done = async (answer, told) => {
    known = answer;
    (answer.warnings ?? []).forEach((line) => say(line));
    say(told);
    offer();
    await onMoved(answer);
    await look();
    shift.disabled = true; // a second time it would be moved twice as far
  };
  fields.onsubmit = (event) => event.preventDefault();
  fields.oninput = draw;
  fields.onchange = doing(look);
  shift.onclick = doing(async () => {
    await done(await post("/api/shift", { shift_s: seconds(), ids: chosen.map((one) => one.id) }), shifted(chosen.length, spoken(seconds())));
  });
  undo.onclick = doing(async () => done(await post("/api/shift/undo"), _("The former times are back")));
  redo.onclick = doing(async () => done(await post("/api/shift/redo"), _("Shifted again")));
  offer();
  await look();
  return chosen.length;
}
