// Answers: given, undone, taken over from an earlier run; and what became of each on its way into the record.

import { addFlag, askDrawn } from "./drawing.js";
import { describe, goTo, ringOf } from "./eyes.js";
import { $, desk, form } from "./page.js";
import { newToken } from "./record.js";
import { say, sayMany } from "./words.js";

const PLAIN = { kind: "", body: "", basis: "", unaided: "", note: "", least: null, most: null, ring: null };

// What the form gives was asked when the picture was there; anything else waits until it is.
export function answer(values, asked = false) {
  const { review, step } = desk;
  if (!step.flag || step.shot.trouble || !(desk.ready || asked)) return;
  const word = { ...PLAIN, basis: values.answer === "look_again" ? "" : desk.basis, ...values };
  const next = review.from(step, 1);
  review.mine.push({ flag: step.flag, token: send(step.flag, word) });
  goTo(next);
}

function send(flag, word) {
  const { review, record } = desk;
  const token = newToken();
  const { source = "desk", ...said } = word;
  const who = { shot: flag.shot.sha256, candidate: flag.candidate };
  desk.acts.push({ token, before: review.words.get(review.keyOf(flag)) });
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
  return token;
}

// `values` null: the person thought better of it, and nothing is kept.
export function endAdding(values) {
  const { pending, review } = desk;
  desk.pending = null;
  if (values) {
    const { answer: said, ...rest } = values;
    desk.record.put("/add", {
      ...pending.drawn,
      run: desk.opening.run,
      reviewer: review.reviewer,
      answer: { ...PLAIN, answer: said, ...rest },
      token: newToken(),
    });
  }
  goTo(pending.from);
}

export function kept(act, reply) {
  const { review } = desk;
  if (!review) return;
  if (act.path === "/add") {
    const flag = addFlag(reply);
    if (flag) {
      flag.reading = 1;
      if (reply.said) review.hear(reply.said);
      if (act.body.reviewer === review.reviewer) review.mine.push({ flag, token: reply.said?.token });
    }
  } else if (act.path === "/answer") {
    desk.acts = desk.acts.filter((each) => each.token !== act.body.token);
    const key = `${reply.shot}/${reply.candidate}`;
    const known = review.words.get(key);
    if (known?.token === reply.token || !known) review.put(key, reply);
    if (reply.withdrawn) review.remove(reply);
    if (reply.clock) note(say("saving.clock", { why: reply.clock }));
  }
  describe();
}

// Back to what was refused, with all that was typed.
export function refused(act, sentence) {
  const { review } = desk;
  note(say("saving.refused", { why: sentence }));
  if (review && act.path === "/add" && act.body.answer) {
    const shot = review.byName.get(act.body.shot_sha256);
    if (shot && !form.open) askDrawn(shot, act.body, act.body.answer, sentence);
    return;
  }
  if (!review || act.path !== "/answer") return;
  const { token, shot_sha256: sha256, candidate } = act.body;
  const before = desk.acts.find((each) => each.token === token)?.before;
  desk.acts = desk.acts.filter((each) => each.token !== token);
  review.mine = review.mine.filter((each) => each.token !== token);
  review.forget(`${sha256}/${candidate}`, before);
  const flag = review.byName.get(sha256)?.flags.find((each) => each.candidate === candidate);
  if (flag && act.body.answer === "insect" && !form.open) {
    goTo({ shot: flag.shot, flag });
    askInsect(act.body);
    form.say(sentence);
  } else {
    describe();
  }
}

let noteStands = "";

export function note(sentence) {
  noteStands = sentence;
  tellWaiting({ waiting: desk.record?.waiting ?? 0, trouble: "", status: 0 });
}

export function tellWaiting({ waiting, trouble: sentence, status, justNow = false }) {
  $("saving").dataset.waiting = String(waiting);
  // An answer takes a few milliseconds: to say each time that it is on its way would only flicker.
  if (justNow && waiting === 1) return;
  const lines = [noteStands];
  if (waiting) lines.push(sayMany("saving.waiting", waiting));
  else if (!noteStands) lines.push(say("saving.kept"));
  if (status === 403) lines.push(say("saving.link"));
  else if (sentence || (waiting && desk.record?.wait)) lines.push(sentence || say("saving.lost"));
  $("saving").textContent = lines.filter(Boolean).join(" ");
  $("saving").classList.toggle("waiting", Boolean(waiting || noteStands));
}

// `typed`: what to start from, else the answer that stands.
export function askInsect(typed) {
  const { step, review } = desk;
  if (!step.flag || step.shot.trouble || !(desk.ready || typed || desk.pending)) return;
  const word = typed ?? review.words.get(review.keyOf(step.flag));
  const ring = ringOf(step.flag);
  form.show(word?.answer === "insect" ? word : null, desk.basis, { x_px: ring.x, y_px: ring.y, radius_px: ring.radius });
  describe();
}

export function keepInsect(values) {
  form.hide();
  if (desk.pending) endAdding(values);
  else answer(values, true);
}

export function closeForm() {
  form.hide();
  if (desk.pending) {
    endAdding(null);
    return;
  }
  // A ring that was drawn and not kept goes with the form.
  goTo(desk.step);
  $("insect").focus();
}

export function undo() {
  const { review } = desk;
  const last = review.mine.pop();
  noteStands = "";
  if (!last) {
    note(say("ask.nothing_to_undo"));
    return;
  }
  send(last.flag, { ...PLAIN, answer: "" });
  goTo(last.flag.found_by === "person" ? { shot: last.flag.shot, flag: null } : { shot: last.flag.shot, flag: last.flag });
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
  // A photograph that can't be shown was not looked at.
  if (!shot.looked && !shot.trouble) {
    shot.looked = true;
    desk.record.put("/looked", {
      shot_sha256: shot.sha256,
      run: desk.opening.run,
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
  if (direction > 0 && !step.flag) {
    if (desk.ready || step.shot.trouble) onFromWhole();
  } else {
    goTo(direction > 0 ? review.from(step, 1) : (review.from(step, -1) ?? step));
  }
}
