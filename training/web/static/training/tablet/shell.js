/* The tablet's own page, without a network: the day's students, their sheets, and what is not yet sent. */

import { filled, gettext } from "../words.js";
import * as box from "./box.js";
import * as build from "./build.js";
import { fieldOf } from "./check.js";
import * as counted from "./counted.js";
import * as entry from "./entry.js";
import * as queue from "./queue.js";
import { enhance, look } from "./sheet.js";
import * as releases from "./releases.js";
import * as sign from "./sign.js";
import * as store from "./store.js";

const view = document.getElementById("view");
const place = document.getElementById("queue");
const make = (tag, words = "", kind = "") => Object.assign(document.createElement(tag), { textContent: words, className: kind });
const PATIENCE = 1500; // milliseconds
let pack = null;
let solos = [];

async function begin() {
  pack = await store.pack();
  queue.setUp({ token: place.dataset.token, user: pack ? pack.user : place.dataset.user });
  place.dataset.user = pack ? pack.user : "";
  await counted.into(pack);
  await box.mount(place);
  queue.listen(reach);
  window.addEventListener("hashchange", route);
  // Whose page it is shows at the first answer; a network that is barely there is not waited for.
  await Promise.race([reach(), new Promise((done) => { setTimeout(done, PATIENCE); })]);
  await route();
  document.documentElement.dataset.ready = "yes";
  await queue.flush();
}

/** The address that was asked for: an entry to decide on, or a lesson of the day. */
async function route() {
  const decide = /^#entry-(\d+)$/.exec(location.hash);
  if (decide) {
    await entry.show(view, Number(decide[1]), { pack, open, back: (words) => { history.replaceState(null, "", location.pathname); roll(words); } });
    view.querySelector("h1").scrollIntoView();
    return;
  }
  const asked = /\/lessons\/([0-9a-f-]{36})\//.exec(location.pathname);
  const found = asked && pack && pack.students.flatMap((each) => each.sheets.map((sheet) => ({ each, sheet }))).find(({ sheet }) => sheet.record === asked[1]);
  solos = await releases.kept();
  const release = solos.find((each) => each.path === location.pathname);
  if (found) open(found.each, found.sheet);
  else if (release) view.replaceChildren(releases.shown(release));
  else roll();
}

/** Say whether the school can be reached, and whether somebody is signed in there. */
async function reach() {
  const asked = await queue.token();
  const shown = !asked ? "away" : asked.user ? "connected" : "signed-out";
  for (const each of ["away", "connected", "signed-out"]) document.getElementById(each).hidden = each !== shown;
  if (!asked?.user || asked.user === queue.state.user) return;
  // Another person is signed in by now: the students are not theirs to read.
  queue.setUp({ token: place.dataset.token, user: asked.user });
  if (!pack) return;
  pack = null;
  await store.forget();
  await route();
}
window.addEventListener("online", reach);
window.addEventListener("offline", reach);

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
  for (const words of each.counted || []) made.append(make("p", words, "look"));
  if (each.next) {
    const title = make("p", "", "ahead-title");
    title.append(make("span", each.next.lesson, "code"), ` ${each.next.title}`);
    const why = make("ul", "", "why");
    for (const words of each.next.why) why.append(make("li", words));
    made.append(title, why);
  }
  for (const sheet of each.sheets) {
    const words = sheet.draft
      ? filled(gettext("Continue %(lesson)s"), { lesson: sheet.lesson || gettext("the lesson") })
      : filled(gettext("Start %(lesson)s"), { lesson: sheet.lesson || gettext("a lesson outside the course") });
    made.append(door(words, sheet.draft ? "secondary" : "", each, () => open(each, sheet)), " ");
  }
  made.append(...another(each), ...signed(each));
  return made;
}

function door(words, kind, each, work) {
  const button = Object.assign(make("button", words, kind), { type: "button" });
  button.setAttribute("aria-label", filled(gettext("%(what)s with %(name)s"), { what: words, name: each.name }));
  button.addEventListener("click", work);
  return button;
}

function fold(words, ...inside) {
  const made = make("details", "", "fold");
  made.append(make("summary", words), ...inside);
  return made;
}

/** Any lesson of the course, or one outside it. */
function another(each) {
  const lessons = pack.courses?.[each.course]?.lessons || [];
  const select = make("select");
  select.setAttribute("aria-label", filled(gettext("Lesson with %(name)s"), each));
  for (const lesson of lessons) select.append(Object.assign(make("option", `${lesson.code} ${lesson.title}`), { value: lesson.code }));
  select.append(Object.assign(make("option", gettext("A lesson outside the course")), { value: "" }));
  const begin = door(gettext("Start lesson"), "secondary", each, () => open(each, build.sheet(pack, each, { lesson: select.value })));
  return [fold(gettext("Another lesson"), select, " ", begin)];
}

/** The newest signed lessons, to read and to correct. */
function signed(each) {
  const list = (each.signed || []).map((row) => {
    const titles = build.titlesOf(pack, each);
    const fix = door(gettext("Correct lesson"), "secondary", each, () => entry.askReason(view, (reason) => open(each, build.sheet(pack, each, {
      lesson: row.lesson, content: row.content, corrects: row.record, reason,
    }))));
    return fold(`${row.lesson || gettext("Outside the course")}, ${row.day}`, ...sign.told(row.content, titles, make), fix);
  });
  return list.length ? [fold(gettext("Signed lessons"), ...list)] : [];
}

function open(each, sheet, { instead = null, errors = [], fault = "" } = {}) {
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
  view.replaceChildren(back, title, ...(fault ? [make("p", filled(gettext("Not sent: %(fault)s"), { fault }), "fault")] : []), document.adoptNode(form));
  const made = enhance(form, kept);
  if (instead) {
    made.add = (item) => entry.instead(instead, item);
    made.refused = {};
    for (const error of errors) (made.refused[fieldOf(error.place, form)] ??= []).push(error.message);
  }
  look(made);
  title.scrollIntoView();
}

async function kept({ then, item, lesson, content, hash, data, tell }) {
  await queue.flush();
  const there = (await queue.items()).find((each) => each.seq === item.seq);
  if (there?.state === "parked") { location.hash = `#entry-${item.seq}`; return; }
  if (then !== "sign") {
    if (there) tell(gettext("On this tablet, not yet sent."), "look");
    else tell(gettext("Draft saved. It goes on the student's record once you sign it."), "done");
    return;
  }
  // With a network the school shows what is signed, and what it has to say to it.
  if (!there) { location.assign(`/teach/${data.student}/lessons/${data.record}/sign/`); return; }
  const titles = {};
  for (const each of view.querySelectorAll("fieldset.item")) {
    titles[each.querySelector("input[type=hidden]").value] = each.querySelector("legend").textContent;
  }
  sign.here(view, { data, lesson, content, hash, allow: pack?.passkeys || [], titles, done: async (words) => {
    await counted.into(pack);
    roll(words);
    await queue.flush();
  } });
}

begin();
