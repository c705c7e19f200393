// The days of the archive, the latest first.
import { attentionParts } from "/static/attention.js";
import { begin, byId, doing, element, get, post, say, tell, whenNews } from "/static/desk.js";

const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"];

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
  const head = element("h2", {}, `${MONTHS[number - 1]} ${year}`);
  return element("section", { class: "month-of-days" }, head, list);
}

async function show() {
  const archive = await get("/api/archive");
  byId("archive-title").textContent = archive.title;
  document.title = `${archive.title} · the desk`;
  const pictures = archive.days.reduce((sum, { ids }) => sum + ids.length, 0);
  byId("count").textContent = pictures
    ? `${pictures} observation${pictures === 1 ? "" : "s"} on ${archive.days.length} day${archive.days.length === 1 ? "" : "s"}; times are UTC`
    : "No picture yet. Bring the first under New pictures.";
  const months = new Map();
  for (const one of archive.days) {
    const name = one.day.slice(0, 7);
    months.set(name, [...(months.get(name) ?? []), one]);
  }
  byId("days").replaceChildren(...[...months].map(([name, days]) => month(name.slice(0, 4), Number(name.slice(5)), days)));
  byId("removed").hidden = !archive.removed.length;
  byId("removed-list").replaceChildren(
    ...archive.removed.map((id) => {
      const button = element("button", { type: "button", "aria-label": `Put ${id} back` }, "Put back");
      button.onclick = doing(async () => {
        await post(`/api/pictures/${id}/put-back`);
        say(`${id} is back`);
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
  if (count) said.push(element("li", {}, element("a", { href: "/upkeep" }, `${count} picture${count === 1 ? "" : "s"} to be looked at`)));
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
