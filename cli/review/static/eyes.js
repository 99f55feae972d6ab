// What is on the screen: a whole photograph, or a flag and its place in it; what is said of it; what is made ready ahead.

import { stopDrawing } from "./drawing.js";
import { $, desk, far, form, near, screen, store } from "./page.js";
import { ending } from "./screens.js";
import { partUrl, picture, seenPart, wholePart } from "./stage.js";
import { say, sayMany, wordFor } from "./words.js";

// Screen pixels a millimetre.
const ZOOMS = [12, 24, 48, 72, 96, 144];
const USUAL = 3;
// Where the scale is not known: screen pixels a pixel at the usual zoom.
const PX_ZOOM = 3;
const AHEAD = 4;
const LATE_MS = 700;

export function goTo(step) {
  if (!step) return ending();
  stopDrawing();
  form.hide();
  screen("desk");
  desk.step = step;
  desk.came = performance.now();
  $("desk").classList.toggle("whole", !step.flag);
  $("far").setAttribute("aria-label", say(step.flag ? "view.far" : "view.whole"));
  describe();
  const shown = step.flag ? showFlag(step) : showWhole(step);
  const late = setTimeout(() => (step.flag ? near : far).say(say("view.loading")), LATE_MS);
  const asked = performance.now();
  shown.then((ready) => {
    clearTimeout(late);
    if (desk.step !== step) return;
    for (const stage of [near, far]) stage.say("");
    if (!ready) trouble(step);
    // What the bench reads: when the picture of this step was there.
    $("desk").dataset.shown = step.flag ? `${step.shot.sha256}/${step.flag.candidate}` : step.shot.sha256;
    performance.measure("shown", { start: asked, end: performance.now() });
    ahead(step);
  });
  return undefined;
}

function showWhole({ shot }) {
  return far.show(shot, far.wholeView(shot), null);
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

function nearView({ shot, flag }) {
  const ring = ringOf(flag);
  return { x: ring.x, y: ring.y, zoom: nearZoom(shot) };
}

function showFlag(step) {
  const ring = desk.review.words.get(desk.review.keyOf(step.flag))?.ring;
  const marked = ring ? { x: ring.x_px, y: ring.y_px, radius: ring.radius_px } : ringOf(step.flag);
  const shown = near.show(step.shot, nearView(step), marked);
  far.show(step.shot, far.wholeView(step.shot), marked);
  scaleBar(step.shot);
  return shown;
}

async function trouble(step) {
  const url = partUrl(step.shot, wholePart(step.shot));
  let sentence = say("trouble.picture_missing");
  try {
    sentence = (await (await fetch(url)).json()).error ?? sentence;
  } catch {
    sentence = say("saving.lost");
  }
  step.shot.trouble = sentence;
  if (desk.step !== step) return;
  near.say(sentence);
  far.say(sentence);
  describe();
}

export function scaleBar(shot) {
  const perMm = shot.px_per_mm ? near.view.zoom * shot.px_per_mm : 0;
  const mm = perMm ? [0.1, 0.2, 0.5, 1, 2, 5, 10].find((each) => each * perMm >= 60) ?? 20 : 0;
  $("near-bar").hidden = !perMm;
  if (perMm) $("near-bar").style.width = `${mm * perMm}px`;
  $("near-scale").textContent = perMm ? say("view.bar", { n: mm }) : say("view.no_scale");
}

// The pictures of the next steps, so that they are here when a key asks for them.
function ahead(step) {
  let next = step;
  for (let n = 0; n < AHEAD; n += 1) {
    next = desk.review.from(next, 1);
    if (!next) return;
    picture(partUrl(next.shot, wholePart(next.shot)));
    if (next.flag) picture(partUrl(next.shot, seenPart(next.shot, nearView(next), $("near").clientWidth, $("near").clientHeight)));
  }
}

export function describe() {
  const { review, step } = desk;
  if (!step) return;
  const { shot, flag } = step;
  const flags = review.flags;
  $("where").textContent = say("head.shot", { n: review.shots.indexOf(shot) + 1, of: review.shots.length, name: shot.name });
  const answered = sayMany("head.answered", review.answered, { of: flags.length });
  $("progress").textContent = flag ? `${say("head.flag", { n: flag.place, of: shot.flags.length })} · ${answered}` : answered;
  $("desk").classList.toggle("asking", form.open);
  $("answers").hidden = !flag || form.open;
  $("again-means").hidden = !flag || form.open;
  $("whole-on").hidden = Boolean(flag);
  $("marks").hidden = !flag;
  for (const id of ["insect", "not-insect", "look-again"]) $(id).disabled = Boolean(shot.trouble);
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
