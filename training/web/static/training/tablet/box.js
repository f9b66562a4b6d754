/* The box that shows what is on this tablet and not yet sent: how much, since when, what stops it, and the ways out. */

import { filled, gettext, ngettext } from "../words.js";
import * as queue from "./queue.js";

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
  const oldest = Date.parse(items[0].made_at);
  const since = Date.now() - oldest > OLD
    ? filled(gettext("The oldest has been waiting since %(day)s. Connect to a network soon, or save the entries to a file."), { day: new Date(oldest).toLocaleDateString(LANGUAGE) })
    : "";
  const count = filled(ngettext("One entry is waiting to be sent.", "%(number)s entries are waiting to be sent.", items.length), { number: items.length });
  part("says").textContent = [count, queue.state.says, since].filter(Boolean).join(" ");
  part("list").replaceChildren(...items.map(row));
  const asks = items.some((each) => each.act === "sign" && !each.passkey && each.state === "waiting" && each.owner === queue.state.user);
  part("password").hidden = !(asks && queue.state.at === "asks");
  part("login").hidden = queue.state.at !== "login";
}

function row(item) {
  const made = document.createElement("li");
  const parked = item.state === "parked";
  made.className = parked ? "parked" : "";
  const said = document.createElement("span");
  said.textContent = `${item.words} (${new Date(item.made_at).toLocaleString(LANGUAGE, { dateStyle: "short", timeStyle: "short" })})`;
  made.append(said);
  if (item.fault) {
    const why = document.createElement("p");
    why.className = parked ? "wrong" : "aside";
    const places = (item.errors || []).map((each) => `${each.place.replace(/^content\.?/, "")}: ${each.message}`);
    why.textContent = [parked ? filled(gettext("Not sent: %(fault)s"), item) : item.fault, ...places].join(" ");
    made.append(why);
  }
  if (parked) {
    const open = document.createElement("a");
    open.href = `/teach/${item.student}/lessons/${item.record}/`;
    open.textContent = gettext("Open the school's copy of the lesson");
    const again = document.createElement("button");
    again.type = "button";
    again.className = "secondary";
    again.textContent = gettext("Send again");
    again.addEventListener("click", () => queue.retry(item));
    const drop = document.createElement("button");
    drop.type = "button";
    drop.className = "secondary";
    drop.textContent = gettext("Discard this entry");
    drop.addEventListener("click", () => {
      if (window.confirm(gettext("This entry is only on this tablet. Discard it?"))) queue.drop(item.seq).then(() => queue.flush());
    });
    made.append(open, " ", again, " ", drop);
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
