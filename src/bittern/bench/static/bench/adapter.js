// The supply voltage while a page is open. Pages work without it: what stood there when they were opened stays,
// and a voltage can be typed.
//
// A page holds <section data-supply="ADDRESS" data-poll> with [data-supply-here] for the drawing,
// [data-supply-word] for words that are read out, and [data-supply-fill] with a button (templates/adapter/supply_box.html).
// ADDRESS answers with one [data-supply-live]: data-level, data-say, and data-volts where the adapter tells one.
// The button fills the page's field "volts" and sets its field "source" to measured; typing sets it to typed.

const PERIOD_MS = 2000;
const PATIENCE_MS = 5000;

const findField = (box, name) =>
  box.querySelector(`input[name="${name}"]`) ?? document.querySelector(`form input[name="${name}"]`);

const watch = (box) => {
  const here = box.querySelector("[data-supply-here]");
  const word = box.querySelector("[data-supply-word]");
  const fill = box.querySelector("[data-supply-fill]");
  let level = here.querySelector("[data-supply-live]")?.dataset.level;
  let lost = false;

  const offer = () => {
    const volts = here.querySelector("[data-supply-live]")?.dataset.volts;
    const shown = !lost && volts && findField(box, "volts");
    if (!fill) return;
    fill.hidden = !shown;
    if (shown) fill.querySelector("button").textContent = `Take the adapter's reading: ${volts} V`;
  };

  const lose = (say) => {
    if (lost) return;
    lost = true;
    const note = document.createElement("p");
    note.className = "note";
    note.textContent = say;
    here.prepend(note);
    word.textContent = say;
    offer();
  };

  const show = (live) => {
    lost = false;
    here.replaceChildren(live);
    // Read out when it changes, not at each reading.
    if (live.dataset.level !== level) word.textContent = live.dataset.say;
    level = live.dataset.level;
    offer();
  };

  const ask = async () => {
    const answer = await fetch(box.dataset.supply, {
      headers: { Accept: "text/html" },
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.redirected) return lose("Your login has ended: load the page anew.");
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const live = page.querySelector("[data-supply-live]");
    return answer.ok && live ? show(live) : lose("The bench does not tell the voltage: type it in.");
  };

  const go = async () => {
    // A form that is about to be pressed is not taken away.
    const busy = here.contains(document.activeElement);
    if (document.visibilityState === "visible" && !busy) {
      if (navigator.onLine) {
        await ask().catch(() => lose("No connection to the bench: the voltage shown is an old one."));
      } else lose("No connection to the bench: the voltage shown is an old one.");
    }
    setTimeout(go, PERIOD_MS);
  };

  fill?.addEventListener("click", () => {
    const volts = here.querySelector("[data-supply-live]")?.dataset.volts;
    const field = findField(box, "volts");
    if (!volts || !field) return;
    field.value = volts;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    const source = field.form.querySelector('input[name="source"]');
    if (source) source.value = "measured";
  });
  offer();
  if ("poll" in box.dataset) setTimeout(go, level ? PERIOD_MS : 0);
};

// What a person types over a reading of the adapter is the person's.
document.addEventListener("input", (event) => {
  if (!event.isTrusted || event.target.name !== "volts") return;
  const source = event.target.form?.querySelector('input[name="source"]');
  if (source) source.value = "typed";
});

document.querySelectorAll("[data-supply]").forEach(watch);
