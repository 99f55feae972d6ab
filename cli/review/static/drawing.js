// Drawing on the picture: a speck that the tool missed, or the ring of a colony.

import { askInsect } from "./answers.js";
import { describe, goTo } from "./eyes.js";
import { $, desk, far, form, near } from "./page.js";
import { newToken } from "./record.js";
import { say } from "./words.js";

export function draw(round) {
  if (desk.step.shot.trouble) return;
  if (near.drawing || far.drawing) {
    stopDrawing();
    return;
  }
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
  desk.record.put("/add", {
    shot_sha256: shot.sha256,
    run: desk.opening.run,
    x_px: (from.x + to.x) / 2,
    y_px: (from.y + to.y) / 2,
    length_px: length,
    angle_deg: length ? (Math.atan2(to.y - from.y, to.x - from.x) * 180) / Math.PI : 0,
    reviewer: desk.review.reviewer,
    token: newToken(),
  });
}

export function keptAdded(act, reply) {
  const flag = addFlag(reply) ?? desk.review.byName.get(reply.shot)?.flags.find((each) => each.candidate === reply.candidate);
  if (!flag) return;
  flag.reading = 1;
  // The person is still at this photograph: what they drew is asked about at once, and the place they were at is gone back to.
  if (desk.step.shot === flag.shot && desk.screen === "desk" && !form.open) {
    goTo({ shot: flag.shot, flag });
    askInsect();
  } else {
    describe();
  }
}

export function addFlag(told) {
  const shot = desk.review.byName.get(told.shot);
  if (!shot) return null;
  const { shot: name, ...flag } = told;
  return desk.review.add(shot, flag);
}
