// Making elements without strings of HTML, so that a name is never taken for markup.

const SVG = "http://www.w3.org/2000/svg";

export const byId = (id) => document.getElementById(id);

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.filter((c) => c !== null && c !== undefined));
  return node;
}

export const el = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);
export const svg = (tag, attributes = {}, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

/** Labels such as E1–E3 stay on one line. */
export const unbroken = (words) => words.replaceAll("–", "\u2060–\u2060");

export const icon = (name, more = "") =>
  svg("svg", { class: `icon ${more}`.trim(), "aria-hidden": "true", focusable: "false" }, svg("use", { href: `/static/icons.svg#${name}` }));
