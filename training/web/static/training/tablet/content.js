/* What was typed on a sheet, as the content of a lesson in the one form in which the server keeps it, so that the hash
 * made here is the server's. The fields are those of training/web/instructor/sheet.py. */

import { contentHash } from "../passkeys.js";
import { microsecondsOf, withUnit, written } from "./amounts.js";
import { WRITTEN } from "./written.js";

/** First movement, takeoff, landing, at rest. */
export const CLOCK = ["out", "off", "on", "in"];
/** How the purpose of a flight begins that prepares for a practical test. */
const PREPARATION = "practical-test-preparation:";

export function contentOf(form, data, airports = {}) {
  const given = (name) => (form.elements[name] ? value(form, name) : "");
  const said = (name) => given(name).trim();
  const text = (name) => given(name).replaceAll("\r\n", "\n").trim();
  const before = data.content.flight || {};
  const content = {
    flight: given("flown") && given("flown") !== "none" ? flight(said, text, before, data, airports) : null,
    ground: said("ground-time") || said("ground-topic") ? kept({
      date: said("ground-date") || said("date"), time: hours(said("ground-time")) || "0.0 h", topic: text("ground-topic"),
    }) : null,
    items: [], comments: text("comments"), next: text("next"),
  };
  for (let number = 0; number < Number(given("item-count")); number += 1) content.items.push(item(given, said, text, number));
  return content;
}

/** The content_hash of a lesson, as the server makes it. */
export function hashOf(lesson, content, data) {
  const whole = { lesson, content, corrects: data.corrects, reason: data.reason || "" };
  if (data.course) whole.course = data.course;
  return contentHash(whole);
}

function value(form, name) {
  const found = form.elements[name];
  if (found.type === "checkbox") return found.checked ? found.value : "";
  return found.value; // of radio buttons, the chosen one's
}

/** The places of an entry that are more than an identifier, by how the sheet writes them. */
export function pointsOf(entry) {
  const points = Object.create(null);
  for (const each of [...(entry.route || []), ...(entry.landings || []).map((row) => row.at)]) {
    if (each && typeof each !== "string") points[token(each)] = each;
  }
  return points;
}

/** The places of a route as typed. */
export function placesOf(route) {
  return route.split(/[\s,>\-–→]+/).filter(Boolean);
}

function flight(said, text, before, data, airports) {
  const points = pointsOf(before);
  const place = (name) => points[name] || airports[name.toUpperCase()] || name.toUpperCase();
  const craft = {};
  for (const key of WRITTEN.craft) if (said(key)) craft[key] = said(key);
  const known = data.fleet.find((each) => each.registration.toUpperCase() === (craft.registration || "").toUpperCase());
  for (const key of WRITTEN.craft) if (known && known[key] && !craft[key]) craft[key] = known[key];
  const day = said("date");
  const times = {};
  for (const key of WRITTEN.times) if (said(`t-${key}`)) times[key] = hours(said(`t-${key}`));
  const landings = [];
  for (let number = 0; number < Number(said("landing-count")); number += 1) {
    const row = landing(said, number, place);
    if (row) landings.push(row);
  }
  const prepared = (before.purposes || []).find((each) => each.startsWith(PREPARATION));
  const purposes = (before.purposes || []).filter((each) => each !== prepared);
  if (said("preparation")) purposes.push(said("preparation"));
  return kept({
    date: day, trip: before.trip, aircraft: craft, route: placesOf(said("route")).map(place),
    ...clockOf(said, day, data.zone), times, landings, purposes, remarks: text("remarks"),
  });
}

/** The instants of the clock that can be read; one before another that precedes it is on the day after. */
export function clockOf(said, day, zone) {
  const found = {};
  let before = "";
  for (const name of CLOCK) {
    let at = instant(day, said(name), zone, 0);
    if (at && before && Date.parse(at) < Date.parse(before)) at = instant(day, said(name), zone, 1);
    if (at) { found[name] = at; before = at; }
  }
  return found;
}

function landing(said, number, place) {
  const name = (key) => `landing-${number}-${key}`;
  const at = said(name("at"));
  const takeoffs = said(name("takeoffs")) || "0";
  const landings = said(name("landings")) || "0";
  if (takeoffs === "0" && landings === "0") return null;
  const row = { takeoffs: whole(takeoffs), landings: whole(landings) };
  if (at) row.at = place(at);
  if (said(name("period"))) row.period = said(name("period"));
  for (const key of Object.keys(WRITTEN.flags)) if (said(name(key))) row[key] = said(name(key)) === "yes";
  return row;
}

function item(given, said, text, number) {
  const row = `item-${number}`;
  const made = { item: given(row), grade: given(`${row}-grade`) || "not-observed" };
  if (text(`${row}-remarks`)) made.remarks = text(`${row}-remarks`);
  const taken = {};
  for (let place = 0; place < 50 && given(`${row}-m-${place}-name`); place += 1) {
    const measured = said(`${row}-m-${place}-value`);
    const target = said(`${row}-m-${place}-target`);
    if (measured) taken[given(`${row}-m-${place}-name`)] = target ? { value: measured, target } : measured;
  }
  if (Object.keys(taken).length) made.measured = taken;
  return made;
}

/** Only what says something, as the server keeps it. */
function kept(fields) {
  const empty = (each) => each === undefined || each === null || each === "" || (typeof each === "object" && !Object.keys(each).length);
  return Object.fromEntries(Object.entries(fields).filter(([, each]) => !empty(each)));
}

function whole(text) {
  return /^\d+$/.test(text) ? Number(text) : text;
}

function token(point) {
  return String(point.name || "").replaceAll(" ", "_");
}

/** A time as the server writes it. What cannot be read stays. */
function hours(text) {
  const found = microsecondsOf(withUnit(text));
  return found === null ? text : written(found);
}

/** A day and a time on the school's clock, with its offset then; empty where they cannot be read. */
export function instant(day, clock, zone, more) {
  const time = new RegExp(`^(?:${WRITTEN.rules.clock.pattern})$`).exec(clock);
  const date = /^(\d{4})-(\d\d)-(\d\d)$/.exec(day);
  if (!time || !date) return "";
  const local = Date.UTC(Number(date[1]), Number(date[2]) - 1, Number(date[3]) + more, Number(time[1]), Number(time[2]));
  let minutes = offset(local, zone);
  minutes = offset(local - minutes * 60000, zone);
  const sign = minutes < 0 ? "-" : "+";
  const two = (each) => String(each).padStart(2, "0");
  const apart = Math.abs(minutes);
  return `${new Date(local).toISOString().slice(0, 19)}${sign}${two(Math.floor(apart / 60))}:${two(apart % 60)}`;
}

/** Minutes that a zone's clock is ahead of UTC at an instant. */
function offset(at, zone) {
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit",
  }).formatToParts(new Date(at));
  const of = (type) => Number(parts.find((each) => each.type === type).value);
  return Math.round((Date.UTC(of("year"), of("month") - 1, of("day"), of("hour"), of("minute")) - at) / 60000);
}
