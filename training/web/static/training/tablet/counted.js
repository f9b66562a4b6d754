/* What was signed on this tablet since the day's students were downloaded counts there too: grades, and which lesson is
 * next as far as the tablet knows. The school decides once it has the signatures. */

import { filled, gettext } from "../words.js";
import * as queue from "./queue.js";

/** Put into the day's students what is signed here and newer. */
export async function into(pack) {
  if (!pack) return;
  const waiting = (await queue.items()).filter((each) => each.act === "sign" && each.state !== "parked" && each.owner === pack.user);
  const sent = (await queue.sent()).filter((each) => each.act === "sign" && each.at > pack.made);
  for (const student of pack.students) {
    const mine = [...sent, ...waiting].filter((each) => each.student === student.ref && each.content);
    student.counted = mine.map(words);
    for (const each of mine) grades(student, each.content);
    next(pack, student, new Set(mine.map((each) => each.lesson)));
  }
}

function words(each) {
  const day = (each.content.flight || each.content.ground)?.date;
  return filled(gettext("Signed on this tablet and counted here: %(lesson)s, %(day)s"), { lesson: each.lesson || gettext("a lesson outside the course"), day });
}

function grades(student, content) {
  const day = (content.flight || content.ground)?.date;
  student.grades ??= {};
  for (const each of content.items) {
    if (each.grade !== "not-observed") student.grades[each.item] = { grade: each.grade, remark: each.remarks || "", day };
  }
}

/** The first lesson of the course after those signed, where the one proposed is among them. */
function next(pack, student, signed) {
  if (!student.next || !signed.has(student.next.lesson)) return;
  const lessons = pack.courses?.[student.course]?.lessons || [];
  const done = new Set([...(student.done || []), ...signed]);
  const found = lessons.find((each) => !done.has(each.code));
  student.next = found && { lesson: found.code, title: found.title, why: [gettext("The next lesson of the course that is not signed, as far as this tablet knows.")] };
}
