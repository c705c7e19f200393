/* Looks through the archive's words while the reader types. What is sought stands in the address behind #q=, so that a
   search can be kept and sent; nothing leaves the page. */
"use strict";

(() => {
  const MOST = 60;
  const AROUND = 60;
  const box = document.getElementById("search");
  const field = document.getElementById("query");
  const list = document.getElementById("results");
  const found = document.getElementById("found");
  const lists = document.getElementById("lists");
  if (typeof archiveWords === "undefined") return;

  /* Letters without accents and case, one for one, so that places in the text stay where they are. */
  const plain = (text) => Array.from(text, (letter) => {
    const bare = letter.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
    return bare.length === letter.length ? bare : letter;
  }).join("");
  /* Words by themselves: signs become blanks, but for the dash within a date or a group's name. */
  const words = (text) => plain(text).replace(/[^\p{L}\p{N}-]|(?<!\p{N})-|-(?!\p{N})/gu, " ");
  const entries = archiveWords.map((entry) => ({
    ...entry,
    name: plain(entry.title),
    text: ` ${words([entry.title, entry.words, entry.notes].join(" "))} `,
  }));

  /* 3.6.2026, 3/6/2026 (day first), 3 June 2026 and June 3, 2026 are that one day; a short number is that number, not
     the beginning of a longer one. */
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
    const places = wanted.map((token) => bare.indexOf(token)).filter((place) => place >= 0);
    if (!places.length) return null;
    const first = Math.min(...places);
    const line = document.createElement("p");
    line.dir = "auto";
    const start = first > AROUND ? notes.indexOf(" ", first - AROUND) + 1 : 0;
    const end = notes.length > first + 2 * AROUND ? notes.lastIndexOf(" ", first + 2 * AROUND) : notes.length;
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
    const told = document.createElement("div");
    const facts = document.createElement("span");
    facts.className = "quiet";
    facts.textContent = entry.facts;
    told.append(link, " ", facts);
    const part = entry.notes && excerpt(entry.notes, wanted);
    if (part) told.append(part);
    item.append(told);
    return item;
  }

  function look() {
    const wanted = tokens(field.value);
    lists.hidden = wanted.length > 0;
    const hits = wanted.length ? entries.filter((entry) => wanted.every((token) => entry.text.includes(token))) : [];
    /* A group sought by its name comes before the days that show it. */
    const sought = `group ${plain(field.value.trim()).replace(/^group\s+/, "")}`;
    hits.sort((one, other) => (other.name === sought) - (one.name === sought));
    list.replaceChildren(...hits.slice(0, MOST).map((entry) => row(entry, wanted)));
    const count = hits.length === 1 ? "1 match" : `${hits.length} matches`;
    found.textContent = !wanted.length ? "" : hits.length > MOST ? `${count}, the first ${MOST} shown` : count;
  }

  function fromAddress() {
    const sought = /^#q=(.*)$/s.exec(location.hash);
    try { if (sought) field.value = decodeURIComponent(sought[1]); } catch { /* an address cut short: nothing is sought */ }
    look();
  }

  box.hidden = false;
  field.addEventListener("input", look);
  field.addEventListener("change", () => { location.replace(`#q=${encodeURIComponent(field.value)}`); });
  window.addEventListener("hashchange", fromAddress);
  fromAddress();
})();
