// Publishing: a sheet for each target, what is under way with it, and the form of one.
import { begin, byId, doing, element, figure, get, post, say, tell, undoWords, whenNews } from "/static/desk.js";

const KINDS = Object.fromEntries([...byId("target").elements.kind.options].map(({ value, text }) => [value, text]));
const STEPS = { try: _("Trying the connection"), look: _("Looking what is there"), send: _("Sending"), check: _("Reading back what is there") };
const AGES = {
  older: _("The site is older than the archive: bring it up to date before you publish it."),
  waiting: _("The site is about to be built; what is asked for here waits for it."),
  building: _("The site is being built; what is asked for here waits for it."),
  none: _("The site is not built yet: bring it up to date, then publish it."),
  refused: _("The site could not be built, and is older than the archive."),
  "in order": _("The site is as new as the archive."),
};
const SOURCES = { environment: _("The password is in the environment."), netrc: _("The password is in ~/.netrc."), keyring: _("The password is in this computer's keyring.") };
const LOGINS = {
  sftp: _("It logs in with your ssh keys, or with a password that you are asked for."),
  "rsync+ssh": _("It logs in with your ssh keys."),
  "git+ssh": _("It logs in with your ssh keys."),
  "git+https": _("It logs in as your git is set up to."),
  s3: _("You are asked for the keys when needed; nothing of them comes into the archive."),
};
const form = byId("target");
let now;
let former = null;
let jobs = [];

const holdsAll = (n) => ngettext("The target holds this site: {n} file, nothing to send.", "The target holds this site: {n} files, nothing to send.", n);
const isEmpty = (n, bytes) => ngettext("The target is empty: {n} file to send ({bytes}).", "The target is empty: {n} files to send ({bytes}).", n);
const holdsOlder = (n, copied, bytes, removed) =>
  ngettext("The target holds an older site: {n} file as here, {copied} to send ({bytes}), {removed} to remove.", "The target holds an older site: {n} files as here, {copied} to send ({bytes}), {removed} to remove.", n);
const sentWords = (n, bytes, unchanged, removed) =>
  ngettext("Published: {n} file sent ({bytes}), {unchanged} unchanged, {removed} removed.", "Published: {n} files sent ({bytes}), {unchanged} unchanged, {removed} removed.", n);
const allAsBuilt = (n) => ngettext("Read back: {n} file, as built.", "Read back: all {n} files are as built.", n);
const notAsBuilt = (n) => ngettext("Read back {n} file: not as built; publish again.", "Read back {n} files: not all are as built; publish again.", n);
const targetWords = (name) => _("Target {name}");
const andMore = (n) => ngettext("and {n} more", "and {n} more", n);
const size = (bytes) => (bytes < 1e6 ? `${Math.ceil(bytes / 1000)} kB` : `${figure(bytes / 1e6, 1)} MB`);

function names(words, list, total) {
  if (!total) return [];
  const shown = list.map((name) => element("li", {}, name));
  if (total > list.length) shown.push(element("li", {}, andMore(total - list.length)));
  return [element("details", {}, element("summary", {}, words), element("ul", {}, ...shown))];
}

/** What was found at a target last, in this run of the desk. */
function found(target) {
  const { last } = target;
  if (!last) return [];
  const box = element("div", { class: "found", role: "status" });
  const { look, send, check } = last.answers;
  const told = (words) => box.append(element("p", { class: "figures" }, words));
  if (last.ok && last.answers.try) told(_("The connection is good, and the target would take the site."));
  if (last.ok && look) {
    const { copied, bytes_copied: bytes, unchanged, removed } = look.report;
    const held = unchanged + removed;
    told(!copied && !removed ? holdsAll(unchanged) : held ? holdsOlder(unchanged, copied, size(bytes), removed) : isEmpty(copied, size(bytes)));
    box.append(...names(_("what would be sent: {copied}"), look.send, look.send_count), ...names(_("what would be removed: {removed}"), look.remove, look.remove_count));
  }
  if (send?.report) told(sentWords(send.report.copied, size(send.report.bytes_copied), send.report.unchanged, send.report.removed));
  if (check?.missing) {
    const { missing_count: missing, changed_count: changed } = check;
    told(last.ok ? allAsBuilt(check.checked) : notAsBuilt(check.checked));
    box.append(...names(_("missing there: {missing}"), check.missing, missing), ...names(_("other than built: {changed}"), check.changed, changed));
  }
  for (const { text } of check?.missing ? [] : last.causes) box.append(element("p", { class: "refused" }, text));
  for (const text of last.warnings) box.append(element("p", { class: "small" }, text));
  return [box];
}

function loginFields(target) {
  if (!target.asks_for || !target.allowed) return [];
  const name = target.form.name;
  if (target.login === "keyring") {
    const button = element("button", { type: "button", class: "plain", "aria-label": _("Forget it: the password of {name}") }, _("Forget it"));
    button.onclick = doing(async () => show(await post("/api/publishing/forget-password", { name })));
    return [element("p", { class: "small login" }, target.asks_for === "keys" ? _("The keys are in this computer's keyring.") : SOURCES.keyring, " ", button)];
  }
  if (target.login) return [element("p", { class: "small login" }, SOURCES[target.login])];
  const isKeys = target.asks_for === "keys";
  const fields = element("div", { class: "fields" });
  if (isKeys || !target.form.user) fields.append(element("label", {}, isKeys ? _("Access key") : _("User"), element("input", { "data-login": "user", autocomplete: "off", spellcheck: "false" })));
  const usual = isKeys ? _("Secret key (empty: of this computer's settings)") : target.form.kind === "sftp" ? _("Password (empty: your ssh keys)") : _("Password");
  const { keyring } = now;
  fields.append(element("label", {}, usual, element("input", { "data-login": "password", type: "password", autocomplete: "off" })));
  const keep = keyring
    ? element("label", { class: "check" }, element("input", { type: "checkbox", "data-login": "keep" }), " ", _("keep it in this computer's keyring ({keyring})"))
    : element("p", { class: "small" }, _("It is asked for each time: this computer has no keyring, or northlimb was installed without it (northlimb[keyring]). It is never written into the archive."));
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
  const sheet = element("section", { class: "target", "data-target": name, "aria-label": _("Target {name}") });
  const change = element("button", { type: "button", "aria-label": _("Change target {name}") }, _("Change"));
  change.onclick = () => fill(target.form);
  const remove = element("button", { type: "button", "aria-label": _("Take out target {name}") }, _("Take out"));
  remove.onclick = doing(async () => {
    show(await post("/api/publishing/remove", { made_from: now.made_from, name }));
    say(_("Taken out; what is there stays there. Undo brings the target back"));
    byId("undo").focus();
  });
  sheet.append(
    element("div", { class: "target-head" }, element("h2", {}, name), element("span", { class: "kicker" }, (KINDS[target.form.kind] ?? target.form.kind).split(":")[0]), element("div", { class: "doing" }, change, remove)),
    element("p", { class: "place" }, target.place),
  );
  if (!target.allowed) {
    sheet.append(element("p", { class: "not-allowed" }, _("Nothing is sent there until you allow it, above.")));
    return sheet;
  }
  if (!target.right) {
    sheet.append(element("p", { class: "not-allowed" }, _("Its address makes no sense. Press Change and fill it in anew.")));
    return sheet;
  }
  const buttons = element("div", { class: "doing" });
  for (const [what, words, kind] of [["send", _("Publish"), "main"], ["look", _("What would travel"), null], ["try", _("Try the connection"), null], ["check", _("Compare what is there"), null]]) {
    const button = element("button", { type: "button", class: kind, "data-deed": what, "aria-label": `${words}: ${name}` }, words);
    button.onclick = doing(() => deed(sheet, target, what));
    buttons.append(button);
  }
  const more = element("label", { class: "check" }, element("input", { type: "checkbox", "data-read-back": "", checked: "" }), " ", _("read everything back afterwards, and compare"));
  sheet.append(...loginFields(target), buttons, more);
  if (target.last?.causes.some(({ field }) => field === "adopt")) sheet.append(element("label", { class: "check" }, element("input", { type: "checkbox", "data-adopt": "" }), " ", _("take the target over: the other files there are removed")));
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
    const { target, done, total } = job;
    if (!line.firstChild) {
      const cancel = element("button", { type: "button", "aria-label": _("Cancel: {target}") }, _("Cancel"));
      cancel.onclick = doing(() => post(`/api/publishing/${job.id}/cancel`));
      line.append(element("span", { role: "status" }), element("progress", { "aria-label": _("How far {target} is") }), cancel);
    }
    const step = job.state === "waiting" ? _("Waits for its turn") : (STEPS[job.step] ?? _("Begins"));
    line.firstChild.textContent = total ? _("{step}: {done} of {total}") : step;
    const bar = line.querySelector("progress");
    if (job.total) [bar.max, bar.value] = [job.total, job.done];
    else bar.removeAttribute("value");
  }
}

function show(answer) {
  now = answer;
  byId("undo").disabled = !now.undo;
  byId("redo").disabled = !now.redo;
  byId("undo-words").textContent = undoWords(now.undo);
  byId("asks").hidden = !now.asks.length;
  byId("asks-list").replaceChildren(...now.asks.map(({ words }) => element("li", {}, words)));
  byId("no-target").hidden = now.targets.length > 0;
  byId("targets").replaceChildren(...now.targets.map(sheetOf));
  byId("add").textContent = now.targets.length ? _("One more target") : _("Add a target");
  showJobs();
}

// The form of a target

function showFieldsOfKind() {
  const kind = form.elements.kind.value;
  form.querySelectorAll("[data-kinds]").forEach((label) => (label.hidden = !label.dataset.kinds.split(" ").includes(kind)));
  byId("folder-words").textContent = kind === "zip" ? _("Zip file: its path, ending in .zip") : _("Folder: its path; one without / at the front lies beside archive.toml");
  byId("host-words").textContent = kind === "s3" ? _("Bucket") : _("Host");
  byId("path-words").textContent = kind === "s3" ? _("Prefix (empty: none)") : kind.startsWith("git") ? _("Repository, its path") : _("Folder there (~: your home)");
  form.elements.host.placeholder = kind === "s3" ? "my-bucket" : kind === "webdav" ? "127.0.0.1" : "example.org";
  byId("login-words").textContent = LOGINS[kind] ?? (["folder", "zip", "git+file"].includes(kind) ? "" : _("You are asked for the password when needed; nothing of it comes into the archive."));
}

function fill(values) {
  former = values.name ?? null;
  form.reset();
  for (const [key, value] of Object.entries(values)) if (form.elements[key]) form.elements[key].value = Array.isArray(value) ? value.join("\n") : (value ?? "");
  byId("form-head").textContent = values.name ? targetWords(values.name) : _("A new target");
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
      say(_("Kept"));
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
