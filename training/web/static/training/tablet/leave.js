/* Signing out takes the day's students off this tablet. What is not yet sent stays until the same person is back. */

import { filled, ngettext } from "../words.js";
import * as store from "./store.js";

/** What is on this tablet, if it ever took anything along. */
async function there() {
  const bases = indexedDB.databases ? await indexedDB.databases() : [{ name: store.NAME }];
  if (!bases.some((each) => each.name === store.NAME)) return null;
  return { waiting: (await store.all("queue")).length, along: (await store.all("pack")).length };
}

const forms = document.querySelectorAll("form[action$='/logout/']");
const found = forms.length ? await there().catch(() => null) : null;
if (found && (found.waiting || found.along || document.getElementById("queue"))) {
  for (const form of forms) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const waiting = (await store.all("queue").catch(() => [])).length;
      const words = filled(ngettext(
        "One entry on this tablet is not yet sent. It stays here until you sign in again. Sign out?",
        "%(waiting)s entries on this tablet are not yet sent. They stay here until you sign in again. Sign out?",
        waiting,
      ), { waiting });
      if (waiting && !window.confirm(words)) return;
      await store.forget({ forGood: true }).catch(() => null);
      form.submit();
    });
  }
}
