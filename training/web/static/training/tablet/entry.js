/* One entry of the queue on the tablet's own page: what was written and signed, why the school refused it, and the ways
 * on: correct and sign again, send again, or discard with a reason. It stays readable until one of them is chosen. */

import { filled, gettext } from "../words.js";
import * as build from "./build.js";
import * as queue from "./queue.js";
import { told } from "./sign.js";

const LANGUAGE = document.documentElement.lang;
const make = (tag, words = "", kind = "") => Object.assign(document.createElement(tag), { textContent: words, className: kind });

/** The entry of that number, in `view`. `open(student, sheet, form)` opens a sheet; `back(words)` leads to the list. */
export async function show(view, seq, { pack: day, open, back }) {
  let pack = day;
  const item = (await queue.items()).find((each) => each.seq === seq);
  if (!item) { back(gettext("This entry is no longer on this tablet.")); return; }
  const whole = await queue.ofLesson(item);
  const signed = whole.find((each) => each.act === "sign");
  const content = [...whole].reverse().find((each) => each.content)?.content || (item.there?.hash === item.hash && item.there?.content) || null;
  view.replaceChildren(make("h1", item.words), ...reasons(item), ...signature(signed));
  let student = pack?.students.find((each) => each.ref === item.student);
  if (!student && queue.own(item)) {
    pack = await alone(item.student) || pack;
    student = pack?.students.find((each) => each.ref === item.student);
  }
  if (!queue.own(item)) view.append(make("p", gettext("Another person entered this on this tablet. Sign in as that person to read and send it."), "look"));
  else if (content) view.append(...told(content, build.titlesOf(pack, student), make));
  else view.append(make("p", gettext("What was signed is the draft that the school has. Open it to read it.")));
  view.append(...ways({ view, item, whole, content, student, pack, open, back }));
}

/** A student who is not among the day's, where the school can be reached and lets this person write. */
async function alone(ref) {
  const answer = await fetch(`/tablet/pack/?student=${encodeURIComponent(ref)}`, { headers: { Accept: "application/json" } }).catch(() => null);
  return answer?.ok && !answer.redirected ? answer.json() : null;
}

function reasons(item) {
  if (!item.fault) return [make("p", gettext("Not sent yet."), "look")];
  const messages = (item.errors || []).map((each) => each.message);
  return [make("p", [filled(gettext("Not sent: %(fault)s"), item), ...messages].join(" "), "fault")];
}

function signature(signed) {
  if (!signed) return [];
  const at = new Date(signed.performed_at || signed.made_at).toLocaleString(LANGUAGE, { dateStyle: "medium", timeStyle: "short" });
  const words = signed.passkey
    ? gettext("Signed with a passkey on this tablet, %(at)s. The school has not accepted this signature.")
    : gettext("To be signed with your password, since %(at)s.");
  return [make("p", filled(words, { at }), "look")];
}

function ways(how) {
  const { view, item, whole, content, student, back } = how;
  const found = make("p", "", "queue-doors");
  const button = (words, kind, work) => {
    const made = Object.assign(make("button", words, kind), { type: "button" });
    made.addEventListener("click", work);
    found.append(made, " ");
  };
  const own = queue.own(item);
  if (own && content && student && item.fault) button(gettext("Correct and sign again"), "", () => reopen(how));
  if (own) {
    button(gettext("Send again"), "secondary", async () => {
      for (const each of whole.filter((one) => one.state === "parked")) await queue.retry(each);
      const left = (await queue.items()).find((each) => each.seq === item.seq);
      if (left) await show(view, item.seq, how);
      else back(gettext("Sent."));
    });
  }
  const copy = Object.assign(make("a", gettext("Open the school's copy of the lesson")), { href: `/teach/${item.student}/lessons/${item.record}/` });
  if (own) found.append(copy);
  return [found, ...(own && item.act === "sign" && item.found ? [answering(how)] : []), ...(own && content && !student ? [make("p", gettext("This student is not on this tablet any more. Send it again once you teach the student, or discard it."))] : []), discarding(how)];
}

/** The reason for a signature despite what the rules found, which the school asks for. */
function answering({ view, item, back, ...how }) {
  const form = make("form", "", "stacked");
  const field = make("div", "", "field");
  const input = Object.assign(make("textarea"), { id: "findings-reason", required: true, rows: 2, maxLength: 2000 });
  field.append(Object.assign(make("label", gettext("Why you sign despite these findings")), { htmlFor: input.id }), input);
  form.append(field, make("button", gettext("Send with this reason")));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!input.value.trim()) return;
    await queue.answer(item, input.value.trim());
    const left = (await queue.items()).find((each) => each.seq === item.seq);
    if (left) await show(view, item.seq, { ...how, back });
    else back(gettext("Sent."));
  });
  return form;
}

function discarding({ item, back }) {
  const form = make("form", "", "stacked");
  const field = make("div", "", "field");
  const input = Object.assign(make("input"), { id: "discard-reason", required: true, maxLength: 60 });
  field.append(Object.assign(make("label", gettext("Reason to discard this entry")), { htmlFor: input.id }), input);
  form.append(field, make("button", gettext("Discard entry"), "secondary"));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!input.value.trim()) return;
    await queue.decide(item, "discarded", input.value.trim());
    back(gettext("Entry discarded. The reason is logged at the school."));
    await queue.flush();
  });
  return form;
}

/** What an entry that is signed again becomes: a change of the school's draft, a correction, or a draft of its own. */
export function onward(item, whole, because = "") {
  const there = item.there || {};
  const [first] = whole;
  const isSigned = there.state === "signed";
  const taken = !there.state && item.status === 409 && ["draft", "correct"].includes(item.act);
  return {
    record: isSigned || taken ? crypto.randomUUID() : item.record,
    // The school's newest copy is replaced: the reason why it was refused has been read.
    version: there.state === "draft" ? there.version : null,
    corrects: isSigned ? item.record : first.corrects || there.corrects || null,
    reason: because || first.reason || there.reason || "",
  };
}

/** The sheet once more, with what was written and with the school's reasons beside the fields. */
function reopen({ item, whole, content, student, pack, open, view }, because = "") {
  const there = item.there || {};
  const last = [...whole].reverse().find((each) => each.content) || item;
  const isSigned = there.state === "signed";
  if (isSigned && !because) { askReason(view, (reason) => reopen({ item, whole, content, student, pack, open, view }, reason)); return; }
  const made = build.sheet(pack, student, { lesson: last.lesson ?? there.lesson ?? "", content, ...onward(item, whole, because) });
  open(student, made, { instead: item, errors: item.errors || [], fault: item.fault });
}

/** Put a sheet that was opened again in the place of what was refused. Gives the new item. */
/** A reason for the correction of a signed lesson, before its sheet opens. */
export function askReason(view, then) {
  const form = make("form", "", "stacked");
  const field = make("div", "", "field");
  const input = Object.assign(make("textarea"), { id: "correction-reason", required: true, rows: 2, maxLength: 2000 });
  field.append(Object.assign(make("label", gettext("Reason for the correction")), { htmlFor: input.id }), input);
  form.append(field, make("button", gettext("Correct lesson")));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (input.value.trim()) then(input.value.trim());
  });
  view.replaceChildren(make("h1", gettext("Correct a signed lesson")), make("p", gettext("A correction starts as a copy of this lesson. Once you sign it, it replaces this lesson. Both stay visible.")), form);
  input.focus();
}

export async function instead(item, made) {
  return queue.decide(item, "corrected", "", made);
}

