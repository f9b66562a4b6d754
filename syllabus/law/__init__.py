"""The law as data, dated and cited, a folder for each subject, and its one loader. No rule is code."""
