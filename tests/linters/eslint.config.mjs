// The rules for the pages' scripts: what is surely a mistake, nothing about looks.
import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    files: ["training/web/static/training/**/*.js"],
    languageOptions: { ecmaVersion: 2022, sourceType: "module", globals: globals.browser },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: { eqeqeq: "error", "no-implied-eval": "error", "no-var": "error", "prefer-const": "error" },
  },
];
