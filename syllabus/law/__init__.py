"""The law as data, dated and cited, a folder for each subject; and the one loader that reads it. No rule is
code."""
