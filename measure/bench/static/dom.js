// Making elements without strings of HTML, so that a name is never taken for markup.

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {string | number | boolean | null | undefined | ((e: Event) => void)} Attribute */
/** @typedef {Node | string | null | undefined} Child */

/**
 * An element that the page has.
 * @template {HTMLElement} [T=HTMLElement]
 * @param {string} id
 * @param {new () => T} [kind] what it has to be
 * @returns {T}
 */
export function byId(id, kind) {
  const found = document.getElementById(id);
  if (!(found instanceof (kind ?? HTMLElement)))
    throw new TypeError(`This page has no ${kind?.name ?? "element"} ${id}.`);
  return /** @type {T} */ (found);
}

/** @param {string} id */
export const inputOf = (id) => byId(id, HTMLInputElement);
/** @param {string} id */
export const buttonOf = (id) => byId(id, HTMLButtonElement);
/** @param {string} id */
export const selectOf = (id) => byId(id, HTMLSelectElement);

/**
 * The radio buttons of a name.
 * @param {string} name
 */
export const radiosOf = (name) =>
  /** @type {HTMLInputElement[]} */ ([...document.querySelectorAll(`input[type=radio][name=${name}]`)]);

/**
 * What is chosen among the radio buttons of a name.
 * @param {string} name
 */
export const chosenOf = (name) => radiosOf(name).find((r) => r.checked)?.value ?? "";

/**
 * The nearest element of an event's target upwards that a selector fits.
 * @param {EventTarget | null} target
 * @param {string} selector
 */
export const nearest = (target, selector) =>
  target instanceof Element ? /** @type {HTMLElement | SVGElement | null} */ (target.closest(selector)) : null;

/**
 * @template {Element} T
 * @param {T} node
 * @param {Record<string, Attribute>} attributes
 * @param {Child[]} children
 */
function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : String(value));
  }
  node.append(...children.filter((c) => c !== null && c !== undefined));
  return node;
}

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, Attribute>} attributes a function listens to the event that is named after "on"
 * @param {Child[]} children
 */
export const el = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);

/**
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, Attribute>} attributes
 * @param {Child[]} children
 */
export const svg = (tag, attributes = {}, ...children) =>
  fill(/** @type {SVGElementTagNameMap[K]} */ (document.createElementNS(SVG, tag)), attributes, children);

/**
 * Labels such as E1–E3 stay on one line.
 * @param {string} words
 */
export const unbroken = (words) => words.replaceAll("–", "\u2060–\u2060");

/**
 * @param {string} name
 * @param {string} more further classes
 */
export const icon = (name, more = "") =>
  svg(
    "svg",
    { class: `icon ${more}`.trim(), "aria-hidden": "true", focusable: "false" },
    svg("use", { href: `/static/icons.svg#${name}` }),
  );
