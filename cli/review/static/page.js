// What all parts of the page share: its state, its two stages, its form.

import { InsectForm } from "./insect.js";
import { Stage } from "./stage.js";

export const $ = (id) => document.getElementById(id);
// `step` is what is on the screen: a shot, and a flag or null for the whole of it; `ready` whether its picture is there; `pending` a speck
// that was drawn and not yet kept; `acts` what stood before each answer that is on its way.
export const desk = {
  ...{ opening: null, review: null, record: null, step: null, screen: "start", came: 0, ready: false },
  ...{ pending: null, acts: [], basis: "", zoom: 3 },
};
export const near = new Stage($("near"));
export const far = new Stage($("far"));
export const form = new InsectForm($("insect-form"));

export function stored(name) {
  try {
    return localStorage.getItem(`speckwise.${name}`) ?? "";
  } catch {
    return "";
  }
}

export function store(name, value) {
  try {
    localStorage.setItem(`speckwise.${name}`, value);
  } catch {
    // A browser without storage asks again next time.
  }
}

export function paragraph(text) {
  const made = document.createElement("p");
  made.textContent = text;
  return made;
}

export function screen(name) {
  for (const id of ["start", "desk", "rows", "end"]) $(id).hidden = id !== name;
  desk.screen = name;
}
