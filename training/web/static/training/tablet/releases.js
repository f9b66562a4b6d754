/* Solo releases on this phone or tablet, to be read without a network. */

import { filled, gettext } from "../words.js";
import * as store from "./store.js";

/** Say that a release has expired once it has, whether or not there is a network. */
export function watch(part) {
  if (!("inForce" in part.dataset)) return;
  const over = part.querySelector("#over");
  const tell = () => { over.hidden = new Date() < new Date(part.dataset.ends); };
  tell();
  setInterval(tell, 15000);
}

/** Keep what the page shows of a release, without its forms. */
export async function keep(part) {
  const { user, id, title } = JSON.parse(part.dataset.keep);
  const copy = part.cloneNode(true);
  for (const each of copy.querySelectorAll("form, a")) each.remove();
  const made = new Date().toISOString();
  await store.keep({ id: `release ${id}`, user, title, path: location.pathname, made, html: copy.outerHTML });
  document.documentElement.dataset.kept = "yes";
}

/** The releases on this device, the newest first. */
export async function kept() {
  const found = await store.all("pack");
  return found.filter((each) => each.id.startsWith("release ")).sort((a, b) => (a.made < b.made ? 1 : -1));
}

/** A kept release as an element, with when it was saved. */
export function shown(found) {
  const made = document.adoptNode(new DOMParser().parseFromString(found.html, "text/html").querySelector("#release"));
  const when = new Date(found.made).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
  const words = filled(gettext("Saved on this device %(when)s. It may have been ended since: ask your instructor."), { when });
  made.prepend(Object.assign(document.createElement("p"), { className: "look", textContent: words }));
  watch(made);
  return made;
}
