// The rules for the style sheets: what a browser would not understand, or would overrule without a word.
export default {
  extends: "stylelint-config-recommended",
  reportDescriptionlessDisables: true,
  // The sheets are in the order of the pages' parts; rules of parts that never meet need no order among them.
  rules: { "no-descending-specificity": null },
};
