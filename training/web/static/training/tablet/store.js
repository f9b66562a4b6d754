/* What this tablet keeps (IndexedDB): the queue of what is not yet sent, what was sent of late, which version of a draft
 * is known, the day's students, and what stands on sheets that nobody kept yet. */

import { gettext } from "../words.js";

export const NAME = "training-tablet";
const STORES = {
  queue: { keyPath: "seq", autoIncrement: true }, sent: { keyPath: "seq" }, known: { keyPath: "record" }, pack: { keyPath: "id" },
  typed: { keyPath: "key" },
};

let opened;

export function open() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      for (const [name, how] of Object.entries(STORES)) asked.result.createObjectStore(name, how);
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => asked.result.close();
      done(asked.result);
    };
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

/** Do something in one transaction; done when it is on the disk. `work` gets the stores by name. */
export async function write(names, work) {
  const base = await open();
  return new Promise((done, failed) => {
    // "strict": told as done only once it would outlive a loss of power.
    const step = base.transaction(names, "readwrite", { durability: "strict" });
    const made = work(Object.fromEntries(names.map((name) => [name, step.objectStore(name)])));
    step.oncomplete = () => done(made?.result);
    step.onabort = () => failed(step.error || new Error(gettext("This tablet's storage is full or not available.")));
  });
}

/** Everything in a store, in the order of its key. */
export async function all(name) {
  const base = await open();
  return answer(base.transaction(name).objectStore(name).getAll());
}

export async function one(name, key) {
  const base = await open();
  return answer(base.transaction(name).objectStore(name).get(key));
}

/** The day's students, while they are fresh and of who is signed in; else nothing. */
export async function pack() {
  const found = await one("pack", "today");
  if (found && Date.now() - Date.parse(found.made) < 36 * 3600 * 1000) return found;
  return null;
}

/** A nonce for one signature, of those that came with the day's students; nothing where none is left. */
export async function nonce() {
  let taken = "";
  await write(["pack"], ({ pack: packs }) => {
    const asked = packs.get("today");
    asked.onsuccess = () => {
      if (!asked.result?.nonces?.length) return;
      taken = asked.result.nonces.pop();
      packs.put(asked.result);
    };
  });
  return taken;
}

/** The server's table of airports: the identifier of each by every one that may be typed; empty until it is here. */
export async function airports() {
  const found = await one("pack", "airports").catch(() => null);
  const known = Object.create(null);
  if (!found) return known;
  for (const each of found.table.split(" ")) {
    const [typed, key = typed] = each.split(":");
    known[typed] = key;
  }
  return known;
}

let leaving = false;

/** Take something along, the day's students by default; not any more once somebody is signing out on this page. */
export async function bring(found, id = "today") {
  if (!leaving) await write(["pack"], ({ pack: packs }) => packs.put({ id, ...found }));
}

/** Keep a solo release beside them; those of another person go. */
export async function keep(found) {
  if (leaving) return;
  const others = (await all("pack")).filter((each) => each.user !== found.user);
  await write(["pack"], ({ pack: packs }) => {
    for (const each of others) packs.delete(each.id);
    packs.put(found);
  });
}

/** Forget the day's students and the solo releases. What is not yet sent stays, and with it which version of a draft it changes. */
export async function forget({ forGood = false } = {}) {
  leaving = leaving || forGood;
  await write(["pack", "typed"], ({ pack: packs, typed }) => {
    packs.clear();
    typed.clear();
  });
}

function answer(asked) {
  return new Promise((done, failed) => {
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
}
