// What needs attention, as the last build found it.
import { element } from "/static/desk.js";

const KINDS = {
  "north unknown": ["North is unknown", "state it on the picture's page"],
  contradictions: ["Evidence for north disagrees", "look which of it is wrong"],
  "not counted": ["Spots are not counted", "count them by hand, where you can"],
  other: ["To be looked at", ""],
};

export const shown = (id) => `${id.slice(0, 10)} ${id.slice(11, 13)}:${id.slice(13, 15)}${id.slice(16)}`;

/** Return lines for what was said, and a folding list for each kind of picture. */
export function attentionParts(found, onShift) {
  const said = found.said.map(({ words, id, shift }) => {
    const item = element("li", {}, words, " ");
    if (id) item.append(element("a", { href: `/picture#${id}` }, "look"));
    if (shift) {
      const button = element("button", { type: "button" }, "Shift them");
      button.onclick = () => onShift(shift);
      item.append(button);
    }
    return item;
  });
  const kinds = found.kinds.map(({ kind, count, pictures }) => {
    const [head, advice] = KINDS[kind];
    const list = element("ul", { class: "attention" }, ...pictures.map(({ id, words }) => element("li", {}, element("a", { href: `/picture#${id}` }, shown(id)), words ? element("span", {}, words) : "")));
    const more = count > pictures.length ? element("p", { class: "small" }, `and ${count - pictures.length} earlier ones`) : "";
    return element("details", { class: "kind" }, element("summary", {}, element("h3", {}, `${head}: ${count} picture${count === 1 ? "" : "s"}`), advice ? element("span", { class: "small" }, ` ${advice}`) : ""), list, more);
  });
  return { said, kinds };
}
