// The page: opening it, and what a key or a button does.

import { answer, askInsect, closeForm, keepInsect, kept, move, refused, takeEarlier, tellWaiting, undo } from "./answers.js";
import { addFlag, draw, drew, stopDrawing } from "./drawing.js";
import { describe, fit, goTo, scaleBar, toggleMarks, zoom } from "./eyes.js";
import { $, desk, far, form, near, paragraph, store, stored } from "./page.js";
import { Record } from "./record.js";
import { Review } from "./review.js";
import { backToEyes, choose, ending, overview, toOpen } from "./screens.js";
import { loadWords, say, sayMany } from "./words.js";

const LISTEN_MS = 4000;

async function open() {
  await loadWords();
  desk.opening = await (await fetch("/opening")).json();
  const { opening } = desk;
  $("made-by").textContent = say("page.version", opening);
  $("readings").hidden = opening.readings.length < 2;
  $("name").value = opening.reviewer || stored("name");
  notes();
  $("start-form").addEventListener("submit", (event) => { event.preventDefault(); begin(event.target.elements); });
  $("single").checked = stored("single") !== "no";
  desk.zoom = Number.parseInt(stored("zoom") || "3", 10);
  // Until now the browser itself would have sent the form.
  $("begin").disabled = false;
  $("name").focus();
}

function notes() {
  const { failed, twins } = desk.opening;
  const lines = [];
  for (const [key, names] of [["start.failed", Object.keys(failed)], ["start.twins", Object.keys(twins)]]) {
    if (names.length) lines.push(sayMany(key, names.length, { names: names.join(", ") }));
  }
  $("start-notes").replaceChildren(...lines.map(paragraph));
}

async function begin(fields) {
  const reviewer = fields.name.value.trim();
  if (!reviewer) return;
  store("name", reviewer);
  desk.basis = fields["usual-basis"].value;
  const review = new Review(Number.parseInt(fields.reading.value, 10), reviewer);
  const reply = await fetch(`/shots?reading=${review.reading}&reviewer=${encodeURIComponent(reviewer)}`);
  const told = await reply.json();
  review.take(told);
  if (!review.steps.length) {
    $("start-notes").replaceChildren(paragraph(say("start.nothing")));
    return;
  }
  if (told.yours_before) $("start-notes").append(paragraph(sayMany("start.before", told.yours_before)));
  desk.review = review;
  desk.record = new Record(desk.opening.run, { tell: tellWaiting, kept, refused });
  tellWaiting({ waiting: desk.record.waiting, trouble: "" });
  $("nav").hidden = false;
  goTo(review.firstOpen() ?? review.steps[0]);
  setInterval(listen, LISTEN_MS);
}

// What others answer meanwhile.
async function listen() {
  const { review } = desk;
  try {
    const told = await (await fetch(`/said?reading=${review.reading}&after=${review.last}`)).json();
    let changed = false;
    for (const flag of told.added ?? []) changed = Boolean(addFlag(flag)) || changed;
    for (const word of told.said) {
      if (review.words.get(`${word.shot}/${word.candidate}`)?.token === word.token) continue;
      review.hear(word);
      changed = true;
    }
    review.last = Math.max(review.last, told.last);
    if (changed) describe();
  } catch {
    // The record says it when an answer can't be sent; listening goes on.
  }
}

// ---- keys and buttons

for (const stage of [near, far]) Object.assign(stage, { drew, stopped: stopDrawing });
Object.assign(form, { keep: keepInsect, cancel: closeForm, drawRing: () => draw(true) });
near.moved = () => desk.step?.flag && scaleBar(desk.step.shot);

const ON_CLICK = {
  insect: askInsect,
  "not-insect": () => answer({ answer: "not_insect" }),
  "look-again": () => answer({ answer: "look_again" }),
  undo,
  back: () => move(-1),
  next: () => move(1),
  "whole-back": () => move(-1),
  "whole-next": () => move(1),
  marks: toggleMarks,
  add: () => draw(false),
  "zoom-in": () => zoom(1),
  "zoom-out": () => zoom(-1),
  fit,
  "whole-larger": () => zoom(1),
  "whole-smaller": () => zoom(-1),
  "whole-fit": fit,
  "earlier-take": takeEarlier,
  "to-rows": overview,
  "to-end": ending,
  "to-open": toOpen,
  "to-keys": () => $("keys").showModal(),
  "keys-close": () => $("keys").close(),
};
for (const [id, act] of Object.entries(ON_CLICK)) $(id).addEventListener("click", act);
for (const button of document.querySelectorAll(".to-eyes")) button.addEventListener("click", backToEyes);
$("filters").addEventListener("change", choose);
$("single").addEventListener("change", (event) => store("single", event.target.checked ? "yes" : "no"));

const LETTERS = {
  insect: askInsect,
  not_insect: ON_CLICK["not-insect"],
  look_again: ON_CLICK["look-again"],
  undo,
  marks: toggleMarks,
  add: ON_CLICK.add,
  overview,
  ending,
  earlier: takeEarlier,
};

function typing(target) {
  return target.tagName === "TEXTAREA" || target.tagName === "SELECT" || (target.tagName === "INPUT" && !["radio", "checkbox"].includes(target.type));
}

function letterFor(key) {
  return Object.keys(LETTERS).find((act) => say(`key.${act}`).toLowerCase() === key.toLowerCase());
}

document.addEventListener("keydown", (event) => {
  // What a form or a stage has taken is theirs alone.
  if (event.defaultPrevented) return;
  if (!desk.review || event.ctrlKey || event.altKey || event.metaKey || $("keys").open || typing(event.target)) return;
  if (event.key === say("key.help")) {
    $("keys").showModal();
  } else if (form.open) {
    if (!formKey(event)) return;
  } else if (!deskKey(event)) {
    return;
  }
  event.preventDefault();
});

function formKey(event) {
  if (event.key === "Escape") closeForm();
  else if (/^[0-9]$/.test(event.key)) form.chooseKind(Number.parseInt(event.key, 10));
  else return false;
  return true;
}

function deskKey(event) {
  const onDesk = desk.screen === "desk";
  const letter = $("single").checked ? letterFor(event.key) : undefined;
  if (letter && (onDesk || letter === "overview" || letter === "ending")) {
    LETTERS[letter]();
    return true;
  }
  if (!onDesk) {
    if (event.key !== "Escape") return false;
    backToEyes();
    return true;
  }
  return onDesk && moveKey(event);
}

function moveKey(event) {
  const pans = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] };
  const stage = desk.step.flag ? near : far;
  if (event.shiftKey && pans[event.key]) stage.panBy(...pans[event.key]);
  else if (event.key === "ArrowRight") move(1);
  else if (event.key === "ArrowLeft") move(-1);
  else if (event.key === "Enter" && !desk.step.flag && event.target.tagName !== "BUTTON") move(1);
  else if (event.key === "+" || event.key === "=") zoom(1);
  else if (event.key === "-" || event.key === "−") zoom(-1);
  else if (event.key === "0") fit();
  else return false;
  return true;
}

open();
