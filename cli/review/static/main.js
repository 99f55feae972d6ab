// The page: opening it, what others do meanwhile, and what a button does.

import { answer, askInsect, closeForm, keepInsect, kept, move, refused, takeEarlier, tellWaiting, undo } from "./answers.js";
import { addFlag, draw, drew, stopDrawing } from "./drawing.js";
import { fit, goTo, scaleBar, toggleMarks, zoom } from "./eyes.js";
import { listenToKeys } from "./keys.js";
import { $, desk, far, form, near, paragraph, store, stored } from "./page.js";
import { Record } from "./record.js";
import { Review } from "./review.js";
import { backToEyes, choose, ending, overview, refresh, showAll, toOpen } from "./screens.js";
import { loadWords, say, sayMany, shownName } from "./words.js";

const LISTEN_MS = 4000;
const SOON_MS = 2000;

async function open() {
  await loadWords();
  desk.opening = await (await fetch("/opening")).json();
  const { opening } = desk;
  $("made-by").textContent = say("page.version", opening);
  $("readings").hidden = opening.readings.length < 2;
  $("name").value = opening.reviewer || stored("name");
  const basis = [...$("start-form").elements["usual-basis"]].find((each) => each.value === stored("basis"));
  if (basis) basis.checked = true;
  notes();
  $("start-form").addEventListener("submit", (event) => { event.preventDefault(); begin(event.target.elements); });
  $("single").checked = stored("single") !== "no";
  desk.zoom = Number.parseInt(stored("zoom") || "3", 10);
  // What waits in this browser from before is sent whoever sits here now: it carries its own name.
  desk.record = new Record(opening.run, { tell: tellWaiting, kept, refused });
  if (desk.record.waiting) tellWaiting({ waiting: desk.record.waiting, trouble: "", status: 0 });
  // Until now the browser itself would have sent the form.
  $("begin").disabled = false;
  $("name").focus();
}

function notes() {
  const { failed, twins } = desk.opening;
  const lines = [];
  for (const [key, names] of [["start.failed", Object.keys(failed)], ["start.twins", Object.keys(twins)]]) {
    if (names.length) lines.push(sayMany(key, names.length, { names: names.map(shownName).join(", ") }));
  }
  $("start-notes").replaceChildren(...lines.map(paragraph));
}

function folded(name) {
  return name.normalize("NFKC").toLowerCase().split(/\s+/).filter(Boolean).join(" ");
}

async function begin(fields) {
  const reviewer = fields.name.value.trim();
  if (!reviewer || desk.review || $("begin").disabled) return;
  $("begin").disabled = true;
  const review = new Review(Number.parseInt(fields.reading.value, 10), reviewer);
  let told;
  try {
    // What waits from before comes first where it can; it is no reason not to begin.
    await Promise.race([desk.record.idle(), new Promise((done) => setTimeout(done, SOON_MS))]);
    const reply = await fetch(`/shots?reading=${review.reading}&reviewer=${encodeURIComponent(reviewer)}`);
    told = await reply.json();
  } catch {
    told = { error: say("saving.lost") };
  }
  $("begin").disabled = false;
  if (told.error) {
    $("start-notes").replaceChildren(paragraph(told.error));
    return;
  }
  review.take(told, (name) => folded(name) === folded(reviewer));
  if (!review.steps.length) {
    $("start-notes").replaceChildren(paragraph(say("start.nothing")));
    return;
  }
  store("name", reviewer);
  setBasis(fields["usual-basis"].value);
  if (told.yours_before) $("start-notes").append(paragraph(sayMany("start.before", told.yours_before)));
  desk.review = review;
  tellWaiting({ waiting: desk.record.waiting, trouble: "", status: 0 });
  $("nav").hidden = false;
  goTo(review.firstOpen() ?? review.steps[0]);
  setInterval(listen, LISTEN_MS);
}

function setBasis(basis) {
  desk.basis = basis;
  $("basis-now").value = basis;
  store("basis", basis);
}

async function listen() {
  const { review } = desk;
  try {
    const told = await (await fetch(`/said?reading=${review.reading}&after=${review.last}`)).json();
    const many = review.flags.length;
    for (const flag of told.added ?? []) addFlag(flag);
    for (const gone of told.withdrawn ?? []) review.remove(gone);
    let changed = review.flags.length !== many;
    for (const word of told.said) {
      if (review.words.get(`${word.shot}/${word.candidate}`)?.token === word.token) continue;
      review.hear(word);
      changed = true;
    }
    review.last = Math.max(review.last, told.last);
    if (changed) refresh();
  } catch {
    // The record says it when an answer can't be sent; listening goes on.
  }
}

for (const stage of [near, far]) Object.assign(stage, { drew, stopped: stopDrawing });
Object.assign(form, { keep: keepInsect, cancel: closeForm, drawRing: () => draw(true) });
near.moved = () => desk.step?.flag && scaleBar(desk.step.shot);

const ON_CLICK = {
  insect: () => askInsect(),
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
  "show-all": showAll,
  "end-show-all": showAll,
  "to-keys": () => $("keys").showModal(),
  "keys-close": () => $("keys").close(),
};
for (const [id, act] of Object.entries(ON_CLICK)) $(id).addEventListener("click", act);
for (const button of document.querySelectorAll(".to-eyes")) button.addEventListener("click", backToEyes);
$("filters").addEventListener("change", choose);
$("basis-now").addEventListener("change", (event) => setBasis(event.target.value));
$("single").addEventListener("change", (event) => store("single", event.target.checked ? "yes" : "no"));
addEventListener("beforeunload", (event) => {
  if (form.open || desk.record?.waiting) event.preventDefault();
});
listenToKeys();
open().catch(() => { $("gone").hidden = false; });
