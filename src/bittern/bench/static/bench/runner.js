// The runner: counts down a step's window by the server's clock, and keeps the screen lit. Pages work without it.

const timer = document.querySelector("[data-deadline]");

if (timer) {
  const words = timer.querySelector("[data-words]");
  // Only the server's own difference counts: a telephone's clock may be minutes off.
  const left = Date.parse(timer.dataset.deadline) - Date.parse(timer.dataset.now);
  const start = performance.now();
  const tell = () => {
    const seconds = Math.ceil((left - (performance.now() - start)) / 1000);
    timer.classList.toggle("window-over", seconds <= 0);
    words.textContent = seconds > 0
      ? `${seconds} s left for this step`
      : "The time for this step is over. If the vehicle did not answer, say so below.";
    if (seconds > 0) setTimeout(tell, 200);
  };
  tell();
}

// A second tap while the first is on its way would only be turned down; the page says that it was taken.
document.addEventListener("submit", (event) => {
  const button = event.target.querySelector("button");
  if (!button || event.target.dataset.sent) return event.target.dataset.sent && event.preventDefault();
  event.target.dataset.sent = "yes";
  button.setAttribute("aria-disabled", "true");
  // Without an answer the button comes back, and the same event may be sent again: it counts once.
  setTimeout(() => {
    delete event.target.dataset.sent;
    button.removeAttribute("aria-disabled");
  }, 5000);
});
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

// The map opens where the person stands, and the page moves only as far as to show it.
const map = document.querySelector("details.map");
const showHere = () => {
  const box = map.querySelector(".scroll");
  const mark = map.querySelector("#map-here");
  if (!mark) return;
  const [here, frame] = [mark.getBoundingClientRect(), box.getBoundingClientRect()];
  box.scrollTo({
    left: box.scrollLeft + here.left - frame.left - (frame.width - here.width) / 2,
    top: box.scrollTop + here.top - frame.top - (frame.height - here.height) / 2,
    behavior: "instant",
  });
  box.scrollIntoView({ block: "nearest" });
};
map?.addEventListener("toggle", () => { if (map.open) showHere(); });
map?.querySelector('a[href="#map-here"]').addEventListener("click", (event) => {
  event.preventDefault();
  showHere();
});

const light = async () => {
  try {
    if (document.visibilityState === "visible") await navigator.wakeLock?.request("screen");
  } catch {
    // Not allowed here; the step is on record whatever the screen does.
  }
};
document.addEventListener("visibilitychange", light);
light();
