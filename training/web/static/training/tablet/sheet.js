/* The lesson sheet with scripts: steppers, what follows from off, on and route at once, contradictions where they are
 * typed, and keeping through the queue, so that a sheet outlives a lost network. Without scripts it is a plain form. */

import { filled, gettext } from "../words.js";
import { written } from "./amounts.js";
import * as check from "./check.js";
import { clockOf, contentOf, hashOf } from "./content.js";
import * as queue from "./queue.js";
import * as store from "./store.js";

const PAUSE = 500; // milliseconds after the last letter

/** Bring a sheet to life. `kept({then, item, here})` is called once it is in the queue; `here` is what it says. */
export function enhance(form, kept) {
  const data = JSON.parse(form.dataset.sheet);
  const sheet = { form, data, airports: {}, kept, timer: null, turn: 0, loaded: Boolean(data.content.flight) };
  const spare = form.querySelector(".landing:last-of-type");
  if (spare) sheet.blank = { html: spare.outerHTML, number: Number(form.elements["landing-count"].value) - 1 };
  steppers(form);
  for (const [name, text] of Object.entries(data.defaults || {})) {
    const input = form.elements[name];
    if (input?.value === text && !name.startsWith("landing-")) input.dataset.proposed = "yes";
  }
  ofFlight(form);
  sheet.ready = restore(sheet).then(() => settle(sheet));
  completing(sheet);
  form.addEventListener("input", (event) => {
    delete event.target.dataset.proposed;
    event.target.dataset.touched = "yes";
    if (sheet.refused) delete sheet.refused[event.target.name];
    lines(sheet, event.target.name);
    clearTimeout(sheet.timer);
    sheet.timer = setTimeout(() => { hold(sheet); look(sheet); }, PAUSE);
  });
  form.addEventListener("change", (event) => {
    ofFlight(form);
    complete(sheet, event.target);
  });
  // What stands in a field already is written over, not erased by hand.
  form.addEventListener("focusin", ({ target }) => { if (target.dataset.proposed || target.closest(".stepper")) target.select?.(); });
  form.addEventListener("submit", (event) => {
    // Items that are put on the sheet come from the server with their standards.
    if (form.elements.add && form.elements.add.selectedOptions.length) return;
    event.preventDefault();
    keep(sheet, event.submitter ? event.submitter.value : "keep");
  });
  return sheet;
}

/** A bare number gets the unit of its field, and an aircraft what the school knows of it. */
function complete({ form, data }, input) {
  const { unit } = input.dataset;
  if (unit && /^[+-]?\d+([.,]\d+)*$/.test(input.value.trim())) input.value = `${input.value.trim()} ${unit}`;
  if (input.name !== "registration") return;
  input.value = input.value.trim().toUpperCase();
  const known = data.fleet.find((each) => each.registration.toUpperCase() === input.value);
  for (const key of known ? Object.keys(known) : []) if (form.elements[key]) form.elements[key].value = known[key] || "";
}

/** One line of landings for each airport of the route, with the takeoffs and landings that follow from it. */
function lines(sheet, typed = "route") {
  const { form, airports } = sheet;
  if (!sheet.blank || !/^(route$|landing-)/.test(typed)) return;
  const named = (text) => {
    const code = text.trim().toUpperCase();
    return airports[code] || (/^[A-Z0-9]{3,4}$/.test(code) ? code : text.trim());
  };
  const route = form.elements.route.value.split(/[\s,>\-–→]+/).filter((each) => each.length > 2).map(named);
  const field = (number, key) => form.elements[`landing-${number}-${key}`];
  const rows = [...Array(Number(form.elements["landing-count"].value)).keys()];
  const of = (airport) => rows.find((number) => named(field(number, "at").value) === airport);
  const left = (number) => ["takeoffs", "landings", "at"].every((key) => !field(number, key).dataset.touched);
  if (typed === "route") {
    for (const number of rows) if (left(number)) field(number, "at").value = "";
    for (const airport of [...route.slice(1), ...route.slice(0, 1)]) {
      const number = of(airport) ?? rows.find((each) => !field(each, "at").value) ?? another(sheet, rows);
      field(number, "at").value = airport;
    }
    if (!rows.some((number) => !field(number, "at").value)) another(sheet, rows);
  }
  for (const number of rows) {
    const airport = named(field(number, "at").value);
    count(field(number, "landings"), Number(route.length > 0 && airport === route.at(-1)));
    const landings = Number(field(number, "landings").value) || 0;
    count(field(number, "takeoffs"), airport ? Math.max(0, landings + Number(airport === route[0]) - Number(airport === route.at(-1))) : 0);
    field(number, "at").closest(".landing").classList.toggle("spare", !airport && route.length > 0);
  }
}

/** What was saved or typed before stays as it is; the rest follows the route. */
function settle(sheet) {
  for (const input of sheet.form.querySelectorAll(".landings [name$=-landings], .landings [name$=-takeoffs]")) {
    if (sheet.loaded && (sheet.data.content.flight || input.value !== "0")) input.dataset.touched = "yes";
  }
  if (!sheet.loaded) lines(sheet);
}

/** Propose a number of takeoffs or landings, where none was counted. */
function count(input, number) {
  if (input.dataset.touched) return;
  input.value = number;
  if (number) input.dataset.proposed = "yes";
  else delete input.dataset.proposed;
}

/** Another line of landings; its number. */
function another(sheet, rows) {
  const { form, blank } = sheet;
  const number = rows.length;
  const made = new DOMParser().parseFromString(blank.html.replaceAll(`landing-${blank.number}-`, `landing-${number}-`), "text/html").body.firstElementChild;
  form.querySelector(".landings").append(made);
  steppers(made);
  form.elements["landing-count"].value = number + 1;
  rows.push(number);
  return number;
}

function steppers(form) {
  for (const each of form.querySelectorAll(".stepper")) {
    const input = each.querySelector("input");
    const button = (word, by, sign) => {
      const made = document.createElement("button");
      made.type = "button";
      made.className = "secondary";
      made.textContent = sign;
      made.setAttribute("aria-label", `${word}: ${document.querySelector(`label[for="${input.id}"]`)?.textContent || ""}`);
      made.addEventListener("click", () => {
        input.value = Math.min(99, Math.max(0, (Number(input.value) || 0) + by));
        input.dispatchEvent(new Event("input", { bubbles: true }));
      });
      return made;
    };
    each.prepend(button(gettext("One less"), -1, "−"));
    each.append(button(gettext("One more"), 1, "+"));
  }
}

function ofFlight(form) {
  const flown = form.elements.flown.value;
  form.querySelector(".of-flight").hidden = !flown || flown === "none";
}

/** What stands on a sheet outlives the page: it is held here until it is kept. */
function hold({ form, data }) {
  const values = [...new FormData(form)].filter(([name]) => !["csrfmiddlewaretoken", "add", "version", "record"].includes(name));
  return store.write(["typed"], ({ typed }) => typed.put({ key: key(form, data), version: data.version, record: data.record, values }));
}

async function restore(sheet) {
  const { form, data } = sheet;
  const held = await store.one("typed", key(form, data)).catch(() => null);
  if (!held || held.version !== data.version) return;
  if (!data.version) data.record = held.record;
  for (const each of form.querySelectorAll("input[type=radio], input[type=checkbox]")) each.checked = false;
  const rows = [...Array(Number(form.elements["landing-count"].value)).keys()];
  const most = Number(held.values.find(([name]) => name === "landing-count")?.[1] || 0);
  while (rows.length < most) another(sheet, rows);
  for (const [name, text] of held.values) {
    const found = form.elements[name];
    if (!found) continue;
    if (found.type === "checkbox") found.checked = true;
    else found.value = text;
  }
  sheet.loaded = true;
  ofFlight(form);
  tell(form, gettext("You typed this on this tablet and have not saved it yet."), "look");
}

function key(form, data) {
  return data.version || data.again ? data.record : `new ${data.student} ${form.elements.lesson.value}`;
}

/** Airports for the word that is typed last. */
function completing(sheet) {
  const list = sheet.form.querySelector("#airports");
  store.pack().then((pack) => offer(list, pack?.airports || [], ""));
  store.airports().then((known) => Object.assign(sheet.airports, known));
  let timer;
  for (const input of sheet.form.querySelectorAll("[list=airports]")) {
    input.addEventListener("input", () => {
      clearTimeout(timer);
      const words = input.value.split(/\s+/);
      const typed = words.pop();
      const before = input.name === "route" ? words.map((each) => `${each} `).join("") : "";
      if (typed.length < 2) return;
      timer = setTimeout(async () => {
        try {
          const answer = await fetch(`${sheet.data.airports}?q=${encodeURIComponent(typed)}`, { signal: AbortSignal.timeout(4000) });
          if (!answer.ok) return;
          const found = (await answer.json()).airports;
          offer(list, found, before);
        } catch { /* without a network the tablet's own airports stay */ }
      }, 200);
    });
  }
}

function offer(list, airports, before) {
  list.replaceChildren(...airports.map((each) => {
    const made = document.createElement("option");
    made.value = before + each.key;
    made.textContent = each.name;
    return made;
  }));
}

/** Ask what the sheet comes to; without a network, what can be said here. Gives whether it can be kept. */
export async function look(sheet) {
  await sheet.ready;
  sheet.turn += 1;
  const turn = sheet.turn;
  const here = onTheTablet(sheet);
  const token = await queue.token();
  if (turn !== sheet.turn) return true;
  if (!token || !token.user) { show(sheet, here); return !Object.keys(here.errors).length; }
  const said = new FormData(sheet.form);
  for (const input of sheet.form.querySelectorAll("[data-proposed]")) if (/^t-|-period$/.test(input.name)) said.delete(input.name);
  said.set("record", sheet.data.record);
  try {
    const answer = await fetch(sheet.data.check, {
      method: "POST", body: said, headers: { "X-CSRFToken": token.csrf }, signal: AbortSignal.timeout(8000),
    });
    if (!answer.ok) throw new Error("no answer");
    const found = await answer.json();
    if (turn !== sheet.turn) return true;
    Object.assign(sheet.airports, found.places);
    if (!sheet.loaded) lines(sheet);
    propose(sheet, found.proposed, !Object.keys(found.errors).length);
    show(sheet, found);
    return !Object.keys(found.errors).length;
  } catch {
    show(sheet, here);
    return !Object.keys(here.errors).length;
  }
}

/** What follows without the server: the length by the clock, and sums that cannot be. */
function onTheTablet(sheet) {
  const { form, data, airports } = sheet;
  const found = { errors: {}, warnings: {}, hints: {}, distance: null, night: null, cross_country: "" };
  const said = (name) => form.elements[name].value.trim();
  const flown = said("flown");
  const at = flown && flown !== "none" ? clockOf(said, said("date"), data.zone) : {};
  const [from, to] = at.out && at.in ? [at.out, at.in] : [at.off, at.on];
  if (from && to) {
    const clock = (Date.parse(to) - Date.parse(from)) * 1000; // whole microseconds
    propose(sheet, { "t-total": written(clock), [`t-${flown}`]: written(clock) });
  }
  found.errors = check.errorsOf(form, data, airports);
  return found;
}

/** Fill in what follows, and follow it until somebody types something else. */
function propose(sheet, proposed, whole = false) {
  const { form } = sheet;
  for (const [name, text] of Object.entries(proposed)) {
    const input = form.elements[name];
    if (!input || input.dataset.touched) continue;
    if (sheet.loaded && input.value !== text) {
      input.dataset.touched = "yes"; // saved as something else, or as nothing
      continue;
    }
    input.value = text;
    input.dataset.proposed = "yes";
  }
  if (Object.keys(proposed).length) sheet.loaded = false;
  // What followed before and does not any more, such as night on an earlier flight.
  for (const input of form.querySelectorAll("[name^=t-][data-proposed]")) {
    if (input.name in proposed || !(whole || /^t-(dual|solo)$/.test(input.name))) continue;
    input.value = "";
    delete input.dataset.proposed;
  }
}

function show({ form, refused = {} }, found) {
  for (const place of form.querySelectorAll("[data-for]")) {
    const lines = [
      ...(found.errors[place.dataset.for] || []).map((words) => line("wrong", gettext("Fix first:"), words)),
      ...(refused[place.dataset.for] || []).map((words) => line("wrong", gettext("The school refused:"), words)),
      ...(found.warnings[place.dataset.for] || []).map((words) => line("look", gettext("Check:"), words)),
    ];
    place.replaceChildren(...lines);
    const input = form.elements[place.dataset.for];
    if (input && input.setAttribute) {
      if (found.errors[place.dataset.for]) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    }
  }
  for (const place of form.querySelectorAll("[data-hint]")) {
    const hint = found.hints[place.dataset.hint];
    place.textContent = hint ? [hint.words, hint.caution].filter(Boolean).join(". ") : "";
  }
  form.querySelector("[data-findings]")?.replaceChildren(...(found.findings || []).map((each) => (
    line(each.severity === "serious" ? "fault" : "look", each.severity === "serious" ? gettext("Serious:") : gettext("Check:"), each.says))));
  const out = (name, words) => { form.querySelector(`[data-out=${name}]`).textContent = words; };
  const away = gettext("calculated when the network is back");
  out("distance", found.distance === null ? away : found.distance || gettext("unknown"));
  out("night", found.night === null ? away : found.night || gettext("unknown"));
  out("cross_country", found.cross_country || "");
}

function line(kind, opening, words) {
  const made = document.createElement("p");
  made.className = kind;
  const strong = document.createElement("strong");
  strong.textContent = opening;
  made.append(strong, " ", words);
  return made;
}

function tell(form, words, kind = "fault") {
  const place = form.querySelector(".sheet-says");
  place.className = `sheet-says ${kind}`;
  place.textContent = words;
  place.hidden = !words;
}

/** Links to the fields with errors, where the person is; the folds around them are opened. */
function summary(form) {
  const list = document.createElement("ul");
  for (const place of form.querySelectorAll(".said:has(.wrong)")) {
    const name = place.dataset.for;
    const input = form.elements[name]?.length && !form.elements[name].id ? form.elements[name][0] : form.elements[name];
    for (let fold = place.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    const made = document.createElement("a");
    made.href = `#${input?.id || ""}`;
    made.textContent = form.querySelector(`label[for="${input?.id}"]`)?.firstChild.textContent.trim() || place.previousElementSibling?.getAttribute("aria-label") || name;
    made.addEventListener("click", (event) => {
      event.preventDefault();
      input?.focus();
      input?.scrollIntoView({ block: "center" });
    });
    const row = document.createElement("li");
    row.append(made, ` ${[...place.querySelectorAll(".wrong")].map((each) => each.lastChild.textContent).join("; ")}`);
    list.append(row);
  }
  form.querySelector(".sheet-says").append(list);
}

async function keep(sheet, then) {
  const { form, data } = sheet;
  clearTimeout(sheet.timer);
  tell(form, "");
  if (!(await look(sheet))) {
    tell(form, gettext("Draft not saved. Fix the highlighted fields."));
    summary(form);
    return;
  }
  const lesson = form.elements.lesson.value;
  const content = contentOf(form, data, sheet.airports);
  const hash = await hashOf(lesson, content, data);
  const item = await (sheet.add || queue.add)({
    act: data.version ? "change" : data.corrects ? "correct" : "draft", student: data.student, record: data.record, lesson, content, hash,
    corrects: data.corrects, reason: data.reason, version: data.queued ? null : data.version, words: filled(gettext("%(name)s: %(lesson)s, draft"), { name: data.name, lesson: lesson || gettext("a lesson outside the course") }),
  });
  const held = key(form, data);
  await store.write(["typed"], ({ typed }) => typed.delete(held));
  sheet.add = null;
  // Whatever is kept next changes this one.
  Object.assign(data, { version: data.version || 1, queued: true, content });
  await sheet.kept({ then, item, lesson, content, hash, data, tell: (words, kind) => tell(form, words, kind) });
}
