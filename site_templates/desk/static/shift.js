// The times of many pictures shifted at once: which they are is shown before.
import { doing, element, get, post, say } from "/static/desk.js";

const MOST_LISTED = 40;

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
  const way = element("select", { name: "way" }, element("option", { value: "-1" }, "earlier"), element("option", { value: "1" }, "later"));
  way.value = (start.shift_s ?? -1) < 0 ? "-1" : "1";
  const instrument = element("select", { name: "instrument" }, element("option", { value: "" }, "any"), ...known.instruments.map((name) => element("option", { value: name }, name)));
  instrument.value = start.instrument ?? "";
  const fields = element(
    "form",
    { class: "fields shift" },
    labelled("Hours", number("hours", Math.floor(whole / 3600))),
    labelled("Minutes", number("minutes", Math.floor((whole % 3600) / 60))),
    labelled("Seconds", number("seconds", whole % 60)),
    labelled("Which way", way),
    labelled("From day", element("input", { name: "first", type: "date", value: start.first })),
    labelled("To day", element("input", { name: "last", type: "date", value: start.last })),
    labelled("Instrument", instrument),
  );
  const words = element("p", { role: "status" });
  const list = element("ol", { class: "shifted" });
  const shift = element("button", { type: "button", class: "main", disabled: "" }, "Shift them");
  const undo = element("button", { type: "button" }, "Undo");
  const redo = element("button", { type: "button" }, "Redo");
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
    last.textContent = known.undo ? `last: ${known.undo}` : "";
  }

  function draw() {
    for (const name of PARTS) {
      if (wrong().includes(name)) fields.elements[name].setAttribute("aria-invalid", "true");
      else fields.elements[name].removeAttribute("aria-invalid");
    }
    if (wrong().length) {
      shift.disabled = true;
      list.replaceChildren();
      words.textContent = wrong().map((name) => `${name}: ‘${value(name).trim()}’ is not a whole number; write 12`).join("; ");
      return;
    }
    const by = seconds();
    shift.disabled = !chosen.length || !by;
    shift.textContent = chosen.length === 1 ? "Shift this one" : `Shift these ${chosen.length || ""}`.trim();
    words.textContent = chosen.length ? `${chosen.length} picture${chosen.length === 1 ? "" : "s"} by ${spoken(by)}; times are UTC` : "No picture of those days and that instrument";
    list.replaceChildren(...chosen.slice(0, MOST_LISTED).map((one) => element("li", {}, `${clock(one.time_utc)} → ${moved(one.time_utc, by).slice(11)}`)));
    if (chosen.length > MOST_LISTED) list.append(element("li", {}, `and ${chosen.length - MOST_LISTED} more, to ${chosen.at(-1).id.slice(0, 10)}`));
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
    const told = `${chosen.length} picture${chosen.length === 1 ? "" : "s"} by ${spoken(seconds())}`;
    await done(await post("/api/shift", { shift_s: seconds(), ids: chosen.map((one) => one.id), words: told }), `Shifted ${told}`);
  });
  undo.onclick = doing(async () => done(await post("/api/shift/undo"), "The former times are back"));
  redo.onclick = doing(async () => done(await post("/api/shift/redo"), "Shifted again"));
  offer();
  await look();
  return chosen.length;
}
