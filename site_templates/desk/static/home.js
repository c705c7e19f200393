// The days of the archive, the latest first.
import { attentionParts } from "/static/attention.js";
import { begin, byId, doing, element, get, post, say, tell, titled, whenNews } from "/static/desk.js";

const monthNames = new Intl.DateTimeFormat(document.documentElement.lang, { month: "long", year: "numeric", timeZone: "UTC" });
const observations = (n) => ngettext("{n} observation", "{n} observations", n);
const onDays = (n, pictures) => ngettext("{pictures} on {n} day; times are UTC", "{pictures} on {n} days; times are UTC", n);
const daysOf = (year, n) => ngettext("{year}: {n} day", "{year}: {n} days", n);
const toLookAt = (n) => ngettext("{n} picture to be looked at", "{n} pictures to be looked at", n);

function time(id) {
  const clock = id.slice(11);
  return `${clock.slice(0, 2)}:${clock.slice(2, 4)}${clock.slice(5) ? ` (${clock.slice(6)})` : ""}`;
}

function month(year, number, days) {
  const list = element("ul", { class: "days-list" });
  for (const { day, ids } of days) {
    const item = element("li", {}, element("span", { class: "day" }, String(Number(day.slice(8)))));
    for (const id of ids) item.append(element("a", { href: `/picture#${id}`, "aria-label": `${day}, ${time(id)} UTC` }, time(id)));
    list.append(item);
  }
  const head = element("h2", {}, monthNames.format(Date.UTC(year, number - 1)));
  return element("section", { class: "month-of-days" }, head, list);
}

// Ten years are some thousand links: only these are drawn at once, the earlier months when their year is opened.
const AT_ONCE = 12;

function showMonths(months) {
  const draw = ([name, days]) => month(name.slice(0, 4), Number(name.slice(5)), days);
  const years = new Map();
  for (const one of months.slice(AT_ONCE)) years.set(one[0].slice(0, 4), [...(years.get(one[0].slice(0, 4)) ?? []), one]);
  const folded = [...years].map(([year, earlier]) => {
    const number = earlier.reduce((sum, [, days]) => sum + days.length, 0);
    const box = element("details", { class: "year-of-days" }, element("summary", {}, element("h2", {}, daysOf(year, number))));
    box.addEventListener("toggle", () => box.append(...earlier.splice(0).map(draw)));
    return box;
  });
  byId("days").replaceChildren(...months.slice(0, AT_ONCE).map(draw), ...folded);
}

async function show() {
  const archive = await get("/api/archive");
  byId("archive-title").textContent = archive.title;
  titled(archive.title);
  const pictures = archive.days.reduce((sum, { ids }) => sum + ids.length, 0);
  byId("count").textContent = pictures
    ? onDays(archive.days.length, observations(pictures))
    : _("No picture yet. Bring the first under New pictures.");
  const months = new Map();
  for (const one of archive.days) {
    const name = one.day.slice(0, 7);
    months.set(name, [...(months.get(name) ?? []), one]);
  }
  showMonths([...months]);
  byId("removed").hidden = !archive.removed.length;
  byId("removed-list").replaceChildren(
    ...archive.removed.map((id) => {
      const button = element("button", { type: "button", "aria-label": _("Put {id} back") }, _("Put back"));
      button.onclick = doing(async () => {
        await post(`/api/pictures/${id}/put-back`);
        say(_("{id} is back"));
        await show();
      });
      return element("li", {}, element("span", {}, id), button);
    }),
  );
}

/** What the last build said, and how many pictures are to be looked at. */
async function attention() {
  const found = await get("/api/attention");
  const { said } = attentionParts(found, () => location.assign("/upkeep"));
  const count = found.kinds.reduce((sum, kind) => sum + kind.count, 0);
  if (count) said.push(element("li", {}, element("a", { href: "/upkeep" }, toLookAt(count))));
  byId("attention").hidden = !said.length;
  byId("attention-list").replaceChildren(...said);
}

let siteState;
whenNews(({ site }) => {
  if (site.state === "in order" && siteState && siteState !== "in order") attention().catch(tell);
  siteState = site.state;
});
begin(async () => {
  await show();
  await attention();
});
