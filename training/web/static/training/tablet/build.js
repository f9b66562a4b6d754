/* Sheets that the tablet makes by itself: any lesson of the course, a correction of a signed lesson, and an entry that is
 * opened again. The student's blank sheet gives the form, the course's stock the items; both come from the server. */

import { filled, gettext } from "../words.js";
import { CLOCK } from "./content.js";
import { WRITTEN } from "./written.js";

const parsed = (html) => new DOMParser().parseFromString(html, "text/html");
const EMPTY = { flight: null, ground: null, items: [], comments: "", next: "" };

/** The items of a course by code, with their titles. */
export function titlesOf(pack, student) {
  return pack?.courses?.[student?.course]?.items || {};
}

/** A sheet `{ html, record, lesson, title, draft }`, as the server makes them, of a lesson with this content. */
export function sheet(pack, student, { lesson = "", content = null, record = crypto.randomUUID(), version = null, corrects = null, reason = "" }) {
  const course = pack.courses?.[student.course];
  const planned = course?.lessons.find((each) => each.code === lesson);
  const whole = parsed(student.sheets.at(-1).html);
  const form = whole.querySelector("form.sheet");
  const data = { ...JSON.parse(form.dataset.sheet), record, version, corrects, reason, content: content || EMPTY, again: Boolean(content) };
  form.dataset.sheet = JSON.stringify(data);
  const items = content ? content.items : Object.keys(planned?.items || {}).map((item) => ({ item, grade: "not-observed" }));
  place(form, items, { stock: parsed(course?.stock || ""), titles: titlesOf(pack, student), required: planned?.items || {}, student });
  set(form, "lesson", lesson);
  set(form, "record", record);
  set(form, "version", String(version || 0));
  if (content) fill(form, content, data.zone);
  for (const input of form.querySelectorAll("input")) stay(input);
  return { html: form.outerHTML, record, lesson, title: planned?.title || "", draft: true };
}

/** What was set goes with the HTML. */
function stay(input) {
  if (["radio", "checkbox"].includes(input.type)) input.toggleAttribute("checked", input.checked);
  else input.setAttribute("value", input.value);
}

function set(form, name, text) {
  const input = form.elements[name];
  if (!input) return;
  input.value = text;
  if (input.tagName === "TEXTAREA") input.textContent = text;
  if (input.tagName === "SELECT") for (const each of input.options) each.toggleAttribute("selected", each.value === text);
}

/** The items of a lesson in the place of those of the blank sheet, each with what is known of it. */
function place(form, items, { stock, titles, required, student }) {
  for (const each of form.querySelectorAll("fieldset.item")) each.remove();
  const section = form.querySelector(".items");
  const every = [...stock.querySelectorAll("fieldset.item")];
  items.forEach((each, number) => {
    const known = every.find((one) => one.querySelector("input[type=hidden]").value === each.item);
    const html = (known || every[0])?.outerHTML.replace(/item-\d+/g, `item-${number}`);
    if (!html) return;
    const made = parsed(html).querySelector("fieldset.item");
    made.querySelector("input[type=hidden]").setAttribute("value", each.item);
    if (!known) foreign(made, each.item);
    for (const words of beside(each.item, titles, required, student)) {
      made.querySelector("legend").after(Object.assign(form.ownerDocument.createElement("p"), { className: "aside", textContent: words }));
    }
    section.append(made);
  });
  set(form, "item-count", String(items.length));
  form.elements["item-count"].setAttribute("value", items.length);
}

/** An item that the course no longer has. */
function foreign(made, code) {
  made.querySelector("legend").textContent = code;
  for (const each of made.querySelectorAll(".standard, .aside, .measure")) each.remove();
}

/** What this lesson requires of an item, and the newest grade that this tablet knows. */
function beside(code, titles, required, student) {
  const before = student.grades?.[code];
  return [
    before && filled(gettext("Last time: %(grade)s, %(day)s. %(remark)s"), { grade: WRITTEN.grades[before.grade], day: before.day, remark: before.remark }).trim(),
    required[code] && filled(gettext("Required: %(grade)s"), { grade: WRITTEN.grades[required[code]] }),
  ].filter(Boolean);
}

/** A content in the fields of its sheet, as training/web/instructor/sheet.py does it. */
function fill(form, content, zone) {
  const { flight, ground } = content;
  const times = flight?.times || {};
  check(form, "flown", !flight ? "none" : times.solo ? "solo" : "dual");
  for (const name of ["date", "remarks"]) set(form, name, flight?.[name] || "");
  set(form, "route", (flight?.route || []).map(token).join(" "));
  for (const name of CLOCK) set(form, name, flight?.[name] ? clock(flight[name], zone) : "");
  for (const key of WRITTEN.craft) set(form, key, flight?.aircraft?.[key] || "");
  for (const key of WRITTEN.times) set(form, `t-${key}`, times[key] || "");
  const prepares = form.elements.preparation;
  if (prepares) prepares.checked = (flight?.purposes || []).includes(prepares.value);
  landings(form, flight?.landings || []);
  for (const name of ["date", "time", "topic"]) set(form, `ground-${name}`, ground?.[name] || "");
  for (const name of ["comments", "next"]) set(form, name, content[name] || "");
  content.items.forEach((each, number) => item(form, each, `item-${number}`));
}

function check(form, name, value) {
  for (const each of form.querySelectorAll(`input[name="${name}"]`)) each.checked = each.value === value;
}

function landings(form, rows) {
  const spare = form.querySelector(".landing:last-of-type") || form.querySelector(".landing");
  const before = Number(form.elements["landing-count"].value);
  for (let number = before; number <= rows.length; number += 1) {
    const html = spare.outerHTML.replaceAll(`landing-${before - 1}-`, `landing-${number}-`);
    spare.parentElement.append(parsed(html).body.firstElementChild);
  }
  const count = Math.max(before, rows.length + 1);
  form.elements["landing-count"].setAttribute("value", count);
  rows.forEach((row, number) => {
    set(form, `landing-${number}-at`, row.at ? token(row.at) : "");
    for (const key of Object.keys(WRITTEN.counts)) set(form, `landing-${number}-${key}`, String(row[key] || 0));
    set(form, `landing-${number}-period`, row.period || "");
    for (const key of Object.keys(WRITTEN.flags)) set(form, `landing-${number}-${key}`, key in row ? (row[key] ? "yes" : "no") : "");
  });
}

function item(form, each, row) {
  check(form, `${row}-grade`, each.grade);
  set(form, `${row}-remarks`, each.remarks || "");
  const left = { ...each.measured };
  let place = 0;
  for (; form.elements[`${row}-m-${place}-name`]; place += 1) {
    const name = form.elements[`${row}-m-${place}-name`].value;
    if (name in left) measure(form, `${row}-m-${place}`, left[name]);
    delete left[name];
  }
  for (const [name, said] of Object.entries(left)) {
    const made = form.ownerDocument.createElement("div");
    made.className = "measure";
    const input = (key, type) => Object.assign(form.ownerDocument.createElement("input"), { name: `${row}-m-${place}-${key}`, type });
    const [value, target] = [input("value", "text"), input("target", "text")];
    value.setAttribute("aria-label", name);
    target.setAttribute("aria-label", gettext("Target"));
    made.append(Object.assign(input("name", "hidden"), { value: name }), name, value, target);
    form.elements[row].closest("fieldset").append(made);
    measure(form, `${row}-m-${place}`, said);
    place += 1;
  }
}

function measure(form, row, said) {
  set(form, `${row}-value`, said.value ?? said);
  set(form, `${row}-target`, said.target || "");
}

function token(point) {
  return typeof point === "string" ? point : String(point.name || "").replaceAll(" ", "_");
}

function clock(at, zone) {
  return new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", hour: "2-digit", minute: "2-digit" }).format(new Date(at));
}
