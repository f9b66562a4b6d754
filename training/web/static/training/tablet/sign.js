/* Signing with scripts: a passkey over the hash of what is signed, made on this tablet with or without a network; or the
 * password, which is kept nowhere. Both go through the queue. */

import { available, confirm, contentHash, reason, statement } from "../passkeys.js";
import * as queue from "./queue.js";

/** The form of a lesson that the server shows before it is signed. */
export function lesson(form) {
  const { student, lesson: record, sealed, words } = form.dataset;
  const hash = form.elements.content_hash.value;
  const item = { act: "sign", student, record, hash, words: `${words}, signature` };
  passkey(form, async (allow) => {
    const answer = await confirm(JSON.parse(form.dataset.statement), { allow });
    await sign(form, { ...item, passkey: answer, performed_at: new Date().toISOString() }, {}, sealed);
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    await sign(form, item, { password: form.elements.confirm_password.value }, sealed);
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
    tell(form, "Signed on this tablet, not yet sent. It goes out once when the network is back.");
  } else {
    tell(form, "Not signed yet: the school cannot be reached. Your password is kept nowhere; it is asked for again when the network is back.");
  }
}

/** The form of an endorsement, or of its end: the passkey's answer goes with the form. */
export function act(form) {
  passkey(form, async (allow) => {
    if (form.elements.reason && !form.elements.reason.value.trim()) { tell(form, "Say why it ends first."); return; }
    const { act: kind, student, about } = form.dataset;
    const text = (name) => form.elements[name].value.replaceAll("\r\n", "\n").trim();
    const said = kind === "endorsement.revoked" ? { reason: text("reason") }
      : { kind: form.dataset.kind, endorsement: JSON.parse(form.elements.endorsement.value), judgement: text("judgement") };
    const hash = await contentHash(said);
    form.elements.passkey.value = JSON.stringify(await confirm(statement({ kind, subject: student, about, hash }), { allow }));
    form.submit();
  });
}

function passkey(form, sign) {
  const allow = JSON.parse(form.dataset.passkeys || "[]");
  if (!available() || !allow.length) return;
  form.querySelector(".by-passkey").hidden = false;
  form.querySelector(".passkey").addEventListener("click", async () => {
    tell(form, "");
    try {
      await sign(allow);
    } catch (error) {
      tell(form, reason(error));
    }
  });
}

function tell(form, words) {
  const place = form.querySelector(".wrong[role=alert]");
  place.textContent = words;
  place.hidden = !words;
}

/** What will be sealed, in plain words, and the ways to sign it without a network. */
export function here(view, { data, lesson: code, content, hash, allow, titles, done }) {
  const make = (tag, words = "", kind = "") => Object.assign(document.createElement(tag), { textContent: words, className: kind });
  view.replaceChildren(
    make("h1", "This will be sealed"),
    make("p", `${data.name}, ${code || "a lesson outside the course"}. On this tablet, not yet sent.`),
    ...facts(content, make), ...grades(content, titles, make),
  );
  for (const [title, words] of [["Comments", content.comments], ["What next", content.next]]) {
    if (words) view.append(make("h2", title), make("p", words, "words"));
  }
  view.append(make("h2", "Signature"));
  const wrong = make("p", "", "wrong");
  wrong.setAttribute("role", "alert");
  const item = { act: "sign", student: data.student, record: data.record, hash, words: `${data.name}: ${code || "a lesson"}, signature` };
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
  if (available() && allow.length) {
    view.append(button("Sign with a passkey", "great", async () => {
      const said = statement({ kind: "lesson.signed", subject: data.student, about: data.record, hash });
      const answer = await confirm(said, { allow });
      await queue.add({ ...item, passkey: answer, performed_at: new Date().toISOString() });
      await done("Signed on this tablet, not yet sent.");
    }));
  }
  view.append(
    button("Sign by password when the network is back", "great secondary", async () => {
      await queue.add(item);
      await done("Waits for your password: it is kept nowhere, and is asked for when the network is back.");
    }),
    button("Leave it a draft", "secondary", () => done("Kept on this tablet as a draft, not yet sent.")),
    wrong,
  );
  view.querySelector("h1").scrollIntoView();
}

function facts(content, make) {
  const rows = [];
  const flight = content.flight;
  if (flight) {
    rows.push(["Day", flight.date], ["Aircraft", Object.values(flight.aircraft || {}).join(", ")]);
    rows.push(["Route", (flight.route || []).map((each) => each.name || each).join(" – ")]);
    rows.push(["Off", flight.off?.slice(11, 16)], ["On", flight.on?.slice(11, 16)]);
    for (const [kind, time] of Object.entries(flight.times || {})) rows.push([kind.replaceAll("_", " "), time]);
    for (const row of flight.landings || []) {
      rows.push(["Landings", [`${row.takeoffs} takeoffs, ${row.landings} landings`, row.at && `at ${row.at.name || row.at}`, row.period].filter(Boolean).join(", ")]);
    }
    rows.push(["Remarks", flight.remarks]);
  }
  if (content.ground) rows.push(["On the ground", [content.ground.date, content.ground.time, content.ground.topic].filter(Boolean).join(", ")]);
  const list = make("dl", "", "facts");
  for (const [label, words] of rows) {
    if (!words) continue;
    const row = make("div");
    row.append(make("dt", label[0].toUpperCase() + label.slice(1)), make("dd", words));
    list.append(row);
  }
  return list.children.length ? [list] : [make("p", "There is neither a flight nor a ground lesson, so there is nothing to sign yet.", "fault")];
}

function grades(content, titles, make) {
  const list = make("ul", "", "grades");
  for (const each of content.items) {
    const row = make("li");
    row.append(make("span", titles[each.item] || each.item), " ", make("strong", each.grade.replace("-", " ")));
    for (const [name, said] of Object.entries(each.measured || {})) {
      row.append(make("small", `${name}: ${said.value ? `${said.value}, aimed at ${said.target}` : said}`));
    }
    if (each.remarks) row.append(make("small", each.remarks));
    list.append(row);
  }
  return [make("h2", "Items and grades"), list];
}
