// The overview: everything in picture order, one row a piece, and the choice of what is gone through.

import { partUrl, wholePart } from "./stage.js";
import { say, sayMany, shownName, wordFor } from "./words.js";

const SMALL_PX = 480;
const COLUMNS = ["flags", "insect", "not_insect", "look_again", "open", "not_looked"];

function element(name, text = "", className = "") {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  if (className) made.className = className;
  return made;
}

export function showRows(review, place, goTo) {
  place.replaceChildren(...review.rows().map((shots) => row(review, shots, goTo)).filter(Boolean));
  if (!place.children.length) place.append(element("p", say("filter.none_left")));
}

function row(review, shots, goTo) {
  const kept = shots.filter((shot) => review.steps.some((step) => step.shot === shot && review.fits(step)));
  if (!kept.length) return null;
  const article = element("article");
  const { lot, sample, piece } = shots[0].facts;
  const heading = element("h3");
  const name = element("bdi", piece ? say("rows.piece", { piece, sample: `${lot} ${sample}`.trim() }) : shownName(shots[0].name));
  const unseen = shots.some((shot) => !shot.looked) ? ` · ${say("rows.not_looked")}` : "";
  heading.append(name, ` · ${sayMany("rows.flags", shots.reduce((sum, shot) => sum + shot.flags.length, 0))}${unseen}`);
  article.append(heading, ...kept.map((shot) => ofShot(review, shot, goTo)));
  return article;
}

function ofShot(review, shot, goTo) {
  const line = element("div", "", "of-shot");
  const button = element("button");
  button.type = "button";
  const image = new Image();
  image.loading = "lazy";
  image.src = partUrl(shot, wholePart(shot, SMALL_PX));
  image.alt = shot.name;
  const scale = Math.min(192 / shot.wide_px, 144 / shot.high_px);
  image.width = Math.round(shot.wide_px * scale);
  image.height = Math.round(shot.high_px * scale);
  button.append(image);
  button.addEventListener("click", () => goTo({ shot, flag: null }));
  const chips = element("ul", "", "chips");
  for (const flag of shot.flags) {
    if (review.fits({ shot, flag })) chips.append(chip(review, shot, flag, goTo));
  }
  line.append(button, chips);
  return line;
}

function chip(review, shot, flag, goTo) {
  const answer = review.answerTo(flag);
  const item = element("li");
  const mark = answer ? ` ${say(`rows.mark_${answer}`)}` : "";
  const button = element("button", `${flag.place}${mark}`, answer);
  button.type = "button";
  const spoken = answer ? say(`ask.answer_${answer}`) : say("rows.chip_open");
  button.setAttribute("aria-label", say("rows.chip", { n: flag.place, answer: spoken }));
  button.addEventListener("click", () => goTo({ shot, flag }));
  item.append(button);
  return item;
}

// The choices that there are, with the one that is made.
export function fillFilters(review, form) {
  const { shot, sample, kind, open } = form.elements;
  const samples = new Map(review.shots.filter((each) => each.facts.sample).map((each) => [review.sampleOf(each), each.facts]));
  const kinds = new Set([...review.words.values()].filter((word) => word.answer === "insect" && word.kind).map((word) => word.kind));
  options(shot, [["", say("filter.all")], ...review.shots.map((each) => [each.sha256, shownName(each.name)])], review.choice.shot);
  options(sample, [["", say("filter.all")], ...[...samples].map(([key, facts]) => [key, say("filter.sample_of", facts)])], review.choice.sample);
  const answers = ["insect", "not_insect", "look_again"].map((each) => [`answer:${each}`, say(`ask.answer_${each}`)]);
  options(kind, [["all", say("filter.all")], ...answers, ...[...kinds].sort().map((each) => [each, wordFor("kind", each)])], review.choice.kind);
  open.checked = review.choice.open;
}

function options(select, pairs, chosen) {
  select.replaceChildren(...pairs.map(([value, text]) => {
    const option = element("option", text);
    option.value = value;
    return option;
  }));
  select.value = chosen;
}

export function readFilters(form) {
  const { shot, sample, kind, open } = form.elements;
  return { shot: shot.value, sample: sample.value, kind: kind.value, open: open.checked };
}

// What the answers add up to.
export async function showEnd(review, text, table) {
  const sums = await (await fetch(`/sums?reading=${review.reading}`)).json();
  const all = sums.all;
  const lines = [all.open ? sayMany("ending.open", all.open) : say("ending.open_none")];
  if (all.look_again) lines.push(sayMany("ending.waiting", all.look_again));
  if (all.not_looked) lines.push(sayMany("ending.not_looked", all.not_looked));
  lines.push(sayMany("ending.insects", all.insect));
  if (all.most) lines.push(all.least === all.most ? sayMany("ending.animals", all.least) : say("ending.animals_range", all));
  if (all.remains) lines.push(sayMany("ending.remains", all.remains));
  text.replaceChildren(...lines.map((line, n) => element("p", line, n ? "" : "question")));
  const head = element("tr");
  const names = [say("ending.sample"), say("ending.flags"), say("ending.insect"), say("ending.not_insect"), say("ending.look_again")];
  for (const name of [...names, say("ending.open_column"), say("ending.not_looked_column")]) {
    const cell = element("th", name);
    cell.scope = "col";
    head.append(cell);
  }
  const body = [...sums.samples, { ...all, in_all: true }].map((counts) => {
    const line = element("tr");
    const name = counts.in_all ? say("ending.in_all") : `${counts.lot} ${counts.sample}`.trim() || say("ending.without_sample");
    const cell = element("th", name);
    cell.scope = "row";
    line.append(cell, ...COLUMNS.map((column) => element("td", String(counts[column]))));
    return line;
  });
  table.replaceChildren(head, ...body);
  return all;
}
