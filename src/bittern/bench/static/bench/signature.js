// The signature: strokes drawn on a canvas, kept in thousandths of its sides in a hidden field of the form.

const SIDE = 1000;
const LEAST_STEP = 4;
const MOST_POINTS = 3800;

const clamp = (value) => Math.min(SIDE, Math.max(0, Math.round(value)));

const read = (text) => {
  try {
    const strokes = JSON.parse(text);
    return Array.isArray(strokes) ? strokes : [];
  } catch {
    return [];
  }
};

const count = (strokes) => strokes.reduce((sum, stroke) => sum + stroke.length, 0);

const start = (form) => {
  const field = form.querySelector("[data-strokes]");
  const box = form.querySelector("[data-pad]");
  const canvas = box.querySelector("canvas");
  const state = box.querySelector("[data-state]");
  const pen = canvas.getContext("2d");
  let strokes = read(field.value);
  let active = null;

  const place = (event) => {
    const frame = canvas.getBoundingClientRect();
    return [
      clamp(((event.clientX - frame.left) / frame.width) * SIDE),
      clamp(((event.clientY - frame.top) / frame.height) * SIDE),
    ];
  };

  const draw = () => {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    pen.strokeStyle = getComputedStyle(canvas).color;
    pen.lineWidth = 7;
    pen.lineCap = pen.lineJoin = "round";
    for (const stroke of strokes) {
      pen.beginPath();
      stroke.forEach(([x, y], index) => {
        const at = [(x / SIDE) * canvas.width, (y / SIDE) * canvas.height];
        if (index) pen.lineTo(...at);
        else pen.moveTo(...at);
      });
      // A dot is a line to its own place.
      if (stroke.length === 1) pen.lineTo((stroke[0][0] / SIDE) * canvas.width, (stroke[0][1] / SIDE) * canvas.height);
      pen.stroke();
    }
    state.textContent = strokes.length ? "A signature is drawn." : "Nothing drawn yet.";
  };

  const keep = () => {
    field.value = strokes.length ? JSON.stringify(strokes) : "";
    // Setting a value tells nobody; the draft keeper listens for input.
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };

  const finish = () => {
    if (active === null) return;
    active = null;
    keep();
  };

  canvas.addEventListener("pointerdown", (event) => {
    // One pointer at a time: the palm of the hand that signs is no stroke.
    if (active !== null || event.button !== 0 || count(strokes) >= MOST_POINTS) return;
    event.preventDefault();
    active = event.pointerId;
    canvas.setPointerCapture(active);
    strokes.push([place(event)]);
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (active !== event.pointerId) return;
    const stroke = strokes.at(-1);
    for (const one of event.getCoalescedEvents?.() ?? [event]) {
      const [x, y] = place(one);
      const [lastX, lastY] = stroke.at(-1);
      if (Math.hypot(x - lastX, y - lastY) >= LEAST_STEP && count(strokes) < MOST_POINTS) stroke.push([x, y]);
    }
    draw();
  });
  canvas.addEventListener("pointerup", (event) => { if (active === event.pointerId) finish(); });
  canvas.addEventListener("pointercancel", (event) => { if (active === event.pointerId) finish(); });
  box.querySelector("[data-clear]").addEventListener("click", () => {
    strokes = [];
    active = null;
    draw();
    keep();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);

  box.hidden = false;
  draw();
};

document.querySelectorAll("form.signing").forEach(start);
