/* The box that shows what is on this tablet and not yet sent: how much, since when, what stops it, and the ways out. */

import { filled, gettext, ngettext } from "../words.js";
import * as queue from "./queue.js";
import * as store from "./store.js";

const LANGUAGE = document.documentElement.lang;
const OLD = 3 * 24 * 3600 * 1000; // milliseconds; some browsers forget what a page keeps after seven days

export function mount(box) {
  queue.setUp({ token: box.dataset.token, user: box.dataset.user });
  const part = (name) => box.querySelector(`.queue-${name}`);
  part("send").addEventListener("click", () => queue.flush());
  part("save").addEventListener("click", save);
  part("password").addEventListener("submit", async (event) => {
    event.preventDefault();
    const input = part("password").querySelector("input");
    const password = input.value;
    input.value = "";
    await queue.flush({ password });
  });
  const draw = () => show(box, part);
  queue.listen(draw);
  window.addEventListener("online", () => queue.flush());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) queue.flush(); });
  return draw();
}

async function show(box, part) {
  const items = await queue.items();
  box.hidden = !items.length;
  box.dataset.number = items.length;
  if (!items.length) return;
  const contact = await store.one("pack", "contact").catch(() => null);
  part("says").textContent = [...counts(items), queue.state.says, seen(contact), old(items[0])].filter(Boolean).join(" ");
  part("list").replaceChildren(...items.map(row));
  const asks = items.some((each) => each.act === "sign" && !each.passkey && each.state === "waiting" && queue.own(each));
  part("password").hidden = !(asks && queue.state.at === "asks");
  part("login").hidden = !["login", "others"].includes(queue.state.at);
}

/** How many wait for what. Nothing here has reached the school. */
function counts(items) {
  const number = (of) => items.filter(of).length;
  const { own } = queue;
  const [parked, others] = [number((each) => each.state === "parked" && own(each)), number((each) => !own(each))];
  const waiting = items.length - parked - others;
  return [
    waiting && filled(ngettext("One entry is waiting to be sent.", "%(number)s entries are waiting to be sent.", waiting), { number: waiting }),
    parked && filled(ngettext("The school refused one entry. Decide what happens to it.", "The school refused %(number)s entries. Decide what happens to them.", parked), { number: parked }),
    others && filled(ngettext("One entry is from another person who used this tablet.", "%(number)s entries are from another person who used this tablet.", others), { number: others }),
  ];
}

function seen(contact) {
  if (!contact) return gettext("No contact with the school yet.");
  const at = new Date(contact.at).toLocaleString(LANGUAGE, { dateStyle: "medium", timeStyle: "short" });
  return filled(gettext("Last contact with the school: %(at)s."), { at });
}

function old(item) {
  const made = Date.parse(item.made_at);
  if (Date.now() - made <= OLD) return "";
  return filled(gettext("The oldest has been waiting since %(day)s. Connect to a network soon, or save the entries to a file."), { day: new Date(made).toLocaleDateString(LANGUAGE) });
}

function row(item) {
  const made = document.createElement("li");
  const parked = item.state === "parked";
  made.className = parked ? "parked" : "";
  const said = document.createElement("span");
  const words = item.act === "decide" ? filled(gettext("%(words)s: decision to log"), item) : item.words;
  said.textContent = `${words} (${new Date(item.made_at).toLocaleString(LANGUAGE, { dateStyle: "short", timeStyle: "short" })})`;
  made.append(said);
  if (item.fault) {
    const why = document.createElement("p");
    why.className = parked ? "wrong" : "aside";
    const messages = (item.errors || []).map((each) => each.message);
    why.textContent = [parked ? filled(gettext("Not sent: %(fault)s"), item) : item.fault, ...messages].join(" ");
    made.append(why);
  }
  if ((item.fault || !queue.own(item)) && item.act !== "decide") {
    const decide = document.createElement("a");
    decide.href = `/tablet/#entry-${item.seq}`;
    decide.textContent = gettext("Read and decide");
    made.append(decide);
  }
  return made;
}

/** The last resort: everything that waits, in a file that the school can read. */
async function save() {
  const waiting = await queue.items();
  const whole = { format: "training-queue/1", saved_at: new Date().toISOString(), items: waiting };
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(whole, null, 1)], { type: "application/json" }));
  link.download = `not-yet-sent-${whole.saved_at.slice(0, 10)}.json`;
  document.body.append(link);
  link.click();
  link.remove();
}
