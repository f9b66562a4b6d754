/* What the server would refuse of a sheet, found on the tablet by the server's own declaration: the types of the record
 * document, as training/web/instructor/sheet_rules.py writes them. Airports need the table that the tablet downloads. */

import { filled } from "../words.js";
import * as amounts from "./amounts.js";
import { CLOCK, placesOf, pointsOf } from "./content.js";
import { WRITTEN } from "./written.js";

const RULES = WRITTEN?.rules;
const PATTERNS = Object.entries(RULES?.fields || {}).map(([name, type]) => (
  [new RegExp(`^${name.replaceAll("*", "\\d+")}$`), RULES.types[type]]
));

/** The errors of a sheet, by field. `airports`: identifiers by what is typed; without any, none is refused. */
export function errorsOf(form, data, airports) {
  const found = {};
  const add = (name, message, values = {}) => {
    const text = values.text?.length > 40 ? `${values.text.slice(0, 37)}…` : values.text;
    const words = filled(message, { ...values, text });
    (found[name] ??= []).push(words.charAt(0).toUpperCase() + words.slice(1));
  };
  const said = (name) => form.elements[name]?.value?.trim() || "";
  const flown = said("flown") && said("flown") !== "none";
  const taught = said("ground-time") || said("ground-topic");
  for (const input of form.querySelectorAll("[name]")) {
    const { name } = input;
    if (!flown && isOfFlight(name)) continue;
    if (!taught && name.startsWith("ground-")) continue;
    if (input.type === "radio" && !input.checked) continue;
    const text = input.value.trim();
    const kind = PATTERNS.find(([pattern]) => pattern.test(name))?.[1];
    if (kind && text) one(kind, name, text, add);
  }
  if (flown) ofFlight(form, said, data, airports, add);
  const dateless = RULES.types[RULES.fields.date].message;
  if (flown && !said("date")) add("date", dateless, { text: "" });
  if (taught && !said("ground-date") && !said("date")) add("ground-date", dateless, { text: "" });
  const now = today(data.zone);
  const days = { date: flown && said("date"), "ground-date": taught && (said("ground-date") || said("date")) };
  for (const [name, day] of Object.entries(days)) if (!found[name] && day > now) add(name, RULES.future, { text: day, today: now });
  measured(form, said, add);
  return found;
}

/** The name of the field for a place such as `content.flight.times.night`, as training/web/instructor/sheet.py has it. */
export function fieldOf(place, form) {
  const path = place.replace(/^content\.?/, "");
  const flight = /^flight\.(times|landings|aircraft)?(?:\[(\d+)\])?\.?([^.[]*)/.exec(path);
  if (flight) {
    const [, part, number, key] = flight;
    if (part === "times") return `t-${key || "total"}`;
    if (part === "landings") return `landing-${number}-${key || "at"}`;
    return part === "aircraft" ? key || "registration" : key;
  }
  if (path.startsWith("ground.")) return `ground-${path.slice("ground.".length)}`;
  const item = /^items\[(\d+)\](?:\.(\w+)(?:\.(.+))?)?/.exec(path);
  if (!item) return form.elements[path] ? path : "flown";
  const row = `item-${item[1]}`;
  if (item[2] !== "measured") return item[2] === "remarks" ? `${row}-remarks` : `${row}-grade`;
  const named = [...form.querySelectorAll(`[name^="${row}-m-"][name$="-name"]`)].find((each) => [item[3], item[3]?.replace(/\.(value|target)$/, "")].includes(each.value));
  return named ? named.name.replace(/name$/, "value") : `${row}-grade`;
}

/** The fields that say nothing while nobody flew. */
function isOfFlight(name) {
  return ["date", "remarks", ...WRITTEN.craft].includes(name) || /^(t|landing)-/.test(name);
}

/** The school's day now. */
export function today(zone) {
  return new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" }).format(new Date());
}

function one({ schema, message }, name, text, add) {
  const isTime = name.startsWith("t-") || name === "ground-time";
  const typed = isTime ? amounts.withUnit(text) : text;
  if (breaks(schema, typed) || (isTime && amounts.microsecondsOf(typed) === null)) add(name, message, { text: typed, length: [...typed].length });
}

/** Whether a text breaks a schema, so far as the types of fields use it. */
function breaks(schema, text) {
  if (schema.anyOf) return schema.anyOf.every((each) => breaks(each, text));
  if (schema.type === "number") return true; // a field has texts only
  if (schema.type === "integer") return !/^\d+$/.test(text) || Number(text) < schema.minimum || Number(text) > schema.maximum;
  if (schema.format === "date") return !isDay(text);
  if (schema.enum && !schema.enum.includes(text)) return true;
  if (schema.maxLength && [...text].length > schema.maxLength) return true;
  return Boolean(schema.pattern) && !new RegExp(schema.pattern).test(text);
}

function isDay(text) {
  const found = /^(\d{4})-(\d\d)-(\d\d)$/.exec(text);
  if (!found) return false;
  const [year, month, day] = found.slice(1).map(Number);
  const made = new Date(Date.UTC(year, month - 1, day));
  return made.getUTCMonth() === month - 1 && made.getUTCDate() === day && year >= RULES.years[0] && year <= RULES.years[1];
}

function ofFlight(form, said, data, airports, add) {
  const clock = new RegExp(`^(?:${RULES.clock.pattern})$`);
  for (const name of CLOCK) if (said(name) && !clock.test(said(name))) add(name, RULES.clock.message, { text: said(name) });
  times(said, add);
  const points = pointsOf(data.content.flight || {});
  const known = (text) => text in points || !Object.keys(airports).length || text.toUpperCase() in airports;
  const route = placesOf(said("route"));
  for (const text of route) if (!known(text)) add("route", RULES.airport, { text });
  if (route.length > RULES.points) add("route", RULES.most_points, { length: route.length });
  for (let number = 0; number < Number(said("landing-count")); number += 1) {
    const text = said(`landing-${number}-at`);
    const counted = Object.keys(WRITTEN.counts).some((key) => !["", "0"].includes(said(`landing-${number}-${key}`)));
    if (text && counted && !known(text)) add(`landing-${number}-at`, RULES.airport, { text });
  }
}

function times(said, add) {
  const of = Object.fromEntries(WRITTEN.times.map((key) => [key, amounts.microsecondsOf(amounts.withUnit(said(`t-${key}`)))]));
  if (WRITTEN.times.some((key) => said(`t-${key}`) && of[key] === null)) return;
  const { total } = of;
  const more = WRITTEN.times.filter((key) => total !== null && of[key] > total);
  const values = (text) => ({ text: amounts.written(text), total: amounts.written(total) });
  for (const key of more) add(`t-${key}`, RULES.times.part, values(of[key]));
  const instrument = (of.actual_instrument || 0) + (of.simulated_instrument || 0);
  if (total !== null && !more.length && instrument > total) add("t-total", RULES.times.instrument, values(instrument));
  if (of.dual && of.solo) add("t-total", RULES.times.alone, { text: amounts.written(of.dual), total: amounts.written(of.solo) });
}

/** A bare number in a field that states its unit, as the server reads it. */
function withUnit(text, unit) {
  return unit && /^[+-]?\d+([.,]\d+)*$/.test(text) ? `${text} ${unit}` : text;
}

/** The measured values of the items, each with its unit. */
function measured(form, said, add) {
  for (const input of form.querySelectorAll("[name^=item-][name$=-value]")) {
    const text = input.value.trim();
    if (!text) continue;
    const row = input.name.slice(0, -"-value".length);
    const [value, target] = [text, said(`${row}-target`)].map((each) => withUnit(each, said(`${row}-unit`)));
    const wrong = amounts.measured(said(`${row}-name`), value, target);
    if (wrong) add(input.name, wrong, { text, target: said(`${row}-target`) });
  }
}
