// What all pages of the desk share: being let in, asking, telling what went wrong, the state of the site.

const KEPT = "desk-token";
let kept = sessionStorage.getItem(KEPT);
const hearers = [];

export const token = () => kept;
export const whenNews = (hear) => hearers.push(hear);
const neighbours = new BroadcastChannel("northlimb-desk");

neighbours.onmessage = (event) => {
  if (event.data.asks && kept) neighbours.postMessage({ token: kept });
};

/** Another page of this desk may be open; no other origin hears this channel. */
function askNeighbours() {
  return new Promise((resolve) => {
    const listen = (event) => {
      if (event.data.token) resolve(event.data.token);
    };
    neighbours.addEventListener("message", listen);
    neighbours.postMessage({ asks: true });
    setTimeout(() => resolve(null), 250);
  });
}

export class Refused extends Error {
  constructor(status, causes) {
    super(causes.map((cause) => cause.text).join("; "));
    this.status = status;
    this.causes = causes;
  }
}

export async function ask(address, form, more = {}) {
  const headers = { "northlimb-desk": kept ?? "" };
  const asked = { headers, cache: "no-store", ...more };
  if (form !== undefined) {
    asked.method = "POST";
    headers["content-type"] = form instanceof Blob ? "application/octet-stream" : "application/json";
    asked.body = form instanceof Blob ? form : JSON.stringify(form);
  }
  let answer;
  try {
    answer = await fetch(address, asked);
  } catch {
    throw new Refused(0, [{ field: null, text: _("the desk has ended, or does not answer; start northlimb desk again") }]);
  }
  if (answer.ok) return answer;
  const kind = answer.headers.get("content-type") ?? "";
  const causes = kind.startsWith("application/json") ? (await answer.json()).causes : [{ field: null, text: await answer.text() }];
  throw new Refused(answer.status, causes);
}

export const get = async (address) => (await ask(address)).json();
export const post = async (address, form = {}) => (await ask(address, form)).json();

const decimalSign = (1.5).toLocaleString(document.documentElement.lang).charAt(1);
/** A number with so many decimals, else with those that it has, as the page's language writes it. */
export const figure = (value, digits) => (digits === undefined ? String(value) : value.toFixed(digits)).replace(".", decimalSign);

export async function picture(address) {
  return URL.createObjectURL(await (await ask(address)).blob());
}

/** Name the page in the browser's tab. */
export function titled(page) {
  document.title = _("{page} · the desk");
}

/** What the next Undo takes back. */
export const undoWords = (change) => (change ? _("last: {change}") : "");

const byId = (id) => document.getElementById(id);

/** The field that a cause is about: by its whole key, else by the last part of it. */
function fieldOf(cause, place) {
  const names = cause.field ? [cause.field, cause.field.split(".").at(-1)] : [];
  const found = names.map((name) => place.querySelector(`[name="${CSS.escape(name)}"]:not([type="radio"])`)).find(Boolean);
  return found?.checkVisibility() ? found : null;
}

function clear() {
  byId("alert").replaceChildren();
  document.querySelectorAll(".told").forEach((line) => line.remove());
  document.querySelectorAll("[aria-invalid]").forEach((field) => {
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  });
}

/** Show what was refused: at the field that it is about, else at its place on the page, else above. */
export function tell(error, place = null) {
  clear();
  if (!error) return;
  let first = null;
  let above = false;
  for (const [number, cause] of (error.causes ?? [{ field: null, text: String(error.message ?? error) }]).entries()) {
    const field = fieldOf(cause, place ?? document);
    const line = element("p", { id: `told-${number}` }, cause.text);
    if (field || place) {
      line.className = "told refused";
      line.setAttribute("role", "alert");
    }
    if (field) {
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", line.id);
      (field.closest("label") ?? field).after(line);
      first ??= field;
    } else if (place) place.append(line);
    else {
      byId("alert").append(line);
      above = true;
    }
  }
  if (first) first.focus();
  else if (above) byId("alert").scrollIntoView({ block: "nearest" });
}

let forgotten;
export function say(words) {
  byId("said").textContent = words;
  clearTimeout(forgotten);
  forgotten = setTimeout(() => (byId("said").textContent = ""), 6000);
}

/** Do something that may be refused, and tell if it is: at its place, where it has one. */
export function doing(work, place = null) {
  return async (...given) => {
    try {
      tell(null);
      await work(...given);
    } catch (error) {
      tell(error, place);
    }
  };
}

const STATES = {
  none: _("The site is not built yet"),
  older: _("The site is older than the archive"),
  "in order": _("The site is up to date"),
  waiting: _("The site waits to be built"),
  building: _("The site is being built"),
  refused: _("The site could not be built"),
};

function showSite(site) {
  byId("site-state").textContent = STATES[site.state] ?? "";
  byId("site-look").hidden = site.state === "none";
  byId("site-build").hidden = site.state === "building";
  if (site.state === "refused") tell({ causes: site.causes.map((text) => ({ field: null, text })) });
}

let left = false; // by Quit on this page, which says so itself

/** Say that nothing answers any more; it stays until something does. */
function showEnded(has) {
  if (left || has === !byId("ended").hidden) return;
  byId("ended").hidden = !has;
  document.querySelectorAll("header .site-state").forEach((part) => (part.hidden = has));
}

async function listen() {
  for (;;) {
    try {
      const answer = await ask("/api/events");
      showEnded(false);
      const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
      let rest = "";
      for (;;) {
        const { value, done } = await reader.read();
        if (done) break;
        const events = (rest + value).split("\n\n");
        rest = events.pop();
        for (const event of events) {
          if (!event.startsWith("data: ")) continue;
          const news = JSON.parse(event.slice(6));
          showSite(news.site);
          hearers.forEach((hear) => hear(news));
        }
      }
    } catch (error) {
      if (error.status) throw error;
      if (error.status === 0) showEnded(true);
    }
    await new Promise((resolve) => setTimeout(resolve, 2000));
  }
}

async function letIn() {
  const secret = location.hash.length > 30 && location.pathname === "/" ? location.hash.slice(1) : "";
  if (secret) history.replaceState(null, "", "/");
  if (kept && !secret) return;
  kept = null; // of a start before this one
  if (secret) kept = await post("/api/enter", { secret }).then((answer) => answer.token, () => null);
  // The address may have been opened twice: then the other page lets this one in.
  kept ??= await askNeighbours();
  if (!kept) throw new Refused(401, [{ field: null, text: _("not let in: open the address that northlimb desk printed") }]);
  sessionStorage.setItem(KEPT, kept);
}

/** Begin a page: be let in, say whose archive it is, and hear of the site. */
export async function begin(page) {
  try {
    await letIn();
    listen().catch(tell);
    byId("site-look").onclick = doing(async () => {
      const { address } = await post("/api/site/preview");
      window.open(address, "_blank", "noopener");
    });
    byId("site-build").onclick = doing(() => post("/api/site/build"));
    byId("quit").onclick = doing(async () => {
      await post("/api/quit");
      left = true;
      sessionStorage.removeItem(KEPT);
      document.querySelector("main").replaceChildren(element("p", { class: "lead" }, _("The desk has ended. This page may be closed.")));
      document.querySelectorAll("header nav, header .site-state").forEach((part) => part.remove());
    });
    await page();
  } catch (error) {
    tell(error);
  }
}

export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) if (value !== null && value !== undefined) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

export { byId };
