// The simulated vehicle's signs: its lamps light up, and it sounds once somebody has asked to hear it. The words
// beside them say the same, so that nobody needs ears, and pages work without this.

const vehicle = document.querySelector(".vehicle[data-signs]");
const signs = vehicle ? JSON.parse(vehicle.dataset.signs) : [];
const LONG = 350, PAUSE = 350, BETWEEN = 500;
const PARTS = { lamp: ".dash-lamp", beep: ".dash-sound", "lock-cycle": ".dash-lock", message: ".dash-display" };
const calm = matchMedia("(prefers-reduced-motion: reduce)");
let sounds = null;

const isWanted = () => {
  try {
    return sessionStorage.getItem("rehearsal-sound") === "on";
  } catch {
    return false;
  }
};
const want = (wanted) => {
  try {
    sessionStorage.setItem("rehearsal-sound", wanted ? "on" : "off");
  } catch {
    // Not kept here; each sound is asked for anew.
  }
};

const tone = (at, hertz, seconds, kind) => {
  const voice = new OscillatorNode(sounds, { type: kind, frequency: hertz });
  const level = new GainNode(sounds, { gain: 0 });
  voice.connect(level).connect(sounds.destination);
  level.gain.setValueAtTime(0, at);
  level.gain.linearRampToValueAtTime(0.2, at + 0.01);
  level.gain.setValueAtTime(0.2, at + seconds - 0.02);
  level.gain.linearRampToValueAtTime(0, at + seconds);
  voice.start(at);
  voice.stop(at + seconds);
};

// When each single sign begins, in milliseconds: a lamp stays below three flashes a second.
const list = () => {
  const moments = [];
  let at = 0;
  for (const sign of signs) {
    for (let turn = 0; turn < sign.count; turn += 1, at += LONG + PAUSE) moments.push({ kind: sign.kind, at });
    at += BETWEEN;
  }
  return moments;
};

const show = () => {
  if (!signs.length || calm.matches) return;
  for (const { kind, at } of list()) {
    const part = vehicle.querySelector(PARTS[kind]);
    setTimeout(() => part?.classList.remove("dash-dim"), at);
    setTimeout(() => part?.classList.add("dash-dim"), at + LONG);
  }
  // Afterwards everything that was seen stays marked, beside its count.
  const last = list().at(-1)?.at ?? 0;
  setTimeout(() => vehicle.querySelectorAll(".dash-dim").forEach((part) => part.classList.remove("dash-dim")), last + 2 * LONG);
};

const sound = async () => {
  sounds ??= new AudioContext();
  if (sounds.state === "suspended") await sounds.resume();
  const start = sounds.currentTime + 0.05;
  for (const { kind, at } of list()) {
    if (kind === "beep") tone(start + at / 1000, 880, LONG / 1000, "square");
    if (kind === "lock-cycle") {
      tone(start + at / 1000, 110, 0.07, "triangle");
      tone(start + at / 1000 + 0.18, 90, 0.07, "triangle");
    }
  }
};

if (signs.some(({ kind }) => kind === "beep" || kind === "lock-cycle") && "AudioContext" in window) {
  const row = vehicle.querySelector(".sound");
  row.hidden = false;
  row.querySelector("[data-play]").addEventListener("click", () => {
    want(true);
    show();
    sound();
  });
  row.querySelector("[data-silent]").addEventListener("click", () => {
    want(false);
    sounds?.close();
    sounds = null;
  });
  // Some browsers let a page sound that a tap has led to; the others wait for one here.
  if (isWanted() && navigator.userActivation?.hasBeenActive !== false) sound();
}
show();
