// Drawing on the picture: a speck that the tool missed, or the ring of a colony.

import { askInsect } from "./answers.js";
import { goTo } from "./eyes.js";
import { $, desk, far, form, near } from "./page.js";
import { say } from "./words.js";

const LEAST_BOX_PX = 12;

export function isDrawing() {
  return Boolean(near.drawing || far.drawing);
}

export function draw(round) {
  if (desk.step.shot.trouble) return;
  if (isDrawing()) {
    stopDrawing();
    return;
  }
  // The ring is drawn on the enlarged picture, which is the one beside the form.
  const stages = desk.step.flag ? [far, near] : [far];
  for (const stage of stages) stage.startDrawing(round);
  $("add").setAttribute("aria-pressed", "true");
  $("add").textContent = say("add.stop");
  $("drawing").textContent = say(round ? "add.ring_how" : "add.how");
  $("drawing").hidden = false;
}

export function stopDrawing() {
  near.stopDrawing();
  far.stopDrawing();
  $("add").setAttribute("aria-pressed", "false");
  $("add").textContent = say("add.button");
  $("drawing").hidden = true;
}

export function drew(shot, from, to, round) {
  stopDrawing();
  const length = Math.hypot(to.x - from.x, to.y - from.y);
  if (round) {
    const ring = { x_px: from.x, y_px: from.y, radius_px: Math.max(1, length) };
    form.setRing(ring);
    for (const stage of [near, far]) {
      stage.ring = { x: from.x, y: from.y, radius: ring.radius_px };
      stage.mark();
    }
    return;
  }
  askDrawn(shot, {
    shot_sha256: shot.sha256,
    x_px: (from.x + to.x) / 2,
    y_px: (from.y + to.y) / 2,
    length_px: length,
    angle_deg: length ? (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI : 0,
  });
}

// Asks what a drawn speck is. Nothing is kept before that is said, and afterwards the person is back where they drew. `typed` and
// `sentence`: what was said of it before, and why it was refused.
export function askDrawn(shot, drawn, typed = null, sentence = "") {
  const { shot_sha256: sha256, x_px: x, y_px: y, length_px: length, angle_deg: angle } = drawn;
  const side = Math.max(LEAST_BOX_PX, length);
  const flag = {
    ...{ candidate: 0, found_by: "person", by: desk.review.reviewer, shot, place: shot.flags.length + 1 },
    ...{ x_px: x, y_px: y, left_px: x - side / 2, top_px: y - side / 2, wide_px: side, high_px: side },
  };
  const place = { shot_sha256: sha256, x_px: x, y_px: y, length_px: length, angle_deg: angle };
  const pending = { from: desk.step, drawn: place };
  goTo({ shot, flag });
  desk.pending = pending;
  askInsect(typed ?? undefined);
  if (sentence) form.say(sentence);
}

export function addFlag(told) {
  const { shot: sha256, said, ...flag } = told;
  const shot = desk.review.byName.get(sha256);
  return shot ? desk.review.add(shot, flag) : null;
}
