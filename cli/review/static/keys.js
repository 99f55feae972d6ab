// The keyboard: which key does what, where, and when none does anything.

import { answer, askInsect, closeForm, move, takeEarlier, undo } from "./answers.js";
import { draw, isDrawing } from "./drawing.js";
import { fit, toggleMarks, zoom } from "./eyes.js";
import { $, desk, far, form, near } from "./page.js";
import { backToEyes, ending, overview } from "./screens.js";
import { say } from "./words.js";

const LETTERS = {
  insect: () => askInsect(),
  not_insect: () => answer({ answer: "not_insect" }),
  look_again: () => answer({ answer: "look_again" }),
  undo,
  marks: toggleMarks,
  add: () => draw(false),
  overview,
  ending,
  earlier: takeEarlier,
};
const EVERYWHERE = ["overview", "ending", "undo"];
const WHILE_DRAWING = ["add", "marks"];
const PANS = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] };

export function listenToKeys() {
  document.addEventListener("keydown", (event) => {
    // A key that is held down is one press: it must not answer what has not been seen. Moving and enlarging may go on.
    if (event.repeat && (isButton(event.target) || !mayRepeat(event))) {
      if (!typing(event.target)) event.preventDefault();
      return;
    }
    // What a form or a stage has taken is theirs alone.
    if (event.defaultPrevented || !desk.review || event.ctrlKey || event.altKey || event.metaKey || $("keys").open) return;
    if (act(event)) event.preventDefault();
  });
}

function act(event) {
  if (event.key === "Escape" && form.open) {
    closeForm();
    return true;
  }
  if (typing(event.target)) return false;
  if (event.key === say("key.help")) {
    $("keys").showModal();
    return true;
  }
  return form.open ? kindKey(event) : deskKey(event);
}

function typing(target) {
  const writes = target.tagName === "INPUT" && !["radio", "checkbox"].includes(target.type);
  return target.tagName === "TEXTAREA" || target.tagName === "SELECT" || writes;
}

function isButton(target) {
  return target.tagName === "BUTTON";
}

function mayRepeat(event) {
  return ["+", "-", "−", "="].includes(event.key) || (event.shiftKey && event.key in PANS) || isDrawing();
}

function kindKey(event) {
  if (!/^[0-9]$/.test(event.key)) return false;
  form.chooseKind(Number.parseInt(event.key, 10));
  return true;
}

// By the letter that is printed, or where the keyboard writes another script by the place of the key.
function letterFor(event) {
  const latin = /^Key[A-Z]$/.test(event.code) && !/^[a-z]$/i.test(event.key);
  const key = (latin ? event.code.slice(3) : event.key).toLowerCase();
  return Object.keys(LETTERS).find((name) => say(`key.${name}`).toLowerCase() === key);
}

function deskKey(event) {
  const onDesk = desk.screen === "desk";
  const letter = $("single").checked ? letterFor(event) : undefined;
  if (letter && isDrawing() && !WHILE_DRAWING.includes(letter)) return true;
  if (letter && (onDesk || EVERYWHERE.includes(letter))) {
    LETTERS[letter]();
    return true;
  }
  if (onDesk) return moveKey(event);
  if (event.key !== "Escape") return false;
  backToEyes();
  return true;
}

function moveKey(event) {
  const stage = desk.step.flag ? near : far;
  const free = [document.body, $("question"), $("near"), $("far")].includes(event.target);
  if (event.shiftKey && PANS[event.key]) stage.panBy(...PANS[event.key]);
  else if (event.key === "ArrowRight") move(1);
  else if (event.key === "ArrowLeft") move(-1);
  else if (event.key === "Enter" && !desk.step.flag && free) move(1);
  else if (event.key === "+" || event.key === "=") zoom(1);
  else if (event.key === "-" || event.key === "−") zoom(-1);
  else if (event.key === "0") fit();
  else return false;
  return true;
}
