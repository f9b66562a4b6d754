/* Signing with scripts: a passkey over the hash of what is signed, made on this tablet with or without a network; or the
 * password, which is kept nowhere. Both go through the queue. */

import { byPasskey, offer, over, say as tell } from "../by_passkey.js";
import { available, confirm, reason, statement } from "../passkeys.js";
import { filled, gettext } from "../words.js";
import { microsecondsOf } from "./amounts.js";
import * as queue from "./queue.js";
import * as store from "./store.js";
import { WRITTEN } from "./written.js";

/** The form of a lesson that the server shows before it is signed. */
export function lesson(form) {
  const { student, lesson: record, sealed, words } = form.dataset;
  const hash = form.elements.content_hash.value;
  const item = { act: "sign", student, record, hash, words: filled(gettext("%(words)s, signature"), { words }) };
  const read = () => ({
    findings_hash: form.elements.findings_hash.value, findings_reason: form.elements.findings_reason?.value.trim() || "",
  });
  offer(form, async (allow) => {
    if (!form.elements.findings_reason || form.elements.findings_reason.reportValidity()) {
      const answer = await confirm(JSON.parse(form.dataset.statement), { allow, nonce: await store.nonce() });
      await sign(form, { ...item, ...read(), passkey: answer, performed_at: new Date().toISOString() }, {}, sealed);
    }
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    await sign(form, { ...item, ...read() }, { password: form.elements.confirm_password.value }, sealed);
    form.elements.confirm_password.value = "";
  });
}

async function sign(form, item, how, sealed) {
  const made = await queue.add(item);
  await queue.flush(how);
  const there = (await queue.items()).find((each) => each.seq === made.seq);
  if (!there) { location.assign(sealed); return; }
  if (there.state === "parked" || (there.fault && how.password && queue.state.at === "asks")) {
    await queue.drop(made.seq);
    tell(form, there.fault);
  } else if (item.passkey) {
    tell(form, gettext("Signed on this tablet, not yet sent. It is sent once the network is back."));
  } else {
    tell(form, gettext("Not signed: the school's server cannot be reached. Your password is not stored. Enter it again when the network is back."));
  }
}

/** The form of an endorsement, or of its end: the passkey's answer goes with the form. */
export function act(form) {
  // What is in the fields now goes along: the server signs nothing that was changed after its check.
  const fields = document.querySelector("form[method=get].card");
  const typed = () => { if (form.elements.typed) form.elements.typed.value = JSON.stringify(Object.fromEntries(new FormData(fields))); };
  form.addEventListener("submit", typed);
  byPasskey(form, (_, { act: kind, student: subject, about, kind: endorsement }) => {
    const text = (name) => form.elements[name].value.replaceAll("\r\n", "\n").trim();
    typed();
    const said = kind === "endorsement.revoked" ? { reason: text("reason") }
      : { kind: endorsement, endorsement: JSON.parse(form.elements.endorsement.value), judgement: text("judgement") };
    return "reason" in said && !said.reason ? null : over({ kind, subject, about }, said);
  });
}

/** What will be sealed, in plain words, and the ways to sign it without a network. */
export function here(view, { data, lesson: code, content, hash, allow, titles, done }) {
  const make = (tag, words = "", kind = "") => Object.assign(document.createElement(tag), { textContent: words, className: kind });
  view.replaceChildren(
    make("h1", gettext("You are about to sign this")),
    make("p", filled(gettext("%(name)s, %(lesson)s. On this tablet, not yet sent."), { name: data.name, lesson: code || gettext("a lesson outside the course") })),
    ...(content.flight || content.ground ? [] : [make("p", gettext("Nothing to sign yet. Enter a flight or a ground lesson first."), "fault")]),
    ...told(content, titles, make),
  );
  view.append(make("h2", gettext("Signature")));
  const wrong = make("p", "", "wrong");
  wrong.setAttribute("role", "alert");
  const item = {
    act: "sign", student: data.student, record: data.record, hash, lesson: code, content, corrects: data.corrects, reason: data.reason,
    words: filled(gettext("%(name)s: %(lesson)s, signature"), { name: data.name, lesson: code || gettext("a lesson") }),
  };
  const button = (words, kind, work) => {
    const made = make("button", words, kind);
    made.type = "button";
    made.addEventListener("click", async () => {
      made.disabled = true;
      try {
        await work();
      } catch (error) {
        wrong.textContent = reason(error);
        made.disabled = false;
      }
    });
    return made;
  };
  const something = content.flight || content.ground;
  if (something && available() && allow.length) {
    view.append(button(gettext("Sign lesson with a passkey"), "great", async () => {
      const said = statement({ kind: "lesson.signed", subject: data.student, about: data.record, hash });
      const answer = await confirm(said, { allow, nonce: await store.nonce() });
      await queue.add({ ...item, passkey: answer, performed_at: new Date().toISOString() });
      await done(gettext("Signed on this tablet, not yet sent."));
    }));
  }
  if (something) {
    view.append(button(gettext("Sign by password when the network is back"), "great secondary", async () => {
      await queue.add(item);
      await done(gettext("Waiting for your password. It is not stored; enter it when the network is back."));
    }));
  }
  view.append(
    button(gettext("Leave as draft"), "secondary", () => done(gettext("Draft saved on this tablet, not yet sent."))),
    wrong,
  );
  view.querySelector("h1").scrollIntoView();
}

/** A lesson's content in words. */
export function told(content, titles, make) {
  const found = [
    ...facts(gettext("Flight"), WRITTEN.flight, content.flight, make),
    ...facts(gettext("On the ground"), WRITTEN.ground, content.ground, make),
    ...grades(content, titles, make),
  ];
  for (const [title, words] of [[gettext("Comments"), content.comments], [gettext("Next"), content.next]]) {
    if (words) found.push(make("h2", title), make("p", words, "words"));
  }
  return found;
}

/** How a value of each kind is put in place; a kind without an entry is text. */
const WRITE = {
  clock: (at) => at.slice(11, 16),
  place: placed,
  route: (points) => points.map(placed).join(" – "),
  list: (words) => words.join(", "),
  aircraft: (craft) => WRITTEN.craft.map((key) => craft[key]).filter(Boolean).join(", "),
  landings: (rows) => rows.map(landing).join("; "),
  day: (text) => {
    const [year, month, day] = text.split("-").map(Number);
    return (WRITTEN.days[month - 1] || text).replace("22", day).replace("3333", year);
  },
  time: (text) => {
    const found = text.endsWith(" h") ? null : microsecondsOf(text);
    return found === null ? text : `${(Math.floor(found / 360_000_000) / 10).toFixed(1)} h`;
  },
};

/** The labelled rows of a flight or a ground lesson, by the server's columns. */
function facts(title, columns, entry, make) {
  if (!entry) return [];
  const list = make("dl", "", "facts");
  for (const [path, label, how] of columns) {
    const value = path.split(".").reduce((found, step) => found?.[step], entry);
    const words = value && (WRITE[how] || String)(value);
    if (!words) continue;
    const row = make("div");
    row.append(make("dt", label), make("dd", words));
    list.append(row);
  }
  return [make("h2", title), list];
}

function placed(point) {
  return point.name || (point.lat === undefined ? point : `${point.lat}, ${point.lon}`);
}

function landing(row) {
  const counted = Object.entries(WRITTEN.counts).map(([unit, words]) => {
    const number = row[unit] || 0;
    return words[number] ?? words.at(-1).replace(words.length - 1, number);
  });
  const where = row.at && filled(WRITTEN.at, { place: placed(row.at) });
  const flags = Object.entries(WRITTEN.flags).filter(([key]) => key in row).map(([key, words]) => words[Number(row[key])]);
  return [[counted.join(", "), where, WRITTEN.periods[row.period]].filter(Boolean).join(" "), ...flags].join(", ");
}

function grades(content, titles, make) {
  const list = make("ul", "", "grades");
  for (const each of content.items) {
    const row = make("li");
    row.append(make("span", titles[each.item] || each.item), " ", make("strong", WRITTEN.grades[each.grade] || each.grade));
    for (const [name, said] of Object.entries(each.measured || {})) {
      row.append(make("small", `${name}: ${said.value ? filled(WRITTEN.measured, said) : said}`));
    }
    if (each.remarks) row.append(make("small", each.remarks));
    list.append(row);
  }
  return [make("h2", gettext("Items and grades")), list];
}
