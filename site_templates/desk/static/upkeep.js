// Looking after an archive: what needs attention, times, verify and restore, second copies, a month's report.
import { attentionParts } from "/static/attention.js";
import { begin, byId, doing, element, figure, get, post, say, tell, whenNews } from "/static/desk.js";
import { shiftPanel } from "/static/shift.js";

let now;
let report;
let choosing;
let job; // that is under way
let stopping = false;
let siteState;

// What needs attention

async function showAttention() {
  const found = await get("/api/attention");
  const { said, kinds } = attentionParts(found, doing(openShift));
  const nothing = !said.length && !kinds.length;
  byId("attention-words").textContent = !found.known ? _("No picture was looked at for this yet: bring the site up to date first.") : nothing ? _("Nothing, as the last build found it.") : _("As the last build found it.");
  byId("attention-said").replaceChildren(...said);
  byId("attention-said").hidden = !said.length;
  byId("attention-kinds").replaceChildren(...kinds);
}

async function openShift(start) {
  await shiftPanel(byId("shift"), start);
  byId("shift-open").hidden = true;
  byId("shift").scrollIntoView({ block: "nearest" });
  byId("shift").querySelector("input").focus();
}

// What is under way

const NAMES = { verify: _("Verifying"), export: _("A second copy is being made") };
const MADE = { verify: _("Verified"), export: _("The second copy is made") };

function jobWords({ name, state, doing: step, done, total }) {
  const work = NAMES[name];
  if (state === "waiting") return _("{work}: stands aside for a change, then begins again");
  return total ? _("{work}: {step}, {done} of {total}") : work;
}

function showJob(state) {
  job = state;
  byId("job").hidden = !state;
  for (const id of ["verify", "copy-new", "copy-add"]) byId(id).disabled = Boolean(state);
  document.querySelectorAll("[data-job]").forEach((button) => (button.disabled = Boolean(state)));
  if (!state) return;
  byId("job-words").textContent = jobWords(state);
  if (state.total) byId("job-bar").value = state.done / state.total;
  else byId("job-bar").removeAttribute("value");
}

async function hear(jobs) {
  const before = job;
  showJob(jobs.find((one) => one.state === "waiting" || one.state === "working"));
  if (!before || job) return;
  const refused = jobs.find((one) => one.state === "refused");
  show(await get("/api/upkeep"));
  if (refused) {
    tell({ causes: refused.causes.map((text) => ({ field: null, text })) });
    await post("/api/upkeep/cancel", { job: refused.id });
  } else if (stopping) say(_("Stopped"));
  else say(MADE[before.name]);
  stopping = false;
}

/** Begin something; what becomes of it is heard. */
async function start(address, form) {
  show(await post(address, form));
  showJob({ name: address.endsWith("copy") ? "export" : "verify", state: "working", total: 0 });
}

// Verify

function readWords(n, time, clean) {
  if (clean) return ngettext("{n} original read, {time} UTC: as filed.", "{n} originals read, {time} UTC: all as filed.", n);
  return ngettext("{n} original read, {time} UTC: not all as filed.", "{n} originals read, {time} UTC: not all as filed.", n);
}

const bringBack = (n) => (n === 1 ? _("Bring it back") : ngettext("Bring this {n} back", "Bring these {n} back", n));

function showVerified() {
  const found = now.verified;
  if (!found) return byId("verified").replaceChildren();
  const parts = [element("p", { class: "lead" }, readWords(found.checked, found.at.slice(0, 16).replace("T", " "), found.clean))];
  const list = (files) => element("ul", { class: "files" }, ...files.map((file) => element("li", {}, file)));
  for (const [files, words] of [[found.restored, _("Brought back")], [found.repaired, _("Put right")]]) if (files.length) parts.push(element("h3", {}, words), list(files));
  for (const kind of found.kinds) parts.push(element("h3", {}, `${kind.count}: ${kind.words}`), list(kind.files));
  if (found.mistakes.length) parts.push(element("h3", {}, _("And this")), list(found.mistakes));
  const doings = element("div", { class: "doing" });
  const button = (words, then, main) => {
    const made = element("button", { type: "button", "data-job": "", class: main ? "main" : null }, words);
    made.onclick = doing(() => verify(then));
    doings.append(made);
  };
  if (found.whole_count) {
    parts.push(element("h3", {}, _("Whole copies are there")), list(found.whole_copies.map((one) => `${one.file}: ${one.from}`)));
    button(bringBack(found.whole_count), "restore", true);
  }
  if (found.can_repair) button(_("Put right what can be"), "repair", !found.whole_count);
  byId("verified").replaceChildren(...parts, doings);
  return undefined;
}

async function verify(then) {
  const copies = [...document.querySelectorAll("#against input:checked")].map((box) => box.value);
  await start("/api/upkeep/verify", { then, copies });
}

// Second copies

function showCopies() {
  byId("copies").replaceChildren(
    ...now.copies.map((copy) => {
      const { name, in: folder } = copy;
      const forget = element("button", { type: "button", "aria-label": _("Forget {name}") }, _("Forget"));
      forget.onclick = doing(async () => show(await post("/api/upkeep/copies/forget", { folder: copy.id })));
      return element("li", {}, element("span", {}, copy.name, element("span", { class: "small" }, " ", copy.there ? _("in {folder}") : _("in {folder}: not there now; plug its disk in"))), forget);
    }),
  );
  const there = now.copies.filter((copy) => copy.there);
  byId("against").hidden = !there.length;
  byId("against").replaceChildren(
    byId("against").querySelector("legend"),
    ...there.map((copy) => {
      const box = element("input", { type: "checkbox", value: copy.id });
      box.checked = true;
      return element("label", {}, box, ` ${copy.name}`);
    }),
  );
}

async function openChooser(what) {
  choosing = what;
  byId("chooser").hidden = false;
  byId("chooser-take").textContent = what === "new" ? _("Make the copy here") : _("This is a copy");
  await showFolder(null);
}

async function showFolder(id) {
  const found = await post("/api/upkeep/folders", { folder: id });
  byId("chooser-name").textContent = found.name;
  byId("chooser-above").hidden = found.id === null;
  byId("chooser-above").onclick = doing(() => showFolder(found.above));
  byId("chooser-take").disabled = found.id === null;
  byId("chooser-take").onclick = doing(async () => {
    byId("chooser").hidden = true;
    if (choosing === "new") await start("/api/upkeep/copy", { folder: found.id });
    else show(await post("/api/upkeep/copies/add", { folder: found.id }));
  });
  byId("chooser-folders").replaceChildren(
    ...found.folders.map((folder) => {
      const button = element("button", { type: "button", class: "link" }, folder.name);
      button.onclick = doing(() => showFolder(folder.id));
      return element("li", {}, button);
    }),
  );
  byId("chooser-name").focus();
}

// A month's report

const cell = (value, digits = 0) => element("td", {}, value === null || value === undefined ? "" : figure(Number(value), digits));

const meanOf = (n) => ngettext("mean of {n} series", "mean of {n} series", n);

function meansWords(n, mean, k) {
  const [groups, spots, number, area] = ["groups", "spots", "relative_number", "spot_area_msh"].map((name) => (mean[name] === null ? "–" : figure(mean[name], 1)));
  return ngettext("Means of {n} day: groups {groups}, spots {spots}, R {number}, area {area} MSH. R = k (10 g + s), k = {k}.", "Means of {n} days: groups {groups}, spots {spots}, R {number}, area {area} MSH. R = k (10 g + s), k = {k}.", n);
}

async function showReport() {
  const month = byId("month").value;
  report = { month, ...(await get(`/api/reports/${month}`)) };
  const { mean, k } = report.report;
  const rows = report.report.rows.filter((row) => row.relative_number !== null);
  byId("report-rows").replaceChildren(
    ...rows.map((row) =>
      element(
        "tr",
        {},
        element("th", { scope: "row" }, String(Number(row.day.slice(8)))),
        element("td", {}, row.time_utc?.slice(11, 16) ?? ""),
        element("td", {}, row.seeing === null ? "" : figure(row.seeing)),
        element("td", {}, `${row.groups ?? ""}${row.stated ? "*" : ""}${row.least_spot_msh === null ? "" : "~"}`),
        cell(row.spots),
        cell(row.relative_number),
        cell(row.north?.relative_number),
        cell(row.south?.relative_number),
        cell(row.spot_area_msh),
        element("td", { class: "words" }, row.instrument ?? meanOf(row.series)),
      ),
    ),
  );
  const told = [meansWords(rows.length, mean, k === null ? _("that of each series") : figure(k))];
  if (rows.some((row) => row.stated)) told.push(_("* counted by hand."));
  if (rows.some((row) => row.least_spot_msh !== null)) told.push(_("~ small spots would not show."));
  byId("report-means").textContent = told.join(" ");
  byId("report-scroll").hidden = false;
  byId("save-csv").disabled = byId("save-text").disabled = false;
}

function save(text, ending, kind) {
  const address = URL.createObjectURL(new Blob([text], { type: kind }));
  element("a", { href: address, download: `sunspots-${report.month}.${ending}` }).click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}

function show(found) {
  now = found;
  showVerified();
  showCopies();
  const months = byId("month");
  const chosen = months.value;
  months.replaceChildren(...now.months.map((month) => element("option", {}, month)));
  if (now.months.includes(chosen)) months.value = chosen;
  byId("report").hidden = !now.months.length;
}

function listen() {
  byId("shift-open").onclick = doing(() => openShift({}));
  byId("verify").onclick = doing(() => verify("look"));
  byId("job-stop").onclick = doing(async () => {
    stopping = true;
    await post("/api/upkeep/cancel", { job: job.id });
  });
  byId("copy-new").onclick = doing(() => openChooser("new"));
  byId("copy-add").onclick = doing(() => openChooser("add"));
  byId("chooser-leave").onclick = () => (byId("chooser").hidden = true);
  byId("report").onsubmit = (event) => {
    event.preventDefault();
    doing(showReport)();
  };
  byId("save-csv").onclick = () => save(report.csv, "csv", "text/csv");
  byId("save-text").onclick = () => save(`${report.text}\n`, "txt", "text/plain");
  whenNews((news) => {
    hear(news.upkeep).catch(tell);
    if (news.site.state === "in order" && siteState && siteState !== "in order") showAttention().catch(tell);
    siteState = news.site.state;
  });
}

begin(async () => {
  listen();
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  show(await get("/api/upkeep"));
  await showAttention();
});
