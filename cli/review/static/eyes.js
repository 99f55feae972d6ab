// What is on the screen: a whole photograph, or a flag and its place in it; what is said of it; what is made ready ahead.

import { stopDrawing } from "./drawing.js";
import { $, desk, far, form, near, screen, store } from "./page.js";
import { ending } from "./screens.js";
import { partUrl, picture, seenPart, wholePart } from "./stage.js";
import { say, sayMany, shownName, wordFor } from "./words.js";

// Screen pixels a millimetre.
const ZOOMS = [12, 24, 48, 72, 96, 144, 240];
const USUAL = 3;
// Where the scale is not known: screen pixels a pixel at the usual zoom.
const PX_ZOOM = 3;
const AHEAD = 4;
const LATE_MS = 700;
const SETTLE_MS = 180;
const RETRY_MS = 1000;
const LONGEST_RETRY_MS = 8000;

export function goTo(step) {
  if (!step) return ending();
  stopDrawing();
  form.hide();
  desk.pending = null;
  screen("desk");
  desk.step = step;
  desk.came = performance.now();
  takes(false);
  $("desk").classList.toggle("whole", !step.flag);
  $("far").setAttribute("aria-label", say(step.flag ? "view.far" : "view.whole"));
  describe();
  keepFocus();
  show(step, RETRY_MS);
  return undefined;
}

// Shows a step's picture, and tries again where it did not come.
function show(step, wait) {
  const late = setTimeout(() => (step.flag ? near : far).say(say("view.loading")), LATE_MS);
  const shown = step.flag ? showFlag(step) : showWhole(step);
  shown.then(async (here) => {
    clearTimeout(late);
    if (desk.step !== step) return;
    if (!here) {
      await trouble(step);
      setTimeout(() => desk.step === step && desk.screen === "desk" && show(step, Math.min(2 * wait, LONGEST_RETRY_MS)), wait);
      return;
    }
    for (const stage of [near, far]) stage.say("");
    if (step.shot.trouble) {
      step.shot.trouble = "";
      describe();
    }
    // What the bench reads: when the picture of this step was there.
    $("desk").dataset.shown = nameOf(step);
    // A second press of the same key is not an answer to what has only just come.
    setTimeout(() => desk.step === step && takes(true), SETTLE_MS);
    ahead(step);
  });
}

function nameOf(step) {
  return step.flag ? `${step.shot.sha256}/${step.flag.candidate}` : step.shot.sha256;
}

// Whether the step on the screen can be answered: its picture is there, and has been for a moment.
function takes(ready) {
  desk.ready = ready;
  $("desk").dataset.takes = ready ? nameOf(desk.step) : "";
  for (const id of ["insect", "not-insect", "look-again"]) $(id).disabled = !ready || Boolean(desk.step.shot.trouble);
}

// Where what had the focus has gone, the question has it, so that keys and screen readers go on from there.
function keepFocus() {
  const held = document.activeElement;
  if (!held || held === document.body || !held.checkVisibility()) $("question").focus({ preventScroll: true });
}

function showWhole({ shot }) {
  return far.show(shot, null, null);
}

function nearZoom(shot) {
  return shot.px_per_mm ? ZOOMS[desk.zoom] / shot.px_per_mm : (PX_ZOOM * ZOOMS[desk.zoom]) / ZOOMS[USUAL];
}

export function ringOf(flag) {
  return {
    x: flag.left_px + (flag.wide_px - 1) / 2,
    y: flag.top_px + (flag.high_px - 1) / 2,
    radius: 0.62 * Math.hypot(flag.wide_px, flag.high_px) + 3,
  };
}

// At the common scale, but for what is too large for it: that is shown smaller, and said to be.
function nearView({ shot, flag }) {
  const ring = ringOf(flag);
  const whole = (0.48 * Math.min($("near").clientWidth, $("near").clientHeight)) / ring.radius;
  return { x: ring.x, y: ring.y, zoom: Math.min(nearZoom(shot), whole) };
}

function showFlag(step) {
  const ring = desk.review.words.get(desk.review.keyOf(step.flag))?.ring;
  const marked = ring ? { x: ring.x_px, y: ring.y_px, radius: ring.radius_px } : ringOf(step.flag);
  const shown = near.show(step.shot, nearView(step), marked);
  far.show(step.shot, null, marked);
  scaleBar(step.shot);
  return shown;
}

// Why a picture did not come. Only what the desk says of the picture itself keeps it from being answered on.
async function trouble(step) {
  let sentence = say("saving.lost");
  try {
    const reply = await fetch(partUrl(step.shot, wholePart(step.shot)));
    const told = await reply.json();
    sentence = told.error ?? sentence;
    step.shot.trouble = told.trouble ? sentence : "";
  } catch {
    // The desk is away, or what it sent is no reason: it is asked again.
  }
  if (desk.step !== step) return;
  near.say(sentence);
  far.say(sentence);
  $("desk").dataset.shown = nameOf(step);
  takes(desk.ready);
  describe();
}

export function scaleBar(shot) {
  const perMm = shot.px_per_mm ? near.view.zoom * shot.px_per_mm : 0;
  const mm = perMm ? [0.1, 0.2, 0.5, 1, 2, 5, 10].find((each) => each * perMm >= 60) ?? 20 : 0;
  $("near-bar").hidden = !perMm;
  if (perMm) $("near-bar").style.width = `${mm * perMm}px`;
  const smaller = near.view.zoom < 0.99 * nearZoom(shot) && near.atHome();
  $("near-scale").textContent = [perMm ? say("view.bar", { n: mm }) : say("view.no_scale"), smaller ? say("view.smaller") : ""].join(" ").trim();
}

// The pictures of the next steps, so that they are here when a key asks for them.
function ahead(step) {
  let next = step;
  for (let n = 0; n < AHEAD; n += 1) {
    next = desk.review.from(next, 1);
    if (!next) return;
    picture(partUrl(next.shot, wholePart(next.shot)));
    const stage = next.flag ? near : far;
    const view = next.flag ? nearView(next) : far.wholeView(next.shot);
    const seen = seenPart(next.shot, view, stage.box.clientWidth, stage.box.clientHeight);
    if (seen.shrink < wholePart(next.shot).shrink) picture(partUrl(next.shot, seen));
  }
}

export function describe() {
  const { review, step } = desk;
  if (!step) return;
  const { shot, flag } = step;
  const flags = review.flags;
  $("where").textContent = say("head.shot", { n: review.shots.indexOf(shot) + 1, of: review.shots.length, name: shownName(shot.name) });
  const answered = sayMany("head.answered", review.answered, { of: flags.length });
  document.title = say(flag ? "head.title_flag" : "head.title", { n: flag?.place, name: shot.name });
  const chosen = review.choosing();
  $("choice").hidden = !chosen;
  $("progress").textContent = flag ? `${say("head.flag", { n: flag.place, of: shot.flags.length })} · ${answered}` : answered;
  $("desk").classList.toggle("asking", form.open);
  $("answers").hidden = !flag || form.open;
  $("again-means").hidden = !flag || form.open;
  $("whole-on").hidden = Boolean(flag);
  $("marks").hidden = !flag;
  if (flag) describeFlag(flag);
  else describeWhole(shot);
  describeTold();
}

function describeWhole(shot) {
  const ask = shot.flags.length ? [say("whole.ask")] : [say("whole.none_flagged"), say("whole.none")];
  $("question-text").textContent = ask.join(" ");
  const { limit_round_mm: round, limit_linear_mm: thin, unsearched_pct: unsearched, usable, reasons } = shot.facts;
  const limits = [round && say("whole.could_round", { n: round }), thin && say("whole.could_thin", { n: thin })].filter(Boolean);
  const lines = [limits.length ? `${limits.join(", ")}.` : say("whole.could_not_tell")];
  if (Number.parseFloat(unsearched) > 0) lines.push(say("whole.unsearched", { n: unsearched }));
  if (usable === "no") lines.unshift(say("whole.again", { why: reasons }));
  $("facts").textContent = lines.join(" ");
  $("earlier").hidden = true;
}

function describeFlag(flag) {
  const { review } = desk;
  const word = review.words.get(review.keyOf(flag));
  const waits = word?.answer === "look_again";
  $("question-text").textContent = say(waits ? "ask.question_again" : "ask.question");
  const lines = [];
  if (flag.shot.trouble) lines.push(flag.shot.trouble);
  if (flag.found_by === "person") lines.push(say("ask.by_person", { by: flag.by }));
  if (word?.answer) lines.push(say("ask.stands", { answer: spoken(word), reviewer: word.reviewer }));
  $("facts").textContent = lines.join(" ");
  const before = word?.answer ? null : flag.before;
  $("earlier").hidden = !before;
  if (before) $("earlier-text").textContent = say("ask.earlier", { ...before, answer: spoken(before) });
}

function spoken(word) {
  const answer = say(`ask.answer_${word.answer}`);
  const more = [word.kind && wordFor("kind", word.kind), word.body && word.body !== "whole" && wordFor("body", word.body)];
  const range = word.body === "colony" ? `${word.least}–${word.most}` : "";
  return [answer, ...more, range].filter(Boolean).join(", ");
}

function describeTold() {
  const last = desk.review.mine.at(-1);
  $("told").hidden = !last;
  if (!last) return;
  const word = desk.review.words.get(desk.review.keyOf(last.flag));
  if (!word?.answer) {
    $("told-text").textContent = say("told.taken_back", { n: last.flag.place });
    return;
  }
  const lines = [say("told.answer", { n: last.flag.place, answer: spoken(word) })];
  const { told } = word;
  if (word.added || last.flag.found_by === "person") lines.push(say("told.added"));
  else if (told) {
    lines.push(say("told.resembles", told), say("told.why", told));
    if (told.length_mm) lines.push(say("told.size", { length: told.length_mm, width: told.width_mm }));
    lines.push(say("told.order", told));
  }
  $("told-text").textContent = lines.join(" ");
}

export function zoom(direction) {
  if (!desk.step.flag) {
    far.zoomBy(direction > 0 ? 1.5 : 1 / 1.5);
    return;
  }
  desk.zoom = Math.min(ZOOMS.length - 1, Math.max(0, desk.zoom + direction));
  store("zoom", String(desk.zoom));
  near.view.zoom = nearZoom(desk.step.shot);
  near.draw();
  scaleBar(desk.step.shot);
}

export function fit() {
  if (desk.step.flag) near.goHome();
  far.goHome();
  if (desk.step.flag) scaleBar(desk.step.shot);
}

export function toggleMarks() {
  const off = $("desk").classList.toggle("marks-off");
  $("marks").setAttribute("aria-pressed", String(off));
  $("marks").textContent = say(off ? "view.marks_on" : "view.marks_off");
}
