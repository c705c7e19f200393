/* Searches the archive while the reader types. The query is in the address after #q=, so that a search can be
   bookmarked and shared; nothing leaves the page. */
"use strict";

(() => {
  const MAX_RESULTS = 60;
  const CONTEXT_LENGTH = 60;
  const box = document.getElementById("search");
  const field = document.getElementById("query");
  const list = document.getElementById("results");
  const found = document.getElementById("found");
  const lists = document.getElementById("lists");
  if (typeof archiveWords === "undefined") return;

  /* Letters without accents and case, one for one, so that positions in the text are unchanged. */
  const plain = (text) => Array.from(text, (letter) => {
    const bare = letter.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
    return bare.length === letter.length ? bare : letter;
  }).join("");
  /* Words only: punctuation becomes blanks, except the hyphen within a date or a group's name. */
  const words = (text) => plain(text).replace(/[^\p{L}\p{N}-]|(?<!\p{N})-|-(?!\p{N})/gu, " ");
  const entries = archiveWords.map((entry) => ({
    ...entry,
    name: plain(entry.title),
    text: ` ${words([entry.title, entry.words, entry.notes].join(" "))} `,
  }));

  /* 3.6.2026, 3/6/2026 (day first), 3 June 2026 and June 3, 2026 are that one day; a short number matches
     that number only, not longer ones. */
  const MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
  const NAME = `((?:${MONTHS.join("|")})[a-z]*)\\.?`;
  const iso = (year, month, day) => `${year}-${String(month).padStart(2, "0")}-${day.padStart(2, "0")}`;
  const named = (name) => MONTHS.indexOf(name.slice(0, 3)) + 1;
  const tokens = (query) => plain(query)
    .replace(/\b(\d{1,2})[./](\d{1,2})[./](\d{4})\b/g, (all, day, month, year) => iso(year, month, day))
    .replace(new RegExp(`\\b(\\d{1,2})\\.?\\s+${NAME}\\s+(\\d{4})\\b`, "g"), (all, day, name, year) => iso(year, named(name), day))
    .replace(new RegExp(`\\b${NAME}\\s+(\\d{1,2}),?\\s+(\\d{4})\\b`, "g"), (all, name, day, year) => iso(year, named(name), day))
    .split(/\s+/u).flatMap((part) => words(part).split(" ")).filter(Boolean)
    .map((token) => (/^\d{1,2}$/.test(token) ? ` ${token} ` : ` ${token}`));

  function excerpt(notes, wanted) {
    const bare = ` ${words(notes)} `;
    const positions = wanted.map((token) => bare.indexOf(token)).filter((position) => position >= 0);
    if (!positions.length) return null;
    const first = Math.min(...positions);
    const line = document.createElement("p");
    line.dir = "auto";
    const start = first > CONTEXT_LENGTH ? notes.indexOf(" ", first - CONTEXT_LENGTH) + 1 : 0;
    const end = notes.length > first + 2 * CONTEXT_LENGTH ? notes.lastIndexOf(" ", first + 2 * CONTEXT_LENGTH) : notes.length;
    const word = notes.slice(first).match(/^[\p{L}\p{M}\p{N}-]+/u)?.[0] ?? "";
    const mark = document.createElement("mark");
    mark.textContent = word;
    line.append(start ? "… " : "", notes.slice(Math.min(start, first), first), mark,
      notes.slice(first + word.length, Math.max(end, first + word.length)), end < notes.length ? " …" : "");
    return line;
  }

  function row(entry, wanted) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = entry.href;
    link.textContent = entry.title;
    if (entry.disc) {
      const disc = new Image(72, 72);
      disc.src = entry.disc;
      disc.alt = "";
      disc.loading = "lazy";
      item.append(disc);
    }
    const text = document.createElement("div");
    const facts = document.createElement("span");
    facts.className = "quiet";
    facts.textContent = entry.facts;
    text.append(link, " ", facts);
    const part = entry.notes && excerpt(entry.notes, wanted);
    if (part) text.append(part);
    item.append(text);
    return item;
  }

  function search() {
    const wanted = tokens(field.value);
    lists.hidden = wanted.length > 0;
    const hits = wanted.length ? entries.filter((entry) => wanted.every((token) => entry.text.includes(token))) : [];
    /* A group searched by its name comes before the days that show it. */
    const name = field.value.trim(), groupTitles = [plain(name), plain(_("Group {name}"))];
    hits.sort((one, other) => groupTitles.includes(other.name) - groupTitles.includes(one.name));
    list.replaceChildren(...hits.slice(0, MAX_RESULTS).map((entry) => row(entry, wanted)));
    const n = hits.length, count = ngettext("{n} match", "{n} matches", n), most = MAX_RESULTS;
    found.textContent = !wanted.length ? "" : n > most ? _("{count}, the first {most} shown") : count;
  }

  function fromAddress() {
    const query = /^#q=(.*)$/s.exec(location.hash);
    try { if (query) field.value = decodeURIComponent(query[1]); } catch { /* a truncated address: no query */ }
    search();
  }

  box.hidden = false;
  field.addEventListener("input", search);
  field.addEventListener("change", () => { location.replace(`#q=${encodeURIComponent(field.value)}`); });
  window.addEventListener("hashchange", fromAddress);
  fromAddress();
})();
