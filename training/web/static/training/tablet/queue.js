/* The queue: drafts and sign-offs, each kept before it is sent, sent in order, taken out once the server has it.
 *
 * An item keeps its own number for the order and the record's UUID for the server, which answers the same to the same
 * sent again. So an answer that was lost, a tab that was closed, a login that expired or a server that was killed loses
 * nothing and doubles nothing. What the server refuses for good is parked where it is seen; later items of the same
 * student wait behind it.
 */

import { filled, gettext, ngettext } from "../words.js";
import * as store from "./store.js";

const TIMEOUT = 20000; // milliseconds for one request
const listeners = new Set();
let address = null; // where the token is had
let again = null; // timer of the next try
export const state = { says: "", at: "idle", user: "" };

export function setUp({ token, user }) {
  address = token;
  state.user = user || state.user;
}

/** Be told whenever something changed. */
export function listen(what) {
  listeners.add(what);
}

function changed() {
  for (const each of listeners) each();
}

/** Put one item at the end; gives it with its number. It is on the disk when this is done. */
export async function add(item) {
  const whole = {
    uuid: crypto.randomUUID(), owner: state.user, state: "waiting", tries: 0, fault: "", made_at: new Date().toISOString(), ...item,
  };
  whole.seq = await store.write(["queue"], ({ queue }) => queue.add(whole));
  changed();
  return whole;
}

export function items() {
  return store.all("queue");
}

export function sent() {
  return store.all("sent");
}

export async function drop(seq) {
  await store.write(["queue"], ({ queue }) => queue.delete(seq));
  changed();
}

/** Send what waits, in order. One tab at a time. `password`: for sign-offs that wait for it; kept nowhere. */
export async function flush({ password = "" } = {}) {
  const known = await navigator.locks.request("training-queue", () => run(password));
  changed();
  return known;
}

async function run(password) {
  clearTimeout(again);
  let waiting = await items();
  if (!waiting.length) return tell("idle", "");
  const asked = await token();
  if (!asked) return later("away", gettext("No network to the school."));
  if (!asked.user) return tell("login", gettext("You are signed out. Sign in to send what waits here."));
  const held = new Set();
  let others = 0;
  let parked = 0;
  let asks = 0;
  for (const item of waiting) {
    if (item.owner !== asked.user) { others += 1; continue; }
    if (item.state === "parked") { held.add(item.student); parked += 1; continue; }
    if (held.has(item.student)) continue;
    if (item.act === "sign" && !item.passkey && !password) { held.add(item.student); asks += 1; continue; }
    const outcome = await send(item, asked, password);
    if (outcome.done) { await settle(item, outcome.done); changed(); continue; }
    if (outcome.park) { await mark(item, "parked", outcome.park, outcome.errors); held.add(item.student); parked += 1; continue; }
    if (outcome.asks) { await mark(item, "waiting", outcome.asks); held.add(item.student); asks += 1; continue; }
    if (outcome.login) return tell("login", gettext("You are signed out. Sign in to send what waits here."));
    await mark(item, "waiting", outcome.later);
    return later("away", outcome.later, outcome.wait);
  }
  waiting = await items();
  if (asks) return tell("asks", "");
  if (parked) return tell("parked", "");
  if (others) return tell("others", filled(ngettext(
    "%(others)s from another person who used this tablet. It is sent when that person signs in.",
    "%(others)s from another person who used this tablet. They are sent when that person signs in.",
    others,
  ), { others }));
  return waiting.length ? later("away", "") : tell("idle", "");
}

function tell(at, says) {
  state.at = at;
  state.says = says;
  return at;
}

function later(at, says, wait = 15) {
  again = setTimeout(() => flush(), wait * 1000);
  return tell(at, says);
}

/** Who is signed in and a fresh token; null where there is no network. */
export async function token() {
  try {
    const answer = await request(address, { cache: "no-store" });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

async function request(path, how) {
  return fetch(path, { credentials: "same-origin", signal: AbortSignal.timeout(TIMEOUT), ...how });
}

async function send(item, asked, password) {
  const known = (await store.one("known", item.record)) || {};
  await store.write(["queue"], ({ queue }) => queue.put({ ...item, tries: item.tries + 1 }));
  item.tries += 1;
  try {
    const wanted = asRequest(item, known, asked, password);
    const answer = await request(wanted.path, {
      method: wanted.method, body: JSON.stringify(wanted.body),
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": asked.csrf, ...wanted.headers },
    });
    return await outcome(item, answer, asked, password);
  } catch {
    return { later: gettext("The connection was lost.") };
  }
}

function asRequest(item, known, asked, password) {
  const base = `/api/v1/students/${item.student}/lesson-records`;
  if (item.act === "draft") return { method: "POST", path: base, body: { id: item.record, lesson: item.lesson, content: item.content } };
  if (item.act === "change") {
    const version = item.version ?? known.version;
    return {
      method: "PUT", path: `${base}/${item.record}`, body: { lesson: item.lesson, content: item.content },
      headers: { "If-Match": version ? `"${version}"` : "*" },
    };
  }
  const body = { content_hash: item.hash };
  for (const key of ["findings_hash", "findings_reason"]) if (item[key]) body[key] = item[key];
  if (item.passkey) body.passkey = item.passkey;
  else body.confirm_password = password;
  // A clock that is ahead of the school's would sign in the future: then the school's own counts.
  if (item.performed_at && Date.parse(item.performed_at) <= Date.parse(asked.now)) body.performed_at = item.performed_at;
  return { method: "POST", path: `${base}/${item.record}/sign`, body };
}

async function outcome(item, answer, asked, password) {
  const said = await answer.json().catch(() => ({}));
  const words = said.detail || filled(gettext("The school's server answered %(status)s."), { status: answer.status });
  if (answer.ok) return { done: said };
  if (answer.status === 412 && item.act === "change") return unchanged(item, words);
  if (answer.status === 429) return { later: words, wait: Number(answer.headers.get("Retry-After")) || 30 };
  if (answer.status === 401 || answer.status === 419 || answer.status >= 500 || answer.status === 408) {
    return answer.status === 401 ? { login: true } : { later: words };
  }
  if (answer.status === 403) {
    // A session that ended, or a token that grew old, is no refusal.
    const now = await token();
    if (!now) return { later: gettext("The connection was lost.") };
    if (now.user !== item.owner) return { login: true };
    if (/CSRF/i.test(words)) return { later: words };
    if (item.act === "sign" && !item.passkey && password) return { asks: words };
  }
  return { park: [words, ...(said.findings || []).map((each) => each.says)].join(" "), errors: said.errors || [] };
}

/** After 412: what we sent may stand there already, its answer lost. */
async function unchanged(item, words) {
  const answer = await request(`/api/v1/students/${item.student}/lesson-records/${item.record}`, { headers: { Accept: "application/json" } });
  if (!answer.ok) return { later: gettext("The connection was lost.") };
  const there = await answer.json();
  return there.content_hash === item.hash ? { done: there } : { park: words, errors: [] };
}

async function settle(item, said) {
  const note = {
    seq: item.seq, uuid: item.uuid, act: item.act, record: item.record, student: item.student, words: item.words,
    at: new Date().toISOString(), index: said.ledger ? said.ledger.index : null,
  };
  const past = await sent();
  await store.write(["queue", "sent", "known"], ({ queue, sent: done, known }) => {
    queue.delete(item.seq);
    done.put(note);
    for (const old of past.slice(0, Math.max(0, past.length - 49))) done.delete(old.seq);
    if (item.act !== "sign") known.put({ record: item.record, version: said.version, hash: said.content_hash });
  });
}

async function mark(item, to, fault, errors = []) {
  await store.write(["queue"], ({ queue }) => queue.put({ ...item, state: to, fault, errors }));
}

/** A parked item once more, as it stands. */
export async function retry(item) {
  await mark(item, "waiting", "");
  return flush();
}
