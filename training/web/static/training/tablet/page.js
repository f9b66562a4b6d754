/* The instructor's pages, with a network: the queue's box, sheets and signatures through it, and the day's students. */

import { filled, gettext } from "../words.js";
import * as box from "./box.js";
import * as queue from "./queue.js";
import { enhance, look } from "./sheet.js";
import * as sign from "./sign.js";
import * as store from "./store.js";

const FRESH = 10 * 60 * 1000; // milliseconds after which the day's students are fetched anew
const TABLE_FRESH = 7 * 24 * 3600 * 1000; // and the table of airports

const place = document.getElementById("queue");
box.mount(place).then(() => queue.flush());
if (navigator.serviceWorker) navigator.serviceWorker.register(place.dataset.worker, { scope: "/" });
navigator.storage?.persist?.();

for (const form of document.querySelectorAll("form.sheet")) {
  const sheet = enhance(form, kept);
  look(sheet);
}
for (const form of document.querySelectorAll("form.confirming")) {
  if (form.dataset.lesson) sign.lesson(form);
  else sign.act(form);
}
takeAlong();

async function kept({ then, item, lesson, content, hash, data, tell }) {
  await queue.flush();
  const there = (await queue.items()).find((each) => each.seq === item.seq);
  if (!there) {
    if (then === "sign") location.assign(`/teach/${data.student}/lessons/${data.record}/sign/`);
    else tell(gettext("Draft saved. It goes on the student's record once you sign it."), "done");
    return;
  }
  if (there.state === "parked") { tell(filled(gettext("Not saved: %(fault)s"), there)); return; }
  if (then !== "sign") { tell(gettext("On this tablet, not yet sent."), "look"); return; }
  const pack = await store.pack();
  const view = document.querySelector(".ramp");
  const titles = titlesOf(document);
  sign.here(part(view), { data, lesson, content, hash, allow: pack?.passkeys || [], titles, done: async (words) => {
    part(view).replaceChildren(Object.assign(document.createElement("p"), { className: "look", textContent: words }));
    await queue.flush();
  } });
}

/** Where the sheet was, below the box. */
function part(view) {
  for (const each of [...view.children]) if (each.id !== "queue" && each.id !== "here") each.remove();
  const made = document.getElementById("here") || Object.assign(document.createElement("div"), { id: "here" });
  view.append(made);
  return made;
}

function titlesOf(where) {
  const found = {};
  for (const each of where.querySelectorAll("fieldset.item")) {
    found[each.querySelector("input[type=hidden]").value] = each.querySelector("legend").textContent;
  }
  return found;
}

/** The day's students for when the network is away; of nobody but who is signed in. */
async function takeAlong() {
  const user = place.dataset.user;
  const there = await store.pack();
  if (there && there.user !== user) await store.forget();
  if (there && there.user === user && Date.now() - Date.parse(there.made) < FRESH && location.pathname !== "/today/") return;
  try {
    const pack = await fetched(place.dataset.pack);
    if (pack?.user !== user || !pack.students.length) return;
    await store.bring(pack);
    const table = await store.one("pack", "airports");
    if (!table || Date.now() - Date.parse(table.made) > TABLE_FRESH) await store.bring(await fetched(place.dataset.airports), "airports");
    document.documentElement.dataset.along = String(pack.students.length);
  } catch { /* it is tried again on the next page */ }
}

/** What an address answers; nothing where it refuses or asks for a login. */
async function fetched(address) {
  const answer = await fetch(address, { headers: { Accept: "application/json" } });
  return answer.ok && !answer.redirected ? answer.json() : null;
}
