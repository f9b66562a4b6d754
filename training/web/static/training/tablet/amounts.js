/* Times and measured values as typed, by the units and patterns of the server (syllabus/engine/time/units.py and
 * syllabus/engine/course/measured.py), which come as data. */

import { WRITTEN } from "./written.js";

const RULES = WRITTEN?.rules;
const HOUR = 3_600_000_000; // in microseconds, as the server counts
const MINUTE = 60_000_000;

/** A bare number of hours with its unit, as the server reads a field of the sheet. */
export function withUnit(text) {
  return /^\d+([.,]\d+)?$/.test(text) ? `${text} h` : text;
}

/** A time in microseconds; null where it is none. */
export function microsecondsOf(text) {
  const words = text.trim();
  const clock = /^([0-9]{1,5}):([0-5][0-9])$/.exec(words);
  const found = clock ? Number(clock[1]) * HOUR + Number(clock[2]) * MINUTE : amount(words, "time", HOUR);
  return found === null || found >= RULES.most_hours * HOUR ? null : found;
}

/** A number with its unit; of a time in microseconds, else the bare number. Null where it is none of this dimension. */
function amount(words, dimension, bare = null) {
  const [digits, decimals] = RULES.digits;
  const found = new RegExp(`^([0-9]{1,${digits}})(?:\\.([0-9]{1,${decimals}}))?(?![0-9.,+-])\\s*(.*)$`).exec(words);
  if (!found) return null;
  const unit = found[3].trim().replace(/\s+/g, " ");
  const known = unit ? RULES.units[dimension].includes(unit) : bare !== null;
  if (!known) return null;
  if (dimension !== "time") return Number(found[1]);
  const whole = Number(`${found[1]}${(found[2] || "").padEnd(6, "0")}`); // in millionths of the unit
  const size = unit ? RULES.microseconds[unit] : bare;
  return whole * (size / 1_000_000);
}

/** A time as the server writes it: in hours where two decimals do, else in minutes, else in seconds. */
export function written(microseconds) {
  const said = (size, places) => {
    const scaled = (microseconds * 10 ** places) / size;
    if (!Number.isInteger(scaled)) return null;
    const text = String(scaled).padStart(places + 1, "0");
    return `${text.slice(0, -places)}.${text.slice(-places).replace(/0+$/, "") || "0"}`;
  };
  const hours = said(HOUR, 2);
  if (hours) return `${hours} h`;
  if (microseconds % MINUTE === 0) return `${microseconds / MINUTE} min`;
  const minutes = said(MINUTE, 6);
  return minutes ? `${minutes} min` : `${said(1_000_000, 6)} s`;
}

/** What is wrong with a measured value and its target; nothing where both can be read. */
export function measured(name, value, target) {
  const { quantities, most, message, target: aims } = RULES.measured;
  if ([value, target].some((each) => [...each].length > most)) return message;
  const kinds = Object.keys(quantities).filter((each) => reads(name, each, plain(value)));
  if (!kinds.length || unitless(value)) return message;
  if (!target) return "";
  const aimed = Object.keys(quantities).filter((each) => whole(plain(target), quantities[each]));
  if (!aimed.length || unitless(target)) return aims;
  return kinds.some((each) => aimed.includes(each)) ? "" : RULES.measured.other;
}

function reads(name, quantity, value) {
  const { turn: turning, before, quantities: { [quantity]: { words } } } = RULES.measured;
  return [...new Set([name, quantity])].some((called) => {
    const text = withoutName([called, quantity, before], value.trim().replace(/\s+/g, " "));
    const turn = quantity === turning && /^(.+?) in (.+)$/.exec(text);
    if (turn) return amount(turn[1], "angle", 1) !== null && Boolean(inParts(turn[2]));
    const [left, side] = sided(text, words);
    const signed = /^([-+−±])\s*(.+)$/.exec(left);
    if (signed && side) return false;
    return whole(signed ? signed[2] : left, RULES.measured.quantities[quantity]);
  });
}

/** Whether a text is one amount of a quantity. */
function whole(text, { dimension }) {
  return dimension === "time" ? inParts(text, MINUTE) !== null : amount(text.trim(), dimension, 1) !== null;
}

/** A time in one part or several, each smaller than the one before: `2 min 9 s`. */
function inParts(text, bare = HOUR) {
  const parts = text.trim().match(/[0-9.]+ [A-Za-z]+(?: |$)/g)?.map((each) => each.trim()) || [];
  if (parts.length < 2 || parts.join(" ") !== text.trim().replace(/\s+/g, " ")) {
    const clock = /^([0-9]{1,5}):([0-5][0-9])$/.exec(text.trim());
    return clock ? Number(clock[1]) * HOUR + Number(clock[2]) * MINUTE : amount(text.trim(), "time", bare);
  }
  const sizes = parts.map((each) => RULES.microseconds[each.split(" ")[1]] || 0);
  if (sizes.some((each, at) => at && each >= sizes[at - 1])) return null;
  const all = parts.map((each) => amount(each, "time"));
  return all.includes(null) ? null : all.reduce((sum, each) => sum + each, 0);
}

function withoutName(names, text) {
  const longest = [...new Set(names)].sort((a, b) => b.length - a.length);
  const found = longest.find((each) => text.toLowerCase().startsWith(`${each.toLowerCase()} `));
  return found ? text.slice(found.length).trim() : text;
}

function sided(text, words) {
  const parts = text.split(" ");
  if (parts.length < 2) return [text, ""];
  const [first, last] = [parts[0].toLowerCase(), parts.at(-1).toLowerCase()];
  if (words.includes(first)) return [parts.slice(1).join(" "), first];
  if (words.includes(last)) return [parts.slice(0, -1).join(" "), last];
  return [text, ""];
}

/** A number that nobody can tell the meaning of. */
function unitless(text) {
  const spelled = new RegExp(`^(?:${RULES.measured.spelled})`);
  return [...text.matchAll(new RegExp(RULES.measured.number, "g"))].some((each) => (
    !each[0].includes(":") && !spelled.test(text.slice(each.index + each[0].length))
  ));
}

function plain(text) {
  return text.replace(new RegExp(RULES.measured.thousands, "g"), (each) => each.replaceAll(",", ""));
}
