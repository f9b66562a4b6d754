/* What the page says as data: how a lesson is written, and under `rules` what its fields may say. */

export const WRITTEN = JSON.parse(document.getElementById("written")?.textContent || "null");
