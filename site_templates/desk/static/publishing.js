// Publishing: a sheet for each target, what is under way with it, and the form of one.
import { begin, byId, doing, element, get, post, say, tell, whenNews } from "/static/desk.js";

const KINDS = Object.fromEntries([...byId("target").elements.kind.options].map(({ value, text }) => [value, text]));
const STEPS = { try: "Trying the connection", look: "Looking what is there", send: "Sending", check: "Reading back what is there" };
const AGES = {
  older: "The site is older than the archive: bring it up to date before you publish it.",
  waiting: "The site is about to be built; what is asked for here waits for it.",
  building: "The site is being built; what is asked for here waits for it.",
  none: "The site is not built yet: bring it up to date, then publish it.",
  refused: "The site could not be built, and is older than the archive.",
  "in order": "The site is as new as the archive.",
};
const SOURCES = { environment: "The password is in the environment.", netrc: "The password is in ~/.netrc.", keyring: "The password is in this computer's keyring." };
const form = byId("target");
let now;
let former = null;
let jobs = [];

const count = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
const size = (bytes) => (bytes < 1e6 ? `${Math.ceil(bytes / 1000)} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

function names(words, list, total) {
  if (!total) return [];
  const shown = list.map((name) => element("li", {}, name));
  if (total > list.length) shown.push(element("li", {}, `and ${total - list.length} more`));
  return [element("details", {}, element("summary", {}, words), element("ul", {}, ...shown))];
}

/** What was found at a target last, in this run of the desk. */
function found(target) {
  const { last } = target;
  if (!last) return [];
  const box = element("div", { class: "found", role: "status" });
  const { look, send, check } = last.answers;
  const told = (words) => box.append(element("p", { class: "figures" }, words));
  if (last.ok && last.answers.try) told("The connection is good, and the target would take the site.");
  if (last.ok && look) {
    const { copied, bytes_copied: bytes, unchanged, removed } = look.report;
    const held = unchanged + removed;
    told(!copied && !removed ? `The target holds this site: ${count(unchanged, "file")}, nothing to send.` : held ? `The target holds an older site: ${count(unchanged, "file")} as here, ${copied} to send (${size(bytes)}), ${removed} to remove.` : `The target is empty: ${count(copied, "file")} to send (${size(bytes)}).`);
    box.append(...names(`what would be sent: ${copied}`, look.send, look.send_count), ...names(`what would be removed: ${removed}`, look.remove, look.remove_count));
  }
  if (send?.report) told(`Published: ${count(send.report.copied, "file")} sent (${size(send.report.bytes_copied)}), ${send.report.unchanged} unchanged, ${send.report.removed} removed.`);
  if (check?.missing) {
    told(last.ok ? `Read back: all ${count(check.checked, "file")} are as built.` : `Read back ${count(check.checked, "file")}: not all are as built; publish again.`);
    box.append(...names(`missing there: ${check.missing_count}`, check.missing, check.missing_count), ...names(`other than built: ${check.changed_count}`, check.changed, check.changed_count));
  }
  for (const { text } of check?.missing ? [] : last.causes) box.append(element("p", { class: "refused" }, text));
  for (const text of last.warnings) box.append(element("p", { class: "small" }, text));
  return [box];
}

function loginFields(target) {
  if (!target.asks_for || !target.allowed) return [];
  const name = target.form.name;
  if (target.login === "keyring") {
    const button = element("button", { type: "button", class: "plain", "aria-label": `Forget it: the password of ${name}` }, "Forget it");
    button.onclick = doing(async () => show(await post("/api/publishing/forget-password", { name })));
    return [element("p", { class: "small login" }, target.asks_for === "keys" ? "The keys are in this computer's keyring. " : `${SOURCES.keyring} `, button)];
  }
  if (target.login) return [element("p", { class: "small login" }, SOURCES[target.login])];
  const isKeys = target.asks_for === "keys";
  const fields = element("div", { class: "fields" });
  if (isKeys || !target.form.user) fields.append(element("label", {}, isKeys ? "Access key" : "User", element("input", { "data-login": "user", autocomplete: "off", spellcheck: "false" })));
  const usual = isKeys ? "Secret key (empty: of this computer's settings)" : target.form.kind === "sftp" ? "Password (empty: your ssh keys)" : "Password";
  fields.append(element("label", {}, usual, element("input", { "data-login": "password", type: "password", autocomplete: "off" })));
  const keep = now.keyring
    ? element("label", { class: "check" }, element("input", { type: "checkbox", "data-login": "keep" }), ` keep it in this computer's keyring (${now.keyring})`)
    : element("p", { class: "small" }, "It is asked for each time: this computer has no keyring, or northlimb was installed without it (northlimb[keyring]). It is never written into the archive.");
  return [fields, keep];
}

function deed(sheet, target, what) {
  const value = (name) => sheet.querySelector(`[data-login="${name}"]`);
  const asked = { name: target.form.name, read_back: sheet.querySelector("[data-read-back]")?.checked ?? true, adopt: sheet.querySelector("[data-adopt]")?.checked ?? false };
  if (value("password")?.value) Object.assign(asked, { password: value("password").value, user: value("user")?.value || null, keep_password: value("keep")?.checked ?? false });
  return post(`/api/publishing/${what}`, asked);
}

function sheetOf(target) {
  const { name } = target.form;
  const sheet = element("section", { class: "target", "data-target": name, "aria-label": `Target ${name}` });
  const change = element("button", { type: "button", "aria-label": `Change target ${name}` }, "Change");
  change.onclick = () => fill(target.form);
  const remove = element("button", { type: "button", "aria-label": `Take out target ${name}` }, "Take out");
  remove.onclick = doing(async () => {
    show(await post("/api/publishing/remove", { made_from: now.made_from, name }));
    say("Taken out; what is there stays there. Undo brings the target back");
    byId("undo").focus();
  });
  sheet.append(
    element("div", { class: "target-head" }, element("h2", {}, name), element("span", { class: "kicker" }, (KINDS[target.form.kind] ?? target.form.kind).split(":")[0]), element("div", { class: "doing" }, change, remove)),
    element("p", { class: "place" }, target.place),
  );
  if (!target.allowed) {
    sheet.append(element("p", { class: "not-allowed" }, "Nothing is sent there until you allow it, above."));
    return sheet;
  }
  if (!target.right) {
    sheet.append(element("p", { class: "not-allowed" }, "Its address makes no sense. Press Change and fill it in anew."));
    return sheet;
  }
  const buttons = element("div", { class: "doing" });
  for (const [what, words, kind] of [["send", "Publish", "main"], ["look", "What would travel", null], ["try", "Try the connection", null], ["check", "Compare what is there", null]]) {
    const button = element("button", { type: "button", class: kind, "data-deed": what, "aria-label": `${words}: ${name}` }, words);
    button.onclick = doing(() => deed(sheet, target, what));
    buttons.append(button);
  }
  const more = element("label", { class: "check" }, element("input", { type: "checkbox", "data-read-back": "", checked: "" }), " read everything back afterwards, and compare");
  sheet.append(...loginFields(target), buttons, more);
  if (target.last?.causes.some(({ field }) => field === "adopt")) sheet.append(element("label", { class: "check" }, element("input", { type: "checkbox", "data-adopt": "" }), " take the target over: the other files there are removed"));
  sheet.append(element("div", { class: "under-way", hidden: "" }), ...found(target));
  if (target.last?.causes.some(({ field }) => field === "password")) sheet.querySelector('[data-login="password"]')?.setAttribute("aria-invalid", "true");
  return sheet;
}

function showJobs() {
  for (const sheet of document.querySelectorAll(".target")) {
    const job = jobs.find(({ target }) => target === sheet.dataset.target);
    sheet.querySelectorAll("[data-deed]").forEach((button) => (button.disabled = Boolean(job)));
    const line = sheet.querySelector(".under-way");
    if (!line) continue;
    line.hidden = !job;
    if (job) sheet.querySelector(".found")?.remove(); // it was of the time before
    if (!job) {
      line.replaceChildren();
      continue;
    }
    if (!line.firstChild) {
      const cancel = element("button", { type: "button", "aria-label": `Cancel: ${job.target}` }, "Cancel");
      cancel.onclick = doing(() => post(`/api/publishing/${job.id}/cancel`));
      line.append(element("span", { role: "status" }), element("progress", { "aria-label": `How far ${job.target} is` }), cancel);
    }
    const words = job.state === "waiting" ? "Waits for its turn" : (STEPS[job.step] ?? "Begins");
    line.firstChild.textContent = job.total ? `${words}: ${job.done} of ${job.total}` : words;
    const bar = line.querySelector("progress");
    if (job.total) [bar.max, bar.value] = [job.total, job.done];
    else bar.removeAttribute("value");
  }
}

function show(answer) {
  now = answer;
  byId("undo").disabled = !now.undo;
  byId("redo").disabled = !now.redo;
  byId("undo-words").textContent = now.undo ? `last: ${now.undo}` : "";
  byId("asks").hidden = !now.asks.length;
  byId("asks-list").replaceChildren(...now.asks.map(({ words }) => element("li", {}, words)));
  byId("no-target").hidden = now.targets.length > 0;
  byId("targets").replaceChildren(...now.targets.map(sheetOf));
  byId("add").textContent = now.targets.length ? "One more target" : "Add a target";
  showJobs();
}

// The form of a target

function showFieldsOfKind() {
  const kind = form.elements.kind.value;
  form.querySelectorAll("[data-kinds]").forEach((label) => (label.hidden = !label.dataset.kinds.split(" ").includes(kind)));
  byId("folder-words").textContent = kind === "zip" ? "Zip file: its path, ending in .zip" : "Folder: its path; one without / at the front lies beside archive.toml";
  byId("host-words").textContent = kind === "s3" ? "Bucket" : "Host";
  byId("path-words").textContent = kind === "s3" ? "Prefix (empty: none)" : kind.startsWith("git") ? "Repository, its path" : "Folder there (~: your home)";
  form.elements.host.placeholder = kind === "s3" ? "my-bucket" : kind === "webdav" ? "127.0.0.1" : "example.org";
  byId("login-words").textContent = { sftp: "It logs in with your ssh keys, or with a password that you are asked for.", "rsync+ssh": "It logs in with your ssh keys.", "git+ssh": "It logs in with your ssh keys.", "git+https": "It logs in as your git is set up to." }[kind] ?? (["folder", "zip", "git+file"].includes(kind) ? "" : `You are asked for the ${kind === "s3" ? "keys" : "password"} when needed; nothing of it comes into the archive.`);
}

function fill(values) {
  former = values.name ?? null;
  form.reset();
  for (const [key, value] of Object.entries(values)) if (form.elements[key]) form.elements[key].value = Array.isArray(value) ? value.join("\n") : (value ?? "");
  byId("form-head").textContent = former === null ? "A new target" : `Target ${former}`;
  byId("form-band").hidden = false;
  byId("add").hidden = true;
  showFieldsOfKind();
  form.elements.name.focus();
}

function leaveForm() {
  byId("form-band").hidden = true;
  byId("add").hidden = false;
}

function filled() {
  const target = {};
  for (const field of form.elements) {
    if (!field.name || field.closest("[data-kinds]")?.hidden || field.value.trim() === "") continue;
    target[field.name] = field.name === "keep" ? field.value.split("\n").map((line) => line.trim()).filter(Boolean) : field.value.trim();
  }
  return target;
}

function listen() {
  form.elements.kind.onchange = showFieldsOfKind;
  byId("add").onclick = () => fill({});
  byId("leave-form").onclick = leaveForm;
  form.onsubmit = (event) => {
    event.preventDefault();
    doing(async () => {
      show(await post("/api/publishing/target", { made_from: now.made_from, former, target: filled() }));
      leaveForm();
      say("Kept");
    })();
  };
  byId("allow").onclick = doing(async () => show(await post("/api/publishing/allow", { digests: now.asks.map(({ digest }) => digest) })));
  for (const way of ["undo", "redo"]) byId(way).onclick = doing(async () => show(await post(`/api/publishing/${way}`)));
}

whenNews((news) => {
  byId("site-age").textContent = AGES[news.site.state];
  byId("site-age").classList.toggle("older", news.site.state !== "in order");
  const ended = jobs.some(({ id }) => !news.publishing.some((job) => job.id === id));
  jobs = news.publishing;
  if (ended) get("/api/publishing").then(show, tell);
  else if (now) showJobs();
});
begin(async () => {
  listen();
  get("/api/archive").then((archive) => (byId("archive-title").textContent = archive.title), tell);
  show(await get("/api/publishing"));
});
