/* Texts in the language of the page. The catalogue that stands before, words/<language>.js, puts gettext on the window;
 * where it did not come, the English of the source is said. */

export const gettext = (words) => window.gettext?.(words) ?? words;

export const ngettext = (one, many, number) => window.ngettext?.(one, many, number) ?? (number === 1 ? one : many);

/** Put the values in their places: `filled("%(name)s, draft", { name })`. */
export function filled(words, values) {
  return words.replace(/%\((\w+)\)s/g, (_, name) => values[name]);
}
