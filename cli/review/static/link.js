// Keys on the page on marks of one animal. The page works without: a key presses the button that is shown with it.

const offers = [...document.querySelectorAll("#offers article")];

function stored(name) {
  try {
    return localStorage.getItem(`speckwise.${name}`) ?? "";
  } catch {
    return "";
  }
}

function store(name, value) {
  try {
    localStorage.setItem(`speckwise.${name}`, value);
  } catch {
    // A browser without storage asks again next time.
  }
}

// An offer is answered by key only once its pictures have been seen.
async function watch(offer) {
  const pictures = [...offer.querySelectorAll("img")];
  try {
    await Promise.all(pictures.map((picture) => loaded(picture)));
    offer.dataset.shown = "yes";
  } catch {
    offer.querySelector(".no-picture").hidden = false;
  }
}

function loaded(picture) {
  if (picture.complete && picture.naturalWidth) return Promise.resolve();
  return new Promise((done, failed) => {
    picture.addEventListener("load", done, { once: true });
    picture.addEventListener("error", failed, { once: true });
    if (picture.complete && !picture.naturalWidth) failed();
  });
}

// Keys answer the offer that has the focus, and only while its pictures are on the screen.
function current() {
  const offer = offers.find((each) => each.contains(document.activeElement));
  const place = offer?.querySelector(".cut-outs").getBoundingClientRect();
  return place && place.bottom > 0 && place.top < innerHeight ? offer : undefined;
}

function goTo(id) {
  const target = document.getElementById(id);
  if (!target) return;
  target.focus({ preventScroll: true });
  target.scrollIntoView();
}

function typing(target) {
  return target.tagName === "INPUT" && target.type !== "checkbox";
}

// By the letter that is printed, or where the keyboard writes another script by the place of the key.
function letterOf(event) {
  const latin = /^Key[A-Z]$/.test(event.code) && !/^[a-z]$/i.test(event.key);
  return (latin ? event.code.slice(3) : event.key).toLowerCase();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || typing(event.target)) return;
  const offer = current();
  const choice = [...(offer?.querySelectorAll("[data-key]") ?? [])].find(
    (each) => each.dataset.key.toLowerCase() === letterOf(event),
  );
  if (!choice) return;
  event.preventDefault();
  // A key that is held down is one press, and what is not seen is not answered.
  if (event.repeat || (choice.type === "submit" && offer.dataset.shown !== "yes")) return;
  choice.click();
});

for (const offer of offers) watch(offer);
for (const link of document.querySelectorAll(".button")) {
  link.addEventListener("click", () => goTo(link.hash.slice(1)));
}
const by = document.getElementById("by");
by.value ||= stored("name");
document.getElementById("who").addEventListener("submit", () => store("name", by.value.trim()));
if (location.hash) goTo(location.hash.slice(1));
else if (document.querySelector("#offers button")) offers[0].focus({ preventScroll: true });
