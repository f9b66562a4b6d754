/* The queue: drafts, corrections, sign-offs and decisions, each kept before it is sent, sent in order, taken out once
 * the server has it.
 *
 * An item keeps its own number for the order and the record's UUID for the server, which answers the same to the same
 * sent again. So an answer that was lost, a tab that was closed, a login that expired or a server that was killed loses
 * nothing and doubles nothing. What the server refuses for good is parked where it is seen, until somebody decides:
 * correct and sign again, send again, or discard with a reason. Later items of the same student wait behind it.
 */

import { filled, gettext } from "../words.js";
import * as store from "./store.js";

const TIMEOUT = 20000; // milliseconds for one request
const listeners = new Set();
let address = null; // where the token is had
let again = null; // timer of the next try
/** `user`: who the page is of, and so what is entered on it; `here`: who is signed in by the school's last answer. */
export const state = { says: "", at: "idle", user: "", here: "" };

/** Whether an entry is of who is signed in, as far as this tablet knows. */
export function own(item) {
  return item.owner === (state.here || state.user);
}

const DECISIONS = "/tablet/decisions/";

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
  let parked = 0;
  let asks = 0;
  let failed = null;
  for (const item of waiting) {
    if (item.owner !== asked.user) continue;
    if (item.state === "parked") { held.add(item.student); parked += 1; continue; }
    if (held.has(item.student)) continue;
    if (item.act === "sign" && !item.passkey && !password) { held.add(item.student); asks += 1; continue; }
    const outcome = await send(item, asked, password);
    if (outcome.done) { await settle(item, outcome.done); changed(); continue; }
    if (outcome.park) { await mark(item, "parked", outcome.park, { ...outcome }); held.add(item.student); parked += 1; continue; }
    if (outcome.asks) { await mark(item, "waiting", outcome.asks); held.add(item.student); asks += 1; continue; }
    if (outcome.login) return tell("login", gettext("You are signed out. Sign in to send what waits here."));
    await mark(item, "waiting", outcome.later);
    if (!outcome.broken) return later("away", outcome.later, outcome.wait);
    // The server answers, but not to this: what others wait for goes on.
    held.add(item.student);
    failed = outcome;
  }
  waiting = await items();
  if (failed) later("failed", failed.later, 60);
  if (asks) return tell("asks", "");
  if (failed) return state.at;
  if (parked) return tell("parked", "");
  if (waiting.some((each) => each.owner !== asked.user)) return tell("others", gettext("Sign in as the person who entered them to send the others."));
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
    if (!answer.ok) return null;
    const said = await answer.json();
    state.here = said.user || "";
    await store.write(["pack"], ({ pack }) => pack.put({ id: "contact", at: new Date().toISOString() }));
    return said;
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
  const wanted = asRequest(item, known, asked, password);
  if (!wanted) return { park: gettext("This entry is of another release of the program, which this one cannot send."), errors: [] };
  try {
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
  if (item.act === "decide") return { method: "POST", path: DECISIONS, body: item.decision };
  const base = `/api/v1/students/${item.student}/lesson-records`;
  if (item.act === "draft") return { method: "POST", path: base, body: { id: item.record, lesson: item.lesson, content: item.content } };
  if (item.act === "change") {
    const version = item.version ?? known.version;
    return {
      method: "PUT", path: `${base}/${item.record}`, body: { lesson: item.lesson, content: item.content },
      headers: { "If-Match": version ? `"${version}"` : "*" },
    };
  }
  if (item.act === "correct") {
    return { method: "POST", path: `${base}/${item.corrects}/correct`, body: { id: item.record, reason: item.reason, content: item.content } };
  }
  if (item.act !== "sign") return null;
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
  if (answer.status === 401) return { login: true };
  // 502 to 504 are of what stands before the server, or of all that it does; 500 is of this request.
  if (answer.status === 419 || answer.status >= 500 || answer.status === 408) return { later: words, broken: answer.status === 500 };
  if (answer.status === 403) {
    // A session that ended, or a token that grew old, is no refusal.
    const now = await token();
    if (!now) return { later: gettext("The connection was lost.") };
    if (now.user !== item.owner) return { login: true };
    if (/CSRF/i.test(words)) return { later: words };
    if (item.act === "sign" && !item.passkey && password) return { asks: words };
  }
  if (item.act === "decide") return { later: words, broken: true }; // what was decided is decided
  const told = [words, ...(said.findings || []).map((each) => each.says)].join(" ");
  return { park: told, errors: said.errors || [], status: answer.status, there: await there(item), found: said.findings_hash || null };
}

/** The school's copy of the lesson, where there is one that this person may read. */
async function there(item) {
  const answer = await request(`/api/v1/students/${item.student}/lesson-records/${item.record}`, { headers: { Accept: "application/json" } }).catch(() => null);
  if (!answer?.ok) return null;
  const { state: at, version, lesson, content, content_hash: hash, corrects, reason } = await answer.json();
  return { state: at, version, lesson, content, hash, corrects, reason };
}

/** After 412: what we sent may stand there already, its answer lost. */
async function unchanged(item, words) {
  const answer = await request(`/api/v1/students/${item.student}/lesson-records/${item.record}`, { headers: { Accept: "application/json" } });
  if (!answer.ok) return { later: gettext("The connection was lost.") };
  const found = await answer.json();
  return found.content_hash === item.hash ? { done: found } : { park: words, errors: [], status: 412, there: await there(item) };
}

async function settle(item, said) {
  const note = {
    seq: item.seq, uuid: item.uuid, act: item.act, record: item.record, student: item.student, words: item.words,
    at: new Date().toISOString(), index: said.ledger ? said.ledger.index : null, lesson: item.lesson, content: item.content,
  };
  const past = await sent();
  await store.write(["queue", "sent", "known"], ({ queue, sent: done, known }) => {
    queue.delete(item.seq);
    done.put(note);
    for (const old of past.slice(0, Math.max(0, past.length - 49))) done.delete(old.seq);
    if (!["sign", "decide"].includes(item.act)) known.put({ record: item.record, version: said.version, hash: said.content_hash });
  });
}

async function mark(item, to, fault, { errors = [], status = 0, there: copy = null, found = null } = {}, more = {}) {
  await store.write(["queue"], ({ queue }) => queue.put({ ...item, ...more, state: to, fault, errors, status, there: copy, found }));
}

/** Every item of the same lesson, in order: the draft, its changes, its signature. */
export async function ofLesson(item) {
  return (await items()).filter((each) => each.seq === item.seq || (item.record && each.record === item.record && each.owner === item.owner && each.act !== "decide"));
}

/** Take a lesson's items out of the queue, and put what was decided in their place. One transaction. */
export async function decide(item, how, reason = "", instead = null) {
  const whole = await ofLesson(item);
  const signed = whole.find((each) => each.act === "sign");
  const decision = {
    id: crypto.randomUUID(), how, reason, student: item.student, record: item.record, refused: item.fault || "",
    content_hash: signed?.hash || item.hash || "", signed_at: signed?.performed_at || null,
  };
  const made_at = new Date().toISOString();
  const common = { owner: state.user, state: "waiting", tries: 0, fault: "", made_at, uuid: decision.id };
  const made = { ...common, act: "decide", decision, words: item.words, record: item.record, student: null };
  let added;
  await store.write(["queue"], ({ queue }) => {
    for (const each of whole) queue.delete(each.seq);
    queue.add(made);
    if (instead) added = queue.add({ ...common, uuid: crypto.randomUUID(), ...instead });
  });
  changed();
  return instead && { ...common, ...instead, seq: added.result };
}

/** A parked signature once more, with the reason why it is right despite what the rules found in the lesson. */
export async function answer(item, reason) {
  await mark(item, "waiting", "", {}, { findings_hash: item.found, findings_reason: reason });
  return flush();
}

/** A parked item once more, as it stands. */
export async function retry(item) {
  await mark(item, "waiting", "");
  return flush();
}
