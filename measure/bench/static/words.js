// What the page says, in the language that it was asked for in: each sentence is known by its English, and the page
// brings the others along. Values stand in braces.

/** @type {Record<string, string | string[]>} */
const known = JSON.parse(document.getElementById("page-words")?.textContent ?? "{}");
export const language = document.documentElement.lang || "en";
const plurals = new Intl.PluralRules(language);

/**
 * A sentence.
 * @param {string} english
 * @param {Record<string, string | number>} values
 */
export function t(english, values = {}) {
  const said = known[english] ?? english;
  return filled(Array.isArray(said) ? said[0] : said, values);
}

/**
 * A sentence about a number of things, their {n}.
 * @param {string} one
 * @param {string} many
 * @param {number} n
 * @param {Record<string, string | number>} values
 */
export function counted(one, many, n, values = {}) {
  const said = known[one] ?? [one, many];
  const forms = Array.isArray(said) ? said : [said];
  return filled((plurals.select(n) === "one" ? forms[0] : forms.at(-1)) ?? one, { ...values, n });
}

/**
 * @param {string} template
 * @param {Record<string, string | number>} values
 */
const filled = (template, values) =>
  template.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));

/** @type {Record<string, string>} */
const KINDS = {
  width: t("width"),
  gap: t("gap"),
  bore: t("bore"),
  boss: t("boss"),
  web: t("web"),
  span: t("span"),
  radius: t("radius"),
  thickness: t("thickness"),
  distance: t("distance"),
  diameter: t("diameter"),
  centres: t("centres"),
  offset: t("offset"),
  angle: t("angle"),
};

/**
 * What a kind of reading or size is called.
 * @param {string} kind
 */
export const kindOf = (kind) => KINDS[kind] ?? kind;
