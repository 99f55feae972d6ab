// The screens beside the picture: everything in order, and where we stand.

import { note } from "./answers.js";
import { stopDrawing } from "./drawing.js";
import { describe, goTo } from "./eyes.js";
import { $, desk, form, paragraph, screen } from "./page.js";
import { fillFilters, readFilters, showEnd, showRows } from "./rows.js";
import { say } from "./words.js";

// The browser's own way back leads from these screens to the picture.
const BESIDE = "beside";

function beside(name) {
  if (history.state !== BESIDE) history.pushState(BESIDE, "");
  screen(name);
}

addEventListener("popstate", () => {
  if (desk.review && desk.screen !== "desk") toPicture();
});

export function overview() {
  if (desk.screen === "rows") return backToEyes();
  note("");
  stopDrawing();
  form.hide();
  beside("rows");
  fillFilters(desk.review, $("filters"));
  showRows(desk.review, $("row-list"), goTo);
  $("rows").querySelector("button").focus();
  return undefined;
}

export async function ending() {
  if (desk.screen === "end") return backToEyes();
  note("");
  stopDrawing();
  form.hide();
  beside("end");
  const { review } = desk;
  $("to-open").hidden = !review.steps.some((step) => (step.flag ? review.isOpen(step.flag) : !step.shot.looked));
  $("end-choice").hidden = !review.choosing();
  $("end-text").replaceChildren(paragraph(say("ending.counting")));
  $("end-table").replaceChildren();
  // The numbers are the record's: they are told when it has everything.
  await desk.record.idle();
  if (desk.screen !== "end") return undefined;
  try {
    await showEnd(desk.review, $("end-text"), $("end-table"));
  } catch {
    $("end-text").replaceChildren(paragraph(say("saving.lost")));
  }
  $("end").querySelector("button:not([hidden])").focus();
  return undefined;
}

export function backToEyes() {
  if (history.state === BESIDE) history.back();
  else toPicture();
}

function toPicture() {
  const { review, step } = desk;
  goTo(step && review.fits(step) ? step : (review.firstOpen() ?? step));
}

export function showAll() {
  desk.review.chooseAll();
  if (desk.screen === "rows") refresh();
  else backToEyes();
}

// What others did shows on every screen.
export function refresh() {
  if (desk.screen === "rows") {
    fillFilters(desk.review, $("filters"));
    showRows(desk.review, $("row-list"), goTo);
  } else if (desk.screen === "end") {
    showEnd(desk.review, $("end-text"), $("end-table")).catch(() => {});
  } else {
    describe();
  }
}

export function toOpen() {
  desk.review.choice = { shot: "", sample: "", kind: "all", open: true };
  const first = desk.review.firstOpen();
  if (first) goTo(first);
}

export function choose() {
  desk.review.choice = readFilters($("filters"));
  showRows(desk.review, $("row-list"), goTo);
}
