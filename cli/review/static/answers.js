// Answers: given, undone, taken over from an earlier run; and what became of each on its way into the record.

import { keptAdded } from "./drawing.js";
import { describe, goTo, ringOf } from "./eyes.js";
import { $, desk, form } from "./page.js";
import { newToken } from "./record.js";
import { say, sayMany } from "./words.js";

const PLAIN = { kind: "", body: "", basis: "", unaided: "", note: "", least: null, most: null, ring: null };

export function answer(values) {
  const { review, step } = desk;
  const { flag, shot } = step;
  if (!flag || shot.trouble) return;
  const key = review.keyOf(flag);
  const word = { ...PLAIN, basis: values.answer === "not_insect" ? desk.basis : "", ...values };
  const next = review.from(step, 1);
  send(flag, word);
  review.mine.push({ flag, key });
  goTo(next);
}

function send(flag, word) {
  const { review, record } = desk;
  const token = newToken();
  const { source = "desk", ...said } = word;
  const who = { shot: flag.shot.sha256, candidate: flag.candidate };
  const before = review.words.get(review.keyOf(flag));
  // Until the record has numbered it, it comes after everything that was heard.
  review.hear({ ...said, ...who, number: Infinity, reviewer: review.reviewer, token, told: null });
  record.put("/answer", {
    ...said,
    source,
    shot_sha256: flag.shot.sha256,
    run: desk.opening.run,
    candidate: flag.candidate,
    reviewer: review.reviewer,
    // What a later reader adds is read there for the first time.
    reading: flag.reading ?? review.reading,
    token,
  });
  desk.acts.push({ token, before });
}

export function kept(act, reply) {
  const { review } = desk;
  if (act.path === "/add") return keptAdded(act, reply);
  if (act.path !== "/answer") return undefined;
  desk.acts = desk.acts.filter((each) => each.token !== act.body.token);
  const key = `${reply.shot}/${reply.candidate}`;
  const known = review.words.get(key);
  if (known?.token === reply.token || !known) review.put(key, reply);
  if (reply.clock) note(say("saving.clock", { why: reply.clock }));
  describe();
  return undefined;
}

export function refused(act, sentence) {
  const { review } = desk;
  if (act.path === "/answer") {
    const before = desk.acts.find((each) => each.token === act.body.token)?.before;
    review.forget(`${act.body.shot_sha256}/${act.body.candidate}`, before);
    const at = review.mine.findLastIndex((each) => each.key === `${act.body.shot_sha256}/${act.body.candidate}`);
    if (at >= 0) review.mine.splice(at, 1);
  }
  note(say("saving.refused", { why: sentence }));
  describe();
}

let noteStands = "";

export function note(sentence) {
  noteStands = sentence;
  tellWaiting({ waiting: desk.record?.waiting ?? 0, trouble: "" });
}

export function tellWaiting({ waiting, trouble: sentence, justNow = false }) {
  $("saving").dataset.waiting = String(waiting);
  // An answer takes a few milliseconds: to say each time that it is on its way would only flicker.
  if (justNow && waiting === 1) return;
  const lines = [noteStands];
  if (waiting) lines.push(sayMany("saving.waiting", waiting));
  else if (!noteStands) lines.push(say("saving.kept"));
  if (sentence !== "" || (waiting && desk.record?.wait)) lines.push(sentence || say("saving.lost"));
  $("saving").textContent = lines.filter(Boolean).join(" ");
  $("saving").classList.toggle("waiting", Boolean(waiting || noteStands));
}

export function askInsect() {
  const { step, review } = desk;
  if (!step.flag || step.shot.trouble) return;
  const word = review.words.get(review.keyOf(step.flag));
  const ring = ringOf(step.flag);
  form.show(word?.answer === "insect" ? word : null, desk.basis, { x_px: ring.x, y_px: ring.y, radius_px: ring.radius });
  describe();
}

export function keepInsect(values) {
  form.hide();
  desk.basis = values.basis;
  answer(values);
}

export function closeForm() {
  form.hide();
  describe();
  $("insect").focus();
}

export function undo() {
  const last = desk.review.mine.pop();
  if (!last) return;
  noteStands = "";
  send(last.flag, { ...PLAIN, answer: "" });
  goTo({ shot: last.flag.shot, flag: last.flag });
}

export function takeEarlier() {
  const before = desk.step?.flag?.before;
  if (!before || $("earlier").hidden) return;
  const { answer: said, kind, body, basis, unaided, least, most, ring, note: text } = before;
  answer({ answer: said, kind, body, basis, unaided, least, most, ring, note: text, source: "earlier_run" });
}

function onFromWhole() {
  const { shot } = desk.step;
  const { review } = desk;
  if (!shot.looked) {
    shot.looked = true;
    desk.record.put("/looked", {
      shot_sha256: shot.sha256,
      reviewer: review.reviewer,
      reading: review.reading,
      seconds: Math.round((performance.now() - desk.came) / 100) / 10,
      token: newToken(),
    });
  }
  goTo(review.from(desk.step, 1));
}

export function move(direction) {
  const { step, review } = desk;
  if (direction > 0 && !step.flag) onFromWhole();
  else goTo(review.from(step, direction) ?? step);
}
