/* A page on a disk may not read its own file; but it may open itself once more, and be told what it reads then. So nothing flickers,
and a share that goes away and comes back leaves the page standing. */
(() => {
  const OLD_MS = 15000, EVERY_MS = 1000, ALONE_MS = 5000;
  let live = document.getElementById("live");
  if (window.parent !== window) {
    window.parent.postMessage({ now: live.outerHTML, title: document.title }, "*");
    return;
  }
  let frame = null, heard = false, fresh = performance.now();
  if (Math.abs(Date.now() - live.dataset.written) > OLD_MS) fresh -= OLD_MS;
  const show = () => {
    const gone = live.dataset.ended === "yes" || performance.now() - fresh >= OLD_MS;
    document.getElementById("away").hidden = !gone;
    live.classList.toggle("is-away", gone);
    for (const state of live.querySelectorAll(".state")) state.hidden = gone;
  };
  window.addEventListener("message", event => {
    if (!frame || event.source !== frame.contentWindow || typeof event.data.now !== "string") return;
    heard = true;
    const next = new DOMParser().parseFromString(event.data.now, "text/html").getElementById("live");
    if (next.dataset.written !== live.dataset.written) {
      live.replaceWith(next);
      live = next;
      fresh = performance.now();
      document.title = event.data.title;
    }
    show();
  });
  setInterval(() => {
    if (!heard && performance.now() > ALONE_MS) location.reload();
    if (frame) frame.remove();
    frame = document.createElement("iframe");
    frame.title = live.dataset.same;
    frame.src = location.href.split(/[?#]/)[0] + "?" + Date.now();
    document.body.append(frame);
    show();
  }, EVERY_MS);
  show();
})();
