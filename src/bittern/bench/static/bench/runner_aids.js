// What helps at the vehicle: a window counted down, a beep to compare with, reading aloud, the screen kept lit.

const VOICE = "bittern-runner-voice";
const BEEP_S = 0.18, GAP_S = 0.22, BEEP_HZ = 1000;

export const startAids = (box) => {
  const aids = new Aids(box);
  document.addEventListener("visibilitychange", keepLit);
  keepLit();
  return aids;
};

class Aids {
  constructor(box) {
    this.box = box;
    this.holdBack();
    this.openMap();
    this.offerVoice();
    addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
  }

  // A new view: `left` tells the milliseconds left of its window, by default from what the server wrote beside it.
  show(view, left = null) {
    clearTimeout(this.timer);
    this.countDown(view, left);
    this.offerBeep(view);
    if (this.aloud) this.say(view);
  }

  countDown(view, left) {
    const timer = view.querySelector("[data-deadline]");
    if (!timer) return;
    const words = timer.querySelector("[data-words]");
    // Only the server's own difference counts: a telephone's clock may be minutes off.
    const whole = Date.parse(timer.dataset.deadline) - Date.parse(timer.dataset.now);
    const start = performance.now();
    const tell = () => {
      const seconds = Math.ceil((left ? left() : whole - (performance.now() - start)) / 1000);
      timer.classList.toggle("window-over", seconds <= 0);
      words.textContent = seconds > 0
        ? `${seconds} s left for this step`
        : "The time for this step is over. If the vehicle did not answer, say so below.";
      if (timer.isConnected) this.timer = setTimeout(tell, 200);
    };
    tell();
  }

  // A second tap while the first is on its way would only be turned down; the page says that it was taken.
  holdBack() {
    this.box.addEventListener("submit", (event) => {
      if (event.defaultPrevented) return;
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
  }

  // The map opens where the person stands, and the page moves only as far as to show it.
  openMap() {
    const map = this.box.querySelector("details.map");
    map?.addEventListener("toggle", () => { if (map.open) showHere(map); });
    map?.querySelector('a[href="#map-here"]').addEventListener("click", (event) => {
      event.preventDefault();
      showHere(map);
    });
  }

  // The beeps that the sheet expects, to compare with what was heard: the first tap allows the sound.
  offerBeep(view) {
    const signal = view.querySelector("[data-beeps]");
    if (!signal || signal.querySelector("button") || !window.AudioContext) return;
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Hear it to compare";
    button.addEventListener("click", () => this.beep(Number(signal.dataset.beeps)));
    signal.append(button);
  }

  beep(count) {
    this.audio ??= new AudioContext();
    this.audio.resume();
    for (let place = 0; place < count; place += 1) {
      const tone = this.audio.createOscillator();
      const level = this.audio.createGain();
      const at = this.audio.currentTime + 0.05 + place * (BEEP_S + GAP_S);
      tone.frequency.value = BEEP_HZ;
      level.gain.setValueAtTime(0, at);
      level.gain.linearRampToValueAtTime(0.4, at + 0.01);
      level.gain.setValueAtTime(0.4, at + BEEP_S - 0.01);
      level.gain.linearRampToValueAtTime(0, at + BEEP_S);
      tone.connect(level).connect(this.audio.destination);
      tone.start(at);
      tone.stop(at + BEEP_S);
    }
  }

  // Off unless somebody has turned it on on this device: a workshop is loud, and a customer may stand by.
  offerVoice() {
    const button = this.box.querySelector('[data-aid="voice"]');
    if (!button || !window.speechSynthesis) return;
    button.closest("[data-aids]").hidden = false;
    const mark = (on) => {
      this.aloud = on;
      button.setAttribute("aria-pressed", String(on));
      try {
        if (on) localStorage.setItem(VOICE, "yes");
        else localStorage.removeItem(VOICE);
      } catch { /* It is asked for again on the next page. */ }
    };
    let kept = null;
    try { kept = localStorage.getItem(VOICE); } catch { /* Nothing is kept here. */ }
    mark(kept === "yes");
    button.addEventListener("click", () => {
      mark(!this.aloud);
      speechSynthesis.cancel();
      if (this.aloud) this.say(this.box.querySelector("[data-stage]") ?? this.box);
    });
  }

  say(view) {
    const words = [...view.querySelectorAll("h1, .no-way, blockquote, .lost li, .signal p")].map((one) => one.textContent.trim());
    speechSynthesis.cancel();
    const speech = new SpeechSynthesisUtterance(words.filter(Boolean).join(" "));
    speech.lang = document.documentElement.lang;
    speechSynthesis.speak(speech);
  }
}

const showHere = (map) => {
  const frame = map.querySelector(".scroll");
  const mark = map.querySelector("#map-here");
  if (!mark) return;
  const [here, seen] = [mark.getBoundingClientRect(), frame.getBoundingClientRect()];
  frame.scrollTo({
    left: frame.scrollLeft + here.left - seen.left - (seen.width - here.width) / 2,
    top: frame.scrollTop + here.top - seen.top - (seen.height - here.height) / 2,
    behavior: "instant",
  });
  frame.scrollIntoView({ block: "nearest" });
};

const keepLit = async () => {
  try {
    if (document.visibilityState === "visible") await navigator.wakeLock?.request("screen");
  } catch {
    // Not allowed here; the step is on record whatever the screen does.
  }
};
