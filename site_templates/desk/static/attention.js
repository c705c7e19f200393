// What needs attention, as the last build found it.
import { element } from "/static/desk.js";

const KINDS = {
  "north unknown": [(n) => ngettext("North is unknown: {n} picture", "North is unknown: {n} pictures", n), _("state it on the picture's page")],
  contradictions: [(n) => ngettext("Evidence for north disagrees: {n} picture", "Evidence for north disagrees: {n} pictures", n), _("look which of it is wrong")],
  "not counted": [(n) => ngettext("Spots are not counted: {n} picture", "Spots are not counted: {n} pictures", n), _("count them by hand, where you can")],
  other: [(n) => ngettext("To be looked at: {n} picture", "To be looked at: {n} pictures", n), ""],
};

const earlier = (n) => ngettext("and {n} earlier one", "and {n} earlier ones", n);

export const shown = (id) => `${id.slice(0, 10)} ${id.slice(11, 13)}:${id.slice(13, 15)}${id.slice(16)}`;

/** Return lines for what was said, and a folding list for each kind of picture. */
export function attentionParts(found, onShift) {
  const said = found.said.map(({ words, id, shift }) => {
    const item = element("li", {}, words, " ");
    if (id) item.append(element("a", { href: `/picture#${id}` }, _("look")));
    if (shift) {
      const button = element("button", { type: "button" }, _("Shift them"));
      button.onclick = () => onShift(shift);
      item.append(button);
    }
    return item;
  });
  const kinds = found.kinds.map(({ kind, count, pictures }) => {
    const [head, advice] = KINDS[kind];
    const list = element("ul", { class: "attention" }, ...pictures.map(({ id, words }) => element("li", {}, element("a", { href: `/picture#${id}` }, shown(id)), words ? element("span", {}, words) : "")));
    const more = count > pictures.length ? element("p", { class: "small" }, earlier(count - pictures.length)) : "";
    return element("details", { class: "kind" }, element("summary", {}, element("h3", {}, head(count)), advice ? element("span", { class: "small" }, ` ${advice}`) : ""), list, more);
  });
  return { said, kinds };
}
