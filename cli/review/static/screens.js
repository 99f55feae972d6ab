// The screens beside the picture: everything in order, and where we stand.

import { note } from "./answers.js";
import { stopDrawing } from "./drawing.js";
import { goTo } from "./eyes.js";
import { $, desk, form, paragraph, screen } from "./page.js";
import { fillFilters, readFilters, showEnd, showRows } from "./rows.js";
import { say } from "./words.js";

export function overview() {
  if (desk.screen === "rows") return backToEyes();
  note("");
  stopDrawing();
  form.hide();
  screen("rows");
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
  screen("end");
  $("to-open").hidden = !desk.review.flags.some((flag) => desk.review.isOpen(flag));
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
  goTo(desk.step ?? desk.review.firstOpen());
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
