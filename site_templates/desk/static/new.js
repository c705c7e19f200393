// A new archive: the caution, then a form.
import { begin, byId, doing, element, post, say } from "/static/desk.js";

let doubted = "";

function filled() {
  const form = {};
  for (const [name, value] of new FormData(byId("new"))) if (value.trim() !== "") form[name] = value.trim();
  return form;
}

async function make() {
  const form = filled();
  const { warnings } = await post("/api/new/look", form);
  byId("doubts").hidden = !warnings.length;
  byId("doubts").replaceChildren(...warnings.map((words) => element("li", {}, words)));
  // What is doubtful is shown once; asked for again, it is meant.
  if (warnings.length && doubted !== warnings.join()) {
    doubted = warnings.join();
    byId("doubts").scrollIntoView({ block: "center" });
    return;
  }
  await post("/api/new", form);
  await post("/api/new/begin");
  say(_("Made; the desk begins"));
  for (let tries = 0; tries < 40; tries += 1) {
    await new Promise((resolve) => setTimeout(resolve, 250));
    if (await fetch("/arrivals").then((answer) => answer.ok, () => false)) return location.assign("/arrivals");
  }
}

begin(async () => {
  byId("zones").append(...(Intl.supportedValuesOf?.("timeZone") ?? []).map((value) => element("option", { value })));
  const form = byId("new");
  form.elements.time_zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "UTC";
  document.querySelector("header nav").hidden = true;
  byId("site-build").hidden = true;
  byId("read").onchange = () => (form.hidden = !byId("read").checked);
  byId("here").onclick = doing(async () => {
    const at = await new Promise((found, failed) => navigator.geolocation.getCurrentPosition(found, () => failed(new Error(_("the browser gives no position; type it"))), { timeout: 15000 }));
    form.elements.latitude.value = at.coords.latitude.toFixed(3);
    form.elements.longitude.value = at.coords.longitude.toFixed(3);
    if (at.coords.altitude !== null) form.elements.elevation_m.value = Math.round(at.coords.altitude);
  });
  form.onsubmit = (event) => {
    event.preventDefault();
    doing(make)();
  };
});
