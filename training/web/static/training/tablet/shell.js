/* The tablet's own page, without a network: the day's students, their sheets, and what is not yet sent. */

import { filled, gettext } from "../words.js";
import * as box from "./box.js";
import * as queue from "./queue.js";
import { enhance, look } from "./sheet.js";
import * as releases from "./releases.js";
import * as sign from "./sign.js";
import * as store from "./store.js";

const view = document.getElementById("view");
const place = document.getElementById("queue");
const make = (tag, words = "", kind = "") => Object.assign(document.createElement(tag), { textContent: words, className: kind });
let pack = null;
let solos = [];

async function begin() {
  pack = await store.pack();
  queue.setUp({ token: place.dataset.token, user: pack ? pack.user : place.dataset.user });
  place.dataset.user = pack ? pack.user : "";
  await box.mount(place);
  // The address that was asked for: a lesson of the day opens at once.
  const asked = /\/lessons\/([0-9a-f-]{36})\//.exec(location.pathname);
  const found = asked && pack && pack.students.flatMap((each) => each.sheets.map((sheet) => ({ each, sheet }))).find(({ sheet }) => sheet.record === asked[1]);
  solos = await releases.kept();
  const release = solos.find((each) => each.path === location.pathname);
  if (found) open(found.each, found.sheet);
  else if (release) view.replaceChildren(releases.shown(release));
  else roll();
  document.documentElement.dataset.ready = "yes";
  await queue.flush();
}

function roll(words = "") {
  view.replaceChildren(make("h1", gettext("On this tablet")));
  if (words) {
    const said = make("p", words, "look");
    said.setAttribute("role", "status");
    view.append(said);
  }
  for (const each of solos) {
    const link = Object.assign(make("a", each.title), { href: each.path });
    const line = make("p");
    line.append(link);
    view.append(line);
  }
  if (!pack || !pack.students.length) {
    if (solos.length) return;
    view.append(make("p", gettext("No students are on this tablet. Open Today once with a network to load the day's students.")));
    return;
  }
  const made = new Date(pack.made).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
  view.append(make("p", filled(gettext("Your students as of %(made)s."), { made })));
  const list = make("ol", "", "roll");
  for (const each of pack.students) list.append(pupil(each));
  view.append(list);
}

function pupil(each) {
  const made = make("li", "", "pupil");
  made.append(make("h2", each.name || gettext("No name on record")));
  if (each.next) {
    const title = make("p", "", "ahead-title");
    title.append(make("span", each.next.lesson, "code"), ` ${each.next.title}`);
    const why = make("ul", "", "why");
    for (const words of each.next.why) why.append(make("li", words));
    made.append(title, why);
  }
  for (const sheet of each.sheets) {
    const button = make("button", sheet.draft
      ? filled(gettext("Continue %(lesson)s"), { lesson: sheet.lesson || gettext("the lesson") })
      : filled(gettext("Start %(lesson)s"), { lesson: sheet.lesson || gettext("a lesson outside the course") }));
    if (sheet.draft) button.className = "secondary";
    button.type = "button";
    button.setAttribute("aria-label", filled(gettext("%(what)s with %(name)s"), { what: button.textContent, name: each.name }));
    button.addEventListener("click", () => open(each, sheet));
    made.append(button, " ");
  }
  return made;
}

function open(each, sheet) {
  const back = make("button", gettext("Back to the students"), "secondary");
  back.type = "button";
  back.addEventListener("click", () => roll());
  const title = make("h1", `${each.name}: ${sheet.lesson} ${sheet.title}`);
  const whole = new DOMParser().parseFromString(sheet.html, "text/html");
  const form = whole.querySelector("form.sheet");
  const data = JSON.parse(form.dataset.sheet);
  if (!sheet.draft) data.record = crypto.randomUUID(); // one blank sheet begins any number of lessons
  form.dataset.sheet = JSON.stringify(data);
  form.elements.record.value = data.record;
  view.replaceChildren(back, title, document.adoptNode(form));
  const made = enhance(form, kept);
  look(made);
  title.scrollIntoView();
}

async function kept({ then, lesson, content, hash, data, tell }) {
  if (then !== "sign") {
    tell(gettext("On this tablet, not yet sent."), "look");
    await queue.flush();
    return;
  }
  const titles = {};
  for (const each of view.querySelectorAll("fieldset.item")) {
    titles[each.querySelector("input[type=hidden]").value] = each.querySelector("legend").textContent;
  }
  sign.here(view, { data, lesson, content, hash, allow: pack?.passkeys || [], titles, done: async (words) => {
    roll(words);
    await queue.flush();
  } });
}

begin();
